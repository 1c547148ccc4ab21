"""Sizes that share no grid: feet with centimetres, tenths of feet, left-overs of another width."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from cut_cases import FOOT, INCH, assert_sound, choices, ground, layout
from hypothesis import given, settings
from hypothesis import strategies as st

from geoturf import cuts
from geoturf.cuts.market import Market, grid_step
from geoturf.errors import PromiseError
from geoturf.rules import CutRules, LayoutRules, Product


@pytest.mark.parametrize(
    ("sizes_m", "cut_step_m", "grid_m"),
    [
        ([3 * FOOT, 7 * FOOT], INCH, FOOT),
        ([3 * FOOT, 7 * INCH], INCH, INCH),
        ([3 * FOOT, 6 * FOOT], 0.1 * FOOT, FOOT),
        ([3.3 * FOOT, 6 * FOOT], 0.1 * FOOT, 0.1 * FOOT),
        ([7 * FOOT, 14 * FOOT], 7 * INCH, 7 * INCH),  # a foot is no whole number of cut steps
        ([0.3 * INCH, 90 * INCH], 0.3 * INCH, 0.3 * INCH),
        ([5.21, 1.90], 0.01, 0.01),
        ([5.2, 1.9], 0.01, 0.1),
    ],
)
def test_the_grid_is_made_of_whole_cut_steps_and_holds_every_size(sizes_m, cut_step_m, grid_m):
    assert grid_step(np.array(sizes_m), cut_step_m) == pytest.approx(grid_m, rel=1e-12)


def test_a_piece_in_tenths_of_feet_fills_a_roll_of_33_3_ft():
    one = layout([(12 * 33.3, 178), (12 * 33.3, 178)])
    product = Product(sold_by="roll", roll_lengths="33.3 ft")
    step = LayoutRules(cut_step="0.1 ft")
    made = cuts.plan(ground(1), (choices(one),), {"turf60": product}, CutRules(), layout_rules=step)
    assert_sound(made)
    assert made.rolls["length_m"].tolist() == pytest.approx([33.3 * FOOT] * 2)
    assert made.rolls["left_over_m"].tolist() == pytest.approx([0, 0], abs=1e-9)


def test_a_left_over_a_hair_narrower_than_a_roll_holds_no_piece_as_wide_as_that():
    """A roll of 4 m leaves 3.9492 m between its trims, a left-over 12 ft 11 1/2 in wide 3.9497 m,
    one of 12 ft 11 in 3.937 m."""
    usable_in = 3.9492 / INCH
    one = replace(layout([(120, usable_in)]), width_m=3.9492, roll_width_m=4.0)
    for width, at_hand in [("12 ft 11 1/2 in", 1), ("3.9491 m", 0), ("12 ft 11 in", 0)]:
        rules = CutRules.model_validate(
            {"stock": [{"product": "turf60", "width": width, "length": "10 ft"}]}
        )
        product = Product(roll_width="4 m")
        made = cuts.plan(
            ground(1), (choices(one),), {"turf60": product}, rules, layout_rules=LayoutRules()
        )
        assert (made.rolls["source"] == "stock").sum() == at_hand, width


def test_a_left_over_is_used_no_wider_than_a_roll_and_told_so():
    rules = CutRules.model_validate(
        {"stock": [{"product": "turf60", "width": "15 ft", "length": "33.3 ft"}]}
    )
    made = cuts.plan(ground(1), (choices(layout([(120, 178)])),), {"turf60": Product()}, rules)
    assert made.rolls[["width_m", "length_m"]].to_numpy()[0] == pytest.approx(
        [178 * INCH, 33.3 * FOOT]
    )


def test_what_another_width_of_the_pool_was_given_counts_against_the_bound():
    """A left-over of 10 ft serves the short piece, which is looked at first: 120 ft2 are bought.
    Given to the long one, 75 ft2 are: no bound of the pool may lie over that."""
    short, long = layout([(60, 100)]), layout([(120, 142)], roll_in=144, usable_in=142)
    narrow = {"roll_width": "12 ft", "roll_lengths": "100 ft", "price": "2.10 USD/ft^2"}
    product = Product.model_validate({"more_rolls": [narrow]})
    rules = CutRules.model_validate(
        {"stock": [{"product": "turf60", "width": "142 in", "length": "10 ft"}]}
    )
    made = cuts.plan(ground(2), (choices(short), choices(long)), {"turf60": product}, rules)
    assert made.pools["bought_m2"][0] == pytest.approx(120 * FOOT**2)
    assert made.pools["cut_bound_m2"][0] <= 75 * FOOT**2


def test_a_piece_that_fits_no_roll_is_told_with_its_site_and_area():
    areas = (choices(layout([(240, 178)])), choices(layout([(1201, 178)])))
    with pytest.raises(PromiseError) as refused:
        cuts.plan(ground(2), areas, {"turf60": Product()}, CutRules())
    (found,) = refused.value.findings
    assert (found.site, found.area, found.code) == ("lot2", "lawn", "piece-too-long")
    assert "30.5054 m" in found.message and "30.4800 m" in found.message


LENGTHS = st.lists(
    st.sampled_from([33.35 * FOOT, 20.0, 100 * FOOT, 25.0, 1.7]),
    min_size=1,
    max_size=3,
    unique=True,
)


@settings(max_examples=60, deadline=None)
@given(LENGTHS, st.floats(0.1, 90))
def test_the_least_that_rolls_of_odd_lengths_come_to_against_every_choice(lengths, need):
    """What can be bought is no less than told; and told exactly where the lengths share a step that
    is not too small."""
    market = Market(1.0, tuple(sorted(lengths, reverse=True)), tuple(lengths), 0.0)
    most = [int(need / length) + 1 for length in lengths]
    sums = (np.dot(times, lengths) for times in itertools.product(*(range(n + 1) for n in most)))
    least = min(total for total in sums if total >= need - 1e-6)
    assert market.least_m(need) <= least + 1e-6
    if len(lengths) == 1:
        assert market.least_m(need) == pytest.approx(least)


def test_a_length_off_a_roll_is_billed_no_longer_than_the_roll():
    """A roll of 100 ft 6 in, billed by the foot: 100.2 ft of it would be billed as 101 ft, more
    than there is; the roll is."""
    market = Market(15 * FOOT, (100.5 * FOOT,), (201.0,), 1.0 * FOOT)
    assert market.purchase(100.2 * FOOT) == pytest.approx((100.5 * FOOT, 201.0), rel=1e-12)
    assert market.purchase(99.2 * FOOT) == pytest.approx((100 * FOOT, 200.0), rel=1e-12)  # 2 a foot
