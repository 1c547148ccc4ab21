"""Rows of turf: bought as the cut plan says."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from geoturf import units
from geoturf.model import CutPlan, Estimate
from geoturf.rules import Product
from geoturf.rules.items import ITEMS, say

_KEYS = ["phase", "site", "product", "width_m"]
_NOT_LAID = (
    "estimated from the shapes, not laid: {net:area}, about {rolls:count} {sold_as} {width:length} "
    "wide, "
    "{length:length} in all"
)


def turf_rows(
    plan: CutPlan, products: Mapping[str, Product], site: Mapping[str, str] | None = None
) -> pd.DataFrame:
    """Turf as the cut plan buys it: whole rolls by width and length, or lengths by width; by
    ``site`` (of each roll) if given. Left-overs at hand cost nothing."""
    rolls = [_planned(plan, site)] if len(plan.rolls) else []
    rolls += [_estimated(plan.estimate, site is not None)] if plan.estimate else []
    every = pd.concat(rolls or [_planned(plan, site)], ignore_index=True)
    whole = _whole_rolls(every["product"], products)
    found = (
        every.assign(size=every["each_m"].where(whole, 0.0))
        .groupby([*_KEYS, "size", "estimated"], sort=True, as_index=False)[
            ["net", "pieces", "rolls", "length"]
        ]
        .sum()
    )
    by_roll = _whole_rolls(found["product"], products)
    steps = [
        ("roll", size) if size else _length_step(length)
        for size, length in zip(found["size"], found["length"], strict=True)
    ]
    step_m = np.array([step for _, step in steps], float)
    sold_as = np.where(by_roll, "whole rolls", "lengths off rolls")
    words = found.assign(width=found["width_m"], sold_as=sold_as)
    return _turf(found, products).assign(
        order=np.where(by_roll, found["rolls"], np.rint(found["length"] / step_m)).astype(np.int64),
        order_unit=[unit for unit, _ in steps],
        order_size=step_m * found["width_m"],
        basis=_said(words, "us"),
        basis_metric=_said(words, "metric"),
    )


def _planned(plan: CutPlan, site: Mapping[str, str] | None) -> pd.DataFrame:
    """Rolls as the cut plan has them, a row each."""
    middle = (
        plan.pieces["length_m"] + (plan.pieces["end_slant_m"] - plan.pieces["start_slant_m"]) / 2
    )
    cut = (middle * plan.pieces["width_m"]).groupby(plan.pieces["roll"]).sum()
    bought = plan.rolls[plan.rolls["source"] == "bought"]
    return bought[["product", "width_m", "pieces"]].assign(
        phase=bought["phase"].astype(str),
        site=bought["roll"].map(site) if site is not None else "",
        net=bought["roll"].map(cut).fillna(0.0),
        rolls=1,
        each_m=bought["length_m"],
        length=bought["length_m"],
        estimated=False,
    )


def _estimated(estimate: Estimate, by_site: bool) -> pd.DataFrame:
    """What is bought for areas that are not laid, a row a pool and size of roll."""
    bought = estimate.bought
    if bought is None:
        raise ValueError("nothing is bought yet for what is estimated")
    return bought[["product", "width_m", "rolls"]].assign(
        phase=bought["phase"].astype(str),
        site=bought["site"] if by_site else "",
        net=bought["net_m2"],
        pieces=0,
        each_m=bought["length_m"],
        length=bought["total_m"],
        estimated=True,
    )


def _said(values: pd.DataFrame, system: str) -> list[str]:
    """The formula of each row, of the values in its columns."""
    rows = values.to_dict("records")
    named = [{str(name): value for name, value in row.items()} for row in rows]
    basis = ITEMS["turf"].basis
    return [say(_NOT_LAID if row["estimated"] else basis, row, system) for row in named]


def _whole_rolls(product: pd.Series, products: Mapping[str, Product]) -> pd.Series:
    return product.map({name: p.sold_by == "roll" for name, p in products.items()}).astype(bool)


def _turf(found: pd.DataFrame, products: Mapping[str, Product]) -> pd.DataFrame:
    """What all rows of turf have; ``found`` has phase, product, width_m, net."""
    item = ITEMS["turf"]
    titles = {name: p.title for name, p in products.items()}
    kept = found.reindex(columns=["phase", "site", "product", "width_m", "net"])
    return kept.assign(
        key="turf",
        section=item.section,
        item=found["product"].map(titles),
        unit=item.unit,
        allowance=0.0,
        price_key="turf",
    )


def _length_step(length_m: float) -> tuple[str, float]:
    """The coarsest unit, or decimal part of one, in which a length billed by steps is whole to a
    micrometre."""
    for unit, part in _LENGTHS:
        step = units.unit_factor(unit)[0] * part
        if abs(length_m - round(length_m / step) * step) < 1e-6:
            break
    return f"{part:g} {unit}" if part < 1 else unit, step


_LENGTHS = (
    *((unit, 1.0) for unit in ("ft", "m", "in", "cm", "mm")),
    *((unit, part) for part in (0.1, 0.01, 0.001) for unit in ("ft", "in", "mm")),
)
