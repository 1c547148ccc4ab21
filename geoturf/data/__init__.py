"""Published tables that ship with geoturf: CSV files with the columns value, unit, source, year,
and a name for each row."""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files
from io import StringIO

from geoturf import units


@cache
def rows_of(name: str) -> tuple[dict[str, str], ...]:
    """The rows of ``name``.csv, as printed."""
    text = files(__name__).joinpath(f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(StringIO(text)))


def names(of: str) -> tuple[str, ...]:
    """The names in a table with the columns name and quantity, in its order."""
    return tuple(dict.fromkeys(row["name"] for row in rows_of(of)))


def value(of: str, name: str, quantity: str) -> float:
    """One value of such a table, in SI. Raises `KeyError` when the table has no such row."""
    for row in rows_of(of):
        if row["name"] == name and row["quantity"] == quantity:
            factor, _ = units.unit_factor(row["unit"])
            return float(row["value"]) * factor
    raise KeyError(f"{of}.csv has no {quantity} of {name}")
