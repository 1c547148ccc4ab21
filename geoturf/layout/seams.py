"""Where the seams go: the cheapest strips across one shape at one bearing, by each way of pricing an off-cut.

A strip is a band of the area between two seam lines; what it takes along the pile is the projection of its turf. Seam lines are
a shortest path over candidate cuts (`geoturf.layout.kernel.searches`). A coarse search over a few widths that matter (full, those
that share a section two, three or four side by side, eighths), from both ends of the shape and with its vertices, finds about
where the seams lie. Two finer ones about there, the last on whole cut steps and at vertices and their repeats a usable width
apart, place them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geoturf.layout import kernel
from geoturf.layout.roll import ALONE, BALANCED, MODELS, Roll
from geoturf.layout.shape import Shape, Turned

MIDDLE, FINEST = 48, 240  # grid steps in a usable width; of whole cut steps at most this many are told apart
MAX_VERTICES = 80  # shapes with more get no candidates at their vertices: the grid is as good, and time stays bounded
MAX_CUTS = 20_000
SCREENED = (ALONE, BALANCED)
SAME_M = 1e-7
NO_JOINTS = np.empty((0, 3))


@dataclass(frozen=True)
class Strips:
    """Strips across ``shape``. ``lines`` (k, 2): v from, v to of each; ``spans``: for each its intervals (n, 2) along the pile;
    ``cost``: m2 of the roll's turf, seams in, by the price model they are for."""

    shape: Turned
    roll: Roll
    lines: np.ndarray
    spans: tuple[np.ndarray, ...]
    cost: float


@dataclass(frozen=True)
class Found:
    """A search's outcome at one bearing for one roll: ``cost`` (models,), and by each model what all up to each cut costs (the
    seam there in) and the cut before it."""

    shape: Turned
    roll: Roll
    cuts: np.ndarray
    slabs: tuple[np.ndarray, ...]
    upto: dict[int, np.ndarray]
    before: dict[int, np.ndarray]
    cost: np.ndarray


@dataclass(frozen=True)
class Sought:
    """The searches over all groups of an area at one bearing, and what they cost together; ``joints`` float (n, 3): v, u from,
    u to of seams between groups."""

    bearing_deg: float
    found: tuple[Found, ...]
    cost: np.ndarray
    joints: np.ndarray


def sought(
    shape: Shape, bearing_deg: float, roll: Roll, screen: bool = False, models: Sequence[int] = range(MODELS)
) -> Sought:
    """The coarse search at one bearing; coarser still, and only by the models `SCREENED`, to ``screen`` bearings."""
    views = shape.at(bearing_deg, roll.least_m, roll.usable_m)
    models = SCREENED if screen else models
    found = tuple(search(view, roll, rough(view, roll, screen), models) for view in views)
    return Sought(bearing_deg, found, np.sum([f.cost for f in found], axis=0), NO_JOINTS)


def rough(shape: Turned, roll: Roll, screen: bool = False) -> np.ndarray:
    """Candidate v's of the coarse search, not sorted; fewer to ``screen`` bearings."""
    usable = roll.usable_m
    lanes = np.array([roll.lane_m(n) for n in ((2, 3) if screen else (2, 3, 4))])
    some = [[0.0], lanes, usable - lanes]
    if not screen:
        eighth = roll.lane_m(8) + roll.side_m
        some += [2 * lanes[1:], 3 * lanes[2:], np.array([1, 3, 5, 6, 7]) * eighth - roll.side_m]
    cuts = [_both_ends(shape, usable, np.concatenate(some))]
    if len(shape.vs) <= MAX_VERTICES:
        cuts.append(shape.vs)
    if (
        roll.least_m > usable / 4
    ):  # little room between the least and the most: strips of just the least must be possible
        cuts.append(_both_ends(shape, roll.least_m, np.zeros(1)))
    return np.concatenate(cuts)


def _both_ends(shape: Turned, usable_m: float, offsets: np.ndarray) -> np.ndarray:
    """Offsets and their repeats a usable width apart, from either end of the shape."""
    low, high = shape.low, shape.high
    span = high - low
    while len(offsets) > 3 and 2 * span / usable_m * len(offsets) > MAX_CUTS:
        offsets = offsets[::2]
    steps = (np.arange(int(span / usable_m) + 1)[:, None] * usable_m + offsets).ravel()
    return np.concatenate([low + steps, high - steps])


def search(
    shape: Turned,
    roll: Roll,
    candidates: np.ndarray,
    models: Sequence[int] = range(MODELS),
) -> Found:
    """Cheapest seams among the candidates by each of the price ``models`` (`Roll.shares`)."""
    cuts = _tidy(candidates, shape)
    slabs = kernel.slabs(shape.edges, shape.vs, cuts, roll.ends_m)
    costs, befores = kernel.searches(cuts, *slabs, roll.numbers, *roll.tables(tuple(models)))
    upto, before = dict(zip(models, costs, strict=True)), dict(zip(models, befores, strict=True))
    cost = np.array([upto[model][-1] if model in upto else np.inf for model in range(MODELS)])
    return Found(shape, roll, cuts, slabs, upto, before, cost)


def refined(found: Found, model: int) -> Strips:
    """The strips of ``found`` by one price model, their seams placed finely."""
    shape, usable, step = found.shape, found.roll.usable_m, found.roll.step_m
    vertices = np.empty(0)
    if len(shape.vs) <= MAX_VERTICES:
        repeats = int((shape.vs[-1] - shape.vs[0]) / usable) + 1
        vertices = (shape.vs[:, None] + np.arange(-repeats, repeats + 1) * usable).ravel()
    finest = min(FINEST, int(usable / step + 1e-6))
    for grid, window in (
        (np.arange(MIDDLE) * (usable / MIDDLE), usable / 14),
        (np.arange(1, finest + 1) * (step if finest < FINEST else usable / FINEST), usable / 64),
    ):
        about = np.unique([v for way in _path(found, model) for v in found.cuts[list(way)]])
        near = _near(np.concatenate([_both_ends(shape, usable, grid), vertices]), about, 1.01 * window)
        found = search(shape, found.roll, near, [model])
    return strips(found, model)


def _near(values: np.ndarray, about: np.ndarray, window: float) -> np.ndarray:
    """Those of ``values`` within ``window`` of any of the sorted ``about``, and ``about`` itself."""
    after = np.searchsorted(about, values)
    to_next = about[np.minimum(after, len(about) - 1)] - values
    to_last = values - about[np.maximum(after - 1, 0)]
    return np.concatenate([values[np.minimum(np.abs(to_next), np.abs(to_last)) < window], about])


def strips(found: Found, model: int) -> Strips:
    """The strips of a search by one price model."""
    (offsets, lo, hi, _), cuts, path = found.slabs, found.cuts, _path(found, model)
    spans = []
    for i, j in path:
        span = kernel.band(offsets, lo, hi, i, j, found.roll.ends_m)
        spans.append(span.T)
    lines = np.array([(cuts[i], cuts[j]) for i, j in path])
    return Strips(found.shape, found.roll, lines, tuple(spans), float(found.cost[model]))


def _tidy(candidates: np.ndarray, shape: Turned) -> np.ndarray:
    """Sorted; of those that nearly coincide one stays, the shape's ends always."""
    low, high = shape.low, shape.high
    every = np.sort(candidates)
    every = every[(every > low + SAME_M) & (every < high - SAME_M)]
    if not len(every):
        return np.array([low, high])
    apart = np.empty(len(every), bool)
    apart[0] = True
    np.greater(every[1:] - every[:-1], SAME_M, out=apart[1:])
    return np.concatenate([[low], every[apart], [high]])


def _path(found: Found, model: int) -> list[tuple[int, int]]:
    """Steps (from cut, to cut) in order; steps over no turf are left out."""
    steps, j, before = [], len(found.cuts) - 1, found.before[model]
    while j > 0:
        i = int(before[j])
        if found.slabs[0][j] > found.slabs[0][i]:
            steps.append((i, j))
        j = i
    return steps[::-1]
