"""Which areas are too large for a search of their seams."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from geoturf.layout.shape import Shape
from geoturf.model import Finding
from geoturf.rules import LayoutRules
from geoturf.units import ACRE_M2, System

LAID = "is laid in regular strips: full widths from side to side, seams not searched"


def too_large(
    areas: pd.DataFrame, shapes: Sequence[Shape], rules: LayoutRules, told: System
) -> tuple[np.ndarray, tuple[Finding, ...]]:
    """The rows (bool) that are laid in regular strips, and what is said of it."""
    size = np.array([shape.area_m2 for shape in shapes])
    corners = np.array([shape.corners for shape in shapes])
    large = size > rules.regular_from_m2
    border = np.array([shape.border_m for shape in shapes])
    ragged = (corners > rules.regular_corners) | (border > rules.regular_border_m)
    total = float(size.sum())
    if total > rules.regular_bid_m2:
        many = (size > ACRE_M2) | ragged
        return many, _of_bid(int(many.sum()), total, rules, told) if many.any() else ()
    said = [
        _of_area(areas.iloc[row], _why(shapes[row], rules, told))
        for row in np.flatnonzero(large | ragged).tolist()
    ]
    return large | ragged, tuple(said)


def _why(shape: Shape, rules: LayoutRules, told: System) -> str:
    if shape.area_m2 > rules.regular_from_m2:
        what = told.land(shape.area_m2)
        limit = f"regular_from = {told.land(rules.regular_from_m2)}"
    elif shape.corners > rules.regular_corners:
        what = f"{shape.corners:,} corners"
        limit = f"regular_corners = {rules.regular_corners:,.0f}"
    else:
        what = f"{told.distance(shape.border_m)} of border"
        limit = f"regular_border = {told.distance(rules.regular_border_m)}"
    return f"an area of {what} {LAID} (over [layout] {limit})"


def _of_area(area: pd.Series, why: str) -> Finding:
    place = {key: str(area[key]) for key in ("file", "layer", "feature", "site", "area")}
    return Finding("warning", "regular-strips", f"{why}; raise it to search", **place)


def _of_bid(many: int, total_m2: float, rules: LayoutRules, told: System) -> tuple[Finding, ...]:
    """One line where the whole bid is large."""
    limit = told.land(rules.regular_bid_m2)
    each = f"each of {many:,} areas over {told.land(ACRE_M2)} {LAID}"
    why = f"in a bid of {told.land(total_m2)} (over [layout] regular_bid = {limit}) {each}"
    return (Finding("warning", "regular-strips", f"{why}; split the bid to search"),)
