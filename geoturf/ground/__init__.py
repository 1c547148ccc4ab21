"""From layers in any CRS to areas at true scale, and back.

measure(source, rules, said, near_m)  -> Ground: areas and context in ground frames, told in the
units of `said` notice(ground, rules, told)   -> findings: double pay, slivers, giants, steep slopes
overlaps(ground)              -> table of what would be paid twice neighbours_across_frames(ground,
reach_m) -> table of areas near the other frames of a wide site to_crs(frames, frame, geometries,
crs), to_degrees(frames, frame, geometries): back from the frames
origins_m(frames)             -> where frames lie in one plane, to tell neighbours
"""

from __future__ import annotations

from geoturf.ground.across_frames import neighbours_across_frames
from geoturf.ground.areas import measure
from geoturf.ground.context import DRAWN_M
from geoturf.ground.frames import origins_m, to_crs, to_degrees
from geoturf.ground.oddities import notice, overlaps
from geoturf.ground.too_large import refuse_too_large

__all__ = [
    "DRAWN_M",
    "measure",
    "neighbours_across_frames",
    "notice",
    "origins_m",
    "overlaps",
    "refuse_too_large",
    "to_crs",
    "to_degrees",
]
