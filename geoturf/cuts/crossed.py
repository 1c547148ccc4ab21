"""Cross seams at inner corners, there to save turf: told area by area, with what they save."""

from __future__ import annotations

from collections.abc import Sequence

from geoturf.cuts import settle, swap
from geoturf.cuts.planned import PoolPlan, Setting
from geoturf.model import Finding, saved_m2
from geoturf.rules import CROSS_WORTH, Product


def told(
    setting: Setting, plans: Sequence[PoolPlan], products: dict[str, Product]
) -> tuple[Finding, ...]:
    """A note for each area that has any."""
    rules = setting.layout_rules
    found = list[tuple[int, Finding]]()
    for plan in plans:
        for area, layout in plan.layouts.items():
            if not layout.at_corners:
                continue
            site, name = setting.ground.areas[["site", "area"]].iloc[area].astype(str)
            cost = settle.at_corners(layout, rules)
            saved = _saved(setting, plan, area, products) + CROSS_WORTH * cost
            currency = rules.cross_seam_cost.currency
            message = (
                f"{layout.at_corners} cross seam(s) at inner corners, weighed at {cost:,.2f} "
                f"{currency}, save about "
                f"{saved:,.2f} {currency} of turf and other seams"
            )
            note = Finding("note", "cross-seam-corner", message, site=site, area=name)
            found.append((area, note))
    return tuple(note for _, note in sorted(found, key=lambda one: one[0]))


def _saved(setting: Setting, plan: PoolPlan, area: int, products: dict[str, Product]) -> float:
    """Money that an area's layout costs less than the best without cross seams at corners, as
    layouts are chosen: in a small pool by what that really buys, in others at a balanced pool's
    prices."""
    areas = plan.pool.areas
    offered = [setting.choices[one].layouts for one in plan.pool.areas]
    place = areas.index(area)
    every = [plan.layouts[one] for one in areas]
    if not settle.small(every):
        price = products[plan.pool.product].widths[0].price_per_m2
        return saved_m2(plan.layouts[area], offered[place]) * price
    market = setting.market[plan.pool.product]
    rules = setting.layout_rules
    alike = next(some for some in swap.families(areas, setting.choices) if place in some)
    whole = [row for row, one in enumerate(offered[place]) if not one.at_corners]
    others = (settle.with_row(every, offered, alike, row) for row in whole)
    least = min(settle.cost(other, market, rules) for other in others)
    return (least - settle.cost(every, market, rules)) / len(alike)
