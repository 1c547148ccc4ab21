"""Neighbours across frames: areas of a site too wide for one frame, placed in the other frames of
the site that they come near.

Such a site is ruled in squares (`geoturf.ground.frames`); two areas that meet on a square's side
each lie in a frame of their own, and are neighbours all the same.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from geoturf.ground import frames
from geoturf.ground.context import grown
from geoturf.model import Ground


def neighbours_across_frames(ground: Ground, reach_m: float) -> pd.DataFrame:
    """Areas in frames that are not their own, one row for each frame and area, sorted by these:
    area_index (row of the area), frame (the other one), geometry (in that frame). An area is placed
    in each frame of its site that has an area whose box comes within ``reach_m`` of its own."""
    areas = ground.areas
    frame = areas["frame"].to_numpy(np.int64)
    site = areas["site"].to_numpy()
    geometry = areas["geometry"].to_numpy(dtype=object)
    split = np.flatnonzero(_frames_of_site(areas) > 1)
    degrees = frames.to_common_degrees(ground.frames, frame[split], geometry[split])
    box = shapely.bounds(degrees).reshape(-1, 4)
    one, other = split[shapely.STRtree(grown(box, 0.0)).query(grown(box, reach_m))]
    met = (frame[one] != frame[other]) & (site[one] == site[other])
    placements = np.column_stack([frame[one[met]], other[met]])
    at, area_index = np.unique(placements, axis=0).T
    placed = frames.moved(ground.frames, frame[area_index], at, geometry[area_index])
    return pd.DataFrame(
        {
            "area_index": area_index,
            "frame": at,
            "geometry": placed,
        }
    )


def _frames_of_site(areas: pd.DataFrame) -> np.ndarray:
    """For each area the number of frames that its site has."""
    return areas.groupby("site", sort=False)["frame"].transform("nunique").to_numpy(np.int64)
