"""Where seams and pile go: against brute force over every set of seams on a grid, and against what
must not matter."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from layout_brute import FREE, brute_force, up
from layout_cases import (
    FOOT,
    INCH,
    RULES,
    SHAPES,
    TURF,
    USABLE,
    assert_lies_well,
    bounds_of,
    ground_of,
    lay_all,
)
from shapely.affinity import rotate, translate

import geoturf.layout
from geoturf.engine import Processes, Serial
from geoturf.errors import InputError
from geoturf.layout import bounds, lay, task_of
from geoturf.layout.roll import ALONE, BALANCED, PROP, WHOLE, stocked
from geoturf.layout.seams import refined, sought
from geoturf.layout.shape import shape_of
from geoturf.rules import LayoutRules, Product


@pytest.mark.parametrize("rules", [RULES, FREE], ids=["as laid", "free"])
@pytest.mark.parametrize("model", [ALONE, PROP, BALANCED, WHOLE])
@pytest.mark.parametrize("name", ["square", "ell", "ring", "triangle"])
def test_no_seams_on_a_grid_are_cheaper(name, model, rules):
    """Seams two feet apart, every set of them: 0.02 % is what the search may leave (it has more
    places to choose from)."""
    shape = SHAPES[name]
    low, high = shape.bounds[1], shape.bounds[3]
    grid = list(np.arange(low + 2 * FOOT, high - FOOT, 2 * FOOT))
    grid = sorted(
        {*grid, *(v for v in (low + USABLE, high - USABLE, low + 2 * USABLE) if low < v < high)}
    )
    # seams off a border's own line: shapely's intersection would count the border as a seam
    grid = [v for v in grid if all(abs(v - y) > 1e-3 for y in shapely.get_coordinates(shape)[:, 1])]
    (roll,) = stocked("turf60", TURF, rules)
    found = sought(shape_of(shape), 90.0, roll).found
    cost = sum(refined(one, model).cost for one in found)
    assert cost <= brute_force(shape, grid, model, rules) * 1.0002


def test_the_pile_follows_a_lot_that_wants_it():
    """20 m by one roll: laid along, no seam; any other bearing has some."""
    strip = rotate(shapely.box(0, 0, 20, USABLE), 35, origin=(0, 0))
    best = lay_all(strip)[0].layouts[0]
    assert best.bearing_deg == pytest.approx(90 - 35) and best.seam_m == 0


@settings(max_examples=15, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, 11), st.integers(0, 11)), min_size=4, max_size=6, unique=True
    ),
    st.floats(1, 179),
    st.floats(-500, 500),
)
@example([(3, 9), (3, 10), (11, 7), (3, 7), (2, 0)], 1.0, 6.0)  # three smallest rectangles
def test_a_lot_turned_is_laid_turned(corners, turn, far):
    shape = shapely.Polygon(corners)
    assume(shape.is_valid and shape.area > 4)
    there = translate(rotate(shape, turn, origin=(0, 0)), far, -far)
    straight, turned = lay_all(shape)[0], lay_all(there)[0]
    assert bounds_of(there) == pytest.approx(bounds_of(shape), rel=2e-3)
    # the order of equals, and hence which of several near-equal bearings is searched, may turn on
    # rounding
    assert turned.layouts[0].cost == pytest.approx(straight.layouts[0].cost, rel=2e-3)


@settings(max_examples=10, deadline=None)
@given(st.floats(0.01, 100), st.sampled_from(["ell", "ring", "triangle"]))
def test_prices_all_scaled_change_nothing(times, name):
    def scaled(amount: float, unit: str) -> str:
        return f"{amount * times:.6f} USD{unit}"

    product = Product.model_validate({"price": scaled(2.1, "/ft^2")})
    rules = LayoutRules.model_validate(
        {"seam_cost": scaled(4.14, "/ft"), "cross_seam_cost": scaled(12, "")}
    )
    (one,), (other,) = lay_all(SHAPES[name]), lay_all(SHAPES[name], product=product, rules=rules)
    assert other.layouts[0].cost == pytest.approx(one.layouts[0].cost, rel=1e-3)


def test_dearer_seams_are_fewer():
    free, dear = (
        lay_all(SHAPES["disc"], rules=LayoutRules.model_validate({"seam_cost": cost}))[0]
        .layouts[0]
        .seam_m
        for cost in ("0 USD/ft", "50 USD/ft")
    )
    assert dear < free


def test_areas_seen_together_share_the_bearing_that_costs_least():
    """A long strip and a small square turned: the strip decides, and the square says what it pays
    for it."""
    strip, square = (
        shapely.box(0, 0, 30, USABLE),
        rotate(shapely.box(40, 0, 40 + USABLE, USABLE), 30),
    )
    strip_first = lay_all(strip, square, view="street")
    assert {layout.bearing_deg for c in strip_first for layout in c.layouts} == {90.0}
    assert strip_first[1].layouts[0].cost > strip_first[1].free_cost
    assert strip_first[0].layouts[0].cost == pytest.approx(strip_first[0].free_cost)


def test_a_stated_bearing_holds_and_for_those_seen_with_it():
    shapes = [shapely.box(0, 0, 12, 5), shapely.box(20, 0, 25, 9), shapely.box(30, 0, 33, 9)]
    done = lay_all(*shapes, bearing=[200.0, np.nan, np.nan], view=["front", "front", ""])
    assert [c.layouts[0].bearing_deg for c in done[:2]] == [200.0, 200.0]
    assert {layout.bearing_deg % 90 for layout in done[2].layouts} == {
        0.0
    }  # seen with none of them: free
    for choices, shape in zip(done, shapes, strict=True):
        assert_lies_well(choices.layouts[0], shape)
        assert choices.free_cost <= choices.layouts[0].cost


def test_the_rules_bearing_is_for_areas_that_state_none():
    done = lay_all(
        shapely.box(0, 0, 5, 5),
        shapely.box(9, 0, 15, 5),
        rules=LayoutRules.model_validate({"bearing": 40}),
        bearing=[10.0, np.nan],
    )
    assert [c.layouts[0].bearing_deg for c in done] == [10.0, 40.0]


def test_the_pile_leans_to_the_viewer():
    """A street along x = 30: due east of the one area, and its end is north-east of the other."""
    street = shapely.LineString([(30, -20), (30, 5)])
    context = pd.DataFrame(
        {"role": ["view"], "layer": ["street"], "frame": [0], "geometry": [street]}
    )
    rules = LayoutRules.model_validate({"toward": "street"})
    shapes = [shapely.box(0, -5, 10, 5), shapely.box(0, -30, 10, -20)]
    done = lay_all(*shapes, rules=rules, context=context)
    assert done[0].layouts[0].bearing_deg == pytest.approx(90)
    assert done[1].layouts[0].bearing_deg == pytest.approx(math.degrees(math.atan2(25, 5)))
    with pytest.raises(InputError, match="no layer of role") as caught:
        lay_all(*shapes, rules=rules)
    assert len(str(caught.value).splitlines()) == 1


def test_a_strip_longer_than_a_roll_has_staggered_cross_seams():
    shape = shapely.box(0, 0, 70, 2 * USABLE)
    best = lay_all(shape, bearing=90.0)[0].layouts[0]
    assert_lies_well(best, shape)
    by_strip = [
        np.sort(best.cross[np.isclose(best.cross[:, 1], v), 0])
        for v in np.unique(best.cross[:, 1].round(6))
    ]
    assert len(by_strip) == 2 and all(
        len(us) == 2 for us in by_strip
    )  # 70 m of 30 m rolls: three lengths
    assert np.min(np.abs(by_strip[0][:, None] - by_strip[1])) > 0.3


def test_every_stocked_width_is_offered_and_the_cheaper_comes_first():
    product = Product.model_validate(
        {
            "more_rolls": [
                {"roll_width": "12 ft", "roll_lengths": "100 ft", "price": "1.00 USD/ft^2"}
            ]
        }
    )
    layouts = lay_all(shapely.box(0, 0, 9, 14), product=product)[0].layouts
    assert {round(layout.roll_width_m / FOOT) for layout in layouts} == {12, 15}
    assert round(layouts[0].roll_width_m / FOOT) == 12
    for layout in layouts:
        assert_lies_well(layout, shapely.box(0, 0, 9, 14))


def test_by_hand_is_full_strips_from_the_longest_edge_or_across_it():
    """12 m by 5 m with a nick at the far side, pile along the long edge: one strip a usable width
    wide, the other what is left, an inch more to trim. Across it: two full ones and what is left,
    each as long as its turf."""
    shape = shapely.box(0, 0, 12, 5) - shapely.box(0, 4.8, 11, 5)
    along, across = lay_all(shape)[0].by_hand
    assert (along.bearing_deg, across.bearing_deg) == pytest.approx((90, 0))
    assert np.allclose(along.cut[:, 0], up(12 + 6 * INCH))
    assert np.allclose(sorted(along.cut[:, 1]), [up(5 - USABLE + INCH), USABLE])
    assert sorted(np.abs(along.pieces[:, 2:]).ravel()) == pytest.approx([0, USABLE, USABLE, 5])
    assert np.allclose(sorted(across.cut[:, 1]), [up(12 - 2 * USABLE + INCH), USABLE, USABLE])
    assert np.allclose(sorted(across.cut[:, 0]), [up(4.8 + 6 * INCH)] * 2 + [up(5 + 6 * INCH)])


def test_by_hand_at_a_stated_bearing_is_one_drawing():
    (hand,) = lay_all(shapely.box(0, 0, 12, 5), bearing=0.0)[0].by_hand
    assert hand.bearing_deg == 0 and len(hand.cut) == 3


@pytest.mark.parametrize("name", ["square", "ell", "ring", "triangle"])
def test_a_price_model_sought_by_itself_costs_the_same_to_the_bit(name):
    """With full strips weighed and strips ganged, so that every model is a search of its own."""
    rules = RULES.model_copy(update={"full_strips_m": 0.5, "cross_seams": "anywhere"})
    (roll,) = stocked("turf", TURF, rules)
    shape = shape_of(SHAPES[name])
    for bearing in (0.0, 33.0, 90.0):
        every = sought(shape, bearing, roll)
        for model in roll.models:
            alone = sought(shape, bearing, roll, models=(model,))
            assert alone.cost[model] == every.cost[model]


def test_what_was_bounded_before_is_not_bounded_again(monkeypatch):
    """Only the new area is worked on, and both ways give the same."""
    worked: list[int] = []
    work = geoturf.layout._work_bounds
    monkeypatch.setattr(
        geoturf.layout, "_work_bounds", lambda jobs: worked.append(len(jobs)) or work(jobs)
    )
    few, more = (
        task_of(ground_of(*some), {"turf60": TURF}, RULES)
        for some in (
            [SHAPES["ell"], SHAPES["ring"]],
            [SHAPES["triangle"], SHAPES["ell"], SHAPES["ring"]],
        )
    )
    known: geoturf.layout.Bounded = {}
    bounds(few, Serial(), known)
    first = sum(worked)
    found = bounds(more, Serial(), known)
    assert (first, sum(worked)) == (2, 3)
    assert found.tolist() == bounds(more, Serial()).tolist()


def test_the_same_whoever_does_the_work(monkeypatch):
    """Two processes or none: the same layouts to the bit, and every area told once."""
    monkeypatch.setattr("geoturf.layout.FEW", 2)
    monkeypatch.setattr("geoturf.layout.CHUNK", 3)
    shapes = [
        rotate(SHAPES[name], k) for k, name in enumerate(["ell", "ring", "square", "triangle"] * 2)
    ]
    told: list[int] = []
    task = task_of(ground_of(*shapes), {"turf60": TURF}, RULES)
    alone = lay(task, Serial(), told.append)
    with Processes(2) as engine:
        shared = lay(task, engine)
        assert bounds(task, Serial()).tolist() == bounds(task, engine).tolist()
    assert sum(told) == len(shapes)
    for one, other in zip(alone, shared, strict=True):
        assert one.same_as == other.same_as
        for a, b in zip(one.layouts, other.layouts, strict=True):
            assert (
                a.cost == b.cost
                and np.array_equal(a.pieces, b.pieces)
                and np.array_equal(a.cut, b.cut)
            )
