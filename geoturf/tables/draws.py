"""Tables of what a bid's ranges do to its price."""

from __future__ import annotations

import pandas as pd

from geoturf import units
from geoturf.model import Result, Risk
from geoturf.tables.making import as_it_stands


def risk(result: Result) -> pd.DataFrame:
    """Cost and price that a part of the draws stays within."""
    rows = _drawn(result).percentiles
    percent = {
        "percentile": 100 * rows["percentile"],
        "contingency_pct": 100 * rows["contingency_part"],
    }
    return as_it_stands("risk", result, rows.assign(**percent))


def risk_moves(result: Result) -> pd.DataFrame:
    """What moves the price most first."""
    rows = _drawn(result).moves
    unit = [_RATES[result.bid.units].get(unit, unit) for unit in rows["unit"]]
    of_rate = rows["table"] == "rates"
    size = [
        units.unit_factor(u)[0] if rate and u else 1.0
        for u, rate in zip(unit, of_rate, strict=True)
    ]
    told = {name: rows[name] / size for name in ("low", "likely", "high")}
    rows = rows.assign(
        unit=unit,
        share_pct=100 * rows["share"],
        **told,
    )
    return as_it_stands("risk_moves", result, rows)


#: a production rate's SI unit -> the unit it is shown in
_RATES = {
    "us": {
        "m2/h": "ft^2/h",
        "m3/h": "yd^3/h",
        "m/h": "ft/h",
    },
    "metric": {"m2/h": "m^2/h", "m3/h": "m^3/h"},
}


def _drawn(result: Result) -> Risk:
    if result.risk is None:
        raise ValueError("no ranges are given")
    return result.risk
