"""Outlines of few corners, by which regular strips are chosen.

Which bearing and roll serve an area best hangs on its shape, not on each of very many corners. So
they are sought on an outline made simpler within a told tolerance (Douglas and Peucker 1973: no
vertex left out lies further from the line drawn). The strips chosen are then laid on the outline as
drawn: no turf and no bound hangs on a corner left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from geoturf.layout.shape import Shape
from geoturf.model import Finding
from geoturf.rules import LayoutRules
from geoturf.units import System

OF_STEP = 0.1  # of the cut step: what outlines are made simpler within
RUN = 256  # edges made simpler at a time, since time grows by their square, depth by their number
TRIANGLE = 4  # points of the least ring that has an inside, the first once more at its end


def made_simpler(
    shapes: Sequence[Shape], regular: np.ndarray, rules: LayoutRules, told: System
) -> tuple[list[Shape], tuple[Finding, ...]]:
    """The shapes, those of ``regular`` rows (bool) with fewer corners, and what is said of them.
    All others, and those that keep every corner, are the same objects."""
    within_m = OF_STEP * rules.cut_step_m
    few = [
        simpler(shape, within_m) if strips else shape
        for shape, strips in zip(shapes, regular.tolist(), strict=True)
    ]
    pairs = [(a.corners, b.corners) for a, b in zip(shapes, few, strict=True) if a is not b]
    if not pairs:
        return few, ()
    before, after = np.sum(pairs, axis=0).tolist()
    message = (
        f"{len(pairs):,} of the outlines laid in regular strips have {before:,} corners; bearing "
        f"and roll are chosen by {after:,} of them, none left out further than "
        f"{told.size(within_m)} (a tenth of the cut step) from the outline these draw; measured, "
        "laid and priced is the outline as drawn"
    )
    return few, (Finding("note", "outline-simplified", message),)


def simpler(shape: Shape, within_m: float) -> Shape:
    """``shape`` without vertices that lie within ``within_m`` of the outline that is left, or itself
    where none do. A ring that would lose its inside is kept as it is."""
    rings = np.split(shape.points, np.cumsum(shape.rings)[:-1])
    kept = [_simpler(ring, within_m) for ring in rings]
    sizes = np.array([len(ring) for ring in kept])
    if np.array_equal(sizes, shape.rings):
        return shape
    return replace(shape, points=np.vstack(kept), rings=sizes)


def _simpler(ring: np.ndarray, within_m: float) -> np.ndarray:
    """The same of one closed ring (n, 2), a run at a time; ends of runs are kept."""
    runs = [ring[k : k + RUN + 1] for k in range(0, len(ring) - 1, RUN)]
    few = [shapely.LineString(run).simplify(within_m, preserve_topology=False) for run in runs]
    kept = [shapely.get_coordinates(line)[:-1] for line in few]
    points = np.vstack([*kept, ring[-1:]])
    if len(points) < TRIANGLE:
        return ring
    return points
