"""The choice: against every subset tried one by one, and against what any choice must keep."""

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from water_cases import parks, turf_price, water_rules

from geoturf import water
from geoturf.errors import BidError
from geoturf.water.chooser import Chooser
from geoturf.water.knapsack import Knapsack, Side, Tariff


def best_by_hand(programme, budget):
    """The best value over all choices, each tried; None where none is allowed."""
    n, k = programme.value.shape
    best = None
    for chosen in product(range(-1, k), repeat=n):
        at = [(i, j) for i, j in enumerate(chosen) if j >= 0]
        if any(not programme.allowed[cell] for cell in at):
            continue
        if any(programme.required[i] and chosen[i] < 0 for i in range(n)):
            continue
        if sum(programme.cost[cell] for cell in at) > budget + 1e-9:
            continue
        totals = [sum(side.weight[cell] for cell in at) for side in programme.sides]
        if any(
            not side.lower - 1e-9 <= total <= side.upper + 1e-9
            for side, total in zip(programme.sides, totals, strict=True)
        ):
            continue
        value = sum(programme.value[cell] for cell in at)
        best = value if best is None else max(best, value)
    return best


@st.composite
def programmes(draw):
    """Up to five areas and three conversions; whole numbers, so that ties and exact fits happen."""
    n, k = draw(st.integers(1, 5)), draw(st.integers(1, 3))

    def numbers(low, high):
        return np.array(
            draw(st.lists(st.integers(low, high), min_size=n * k, max_size=n * k)), float
        ).reshape(n, k)

    def flags(size):
        return np.array(draw(st.lists(st.booleans(), min_size=size, max_size=size)))

    sides = []
    if draw(st.booleans()):  # at least so many areas of a district
        inside = np.broadcast_to(flags(n)[:, None], (n, k)).astype(float)
        sides.append(Side("district", inside, float(draw(st.integers(1, 2))), np.inf))
    if draw(st.booleans()):  # a cap on the first conversion
        weight = numbers(1, 9) * (np.arange(k) == 0)
        sides.append(Side("turf", weight, -np.inf, float(draw(st.integers(0, 15)))))
    allowed = numbers(0, 5) > 0
    required = flags(n) & (draw(st.integers(0, 2)) == 0)
    budget = float(draw(st.integers(0, 40)))
    return Knapsack(numbers(-3, 20), numbers(0, 20), allowed, required, tuple(sides)), budget


@settings(max_examples=150, deadline=None)
@given(programmes())
def test_the_choice_is_the_best_of_all_subsets(case):
    """Brute force over every choice."""
    programme, budget = case
    best, pick = best_by_hand(programme, budget), Chooser(programme).pick(budget, 0.0)
    if best is None:
        assert pick is None
        return
    assert pick.value == pytest.approx(best, abs=1e-6)
    assert pick.bound >= best - 1e-6
    at = np.flatnonzero(pick.chosen >= 0)
    assert programme.cost[at, pick.chosen[at]].sum() == pytest.approx(pick.cost)
    assert pick.cost <= budget + 1e-6
    assert programme.allowed[at, pick.chosen[at]].all()


@st.composite
def shared_bills(draw):
    """Up to four areas on up to two accounts, one of whose bills has three rising blocks, the
    other's two; only two months use water."""
    n, k = draw(st.integers(1, 4)), draw(st.integers(1, 2))

    def numbers(low, high, *shape):
        size = int(np.prod(shape))
        return np.array(
            draw(st.lists(st.integers(low, high), min_size=size, max_size=size)), float
        ).reshape(shape)

    account = numbers(0, 1, n).astype(int)
    use, share = np.zeros((n, 12)), np.zeros((n, k, 12))
    use[:, 5:7] = numbers(0, 12, n, 2)
    share[:, :, 5:7] = numbers(0, 4, n, k, 2) / 4
    before = np.zeros((2, 12))
    np.add.at(before, account, use)
    tariff = Tariff(
        account,
        before,
        share * use[:, None],
        np.array([[0.0, 5.0, 12.0], [0.0, 8.0, np.inf]]),
        np.array([[1.0, 3.0, 7.0], [2.0, 6.0, 6.0]]),
    )
    return Knapsack(
        numbers(-40, 0, n, k),
        numbers(0, 20, n, k),
        np.ones((n, k), bool),
        np.zeros(n, bool),
        tariff=tariff,
    ), float(draw(st.integers(0, 40)))


def shared_bill(tariff, saved):
    """Bill of every account and month by hand, block by block."""
    total = 0.0
    one, other = tariff.before_m3 - saved
    for left in one:
        total += (
            1.0 * min(left, 5.0)
            + 3.0 * min(max(left - 5.0, 0.0), 7.0)
            + 7.0 * max(left - 12.0, 0.0)
        )
    for left in other:
        total += 2.0 * min(left, 8.0) + 6.0 * max(left - 8.0, 0.0)
    return total


@settings(max_examples=60, deadline=None)
@given(shared_bills())
def test_a_shared_bill_of_rising_blocks_is_solved_exactly(case):
    """Brute force over every choice, the bill of each account worked out anew."""
    programme, budget = case
    n, k = programme.value.shape
    best = -np.inf
    for chosen in product(range(-1, k), repeat=n):
        at = [(i, j) for i, j in enumerate(chosen) if j >= 0]
        if sum(programme.cost[cell] for cell in at) > budget:
            continue
        saved = np.zeros_like(programme.tariff.before_m3)
        for i, j in at:
            saved[programme.tariff.account[i]] += programme.tariff.saved_m3[i, j]
        fall = shared_bill(programme.tariff, np.zeros_like(saved)) - shared_bill(
            programme.tariff, saved
        )
        best = max(best, fall + sum(programme.value[cell] for cell in at))
    pick = Chooser(programme).pick(budget, 0.0)
    assert pick.value == pytest.approx(best, abs=1e-6)
    assert pick.bound >= best - 1e-6


def test_money_with_tiers_adds_up_to_the_bill():
    """What the programme thought the choice is worth is its net present value with every site's
    bill worked out."""
    tiers = {"price": "4 USD/HCF", "tiers": [{"above": "40 HCF", "price": "40 USD/HCF"}]}
    ground = parks(6_000, 5_000, 4_000, 7_000, site=["A", "A", "A", "B"], area=list("1234"))
    rules = water_rules(
        offer=["planting", "irrigation"], objective="money", price=tiers, budget="60000 USD"
    )
    found = water.compare(ground, None, rules, "USD").summary["chosen"]
    assert found["areas"] > 0
    assert found["value"] == pytest.approx(found["npv"])
    assert found["gap"] <= 1e-4


@pytest.mark.parametrize("alike", [True, False])
def test_a_large_choice_is_proved(alike):
    """400 areas, 4 conversions, every lawn alike or each its own: proved within 0.01 %, within the
    budget, and above its rounding by hand (best value per cost first)."""
    rng = np.random.default_rng(7)
    area = rng.lognormal(7, 1, 400)
    value = area[:, None] * np.array([1.0, 0.75, 0.15, 0.6])
    cost = area[:, None] * np.array([10.0, 5.5, 0.9, 4.0])
    if not alike:
        value, cost = (
            value * rng.uniform(0.6, 1.3, value.shape),
            cost * rng.uniform(0.8, 1.3, cost.shape),
        )
    programme = Knapsack(value, cost.round(2), np.ones(value.shape, bool), np.zeros(400, bool))
    budget = cost.sum() / 40
    pick = Chooser(programme).pick(budget, 1e-4)
    assert 0 <= pick.gap <= 1e-4
    assert pick.cost <= budget
    assert pick.value >= greedy(programme, budget) - 1e-6


def greedy(programme, budget):
    order = np.argsort(-(programme.value / programme.cost).ravel(), kind="stable")
    taken, value = set(), 0.0
    for cell in order:
        i, j = divmod(int(cell), programme.value.shape[1])
        if i not in taken and programme.cost[i, j] <= budget:
            taken.add(i)
            budget -= programme.cost[i, j]
            value += programme.value[i, j]
    return value


def test_the_same_question_has_the_same_answer():
    ground, rules = parks(*range(1_000, 9_000, 1_300)), water_rules(budget="90000 USD")
    one, other = (water.compare(ground, turf_price(ground), rules, "USD").table for _ in range(2))
    assert one.equals(other)


def test_a_choice_by_hand():
    """Two lawns of 1,000 and 2,000 ft2; planting saves in proportion to area and costs 5.50
    USD/ft2: for 11,000 USD the large one, for 5,500 the small one, for twice that the large one
    instead."""
    ground = parks(1_000, 2_000)

    def chosen(budget):
        rules = water_rules(offer=["planting"], budget=f"{budget} USD")
        table = water.compare(ground, None, rules, "USD").table
        return list(table.loc[table["chosen"], "site"])

    assert chosen(11_000) == ["Park 1"]
    assert chosen(5_500) == ["Park 0"]
    assert chosen(5_499) == []
    assert chosen(16_500) == ["Park 0", "Park 1"]


@pytest.mark.parametrize("budget", [2_000, 9_000, 23_456, 40_000, 61_000])
def test_the_stage_chooses_the_best_of_all_subsets(budget):
    """Brute force over the stage's own table: five lawns of two kinds, three conversions each, 4^5
    choices."""
    covers = [
        "cool_season_lawn",
        "warm_season_lawn",
        "cool_season_lawn",
        "warm_season_lawn",
        "cool_season_lawn",
    ]
    ground = parks(800, 1_300, 1_700, 2_100, 2_900, cover=covers)
    rules = water_rules(budget=f"{budget} USD", gap="0 %")
    table = water.compare(ground, turf_price(ground, 7.0), rules, "USD").table
    options = [
        [(0.0, 0.0), *zip(part["saved_m3"], part["capital"], strict=True)]
        for _, part in table.groupby("area_index")
    ]
    best = max(
        sum(saved for saved, _ in pick)
        for pick in product(*options)
        if sum(cost for _, cost in pick) <= budget
    )
    chosen = table[table["chosen"]]
    assert chosen["saved_m3"].sum() == pytest.approx(best)
    assert chosen["capital"].sum() <= budget
    assert chosen["area_index"].is_unique


def test_more_money_never_saves_less():
    ground = parks(*range(500, 12_000, 900))
    curve = water.compare(
        ground, turf_price(ground), water_rules(curve_points=15, budget="50000 USD"), "USD"
    ).curve
    assert len(curve) == 15
    assert (curve["saved_m3"].diff().dropna() >= -1e-9).all()
    assert (curve["spent"] <= curve["budget"] + 1e-6).all()
    assert (curve["gap"] <= 1e-3).all()
    assert curve["saved_m3"].iloc[0] == 0


def test_twice_the_budget_keeps_what_was_chosen_among_equals():
    """Ten lawns alike but in size: whatever doubling adds, nothing has to leave."""
    ground = parks(*range(1_000, 2_000, 100))
    summary = water.compare(
        ground, None, water_rules(offer=["planting"], budget="20000 USD"), "USD"
    ).summary
    assert summary["doubled"]["leaves"] == []
    assert summary["doubled"]["budget"] == 40_000
    assert summary["doubled"]["saved_m3"] > 1.9 * summary["chosen"]["saved_m3"]


def test_a_district_gets_its_minimum():
    """The dry district's lawns take less water and would not be chosen; the minimum asks for
    one."""
    ground = parks(
        2_000,
        2_000,
        2_000,
        district=["Wet", "Wet", "Dry"],
        cover=["cool_season_lawn"] * 2 + ["warm_season_lawn"],
    )
    common = {"offer": ["planting"], "budget": "22000 USD"}
    free = water.compare(ground, None, water_rules(**common), "USD").table
    bound = water.compare(
        ground, None, water_rules(**common, districts={"Dry": {"areas": 1}}), "USD"
    ).table
    assert list(free.loc[free["chosen"], "district"]) == ["Wet", "Wet"]
    assert sorted(bound.loc[bound["chosen"], "district"]) == ["Dry", "Wet"]
    assert (
        "minimum of the bid"
        in bound.loc[bound["chosen"] & (bound["district"] == "Dry"), "why"].item()
    )


def test_must_and_must_not():
    ground = parks(1_000, 1_000, 5_000)
    rules = water_rules(
        offer=["planting", "irrigation"],
        budget="20000 USD",
        must=[{"site": "Park 0", "conversion": "irrigation"}],
        must_not=[{"site": "Park 1"}],
    )
    table = water.compare(ground, None, rules, "USD").table
    chosen = table[table["chosen"]].set_index("site")["conversion"]
    assert chosen["Park 0"] == "irrigation"
    assert "Park 1" not in chosen


def test_tables_that_may_not_be_written_to_will_do():
    """pandas 3 gives out arrays that are read-only; so does pandas 2 with its copy on write."""
    must = [{"site": "Park 0", "area": "lawn", "conversion": "irrigation"}]
    rules = water_rules(offer=["planting", "irrigation"], must=must, every_district={"areas": 1})
    with pd.option_context("mode.copy_on_write", True):
        table = water.compare(parks(1_000, 2_000, district="North"), None, rules, "USD").table
    assert table.loc[table["chosen"], "conversion"].iloc[0] == "irrigation"


def test_synthetic_turf_keeps_to_its_share():
    ground = parks(1_000, 1_000, 1_000, 1_000)
    rules = water_rules(offer=["turf", "irrigation"], turf_share="50 %")
    table = water.compare(ground, turf_price(ground), rules, "USD").table
    assert (table.loc[table["chosen"], "conversion"] == "turf").sum() == 2
    assert table["chosen"].sum() == 4


def test_the_money_objective_leaves_what_does_not_pay():
    """At 5 USD/HCF planting for 5.50 USD/ft2 does not pay in 20 years; at 60 USD/HCF it does."""
    ground = parks(1_000)

    def chosen(price):
        rules = water_rules(offer=["planting"], objective="money", price={"price": price})
        return bool(water.compare(ground, None, rules, "USD").table["chosen"].any())

    assert not chosen("5.00 USD/HCF")
    assert chosen("60.00 USD/HCF")


@pytest.mark.parametrize(
    ("given_rules", "said"),
    [
        (
            {"budget": "100 USD", "must": [{"site": "Park 1"}]},
            r"no choice meets a budget of 100\.00 USD: .* at least 1,800\.00 USD",
        ),
        (
            {"budget": "100 USD", "every_district": {"areas": 1}},
            r"no choice meets a budget .* at least 2,700\.00 USD",
        ),
        (
            {"districts": {"North": {"areas": 5}}},
            r"district 'North' is to get at least 5 areas converted; only 1",
        ),
        (
            {"districts": {"Nord": {"areas": 1}}},
            r"no area is in district 'Nord'; did you mean 'North'\?",
        ),
        (
            {"must": [{"site": "Parc 1"}]},
            r"no compared area has site 'Parc 1'; did you mean 'Park 1'\?",
        ),
        (
            {"must_not": [{"site": "Park 1", "area": "lawm"}]},
            r"has no compared area 'lawm'; did you mean 'lawn'\?",
        ),
        (
            {"must": [{"site": "Park 0"}], "must_not": [{"site": "Park 0"}]},
            r"site Park 0, area lawn: must convert, which is not offered",
        ),
    ],
)
def test_what_cannot_be_met_is_one_line(given_rules, said):
    ground = parks(1_000, 2_000, district=["North", "South"])
    with pytest.raises(BidError, match=said) as refusal:
        water.compare(ground, None, water_rules(offer=["irrigation"], **given_rules), "USD")
    assert len(str(refusal.value).splitlines()) == 1


def test_a_conversion_unknown_to_an_area_is_one_line():
    ground = parks(1_000, 2_000, use=["", "play"])
    rules = water_rules(offer=["planting"], must=[{"site": "Park 1", "conversion": "planting"}])
    with pytest.raises(
        BidError, match="site Park 1, area lawn: must become 'planting', which is not offered to it"
    ):
        water.compare(ground, None, rules, "USD")


def test_constraints_that_contradict_are_told():
    ground = parks(1_000, 1_000, district="North")
    rules = water_rules(
        conversions={"turf": {"capital": "9 USD/ft^2"}},
        offer=["turf"],
        turf_share="50 %",
        districts={"North": {"areas": 2}},
    )
    with pytest.raises(
        BidError, match="no choice meets all that is asked for, whatever the budget"
    ):
        water.compare(ground, None, rules, "USD")


@settings(max_examples=60, deadline=None)
@given(programmes(), st.floats(0, 60))
def test_the_price_of_budget_is_where_the_best_options_cost_it(programme, budget):
    """Every area's best option at every price, one area after another: just below the price they
    cost more than the budget together, at it no more."""
    wanted, _ = programme
    chooser = Chooser(replace(wanted, required=np.zeros(len(wanted.required), bool), sides=()))
    options = chooser.options
    if not len(options.area):
        return
    dear, cheap, price = chooser.relaxation.split(budget)

    def cost(taken):
        return options.cost[taken[taken >= 0]].sum()

    def best_worth(at, area):
        own = options.area == area
        return max(0.0, (options.value[own] - at * options.cost[own]).max())

    assert cost(cheap) <= budget + 1e-9
    assert (price == 0) == (cost(dear) <= budget)
    for area, taken in zip(chooser.relaxation.rows, cheap, strict=True):
        worth = options.value[taken] - price * options.cost[taken] if taken >= 0 else 0.0
        assert worth == pytest.approx(best_worth(price, area), abs=1e-9)
