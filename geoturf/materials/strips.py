"""Strips of fabric over an area: how many, and how long."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely


def strips(geometry: np.ndarray, width_m: float, length_m: float, overlap_m: float) -> pd.DataFrame:
    """Fabric laid in strips along the long side of each area's smallest rectangle, lapped by ``overlap_m``.

    ceil((W - overlap) / (width - overlap)) strips cover the rectangle's short side W; each is as long as the area is beneath
    it, plus a lap for every join where it is longer than a roll. Gives one row an area: strips (count), length_m.
    """
    level, deep = _level(geometry)
    count = np.maximum(1, np.ceil((deep - overlap_m) / (width_m - overlap_m) - 1e-6)).astype(int)
    area = np.repeat(np.arange(len(geometry)), count)
    nth = np.arange(len(area)) - np.repeat(np.cumsum(count) - count, count)
    low = shapely.bounds(level)[area, 1] + nth * (width_m - overlap_m)
    left, _, right, _ = shapely.bounds(level)[area].T
    under = shapely.intersection(level[area], shapely.box(left - 1, low, right + 1, low + width_m))
    extent = shapely.bounds(under)
    long = np.nan_to_num(extent[:, 2] - extent[:, 0])
    joins = np.maximum(0, np.ceil((long - overlap_m) / (length_m - overlap_m) - 1e-6) - 1)
    laid = long + joins * overlap_m
    return pd.DataFrame(
        {
            "strips": np.bincount(area, long > 0, len(geometry)).astype(int),
            "length_m": np.bincount(area, laid, len(geometry)),
        }
    )


def _level(geometry: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The areas turned so that the long side of their smallest rectangle lies along x, and the length of the short side."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(geometry)).reshape(-1, 5, 2)
    sides = np.diff(corners[:, :3], axis=1)
    lengths = np.hypot(*sides.transpose(2, 0, 1))
    longest = lengths.argmax(axis=1)
    along = sides[np.arange(len(sides)), longest] / lengths.max(axis=1)[:, None]
    points, owner = shapely.get_coordinates(geometry, return_index=True)
    c, s = along[owner].T
    turned = np.column_stack([c * points[:, 0] + s * points[:, 1], c * points[:, 1] - s * points[:, 0]])
    level = shapely.set_coordinates(np.array(geometry, dtype=object), turned)
    return level, lengths.min(axis=1)
