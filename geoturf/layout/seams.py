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
from itertools import pairwise

import numpy as np

from geoturf.layout import kernel, placing
from geoturf.layout.roll import ALONE, BALANCED, MODELS, Roll
from geoturf.layout.shape import Shape, Turned

SCREENED = (ALONE, BALANCED)
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
    found = tuple(search(view, roll, models, screen) for view in views)
    return Sought(bearing_deg, found, np.sum([f.cost for f in found], axis=0), NO_JOINTS)


def search(shape: Turned, roll: Roll, models: Sequence[int] = range(MODELS), screen: bool = False) -> Found:
    """Cheapest seams, placed roughly, by each of the price ``models`` (`Roll.shares`); from fewer places to ``screen``."""
    offsets, usable = roll.widths(screen), roll.usable_m
    # little room between the least width and the most: strips of just the least must be possible
    least = roll.least_m if roll.least_m > usable / 4 else 0.0
    cuts = placing.rough(shape.vs, shape.low, shape.high, offsets, least, usable)
    slabs = kernel.slabs(shape.edges, shape.vs, cuts, roll.ends_m)
    costs, befores = kernel.searches(cuts, *slabs, roll.numbers, *roll.tables(tuple(models)))
    upto, before = dict(zip(models, costs, strict=True)), dict(zip(models, befores, strict=True))
    cost = np.array([upto[model][-1] if model in upto else np.inf for model in range(MODELS)])
    return Found(shape, roll, cuts, slabs, upto, before, cost)


def refined(found: Found, model: int) -> Strips:
    """The strips of ``found`` by one price model, their seams placed finely."""
    shape, roll = found.shape, found.roll
    (lines, sizes, spans), cost = placing.placed(
        shape.edges,
        shape.vs,
        shape.low,
        shape.high,
        found.cuts,
        found.slabs[0],
        found.before[model],
        roll.numbers,
        roll.shares[model],
    )
    ends = np.cumsum(sizes).tolist()
    return Strips(shape, roll, lines, tuple(spans[a:b] for a, b in pairwise([0, *ends])), cost)
