"""Made-up grounds laid out, and a checker of layouts that shares no code with them (shapely, which
the layout does not use)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import shapely

from geoturf.engine import Serial
from geoturf.layout import bounds, lay, task_of
from geoturf.model import Choices, Frames, Ground, Layout
from geoturf.rules import LayoutRules, Product

RULES, TURF = LayoutRules(), Product()
FOOT, INCH = 0.3048, 0.0254
USABLE = 15 * FOOT - 2 * INCH


def ground_of(*shapes: shapely.Geometry, bearing=np.nan, view="", context=None) -> Ground:
    count = len(shapes)
    areas = pd.DataFrame(
        {
            "site": [f"S{k}" for k in range(count)],
            "area": "lawn",
            "file": "",
            "layer": "",
            "feature": "",
            "phase": "1",
            "product": "turf60",
            "view": view,
            "frame": 0,
            "geometry": np.array(shapes, object),
            "laid": np.array(shapes, object),
            "pile_bearing_deg": np.broadcast_to(np.asarray(bearing, float), count),
        }
    )
    context = (
        pd.DataFrame({"role": [], "frame": [], "geometry": []}) if context is None else context
    )
    return Ground(
        areas, context, pd.DataFrame(), Frames(*(np.zeros(1),) * 3, np.zeros(1, int), ("",)), ""
    )


def lay_all(*shapes, rules=RULES, product=TURF, **columns) -> tuple[Choices, ...]:
    return lay(task_of(ground_of(*shapes, **columns), {"turf60": product}, rules), Serial())


def bounds_of(*shapes, rules=RULES, product=TURF, **columns) -> np.ndarray:
    """What no layout of each can beat (m2), in any rectangles."""
    task = task_of(ground_of(*shapes, **columns), {"turf60": product}, rules)
    return bounds(task, Serial())[:, 0]


def rectangle(piece: np.ndarray, bearing_deg: float) -> shapely.Polygon:
    """A piece (u0, u1, v0, v1) on the ground."""
    s, c = np.sin(np.radians(bearing_deg)), np.cos(np.radians(bearing_deg))
    u0, u1, v0, v1 = piece
    return shapely.Polygon(
        [(u * s + v * c, u * c - v * s) for u, v in ((u0, v0), (u1, v0), (u1, v1), (u0, v1))]
    )


def ground_line(u0, v0, u1, v1, bearing_deg) -> shapely.LineString:
    s, c = np.sin(np.radians(bearing_deg)), np.cos(np.radians(bearing_deg))
    return shapely.LineString([(u * s + v * c, u * c - v * s) for u, v in ((u0, v0), (u1, v1))])


def assert_lies_well(
    layout: Layout, shape: shapely.Geometry, rules=RULES, longest=100 * FOOT
) -> None:
    """Covers, does not overlap, keeps to the roll, and cuts what it says."""
    pieces = [rectangle(piece, layout.bearing_deg) for piece in layout.pieces]
    union = shapely.union_all(
        pieces, grid_size=1e-8
    )  # without a grid, pieces have been seen to fall out of the union
    assert shape.difference(union.buffer(1e-5)).area < 1e-9 * shape.area + 1e-12
    assert sum(p.area for p in pieces) == pytest.approx(union.area, abs=1e-4)
    long, wide = (
        layout.pieces[:, 1] - layout.pieces[:, 0],
        layout.pieces[:, 3] - layout.pieces[:, 2],
    )
    cut_long, cut_wide = layout.cut.T
    step = rules.cut_step_m
    assert np.all(cut_long >= long + 2 * rules.end_allowance_m - 1e-6)
    assert np.all(cut_long < long + 2 * rules.end_allowance_m + step)
    assert np.all(cut_long <= longest + 1e-6)
    assert np.all(wide <= layout.width_m + 2e-6)
    full = wide > layout.width_m - 1e-5
    assert np.allclose(cut_wide[full], layout.width_m)
    need = np.minimum(wide[~full] + rules.side_allowance_m, layout.width_m)
    assert np.all(cut_wide[~full] >= need - 1e-6) and np.all(cut_wide[~full] < need + step)
    s, c = np.sin(np.radians(layout.bearing_deg)), np.cos(np.radians(layout.bearing_deg))
    xy = shapely.get_coordinates(shape)
    across = np.ptp(xy[:, 0] * c - xy[:, 1] * s)
    assert np.all(wide >= min(rules.min_piece_width_m, across) - 1e-5)
    assert_seams(layout, shape)


def assert_seams(layout: Layout, shape: shapely.Geometry) -> None:
    """Seams lie under turf, and are all there is where pieces meet inside the area."""
    lines = [ground_line(u0, v, u1, v, layout.bearing_deg) for v, u0, u1 in layout.seams]
    lines += [ground_line(u, v0, u, v1, layout.bearing_deg) for u, v0, v1 in layout.cross]
    assert sum(line.length for line in lines) == pytest.approx(layout.seam_m, abs=1e-6)
    pieces = [rectangle(piece, layout.bearing_deg) for piece in layout.pieces]
    hair = 1e-4  # lines widened by a hair, so that two that nearly coincide count once
    inner = shape.buffer(-10 * hair, join_style="mitre")
    widened = shapely.union_all(
        [p.boundary.buffer(hair, cap_style="flat", join_style="mitre") for p in pieces],
        grid_size=1e-8,
    )
    meet = widened.intersection(inner).area / (2 * hair)
    assert meet == pytest.approx(layout.seam_m, abs=0.01 * len(lines) + 0.002)


SHAPES = {
    "square": shapely.box(0, 0, 10, 10),
    "narrow": shapely.box(0, 0, 20, 1),
    "thin": shapely.box(0, 0, 8, 0.1),
    "ell": shapely.Polygon([(0, 0), (12, 0), (12, 5), (5, 5), (5, 9), (0, 9)]),
    "ring": shapely.box(0, 0, 14, 12) - shapely.box(4, 4, 9, 8),
    "triangle": shapely.Polygon([(0, 0), (11, 1), (3, 9)]),
    "two parts": shapely.MultiPolygon([shapely.box(0, 0, 6, 4), shapely.box(7, 15, 12, 22)]),
    "cut by a walk": shapely.box(0, 0, 9, 7) - shapely.box(4, -1, 5.2, 8),
    "island in a pond": shapely.box(0, 0, 9, 9) - shapely.box(2, 2, 7, 7)
    | shapely.box(4, 4, 5, 5.1),
    "crumbs": shapely.MultiPolygon(
        [shapely.box(k, k % 3, k + 0.1, k % 3 + 0.05 * (k + 1)) for k in range(12)]
    ),
    "touching parts": shapely.MultiPolygon([shapely.box(0, 0, 5, 5), shapely.box(5, 5, 9, 9)]),
    "long": shapely.box(0, 0, 95, 11),
    "disc": shapely.Point(3, 4).buffer(7),
    "comb": shapely.union_all(
        [shapely.box(0, 0, 20, 1)] + [shapely.box(k, 0, k + 0.9, 6) for k in range(0, 20, 2)]
    ),
}
