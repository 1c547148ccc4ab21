"""Tables of the report as plain columns for the side panel: the words of the CSV files, their units set apart."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

# suffix of a column -> unit as it is shown
_UNITS = {"_ft2": "ft²", "_m2": "m²", "_m3": "m³", "_gal": "gal", "_ft": "ft", "_m": "m", "_pct": "%", "_deg": "°"}
_MONEY = ("cost", "price", "capital", "rebate", "npv")


def columns(table: pd.DataFrame, currency: str) -> list[dict[str, Any]]:
    """Label, unit and texts or numbers of each column; None for a number that is not known."""
    decimals = table.attrs.get("decimals", {})
    return [_column(name, table[name], decimals.get(name, 0), currency) for name in table.columns]


def _column(name: str, values: pd.Series, digits: int, currency: str) -> dict[str, Any]:
    label, unit = said(name)
    if name in _MONEY:
        return {"label": label, "unit": currency, "digits": 2, "numbers": _numbers(values, 2)}
    if pd.api.types.is_numeric_dtype(values):
        digits = min(digits, 2)  # enough to read; the files have them all
        return {"label": label, "unit": unit, "digits": digits, "numbers": _numbers(values, digits)}
    return {"label": label, "texts": [str(value) for value in values]}


def said(name: str) -> tuple[str, str]:
    """A column's name in words, and its unit: ``ground_area_ft2`` -> ("ground area", "ft²")."""
    for suffix, unit in _UNITS.items():
        if name.endswith(suffix):
            return name.removesuffix(suffix).replace("_", " "), unit
    return name.replace("_", " "), ""


def _numbers(values: pd.Series, digits: int) -> list[float | int | None]:
    numbers = np.round(pd.to_numeric(values, errors="coerce").to_numpy(dtype=float), digits)
    return [None if not np.isfinite(n) else int(n) if n == int(n) else n for n in numbers.tolist()]
