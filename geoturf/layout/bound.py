"""What no layout of an area can beat: a proven lower bound on turf bought.

Whatever rectangles of turf are laid along a bearing, however they are packed on rolls and shared between areas: a piece
laid L long and v wide is cut at least (L + 2e) long and v wide, and a roll W wide yields pieces only in its usable width
w, so its share of the roll is at least (W/w) (L + 2e) v. Shares add up over a pool.

*At one bearing.* Take the line at height v across the pile. The pieces on it cover its chords of turf; n of them leave at least
all but n - 1 of the gaps between chords uncovered, so they take chords + 2e n + the gaps covered
>= chords + 2e + sum over gaps of min(gap, 2e). Integrated over v this is what `geoturf.layout.kernel.rows` gives.

*At every bearing.* The integral of chords is the area A; the lines that meet turf have a measure of at least the least width
of ... each bearing's shadow of the area, so no bearing takes less than (W/w) (A + 2e x least shadow).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geoturf.layout import kernel
from geoturf.layout.roll import Roll
from geoturf.layout.shape import Shape, turned


def bound_m2(shape: Shape, rolls: Sequence[Roll], bearing_deg: float) -> float:
    """Least turf (m2) that can be bought for the shape at ``bearing_deg``, or at any bearing if that is NaN."""
    factor = min(roll.width_m / roll.usable_m for roll in rolls)
    ends_m = rolls[0].ends_m
    edges = shape.edges()
    if np.isnan(bearing_deg):
        return factor * (shape.area_m2 + ends_m * least_shadow(shape))
    view = turned(edges, bearing_deg)
    return factor * kernel.rows(view.edges, view.vs, ends_m)


def least_shadow(shape: Shape) -> float:
    """Least measure (m), over all bearings, of the lines along it that meet the shape; from below: the widest part's least."""
    parts = np.split(shape.points, np.cumsum(shape.rings)[:-1])
    return max(_least_width(points) for points in parts)


def _least_width(points: np.ndarray) -> float:
    """Least distance of two parallel lines around the points: one of them lies on an edge of their hull."""
    import shapely

    hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(points)))
    if len(hull) < 4:
        return 0.0
    run = np.diff(hull, axis=0)
    normal = np.column_stack([-run[:, 1], run[:, 0]]) / np.hypot(run[:, 0], run[:, 1])[:, None]
    across = normal @ hull.T
    return float(np.min(np.ptp(across, axis=1)))
