"""Figures of a portfolio: of all of it, by group, of each site, and those that stand out.

All come from areas.csv as it is written (and water.csv), so that whoever adds up the table finds
the same: sums are of rounded figures, in the bid's units; money is counted in cents.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import pandas as pd

from geoturf import tables
from geoturf.model import Result

MOST_GROUPS = 300  # of a table; areas.csv has what they are made of
_MOST_BARS = 12
_FEW = 5  # sites named as standing out
_NONE = "(none)"
_OWN = ("phase", "product", "use")
_SUMS = ["ground", "surface", "bought", "cents", "variance", "cents_variance", "saved"]


class Table(NamedTuple):
    """``text``: numbers of the columns that are words. ``said``: what is to be known of it."""

    title: str
    head: tuple[str, ...]
    rows: list[list[str]]
    text: tuple[int, ...]
    said: str = ""


class Bar(NamedTuple):
    """A group's figure in words, and its part of the largest."""

    name: str
    value: str
    part: float


@dataclass(frozen=True)
class Land:
    """``areas``: one row an area: site, what it can be grouped by (``groups``), and `_SUMS`."""

    areas: pd.DataFrame
    groups: tuple[str, ...]
    square: str  # the unit of areas as written
    volume: str
    currency: str
    water: bool
    laid_on: str  # where water is compared: which areas have turf and a price
    estimated: int  # areas that are not laid

    @property
    def surveyed(self) -> bool:
        """Whether any layer states how accurate it is."""
        return bool(self.areas["variance"].any())


def land(result: Result) -> Land:
    table = tables.areas(result)
    us = result.bid.units == "us"
    unit = "ft2" if us else "m2"
    kept = tables.kept(table)
    ground = table[f"ground_area_{unit}"].to_numpy(float)
    tolerance = table[f"area_tolerance_{unit}"].to_numpy(float)
    cents = np.array([round(100 * float(price)) for price in table["price"]], np.int64)
    part = np.divide(tolerance, ground, out=np.zeros_like(ground), where=ground > 0)
    words = {name: table[name].replace("", _NONE) for name in (*kept, *_OWN)}
    areas = pd.DataFrame({"site": table["site"]}).assign(
        **{f"by {name}": values for name, values in words.items()},
        ground=ground,
        surface=table[f"surface_area_{unit}"].where(table[f"turf_bought_{unit}"] > 0, 0.0),
        bought=table[f"turf_bought_{unit}"],
        cents=cents,
        variance=tolerance**2,
        cents_variance=(cents * part) ** 2,
        saved=_saved(result, table),
    )
    own = [name for name in _OWN if areas[f"by {name}"].nunique() > 1]
    square, volume = ("ft²", "gal") if us else ("m²", "m³")
    water = result.water is not None
    laid_on = "where it is chosen" if result.turf_is_chosen else "on every area"
    estimate = result.plan.estimate
    estimated = 0 if estimate is None else len(estimate.areas)
    told = (result.bid.currency, water, laid_on, estimated)
    return Land(areas, (*kept, *own), square, volume, *told)


def _saved(result: Result, table: pd.DataFrame) -> np.ndarray:
    """Water saved a year by what is chosen, of each area."""
    if result.water is None:
        return np.zeros(len(table))
    rows = tables.water(result, only_chosen=True)
    (column,) = [name for name in map(str, rows) if name.startswith("saved_")]
    chosen = rows.set_index(["site", "area"])[column]
    places = pd.MultiIndex.from_frame(table[["site", "area"]])
    return np.asarray(chosen.reindex(places).fillna(0.0).to_numpy(float))


def notes(land: Land) -> list[str]:
    """What a reader has to know first."""
    out = ["The office's: it holds waste. Prices for the client are in the folder client."]
    if land.estimated:
        out.append(f"Turf of {land.estimated:,} areas is estimated from their shapes, not laid.")
    if land.water:
        out.append(f"Prices are of turf {land.laid_on}; what is chosen is in planner.html.")
    if land.water and not land.areas["bought"].any():
        out.append("Turf is chosen nowhere, so that nothing is bought: prices and waste are 0.")
    if not land.surveyed:
        out.append("No layer states how accurate it is (sigma), so tolerance is not told.")
    return out


def sums(land: Land, by: str) -> pd.DataFrame:
    """A row a value of the column ``by`` of the areas, in the order met: `_SUMS`, areas, sites."""
    grouped = land.areas.groupby(by, sort=False)
    out = grouped[_SUMS].sum()
    out["areas"], out["sites"] = grouped.size(), grouped["site"].nunique()
    return with_ratios(out)


def with_ratios(out: pd.DataFrame) -> pd.DataFrame:
    """With what follows from the sums: each, waste, tolerance, price_tolerance, unsure."""
    price = out["cents"] / 100
    sigma = np.sqrt(out["cents_variance"]) / 100
    return out.assign(
        price=price,
        each=price / out["ground"],
        waste=tables.waste_pct(out["bought"], out["surface"]),
        tolerance=np.sqrt(out["variance"]),
        price_tolerance=sigma,
        unsure=100 * sigma / price.where(price > 0),
    )


class Measure(NamedTuple):
    """A figure that tables and pages show: its column of `sums`, its words, decimals."""

    name: str
    label: str
    digits: int


def measures(land: Land) -> list[Measure]:
    """What is told of every group and site, in order."""
    out = [
        Measure("areas", "areas", 0),
        Measure("ground", f"ground, {land.square}", 0),
        Measure("price", f"price, {land.currency}", 2),
        Measure("each", f"{land.currency} a {land.square}", 2),
        Measure("waste", "waste, %", 1),
    ]
    if land.surveyed:
        out.append(Measure("tolerance", f"tolerance (1 σ), {land.square}", 0))
        out.append(Measure("price_tolerance", f"tolerance (1 σ), {land.currency}", 0))
    if land.water:
        out.append(Measure("saved", f"water saved a year, {land.volume}", 0))
    return out


def whole(land: Land) -> list[tuple[str, str]]:
    """Word and value of each figure of all together."""
    together = replace(land, areas=land.areas.assign(every=""))
    row = sums(together, "every").iloc[0]
    told = [(one.label, _written(float(row[one.name]), one)) for one in measures(land)]
    return [("sites", f"{int(row['sites']):,}"), *told]


def _written(value: float, one: Measure) -> str:
    if np.isnan(value):
        return "–"
    return f"{value:,.{one.digits}f}"


def by_group(land: Land, group: str) -> Table:
    """A row a group, the dearest in all first, and the sum of all."""
    rows = sums(land, f"by {group}")
    told = measures(land)
    rows = rows.sort_values("cents", ascending=False, kind="stable")
    cells = [_cells(str(name), row, told) for name, row in _named(rows.head(MOST_GROUPS))]
    more = len(rows) - MOST_GROUPS
    said = ""
    if more > 0:
        said = f"{more:,} smaller groups are not listed; areas.csv has them. "
    if rows["sites"].sum() > land.areas["site"].nunique():
        said += "A site whose areas differ counts in each of its groups."
    head = (group, "sites", *(one.label for one in told))
    return Table(f"By {group}", head, cells, (0,), said.strip())


def _named(rows: pd.DataFrame) -> Iterator[tuple[object, pd.Series]]:
    return iter(zip(rows.index, (row for _, row in rows.iterrows()), strict=True))


def _cells(name: str, row: pd.Series, told: list[Measure]) -> list[str]:
    return [name, f"{int(row['sites']):,}", *(_written(float(row[one.name]), one) for one in told)]


def bars(land: Land, group: str, name: str) -> list[Bar]:
    """The largest groups by a measure."""
    (one,) = [one for one in measures(land) if one.name == name]
    rows = sums(land, f"by {group}")[name].dropna().sort_values(ascending=False, kind="stable")
    most = 0.0
    if len(rows):
        most = max(float(rows.max()), 0.0)
    top = rows.head(_MOST_BARS)
    parts = [max(0.0, float(value)) / most if most > 0 else 0.0 for value in top]
    values = [_written(float(value), one) for value in top]
    return [Bar(*one) for one in zip(top.index.astype(str), values, parts, strict=True)]


def sites(land: Land) -> pd.DataFrame:
    """A row a site: `sums`, and its groups as ``by …``, several joined by +."""
    rows = sums(land, "site")
    grouped = land.areas.groupby("site", sort=False)
    for name in land.groups:
        joined = grouped[f"by {name}"].agg(lambda some: " + ".join(dict.fromkeys(some)))
        rows[f"by {name}"] = joined
    return rows


def outliers(land: Land, rows: pd.DataFrame) -> list[Table]:
    """Sites that stand out, of ``rows`` as `sites` gives them; by no figure that all have 0 of."""
    kinds = [("each", f"Dearest a {land.square}", f"{land.currency} a {land.square}")]
    kinds.append(("waste", "Most waste", "waste, %"))
    if land.surveyed:
        kinds.append(("unsure", "Least certain", "1 σ of the price, %"))
    if land.water:
        kinds.append(("saved", "Most water saved", f"water saved a year, {land.volume}"))
    return [_most(land, rows, *kind) for kind in kinds if rows[kind[0]].any()]


def _most(land: Land, rows: pd.DataFrame, name: str, title: str, label: str) -> Table:
    top = rows.sort_values(name, ascending=False, kind="stable").head(_FEW)
    one = Measure(name, label, 0 if name == "saved" else 2)
    groups = [f"by {group}" for group in land.groups]
    cells = [
        [str(site), _written(float(row[name]), one), *(str(row[group]) for group in groups)]
        for site, row in _named(top)
    ]
    said = f"The middle one of all sites: {_written(float(rows[name].median()), one)}."
    words = (0, *range(2, 2 + len(groups)))
    return Table(title, ("site", label, *land.groups), cells, words, said)
