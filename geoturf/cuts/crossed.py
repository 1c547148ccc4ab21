"""Cross seams at inner corners, there to save turf: told area by area, with what they save."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from geoturf.cuts import settle
from geoturf.model import Choices, Finding, Ground, Layout
from geoturf.rules import CROSS_WORTH, LayoutRules, Product


def told(
    ground: Ground,
    chosen: Mapping[int, Layout],
    choices: Sequence[Choices],
    products: Mapping[str, Product],
    rules: LayoutRules,
) -> tuple[Finding, ...]:
    """A note for each area that has any."""
    currency, out = rules.cross_seam_cost.currency, []
    for row, layout in sorted(chosen.items()):
        if not layout.at_corners:
            continue
        site, area, product = ground.areas[["site", "area", "product"]].iloc[row].astype(str)
        cost = settle.at_corners(layout, rules)
        saved = saved_m2(layout, choices[row]) * products[product].widths[0].price_per_m2
        message = (
            f"{layout.at_corners} cross seam(s) at inner corners, weighed at {cost:,.2f} {currency}, save about "
            f"{saved + CROSS_WORTH * cost:,.2f} {currency} of turf and seams"
        )
        out.append(Finding("note", "cross-seam-corner", message, site=site, area=area))
    return tuple(out)


def saved_m2(layout: Layout, choice: Choices) -> float:
    """What a layout in blocks saves against the best in one, its cross seams charged as often as
    they are to save what they cost; m2 of the product's first turf, at a balanced pool's prices."""
    whole = [one.cost for one in choice.layouts if not one.at_corners]
    return min(whole) - layout.cost
