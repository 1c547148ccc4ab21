"""A report, read back from its folder."""

from __future__ import annotations

import json
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from geoturf import columns
from geoturf.errors import InputError
from geoturf.model import Finding

#: of areas.csv, what is a figure
_FIGURES = ("area", "length", "count", "number")


@dataclass(frozen=True)
class Report:
    """``areas``: areas.csv by base names, figures as numbers in the report's own units, with the
    column geometry; ``lines``: those of bid.csv that are no step of the build-up; ``steps``:
    build_up.csv; ``net``: net quantity by (phase, item). Money and quantities are text, as they
    stand there."""

    name: str
    version: str
    settings: dict[str, Any]
    price: Decimal
    left_out: int
    areas: pd.DataFrame
    crs: Any
    lines: pd.DataFrame
    steps: pd.DataFrame
    net: dict[tuple[str, str], str]

    @property
    def units(self) -> str:
        return str(self.settings["units"])

    @property
    def currency(self) -> str:
        return str(self.settings["currency"])

    @classmethod
    def read(cls, folder: Path, name: str) -> Report:
        """Raises `InputError` where ``folder`` holds no whole report."""
        try:
            if not (folder / "run.json").is_file():
                raise _no_report(folder, "holds no report: there is no run.json in it")
            report = _read(folder, name)
        except _UNREADABLE as fault:
            why = " ".join(str(fault).split())[:200]
            raise _no_report(folder, f"its report cannot be read ({why})") from None
        if _sum(report.lines) + _sum(report.steps) != report.price:
            raise _no_report(folder, "its lines in bid.csv do not add up to the price in run.json")
        return report


# OSError: files that are not there, pyogrio's own faults among them (`RuntimeError`); the rest
# comes of what stands in them
_UNREADABLE = (OSError, RuntimeError, ValueError, LookupError, TypeError, ArithmeticError)


def _read(folder: Path, name: str) -> Report:
    run = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    steps = _table(folder, "build_up")
    lines = _table(folder, "bid")
    printed = sum(Decimal(amount) != 0 for amount in steps["amount"])
    areas, crs = _areas(folder, str(run["settings"]["units"]))
    items = _table(folder, "materials")
    scopes = items["scope"].str.removeprefix("phase ")
    return Report(
        name=name,
        version=str(run["version"]),
        settings=dict(run["settings"]),
        price=Decimal(run["totals"]["price"]),
        left_out=int(run["counts"]["not_priced"]),
        areas=areas,
        crs=crs,
        lines=lines.iloc[: len(lines) - printed],
        steps=steps.assign(book=steps.get("book", "")),
        net=dict(zip(zip(scopes, items["item"], strict=True), items["net_quantity"], strict=True)),
    )


def _table(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"{name}.csv", dtype=str, keep_default_na=False)


def _areas(folder: Path, system: str) -> tuple[pd.DataFrame, Any]:
    """Areas with their outlines, and the CRS of these. Both files hold them in one order; names are
    taken from the table, written as in the others."""
    import geopandas
    import shapely

    said = _table(folder, "areas")
    drawn = geopandas.read_file(folder / "layout.gpkg", layer="areas", engine="pyogrio")
    if len(said) != len(drawn):
        raise ValueError(f"areas.csv has {len(said)} areas, layout.gpkg {len(drawn)}")
    known = {column.name(system): column for column in columns.of("areas")}
    values = {
        column.base: pd.to_numeric(said[name]) if column.quantity in _FIGURES else said[name]
        for name, column in known.items()
        if name in said
    }
    outlines = shapely.make_valid(np.asarray(drawn.geometry, dtype=object))
    return pd.DataFrame(values).assign(geometry=outlines), drawn.crs


def _sum(rows: pd.DataFrame) -> Decimal:
    return sum(map(Decimal, rows["amount"]), Decimal(0))


def refuse_unlike(old: Report, new: Report) -> None:
    """Raises `InputError` where figures of the two can't be set against each other."""
    for what, one, other in [
        ("units", old.units, new.units),
        ("currency", old.currency, new.currency),
    ]:
        if one != other:
            message = (
                f"its {what} is '{other}', that of {old.name} '{one}'; run one of the bids again"
            )
            raise InputError(
                Finding("error", "unlike-reports", f"{message} with the other's", file=new.name)
            )


def _no_report(folder: Path, why: str) -> InputError:
    mend = "name a folder that geoturf run wrote, or a bid file (.toml)"
    return InputError(Finding("error", "no-report", f"{why}; {mend}", file=str(folder)))
