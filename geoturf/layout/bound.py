"""What no layout of an area can beat: a proven lower bound on turf bought.

Let T be the area, W the width of a roll, w its usable width, e the end allowance, and lay any rectangles of turf along one
bearing b: in strips or not, divided or not, packed on rolls and shared between areas in any way.

1. A piece laid L long and v wide is cut at least L + 2e long and v wide, and rolls yield pieces in their usable width only. So
   it takes at least (W/w) (L + 2e) v of roll; this adds up over a pool. Of several stocked widths the least W/w holds.
2. Lengthened by e at both ends the pieces are P + S, S the segment of length 2e along b (sums of sets are Minkowski's). They
   cover T + S, since the pieces cover T. So turf bought >= (W/w) |T + S|.
3. |T + S| is what `geoturf.layout.kernel.rows` gives: on a line along b, chords lengthened by e at both ends cover
   chords + 2e + sum over gaps of min(gap, 2e). (It holds line by line, so also for pieces with slanted ends.)
4. Over all bearings: turning b by d moves a point of S by r = e d at most, so T + S(b) lies in T + S(b') widened by r, and
   |T + S(b')| >= |T + S(b)| - r p - pi r^2 c, where p is the perimeter of T + S(b') and c the number of parts. The border of
   T + S is made of borders of T, each once, and of a segment 2e for each corner that is foremost across b, so
   p <= perimeter(T) + 2e x corners.

By 4 a bearing tried vouches for those about it. Halving the span with the lowest promise (branch and bound) brings the bound
near the least over all bearings; it holds wherever that stops.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence

import numpy as np

from geoturf.layout import kernel
from geoturf.layout.roll import Roll
from geoturf.layout.shape import SNAP_M, Shape, turned

SPANS = 12  # of the half turn, to start with
CLOSE = 5e-5  # of the area: how near to the least the bound is brought
TRIED = 160  # bearings at most
MANY, FEWER = 300, 48  # shapes of more edges are large beside what their ends take: fewer bearings do
GIVE = 1e-6  # relative: strips may be a hair wider than the roll, cuts a hair under a step


def bound_m2(shape: Shape, rolls: Sequence[Roll], bearing_deg: float) -> float:
    """Least turf (m2) that can be bought for the shape at ``bearing_deg``, or at any bearing if that is NaN."""
    edges, ends_m = shape.edges, rolls[0].ends_m
    free = np.isnan(bearing_deg)
    lengthened = least_lengthened(shape, edges, ends_m) if free else _lengthened(edges, bearing_deg, ends_m)
    snapped = SNAP_M * (2 * perimeter_m(edges) + 2 * ends_m * len(edges))
    factor = min(roll.width_m / roll.usable_m for roll in rolls)
    return float(max(0.0, factor * (lengthened - snapped) * (1 - GIVE)))


def least_lengthened(shape: Shape, edges: np.ndarray, ends_m: float) -> float:
    """No more than the least over all bearings of the area (m2) of the shape lengthened by half of ``ends_m`` both ways."""
    border = perimeter_m(edges) + ends_m * len(edges)
    parts = len(shape.rings)

    def promise(bearing_deg: float, half_deg: float) -> tuple[float, float, float, float]:
        area = _lengthened(edges, bearing_deg, ends_m)
        r = 0.5 * ends_m * np.radians(half_deg)
        return area - r * border - np.pi * r * r * parts, bearing_deg, half_deg, area

    half = 90.0 / SPANS
    spans = [promise((2 * k + 1) * half, half) for k in range(SPANS)]
    heapq.heapify(spans)
    least = min(span[3] for span in spans)
    for _ in range(((TRIED if len(edges) < MANY else FEWER) - SPANS) // 2):
        if spans[0][0] >= least - CLOSE * shape.area_m2:
            break
        _, bearing, half, _ = heapq.heappop(spans)
        for side in (-0.5, 0.5):
            span = promise(bearing + side * half, half / 2)
            least = min(least, span[3])
            heapq.heappush(spans, span)
    return spans[0][0]


def perimeter_m(edges: np.ndarray) -> float:
    """Length of all edges, holes included."""
    return float(np.sum(np.hypot(edges[:, 2] - edges[:, 0], edges[:, 3] - edges[:, 1])))


def _lengthened(edges: np.ndarray, bearing_deg: float, ends_m: float) -> float:
    view = turned(edges, bearing_deg)
    return kernel.rows(view.edges, view.vs, ends_m)
