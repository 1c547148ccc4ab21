"""The turf near each of many small boxes, so that each is compared with the border about it alone.

An overlay reads all of an outline, so boxes times vertices is what an area laid in thousands of
pieces would take. The boxes are halved again and again instead, the turf cut down to each half: a
vertex is read once for each halving.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geoturf import plane

SIMPLE = 32  # vertices: turf with no more is not cut down further
FEW = 4  # boxes: fewer are not halved
MARGIN_M = 1.0  # turf is kept so far about the boxes


def near(turf: np.ndarray, of: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """For each box, corners ``low`` and ``high`` (n, 2), what there is of ``turf[of]`` about it."""
    out: np.ndarray = turf[of]
    order = np.argsort(of, kind="stable")
    starts = np.flatnonzero(np.diff(of[order], prepend=-1))
    for rows in np.split(order, starts[1:]) if len(order) else []:
        _cut_down(turf[of[rows[0]]], rows, low, high, out)
    return out


def inside(turf: np.ndarray, of: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Whether each box lies on nothing but ``turf[of]`` (bool, (n,))."""
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    with plane.prepared(turf):
        return np.asarray(shapely.covers(turf[of], boxes))


def _cut_down(
    turf: BaseGeometry, rows: np.ndarray, low: np.ndarray, high: np.ndarray, out: np.ndarray
) -> None:
    """Gives the boxes of ``rows`` the turf about them."""
    waiting = [(turf, rows)]
    while waiting:
        turf, rows = waiting.pop()
        if len(rows) <= FEW or shapely.get_num_coordinates(turf) <= SIMPLE:
            out[rows] = turf
            continue
        waiting += [(_about(turf, low[half], high[half]), half) for half in _halves(rows, low)]


def _halves(rows: np.ndarray, low: np.ndarray) -> list[np.ndarray]:
    """The boxes on either side of the middle, along the way that they are spread most."""
    at = low[rows]
    spread = np.ptp(at, axis=0)
    order = np.argsort(at[:, int(spread[1] > spread[0])], kind="stable")
    return np.array_split(rows[order], 2)


def _about(turf: BaseGeometry, low: np.ndarray, high: np.ndarray) -> Any:
    """The turf about some boxes."""
    (left, bottom) = low.min(axis=0) - MARGIN_M
    (right, top) = high.max(axis=0) + MARGIN_M
    cut = shapely.intersection(turf, shapely.box(left, bottom, right, top))
    if cut.geom_type != "GeometryCollection":
        return cut
    parts = shapely.get_parts(cut)  # where the box only touches turf there are points and lines
    return shapely.multipolygons(shapely.get_parts(parts[shapely.get_dimensions(parts) == 2]))
