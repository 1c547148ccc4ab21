"""Small pools: which layouts cost least by what is really bought for them.

In a large pool one layout more or less is judged by its area (`swap`). In a small one that says
little: a lawn alone is billed by its own rolls. So every other layout an area is offered is tried
in the place of its first, and the pool cut anew each time.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import TypeVar

import numpy as np

from geoturf.cuts import exact, rolls
from geoturf.cuts.job import used
from geoturf.cuts.market import Market, width_key
from geoturf.cuts.pools import make_job
from geoturf.cuts.sections import quick
from geoturf.cuts.solve import solve
from geoturf.model import Layout
from geoturf.rules import CROSS_WORTH, LayoutRules

T = TypeVar("T")
SMALL, FEW = (
    6,
    400,
)  # areas of a pool, and its pieces: a park is no lawn, and cutting it anew takes long
_PASSES = 3  # over all areas of a pool
_LESS = 1e-9  # of the cost: float noise is no gain

# row of the layout chosen for each area among those offered to it, these, which areas are laid
# alike, the product's market by roll width, the rules
Work = tuple[list[int], list[Sequence[Layout]], list[list[int]], dict[float, Market], LayoutRules]


def settled(work: Work) -> list[int]:
    """Row of a layout for each area of a small pool: the chosen ones, then any other that makes
    the pool cost less, area by area; those laid alike together."""
    rows, offered, families, market, rules = work
    rows = list(rows)
    chosen = [layouts[row] for layouts, row in zip(offered, rows, strict=True)]
    least = cost(chosen, market, rules)
    for _ in range(_PASSES):
        before = least
        for family in families:
            for row in range(len(offered[family[0]])):
                tried = with_row(chosen, offered, family, row)
                enough = least * (1 - _LESS)
                if row == rows[family[0]] or floor(tried, market, rules) >= enough:
                    continue
                money = cost(tried, market, rules)
                if money < enough:
                    chosen = tried
                    least = money
                    for area in family:
                        rows[area] = row
        if least == before:
            break
    return rows


def with_row(
    chosen: Sequence[T], offered: Sequence[Sequence[T]], family: Sequence[int], row: int
) -> list[T]:
    """What is chosen, with the areas of a family laid as in ``row`` of what each is offered."""
    tried = list(chosen)
    for area in family:
        tried[area] = offered[area][row]
    return tried


def content(
    rows: Sequence[int], offered: Sequence[Sequence[Layout]], families: Sequence[Sequence[int]]
) -> Hashable:
    """All that pools of one product are settled by: those of equal content are settled alike."""
    every = tuple(tuple(map(_content, layouts)) for layouts in offered)
    return tuple(rows), every, tuple(map(tuple, families))


def _content(layout: Layout) -> Hashable:
    seams = (layout.seam_m, len(layout.cross), layout.corner_m, layout.at_corners, layout.odd)
    return layout.roll_width_m, layout.width_m, layout.cut.tobytes(), *seams


def small(layouts: Sequence[Layout]) -> bool:
    """Whether a pool of areas laid so is small."""
    return len(layouts) <= SMALL and sum(len(layout.pieces) for layout in layouts) <= FEW


def cost(layouts: Sequence[Layout], market: dict[float, Market], rules: LayoutRules) -> float:
    """Money for the seams of these layouts and the turf bought for them together, and what odd
    strips weigh."""
    total = sum(weight(layout, market, rules) for layout in layouts)
    for width in sorted({width_key(layout.roll_width_m) for layout in layouts}):
        mine = [layout for layout in layouts if width_key(layout.roll_width_m) == width]
        total += _turf(mine, market[width], rules.cut_step_m)
    return total


def floor(layouts: Sequence[Layout], market: dict[float, Market], rules: LayoutRules) -> float:
    """Money that layouts cost at the least: their seams, and rolls of the area of their pieces at
    the cheapest rate."""
    return sum(
        weight(layout, market, rules) + _least_turf(layout, market[width_key(layout.roll_width_m)])
        for layout in layouts
    )


def _least_turf(layout: Layout, market: Market) -> float:
    length, width = layout.cut.reshape(-1, 2).T
    return (
        float(length @ np.minimum(width, layout.width_m))
        / layout.width_m
        * market.cheapest
        * (1 - _LESS)
    )


def weight(layout: Layout, market: dict[float, Market], rules: LayoutRules) -> float:
    """Money for a layout's seams, and what its odd strips weigh."""
    a_metre = market[width_key(layout.roll_width_m)].cheapest
    return seams(layout, rules) + layout.odd * rules.full_strips_m * a_metre


def seams(layout: Layout, rules: LayoutRules) -> float:
    """Money that a layout's seams and cross seams weigh: those at inner corners count as often as
    they are to save what they cost."""
    along = layout.seam_m * rules.seam_cost.per_si()
    across = len(layout.cross) * float(rules.cross_seam_cost.amount)
    return along + across + (CROSS_WORTH - 1) * at_corners(layout, rules)


def at_corners(layout: Layout, rules: LayoutRules) -> float:
    """Money for a layout's cross seams at inner corners."""
    along = layout.corner_m * rules.seam_cost.per_si()
    return along + layout.at_corners * float(rules.cross_seam_cost.amount)


def _turf(layouts: list[Layout], market: Market, cut_step_m: float) -> float:
    """Money for the turf of layouts of one roll width: the best cuts of few pieces, quick ones of
    more."""
    job, _ = make_job(layouts, market, cut_step_m)
    few = job.demand.sum() <= exact.MOST
    bought = solve(job).bought if few else rolls.pack(job, quick(job))
    return sum(job.purchase(used(one))[1] for one in bought)
