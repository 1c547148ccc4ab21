"""The least that any seams of a coarse grid cost: every one of them tried."""

from __future__ import annotations

import itertools
import math

import shapely
from layout_cases import (
    FOOT,
    INCH,
    RULES,
    TURF,
    USABLE,
)

from geoturf.layout.roll import ALONE, BALANCED, LEAN, stocked

(ROLL,) = stocked("turf60", TURF, RULES)
SEAM, CROSS = (
    4.14 / FOOT / (2.10 / FOOT**2),
    12.0 / (2.10 / FOOT**2),
)  # m2 of turf a metre, and each


def up(metres: float) -> float:
    """To the next inch."""
    return math.ceil(metres / INCH - 1e-6) * INCH


def spans(band: shapely.Geometry) -> list[float]:
    """Lengths of the pieces that cover a band (pile along x), gaps up to 6 in closed."""
    ends = sorted(
        (part.bounds[0], part.bounds[2]) for part in shapely.get_parts(band) if part.area > 0
    )
    joined: list[list[float]] = []
    for low, high in ends:
        if joined and low <= joined[-1][1] + 6 * INCH:
            joined[-1][1] = max(joined[-1][1], high)
        else:
            joined.append([low, high])
    return [high - low for low, high in joined]


def price(length: float, wide: float, model: int) -> float:
    """What one piece laid ``length`` by ``wide`` costs by a model, in m2; from the rules, not from
    the code."""
    across = USABLE if wide > USABLE - 1e-6 else min(USABLE, up(wide + INCH))
    if model == ALONE:
        lanes = int(USABLE / across + 1e-9)
        joint = CROSS + SEAM * wide
        return min(
            15 * FOOT * up(length / n + 6 * INCH) + (n - 1) * joint for n in range(1, lanes + 1)
        )
    share = across / USABLE
    if model == BALANCED:
        share -= LEAN * math.sin(2 * math.pi * share)
    return 15 * FOOT * up(length + 6 * INCH) * share


def brute_force(shape: shapely.Polygon, grid: list[float], model: int) -> float:
    """Least cost over every choice of up to five seams from the grid, by shapely and nothing of
    geoturf's."""
    low, high = shape.bounds[1], shape.bounds[3]
    best = math.inf
    bands = {}
    seam = {
        v: SEAM * shapely.intersection(shape, shapely.LineString([(-99, v), (99, v)])).length
        for v in grid
    }
    for count in range(6):
        for cuts in itertools.combinations(grid, count):
            lines = [low, *cuts, high]
            if any(not 6 * INCH <= b - a <= USABLE + 1e-6 for a, b in itertools.pairwise(lines)):
                continue
            cost = sum(seam[v] for v in cuts)
            for a, b in itertools.pairwise(lines):
                if (a, b) not in bands:
                    band = shapely.intersection(shape, shapely.box(-99, a, 99, b))
                    bands[a, b] = sum(price(length, b - a, model) for length in spans(band))
                cost += bands[a, b]
            best = min(best, cost)
    return best
