"""Turf of strips between any seam lines, from its own formula: what the bound must keep below."""

from __future__ import annotations

import itertools

import numpy as np
import shapely
from layout_cases import INCH
from shapely.affinity import translate

FACTOR = 180 / 178  # a 15 ft roll less two selvages of an inch
ENDS = 6 * INCH


def lengthened_m2(shape: shapely.Geometry, bearing_deg: float) -> float:
    """Area of the shape swept by a segment of both end allowances along the bearing, by unions of
    shapely's."""
    s, c = np.sin(np.radians(bearing_deg)) * ENDS / 2, np.cos(np.radians(bearing_deg)) * ENDS / 2
    moved = [translate(shape, -s, -c), translate(shape, s, c), shape]
    for part in shapely.get_parts(shape):
        for ring in (part.exterior, *part.interiors):
            for (x0, y0), (x1, y1) in itertools.pairwise(ring.coords):
                corners = [(x0 - s, y0 - c), (x0 + s, y0 + c), (x1 + s, y1 + c), (x1 - s, y1 - c)]
                moved.append(shapely.Polygon(corners).buffer(0))
    return shapely.union_all(moved).area


def share_m2(layout) -> float:
    """What the pieces take of the roll in proportion to their size: no packing can take less."""
    return layout.roll_width_m / layout.width_m * float(np.sum(layout.cut[:, 0] * layout.cut[:, 1]))
