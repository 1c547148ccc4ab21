"""Which bearings of the pile are worth trying where it is free.

Straight-sided areas want an edge's direction, the smallest rotated rectangle's, or one across it; a
plain grid of directions is poor there and only helps smooth outlines. Candidates are screened with
a coarse seam search; the best few are searched in full. A layout turned by half a turn is the same
layout, so bearings are kept in [0, 180).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from geoturf.layout import blocks
from geoturf.layout.roll import Roll
from geoturf.layout.seams import SCREENED, sought
from geoturf.layout.shape import Shape

EDGES = 12  # edge directions looked at, by total length
ENOUGH = 0.92  # of the border: edges beyond that are too short to matter
SAME_DEG = 0.5
SIDES, TIE = (
    64,
    1e-6,
)  # edges that a rectangle may lie along; rectangles this close are equally small
GRID_DEG = 15.0  # for outlines without clear edges
KEPT, SLACK = 3, 1.015  # searched in full: at most this many, within this factor of the best
JOINT = 16  # bearings looked at for areas that share one


def candidates(edges: np.ndarray) -> np.ndarray:
    """Bearings (degrees, [0, 180)) worth screening for a shape of ``edges`` (n, 4)."""
    run = edges[:, 2:] - edges[:, :2]
    length = np.hypot(run[:, 0], run[:, 1])
    facing = np.degrees(np.arctan2(run[:, 0], run[:, 1])) % 90
    found = _rectangles(edges)
    order = np.argsort(-length, kind="stable")
    border = float(length.sum())
    left = np.ones(len(edges), bool)
    covered = 0.0
    for lead in order.tolist():
        if len(found) > EDGES // 2 or covered > ENOUGH * border:
            break
        if not left[lead]:
            continue
        near = left & (np.abs((facing - facing[lead] + 45) % 90 - 45) < SAME_DEG)
        left &= ~near
        covered += float(length[near].sum())
        found.append(facing[lead])
    if covered < 0.6 * border:
        found += list(facing[order[0]] + np.arange(0, 90, GRID_DEG))
    return distinct(np.concatenate([np.array(found), np.array(found) + 90]))


def distinct(bearings_deg: np.ndarray) -> np.ndarray:
    """Without those that are nearly the same, half turns included; in the order given."""
    kept: list[float] = []
    for bearing in (np.round(bearings_deg, 9) % 180).tolist():
        if all(abs((bearing - k + 90) % 180 - 90) >= SAME_DEG for k in kept):
            kept.append(bearing)
    return np.array(kept)


def popular(bearings_deg: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """The `JOINT` bearings that most weight speaks for, near ones counted together."""
    bearings_deg = np.asarray(bearings_deg)
    kept = distinct(bearings_deg[np.argsort(-np.asarray(weights), kind="stable")])
    off = np.abs((bearings_deg[:, None] - kept + 90) % 180 - 90)
    votes = np.bincount(np.argmin(off, axis=1), weights, len(kept))
    return kept[np.argsort(-votes, kind="stable")[:JOINT]]


def worth_trying(shape: Shape, rolls: Sequence[Roll]) -> list[float]:
    """The bearings worth a full search where the pile is free, best first."""
    return screen(shape, candidates(shape.edges), rolls)


def screen(shape: Shape, bearings_deg: np.ndarray, rolls: Sequence[Roll]) -> list[float]:
    """The bearings worth a full search, best first. A bearing stays for what it costs by any of the
    price models."""
    costs = _costs(shape, bearings_deg, rolls)
    ratio = np.min(costs / np.min(costs, axis=0), axis=1)
    order = np.argsort(ratio, kind="stable")
    return [float(bearings_deg[k]) for k in order[:KEPT] if ratio[k] <= SLACK]


def _costs(shape: Shape, bearings_deg: np.ndarray, rolls: Sequence[Roll]) -> np.ndarray:
    """Cost at each bearing by each screening model, of the roll that suits it best, seams placed
    roughly: of the shape in one, and in one or, where that may be among the best, in blocks."""
    every = [[sought(shape, at, roll, screen=True) for roll in rolls] for at in bearings_deg]
    worth = [roll.worth for roll in rolls]
    whole = np.array(
        [
            np.min([w * one.cost for w, one in zip(worth, some, strict=True)], axis=0)
            for some in every
        ]
    )
    near = SLACK * whole.min(axis=0)
    best = whole.copy()
    for row, some in enumerate(every):
        for one, roll in zip(some, rolls, strict=True):
            for cut in blocks.parted(shape, one, roll, SCREENED, near / roll.worth, screen=True):
                best[row] = np.minimum(best[row], roll.worth * cut.cost)
    return np.hstack([whole[:, SCREENED], best[:, SCREENED]])


def longest_edge(edges: np.ndarray) -> int:
    """Row of the longest edge, the first of equals."""
    return int(
        np.argmax(np.round(np.hypot(edges[:, 2] - edges[:, 0], edges[:, 3] - edges[:, 1]), 6))
    )


def _rectangles(edges: np.ndarray) -> list[float]:
    """Bearings, in [0, 90), of the smallest rotated rectangle's sides; of several that are equally
    small. One side of it lies along an edge of the convex hull, of which the longest are looked
    at."""
    hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(edges[:, :2])))
    run = np.diff(hull, axis=0)
    run = run[np.argsort(-np.round(np.hypot(*run.T), 6), kind="stable")[:SIDES]]
    facing = np.arctan2(*run.T) % (np.pi / 2)
    sine = np.sin(facing)
    cosine = np.cos(facing)
    area = np.ptp(hull @ [sine, cosine], axis=0) * np.ptp(hull @ [cosine, -sine], axis=0)
    if not len(area):
        return [0.0]
    least = area <= area.min() * (1 + TIE)
    bearings: list[float] = np.degrees(facing[least]).tolist()
    return bearings
