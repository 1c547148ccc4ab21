"""What the check adds up along a ragged border, held to GEOS's overlay."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geoturf.check import laying
from geoturf.check.border import turf_along, turf_in

COMB = shapely.Polygon(
    [(0, 0), *((x / 2, 9 if x % 4 in (0, 3) else 1) for x in range(1, 80)), (40, 0)]
)
HOLED = shapely.box(0, 0, 40, 20).difference(shapely.box(5, 5, 9, 12))
PARTS = shapely.union_all([shapely.box(x, x / 2, x + 3, x / 2 + 4) for x in range(0, 40, 5)])


@pytest.mark.parametrize("turf", [COMB, HOLED, PARTS, shapely.Point(20, 8).buffer(15)])
@pytest.mark.parametrize("seed", range(3))
def test_turf_in_boxes_and_on_lines_is_what_an_overlay_gives(turf, seed):
    rng = np.random.default_rng(seed)
    low = np.column_stack([rng.uniform(-5, 40, 60), rng.choice(rng.uniform(-3, 20, 5), 60)])
    high = low + np.column_stack([rng.uniform(0.1, 20, 60), np.full(60, 3.7)])
    boxes = shapely.box(*low.T, *high.T)
    overlaid = shapely.area(shapely.intersection(turf, boxes))
    np.testing.assert_allclose(turf_in(turf, low, high), overlaid, atol=1e-9)

    last = low.copy()
    way = rng.integers(0, 2, 60)
    last[np.arange(60), way] = high[np.arange(60), way]
    of, ends = turf_along(turf, low, last)
    lines = shapely.linestrings(np.stack([low, last], axis=1))
    on = shapely.length(shapely.intersection(turf, lines))
    np.testing.assert_allclose(np.bincount(of, ends[:, 1] - ends[:, 0], 60), on, atol=1e-9)


def test_of_stretches_on_either_side_of_a_joint_what_both_have_counts():
    """0 to 4 and 6 to 9 on one side, 3 to 7 on the other: 3 to 4 and 6 to 7; of the next joint
    nothing."""
    one = np.array([0, 0, 1]), np.array([[0.0, 4.0], [6.0, 9.0], [0.0, 2.0]])
    other = np.array([0, 1]), np.array([[3.0, 7.0], [2.0, 5.0]])
    np.testing.assert_allclose(laying._on_both_m(one, other, 3), [2.0, 0.0, 0.0])
