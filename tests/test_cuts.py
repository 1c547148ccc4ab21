"""The cut plan as a whole: pools, rolls, bounds and tables."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cut_cases import FOOT, INCH, assert_sound, choices, ground, layout
from hypothesis import given, settings
from hypothesis import strategies as st

from geoturf import cuts
from geoturf.cuts import settle
from geoturf.cuts.market import markets
from geoturf.cuts.master import Master, UnsolvedError
from geoturf.engine import Processes
from geoturf.errors import PromiseError
from geoturf.rules import CutRules, LayoutRules, Product

LENGTH = Product()  # 15 ft x 100 ft, sold by length, billed to the foot
ROLL = Product(sold_by="roll")
WIDTH_M = 15 * FOOT


def plan(areas, product=LENGTH, rules=None, sites=None):
    made = cuts.plan(
        ground(len(areas), sites), tuple(areas), {"turf60": product}, rules or CutRules()
    )
    assert_sound(made)
    return made


def random_areas(seed: int, count: int):
    rng = np.random.default_rng(seed)
    areas = []
    for _ in range(count):
        n = rng.integers(1, 8)
        width = np.where(rng.random(n) < 0.5, 178, rng.integers(7, 178, n))
        areas.append(choices(layout(np.column_stack([rng.integers(60, 900, n), width]))))
    return areas


def test_one_piece_is_billed_to_the_next_foot():
    made = plan([choices(layout([(121, 178)]))])
    assert made.pools["bought_m2"][0] == pytest.approx(11 * FOOT * WIDTH_M)
    assert made.pools["status"][0] == "proven"


def test_two_narrow_pieces_of_two_lots_lie_side_by_side():
    made = plan([choices(layout([(120, 89)])), choices(layout([(120, 89)]))])
    assert made.pools["bought_m2"][0] == pytest.approx(10 * FOOT * WIDTH_M)
    assert made.pieces["across_m"].tolist() == pytest.approx([0, 89 * INCH])


@pytest.mark.parametrize(
    ("pool", "pools", "feet"), [("phase", 1, 10), ("site", 2, 20), ("area", 2, 20)]
)
def test_pools_keep_sites_apart_when_asked(pool, pools, feet):
    areas = [choices(layout([(120, 89)])), choices(layout([(120, 89)]))]
    made = plan(areas, rules=CutRules(pool=pool))
    assert len(made.pools) == pools
    assert made.pools["bought_m2"].sum() == pytest.approx(feet * FOOT * WIDTH_M)
    assert set(made.pools["phase"]) == {"1"} and set(made.pools["product"]) == {"turf60"}


def test_short_pieces_are_stacked_beside_a_long_one():
    made = plan([choices(layout([(240, 100), (120, 78), (120, 78)]))])
    assert made.pools["bought_m2"][0] == pytest.approx(20 * FOOT * WIDTH_M)


def test_whole_rolls():
    made = plan([choices(layout([(700, 178), (700, 178), (500, 178), (500, 178)]))], ROLL)
    assert made.rolls["length_m"].tolist() == pytest.approx([100 * FOOT] * 2)
    assert made.rolls["pattern"].tolist() == ["P1", "P1"]
    assert made.pools["status"][0] == "proven"


def test_the_short_roll_is_bought_where_it_does():
    product = Product(sold_by="roll", roll_lengths=["100 ft", "50 ft"])
    made = plan([choices(layout([(1100, 178), (500, 178)]))], product)
    assert sorted(made.rolls["length_m"]) == pytest.approx([50 * FOOT, 100 * FOOT])


def test_left_overs_at_hand_come_first():
    stock = [{"product": "turf60", "width": "5 ft", "length": "12 ft"}]
    made = plan([choices(layout([(140, 60), (200, 178)]))], rules=CutRules(stock=stock))
    assert made.pools["bought_m2"][0] == pytest.approx(17 * FOOT * WIDTH_M)
    assert made.rolls["source"].tolist().count("stock") == 1
    assert made.pools["status"][0] == "proven"


def test_stock_is_used_once():
    stock = [{"product": "turf60", "width": "5 ft", "length": "12 ft"}]
    areas = [choices(layout([(140, 60)])), choices(layout([(140, 60)]))]
    made = plan(areas, rules=CutRules(stock=stock, pool="site"))
    assert made.pools["bought_m2"].tolist() == pytest.approx([0.0, 12 * FOOT * WIDTH_M])


def test_left_overs_worth_keeping_are_listed():
    made = plan([choices(layout([(240, 100)]))])
    assert made.stock["width_m"].tolist() == pytest.approx([78 * INCH])
    assert made.stock["length_m"].tolist() == pytest.approx([20 * FOOT])


def test_what_is_bought_is_shared_among_the_areas_exactly():
    made = plan(random_areas(1, 12))
    assert made.chosen["turf_bought_m2"].sum() == pytest.approx(
        made.pools["bought_m2"].sum(), abs=1e-9
    )


def test_a_small_pool_is_laid_for_what_is_really_bought():
    """Whole rolls of 1,200 in. Strips of 610 and 600 in take two of them, though they are less turf
    than two strips of 600 in in full width, which take one."""
    less, more = layout([(610, 178), (600, 150)]), layout([(600, 178), (600, 178)])
    made = plan([choices(less, more)], ROLL)
    assert made.pools["rolls"][0] == 1
    assert made.chosen["pieces"][0] == 2 and made.pieces["width_m"].tolist() == pytest.approx(
        [178 * INCH] * 2
    )


def by_hand_ft(*sizes_in) -> float:
    """Feet of roll that one area of such pieces takes by hand."""
    return plan([choices(layout(sizes_in))]).pools["by_hand_m2"][0] / (FOOT * WIDTH_M)


def test_by_hand_a_rest_is_used_once():
    """178 in of width: beside a strip of 100 in, 78 are left; two of 39 would fit there, but one is
    what a person thinks of."""
    assert by_hand_ft((121, 100), (121, 79)) == pytest.approx(
        21
    )  # 242 in are 20 ft 2 in: nothing fits
    assert by_hand_ft((121, 100), (121, 78)) == pytest.approx(11)
    assert by_hand_ft((121, 100), (119, 39), (119, 39), (119, 39)) == pytest.approx(
        20
    )  # the third in the second's rest
    assert by_hand_ft((119, 100), (121, 78)) == pytest.approx(11)  # cut from the longer one's rest


def test_by_hand_scraps_are_thrown_away():
    """Rests narrower than the least piece (2 ft) are no rests."""
    assert by_hand_ft((121, 154), (121, 24)) == pytest.approx(11)
    assert by_hand_ft((121, 155), (121, 23)) == pytest.approx(21)


def test_by_hand_areas_share_nothing_and_the_better_drawing_counts():
    worse, better = layout([(121, 178), (121, 178)]), layout([(230, 178)])
    areas = [replace(choices(worse), by_hand=(worse, better)), choices(worse)]
    made = plan(areas)
    assert made.pools["by_hand_m2"][0] == pytest.approx((20 + 21) * FOOT * WIDTH_M)


@pytest.mark.parametrize("product", [LENGTH, ROLL], ids=["length", "roll"])
@pytest.mark.parametrize("seed", range(2))
def test_plans_of_many_lots_are_sound_and_near_their_bound(product, seed):
    made = plan(random_areas(seed, 20), product)
    row = made.pools.iloc[0]
    assert row["cut_bound_m2"] <= row["bought_m2"] <= 1.1 * row["cut_bound_m2"]


def test_same_input_same_plan():
    first, second = plan(random_areas(5, 10)), plan(random_areas(5, 10))
    assert first.pieces.equals(second.pieces) and first.rolls.equals(second.rolls)


def test_several_workers_make_the_same_plan():
    """More areas than are swapped together, and each with a second layout to choose."""
    areas = [
        choices(*one.layouts, layout([(240, 89), (120, 89)], cost=2.0))
        for one in random_areas(6, 120)
    ]
    alone = cuts.plan(ground(120), tuple(areas), {"turf60": ROLL}, CutRules())
    with Processes(2) as engine:
        shared = cuts.plan(ground(120), tuple(areas), {"turf60": ROLL}, CutRules(), engine=engine)
    assert (
        shared.pieces.equals(alone.pieces)
        and shared.rolls.equals(alone.rolls)
        and shared.pools.equals(alone.pools)
    )


def test_a_layout_that_packs_better_is_swapped_in():
    """Two lots: strips 100 in wide fit nothing, strips of 89 in lie side by side."""
    offers = [layout([(240, 100), (240, 78)]), layout([(240, 89), (240, 89)])]
    wide = [layout([(240, 120)], cost=1.0), layout([(240, 89), (60, 31)], cost=2.0)]
    made = plan([choices(*wide), choices(*wide)])
    assert made.pools["bought_m2"][0] == pytest.approx(20 * FOOT * WIDTH_M + 5 * FOOT * WIDTH_M)
    assert plan([choices(*offers)]).pools["bought_m2"][0] == pytest.approx(20 * FOOT * WIDTH_M)


def test_the_wider_roll_is_taken_where_it_is_worth_its_price():
    more = [{"roll_width": "12 ft", "roll_lengths": ["100 ft"], "price": "1.00 USD/ft^2"}]
    narrow = layout([(240, 142)], roll_in=144, usable_in=142, cost=2.0)
    made = cuts.plan(
        ground(1),
        (choices(layout([(240, 142)]), narrow),),
        {"turf60": Product(more_rolls=more)},
        CutRules(),
    )
    assert made.rolls["width_m"].tolist() == pytest.approx([12 * FOOT])


def test_no_areas_no_plan():
    made = cuts.plan(ground(0), (), {"turf60": LENGTH}, CutRules())
    assert len(made.pieces) == len(made.rolls) == len(made.pools) == 0


def test_metric_sizes_and_rolls():
    """Cut sizes in whole centimetres, a roll of 4 m x 25 m, billed to half a metre."""
    cut = np.array([[5.21, 3.95], [5.21, 1.90], [5.21, 2.05]])
    made = layout([(1, 1)] * 3)
    made = type(made)(0.0, made.pieces, made.seams, made.cross, cut, 3.95, 4.0, 0.0, 1.0)
    product = Product(roll_width="4 m", roll_lengths="25 m")
    rules, step = CutRules(billing_step="0.5 m"), LayoutRules(cut_step="1 cm")
    planned = cuts.plan(ground(1), (choices(made),), {"turf60": product}, rules, layout_rules=step)
    assert_sound(planned, 3.95)
    assert planned.pools["bought_m2"][0] == pytest.approx(10.5 * 4)


def test_seams_are_told_as_segments():
    plain = layout([(240, 89), (240, 89)])
    seams, cross = np.array([[1.0, 0.0, 6.0]]), np.array([[3.0, 0.0, 2.0]])
    seamed = type(plain)(
        0.0, plain.pieces, seams, cross, plain.cut, plain.width_m, plain.roll_width_m, 5.0, 1.0
    )
    told = plan([choices(seamed)]).seams
    assert told["kind"].tolist() == ["seam", "cross"]
    assert told[["u0", "v0", "u1", "v1", "length_m"]].to_numpy().tolist() == [
        [0, 1, 6, 1, 6],
        [3, 0, 3, 2, 2],
    ]


def test_equal_pieces_go_so_that_few_lots_are_open_at_once():
    """Forty lots of six equal pieces: cut lot by lot no more than three are open, whatever the
    plan's own order."""
    made = plan([choices(layout([(300, 89)] * 4 + [(590, 178)] * 2)) for _ in range(40)], ROLL)
    lot = dict(zip(made.pieces["piece"], made.pieces["area_index"], strict=True))
    by_roll = {roll: {lot[p] for p in part} for roll, part in made.pieces.groupby("roll")["piece"]}
    order = [by_roll[roll] for roll in made.rolls["roll"]]
    first = {k: min(at for at, some in enumerate(order) if k in some) for k in range(40)}
    last = {k: max(at for at, some in enumerate(order) if k in some) for k in range(40)}
    assert max(sum(first[k] < at <= last[k] for k in range(40)) for at in range(len(order))) <= 6


def test_an_area_without_layout_is_left_out():
    nothing = type(choices(layout([(240, 178)])))((), layout([(240, 178)]), 0.0, float("nan"))
    made = plan([choices(layout([(240, 178)])), nothing])
    assert made.chosen["pieces"].tolist() == [1, 0]
    assert made.pools["bought_m2"].tolist() == pytest.approx([20 * FOOT * WIDTH_M])


def test_a_solver_that_gives_up_leaves_the_quick_plan(monkeypatch):
    def gives_up(self):
        raise UnsolvedError

    monkeypatch.setattr(Master, "solve", gives_up)
    assert plan(random_areas(0, 20)).pools["status"][0].endswith("above the bound")


def test_of_equal_plans_the_one_with_a_long_left_over():
    """50, 40, 30 and 20 ft: two rolls of 100 ft either way, but 50 + 30 + 20 and 40 leave 60 ft in
    one piece."""
    made = plan([choices(layout([(600, 178), (480, 178), (360, 178), (240, 178)]))], ROLL)
    assert sorted(made.rolls["left_over_m"]) == pytest.approx([0, 60 * FOOT])


def test_the_bound_is_what_can_be_bought_and_less_than_what_is():
    areas = (choices(layout([(120, 178)])), choices(layout([(118, 178)])))
    made, products, rules = plan(areas), {"turf60": LENGTH}, CutRules()
    bought = made.pools["bought_m2"][0]
    least = np.array([[0.3, 0.5], [0.4, 0.6]]) * bought  # in any rectangles, in strips
    proven = cuts.proven(made, ground(2), areas, products, rules, least)
    for column, bound in zip(least.T, ("bound_m2", "strip_bound_m2"), strict=True):
        found, step = proven.pools[bound][0], rules.billing_step_m * WIDTH_M
        assert column.sum() <= found <= column.sum() + step
    blocks = cuts.proven(made, ground(2), areas, products, rules, 1.2 * least)
    assert blocks.pools["strip_bound_m2"][0] > bought, "what is laid in blocks may buy less"
    with pytest.raises(PromiseError, match="under a bound"):
        cuts.proven(made, ground(2), areas, products, rules, 2 * least)  # 1.4 of it


def test_left_overs_at_hand_count_against_the_bound():
    stock = [{"length": "10 ft", "width": "178 in", "product": "turf60"}]
    areas, rules = (choices(layout([(240, 178)])),), CutRules.model_validate({"stock": stock})
    made = plan(areas, rules=rules)
    proven = cuts.proven(
        made, ground(1), areas, {"turf60": LENGTH}, rules, np.full((1, 2), 20 * FOOT * WIDTH_M)
    )
    assert proven.pools["bound_m2"][0] == pytest.approx(10 * FOOT * WIDTH_M)


@given(
    st.lists(
        st.lists(st.tuples(st.integers(12, 1100), st.integers(6, 178)), min_size=1, max_size=4),
        min_size=1,
        max_size=3,
    )
)
@settings(max_examples=30, deadline=None)
def test_no_layouts_cost_less_than_what_they_are_passed_over_for(areas):
    """A layout is not tried where its area alone costs too much: never more than its best cuts
    really cost."""
    layouts = [layout(sizes) for sizes in areas]
    for product in (ROLL, ROLL.model_copy(update={"sold_by": "roll"})):
        market = markets(product, CutRules())
        assert settle.floor(layouts, market, LayoutRules()) <= settle.cost(
            layouts, market, LayoutRules()
        )
