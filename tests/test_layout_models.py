"""Repeated models: one shape moved or turned is solved once, and lies as well in its place."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from layout_cases import SHAPES, assert_lies_well, bounds_of, lay_all
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


def test_a_mirrored_lot_is_another():
    mirrored = scale(HOUSE_LOT, -1, 1)
    assert [c.same_as for c in lay_all(HOUSE_LOT, mirrored)] == [-1, -1]


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
