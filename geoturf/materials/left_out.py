"""What a bid may not leave to others: what fastens its turf, joins its seams, and goes under its
pets."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from geoturf.materials.quantities import for_pets
from geoturf.model import Ground
from geoturf.rules import EdgeRules, MaterialRules, Product


def missing(
    ground: Ground, products: Mapping[str, Product], rules: MaterialRules, edge_rules: EdgeRules
) -> list[str]:
    """What the items left out would leave undone on this ground, one clause a fault with its
    mend."""
    needed = _needed(ground.areas, products, edge_rules)
    said = []
    for undone, items in needed.items():
        left = [key for key in items if key in rules.leave_out]
        if left:
            named = " and ".join(f"'{key}'" for key in left)
            said.append(f"leaves {undone} without {named}; take {named} off leave_out")
    return said


def _needed(
    areas: pd.DataFrame, products: Mapping[str, Product], edge_rules: EdgeRules
) -> dict[str, tuple[str, ...]]:
    """What must be done here, and the items that do it."""
    fixed = {products[name].fixing for name in areas["product"].unique()}
    by_nails = edge_rules.seam_method == "nails"
    needed: dict[str, tuple[str, ...]] = {}
    if fixed - {"nail"} or not by_nails:
        needed["seams unjoined,"] = ("tape", "adhesive")
    if "nail" in fixed and by_nails:
        needed["nailed seams unjoined,"] = ("seam_nails",)
    if "nail" in fixed:
        needed["turf unfastened,"] = ("nails",)
    if "glue" in fixed:
        needed["turf unglued,"] = ("glue",)
    if pets := int(for_pets(areas, products).sum()):
        needed[f"{pets} pet area(s)"] = ("odour",)
    return needed
