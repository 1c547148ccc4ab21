"""Strips as wide as the roll: what slanted ends want. Cut along a chalk line a full strip wastes no
triangle, so narrowing strips to follow a slanted border, as the search for square ends does, only
adds seams."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geoturf.layout import kernel
from geoturf.layout.pieces import layout_of
from geoturf.layout.roll import Roll
from geoturf.layout.seams import Strips, strips_of
from geoturf.layout.shape import Shape, Turned
from geoturf.model import Layout

STARTS = 4  # offsets tried from either side


def wide(shape: Shape, roll: Roll, bearings: Sequence[float]) -> list[Layout]:
    """Layouts in full strips from both sides and from offsets between, at each bearing; no strip is
    under the least width."""
    out = []
    for bearing in bearings:
        groups = shape.at(bearing, roll.least_m, roll.usable_m)
        for start in range(STARTS + 1):
            strips = [strip for view in groups if (strip := _strips(view, roll, start / STARTS))]
            if len(strips) == len(groups):
                out.append(layout_of(strips, shape.shift(bearing), ganged=False))
    return out


def _strips(view: Turned, roll: Roll, share: float) -> Strips | None:
    """Full strips but for the first, ``share`` of a roll wide (0: the last one is full instead),
    and the last."""
    width = roll.usable_m
    span = view.high - view.low
    if span <= width + kernel.TOLERANCE_M:
        cuts = np.array([view.low, view.high])
    else:
        first = share * width or span - width * np.floor(span / width - 1e-9)
        inner = np.arange(view.low + first, view.high - kernel.TOLERANCE_M, width)
        cuts = np.concatenate([[view.low], inner, [view.high]])
        if np.diff(cuts).min() < roll.least_m:
            return None
    return strips_of(view, roll, cuts, roll.ends_m)
