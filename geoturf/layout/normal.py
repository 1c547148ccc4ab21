"""The same lawn however it lies: shapes are laid in a frame of their own, and layouts moved back.

A lawn moved, turned or mirrored is as much work and takes as much turf: its layouts are those of
the first, moved, turned and mirrored (pieces are rectangles; only where they lie is mirrored, not
the turf). So a shape is taken into a frame that hangs on nothing but itself: along the pile where
that is stated, along its longest edge where it is free; of both senses of either axis, and of edges
as long as the longest, those whose list of edges comes first. Rings begin at their first corner.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from geoturf.layout.shape import Shape
from geoturf.model import Choices, Layout

AS_LONG_M = 2e-4  # edges whose lengths differ by less are equally long
TIES = 8  # of these, as many are looked at
TOLD_M = 1e-4  # corners are compared by multiples of this
LEVEL_M = (
    1.5e-6  # what is laid has corners on the grid of a micrometre: sides askew by less are straight
)
ALONG_X = 90.0  # the bearing, in the frame, of a pile that is stated
SENSES = [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)]  # of x and of y


@dataclass(frozen=True)
class Normal:
    """``shape`` in its own frame, and ``bearing_deg`` there (NaN: free); a point of it lies at
    ``turn`` (2, 2) times it and ``move`` (2,). ``stated_deg``: the bearing there, NaN where
    free."""

    shape: Shape
    bearing_deg: float
    turn: np.ndarray
    move: np.ndarray
    stated_deg: float

    def bearing_of(self, bearing_deg: float) -> float:
        """A bearing, in the frame; half turns are the same."""
        if not np.isnan(self.bearing_deg):
            return self.bearing_deg
        angle = np.radians(bearing_deg)
        x, y = self.turn.T @ [np.sin(angle), np.cos(angle)]
        return float(np.round(np.degrees(np.arctan2(x, y)), 9) % 180)

    def back(self, layout: Layout) -> Layout:
        """A layout of the shape, where it lies."""
        angle = np.radians(layout.bearing_deg)
        along = self.turn @ [np.sin(angle), np.cos(angle)]
        bearing = float(np.degrees(np.arctan2(*along)) % 360)
        wanted = self.stated_deg
        if np.isnan(self.stated_deg):
            wanted = bearing % 180
        sense = 1.0 if abs((bearing - wanted + 90) % 360 - 90) < 90 else -1.0
        side = sense * float(np.sign(np.linalg.det(self.turn)))
        along = sense * along
        u = along @ self.move
        v = np.array([along[1], -along[0]]) @ self.move
        return replace(
            layout,
            bearing_deg=wanted,
            pieces=np.hstack(
                [_put(layout.pieces[:, :2], sense, u), _put(layout.pieces[:, 2:], side, v)]
            ),
            seams=np.hstack([side * layout.seams[:, :1] + v, _put(layout.seams[:, 1:], sense, u)]),
            cross=np.hstack([sense * layout.cross[:, :1] + u, _put(layout.cross[:, 1:], side, v)]),
        )

    def back_all(self, choices: Choices) -> Choices:
        """The choices of the shape, where it lies."""
        every = (choices.layouts, choices.wide, choices.by_hand)
        layouts, full, hand = (tuple(self.back(layout) for layout in some) for some in every)
        return replace(
            choices,
            layouts=layouts,
            wide=full,
            by_hand=hand,
        )


def normal(shape: Shape, bearing_deg: float) -> Normal:
    """The ``shape`` in its own frame, the pile at ``bearing_deg`` (NaN: free)."""
    name = f"normal {bearing_deg!r}"
    if name not in shape.known:
        shape.known[name] = _normal(shape, bearing_deg)
    made: Normal = shape.known[name]
    return made


def _normal(shape: Shape, bearing_deg: float) -> Normal:
    best: tuple[bytes, np.ndarray] | None = None
    for along in _directions(shape, bearing_deg):
        left = np.array([-along[1], along[0]])
        for x, y in SENSES:
            turn = np.column_stack([x * along, y * left])
            key = _key(shape.edges.reshape(-1, 2, 2) @ turn)
            if best is None or key < best[0]:
                best = key, turn
    assert best is not None, "a shape has an edge"
    points = shape.points @ best[1]
    corner = points.min(axis=0)
    laid = _in_order(_level(points - corner), shape)
    move = best[1] @ corner + shape.origin
    free = bool(np.isnan(bearing_deg))
    return Normal(laid, np.nan if free else ALONG_X, best[1], move, bearing_deg)


def _directions(shape: Shape, bearing_deg: float) -> Iterator[np.ndarray]:
    """Unit vectors that the frame may lie along."""
    if not np.isnan(bearing_deg):
        angle = np.radians(bearing_deg)
        yield np.array([np.sin(angle), np.cos(angle)])
        return
    run = shape.edges[:, 2:] - shape.edges[:, :2]
    length = np.hypot(*run.T)
    found: list[np.ndarray] = []
    for row in np.flatnonzero(length > length.max() - AS_LONG_M):
        along = run[row] / length[row]
        if not any(abs(along[0] * f[1] - along[1] * f[0]) < 1e-6 for f in found):
            found.append(along)
    yield from found[:TIES]


def _key(edges: np.ndarray) -> bytes:
    """Edges (n, 2, 2) as a text that sorts as they do, whichever comes first and however they
    run."""
    told = np.rint((edges - edges.min(axis=(0, 1))) / TOLD_M).astype(np.int64)
    swap = (told[:, 0, 0] > told[:, 1, 0]) | (
        (told[:, 0, 0] == told[:, 1, 0]) & (told[:, 0, 1] > told[:, 1, 1])
    )
    told[swap] = told[swap, ::-1]
    rows = told.reshape(-1, 4)
    key: bytes = rows[np.lexsort(rows.T[::-1])].astype(">i8").tobytes()
    return key


def _level(points: np.ndarray) -> np.ndarray:
    """Points (n, 2) with coordinates that hardly differ made the same: the least of them."""
    out = np.empty(points.shape)
    for axis in range(2):
        values, of = np.unique(points[:, axis], return_inverse=True)
        apart = np.diff(values, prepend=-np.inf) > LEVEL_M
        first = np.maximum.accumulate(np.where(apart, np.arange(len(values)), 0))
        out[:, axis] = values[first][of.reshape(-1)]
    return out


def _in_order(points: np.ndarray, shape: Shape) -> Shape:
    """The shape of other ``points``, its rings and parts in their own order."""
    rings = np.split(points, np.cumsum(shape.rings)[:-1])
    parts: dict[int, list[np.ndarray]] = {}
    for ring, part in zip(rings, shape.parts.tolist(), strict=True):
        parts.setdefault(part, []).append(_begun(ring))
    ordered = [[some[0], *sorted(some[1:], key=_first)] for some in parts.values()]
    ordered.sort(key=lambda some: _first(some[0]))
    every = [ring for some in ordered for ring in some]
    of = np.repeat(np.arange(len(ordered)), [len(some) for some in ordered])
    sizes = np.array([len(ring) for ring in every])
    return Shape(np.vstack(every), sizes, of, np.zeros(2), shape.area_m2)


def _begun(ring: np.ndarray) -> np.ndarray:
    """A closed ring, counter-clockwise from its first corner on."""
    corners = ring[:-1]
    x, y = corners.T
    if float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) < 0:
        corners = corners[::-1]
    first = int(np.lexsort((corners[:, 1], corners[:, 0]))[0])
    corners = np.roll(corners, -first, axis=0)
    return np.vstack([corners, corners[:1]])


def _first(ring: np.ndarray) -> list[float]:
    corners: list[float] = np.round(ring.reshape(-1), 4).tolist()
    return corners


def _put(ends: np.ndarray, sense: float, shift: float) -> np.ndarray:
    """From and to (n, 2) along an axis that may run the other way."""
    return (ends if sense > 0 else -ends[:, ::-1]) + shift
