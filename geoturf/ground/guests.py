"""Areas of a site too wide for one frame, placed in the other frames of the site that they come near.

Such a site is ruled in squares (`geoturf.ground.frames`); two areas that meet on a square's side each lie in a frame of their
own, and are neighbours all the same.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from geoturf.ground import frames
from geoturf.ground.context import grown
from geoturf.model import Ground


def guests(ground: Ground, reach_m: float) -> pd.DataFrame:
    """One row a visit, by frame and area: area_index (row of the area), frame (where it is a guest), geometry (in that frame).
    An area is the guest of each frame of its site with an area whose box comes within ``reach_m`` of its own."""
    areas = ground.areas
    frame, site = areas["frame"].to_numpy(np.int64), areas["site"]
    wide = np.flatnonzero((areas.groupby("site", sort=False)["frame"].transform("nunique") > 1).to_numpy(bool))
    geometry = areas["geometry"].to_numpy(dtype=object)
    box = shapely.bounds(frames.to_common_degrees(ground.frames, frame[wide], geometry[wide])).reshape(-1, 4)
    host, guest = shapely.STRtree(grown(box, 0.0)).query(grown(box, reach_m))
    host, guest = wide[host], wide[guest]
    met = (frame[host] != frame[guest]) & (site.to_numpy()[host] == site.to_numpy()[guest])
    visits = np.unique(np.column_stack([frame[host[met]], guest[met]]), axis=0)
    at, who = visits.T
    placed = frames.moved(ground.frames, frame[who], at, geometry[who])
    return pd.DataFrame({"area_index": who, "frame": at, "geometry": placed})
