"""Rows of turf: bought as the cut plan says."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from geoturf import units
from geoturf.materials.packages import whole
from geoturf.model import CutPlan
from geoturf.rules import Product
from geoturf.rules.items import ITEMS, say


def turf_pools(plan: CutPlan, products: Mapping[str, Product]) -> pd.DataFrame:
    """Turf as the cut plan buys it: whole rolls by width and length, or lengths by width. Left-overs at hand cost nothing."""
    middle = plan.pieces["length_m"] + (plan.pieces["end_slant_m"] - plan.pieces["start_slant_m"]) / 2
    cut = (middle * plan.pieces["width_m"]).groupby(plan.pieces["roll"]).sum()
    bought = plan.rolls[plan.rolls["source"] == "bought"]
    rolls = bought.assign(
        phase=bought["phase"].astype(str),
        net=bought["roll"].map(cut).fillna(0.0),
        size=bought["length_m"].where(_whole_rolls(bought["product"], products), 0.0),
    )
    found = rolls.groupby(["phase", "product", "width_m", "size"], sort=True, as_index=False).agg(
        net=("net", "sum"), pieces=("pieces", "sum"), rolls=("roll", "size"), length=("length_m", "sum")
    )
    by_roll = _whole_rolls(found["product"], products)
    steps = [
        ("roll", size) if size else _length_step(length)
        for size, length in zip(found["size"], found["length"], strict=True)
    ]
    step_m = np.array([step for _, step in steps], float)
    words = found.assign(width=found["width_m"], sold_as=np.where(by_roll, "whole rolls", "lengths off rolls")).to_dict(
        "records"
    )
    return _turf(found, products).assign(
        order=np.where(by_roll, found["rolls"], np.rint(found["length"] / step_m)).astype(np.int64),
        order_unit=[unit for unit, _ in steps],
        order_size=step_m * found["width_m"],
        basis=[say(ITEMS["turf"].basis, row, "us") for row in words],
        basis_metric=[say(ITEMS["turf"].basis, row, "metric") for row in words],
    )


def _whole_rolls(product: pd.Series, products: Mapping[str, Product]) -> pd.Series:
    return product.map({name: p.sold_by == "roll" for name, p in products.items()}).astype(bool)


def _turf(found: pd.DataFrame, products: Mapping[str, Product]) -> pd.DataFrame:
    """What all rows of turf have; ``found`` has phase, product, width_m, net."""
    item, titles = ITEMS["turf"], {name: p.title for name, p in products.items()}
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
    """The coarsest unit in which a length billed by steps is whole."""
    for unit in ("ft", "m", "in", "cm"):
        step = units.unit_factor(unit)[0]
        if abs(length_m / step - round(length_m / step)) < 1e-6:
            return unit, step
    return "mm", 0.001


def turf_sites(areas: pd.DataFrame, plan: CutPlan, products: Mapping[str, Product]) -> pd.DataFrame:
    """What each site would buy if it were cut alone by the simplest rule: longest piece first, side by side while they fit
    (`sections_m`). The pools' own cut plan is better twice: it shares rolls and it is searched for."""
    pieces = plan.pieces.reset_index(drop=True)
    at = areas.loc[pieces["area_index"].to_numpy(), ["phase", "site", "product"]].astype(str).reset_index(drop=True)
    at["width_m"] = plan.rolls.set_index("roll")["width_m"].loc[pieces["roll"].to_numpy()].to_numpy()
    at["net"] = pieces["length_m"] * pieces["width_m"]
    usable = (pieces["across_m"] + pieces["width_m"]).groupby([at["product"], at["width_m"]]).max()
    groups = at.groupby(["phase", "site", "product", "width_m"], sort=False)
    found = groups["net"].sum().reset_index()
    number = groups.ngroup().to_numpy()
    rows = np.split(np.argsort(number, kind="stable"), np.cumsum(np.bincount(number))[:-1])
    cut = pieces[["length_m", "width_m"]].to_numpy(float)
    widest = [usable[product, width] for product, width in zip(found["product"], found["width_m"], strict=True)]
    sections = [sections_m(cut[own], width) for own, width in zip(rows, widest, strict=True)]
    return _turf(found, products).assign(**_bought_alone(found, sections, products))


def sections_m(pieces: np.ndarray, usable_m: float) -> list[float]:
    """Lengths of the sections that hold ``pieces`` ((n, 2): length, width): first fit by decreasing length, the plain rule whose
    worst case is known (at most 1.7 times the least, and one piece more; Coffman et al. 1980)."""
    sections: list[list[float]] = []  # length, width left
    for length, width in pieces[np.argsort(-pieces[:, 0], kind="stable")]:
        home = next((section for section in sections if section[1] >= width - 1e-9), None)
        if home is None:
            home = [length, usable_m]
            sections.append(home)
        home[1] -= width
    return [length for length, _ in sections]


def _bought_alone(found: pd.DataFrame, sections: list[list[float]], products: Mapping[str, Product]) -> dict[str, Any]:
    """order, order_unit, order_size: feet off a roll, or whole rolls of the longest stocked length filled first fit."""
    order, unit, size = [], [], []
    for name, width, lengths in zip(found["product"], found["width_m"], sections, strict=True):
        longest = products[name].roll_lengths[0]
        by_roll = products[name].sold_by == "roll"
        step = longest if by_roll else units.FOOT_M
        # a section laid along a roll is to a roll what a piece laid across it is to a section
        rolls = sections_m(np.array([(1.0, length) for length in lengths]), longest) if by_roll else [sum(lengths)]
        order.append(len(rolls) if by_roll else int(whole(rolls[0] / step)))
        unit.append("roll" if by_roll else "ft")
        size.append(step * width)
    return {"order": np.array(order, np.int64), "order_unit": unit, "order_size": size}
