"""An area as plain arrays: what travels to workers and into the kernel."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from geoturf.layout import kernel

SNAP_M = 1e-6  # v coordinates are kept on this grid, so that slabs have a height


@dataclass(frozen=True)
class Shape:
    """``points`` float (n, 2): every ring's vertices about ``origin`` (frame metres), rings one after the other, closed;
    ``rings`` int (k,): how many points each has. Insides by the even-odd rule."""

    points: np.ndarray
    rings: np.ndarray
    origin: np.ndarray
    area_m2: float

    def edges(self) -> np.ndarray:
        """Float (m, 4): x0, y0, x1, y1 of every edge that has a length."""
        inside = np.ones(len(self.points), bool)
        inside[np.cumsum(self.rings) - 1] = False
        start = np.flatnonzero(inside)
        edges = np.hstack([self.points[start], self.points[start + 1]])
        return edges[np.any(edges[:, :2] != edges[:, 2:], axis=1)]


@dataclass(frozen=True)
class Turned:
    """A shape in pile coordinates (u along the pile, v across), ready for the kernel: ``edges`` (n, 4) sorted by lower v,
    without those of constant v; ``vs`` the distinct v's of all vertices. ``outline``: the edges x0, y0, x1, y1 it was made of."""

    edges: np.ndarray
    vs: np.ndarray
    bearing_deg: float
    outline: np.ndarray

    def across(self) -> np.ndarray:
        """The edges the other way round (v0, u0, v1, u1 of those of no constant u, sorted by lower u), for lines across."""
        angle = math.radians(self.bearing_deg)
        swapped = np.ascontiguousarray(self.outline[:, [1, 0, 3, 2]])
        return kernel.turn(swapped, -math.sin(angle), math.cos(angle), SNAP_M)[0]


def shape_of(geometry: shapely.Geometry) -> Shape:
    """The shape of a Polygon or MultiPolygon."""
    rings = [ring for part in shapely.get_parts(geometry) for ring in (part.exterior, *part.interiors)]
    coordinates = [shapely.get_coordinates(ring) for ring in rings]
    low, high = np.reshape(geometry.bounds, (2, 2))
    origin = (low + high) / 2
    return Shape(np.vstack(coordinates) - origin, np.array([len(c) for c in coordinates]), origin, geometry.area)


def axes(bearing_deg: float) -> np.ndarray:
    """Matrix (2, 2) that takes x, y to u, v at a compass bearing of the pile; it is its own inverse."""
    angle = np.radians(bearing_deg)
    return np.array([[np.sin(angle), np.cos(angle)], [np.cos(angle), -np.sin(angle)]])


def turned(edges: np.ndarray, bearing_deg: float) -> Turned:
    """``edges`` (x0, y0, x1, y1) in pile coordinates."""
    angle = math.radians(bearing_deg)
    return Turned(*kernel.turn(edges, math.sin(angle), math.cos(angle), SNAP_M), float(bearing_deg), edges)
