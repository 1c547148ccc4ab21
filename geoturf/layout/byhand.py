"""The layouts a careful estimator would draw by hand: pile along the longest edge or across it,
full-width strips from that edge (or, across it, from the side of the area) on, the last as wide as
is left."""

from __future__ import annotations

import numpy as np

from geoturf.layout.bearing import longest_edge
from geoturf.layout.pieces import layout_of
from geoturf.layout.roll import Roll
from geoturf.layout.seams import strips_of
from geoturf.layout.shape import Shape, Turned, turned
from geoturf.model import Layout
from geoturf.units import MILLIONTH


def by_hand(shape: Shape, bearing_deg: float, roll: Roll) -> tuple[Layout, ...]:
    """Along the longest edge and across it, or at ``bearing_deg`` alone where that is not NaN."""
    if not np.isnan(bearing_deg):
        view = turned(shape.edges, bearing_deg)
        return (_drawn(shape, view, view.low, roll),)
    start = shape.edges[longest_edge(shape.edges)]
    facing = float(np.degrees(np.arctan2(start[2] - start[0], start[3] - start[1])) % 180)
    along = turned(shape.edges, facing)
    across = turned(shape.edges, (facing + 90) % 180)
    edge_v = turned(start[None], facing).low
    return _drawn(shape, along, edge_v, roll), _drawn(shape, across, across.low, roll)


def _drawn(shape: Shape, view: Turned, from_v: float, roll: Roll) -> Layout:
    """Strips whose seams lie whole usable widths from ``from_v``; the area's own border ends the
    first and the last."""
    first = int(np.floor((view.low - from_v) / roll.usable_m + MILLIONTH)) + 1
    last = int(np.ceil((view.high - from_v) / roll.usable_m - MILLIONTH)) - 1
    seams = from_v + np.arange(first, last + 1) * roll.usable_m
    cuts = np.concatenate([[view.low], seams, [view.high]])
    strips = strips_of(view, roll, cuts, roll.ends_m)
    return layout_of([strips], shape.shift(view.bearing_deg), ganged=False)
