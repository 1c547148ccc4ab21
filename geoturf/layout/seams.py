"""Where the seams go: the cheapest strips across one shape at one bearing, by each way of pricing an off-cut.

A strip is a band of the area between two seam lines; what it takes along the pile is the projection of its turf. Seam lines are
a shortest path over candidate cuts (`geoturf.layout.kernel.search`). Candidates: a grid that divides the usable width in 48, laid
from both ends (so that strips of exactly full, half, third … width exist from either side), and every vertex with its
repeats a usable width apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geoturf.layout import kernel
from geoturf.layout.roll import Roll
from geoturf.layout.shape import Turned

FINE, COARSE = 48, 8
MAX_VERTICES = 80  # shapes with more get no candidates at their vertices: the grid is as good, and time stays bounded
MAX_CUTS = 20_000
SAME_M = 1e-7


@dataclass(frozen=True)
class Strips:
    """``lines`` (k, 2): v from, v to of each strip; ``spans``: for each strip its intervals (n, 2) along the pile;
    ``cost`` (models,): m2 of the roll's turf, seams in, by each price model."""

    bearing_deg: float
    roll: Roll
    lines: np.ndarray
    spans: tuple[np.ndarray, ...]
    cost: np.ndarray


def candidates(shape: Turned, usable_m: float, parts: int) -> np.ndarray:
    """Sorted v's where a seam may lie; the first and last are the ends of the shape."""
    low, high = shape.vs[0], shape.vs[-1]
    while parts > 3 and 2 * (high - low) / usable_m * parts > MAX_CUTS:
        parts //= 2
    step = usable_m / parts
    steps = np.arange(int((high - low) / step) + 1) * step
    cuts = [low + steps, high - steps]
    if parts == FINE and len(shape.vs) <= MAX_VERTICES:
        repeats = int((high - low) / usable_m) + 1
        shifts = np.arange(-repeats, repeats + 1) * usable_m
        cuts.append((shape.vs[:, None] + shifts).ravel())
    every = np.unique(np.concatenate(cuts))
    every = every[(every > low + SAME_M) & (every < high - SAME_M)]
    apart = np.diff(every, prepend=-np.inf) > SAME_M
    return np.concatenate([[low], every[apart], [high]])


def strips(shape: Turned, bearing_deg: float, roll: Roll, parts: int = FINE) -> list[Strips]:
    """The cheapest strips by each price model, those that differ."""
    numbers = roll.numbers()
    cuts = candidates(shape, roll.usable_m, parts)
    levels = np.unique(np.concatenate([shape.vs, cuts]))
    slabs = kernel.slabs(shape.edges, levels, np.isin(levels, cuts), roll.ends_m)
    _, before = kernel.search(cuts, *slabs, numbers, roll.ends_m)
    paths = dict.fromkeys(_path(before[q], slabs[0]) for q in range(kernel.MODELS))
    return [_strips(path, cuts, slabs, numbers, bearing_deg, roll) for path in paths]


def least_cost(shape: Turned, roll: Roll, parts: int = COARSE) -> np.ndarray:
    """Cost by each price model (models,), without the strips."""
    cuts = candidates(shape, roll.usable_m, parts)
    levels = np.unique(np.concatenate([shape.vs, cuts]))
    slabs = kernel.slabs(shape.edges, levels, np.isin(levels, cuts), roll.ends_m)
    return kernel.search(cuts, *slabs, roll.numbers(), roll.ends_m)[0][:, -1]


def _path(before: np.ndarray, offsets: np.ndarray) -> tuple[tuple[int, int], ...]:
    """Steps (from cut, to cut) of one model, in order; steps over no turf are left out."""
    steps, j = [], len(before) - 1
    while j > 0:
        i = int(before[j])
        if offsets[j] > offsets[i]:
            steps.append((i, j))
        j = i
    return tuple(reversed(steps))


def _strips(path, cuts, slabs, numbers, bearing_deg: float, roll: Roll) -> Strips:
    offsets, lo, hi, seams = slabs
    spans, cost, one = [], np.zeros(kernel.MODELS), np.empty(kernel.MODELS)
    for i, j in path:
        span = kernel.band(offsets, lo, hi, i, j, roll.ends_m)
        kernel.price(
            np.ascontiguousarray(span[:, 0]),
            np.ascontiguousarray(span[:, 1]),
            len(span),
            cuts[j] - cuts[i],
            numbers,
            one,
        )
        cost += one + numbers[6] * seams[j]
        spans.append(span)
    lines = np.array([(cuts[i], cuts[j]) for i, j in path])
    return Strips(bearing_deg, roll, lines, tuple(spans), cost)
