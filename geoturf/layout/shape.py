"""An area as plain arrays: what travels to workers and into the kernel."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geoturf.layout import kernel, parting
from geoturf.units import round_up

TURNED, SIDE_M = 0.34, 0.6  # sine of a turn, and length of a side, that make a corner
CORNERS = 8  # looked at
SNAP_M = 1e-6  # v coordinates are kept on this grid, so that slabs have a height


@dataclass(frozen=True)
class Shape:
    """``points`` float (n, 2): every ring's vertices about ``origin`` (frame metres), rings one
    after the other, closed; ``rings`` int (k,): how many points each has; ``parts`` int (k,): the
    part each is of. Insides by the even-odd rule."""

    points: np.ndarray
    rings: np.ndarray
    parts: np.ndarray
    origin: np.ndarray
    area_m2: float

    @property
    def corners(self) -> int:
        """How many corners all rings have."""
        return len(self.points) - len(self.rings)

    @property
    def border_m(self) -> float:
        """Length of all rings."""
        return float(np.hypot(*(self.edges[:, 2:] - self.edges[:, :2]).T).sum())

    @cached_property
    def edges(self) -> np.ndarray:
        """Float (m, 4): x0, y0, x1, y1 of every edge that has a length."""
        return self._edges_and_parts[0]

    @cached_property
    def _edges_and_parts(self) -> tuple[np.ndarray, np.ndarray]:
        inside = np.ones(len(self.points), bool)
        inside[np.cumsum(self.rings) - 1] = False
        start = np.flatnonzero(inside)
        edges = np.hstack([self.points[start], self.points[start + 1]])
        real = np.any(edges[:, :2] != edges[:, 2:], axis=1)
        return np.ascontiguousarray(edges[real]), np.repeat(self.parts, self.rings)[start[real]]

    @cached_property
    def inner_corners(self) -> np.ndarray:
        """Corners (n, 2) where turf fills more than half of the way round, by `TURNED` at least,
        and both sides are some way long; those of the longest sides first, `CORNERS` of them at
        most."""
        found = []
        sizes = []
        first = np.r_[True, self.parts[1:] != self.parts[:-1]]
        for ring, outer in zip(
            np.split(self.points, np.cumsum(self.rings)[:-1]), first, strict=True
        ):
            ring = ring[:-1]
            come = ring - np.roll(ring, 1, axis=0)
            go = np.roll(ring, -1, axis=0) - ring
            turn = come[:, 0] * go[:, 1] - come[:, 1] * go[:, 0]
            area = float(
                np.sum(ring[:, 0] * np.roll(ring[:, 1], -1) - ring[:, 1] * np.roll(ring[:, 0], -1))
            )
            sides = np.minimum(np.hypot(*come.T), np.hypot(*go.T))
            length = np.hypot(*come.T) * np.hypot(*go.T)
            inward = turn * (1 if (area > 0) == bool(outer) else -1)
            rows = np.flatnonzero((inward < -TURNED * length) & (sides > SIDE_M))
            found.append(ring[rows])
            sizes.append(sides[rows])
        every = np.concatenate(found)
        size = np.concatenate(sizes)
        return every[np.argsort(-np.round(size, 4), kind="stable")[:CORNERS]]

    @cached_property
    def known(self) -> dict[str, Any]:
        """What was worked out of it before, by name."""
        return {}

    def shift(self, bearing_deg: float) -> np.ndarray:
        """u, v of the origin: what takes the shape's pile coordinates to the frame's."""
        origin: np.ndarray = axes(bearing_deg) @ self.origin
        return origin

    def at(self, bearing_deg: float, least_m: float, usable_m: float) -> tuple[Turned, ...]:
        """The shape in pile coordinates: one or more groups of parts whose pieces can't meet, each
        to be laid by itself in strips of ``least_m`` (or as narrow as the whole shape) to
        ``usable_m``."""
        edges, part = self._edges_and_parts
        whole = turned(edges, bearing_deg)
        strip = (min(least_m, whole.high - whole.low), usable_m)
        if self.parts[-1] == 0:
            return (whole.widened(*strip),)
        views = [
            turned(edges[part == k], bearing_deg).widened(*strip) for k in range(self.parts[-1] + 1)
        ]
        groups = _meeting([view.box for view in views])
        return tuple(
            views[g[0]]
            if len(g) == 1
            else turned(edges[np.isin(part, g)], bearing_deg).widened(*strip)
            for g in groups
        )


@dataclass(frozen=True)
class Turned:
    """A shape in pile coordinates (u along the pile, v across), ready for the kernel: ``edges`` (n,
    4) sorted by lower v, without those of constant v; ``vs`` the distinct v's of all vertices;
    ``low``, ``high``: the v's it is laid between. ``outline``: the edges x0, y0, x1, y1 it was made
    of."""

    edges: np.ndarray
    vs: np.ndarray
    low: float
    high: float
    bearing_deg: float
    outline: np.ndarray

    @cached_property
    def level(self) -> np.ndarray:
        """Float (n, 3): v, u from, u to of the edges of constant v, by v."""
        angle = math.radians(self.bearing_deg)
        sine, cosine = math.sin(angle), math.cos(angle)
        x, y = self.outline[:, ::2], self.outline[:, 1::2]
        v = np.rint((x * cosine - y * sine) / SNAP_M) * SNAP_M
        rows = np.flatnonzero(v[:, 0] == v[:, 1])
        u = np.sort(x[rows] * sine + y[rows] * cosine, axis=1)
        flat = np.column_stack([v[rows, 0], u])
        return np.ascontiguousarray(flat[np.argsort(flat[:, 0], kind="stable")])

    @property
    def box(self) -> tuple[float, float, float, float]:
        """u from and to, v from and to: no piece of it lies outside."""
        us = self.edges[:, ::2]
        return float(us.min()), float(us.max()), self.low, self.high

    def widened(self, least_m: float, usable_m: float) -> Turned:
        """Laid between v's so far apart that strips of ``least_m`` to ``usable_m`` fit."""
        span = self.high - self.low
        more = 0.5 * (max(1, round_up(span, usable_m)) * least_m - span)
        if more <= 0:
            return self
        return replace(self, low=self.low - more, high=self.high + more)

    def parted(
        self, edges: np.ndarray, part: np.ndarray, lows: np.ndarray, highs: np.ndarray
    ) -> list[Turned]:
        """The parts that a cut leaves of it: ``part`` (n,) tells whose each of ``edges`` is; a part
        is laid from its low to its high."""
        parts = []
        for p, (low, high) in enumerate(zip(lows.tolist(), highs.tolist(), strict=True)):
            mine = edges[part == p]
            parts.append(replace(self, edges=mine, vs=parting.ends_of(mine), low=low, high=high))
        return parts

    def across(self) -> np.ndarray:
        """The edges the other way round (v0, u0, v1, u1 of those of no constant u, sorted by lower
        u), for lines across."""
        angle = math.radians(self.bearing_deg)
        swapped = np.ascontiguousarray(self.outline[:, [1, 0, 3, 2]])
        return kernel.turn(swapped, -math.sin(angle), math.cos(angle), SNAP_M)[0]


def shape_of(geometry: BaseGeometry) -> Shape:
    """The shape of a Polygon or MultiPolygon."""
    rings = []
    parts = []
    for k, part in enumerate(shapely.get_parts(geometry)):
        rings += [part.exterior, *part.interiors]
        parts += [k] * (1 + len(part.interiors))
    coordinates = [shapely.get_coordinates(ring) for ring in rings]
    low, high = np.reshape(geometry.bounds, (2, 2))
    origin = (low + high) / 2
    sizes = np.array([len(c) for c in coordinates])
    return Shape(np.vstack(coordinates) - origin, sizes, np.array(parts), origin, geometry.area)


def axes(bearing_deg: float) -> np.ndarray:
    """Matrix (2, 2) that takes x, y to u, v at a compass bearing of the pile; it is its own
    inverse."""
    angle = np.radians(bearing_deg)
    return np.array([[np.sin(angle), np.cos(angle)], [np.cos(angle), -np.sin(angle)]])


def turned(edges: np.ndarray, bearing_deg: float) -> Turned:
    """``edges`` (x0, y0, x1, y1) in pile coordinates."""
    angle = math.radians(bearing_deg)
    rising, vs = kernel.turn(edges, math.sin(angle), math.cos(angle), SNAP_M)
    return Turned(rising, vs, float(vs[0]), float(vs[-1]), float(bearing_deg), edges)


def _meeting(boxes: list[tuple[float, float, float, float]]) -> list[list[int]]:
    """Boxes in groups that no box of another meets, joined until none do; by their first box."""
    groups = [([k], box) for k, box in enumerate(boxes)]
    k = 0
    while k < len(groups):
        for m in range(k):
            (a0, a1, b0, b1) = groups[m][1]
            (c0, c1, d0, d1) = groups[k][1]
            if a0 < c1 and c0 < a1 and b0 < d1 and d0 < b1:
                box = (min(a0, c0), max(a1, c1), min(b0, d0), max(b1, d1))
                groups[m] = (sorted(groups[m][0] + groups[k][0]), box)
                del groups[k]
                k = 0  # the larger box may meet others
                break
        else:
            k += 1
    return [group for group, _ in groups]
