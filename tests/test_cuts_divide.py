"""Strips divided to fill whole rolls: by hand, against what must hold of any strip, and not where
it does not pay."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from cut_cases import FOOT, INCH, USABLE_IN, assert_sound, choices, ground, layout
from hypothesis import given, settings
from hypothesis import strategies as st

from geoturf import cuts
from geoturf.layout import cut_across
from geoturf.rules import CutRules, LayoutRules, Product

ROLL = Product.model_validate({"sold_by": "roll", "roll_lengths": ["100 ft"]})
DIVIDE = CutRules.model_validate({"divide": True})
ENDS_IN = 6  # both allowances


def strips(*lengths_ft: float):
    """An area of full strips side by side, laid so long."""
    return choices(layout([(12 * feet + ENDS_IN, USABLE_IN) for feet in lengths_ft]))


def plan(areas, product=ROLL, rules=None, layout_rules=None):
    made = cuts.plan(
        ground(len(areas)),
        tuple(areas),
        {"turf60": product},
        rules or DIVIDE,
        layout_rules=layout_rules,
        cut_across=cut_across,
    )
    assert_sound(made)
    return made


def test_a_third_strip_of_60_ft_fills_the_rests_of_two_rolls():
    """3 x 60 ft by hand: 60 ft 6 in leave 39 ft 6 in of a roll; the third goes in 39 and 21 ft,
    each cut 6 in longer."""
    areas = [strips(60), strips(60), strips(60)]
    made = plan(areas)
    assert len(made.rolls) == 2 and made.pools["status"].tolist() == ["proven"]
    assert sorted(np.round(made.pieces["length_m"] / FOOT, 3)) == [21.5, 39.5, 60.5, 60.5]
    assert made.chosen["cross_seams"].sum() == 1
    assert made.seams["length_m"].tolist() == pytest.approx([USABLE_IN * INCH])
    assert len(plan(areas, rules=CutRules.model_validate({"divide": False})).rolls) == 3


def test_seams_dearer_than_a_roll_are_not_made():
    dear = LayoutRules.model_validate({"cross_seam_cost": "5000 USD"})  # a roll is 3,150
    assert len(plan([strips(60)] * 3, layout_rules=dear).rolls) == 3


def test_no_length_is_shorter_than_the_least():
    """6 x 80 ft by hand: each leaves 19 ft 6 in of its roll, good for 19 ft; the sixth goes in 19 +
    19 + 19 + 17 + 6 ft. Five strips leave four rests, 76 ft in all: too little. Where 20 ft is the
    least, no rest is any good."""
    six = plan([strips(80)] * 6)
    assert len(six.rolls) == 5
    assert sorted(np.round(six.pieces["length_m"] / FOOT, 3))[:5] == [6.5, 17.5, 19.5, 19.5, 19.5]
    assert len(plan([strips(80)] * 5).rolls) == 5
    assert (
        len(
            plan(
                [strips(80)] * 6,
                rules=CutRules.model_validate({"divide": True, "least_length": "20 ft"}),
            ).rolls
        )
        == 6
    )


def test_joints_of_neighbours_that_would_nearly_meet_are_moved_apart():
    """Two strips of this area, neighbours, are divided. The rests they fill differ by half a foot:
    filled in the order they come, their joints would lie 6 in apart, which a crew can't glue one by
    one; joints lie a foot apart or more."""
    made = plan([strips(61, 60), strips(60, 59.5, 59.5, 60.5)])
    cross = made.seams[made.seams["kind"] == "cross"]
    assert len(cross) >= 2
    for _, seams in cross.groupby("area_index"):
        assert_staggered(seams)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.lists(st.integers(12, 99), min_size=1, max_size=4), min_size=1, max_size=12),
    st.booleans(),
)
def test_lengths_make_up_their_strip_and_cost_less(areas, two_lengths):
    product = (
        ROLL
        if not two_lengths
        else Product.model_validate({"sold_by": "roll", "roll_lengths": ["100 ft", "50 ft"]})
    )
    areas = [strips(*lengths) for lengths in areas]
    rules = LayoutRules()
    whole, made = (
        plan(areas, product, CutRules.model_validate({"divide": False})),
        plan(areas, product),
    )

    def money(made):
        turf = (
            float((made.rolls["length_m"] * made.rolls["width_m"]).sum()) * product.price.per_si()
        )
        cross = made.seams[made.seams["kind"] == "cross"]
        seams = cross["length_m"].sum() * rules.seam_cost.per_si() + len(cross) * 37.0
        return turf + 2 * seams

    assert money(made) <= money(whole) + 1e-6
    for (_, before), (_, after) in zip(
        whole.pieces.groupby("area_index"), made.pieces.groupby("area_index"), strict=True
    ):
        shapes = [shapely.union_all(boxes(part)) for part in (before, after)]
        assert shapes[0].symmetric_difference(shapes[1]).area == pytest.approx(0, abs=1e-6)
        laid = (after["u1"] - after["u0"]).to_numpy()
        need = laid + ENDS_IN * INCH
        cut = after["length_m"].to_numpy()
        assert (cut >= need - 1e-6).all() and (cut < need + INCH).all()
        divided = len(after) > len(before)
        assert not divided or laid.min() >= 6 * FOOT - INCH
        assert_staggered(made.seams[(made.seams["area_index"] == after["area_index"].iloc[0])])


def boxes(pieces):
    return [shapely.box(*row) for row in pieces[["u0", "v0", "u1", "v1"]].to_numpy()]


def assert_staggered(seams):
    """No two cross seams of strips that touch lie within a foot of each other."""
    cross = seams[seams["kind"] == "cross"][["u0", "v0", "v1"]].to_numpy()
    for (u, low, high), (other, below, above) in itertools.combinations(cross.tolist(), 2):
        touch = abs(high - below) < 1e-4 or abs(above - low) < 1e-4
        assert not touch or abs(u - other) > 0.3
