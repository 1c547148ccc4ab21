"""Twelve months of reference evapotranspiration (ETo) and rain, from wherever the bid says they come.

A station's table, daily weather by the FAO-56 Penman-Monteith equation (through pyet), a published place, or twelve
values in the bid itself; and how much of the rain counts, by a named method.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from geoturf.errors import BidError, InputError
from geoturf.model import Finding
from geoturf.rules.water import Climate
from geoturf.rules.water.climate import MONTHS
from geoturf.units import INCH_M
from geoturf.water import published

if TYPE_CHECKING:
    import pandas as pd

_SCALE = {"in": INCH_M, "mm": 1e-3, "cm": 1e-2}
_MOST_ETO_M, _MOST_RAIN_M = 0.6, 5.0  # a month beyond these is a wrong unit


@dataclass(frozen=True)
class Months:
    """``eto_m`` and ``rain_m``: arrays (12,), metres a month, January first; ``origin``: where they come from, in
    words."""

    eto_m: np.ndarray
    rain_m: np.ndarray
    origin: str


def months(rules: Climate, folder: str) -> Months:
    """The climate a bid states. Raises `BidError` (none stated, unknown place) or `InputError` (a table's fault, by its
    line)."""
    if rules.table:
        return _checked(_station_table(Path(folder) / rules.table, rules), rules.table)
    if rules.weather:
        return _checked(_from_weather(Path(folder) / rules.weather, rules), rules.weather)
    if rules.place:
        return _place(rules)
    if rules.eto_m:
        rain = np.array(rules.rain_m) if rules.rain_m else np.zeros(12)
        origin = ", ".join(part for part in (rules.station, rules.source) if part) or "twelve values in the bid"
        return _checked(Months(np.array(rules.eto_m), rain, origin), "")
    places = ", ".join(sorted({row["place"] for row in published.table("eto")}))
    raise BidError(
        Finding(
            "error",
            "no-climate",
            "water.climate needs one of eto (twelve values), table (a CSV), weather (a CSV of daily weather) or place "
            f"(published: {places})",
        )
    )


def _place(rules: Climate) -> Months:
    rows = [row for row in published.table("eto") if published.key(row["place"]) == published.key(rules.place)]
    if not rows:
        hint = published.closest(rules.place, {row["place"] for row in published.table("eto")})
        raise BidError(
            Finding("error", "unknown-place", f"water.climate.place: no published ETo for '{rules.place}'; {hint}")
        )
    eto = np.zeros(12)
    for row in rows:
        eto[int(row["month"]) - 1] = float(row["value"]) * _SCALE[row["unit"]]
    seen = ", given from memory: check before use" if rows[0]["seen"] == "memory" else ""
    rain = np.array(rules.rain_m) if rules.rain_m else np.zeros(12)
    return Months(eto, rain, f"{rows[0]['place']}, {rows[0]['source']}, {rows[0]['year']}{seen}")


def _checked(given: Months, file: str) -> Months:
    """The same months; refuses what cannot be a month's ETo or rain (mostly a wrong unit)."""
    for word, values, most in (("ETo", given.eto_m, _MOST_ETO_M), ("rain", given.rain_m, _MOST_RAIN_M)):
        if values.max(initial=0.0) > most:
            month = MONTHS[int(values.argmax())]
            fault = f"{word} of {values.max() * 1000:.0f} mm in {month} is more than any place has; check the unit"
            raise InputError(Finding("error", "climate-range", fault, file=file))
    if given.eto_m.sum() <= 0:
        raise InputError(Finding("error", "climate-range", "ETo is zero in every month", file=file))
    return given


# --- a station's table -----------------------------------------------------------------------------------------------


def _rows(path: Path, name: str) -> list[dict[str, str]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError(
            Finding("error", "no-climate-file", "there is no such file beside the bid", file=name)
        ) from None
    except (OSError, UnicodeDecodeError):
        raise InputError(Finding("error", "climate-unreadable", "cannot be read as UTF-8 text", file=name)) from None
    rows = list(csv.DictReader(text.splitlines()))
    return [{str(k).strip().lower(): str(v or "").strip() for k, v in row.items() if k} for row in rows]


def _unit_column(rows: list[dict[str, str]], word: str, name: str, needed: bool) -> tuple[str, float]:
    """The column of ``word`` and its factor to metres; ("", 0) where it may be missing and is."""
    found = [(f"{word}_{unit}", scale) for unit, scale in _SCALE.items() if rows and f"{word}_{unit}" in rows[0]]
    if len(found) > 1:
        raise InputError(Finding("error", "climate-column", f"has two columns of {word}; keep one", file=name))
    if not found and needed:
        fault = f"needs a column {word}_in or {word}_mm (it has: {', '.join(rows[0]) if rows else 'no rows'})"
        raise InputError(Finding("error", "climate-column", fault, file=name))
    return found[0] if found else ("", 0.0)


def _amount(text: str, what: str, name: str, line: int) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(Finding("error", "climate-value", f"line {line}: {what} '{text}' is not a number", file=name))
    if value < 0:
        raise InputError(Finding("error", "climate-negative", f"line {line}: {what} {text} is negative", file=name))
    return value


def _month_index(text: str, name: str, line: int) -> int:
    """0 to 11 from ``3``, ``Mar`` or ``March``."""
    if text.isdigit() and 1 <= int(text) <= 12:
        return int(text) - 1
    short = text[:3].title()
    if len(text) >= 3 and short in MONTHS:
        return MONTHS.index(short)
    raise InputError(
        Finding("error", "climate-month", f"line {line}: '{text}' is no month (1 to 12, or Jan)", file=name)
    )


def _station_table(path: Path, rules: Climate) -> Months:
    """Twelve rows: month, eto_in or eto_mm, and rain_in or rain_mm if known."""
    name = rules.table
    rows = _rows(path, name)
    eto_column, eto_scale = _unit_column(rows, "eto", name, needed=True)
    rain_column, rain_scale = _unit_column(rows, "rain", name, needed=False)
    eto, rain = np.full(12, np.nan), np.zeros(12)
    for line, row in enumerate(rows, 2):
        month = _month_index(row.get("month", ""), name, line)
        if not np.isnan(eto[month]):
            raise InputError(Finding("error", "climate-month", f"line {line}: {MONTHS[month]} stands twice", file=name))
        eto[month] = _amount(row[eto_column], "ETo", name, line) * eto_scale
        if rain_column:
            rain[month] = _amount(row[rain_column], "rain", name, line) * rain_scale
    _refuse_missing(np.isnan(eto), name)
    return Months(eto, rain, ", ".join(part for part in (rules.station, rules.source, name) if part))


def _refuse_missing(missing: Iterable[bool], name: str) -> None:
    gone = [month for month, is_gone in zip(MONTHS, missing, strict=True) if is_gone]
    if gone:
        fault = f"has no {', '.join(gone)}; all twelve months are needed"
        raise InputError(Finding("error", "climate-month-missing", fault, file=name))


# --- daily weather ---------------------------------------------------------------------------------------------------


def _from_weather(path: Path, rules: Climate) -> Months:
    """Daily ETo by FAO-56, then the mean of each calendar month's days times its length (so a gap does not lower a
    month)."""
    import pandas as pd

    name = rules.weather
    days = _weather_frame(path, name)
    if "wind_m_s" in days:
        days["wind_m_s"] = wind_at_2_m(days["wind_m_s"], rules.wind_height_m)
    eto_mm = reference_eto(days, rules.latitude or 0.0, rules.elevation_m)
    month = pd.Index(days.index.month)
    _refuse_missing([m not in set(month) for m in range(1, 13)], name)
    lengths = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    eto = eto_mm.groupby(month).mean().to_numpy() * lengths / 1000
    rain = days["rain_mm"].groupby(month).mean().to_numpy() * lengths / 1000 if "rain_mm" in days else np.zeros(12)
    span = f"{days.index[0]:%Y-%m-%d} to {days.index[-1]:%Y-%m-%d}"
    label = ", ".join(part for part in (rules.station, rules.source, name) if part)
    return Months(eto, rain, f"{label}: FAO-56 from daily weather, {span}")


_SIGNED = ("tmax_c", "tmin_c")
_WEATHER = (*_SIGNED, "wind_m_s", "rhmax_pct", "rhmin_pct", "rh_pct", "solar_mj_m2", "sunshine_h", "rain_mm")


def _weather_frame(path: Path, name: str) -> pd.DataFrame:
    """Daily weather by date, checked: the columns the equation needs, numbers, no negative rain, no day twice."""
    import pandas as pd

    rows = _rows(path, name)
    columns = set(rows[0]) if rows else set()
    needs = [{"date"}, {"tmax_c"}, {"tmin_c"}, {"wind_m_s"}, {"solar_mj_m2", "sunshine_h"}, {"rhmax_pct", "rh_pct"}]
    for names in needs:
        if not names & columns:
            raise InputError(
                Finding("error", "climate-column", f"needs a column {' or '.join(sorted(names))}", file=name)
            )
    if "rhmax_pct" in columns and "rhmin_pct" not in columns:
        raise InputError(Finding("error", "climate-column", "has rhmax_pct but no rhmin_pct", file=name))
    values = {}
    for column in (c for c in _WEATHER if c in columns):
        if column in _SIGNED:
            values[column] = [_signed(row[column], column, name, line) for line, row in enumerate(rows, 2)]
        else:
            values[column] = [_amount(row[column], column, name, line) for line, row in enumerate(rows, 2)]
    dates = pd.to_datetime([row["date"] for row in rows], format="ISO8601", errors="coerce")
    if dates.isna().any():
        line = int(np.flatnonzero(dates.isna())[0]) + 2
        raise InputError(Finding("error", "climate-date", f"line {line}: no ISO date (2026-05-31)", file=name))
    frame = pd.DataFrame(values, index=dates).sort_index()
    if frame.index.has_duplicates:
        day = frame.index[frame.index.duplicated()][0]
        raise InputError(Finding("error", "climate-date", f"{day:%Y-%m-%d} stands twice", file=name))
    return frame


def _signed(text: str, what: str, name: str, line: int) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not -60 <= value <= 60:
        raise InputError(
            Finding("error", "climate-value", f"line {line}: {what} '{text}' is no air temperature in °C", file=name)
        )
    return value


def wind_at_2_m(wind_m_s: pd.Series, height_m: float) -> pd.Series:
    """Wind speed brought to 2 m above grass (FAO-56 equation 47)."""
    return wind_m_s if height_m == 2 else wind_m_s * 4.87 / math.log(67.8 * height_m - 5.42)


def reference_eto(days: pd.DataFrame, latitude_deg: float, elevation_m: float) -> pd.Series:
    """Daily ETo in mm by the FAO-56 Penman-Monteith equation (pyet). ``days``: DatetimeIndex; tmax_c, tmin_c, wind_m_s
    at 2 m, rhmax_pct and rhmin_pct or rh_pct, solar_mj_m2 or sunshine_h. Raises `BidError` where pyet is not
    installed."""
    try:
        import pyet
    except ImportError:
        fault = "water.climate.weather needs the weather extra: pip install 'geoturf[weather]'"
        raise BidError(Finding("error", "no-weather-extra", fault)) from None

    column = {name: days[name] for name in days.columns}
    return pyet.pm_fao56(
        tmean=(days["tmax_c"] + days["tmin_c"]) / 2,
        tmax=days["tmax_c"],
        tmin=days["tmin_c"],
        wind=days["wind_m_s"],
        rs=column.get("solar_mj_m2"),
        n=column.get("sunshine_h") if "solar_mj_m2" not in column else None,
        rhmax=column.get("rhmax_pct"),
        rhmin=column.get("rhmin_pct"),
        rh=column.get("rh_pct") if "rhmax_pct" not in column else None,
        elevation=elevation_m,
        lat=math.radians(latitude_deg),
    )


# --- effective rain --------------------------------------------------------------------------------------------------


def effective_rain_m(rules: Climate, rain_m: np.ndarray, need_m: np.ndarray) -> np.ndarray:
    """Rain that counts, metres a month. ``rain_m``: (12,); ``need_m``: (..., 12), evapotranspiration of the cover,
    which only
    ``tr21`` looks at. Result like ``need_m``; never more than the rain.

    scs: P (125 - 0.2 P) / 125 up to 250 mm, then 125 + 0.1 P (mm; FAO CROPWAT). fao: 0.6 P - 10 up to 70 mm, then 0.8 P
    - 24 (dependable rain, FAO/AGLW; from memory). tr21: SF (0.70917 P^0.82416 - 0.11556) 10^(0.02426 ETc) (inches; NEH
    623 eq. 2-84, from memory), at most ETc."""
    rain_mm = np.asarray(rain_m) * 1000
    if rules.effective_rain == "none":
        counted = np.zeros(12)
    elif rules.effective_rain == "fixed":
        counted = rules.effective_share * rain_mm
    elif rules.effective_rain == "scs":
        counted = np.where(rain_mm <= 250, rain_mm * (125 - 0.2 * rain_mm) / 125, 125 + 0.1 * rain_mm)
    elif rules.effective_rain == "fao":
        counted = np.where(rain_mm <= 70, 0.6 * rain_mm - 10, 0.8 * rain_mm - 24)
    else:
        return _tr21_m(rules.soil_store_m / INCH_M, np.asarray(rain_m) / INCH_M, np.asarray(need_m) / INCH_M)
    return np.broadcast_to(np.clip(counted, 0, rain_mm) / 1000, np.shape(need_m))


def _tr21_m(store_in: float, rain_in: np.ndarray, need_in: np.ndarray) -> np.ndarray:
    soil = 0.531747 + 0.295164 * store_in - 0.057697 * store_in**2 + 0.003804 * store_in**3
    counted = soil * (0.70917 * rain_in**0.82416 - 0.11556) * 10 ** (0.02426 * need_in)
    return np.clip(counted, 0, np.minimum(rain_in, need_in)) * INCH_M
