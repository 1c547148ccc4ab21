"""Repeated models: areas that are one shape, moved, or turned where the bearing is free. Solved
once, and placed.

A mirrored shape is another one: turf has an upper side.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from geoturf.layout.roll import Roll
from geoturf.layout.shape import Shape, axes
from geoturf.model import Choices, Layout

TOLERANCE_M = (
    5e-5  # corners of repeats agree this closely: ground frames differ by some ppm of a lot's width
)


@dataclass(frozen=True)
class Place:
    """An area is the area of row ``of``, turned by ``turn_deg`` (counter-clockwise) about the
    frame's origin and then moved by ``move`` (x, y in metres). Its own row where it is no
    repeat."""

    of: int
    turn_deg: float
    move: np.ndarray


def places(shapes: Sequence[Shape], keys: Sequence[object], turn: Sequence[bool]) -> list[Place]:
    """Where each shape is met first. Only shapes of equal ``keys`` are compared; ``turn``: whether
    it may be a turned one. A key of None is no repeat of anything."""
    firsts: dict[object, list[tuple[float, int]]] = {}  # (area, row), the smallest first
    out = []
    sizes = [(shape.area_m2, float(np.sum(_lengths(shape)))) for shape in shapes]
    for row, (shape, key) in enumerate(zip(shapes, keys, strict=True)):
        place = None
        if key is not None:
            known = firsts.setdefault((key, tuple(sorted(shape.rings))), [])
            off = TOLERANCE_M * (2 * sizes[row][1] + int(shape.rings.sum()))
            near = _alike(known, sizes, sizes[row], off)
            matches = (_match(shapes[k], shape, turn[row], k) for k in near)
            place = next((m for m in matches if m is not None), None)
            if place is None:
                insort(known, (sizes[row][0], row))
        out.append(place or Place(row, 0.0, np.zeros(2)))
    return out


def _alike(
    known: list[tuple[float, int]],
    sizes: Sequence[tuple[float, float]],
    size: tuple[float, float],
    off: float,
) -> list[int]:
    """Rows of ``known`` whose area and border differ from ``size`` by no more than ``off``."""
    first = bisect_left(known, (size[0] - off, -1))
    last = bisect_right(known, (size[0] + off, len(sizes)))
    return sorted(row for _, row in known[first:last] if abs(sizes[row][1] - size[1]) <= off)


def placed(choices: Choices, place: Place) -> Choices:
    """The choices of the first area, for one of its repeats."""
    every = (choices.layouts, choices.wide, choices.by_hand)
    layouts, full, hand = (tuple(moved(layout, place) for layout in some) for some in every)
    return replace(choices, layouts=layouts, wide=full, by_hand=hand, same_as=place.of)


def slack_m2(shape: Shape, rolls: Sequence[Roll]) -> float:
    """How much less the bound of a repeat may be than that of the first, within the tolerance: the
    area between their borders, and for each corner rows of twice the tolerance that may meet a
    piece more."""
    factor = max(roll.width_m / roll.usable_m for roll in rolls)
    return (
        factor
        * 2
        * TOLERANCE_M
        * (float(np.sum(_lengths(shape))) + 2 * rolls[0].ends_m * len(shape.points))
    )


def moved(layout: Layout, place: Place) -> Layout:
    """A layout of the first area, for its repeat at ``place``."""
    if place.turn_deg == 0 and not place.move.any():
        return layout
    bearing = (layout.bearing_deg - place.turn_deg) % 360
    u, v = axes(bearing) @ place.move
    return replace(
        layout,
        bearing_deg=float(bearing),
        pieces=layout.pieces + np.array([u, u, v, v]),
        seams=layout.seams + np.array([v, u, u]),
        cross=layout.cross + np.array([u, v, v]),
    )


def _lengths(shape: Shape) -> np.ndarray:
    edges = shape.edges
    lengths: np.ndarray = np.hypot(edges[:, 2] - edges[:, 0], edges[:, 3] - edges[:, 1])
    return lengths


def _match(first: Shape, other: Shape, turn: bool, row: int) -> Place | None:
    """How ``other`` is ``first`` moved (and turned), or None. Least turn where several would do."""
    ours, theirs = _loops(first), _loops(other)
    lead = max(range(len(ours)), key=lambda k: len(ours[k]))
    found = []
    for loop in theirs:
        if len(loop) == len(ours[lead]):
            found += _alignments(ours[lead], loop, turn)
    for angle, move in sorted(found, key=lambda f: (round(abs(f[0]), 6), f[0])):
        placed_loops = [ring * np.exp(1j * angle) + move for ring in ours]
        if _same_loops(placed_loops, theirs):
            spin = np.exp(1j * angle) * complex(*first.origin)
            shift = complex(*other.origin) + move - spin
            return Place(row, float(np.degrees(angle)), np.array([shift.real, shift.imag]))
    return None


def _loops(shape: Shape) -> list[np.ndarray]:
    """Rings as complex numbers, without the closing point."""
    rings = np.split(shape.points[:, 0] + 1j * shape.points[:, 1], np.cumsum(shape.rings)[:-1])
    return [ring[:-1] for ring in rings]


def _alignments(ours: np.ndarray, theirs: np.ndarray, turn: bool) -> list[tuple[float, complex]]:
    """Turns (radians) and moves that bring ring ``ours`` onto ``theirs``, whichever corner it
    starts from."""
    n = len(ours)
    a, b = np.roll(ours, -1) - ours, np.roll(theirs, -1) - theirs
    out = []
    for s in np.flatnonzero(np.abs(np.abs(b) - np.abs(a[0])) <= 4 * TOLERANCE_M):
        other = np.roll(theirs, -s)
        far = np.roll(b, -s)
        angle = float(np.angle(np.sum(np.conj(a) * far))) if turn else 0.0
        move = complex(np.mean(other) - np.mean(ours) * np.exp(1j * angle))
        if np.max(np.abs(ours * np.exp(1j * angle) + move - other)) <= TOLERANCE_M:
            out.append((angle, move))
        if len(out) > 2 * n:
            break
    return out


def _same_loops(ours: list[np.ndarray], theirs: list[np.ndarray]) -> bool:
    left = list(theirs)
    for ring in ours:
        for k, other in enumerate(left):
            if len(other) == len(ring) and _same_loop(ring, other):
                del left[k]
                break
        else:
            return False
    return not left


def _same_loop(ring: np.ndarray, other: np.ndarray) -> bool:
    start = int(np.argmin(np.abs(other - ring[0])))
    return bool(np.max(np.abs(np.roll(other, -start) - ring)) <= TOLERANCE_M)
