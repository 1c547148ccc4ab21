"""Repeated models: areas that are one shape, moved, or turned where the bearing is free. Solved
once, and placed.

Turf has an upper side, so no piece is ever turned over. But the mirror image of a layout is one of
the mirrored shape whose pile leans to the mirrored bearing: its pieces are rectangles of the same
sizes. So where the bearing is free and lots of one plan are laid alike, a mirrored shape is a
repeat too.
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
    """An area is the area of row ``of``, with x turned over where it is ``mirrored``, turned by
    ``turn_deg`` (counter-clockwise) about the frame's origin and then moved by ``move`` (x, y in
    metres). Its own row where it is no repeat. ``other_end``: its pile leans to the other end."""

    of: int
    turn_deg: float
    move: np.ndarray
    mirrored: bool = False
    other_end: bool = False


def places(
    shapes: Sequence[Shape],
    keys: Sequence[object],
    turn: Sequence[bool] | np.ndarray,
    mirror: bool = False,
    off_m: float = TOLERANCE_M,
) -> list[Place]:
    """Where each shape is met first. Only shapes of equal ``keys`` are compared; ``turn``: whether
    it may be a turned one, and with ``mirror`` a mirrored one. A key of None is no repeat of
    anything. Corners agree to within ``off_m`` in x and y together."""
    firsts: dict[object, list[tuple[float, int]]] = {}  # (area, row), the smallest first
    out = []
    sizes = [(shape.area_m2, float(np.sum(_lengths(shape)))) for shape in shapes]
    for row, (shape, key) in enumerate(zip(shapes, keys, strict=True)):
        place = None
        if key is not None:
            known = firsts.setdefault((key, tuple(sorted(shape.rings))), [])
            off = off_m * (2 * sizes[row][1] + int(shape.rings.sum()))
            near = _alike(known, sizes, sizes[row], off)
            ways = (False, True) if mirror and turn[row] else (False,)
            matches = (
                _match(shapes[k], shape, turn[row], k, way, off_m) for way in ways for k in near
            )
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
    return replace(
        choices,
        layouts=layouts,
        wide=full,
        by_hand=hand,
        same_as=place.of,
    )


def from_another(place: Place, other: Place, row: int) -> Place:
    """Where an area lies seen from another repeat of the same first, of row ``row``."""
    here = complex(*place.move)
    there = complex(*other.move)
    mirrored = place.mirrored != other.mirrored
    turn = place.turn_deg + (other.turn_deg if mirrored else -other.turn_deg)
    spun = np.exp(1j * np.radians(turn)) * (there.conjugate() if mirrored else -there)
    move = here + spun
    return Place(row, turn, np.array([move.real, move.imag]), mirrored)


def as_first(bearing_deg: float, place: Place) -> float:
    """A bearing of a repeat, on the first area."""
    turned = bearing_deg + place.turn_deg
    return -turned if place.mirrored else turned


def leaning(bearing_deg: float, place: Place) -> float:
    """A bearing of the first area, on the repeat."""
    turned = (-bearing_deg if place.mirrored else bearing_deg) - place.turn_deg
    return (turned + 180.0 * place.other_end) % 360


def _half_turned(layout: Layout) -> Layout:
    """The layout counted from the other end along the pile, and across it."""
    return replace(
        layout,
        pieces=-layout.pieces[:, [1, 0, 3, 2]],
        seams=-layout.seams[:, [0, 2, 1]],
        cross=-layout.cross[:, [0, 2, 1]],
    )


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
    if place.turn_deg == 0 and not place.move.any() and not place.mirrored and not place.other_end:
        return layout
    bearing = leaning(layout.bearing_deg, place)
    layout = _mirrored(layout) if place.mirrored else layout
    layout = _half_turned(layout) if place.other_end else layout
    u, v = axes(bearing) @ place.move
    return replace(
        layout,
        bearing_deg=float(bearing),
        pieces=layout.pieces + np.array([u, u, v, v]),
        seams=layout.seams + np.array([v, u, u]),
        cross=layout.cross + np.array([u, v, v]),
    )


def _mirrored(layout: Layout) -> Layout:
    """The layout with x turned over: along the pile all stays, across it left is right."""
    return replace(
        layout,
        pieces=layout.pieces[:, [0, 1, 3, 2]] * [1, 1, -1, -1],
        seams=layout.seams * [-1, 1, 1],
        cross=layout.cross[:, [0, 2, 1]] * [1, -1, -1],
    )


def _lengths(shape: Shape) -> np.ndarray:
    edges = shape.edges
    lengths: np.ndarray = np.hypot(edges[:, 2] - edges[:, 0], edges[:, 3] - edges[:, 1])
    return lengths


def _match(
    first: Shape, other: Shape, turn: bool, row: int, mirrored: bool, off_m: float
) -> Place | None:
    """How ``other`` is ``first`` (mirrored,) moved (and turned), or None. Least turn where several
    would do."""
    ours = _loops(first)
    theirs = _loops(other)
    origin = complex(*first.origin)
    if mirrored:
        ours = [-np.conj(ring)[::-1] for ring in ours]
        origin = -origin.conjugate()
    lead = max(range(len(ours)), key=lambda k: len(ours[k]))
    found = []
    for loop in theirs:
        if len(loop) == len(ours[lead]):
            found += _alignments(ours[lead], loop, turn, off_m)
    for angle, move in sorted(found, key=lambda f: (round(abs(f[0]), 6), f[0])):
        placed_loops = [ring * np.exp(1j * angle) + move for ring in ours]
        if _same_loops(placed_loops, theirs, off_m):
            shift = complex(*other.origin) + move - np.exp(1j * angle) * origin
            moved_by = np.array([shift.real, shift.imag])
            return Place(row, float(np.degrees(angle)), moved_by, mirrored)
    return None


def _loops(shape: Shape) -> list[np.ndarray]:
    """Rings as complex numbers, counter-clockwise, without the closing point."""
    rings = np.split(shape.points[:, 0] + 1j * shape.points[:, 1], np.cumsum(shape.rings)[:-1])
    twice = [float(np.sum((np.conj(ring[:-1]) * ring[1:]).imag)) for ring in rings]
    return [
        ring[:-1] if area >= 0 else ring[:-1][::-1] for ring, area in zip(rings, twice, strict=True)
    ]


def _alignments(
    ours: np.ndarray, theirs: np.ndarray, turn: bool, off_m: float
) -> list[tuple[float, complex]]:
    """Turns (radians) and moves that bring ring ``ours`` onto ``theirs``, whichever corner it
    starts from."""
    n = len(ours)
    a = np.roll(ours, -1) - ours
    b = np.roll(theirs, -1) - theirs
    out = []
    for s in np.flatnonzero(np.abs(np.abs(b) - np.abs(a[0])) <= 4 * off_m):
        other = np.roll(theirs, -s)
        far = np.roll(b, -s)
        angle = 0.0
        if turn:
            angle = float(np.angle(np.sum(np.conj(a) * far)))
        move = complex(np.mean(other) - np.mean(ours) * np.exp(1j * angle))
        if np.max(np.abs(ours * np.exp(1j * angle) + move - other)) <= off_m:
            out.append((angle, move))
        if len(out) > 2 * n:
            break
    return out


def _same_loops(ours: list[np.ndarray], theirs: list[np.ndarray], off_m: float) -> bool:
    left = list(theirs)
    for ring in ours:
        for k, other in enumerate(left):
            if len(other) == len(ring) and _same_loop(ring, other, off_m):
                del left[k]
                break
        else:
            return False
    return not left


def _same_loop(ring: np.ndarray, other: np.ndarray, off_m: float) -> bool:
    start = int(np.argmin(np.abs(other - ring[0])))
    return bool(np.max(np.abs(np.roll(other, -start) - ring)) <= off_m)
