"""Repeated models: one shape moved or turned is solved once, and lies as well in its place."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from layout_cases import RULES, SHAPES, assert_lies_well, bounds_of, lay_all
from shapely.affinity import rotate, scale, translate

HOUSE_LOT = shapely.Polygon([(0, 0), (21, 0), (22, 17), (9, 18), (0, 12)]) - shapely.box(
    5, 4, 11, 9
)


def test_a_lot_moved_and_turned_is_the_same_model():
    shapes = [HOUSE_LOT, translate(HOUSE_LOT, 250, -80), translate(rotate(HOUSE_LOT, 73), -40, 33)]
    done = lay_all(*shapes)
    assert [c.same_as for c in done] == [-1, 0, 0]
    for choices, shape in zip(done, shapes, strict=True):
        assert choices.layouts[0].cost == done[0].layouts[0].cost
        for layout in choices.layouts:
            assert_lies_well(layout, shape)
    turn = (done[0].layouts[0].bearing_deg - done[2].layouts[0].bearing_deg) % 360
    assert turn == pytest.approx(73)  # a compass bearing falls as the lot turns counter-clockwise


def test_a_repeat_starts_at_any_corner():
    ring = shapely.get_coordinates(HOUSE_LOT.exterior)[:-1]
    other = shapely.Polygon(np.roll(ring, 2, axis=0), HOUSE_LOT.interiors)
    assert [c.same_as for c in lay_all(HOUSE_LOT, other)] == [-1, 0]


def test_a_mirrored_lot_is_laid_mirrored():
    """Pieces are never turned over; the mirror image of a layout has pieces of the same sizes, and
    a pile that leans to the mirrored bearing."""
    mirrored = translate(rotate(scale(HOUSE_LOT, -1, 1), 31), 60, -7)
    one, other = lay_all(HOUSE_LOT, mirrored)
    assert (one.same_as, other.same_as) == (-1, 0)
    for first, second in zip(one.layouts, other.layouts, strict=True):
        assert_lies_well(second, mirrored)
        assert np.array_equal(first.cut, second.cut)
        # x turned over takes a compass bearing to its negative, and 31 degrees counter-clockwise
        # off
        assert (second.bearing_deg + first.bearing_deg + 31) % 360 == pytest.approx(0, abs=1e-6)


def test_a_mirrored_lot_is_another_where_the_pile_may_not_be_mirrored():
    mirrored = scale(HOUSE_LOT, -1, 1)
    assert [c.same_as for c in lay_all(HOUSE_LOT, mirrored, bearing=15.0)] == [-1, -1]
    free = RULES.model_copy(update={"alike": "free"})
    assert [c.same_as for c in lay_all(HOUSE_LOT, mirrored, rules=free)] == [-1, -1]


def test_areas_of_one_shape_and_pool_take_one_layout():
    """Two shapes, each moved, turned, mirrored: each lawn of a shape is cut in the same sizes."""
    other = shapely.Polygon([(0, 0), (13, 0), (13, 8), (6, 8), (6, 15), (0, 15)])
    shapes = [HOUSE_LOT, other, translate(HOUSE_LOT, 90, 0), rotate(other, 40), scale(other, -1, 1)]
    done = lay_all(*shapes)
    assert [c.alike for c in done] == [0, 1, 0, 1, 1]
    for choices, shape in zip(done, shapes, strict=True):
        sizes = [layout.cut.tolist() for layout in choices.layouts]
        assert sizes == [layout.cut.tolist() for layout in done[choices.alike].layouts]
        assert_lies_well(choices.layouts[0], shape)


def test_lawns_of_one_view_are_laid_alike_where_they_are_moved_only():
    shapes = [HOUSE_LOT, translate(HOUSE_LOT, 30, 0), rotate(HOUSE_LOT, 90)]
    done = lay_all(*shapes, view="street")
    assert [c.alike for c in done] == [0, 0, -1]
    assert np.array_equal(done[0].layouts[0].cut, done[1].layouts[0].cut)
    assert len({c.layouts[0].bearing_deg for c in done}) == 1


def test_a_fixed_bearing_allows_moving_only():
    shapes = [HOUSE_LOT, translate(HOUSE_LOT, 9, 9), rotate(HOUSE_LOT, 20)]
    assert [c.same_as for c in lay_all(*shapes, bearing=15.0)] == [-1, 0, -1]


def test_a_hole_elsewhere_is_another_lot():
    other = shapely.Polygon(HOUSE_LOT.exterior) - shapely.box(6, 4, 12, 9)
    assert [c.same_as for c in lay_all(HOUSE_LOT, other)] == [-1, -1]


@pytest.mark.parametrize("name", SHAPES)
def test_symmetric_shapes_and_parts(name):
    shape = SHAPES[name]
    moved = translate(rotate(shape, 141.3), 900, 40)
    _, second = lay_all(shape, moved)
    assert second.same_as == 0
    assert_lies_well(second.layouts[0], moved)
    bound, other = bounds_of(shape, moved)
    assert bound - 0.01 * bound <= other <= bound
