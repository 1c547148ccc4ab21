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

from geoturf.layout.roll import ALONE, BALANCED, LEAN, WHOLE, stocked
from geoturf.rules import LayoutRules

(ROLL,) = stocked("turf60", TURF, RULES)
FREE = LayoutRules.model_validate(
    {
        "min_piece_width": "6 in",
        "min_piece_length": "0 ft",
        "narrow_strip": "0 %",
        "cross_seams": "anywhere",
    }
)
SEAM, CROSS = (
    4.14 / FOOT / (2.10 / FOOT**2),
    37.0 / (2.10 / FOOT**2),
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


def price(length: float, wide: float, model: int, ganged: bool) -> float:
    """What one piece laid ``length`` by ``wide`` costs by a model, in m2; from the rules, not from
    the code."""
    across = USABLE if wide > USABLE - 1e-6 else min(USABLE, up(wide + INCH))
    if model == ALONE:
        lanes = int(USABLE / across + 1e-9) if ganged else 1
        joint = 2 * (CROSS + SEAM * wide)  # it must save twice what it costs
        return min(
            15 * FOOT * up(length / n + 6 * INCH) + (n - 1) * joint for n in range(1, lanes + 1)
        )
    share = across / USABLE
    if model in (BALANCED, WHOLE):
        share -= LEAN * math.sin(2 * math.pi * share)
    return 15 * FOOT * up(length + 6 * INCH) * share


def unwanted(lines: list[float], lengths: list[list[float]], seams: list[float]) -> int:
    """How much of the strips between ``lines``, so long in all their pieces, the rules would not
    have; ``seams``: metres of seam at each line."""
    count = sum(length < 3 * FOOT for strip in lengths for length in strip)
    narrow = [b - a < 0.4 * USABLE - 1e-6 for a, b in itertools.pairwise(lines)]
    turf = [  # along each strip's two sides
        [seam > sum(strip) / 2 for seam in (seams[k], seams[k + 1])]
        for k, strip in enumerate(lengths)
    ]
    inside = sum(n and all(sides) for n, sides in zip(narrow, turf, strict=True))
    pairs = range(len(narrow) - 1)
    return (
        count
        + inside
        + sum(narrow[k] and narrow[k + 1] and turf[k][1] and turf[k + 1][0] for k in pairs)
    )


def odd(lines: list[float], lengths: list[list[float]], seams: list[float]) -> int:
    """How many strips under a full roll lie inside the turf, and how many beside another such."""
    slim = [b - a < USABLE - 1e-6 for a, b in itertools.pairwise(lines)]
    turf = [
        [seam > sum(strip) / 2 for seam in (seams[k], seams[k + 1])]
        for k, strip in enumerate(lengths)
    ]
    inside = sum(s and all(sides) for s, sides in zip(slim, turf, strict=True))
    pairs = range(len(slim) - 1)
    return inside + sum(slim[k] and slim[k + 1] and turf[k][1] and turf[k + 1][0] for k in pairs)


def brute_force(shape: shapely.Polygon, grid: list[float], model: int, rules: LayoutRules) -> float:
    """Least cost over every choice of up to five seams from the grid, by shapely and nothing of
    geoturf's."""
    low, high = shape.bounds[1], shape.bounds[3]
    best, free = math.inf, rules is FREE
    bands = {}
    seam = {
        v: shapely.intersection(shape, shapely.LineString([(-99, v), (99, v)])).length for v in grid
    }
    for count in range(6):
        for cuts in itertools.combinations(grid, count):
            lines = [low, *cuts, high]
            pairs = list(itertools.pairwise(lines))
            if any(not rules.min_piece_width_m <= b - a <= USABLE + 1e-6 for a, b in pairs):
                continue
            for a, b in pairs:
                if (a, b) not in bands:
                    bands[a, b] = spans(shapely.intersection(shape, shapely.box(-99, a, 99, b)))
            lengths = [bands[pair] for pair in pairs]
            seams = [0, *(seam[v] for v in cuts), 0]
            cost = SEAM * sum(seams) + sum(
                price(length, b - a, model, free) for a, b in pairs for length in bands[a, b]
            )
            if model == WHOLE:
                cost += odd(lines, lengths, seams) * 15 * FOOT * rules.full_strips_m
            best = min(best, cost + (0 if free else 100 * unwanted(lines, lengths, seams)))
    return best
