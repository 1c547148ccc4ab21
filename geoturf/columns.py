"""Every column of the report's tables: its name, unit and meaning (`geoturf/data/columns.csv`), and
tables made of them.

A table is made from plain columns in SI by `table`: values are converted to the bid's units,
rounded and named with their unit's suffix as the column's record says. A column without a record
can't be written, nor one with a record be forgotten.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pandas as pd

from geoturf import data, units

COUNT = "count"
MONEY = "money"
NUMBER = "number"
TEXT = "text"
TYPES = {
    COUNT: "whole number",
    MONEY: "money",
    TEXT: "text",
    "money per area": "money",
}  # of columns.csv; all others are numbers


@dataclass(frozen=True)
class Column:
    """A column of a file of the report. ``quantity``: text, count, number, money, or a quantity of
    `geoturf.units.SHOWN`, which gives its unit; ``decimals``: None where the unit has its usual
    ones; ``when``: where it is there, always if empty."""

    file: str
    base: str
    quantity: str
    plain_unit: str
    decimals: int | None
    when: str
    meaning: str

    def name(self, system: str) -> str:
        """As it stands in the header, in a bid of the ``system`` "us" or "metric"."""
        shown = units.SHOWN.get(self.quantity)
        if shown:
            return f"{self.base}_{shown[system].suffix}"
        return self.base

    def unit(self, system: str) -> str:
        """The unit of its values, empty where there is none."""
        shown = units.SHOWN.get(self.quantity)
        if shown:
            return shown[system].unit
        return self.plain_unit

    def digits(self, system: str) -> int | None:
        """Decimals written, None for whole numbers and what is no number."""
        if self.quantity in _WRITTEN:
            return None
        shown = units.SHOWN.get(self.quantity)
        usual = shown[system].decimals if shown else None
        if self.decimals is None:
            return usual
        return self.decimals

    def factor(self, system: str) -> float:
        """From SI to its unit."""
        shown = units.SHOWN.get(self.quantity)
        if shown:
            return shown[system].factor
        return 1.0


@cache
def every() -> tuple[Column, ...]:
    """All columns, file by file in the order they are written. Raises `ValueError` for a record
    that is not whole."""
    return tuple(_column(row) for row in data.rows_of("columns"))


@cache
def of(file: str) -> tuple[Column, ...]:
    """The columns of a file (its name without ``.csv``), in order."""
    return tuple(column for column in every() if column.file == file)


def table_of(file: str, system: str, values: Mapping[str, Any]) -> pd.DataFrame:
    """The table of ``file`` from its columns' ``values`` in SI, by base name. Raises `KeyError` for
    a value without a record and for a record without a value, but where its column is not always
    there."""
    unknown = values.keys() - {column.base for column in of(file)}
    if unknown:
        raise KeyError(f"{file}: no record in columns.csv of {', '.join(sorted(unknown))}")
    made = {
        column: values[column.base]
        for column in of(file)
        if column.base in values or not column.when
    }
    cells = {column.name(system): _cells(column, system, some) for column, some in made.items()}
    decimals = {
        column.name(system): column.digits(system)
        for column in made
        if column.digits(system) is not None
    }
    out = pd.DataFrame(cells)
    out.attrs["decimals"] = decimals
    return out


def _column(row: dict[str, str]) -> Column:
    quantity = row["quantity"]
    decimals = row["decimals"]
    if quantity not in (COUNT, MONEY, NUMBER, TEXT) and quantity not in units.SHOWN:
        raise ValueError(
            f"columns.csv: {row['file']}, {row['column']}: no such quantity as '{quantity}'"
        )
    if not row["meaning"] or (quantity == NUMBER and not decimals):
        raise ValueError(
            f"columns.csv: {row['file']}, {row['column']}: no meaning, or a number without its "
            "decimals"
        )
    digits = int(decimals) if decimals else None
    return Column(
        row["file"], row["column"], quantity, row["unit"], digits, row["when"], row["meaning"]
    )


def _cells(column: Column, system: str, values: Any) -> np.ndarray:
    """Values as they are written: converted, rounded, or as text."""
    as_written = _WRITTEN.get(column.quantity)
    if as_written:
        return as_written(values)
    scaled = np.asarray(values, dtype=float) * column.factor(system)
    return np.round(scaled, column.digits(system) or 0) + 0.0  # no minus zero


def _texts(values: Any) -> np.ndarray:
    return pd.Series(values).astype(object).where(pd.notna(values), "").astype(str).to_numpy()


def _counts(values: Any) -> np.ndarray:
    return np.asarray(values, dtype=np.int64)


def _moneys(values: Any) -> np.ndarray:
    amounts = values.tolist() if hasattr(values, "tolist") else values
    return np.asarray(
        [units.cents_text(v) if v is not None else "" for v in amounts],
        dtype=object,
    )


_WRITTEN: dict[str, Callable[[Any], np.ndarray]] = {
    TEXT: _texts,
    COUNT: _counts,
    MONEY: _moneys,
    "money per area": _moneys,
}
