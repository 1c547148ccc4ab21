"""Tables of the report as plain columns for the side panel: the words of the CSV files, their
units set apart."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from geoturf.maps import encode

# suffix of a column -> unit as it is shown
_UNITS = {
    "_ft2": "ft²",
    "_m2": "m²",
    "_m3": "m³",
    "_gal": "gal",
    "_ft": "ft",
    "_m": "m",
    "_pct": "%",
    "_deg": "°",
}
_MONEY = ("cost", "price", "capital", "rebate", "npv")


def columns(table: pd.DataFrame, currency: str, but: tuple[str, ...] = ()) -> list[dict[str, Any]]:
    """Label, unit and texts or numbers of each column of ``table`` ``but`` those named. Texts come
    as `encode.words` writes them; numbers as `sparse` does, in units of their last digit."""
    decimals = table.attrs.get("decimals", {})
    carried = table.attrs.get("kept", ())
    shown = [name for name in table.columns if name not in but]
    return [
        {"label": name, "texts": encode.words(table[name])}
        if name in carried
        else _column(name, table[name], decimals.get(name, 0), currency)
        for name in shown
    ]


def _column(name: str, values: pd.Series, digits: int, currency: str) -> dict[str, Any]:
    label, unit = said(name)
    if name.startswith("cost_per_"):
        label = name.replace("_", " ")
        unit = currency
    elif name in _MONEY:
        unit = currency
        digits = 2
    elif not pd.api.types.is_numeric_dtype(values):
        return {"label": label, "texts": encode.words(values)}
    digits = min(digits, 2)  # enough to read; the files have them all
    return {
        "label": label,
        "unit": unit,
        "digits": digits,
        "numbers": sparse(values, digits),
    }


def said(name: str) -> tuple[str, str]:
    """A column's name in words, and its unit: ``ground_area_ft2`` -> ("ground area", "ft²")."""
    for suffix, unit in _UNITS.items():
        if name.endswith(suffix):
            return name.removesuffix(suffix).replace("_", " "), unit
    return {"npv": "net present value"}.get(name, name.replace("_", " ")), ""


def sparse(values: pd.Series, digits: int) -> str:
    """Numbers in units of their last digit as text: 0 for one that is not known, those from 0 on
    one higher."""
    numbers = pd.to_numeric(values, errors="coerce").to_numpy(dtype=float)
    last = np.rint(numbers * 10**digits)
    return encode.ints(np.where(np.isfinite(last), last + (last >= 0), 0))
