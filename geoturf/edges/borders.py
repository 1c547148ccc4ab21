"""Borders as columns of straight segments, and which of them come near each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely


@dataclass(frozen=True)
class Places:
    """Where each frame is put in one plane, so that one tree can hold all frames and none sees
    another.

    Placed coordinates serve for search only: measures are taken in the frames themselves, which
    keep their full precision.
    """

    shift: np.ndarray  # (frames, 2), metres

    def boxes(self, bounds: np.ndarray, frame: np.ndarray, reach_m: float = 0.0) -> np.ndarray:
        """Placed boxes of ``bounds`` (n, 4), grown by ``reach_m``; ``frame`` is the frame of each.
        As diagonals: a tree looks at bounds only, and a line is made in a third of the time of a
        box."""
        shift = self.shift[frame]
        low = bounds[:, :2] + shift - reach_m
        high = bounds[:, 2:] + shift + reach_m
        return np.asarray(shapely.linestrings(np.stack([low, high], axis=1)))


def places(features: pd.DataFrame) -> Places:
    """A square grid of places, each wide enough for the widest frame. ``features``: columns
    geometry, frame."""
    bounds = shapely.bounds(features["geometry"].to_numpy(dtype=object))
    frame = features["frame"].to_numpy(np.int64)
    count = int(frame.max(initial=0)) + 1
    low = np.full((count, 2), np.inf)
    high = np.full((count, 2), -np.inf)
    np.minimum.at(low, frame, bounds[:, :2])
    np.maximum.at(high, frame, bounds[:, 2:])
    used = np.isfinite(low).all(axis=1)
    pitch = 2.0 * (high - low)[used].max(initial=1.0)
    cell = np.column_stack(np.divmod(np.arange(count), int(np.ceil(np.sqrt(count))))) * pitch
    return Places(cell - np.where(used[:, None], low, 0.0))


@dataclass(frozen=True)
class Borders:
    """Boundary segments of many features, ring after ring, the feature's inside always on the left.

    ``owner``: row of the feature; ``frame``: its frame; ``ring``: ring number, rising. ``start``,
    ``end``, ``along`` (unit direction): (n, 2); ``length``: metres; ``box``: what a tree finds the
    segment by. All arrays have n rows, one a segment.
    """

    owner: np.ndarray
    frame: np.ndarray
    ring: np.ndarray
    start: np.ndarray
    end: np.ndarray
    along: np.ndarray
    length: np.ndarray
    box: np.ndarray

    def where(self, keep: np.ndarray) -> Borders:
        """Some of the segments."""
        return Borders(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))

    def outward(self, segment: np.ndarray) -> np.ndarray:
        """Unit normals (n, 2) of segments, pointing out of the feature."""
        along = self.along[segment]
        return np.column_stack([along[:, 1], -along[:, 0]])

    def at(self, segment: np.ndarray, along_m: np.ndarray) -> np.ndarray:
        """Points (n, 2), so far along segments."""
        points: np.ndarray = self.start[segment] + self.along[segment] * along_m[:, None]
        return points


def borders(features: pd.DataFrame, place: Places, reach_m: float) -> Borders:
    """Segments of Polygons and MultiPolygons; repeated vertices are dropped. ``features``: columns
    geometry, frame; boxes are grown by ``reach_m``."""
    geometry = features["geometry"].to_numpy(dtype=object)
    parts, of_part = shapely.get_parts(shapely.orient_polygons(geometry), return_index=True)
    rings, of_ring = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    step = np.diff(xy, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    real = np.flatnonzero((ring[1:] == ring[:-1]) & (length > 0))
    start = xy[real]
    end = xy[real + 1]
    owner = of_part[of_ring[ring[real]]]
    frame = features["frame"].to_numpy(np.int64)[owner]
    return Borders(
        owner=owner,
        frame=frame,
        ring=ring[real],
        start=start,
        end=end,
        along=step[real] / length[real, None],
        length=length[real],
        box=place.boxes(
            np.hstack([np.minimum(start, end), np.maximum(start, end)]), frame, reach_m
        ),
    )
