"""Dye lots: turf of two lots may differ in shade, so rolls are shared, and a view is laid, within
one. Where a phase needs more than a lot holds, its sites are parted before anything is laid."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from geoturf.model import CutPlan, Finding, Ground
from geoturf.rules import Product
from geoturf.units import System

# Turf bought over ground, about, before it is known: what a careful layout wastes and a little
# more. Should that not do, `within_limits` tells it.
_OVER = 1.15
_NOISE_M = 1e-6


def parted(ground: Ground, products: Mapping[str, Product]) -> Ground:
    """The ground with the column ``dye_lot`` of its areas, where a phase needs more of a product
    than a dye lot holds: "dye lot 1" and so on, "" where one is enough. Sites and views stay whole,
    unless one alone needs more. The same ground where no lot is too small."""
    if all(product.dye_lot_m is None for product in products.values()):
        return ground
    areas = ground.areas
    keys = ground.pool_keys("phase")
    lots = np.full(len(areas), "", object)
    for key in dict.fromkeys(keys):
        rows = np.flatnonzero([other == key for other in keys])
        product = products[key[1]]
        if product.dye_lot_m is not None:
            width_m = product.widths[0].roll_width_m
            lots[rows] = _lots(areas.iloc[rows], product.dye_lot_m, width_m)
    if not lots.any():
        return ground
    return replace(ground, areas=areas.assign(dye_lot=lots))


def _lots(areas: pd.DataFrame, lot_m: float, width_m: float) -> list[str]:
    """The lot of each area: units one after another into the first lot that has room."""
    need_m = areas["surface_area_m2"].to_numpy(float) / width_m * _OVER
    if need_m.sum() <= lot_m:
        return [""] * len(areas)
    unit = _units(areas)
    needs = np.bincount(unit, weights=need_m)
    left: list[float] = []
    lot_of = np.zeros(len(needs), int)
    for at, need in enumerate(needs):
        room = next((k for k, rest in enumerate(left) if need <= rest), None)
        if room is None:
            room = len(left)
            left.append(lot_m)
        left[room] -= need
        lot_of[at] = room
    return [f"dye lot {lot_of[one] + 1}" for one in unit]


def _units(areas: pd.DataFrame) -> np.ndarray:
    """What may not be parted, by number in the order of its first area: areas of a site or of a
    view, and what these join."""
    joined: dict[str, str] = {}

    def first(name: str) -> str:
        while joined.setdefault(name, name) != name:
            name = joined[name]
        return name

    sites = ("site " + areas["site"].astype(str)).tolist()
    for site, view in zip(sites, areas["view"].astype(str), strict=True):
        if view:
            joined[first(f"view {view}")] = first(site)
    return pd.factorize(np.array([first(site) for site in sites], object))[0]


def within_limits(
    plan: CutPlan, ground: Ground, products: Mapping[str, Product], told: System
) -> CutPlan:
    """The plan with a warning for each dye lot that cannot hold what is bought of it, and for each
    product of which less is bought than is sold."""
    findings = (*_too_much(plan, ground, products, told), *_too_little(plan, products, told))
    if findings:
        return replace(plan, findings=(*plan.findings, *findings))
    return plan


def of_rolls(plan: CutPlan, ground: Ground) -> pd.Series:
    """The dye lot of each roll in the plan, rolls-aligned: that of the areas it is cut for."""
    if "dye_lot" not in ground.areas:
        return pd.Series("", plan.rolls.index, dtype=object)
    lots = ground.areas["dye_lot"].to_numpy()[plan.pieces["area_index"].to_numpy(int)]
    by_roll = dict(zip(plan.pieces["roll"], lots, strict=True))
    return plan.rolls["roll"].map(by_roll).fillna("")


def _too_much(
    plan: CutPlan, ground: Ground, products: Mapping[str, Product], told: System
) -> Iterator[Finding]:
    bought = plan.rolls[plan.rolls["source"] == "bought"].assign(lot=of_rolls(plan, ground))
    sums = bought.groupby(["phase", "product", "lot"], sort=False)["length_m"].sum()
    for phase, name, lot, length_m in sums.reset_index().itertuples(index=False, name=None):
        most_m = products[name].dye_lot_m
        if most_m is not None and length_m > most_m + _NOISE_M:
            where = f"phase {phase}" + (f", {lot}" if lot else "")
            need = told.length(length_m)
            holds = told.length(most_m)
            fault = f"{where}: {need} of {name} are bought, and a dye lot holds {holds}"
            mend = "ask the mill for a larger one, or part the site or view that fills it"
            yield Finding("warning", "dye-lot", f"{fault}; {mend}")


def _too_little(plan: CutPlan, products: Mapping[str, Product], told: System) -> Iterator[Finding]:
    bought = plan.rolls[plan.rolls["source"] == "bought"]
    for name, length_m in bought.groupby("product", sort=False)["length_m"].sum().items():
        least_m = products[str(name)].least_order_m
        if least_m is not None and length_m < least_m - _NOISE_M:
            needs = told.length(length_m)
            sold = told.length(least_m)
            fault = f"{needs} of {name} are bought, and the least order is {sold}"
            yield Finding("warning", "least-order", f"{fault}; the rest is not in the price")
