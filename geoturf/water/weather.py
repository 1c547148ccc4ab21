"""ETo of twelve months from daily weather, by the FAO-56 Penman-Monteith equation (through pyet,
the weather extra)."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pandas as pd

from geoturf.errors import BidError, InputError
from geoturf.model import Finding
from geoturf.rules.water import Climate
from geoturf.water.own_table import amount, refuse_missing, rows


def from_weather(path: Path, rules: Climate) -> tuple[np.ndarray, np.ndarray, str]:
    """Daily ETo by FAO-56, then the mean of each calendar month's days times its length (so a gap
    does not lower a month)."""
    name = rules.weather
    days = _weather_frame(path, name)
    if "wind_m_s" in days:
        days["wind_m_s"] = wind_at_2_m(days["wind_m_s"], rules.wind_height_m)
    eto_mm = reference_eto(days, rules.latitude or 0.0, rules.elevation_m)
    dates = pd.DatetimeIndex(days.index)
    month = pd.Index(dates.month)
    there = set(month)
    refuse_missing([number not in there for number in range(1, 13)], name)
    eto = _month_m(eto_mm, month)
    rain = _month_m(days["rain_mm"], month) if "rain_mm" in days else np.zeros(12)
    span = f"{dates[0]:%Y-%m-%d} to {dates[-1]:%Y-%m-%d}"
    label = ", ".join(part for part in (rules.station, rules.source, name) if part)
    return eto, rain, f"{label}: FAO-56 from daily weather, {span}"


def _month_m(daily_mm: pd.Series, month: pd.Index) -> np.ndarray:
    """Mean of each calendar month's days times its length, (12,), metres."""
    mean_mm = daily_mm.groupby(month).mean().to_numpy(float)
    month_m: np.ndarray = mean_mm * _LENGTHS / 1000
    return month_m


_LENGTHS = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])  # of the months, days
_SIGNED = ("tmax_c", "tmin_c")
_RADIATION = ("solar_mj_m2", "sunshine_h")
_HUMIDITY = ("rhmax_pct", "rhmin_pct", "rh_pct")
_WEATHER = (*_SIGNED, "wind_m_s", *_HUMIDITY, *_RADIATION, "rain_mm")
_NEEDED: tuple[set[str], ...] = (  # one of each
    {"date"},
    {"tmax_c"},
    {"tmin_c"},
    {"wind_m_s"},
    {*_RADIATION},
    {"rhmax_pct", "rh_pct"},
)


def _weather_frame(path: Path, name: str) -> pd.DataFrame:
    """Daily weather by date, checked: the columns the equation needs, numbers, no negative rain,
    no day twice."""
    table = rows(path, name)
    columns = set(table[0]) if table else set()
    for names in _NEEDED:
        if not names & columns:
            fault = f"needs a column {' or '.join(sorted(names))}"
            raise InputError(Finding("error", "climate-column", fault, file=name))
    if "rhmax_pct" in columns and "rhmin_pct" not in columns:
        fault = "has rhmax_pct but no rhmin_pct"
        raise InputError(Finding("error", "climate-column", fault, file=name))
    values = {}
    for column in _WEATHER:
        if column in columns:
            number = _signed if column in _SIGNED else amount
            lines = enumerate(table, 2)
            values[column] = [number(row[column], column, name, line) for line, row in lines]
    dates = pd.to_datetime([row["date"] for row in table], format="ISO8601", errors="coerce")
    if dates.isna().any():
        line = int(np.flatnonzero(dates.isna())[0]) + 2
        fault = f"line {line}: no ISO date (2026-05-31)"
        raise InputError(Finding("error", "climate-date", fault, file=name))
    frame = pd.DataFrame(values, index=dates).sort_index()
    if frame.index.has_duplicates:
        day = frame.index[frame.index.duplicated()][0]
        fault = f"{day:%Y-%m-%d} stands twice"
        raise InputError(Finding("error", "climate-date", fault, file=name))
    return frame


def _signed(text: str, what: str, name: str, line: int) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not -60 <= value <= 60:
        fault = f"line {line}: {what} '{text}' is no air temperature in °C"
        raise InputError(Finding("error", "climate-value", fault, file=name))
    return value


def wind_at_2_m(wind_m_s: pd.Series, height_m: float) -> pd.Series:
    """Wind speed brought to 2 m above grass (FAO-56 equation 47)."""
    if height_m == 2:
        return wind_m_s
    return wind_m_s * 4.87 / math.log(67.8 * height_m - 5.42)


def reference_eto(days: pd.DataFrame, latitude_deg: float, elevation_m: float) -> pd.Series:
    """Daily ETo in mm by the FAO-56 Penman-Monteith equation (pyet). ``days``: DatetimeIndex;
    tmax_c, tmin_c, wind_m_s at 2 m, rhmax_pct and rhmin_pct or rh_pct, solar_mj_m2 or sunshine_h.
    Raises `BidError` where pyet is not installed."""
    try:
        import pyet
    except ImportError:
        fault = "water.climate.weather needs the weather extra: pip install 'geoturf[weather]'"
        raise BidError(Finding("error", "no-weather-extra", fault)) from None

    column = {name: days[name] for name in days.columns}
    solar = column.get("solar_mj_m2")
    humidity = column.get("rhmax_pct")
    eto_mm: pd.Series = pyet.pm_fao56(
        tmean=(days["tmax_c"] + days["tmin_c"]) / 2,
        tmax=days["tmax_c"],
        tmin=days["tmin_c"],
        wind=days["wind_m_s"],
        rs=solar,
        n=column.get("sunshine_h") if solar is None else None,
        rhmax=humidity,
        rhmin=column.get("rhmin_pct"),
        rh=column.get("rh_pct") if humidity is None else None,
        elevation=elevation_m,
        lat=math.radians(latitude_deg),
    )
    return eto_mm
