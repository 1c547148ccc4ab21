"""Strips of a layout cut across, where whoever cuts the rolls wants them in shorter lengths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely

from geoturf import pile
from geoturf.model import Layout
from geoturf.rules import LayoutRules
from geoturf.units import round_up

_TOUCH_M = 1e-5  # a seam shorter than this is none


def cut_across(
    layout: Layout, laid: shapely.Geometry, joints: Sequence[Sequence[float]], rules: LayoutRules
) -> Layout:
    """The ``layout`` of an area, its turf ``laid``, with pieces parted: ``joints``, for each piece
    the u (m) of each, rising. There are cross seams where turf lies under the joints."""
    pieces = []
    cut = []
    parted = []
    for piece, (length, width), at in zip(
        layout.pieces.tolist(), layout.cut.tolist(), joints, strict=True
    ):
        u0, u1, v0, v1 = piece
        ends = list(pairwise([u0, *at, u1]))
        pieces += [(a, b, v0, v1) for a, b in ends]
        cut += [(_cut_m(b - a, rules) if at else length, width) for a, b in ends]
        parted += [(u, v0, v1) for u in at]
    if not parted:
        return layout
    cross = _seams(pile.turned(laid, layout.bearing_deg), parted)
    return replace(
        layout,
        pieces=np.array(pieces),
        cut=np.array(cut),
        cross=np.vstack([layout.cross.reshape(-1, 3), cross]),
        seam_m=layout.seam_m + float((cross[:, 2] - cross[:, 1]).sum()),
    )


def _cut_m(laid_m: float, rules: LayoutRules) -> float:
    """Metres of roll for so many metres of strip."""
    return round_up(laid_m + rules.both_ends_m, rules.cut_step_m) * rules.cut_step_m


def _seams(shape: shapely.Geometry, joints: Sequence[tuple[float, float, float]]) -> np.ndarray:
    """Cross seams (n, 3) of u, v0, v1: what of the joints has turf of the ``shape`` under it."""
    lines = shapely.linestrings([[(u, v0), (u, v1)] for u, v0, v1 in joints])
    under = shapely.get_parts(shapely.intersection(lines, shape))
    u, v0, _, v1 = shapely.bounds(under[shapely.length(under) > _TOUCH_M]).T
    return np.column_stack([u, v0, v1])
