"""Pile coordinates and back: u along the pile, v across it to the right, for a compass bearing β of
the area's frame.

    u =  x sin β + y cos β          x = u sin β + v cos β
    v =  x cos β - y sin β          y = u cos β - v sin β

The axes are a rotation of the frame's, so lengths and areas are kept.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely


def cut_m2(pieces: pd.DataFrame) -> np.ndarray:
    """Area of each piece of a cut plan as cut (m2): width by its length along its middle."""
    middle = pieces["length_m"] + (pieces["end_slant_m"] - pieces["start_slant_m"]) / 2
    area: np.ndarray = (middle * pieces["width_m"]).to_numpy(float)
    return area


def to_xy(u: np.ndarray, v: np.ndarray, bearing_deg: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Frame coordinates (m, same shape) of pile coordinates (m) at compass bearings (degrees)."""
    bearing = np.radians(bearing_deg)
    sine = np.sin(bearing)
    cosine = np.cos(bearing)
    return u * sine + v * cosine, u * cosine - v * sine


def rectangles(
    u0: np.ndarray, u1: np.ndarray, v0: np.ndarray, v1: np.ndarray, bearing_deg: np.ndarray
) -> np.ndarray:
    """Polygons (n,) in the frame of pile-coordinate rectangles, all arguments of shape (n,)."""
    u = np.stack([u0, u0, u1, u1, u0], axis=1)
    v = np.stack([v0, v1, v1, v0, v0], axis=1)
    return np.asarray(shapely.polygons(_corners(u, v, bearing_deg)))


def segments(
    u0: np.ndarray, v0: np.ndarray, u1: np.ndarray, v1: np.ndarray, bearing_deg: np.ndarray
) -> np.ndarray:
    """LineStrings (n,) in the frame from (u0, v0) to (u1, v1), all arguments of shape (n,)."""
    u = np.stack([u0, u1], axis=1)
    v = np.stack([v0, v1], axis=1)
    return np.asarray(shapely.linestrings(_corners(u, v, bearing_deg)))


def _corners(u: np.ndarray, v: np.ndarray, bearing_deg: np.ndarray) -> np.ndarray:
    """Frame coordinates (n, k, 2) of k corners each, ``u`` and ``v`` (n, k), at a bearing each
    (n,)."""
    x, y = to_xy(u, v, np.asarray(bearing_deg)[:, None])
    return np.stack([x, y], axis=2)


def turned(geometry: shapely.Geometry, bearing_deg: float) -> shapely.Geometry:
    """A geometry of the frame in pile coordinates: u for x, v for y."""
    bearing = np.radians(bearing_deg)
    sine = np.sin(bearing)
    cosine = np.cos(bearing)

    def uv(xy: np.ndarray) -> np.ndarray:
        u = xy @ (sine, cosine)
        v = xy @ (cosine, -sine)
        return np.column_stack([u, v])

    return shapely.transform(geometry, uv)
