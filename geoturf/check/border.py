"""How much turf lies in each of many boxes, and where along a line, by the turf's border alone.

Of an outline of very many corners an overlay makes very many parts, one of which is all that is
wanted. The area of turf in a box is the integral of dA = x dy along its border, x kept in the box
(Green's theorem): each edge adds what lies between it and the box's left side.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

LONGEST = 100  # edges looked at for every line
LEVEL_M = 1e-12  # edges that go along by less are taken at their middle


def turf_in(turf: BaseGeometry, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Turf (m2) in boxes with corners ``low`` and ``high`` (n, 2); the edges between two lines are
    looked out once for all boxes between them."""
    edges = _edges(turf)
    edges = edges[edges[:, 1] != edges[:, 3]]  # level ones add nothing
    edges = edges[np.argsort(np.minimum(edges[:, 1], edges[:, 3]), kind="stable")]
    south = np.minimum(edges[:, 1], edges[:, 3])
    north = np.maximum(edges[:, 1], edges[:, 3])
    out = np.empty(len(low))
    lines, row = np.unique(np.column_stack([low[:, 1], high[:, 1]]), axis=0, return_inverse=True)
    for k, (v0, v1) in enumerate(lines.tolist()):
        begun = np.searchsorted(south, v1)
        met = edges[:begun][north[:begun] > v0]
        boxes = np.flatnonzero(row.reshape(-1) == k)
        out[boxes] = _between(_cut(met, v0, v1), low[boxes, 0], high[boxes, 0])
    return out


def turf_along(
    turf: BaseGeometry, first: np.ndarray, last: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Stretches of turf on lines from ``first`` to ``last`` (n, 2), each along x or along y: the
    line (k,), and from and to along it (k, 2). Between every other two edges that cross it a line
    is on turf."""
    rows: list[np.ndarray] = [np.empty(0, np.int64)]
    ends: list[np.ndarray] = [np.empty((0, 2))]
    edges = _edges(turf)
    along = np.argmax(np.abs(last - first), axis=1)
    for axis in (0, 1):
        border = _Border(edges[:, [1, 0, 3, 2]] if axis else edges)
        mine = np.flatnonzero(along == axis)
        places, row = np.unique(first[mine, 1 - axis], return_inverse=True)
        for k, at in enumerate(places.tolist()):
            turfs = border.crossed(at)
            for joint in mine[row.reshape(-1) == k].tolist():
                span = first[joint, axis], last[joint, axis]
                held = turfs[np.searchsorted(turfs[:, 1], span[0]) :]
                held = held[: np.searchsorted(held[:, 0], span[1])].clip(*span)
                rows.append(np.full(len(held), joint))
                ends.append(held)
    return np.concatenate(rows), np.vstack(ends)


def shared(stretches: np.ndarray, spans: np.ndarray) -> np.ndarray:
    """How much of each span (n, 2) the ``stretches`` (m, 2) take, which do not overlap: what they
    take up to its end less that up to its begin."""
    if not len(stretches):
        return np.zeros(len(spans))
    line = np.sort(stretches.ravel())
    taken = np.diff(line)
    taken[1::2] = 0.0  # between stretches
    upto = np.append(0.0, np.cumsum(taken))
    on: np.ndarray = np.interp(spans[:, 1], line, upto) - np.interp(spans[:, 0], line, upto)
    return on


class _Border:
    """Edges by the y of their lower ends, the few longest apart, so that of the others only those
    about a line are looked at."""

    def __init__(self, edges: np.ndarray):
        tall = np.abs(edges[:, 3] - edges[:, 1])
        order = np.argsort(-tall, kind="stable")
        self.longest = edges[order[:LONGEST]]
        others = edges[order[LONGEST:]]
        low = np.minimum(others[:, 1], others[:, 3])
        rising = np.argsort(low, kind="stable")
        self.edges = others[rising]
        self.low = low[rising]
        self.tall = float(tall[order[LONGEST:]].max(initial=0.0))

    def crossed(self, y: float) -> np.ndarray:
        """From and to (n, 2) of the stretches of turf on the line at ``y``."""
        first, last = np.searchsorted(self.low, [y - self.tall, y], side="right")
        near = np.vstack([self.longest, self.edges[max(first - 1, 0) : last]])
        x0, y0, x1, y1 = near[(near[:, 1] <= y) != (near[:, 3] <= y)].T
        return np.sort(x0 + (y - y0) / (y1 - y0) * (x1 - x0)).reshape(-1, 2)


def _edges(turf: BaseGeometry) -> np.ndarray:
    """Float (n, 4): x, y of both ends of every edge, turf to the left of each."""
    rings, of = shapely.get_rings(shapely.get_parts(turf), return_index=True)
    outer = np.diff(of, prepend=-1) != 0  # each part's outer ring comes first
    points, ring = shapely.get_coordinates(rings, return_index=True)
    edges: np.ndarray = np.hstack([points[:-1], points[1:]])[ring[:-1] == ring[1:]]
    wrong = (shapely.is_ccw(rings) != outer)[ring[:-1][ring[:-1] == ring[1:]]]
    edges[wrong] = edges[wrong][:, [2, 3, 0, 1]]
    return edges


def _cut(edges: np.ndarray, v0: float, v1: float) -> np.ndarray:
    """Float (n, 3): x where edges come in between the lines and where they go out, the lower first;
    and by how much they rise there."""
    x0, y0, x1, y1 = edges.T
    begin = y0.clip(v0, v1)
    end = y1.clip(v0, v1)
    slope = (x1 - x0) / (y1 - y0)
    xs = np.column_stack([x0 + (begin - y0) * slope, x0 + (end - y0) * slope])
    return np.column_stack([xs.min(axis=1), xs.max(axis=1), end - begin])


def _between(edges: np.ndarray, left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Turf (m2) from each ``left`` to ``right``, by edges as `_cut` gives them."""
    edges = edges[np.argsort(edges[:, 0], kind="stable")]
    rises = np.append(np.cumsum(edges[::-1, 2])[::-1], 0.0)  # of an edge and all that begin beyond
    longest = float((edges[:, 1] - edges[:, 0]).max(initial=0.0))
    first = np.searchsorted(edges[:, 0], left - longest)
    beyond = np.searchsorted(edges[:, 0], right)
    wide = right - left
    near = [
        _added(edges[a:b], u0, w)
        for a, b, u0, w in zip(first, beyond, left.tolist(), wide.tolist(), strict=True)
    ]
    inside: np.ndarray = np.array(near) + rises[beyond] * wide
    return inside


def _added(edges: np.ndarray, left: float, wide: float) -> float:
    """What edges add: the mean of x from ``left`` on, kept within 0 and ``wide``, times their
    rise."""
    lo = edges[:, 0] - left
    hi = edges[:, 1] - left
    a, b = lo.clip(0.0, wide), hi.clip(0.0, wide)
    past = hi - np.maximum(lo, wide)
    span = hi - lo
    level = span < LEVEL_M
    mean = (0.5 * (b - a) * (a + b) + past.clip(0.0) * wide) / np.where(level, 1.0, span)
    return float((np.where(level, a, mean) * edges[:, 2]).sum())
