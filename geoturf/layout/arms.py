"""Arms: turf on two sides of a house, say, each laid with seams of its own.

Where a line across the pile meets turf more than once, a strip that runs through all of it must
suit both sides. Cut by two seams right across, at the house's front and back, what lies between
falls in parts that need not agree. `in_parts` looks for the two cuts that pay most. What lies
before and behind them costs what a search from either end says; what lies between them is searched
part by part (`parting`). Cuts are tried where the number of chords changes, since turf parts and
meets only there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np

from geoturf.layout import kernel, parting, placing
from geoturf.layout.roll import BALANCED, Roll
from geoturf.layout.seams import Found, Sought, search, together
from geoturf.layout.shape import Turned
from geoturf.layout.sizes import RollSizes

BEARINGS = (
    2  # of those tried, the best by the price of a balanced pool, at which cuts are looked for
)
NEAR = 1.005  # times the best one's cost: cuts gain some 0.4 %
CUTS = 8  # tried, besides the ends of the shape
GAIN = 1e-4  # of the cost, at least


def in_parts(tried: Sequence[Sought], roll: Roll, models: tuple[int, ...]) -> Iterator[Sought]:
    """The best of the searches ``tried`` made over, by the price ``models``, with the shape cut in
    parts where that pays."""
    best = sorted(tried, key=lambda s: round(s.cost[BALANCED], 9))[:BEARINGS]
    for whole in best:
        if whole.cost[BALANCED] > NEAR * best[0].cost[BALANCED]:
            break
        views = []
        joints = [whole.joints]
        for found in whole.found:
            cuts = _best_cuts(found)
            views += _parts(found.shape, cuts, roll) if cuts else [found.shape]
            joints += [_seams(found.shape, found.shape.vs[k]) for k in cuts[1:-1]]
        if len(views) > len(whole.found):
            searched = tuple(search(view, roll, models) for view in views)
            yield together(whole.bearing_deg, searched, np.vstack(joints), whole.cross)


def _best_cuts(found: Found) -> tuple[int, ...]:
    """Where to cut a shape: rows of its v's, its ends first and last; nothing where it is best in
    one."""
    view = found.shape
    roll = found.roll
    at = _places(view, roll)
    if len(at) < 3:
        return ()
    prices = (roll.widths(screen=True), roll.numbers, roll.shares[BALANCED][None])
    place = np.minimum(
        np.searchsorted(found.cuts, view.vs[at] - kernel.TOLERANCE_M), len(found.cuts) - 1
    )
    before = found.upto[found.models.index(BALANCED)][place]
    after = behind(view, found.cuts, *prices[1:])[place]
    before[0] = after[-1] = 0.0
    most = found.cost[BALANCED] * (1 - GAIN)
    first, second = parting.best_two(
        view.edges, view.vs, _spans(view, roll), at, before, after, *prices, most
    )
    if first < 0:
        return ()
    return tuple(sorted({int(at[0]), int(at[first]), int(at[second]), int(at[-1])}))


def behind(view: Turned, cuts: np.ndarray, numbers: RollSizes, shares: np.ndarray) -> np.ndarray:
    """What all from each cut on costs (m2 of turf), the seam there in: `kernel.searches` from the
    other end."""
    offsets, lo, hi, seams = kernel.slabs(view.edges, view.vs, cuts, numbers.ends)
    slabs = _backwards(len(lo) - offsets), _backwards(lo), _backwards(hi), _backwards(seams)
    cost, _ = kernel.searches(_backwards(-cuts), *slabs, numbers, shares, -1, -1)
    return _backwards(cost[0])


def _backwards(values: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(values[::-1])


def _places(view: Turned, roll: Roll) -> np.ndarray:
    """Rows of the shape's v's where cuts are tried, its ends first and last; none where no line
    meets turf twice. Of too many, those beside the thickest stretches of as many chords stay."""
    vs = view.vs
    middle = 0.5 * (view.vs[1:] + view.vs[:-1])
    chords = np.searchsorted(view.edges[:, 1], middle) - np.searchsorted(
        np.sort(view.edges[:, 3]), middle
    )
    if len(vs) > placing.MAX_VERTICES or chords.max() < 4:
        return np.empty(0, int)
    change = np.concatenate([[0], np.flatnonzero(chords[1:] != chords[:-1]) + 1, [len(vs) - 1]])
    thick = np.diff(vs[change])
    inner = vs[change[1:-1]]
    beside = np.maximum(thick[:-1], thick[1:])
    beside[(inner < view.low + roll.least_m) | (inner > view.high - roll.least_m)] = 0
    best = np.argsort(-beside, kind="stable")[:CUTS]
    return np.concatenate([[0], change[1:-1][np.sort(best[beside[best] > 0])], [len(vs) - 1]])


def _spans(view: Turned, roll: Roll) -> parting.Spans:
    return kernel.slabs(view.edges, view.vs, view.vs, roll.ends_m)[:3]


def _parts(view: Turned, cuts: Sequence[int], roll: Roll) -> list[Turned]:
    """What cuts at those rows of the shape's v's leave between them, part by part."""
    out = []
    last = len(view.vs) - 1
    spans = _spans(view, roll)
    for i, j in pairwise(cuts):
        low = view.vs[i] if i else -np.inf
        high = np.inf
        if j < last:
            high = view.vs[j]
        edges, part = parting.between(view.edges, view.vs, spans, i, j)
        part, lows, highs = parting.separate(edges, part, low, high, roll.numbers)
        out += view.parted(edges, part, lows, highs)
    return out


def _seams(view: Turned, v: float) -> np.ndarray:
    """Turf on both sides of a line across: (n, 3) of v, u from, u to."""
    return placing.seams(np.full((2, 2), v), view.edges)
