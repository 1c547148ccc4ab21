"""Tables about the report: its findings, and what each of its columns says."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from geoturf import columns
from geoturf.model import Result
from geoturf.records import Column
from geoturf.tables.geopackage import GEOPACKAGE
from geoturf.tables.making import kept


def findings(result: Result) -> pd.DataFrame:
    names = [column.base for column in columns.of("findings")]
    values: dict[str, Column] = {
        name: [getattr(finding, name) for finding in result.findings] for name in names
    }
    return columns.table_of("findings", result.bid.units, values)


def columns_of(made: dict[str, pd.DataFrame], system: str) -> pd.DataFrame:
    """What each column of the report says: those of the tables ``made``, and of the GeoPackage's
    own layers."""
    names = {file: set(table.columns) for file, table in made.items()}
    rows = [
        column
        for column in columns.every()
        if column.file not in names or column.name(system) in names[column.file]
        if column.file in names or column.file.startswith(GEOPACKAGE) or column.file == "columns"
    ]
    values: dict[str, Column] = {
        "file": [c.file if c.file.startswith(GEOPACKAGE) else f"{c.file}.csv" for c in rows],
        "column": [c.name(system) for c in rows],
        "unit": [c.unit(system) for c in rows],
        "type": [columns.TYPES.get(c.quantity, "number") for c in rows],
        "meaning": [c.meaning for c in rows],
    }
    told = columns.table_of("columns", system, values)
    return pd.concat([told, *_kept_columns(made)]).sort_values(
        "file", key=lambda files: files.map(_places(told["file"])), kind="stable", ignore_index=True
    )


def _places(files: pd.Series) -> dict[str, int]:
    """Where each file comes first."""
    return {file: place for place, file in enumerate(dict.fromkeys(files))}


def _kept_columns(made: dict[str, pd.DataFrame]) -> Iterator[pd.DataFrame]:
    """What the columns say that were carried through."""
    for file, table in made.items():
        names = kept(table)
        if names:
            says = "As the input has it (keep); several on a site are joined by +"
            whose = {
                "file": f"{file}.csv",
                "unit": "",
                "type": "text",
                "meaning": says,
            }
            yield pd.DataFrame({"column": names}).assign(**whose)
