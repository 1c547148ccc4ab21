"""Where the seams go: the cheapest strips across one shape at one bearing, by each way of pricing
an off-cut.

A strip is a band of the area between two seam lines; what it takes along the pile is the projection
of its turf. Seam lines are a shortest path over candidate cuts (`geoturf.layout.kernel.searches`).
A coarse search over a few widths that matter (full, those that share a section two, three or four
side by side, eighths), from both ends of the shape and with its vertices, finds about where the
seams lie. Two finer ones about there, the last on whole cut steps and at vertices and their repeats
a usable width apart, place them. (Candidates, slabs and search are kernels called one after the
other: as one they would be compiled again within each of their callers, two seconds of a first
run.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geoturf.layout import kernel, placing
from geoturf.layout.roll import ALONE, BALANCED, MODELS, Roll
from geoturf.layout.shape import Shape, Turned

SCREENED = ALONE, BALANCED
NO_JOINTS = np.empty((0, 3))


@dataclass(frozen=True)
class Strips:
    """Strips across ``shape``. ``lines`` (k, 2): v from, v to of each; ``sizes`` (k,): how many
    intervals each has along the pile, and these in ``spans`` (n, 2); ``cost``: m2 of the roll's
    turf, seams in, by the price model they are for."""

    shape: Turned
    roll: Roll
    lines: np.ndarray
    sizes: np.ndarray
    spans: np.ndarray
    cost: float


@dataclass(frozen=True)
class Found:
    """A search's outcome at one bearing for one roll. ``offsets``: of the slabs between its
    ``cuts`` (`geoturf.layout.kernel.slabs`); for each of the ``models`` searched by, what all up to
    each cut costs (the seam there in) and the cut before it; ``cost`` by every model, infinite for
    others."""

    shape: Turned
    roll: Roll
    cuts: np.ndarray
    offsets: np.ndarray
    models: tuple[int, ...]
    upto: np.ndarray
    before: np.ndarray
    cost: np.ndarray


@dataclass(frozen=True)
class Sought:
    """The searches over all groups of an area at one bearing, and what they cost together;
    ``joints`` float (n, 3): v, u from, u to of seams between groups; ``cross`` (n, 3): u, v from, v
    to of cross seams between them."""

    bearing_deg: float
    found: tuple[Found, ...]
    cost: np.ndarray
    joints: np.ndarray
    cross: np.ndarray


def together(
    bearing_deg: float, found: tuple[Found, ...], joints: np.ndarray, cross: np.ndarray
) -> Sought:
    """Searches over groups that meet at seams ``joints`` and cross seams ``cross``. A cross seam
    between groups is charged `kernel.WORTH` times what it costs, since it must save as much."""
    seam = found[0].roll.numbers.seam
    each = found[0].roll.numbers.cross
    cost = sum((one.cost for one in found), np.zeros(MODELS))
    cost = cost + seam * float(np.sum(joints[:, 2] - joints[:, 1]))
    cost = cost + kernel.WORTH * crossing(cross, seam, each)
    return Sought(bearing_deg, found, cost, joints, cross)


def crossing(cross: np.ndarray, seam: float, each: float) -> float:
    """What cross seams (n, 3) cost, at so much a metre and each."""
    along: float = sum(v1 - v0 for _, v0, v1 in cross.tolist())
    return each * len(cross) + seam * along


def sought(
    shape: Shape,
    bearing_deg: float,
    roll: Roll,
    screen: bool = False,
    models: tuple[int, ...] = (),
) -> Sought:
    """The coarse search at one bearing, by every price model if none are given; coarser still, and
    only by the models `SCREENED`, to ``screen`` bearings."""
    views = shape.at(bearing_deg, roll.least_m, roll.usable_m)
    models = SCREENED if screen else models or roll.models
    found = tuple(search(view, roll, models, screen) for view in views)
    return together(bearing_deg, found, NO_JOINTS, NO_JOINTS)


def search(shape: Turned, roll: Roll, models: tuple[int, ...] = (), screen: bool = False) -> Found:
    """Cheapest seams, placed roughly, by each of the price ``models`` (`Roll.shares`), every one if
    none are given; from fewer places to ``screen``."""
    usable = roll.usable_m
    models = models or roll.models
    # little room between the least width and the most: strips of just the least must be possible
    least = 0.0
    if roll.least_m > usable / 4:
        least = roll.least_m
    cuts = placing.rough(shape.vs, shape.low, shape.high, roll.widths(screen), least, usable)
    slabs = kernel.slabs(shape.edges, shape.vs, cuts, roll.ends_m)
    upto, before = kernel.searches(cuts, *slabs, roll.numbers, *roll.tables(models))
    cost = np.full(MODELS, np.inf)
    cost[list(models)] = upto[:, -1]
    return Found(shape, roll, cuts, slabs[0], models, upto, before, cost)


def refined(found: Found, model: int) -> Strips:
    """The strips of ``found`` by one price model, their seams placed finely."""
    shape = found.shape
    roll = found.roll
    cuts = found.cuts
    offsets = found.offsets
    before = found.before[found.models.index(model)]
    for grid in roll.grids:
        cuts = placing.near(
            shape.vs, shape.low, shape.high, cuts, offsets, before, *grid, roll.usable_m
        )
        slabs = kernel.slabs(shape.edges, shape.vs, cuts, roll.ends_m)
        offsets = slabs[0]
        cost, (before,) = kernel.searches(cuts, *slabs, roll.numbers, *roll.tables((model,)))
    lines, sizes, spans = placing.strips(cuts, *slabs[:3], before, roll.ends_m)
    return Strips(shape, roll, lines, sizes, spans, float(cost[0, -1]))


def strips_of(shape: Turned, roll: Roll, cuts: np.ndarray, gap_m: float) -> Strips:
    """The strips between the ``cuts``, gaps up to ``gap_m`` closed; what they cost is not told."""
    offsets, lo, hi = kernel.projected(shape.edges, shape.level, cuts, gap_m)
    sizes = offsets[1:] - offsets[:-1]
    used = np.flatnonzero(sizes)
    lines = np.column_stack([cuts[used], cuts[used + 1]])
    spans = np.column_stack([lo, hi])
    return Strips(shape, roll, lines, sizes[used], spans, np.nan)
