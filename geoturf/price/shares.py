"""Who bears what: lines on areas, areas to sites and phases, lines to the schedule of values."""

from __future__ import annotations

import numpy as np
import pandas as pd

from geoturf import data, units
from geoturf.model import Ground, Takeoff
from geoturf.price.money import decimal_of, shared


def of_areas(ground: Ground, takeoff: Takeoff, lines: pd.DataFrame, loads: pd.DataFrame) -> pd.DataFrame:
    """Areas-aligned cents: cost, price. Each line goes to the areas of its phase by their net quantity of its item."""
    cost, price = np.zeros(len(ground.areas), np.int64), np.zeros(len(ground.areas), np.int64)
    phase, product = ground.areas["phase"].astype(str).to_numpy(), ground.areas["product"].to_numpy()
    rows_of = {name: np.flatnonzero(phase == name) for name in dict.fromkeys(phase)}
    for line, load in zip(lines.itertuples(), loads.itertuples(), strict=True):
        rows = rows_of[line.phase]
        weights = takeoff.areas[line.weigh].to_numpy()[rows]
        if line.key == "turf":
            weights = weights * (product[rows] == line.product)
        if not weights.sum() > 0:
            weights = takeoff.areas["surface"].to_numpy()[rows]
        part = shared(load.cost, weights)
        cost[rows] += part
        price[rows] += part + shared(load.price - load.cost, weights)
    return pd.DataFrame({"cost": cost, "price": price}, index=ground.areas.index)


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
        out[f"price_per_{unit}"] = [
            units.cents(cents / 100 / surface) if surface > 0 else decimal_of(0)
            for cents, surface in zip(out["price"], surfaces, strict=True)
        ]
    out[["cost", "price"]] = out[["cost", "price"]].map(decimal_of)
    return out


def schedule_of_values(lines: pd.DataFrame, loads: pd.DataFrame) -> pd.DataFrame:
    """phase, section, title, amount, each step, price; phases as they come, sections ascending; adds up down and across."""
    titles = {row["value"]: row["title"] for row in data.table("masterformat")}
    phases = {name: place for place, name in enumerate(lines["phase"].unique())}
    keys = [lines["phase"].map(phases).rename("place"), lines["phase"], lines["section"]]
    table = (
        loads.drop(columns="cost").groupby(keys, sort=True).sum().map(decimal_of).reset_index().drop(columns="place")
    )
    table.insert(2, "title", table["section"].map(titles).fillna("Other"))
    return table
