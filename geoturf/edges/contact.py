"""Where the border of an area runs along something: other areas' borders, buildings, paving.

A stretch of a segment is in contact with a thing when, looking straight out from it,

* a border of the thing, facing the area, lies within the tolerance ahead (a gap) or behind (an
  overlap), or
* the point one tolerance ahead lies in the thing (the area was drawn on into it; buildings and
  paving only: two areas that overlap by more than the tolerance are double pay, not a seam).

Facing means that the thing's inside is on the far side; so a copy of an area, or paving under it,
is not its neighbour. Looking straight out, and not all round, is what makes a wall that meets the
border square on take no length of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.edges.borders import Borders, Places

Wanted = Callable[[np.ndarray, np.ndarray], np.ndarray]  # rows of two `Borders` -> bool

_BLOCK = 5_000  # segments looked round at a time
SLACK_M = 1e-9  # a border exactly at the tolerance is within it
NEAREST_M = 1e-6  # stretches shorter than this are not told apart
ALONG = 0.5  # rise over run up to which a border counts as running along


@dataclass(frozen=True)
class Strips:
    """Parts of other borders that lie in the band along a segment; arrays (n,), one a pair of
    segments.

    ``segment``, ``other``: rows in the two `Borders`; ``begin``, ``finish``: from where to where
    along the segment, metres; ``offset``: how far ahead (+) or behind at the middle; ``facing``,
    ``along``: bool.
    """

    segment: np.ndarray
    other: np.ndarray
    begin: np.ndarray
    finish: np.ndarray
    offset: np.ndarray
    facing: np.ndarray
    along: np.ndarray

    def where(self, keep: np.ndarray) -> Strips:
        return Strips(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))


def pairs(mine: np.ndarray, others: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows of boxes that meet, in a stable order."""
    first, second = shapely.STRtree(others).query(mine)
    order = np.lexsort([second, first])
    return first[order], second[order]


def strips(mine: Borders, others: Borders, tolerance_m: float, wanted: Wanted) -> Strips:
    """Clips other segments to the band of each segment: the rectangle on it, ``tolerance_m`` ahead
    and behind.

    Only pairs whose boxes meet, and that are ``wanted``, are looked at, some at a time: a pile of
    areas drawn over each other has very many."""
    tree = shapely.STRtree(others.box)
    found = []
    for start in range(0, len(mine.box), _BLOCK):
        segment, other = tree.query(mine.box[start : start + _BLOCK])
        segment = segment + start
        keep = wanted(segment, other)
        order = np.lexsort([other[keep], segment[keep]])
        found.append(_clipped(mine, others, segment[keep][order], other[keep][order], tolerance_m))
    return joined(found)


def joined(found: list[Strips]) -> Strips:
    """One after the other; no strips of none."""
    if not found:
        nothing = np.empty(0, dtype=np.int64)
        no = np.empty(0, dtype=bool)
        return Strips(nothing, nothing, np.empty(0), np.empty(0), np.empty(0), no, no)

    def column(name: str) -> np.ndarray:
        return np.concatenate([getattr(strips, name) for strips in found])

    return Strips(*(column(name) for name in Strips.__dataclass_fields__))


def _clipped(
    mine: Borders, others: Borders, segment: np.ndarray, other: np.ndarray, tolerance_m: float
) -> Strips:
    """The parts of ``other`` segments in the band of ``segment``, one a pair at most."""
    origin = mine.start[segment]
    along = mine.along[segment]
    out = mine.outward(segment)
    start = others.start[other] - origin
    end = others.end[other] - origin
    s0, s1 = _dot(start, along), _dot(end, along)  # along the segment
    t0, t1 = _dot(start, out), _dot(end, out)  # ahead of it
    reach = tolerance_m + SLACK_M
    low_s, high_s = _window(s0, s1 - s0, 0.0, mine.length[segment])
    low_t, high_t = _window(t0, t1 - t0, -reach, reach)
    low = np.maximum(np.maximum(low_s, low_t), 0.0)
    high = np.minimum(np.minimum(high_s, high_t), 1.0)
    keep = low <= high
    low, high, s0, s1, t0, t1 = (values[keep] for values in (low, high, s0, s1, t0, t1))
    runs_along = s1 - s0
    runs_ahead = t1 - t0
    begin, finish = np.sort(s0 + np.stack([low, high]) * runs_along, axis=0)
    return Strips(
        segment[keep],
        other[keep],
        begin=begin,
        finish=finish,
        offset=t0 + (low + high) / 2 * runs_ahead,
        facing=runs_along < 0,
        along=np.abs(runs_ahead) <= ALONG * np.abs(runs_along),
    )


def _dot(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    products: np.ndarray = np.einsum("ij,ij->i", a, b)
    return products


def _window(
    start: np.ndarray, change: np.ndarray, low: float, high: np.ndarray | float
) -> tuple[np.ndarray, np.ndarray]:
    """Fractions of a segment between which ``start + fraction * change`` lies in low .. high; empty
    as (inf, -inf)."""
    level = np.abs(change) < 1e-12
    inside = (start >= low) & (start <= high)
    safe = np.where(level, 1.0, change)
    ends = np.stack([(low - start) / safe, (high - start) / safe])
    all_of_it = np.where(inside, np.inf, -np.inf)
    first = np.where(level, -all_of_it, ends.min(axis=0))
    last = np.where(level, all_of_it, ends.max(axis=0))
    return first, last


@dataclass(frozen=True)
class Stretches:
    """Segments cut where something changes; in ring order. ``segment``: row in the `Borders`;
    ``begin``, ``finish``: metres along it; arrays (n,)."""

    segment: np.ndarray
    begin: np.ndarray
    finish: np.ndarray
    middle: np.ndarray  # of each stretch, along all segments strung together
    base: np.ndarray  # where each segment begins on that string

    @property
    def length(self) -> np.ndarray:
        length: np.ndarray = self.finish - self.begin
        return length

    def spans(self, found: Strips) -> tuple[np.ndarray, np.ndarray]:
        """First stretch, and the one after the last, that each strip covers."""
        base = self.base[found.segment]
        return np.searchsorted(self.middle, base + found.begin), np.searchsorted(
            self.middle, base + found.finish
        )

    def covered(self, found: Strips) -> np.ndarray:
        """Which stretches any of the strips covers; bool (n,)."""
        first, end = self.spans(found)
        change = np.zeros(len(self.segment) + 1, dtype=np.int64)
        np.add.at(change, first, 1)
        np.add.at(change, end, -1)
        return np.cumsum(change)[:-1] > 0


def cut(mine: Borders, found: list[Strips]) -> Stretches:
    """Cuts the segments at the ends of all strips."""
    cut_at = np.concatenate([end for strip in found for end in (strip.begin, strip.finish)])
    where = np.concatenate([strip.segment for strip in found for _ in range(2)])
    inner = (cut_at > NEAREST_M) & (cut_at < mine.length[where] - NEAREST_M)
    count = len(mine.length)
    segment = np.concatenate([np.arange(count), where[inner]])
    begin = np.concatenate([np.zeros(count), cut_at[inner]])
    order = np.lexsort([begin, segment])
    segment = segment[order]
    begin = begin[order]

    apart = np.ones(len(begin), dtype=bool)
    apart[1:] = (segment[1:] != segment[:-1]) | (np.diff(begin) > NEAREST_M)
    segment = segment[apart]
    begin = begin[apart]

    last = np.ones(len(begin), dtype=bool)
    last[:-1] = segment[1:] != segment[:-1]
    following = np.append(begin[1:], 0.0)
    finish = np.where(last, mine.length[segment], following)
    base = np.cumsum(mine.length) - mine.length
    middle = base[segment] + (begin + finish) / 2
    return Stretches(segment, begin, finish, middle, base)


def inside(
    mine: Borders, cuts: Stretches, things: pd.DataFrame, place: Places, tolerance_m: float
) -> np.ndarray:
    """Which stretches have the point one tolerance ahead of their middle in one of ``things``; bool
    (n,).

    The answer holds for the whole stretch, as stretches end where a border comes into the band."""
    geometry = things["geometry"].to_numpy(dtype=object)
    frame = things["frame"].to_numpy(np.int64)
    bounds = shapely.bounds(geometry).reshape(-1, 4)
    near, thing = pairs(mine.box, place.boxes(bounds, frame))
    stretch, pair = _of_each(cuts.segment, near)
    segment = cuts.segment[stretch]
    thing = thing[pair]
    middle = (cuts.begin + cuts.finish)[stretch] / 2
    ahead = mine.at(segment, middle) + mine.outward(segment) * tolerance_m
    west, south, east, north = bounds[thing].T
    x, y = ahead.T
    in_box = np.flatnonzero((x >= west) & (x <= east) & (y >= south) & (y <= north))
    with plane.prepared(geometry):
        hit = shapely.contains_xy(geometry[thing[in_box]], x[in_box], y[in_box])
    within = np.zeros(len(cuts.segment), dtype=bool)
    within[stretch[in_box[hit]]] = True
    return within


def _of_each(wanted: np.ndarray, key: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows of ``wanted`` and rows of ``key`` (rising) that are equal, every pair of them."""
    first = np.searchsorted(key, wanted)
    count = np.searchsorted(key, wanted, side="right") - first
    row = np.repeat(np.arange(len(wanted)), count)
    before = np.cumsum(count) - count
    return row, first[row] + np.arange(len(row)) - before[row]
