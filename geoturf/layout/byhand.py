"""The layout a person would draw: pile along the longest edge, full-width strips from that edge on, each from the first turf in
it to the last."""

from __future__ import annotations

import numpy as np

from geoturf.layout.bearing import longest_edge
from geoturf.layout.pieces import layout_of
from geoturf.layout.roll import Roll
from geoturf.layout.seams import strips_of
from geoturf.layout.shape import Shape, turned
from geoturf.model import Layout


def by_hand(shape: Shape, bearing_deg: float, roll: Roll) -> Layout:
    """Strips at k usable widths from the longest edge; at ``bearing_deg``, from the shape's side, where that is not NaN."""
    start = shape.edges[longest_edge(shape.edges)]
    bearing = bearing_deg
    if np.isnan(bearing):
        bearing = float(np.degrees(np.arctan2(start[2] - start[0], start[3] - start[1])) % 180)
    view = turned(shape.edges, bearing)
    from_v = view.low
    if np.isnan(bearing_deg):
        edge_v = turned(start[None], bearing).low
        from_v = edge_v - np.ceil((edge_v - view.low) / roll.usable_m - 1e-6) * roll.usable_m
    count = max(1, int(np.ceil((view.high - from_v) / roll.usable_m - 1e-6)))
    cuts = from_v + np.arange(count + 1) * roll.usable_m
    strips = strips_of(view, roll, cuts, np.inf)
    return layout_of([strips], shape.shift(bearing), ganged=False)
