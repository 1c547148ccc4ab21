"""Who bears what: lines on areas, areas to sites and phases, lines to the schedule of values."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from geoturf import data, units
from geoturf.model import Ground, Takeoff
from geoturf.price.money import decimal_of, shared
from geoturf.records import records


def bearers(
    ground: Ground, takeoff: Takeoff, lines: pd.DataFrame
) -> tuple[pd.DataFrame, pd.Series]:
    """Who bears each line: areas-aligned net quantities, and the name of the column that each line
    is shared by.

    A line is borne by the areas of its phase: turf by those of its product, else by their net
    quantity of its item, and by surface where they have none of it."""
    net = takeoff.areas
    product = ground.areas["product"]
    columns = {"surface": net["surface"]}
    borne = records(lines, _Line)
    for line in dict.fromkeys(replace(line, phase="") for line in borne):
        own = product.eq(line.product) if line.weigh == "turf" else 1.0
        columns[line.column()] = net[line.weigh] * own
    shares = pd.DataFrame(columns, index=ground.areas.index).astype(float)
    sums = shares.groupby(ground.areas["phase"].astype(str), sort=False).sum()
    taken = {
        (str(phase), name): total
        for name, column in sums.items()
        for phase, total in zip(sums.index, column.tolist(), strict=True)
    }
    named = [line.column() if taken[line.phase, line.column()] > 0 else "surface" for line in borne]
    return shares, pd.Series(named, lines.index, dtype=object)


@dataclass(frozen=True, slots=True)
class _Line:
    """What of a price line says who bears it."""

    phase: str
    weigh: str
    product: str

    def column(self) -> str:
        """The column of the net quantities it is shared by."""
        if self.weigh == "turf":
            return f"turf {self.product}"
        return self.weigh


def of_areas(
    ground: Ground, shares: pd.DataFrame, lines: pd.DataFrame, loads: pd.DataFrame
) -> pd.DataFrame:
    """Areas-aligned cents: cost, price. Of what the lines of a phase come to, each site bears, and
    in it each area, what it takes of each line; ``lines`` have the column ``share``."""
    out = pd.DataFrame(0, index=ground.areas.index, columns=["cost", "price"])
    for by_site, own, part in parts(ground, shares, lines):
        cost = loads["cost"].to_numpy()[own]
        rest = loads["price"].to_numpy()[own] - cost
        costs = shared(int(cost.sum()), (part * cost).sum(axis=1))
        out.iloc[by_site, 0] = costs
        out.iloc[by_site, 1] = shared(int(rest.sum()), (part * rest).sum(axis=1)) + costs
    return out


def parts(
    ground: Ground, shares: pd.DataFrame, lines: pd.DataFrame
) -> Iterator[tuple[NDArray[np.intp], NDArray[np.bool_], NDArray[np.float64]]]:
    """Of each phase: rows of its areas, site by site; which lines are its own; and what part of
    each of those (down a column) each area bears."""
    land = ground.areas
    for phase, rows in land.groupby(land["phase"].astype(str), sort=False).indices.items():
        sites = pd.factorize(land["site"].to_numpy()[rows])[0]  # as they come in this phase
        by_site = np.asarray(rows)[np.argsort(sites, kind="stable")]
        own = (lines["phase"] == phase).to_numpy()
        net = shares[list(lines["share"][own])].to_numpy()[by_site]
        yield by_site, own, net / np.where(net.any(axis=0), net.sum(axis=0), 1.0)


def of_sites(ground: Ground, areas: pd.DataFrame) -> pd.DataFrame:
    """site, cost, price (Decimal), sites as they come."""
    sums = areas.groupby(ground.areas["site"], sort=False).sum().map(decimal_of)
    return sums.rename_axis("site").reset_index()


def of_phases(ground: Ground, areas: pd.DataFrame) -> pd.DataFrame:
    """phase, sites, areas, surface_area_m2, cost, price, price_per_ft2, price_per_m2."""
    land = ground.areas.assign(**areas).groupby("phase", sort=False)
    out = land.agg(
        sites=("site", "nunique"), areas=("site", "size"), surface_area_m2=("surface_area_m2", "sum"),
        cost=("cost", "sum"), price=("price", "sum"),
    ).reset_index()  # fmt: skip
    for unit, size in (("ft2", units.FT2_M2), ("m2", 1.0)):
        surfaces = out["surface_area_m2"] / size
        each = [
            units.cents(cents / 100 / surface) if surface > 0 else decimal_of(0)
            for cents, surface in zip(out["price"], surfaces, strict=True)
        ]
        out[f"price_per_{unit}"] = pd.Series(each, dtype=object)
    out[["cost", "price"]] = out[["cost", "price"]].map(decimal_of)
    return out


def schedule_of_values(lines: pd.DataFrame, loads: pd.DataFrame) -> pd.DataFrame:
    """phase, section, title, amount, each step, price; phases as they come, sections ascending;
    adds up down and across."""
    titles = {row["value"]: row["title"] for row in data.rows_of("masterformat")}
    phases = {name: place for place, name in enumerate(lines["phase"].unique())}
    keys = [lines["phase"].map(phases).rename("place"), lines["phase"], lines["section"]]
    table = (
        loads.drop(columns="cost")
        .groupby(keys, sort=True)
        .sum()
        .map(decimal_of)
        .reset_index()
        .drop(columns="place")
    )
    table.insert(2, "title", table["section"].map(titles).fillna("Other"))
    return table
