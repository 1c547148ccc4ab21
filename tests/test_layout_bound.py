"""The bound on turf bought: derived in `geoturf.layout.bound`, here against shapely's own Minkowski
sums, hand calculation and brute force over layouts."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from layout_cases import INCH, SHAPES, TURF, USABLE, bounds_of, lay_all
from layout_lengthened import ENDS, FACTOR, lengthened_m2, share_m2
from shapely.affinity import rotate

from geoturf.layout.bound import bound_m2, least_taken
from geoturf.layout.roll import stocked
from geoturf.layout.shape import shape_of
from geoturf.rules import LayoutRules, Product

# no allowance across, and cut as finely as one likes: pieces may be ever so narrow, and what they
# waste across and at slants is a matter of its own (test_layout_covers, test_layout_corners)
NARROW = LayoutRules.model_validate({"side_allowance": "0 in"})
NARROW = NARROW.model_copy(update={"cut_step_m": 0.001 * INCH})  # finer than a bid may have it
(ROLL,) = stocked("turf60", TURF, NARROW)


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("bearing", [0, 33, 90])
def test_at_one_bearing_it_is_the_lengthened_shape(name, bearing):
    found = bound_m2(shape_of(SHAPES[name]), [ROLL], bearing)
    assert found == pytest.approx(FACTOR * lengthened_m2(SHAPES[name], bearing), rel=2e-5, abs=5e-5)
    assert found <= FACTOR * lengthened_m2(SHAPES[name], bearing)


@pytest.mark.parametrize("name", SHAPES)
def test_over_all_bearings_it_is_under_every_one_and_near_the_least(name):
    shape = shape_of(SHAPES[name])
    least = min(lengthened_m2(SHAPES[name], bearing) for bearing in np.arange(0, 180, 3))
    found = least_taken(shape, ENDS, None)
    assert found <= least
    assert found >= least - max(2e-3 * shape.area_m2, 0.02 * ENDS * SHAPES[name].length)


def test_a_rectangle_by_hand():
    """12 m by 5 m: lengthened along its long sides it is (12 + 0.1524) x 5, along the short ones 12
    x (5 + 0.1524)."""
    box = shape_of(shapely.box(0, 0, 5, 12))
    assert bound_m2(box, [ROLL], 0.0) == pytest.approx(FACTOR * 12.1524 * 5, rel=1e-5)
    assert bound_m2(box, [ROLL], 90.0) == pytest.approx(FACTOR * 12 * 5.1524, rel=1e-5)
    assert bound_m2(box, [ROLL], np.nan) == pytest.approx(FACTOR * 12.1524 * 5, rel=5e-4)


def test_a_gap_under_both_allowances_counts_as_turf():
    narrow, wide = (shapely.box(0, 0, 4, 3) | shapely.box(0, 3 + gap, 4, 6) for gap in (0.1, 1.0))
    assert bound_m2(shape_of(narrow), [ROLL], 0.0) == pytest.approx(
        FACTOR * 4 * (6 + ENDS), rel=1e-5
    )
    assert bound_m2(shape_of(wide), [ROLL], 0.0) == pytest.approx(
        FACTOR * 4 * (5 + 2 * ENDS), rel=1e-5
    )


def test_of_several_widths_the_thriftiest_holds():
    product = Product.model_validate(
        {"more_rolls": [{"roll_width": "5 ft", "roll_lengths": "100 ft", "price": "1 USD/ft^2"}]}
    )
    rolls = stocked("p", product, NARROW)
    box = shape_of(shapely.box(0, 0, 5, 12))
    assert bound_m2(box, rolls, 0.0) == pytest.approx(FACTOR * 12.1524 * 5, rel=1e-5)


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=3, max_size=7, unique=True
    ),
    st.floats(0, 360),
    st.sampled_from([np.nan, 0.0, 25.0]),
)
def test_no_layout_offered_takes_less(corners, turn, bearing):
    hull = shapely.convex_hull(shapely.multipoints(corners))
    shape = shapely.Polygon(corners).buffer(0)
    for outline in (hull, shape):
        if outline.area < 1:
            continue
        turned = rotate(outline, turn, origin=(0, 0))
        (choices,), (bound,) = lay_all(turned, bearing=bearing), bounds_of(turned, bearing=bearing)
        assert bound >= FACTOR * outline.area * (1 - 1e-4)
        for layout in (*choices.layouts, *choices.by_hand):
            assert bound <= share_m2(layout)


def tilings(widths: tuple[int, ...], heights: list[int], most: int):
    """Every way to set seams across a stack of unit rows, strips of at most ``most`` rows: lists of
    (first, past)."""
    if not heights:
        yield []
        return
    for rows in range(1, min(most, len(heights)) + 1):
        for rest in tilings(widths, heights[rows:], most):
            yield [(widths, heights[:rows]), *rest]


def test_brute_force_over_all_strips_of_a_staircase():
    """A staircase of rows 1 m high: every way to strip it, every strip one piece, no allowance
    across: the bound is under all."""
    lengths = [9, 7, 7, 4, 2, 6]
    shape = shapely.union_all(
        [shapely.box(0, k, length, k + 1) for k, length in enumerate(lengths)]
    )
    bought = []
    for cuts in itertools.product([False, True], repeat=len(lengths) - 1):
        groups = np.split(lengths, np.flatnonzero(cuts) + 1)
        if all(len(g) <= USABLE for g in groups):
            bought.append(sum((max(g) + ENDS) * len(g) for g in groups))
    bound = bound_m2(shape_of(shape), [ROLL], 90.0)
    assert bound <= FACTOR * min(bought)
    # here the best leaves only the dent in the side, 2 m of which a second piece in the row would
    # take 6 in for
    assert bound == pytest.approx(FACTOR * (sum(lengths) + len(lengths) * ENDS), rel=1e-5)
