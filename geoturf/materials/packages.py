"""What items are bought by: package sizes, allowances, whole packages."""

from __future__ import annotations

from typing import Any

import numpy as np

from geoturf import data, units
from geoturf.rules import MaterialRules
from geoturf.rules.items import ITEMS

_MEASURES = ("ton", "t", "lb", "kg", "yd^3", "m^3", "ft^2", "m^2", "ft", "m", "in", "cm", "mm", "h")


def sizes_and_allowances(rules: MaterialRules) -> dict[str, tuple[float, float]]:
    """Key -> (SI units a purchase unit, allowance)."""
    nails = {
        name: rules.nail_box_kg * data.value("nails", getattr(rules, name), "count")
        for name in ("turf_nail", "seam_nail", "fabric_nail")
    }
    bought = {
        "dig": (rules.earth_step_m3, 0.0),
        "disposal": (rules.earth_step_m3, 0.0),
        "fabric": (rules.fabric_roll_width_m * rules.fabric_roll_length_m, rules.fabric_allowance),
        "geotextile": (rules.below_roll_width_m * rules.below_roll_length_m, rules.fabric_allowance),
        "aggregate": (rules.aggregate_step_kg, rules.aggregate_allowance),
        "odour": (rules.odour_bag_kg, rules.odour_allowance),
        "tape": (rules.tape_roll_m, rules.tape_allowance),
        "adhesive": (rules.adhesive_covers_m, rules.adhesive_allowance),
        "glue": (rules.glue_covers_m2, rules.glue_allowance),
        "nails": (nails["turf_nail"], rules.nail_allowance),
        "seam_nails": (nails["seam_nail"], rules.nail_allowance),
        "fabric_nails": (nails["fabric_nail"], rules.nail_allowance),
        "edging": (rules.edging_board_m, rules.edging_allowance),
        "stakes": (1.0, rules.edging_allowance),
        "infill": (rules.infill_bag_kg, rules.infill_allowance),
    }
    days = {key: (rules.hours_a_day_h, 0.0) for key, item in ITEMS.items() if item.kind == "plant"}
    return dict.fromkeys(ITEMS, (1.0, 0.0)) | bought | days


def measure_named(size: float, dimension: tuple[int, int, int] | None) -> str:
    """The word for a purchase unit without a package: ``ton``, ``yd^3``; ``lot`` for odd sizes."""
    for name in _MEASURES:
        factor, found = units.unit_factor(name)
        if found == dimension and abs(size / factor - 1) < 1e-9:
            return name
    return "lot"


def whole(packages: Any) -> np.ndarray:
    """Rounded up; a millionth of a package over does not buy another one."""
    return np.maximum(0, np.ceil(np.asarray(packages, float) - 1e-6)).astype(np.int64)
