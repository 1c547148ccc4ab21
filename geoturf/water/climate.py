"""Twelve months of reference evapotranspiration (ETo) and rain, from wherever the bid says they
come.

A station's table, daily weather by the FAO-56 Penman-Monteith equation (through pyet), a published
place, or twelve values in the bid itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pandas as pd

from geoturf.errors import BidError, InputError
from geoturf.model import Finding
from geoturf.rules.water import Climate, WaterRules
from geoturf.rules.water.climate import MONTHS
from geoturf.water import published
from geoturf.water.lawns import Lawns
from geoturf.water.own_table import LENGTHS, amount, month_index, refuse_missing, rows, unit_column
from geoturf.water.sited import by_site

_MOST_ETO_M, _MOST_RAIN_M = 0.6, 5.0  # a month beyond these is a wrong unit


@dataclass(frozen=True)
class Months:
    """``eto_m`` and ``rain_m``: arrays (12,), metres a month, January first; ``origin``: where
    they come from, in words. ``sites``: those of each site, where a bid has several climates (then
    the months themselves are the mean over the ground compared); empty where one holds for all."""

    eto_m: np.ndarray
    rain_m: np.ndarray
    origin: str
    sites: Mapping[str, Months] = field(default_factory=dict)

    def of(self, site: str) -> Months:
        """The months of a site."""
        if self.sites:
            return self.sites[site]
        return self

    def places(self, site: pd.Series) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Where areas of the sites named (n,) lie, as numbers (n,); ETo and rain there, each
        (places, 12)."""
        if not self.sites:
            return np.zeros(len(site), int), self.eto_m[None], self.rain_m[None]
        numbers, names = pd.factorize(site)
        own = {id(months): months for months in map(self.of, names)}
        place = {one: number for number, one in enumerate(own)}
        of_site = np.array([place[id(self.of(name))] for name in names], int)
        eto = np.stack([one.eto_m for one in own.values()])
        rain = np.stack([one.rain_m for one in own.values()])
        return of_site[numbers], eto, rain


NEAREST = "nearest"
_EARTH_M = 6_371_008.8  # mean radius of GRS 80 (Moritz 2000)


def of_places(lawns: Lawns, rules: WaterRules, folder: str) -> Months:
    """The climate of the bid, or of each site: by the column that says which holds, or by which
    published place lies nearest.

    Raises `BidError` as `months`, for a value of that column without a climate, for a site under
    two, and for one without a published place near."""
    if rules.climates:
        named = by_site(lawns.areas, rules.climate_by, rules.climates, "climates")
        known = {name: months(rules.climates[name], folder) for name in dict.fromkeys(named)}
        return _of_sites(lawns, named, known)
    if published.key(rules.climate.place) == NEAREST:
        return _nearest(lawns, rules.climate)
    return months(rules.climate, folder)


def _of_sites(lawns: Lawns, named: pd.Series, known: Mapping[str, Months]) -> Months:
    """Months by site, and their mean over the ground. ``named``: of each site, which it has."""
    weight = lawns.ground_m2 / lawns.ground_m2.sum()
    of_area = lawns.areas["site"].map(named)
    shares = {name: float(weight[(of_area == name).to_numpy()].sum()) for name in known}
    return Months(
        np.sum([share * known[name].eto_m for name, share in shares.items()], axis=0),
        np.sum([share * known[name].rain_m for name, share in shares.items()], axis=0),
        "; ".join(f"{name}: {one.origin}" for name, one in known.items()),
        {str(site): known[name] for site, name in named.items()},
    )


def _nearest(lawns: Lawns, rules: Climate) -> Months:
    """The published place nearest to each site, with how far it is from the sites that it
    serves."""
    if lawns.degrees is None:
        fault = 'water.climate.place: "nearest" needs ground whose place is known'
        raise BidError(Finding("error", "no-climate", fault))
    first = np.flatnonzero(~lawns.areas["site"].duplicated().to_numpy())
    sites = lawns.areas["site"].iloc[first]
    rows = published.rows_of("places")
    away = np.stack([_away_m(lawns.degrees[first], row) for row in rows], axis=1)
    which = away.argmin(axis=1)
    least = away.min(axis=1)
    for site, place, distance in zip(sites, which, least, strict=True):
        if distance > rules.nearest_within_m:
            far = f"{rows[place]['place']} is {lawns.told.like(float(distance), '1 mi')} away"
            fault = f"water.climate.place: no published place lies near: {far}; state a climate"
            raise BidError(Finding("error", "no-station", fault, site=site))
    known = {}
    for place in dict.fromkeys(which.tolist()):
        name = rows[place]["place"]
        own = _place(rules.model_copy(update={"place": name}))
        furthest = lawns.told.like(float(least[which == place].max()), "1 mi")
        known[name] = replace(
            own, origin=f"{own.origin}; the nearest published, at most {furthest} away"
        )
    named = pd.Series([rows[place]["place"] for place in which], index=sites)
    return _of_sites(lawns, named, known)


def _away_m(degrees: np.ndarray, row: Mapping[str, str]) -> np.ndarray:
    """Great-circle distance of points (n, 2; longitude, latitude) from a place, metres, (n,), by
    the haversine formula: to 0.6 % of the ellipsoid's."""
    lon, lat = np.radians(degrees).T
    lon0, lat0 = np.radians([float(row["lon_deg"]), float(row["lat_deg"])])
    half = np.sin((lat - lat0) / 2) ** 2
    half = half + np.cos(lat) * np.cos(lat0) * np.sin((lon - lon0) / 2) ** 2
    distance: np.ndarray = 2 * _EARTH_M * np.arcsin(np.sqrt(half))
    return distance


def months(rules: Climate, folder: str) -> Months:
    """The climate a bid states. Raises `BidError` (none stated, unknown place) or `InputError` (a
    table's fault, by its line)."""
    if rules.table:
        return _checked(_station_table(Path(folder) / rules.table, rules), rules.table)
    if rules.weather:
        from geoturf.water.weather import from_weather  # its library is an extra

        return _checked(Months(*from_weather(Path(folder) / rules.weather, rules)), rules.weather)
    if rules.place:
        return _place(rules)
    if rules.eto_m:
        origin = _said(rules.station, rules.source) or "twelve values in the bid"
        return _checked(Months(np.array(rules.eto_m), _rain_m(rules), origin), "")
    places = ", ".join(sorted(_places()))
    fault = (
        "water.climate needs one of eto (twelve values), table (a CSV), "
        f'weather (a CSV of daily weather) or place (published: {places}; "nearest")'
    )
    raise BidError(Finding("error", "no-climate", fault))


def _places() -> set[str]:
    """Places with published ETo."""
    return {row["place"] for row in published.rows_of("eto")}


def _place(rules: Climate) -> Months:
    place = published.key(rules.place)
    rows = [row for row in published.rows_of("eto") if published.key(row["place"]) == place]
    if not rows:
        hint = published.closest(rules.place, _places())
        fault = f"water.climate.place: no published ETo for '{rules.place}'; {hint}"
        raise BidError(Finding("error", "unknown-place", fault))
    eto = np.zeros(12)
    for row in rows:
        eto[int(row["month"]) - 1] = float(row["value"]) * LENGTHS[row["unit"]]
    first = rows[0]
    seen = ", given from memory: check before use" if first["seen"] == "memory" else ""
    origin = f"{first['place']}, {first['source']}, {first['year']}{seen}"
    return Months(eto, _rain_m(rules), origin)


def _rain_m(rules: Climate) -> np.ndarray:
    """The bid's twelve months of rain, metres; none if left out."""
    if rules.rain_m:
        return np.array(rules.rain_m)
    return np.zeros(12)


def _said(*parts: str) -> str:
    return ", ".join(part for part in parts if part)


def _checked(given: Months, file: str) -> Months:
    """The same months; refuses what cannot be a month's ETo or rain (mostly a wrong unit)."""
    limits = (("ETo", given.eto_m, _MOST_ETO_M), ("rain", given.rain_m, _MOST_RAIN_M))
    for word, values, most in limits:
        if values.max(initial=0.0) > most:
            depth = f"{word} of {values.max() * 1000:.0f} mm in {MONTHS[int(values.argmax())]}"
            fault = f"{depth} is more than any place has; check the unit"
            raise InputError(Finding("error", "climate-range", fault, file=file))
    if given.eto_m.sum() <= 0:
        raise InputError(Finding("error", "climate-range", "ETo is zero in every month", file=file))
    return given


def _station_table(path: Path, rules: Climate) -> Months:
    """Twelve rows: month, eto_in or eto_mm, and rain_in or rain_mm if known."""
    name = rules.table
    table = rows(path, name)
    eto_column, eto_scale = unit_column(table, "eto", name, needed=True)
    rain_column, rain_scale = unit_column(table, "rain", name, needed=False)
    eto = np.full(12, np.nan)
    rain = np.zeros(12)
    for line, row in enumerate(table, 2):
        month = month_index(row.get("month", ""), name, line)
        if not np.isnan(eto[month]):
            fault = f"line {line}: {MONTHS[month]} stands twice"
            raise InputError(Finding("error", "climate-month", fault, file=name))
        eto[month] = amount(row[eto_column], "ETo", name, line) * eto_scale
        if rain_column:
            rain[month] = amount(row[rain_column], "rain", name, line) * rain_scale
    refuse_missing(np.isnan(eto), name)
    return Months(eto, rain, _said(rules.station, rules.source, name))
