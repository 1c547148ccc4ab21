"""The same lawn costs the same however it lies: moved, turned, mirrored, listed otherwise, its pile
stated the other way round."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from layout_cases import (
    FOOT,
    RULES,
    SHAPES,
    TURF,
    assert_lies_well,
    ground_of,
    lay_all,
)
from shapely.affinity import rotate, scale, translate

from geoturf import cuts
from geoturf.layout.normal import normal
from geoturf.layout.shape import shape_of
from geoturf.rules import CutRules

LAWNS = {  # feet
    "triangle": [(0, 0), (41, 3), (13, 28)],
    "four sides": [(0, 0), (38, -2), (46, 27), (5, 31)],
    "slanted": [(0, 0), (33, 0), (45, 21), (17, 30), (0, 21)],
    "L": [(0, 0), (47, 0), (47, 17), (19, 17), (19, 39), (0, 39)],
    "Z": [(0, 0), (27, 0), (27, 13), (42, 13), (42, 36), (27, 36), (27, 22), (0, 22)],
    "rectangle": [(0, 0), (40, 0), (40, 22), (0, 22)],
}
LIES = [(turn, side) for turn in (0.0, 33.3, 90.0, 180.0, 217.7) for side in (1, -1)]


def lawn(name: str) -> shapely.Polygon:
    return shapely.Polygon(np.array(LAWNS[name]) * FOOT)


def lying(shape, turn, side):
    """A copy turned, mirrored where ``side`` is -1, and far away."""
    turned = rotate(scale(shape, side, 1, origin=(0, 0)), turn, origin=(0, 0))
    return translate(turned, 30 * turn, -50)


def sizes(choices) -> list[list[list[float]]]:
    """Cut lengths and widths of every layout offered, in their order."""
    return [sorted(np.round(layout.cut, 5).tolist()) for layout in choices.layouts]


@pytest.mark.parametrize("name", LAWNS)
def test_a_lawn_is_cut_alike_however_it_lies(name):
    first = sizes(lay_all(lawn(name))[0])
    for turn, side in LIES:
        there = lying(lawn(name), turn, side)
        choices = lay_all(there)[0]
        assert sizes(choices) == first
        for layout in choices.layouts:
            assert_lies_well(layout, there)


@pytest.mark.parametrize("name", LAWNS)
def test_the_pile_stated_the_other_way_round_is_as_dear(name):
    """Along the same line of the lawn: either sense, and of its mirror image."""
    there = lawn(name)
    first = sizes(lay_all(there, bearing=20.0)[0])
    for shape, bearing in [
        (there, 200.0),
        (scale(there, -1, 1, origin=(0, 0)), -20.0 % 360),
        (rotate(there, -50, origin=(0, 0)), 70.0),
    ]:
        choices = lay_all(shape, bearing=bearing)[0]
        assert sizes(choices) == first
        for layout in choices.layouts:
            assert layout.bearing_deg == bearing
            assert_lies_well(layout, shape)


@pytest.mark.parametrize("name", ["L", "slanted"])
def test_a_border_may_begin_at_any_corner_and_run_either_way(name):
    corners = np.array(LAWNS[name]) * FOOT
    first = sizes(lay_all(lawn(name))[0])
    for begin in range(1, len(corners)):
        assert sizes(lay_all(shapely.Polygon(np.roll(corners, begin, axis=0)))[0]) == first
    assert sizes(lay_all(shapely.Polygon(corners[::-1]))[0]) == first


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("bearing", [np.nan, 33.0])
def test_a_shape_in_its_own_frame_is_that_shape(name, bearing):
    """Moved back it covers the same ground, to what the grid of a micrometre takes."""
    shape = shape_of(SHAPES[name])
    own = normal(shape, bearing)
    back = own.shape.points @ own.turn.T + own.move
    there = shape.points + shape.origin
    assert sorted(own.shape.rings) == sorted(shape.rings)
    for one, other in ((back, there), (there, back)):
        nearest = np.abs(one[:, None] - other).max(axis=2).min(axis=1)
        assert nearest.max() < 5e-6


def bought_m2(lots) -> float:
    ground = ground_of(*lots)
    ground.areas["surface_area_m2"] = [lot.area for lot in lots]
    ground.areas["work_order"] = np.nan
    plan = cuts.plan(ground, lay_all(*lots), {"turf60": TURF}, CutRules(), layout_rules=RULES)
    return float(plan.pools["bought_m2"].sum())


def test_a_pool_buys_the_same_turned_mirrored_and_listed_otherwise():
    lots = [scale(lawn(name), k, k, origin=(0, 0)) for name in LAWNS for k in (1.0, 0.83)]
    first = bought_m2(lots)
    rng = np.random.default_rng(5)
    for lie in [(33.3, 1), (201.7, -1)]:
        assert bought_m2([lying(lot, *lie) for lot in lots]) == pytest.approx(first, rel=1e-9)
    for _ in range(2):
        order = rng.permutation(len(lots))
        assert bought_m2([lots[k] for k in order]) == pytest.approx(first, rel=1e-9)
