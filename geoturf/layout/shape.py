"""An area as plain arrays: what travels to workers and into the kernel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

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
    without those of constant v; ``vs`` the distinct v's of all vertices; ``across`` the same the other way round, v0, u0, v1, u1
    sorted by lower u, for lines across the pile."""

    edges: np.ndarray
    vs: np.ndarray
    across: np.ndarray


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
    m = axes(bearing_deg)
    ends = np.hstack([edges[:, :2] @ m.T, edges[:, 2:] @ m.T])
    ends[:, 1::2] = np.round(ends[:, 1::2] / SNAP_M) * SNAP_M
    return Turned(_rising(ends), np.unique(ends[:, 1::2]), _rising(ends[:, [1, 0, 3, 2]]))


def _rising(ends: np.ndarray) -> np.ndarray:
    """Edges from lower to higher second coordinate, sorted by the lower; those where it is constant left out."""
    ends = ends[ends[:, 1] != ends[:, 3]]
    ends = np.where((ends[:, 1] > ends[:, 3])[:, None], ends[:, [2, 3, 0, 1]], ends)
    return np.ascontiguousarray(ends[np.argsort(ends[:, 1], kind="stable")])
