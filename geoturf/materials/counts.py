"""What each phase has that lump prices are counted by: sites, loads, trucks, rolls, crew time."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from geoturf import units
from geoturf.model import CutPlan
from geoturf.rules import MaterialRules, Product
from geoturf.rules.items import of_kind

#: what is trucked to a phase beside turf; stone is bought delivered, the rest weighs little
FREIGHT = ("infill", "odour", "granules")


def counts(
    phase: pd.Series[str],
    areas: pd.DataFrame,
    items: pd.DataFrame,
    plan: CutPlan,
    products: Mapping[str, Product],
    rules: MaterialRules,
) -> pd.DataFrame:
    """By ``phase`` (of each area): sites, surface_m2, loads (of spoil), rolls (and lengths off
    rolls, bought), crew_h, crew_days, freight_kg (turf, infill and granules as bought) and trucks,
    whole ones a phase. ``areas``: net quantities; ``items``: rows of the takeoff."""
    sums = areas.groupby(phase, sort=False).sum()
    out = pd.DataFrame({"sites": sums["sites"].round().astype(int), "surface_m2": sums["surface"]})
    pools = items[items["scope_kind"] == "pool"]
    bought = _bought(plan)
    weight = bought["product"].map({name: p.weight_kg_per_m2() for name, p in products.items()})
    turf_kg = bought["width_m"] * bought["total_m"] * weight.astype(float)
    filled_kg = (pools["order"] * pools["order_size"]).where(pools["key"].isin(FREIGHT), 0.0)

    def by_phase(values: pd.Series[Any], of: pd.DataFrame) -> pd.Series[Any]:
        return values.groupby(of["phase"].astype(str)).sum().reindex(out.index).fillna(0)

    out["loads"] = by_phase(pools["order"].where(pools["key"] == "haul", 0), pools).astype(int)
    out["rolls"] = by_phase(bought["rolls"], bought).astype(int)
    out["crew_h"] = sums[[task.key for task in of_kind("labour")]].sum(axis=1)
    out["crew_days"] = units.whole_steps(out["crew_h"], rules.hours_a_day_h).astype(int)
    out["freight_kg"] = by_phase(turf_kg, bought) + by_phase(filled_kg, pools)
    out["trucks"] = units.whole_steps(out["freight_kg"], rules.delivery_truck_kg).astype(int)
    return out


def _bought(plan: CutPlan) -> pd.DataFrame:
    """Turf bought, planned and estimated: phase, product, width_m, rolls (or lengths), total_m."""
    planned = plan.rolls[plan.rolls["source"] == "bought"]
    planned = planned.assign(rolls=1, total_m=planned["length_m"])
    names = ["phase", "product", "width_m", "rolls", "total_m"]
    if plan.estimate is None or plan.estimate.bought is None:
        return planned[names]
    every = [planned[names]] if len(planned) else []
    return pd.concat([*every, plan.estimate.bought[names]], ignore_index=True)
