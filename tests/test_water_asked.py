"""Rules of the choice: a saving at least cost, districts' money, funds, areas by column; each
against every choice tried one by one, over the stage's own table."""

from datetime import date
from itertools import product

import numpy as np
import pytest
from water_cases import parks, water_rules

from geoturf import water
from geoturf.bid import make_bid
from geoturf.errors import BidError
from geoturf.model import KEPT
from geoturf.units import GALLON_M3

SIX = (800, 1_300, 1_700, 2_100, 2_900, 1_100)
COVERS = ["cool_season_lawn", "warm_season_lawn"] * 3
WARDS = ["North", "North", "North", "South", "South", "East"]
REBATE = {"amount": "1.50 USD/ft^2", "date": "2026-01-31", "terms": "invented"}
OFFER = {"offer": ["planting", "irrigation"], "gap": "0 %"}


def six():
    return parks(*SIX, cover=COVERS, district=WARDS)


def compare(ground=None, **rules):
    ground = six() if ground is None else ground
    return water.compare(ground, None, water_rules(**(OFFER | rules)), "USD")


def rows_of(pick):
    return [row for row in pick if row is not None]


def every_choice(table):
    """All choices of at most one conversion an area, as lists of the table's rows."""
    options = [
        [None, *(row for _, row in part.iterrows())] for _, part in table.groupby("area_index")
    ]
    return [rows_of(pick) for pick in product(*options)]


def total(pick, column):
    return sum(row[column] for row in pick)


def taken(table):
    return [row for _, row in table[table["chosen"]].iterrows()]


def spent_in(pick, ward):
    return sum(row["capital"] for row in pick if row["district"] == ward)


@pytest.mark.parametrize("gallons", [1_000, 40_000, 90_000, 140_000])
def test_a_saving_is_reached_at_least_cost(gallons):
    """Brute force: 3^6 choices, capital less rebate."""
    rebated = {"conversions": {"planting": {"rebate": REBATE}}}
    asked = {"objective": "cost", "saving": f"{gallons} gal"}
    found = compare(**asked, **rebated)
    wanted = gallons * GALLON_M3

    def net(pick):
        return total(pick, "capital") - total(pick, "rebate")

    least = min(net(p) for p in every_choice(found.table) if total(p, "saved_m3") >= wanted)
    chosen = taken(found.table)
    assert net(chosen) == pytest.approx(least, abs=0.01)
    assert total(chosen, "saved_m3") >= wanted * (1 - 1e-9)
    assert -found.summary["chosen"]["value"] == pytest.approx(least, abs=0.01)
    assert found.summary["chosen"]["gap"] <= 1e-6


def test_the_curve_beside_least_cost_is_of_most_water():
    """As the same bid that asks for water draws it."""
    cost = compare(objective="cost", saving="40000 gal").curve
    most = compare().curve
    assert cost.equals(most)


def test_a_saving_may_go_with_net_present_value():
    """The best net present value among choices that save enough, by brute
    force."""
    rules = {"objective": "money", "price": {"price": "8 USD/HCF"}}
    free, asked = compare(**rules), compare(**rules, saving="150000 gal")
    wanted = 150_000 * GALLON_M3
    assert total(taken(free.table), "saved_m3") < wanted
    enough = [p for p in every_choice(asked.table) if total(p, "saved_m3") >= wanted]
    best = max(total(p, "npv") for p in enough)
    assert total(taken(asked.table), "npv") == pytest.approx(best)


def test_a_saving_out_of_reach_says_what_can_be_had():
    most = sum(part["saved_m3"].max() for _, part in compare().table.groupby("area_index"))
    with pytest.raises(BidError, match=f"all that is on offer saves {most / GALLON_M3:,.0f} gal"):
        compare(saving="900000 gal")


def test_least_cost_needs_a_saving():
    with pytest.raises(BidError, match="needs saving"):
        water_rules(objective="cost")


DISTRICTS = {
    "a budget": (
        {"districts": {"North": {"budget": "3000 USD"}}},
        lambda p: spent_in(p, "North") <= 3_000,
    ),
    "least share": (
        {"districts": {"East": {"least_share": "30 %"}}},
        lambda p: spent_in(p, "East") >= 0.3 * total(p, "capital") - 0.005,
    ),
    "most share": (
        {"districts": {"South": {"most_share": "25 %"}}},
        lambda p: spent_in(p, "South") <= 0.25 * total(p, "capital") + 0.005,
    ),
    "one in each": (
        {"every_district": {"areas": 1}},
        lambda p: {row["district"] for row in p} == set(WARDS),
    ),
}


@pytest.mark.parametrize("rule", DISTRICTS)
@pytest.mark.parametrize("budget", [9_000, 21_000])
def test_districts_money_is_kept_to(rule, budget):
    """Brute force; and the rule changes the choice of at least one of the budgets tried."""
    asked, keeps = DISTRICTS[rule]
    found = compare(budget=f"{budget} USD", **asked)
    fits = [p for p in every_choice(found.table) if total(p, "capital") <= budget and keeps(p)]
    chosen = taken(found.table)
    assert keeps(chosen)
    best = max(total(p, "saved_m3") for p in fits)
    assert total(chosen, "saved_m3") == pytest.approx(best)


def test_rules_of_districts_bind():
    """Each rule above is broken by the choice without it, for one of the budgets."""
    free = [taken(compare(budget=f"{budget} USD").table) for budget in (9_000, 21_000)]
    for asked, keeps in DISTRICTS.values():
        assert not all(keeps(pick) for pick in free), asked


FUNDS = {
    "meters": {"amount": "3000 USD", "conversions": ["irrigation"]},
    "north": {"amount": "5000 USD", "districts": ["North"]},
    "any": {"amount": "4000 USD", "districts": ["North", "South"], "conversions": ["planting"]},
}
PAYS = {
    "meters": lambda row: row["conversion"] == "irrigation",
    "north": lambda row: row["district"] == "North",
    "any": lambda row: row["district"] != "East" and row["conversion"] == "planting",
}


def can_pay(pick, funds=FUNDS):
    """Whether the funds can pay for a choice: by pouring each item's cost into the funds in every
    order of items and of funds, which a way to pay, if there is one, must survive (Ford and
    Fulkerson's augmenting paths, by hand)."""
    left = {name: float(fund["amount"].split()[0]) for name, fund in funds.items()}
    flow = [dict.fromkeys(funds, 0.0) for _ in pick]

    def pour(i, due, seen):
        """Pays up to ``due`` of item i, by way of moving what other items took."""
        done = 0.0
        for name in funds:
            if not PAYS[name](pick[i]) or name in seen or due - done < 1e-9:
                continue
            part = min(left[name], due - done)
            left[name] -= part
            flow[i][name] += part
            done += part
            for other in range(len(pick)):
                short = due - done
                held = flow[other][name]
                if short < 1e-9 or other == i or held < 1e-9:
                    continue
                moved = pour(other, min(short, held), seen | {name})
                flow[other][name] -= moved
                flow[i][name] += moved
                done += moved
        return done

    return all(
        abs(pour(i, row["capital"], frozenset()) - row["capital"]) < 1e-6
        for i, row in enumerate(pick)
    )


def test_funds_pay_only_for_what_they_may():
    """Brute force over all choices that the funds can pay for, by augmenting paths; the sum of the
    funds alone would allow more."""
    found = compare(funds=FUNDS)
    chosen = taken(found.table)
    assert can_pay(chosen)
    best = max(total(p, "saved_m3") for p in every_choice(found.table) if can_pay(p))
    assert total(chosen, "saved_m3") == pytest.approx(best)
    one_purse = compare(budget="12000 USD")
    assert total(taken(one_purse.table), "saved_m3") > best * 1.001


def test_what_each_fund_pays_adds_up():
    found = compare(funds=FUNDS)
    paid = {row["fund"]: row for row in found.summary["funds"]}
    assert list(paid) == list(FUNDS)
    spent = sum(row["spent"] for row in paid.values())
    assert spent == pytest.approx(found.summary["chosen"]["capital"], abs=0.02)
    for row in paid.values():
        assert 0 <= row["spent"] <= row["amount"] + 0.01
    chosen = taken(found.table)
    for name, pays in PAYS.items():
        assert paid[name]["spent"] <= sum(row["capital"] for row in chosen if pays(row)) + 0.01
    assert found.summary["budget"] == 12_000
    assert found.summary["doubled"] is None


def test_one_fund_for_all_is_a_budget():
    fund, budget = compare(funds={"all": {"amount": "9000 USD"}}), compare(budget="9000 USD")
    assert fund.table.equals(budget.table)


def test_areas_are_named_by_a_column():
    """The same as naming each."""
    by_column = compare(
        budget="15000 USD",
        must=[{"column": "feature", "values": ["3"], "conversion": "irrigation"}],
        must_not=[{"column": "district", "values": ["North", "East"]}],
    )
    by_name = compare(
        budget="15000 USD",
        must=[{"site": "Park 3", "conversion": "irrigation"}],
        must_not=[{"site": f"Park {k}"} for k in (0, 1, 2, 5)],
    )
    assert by_column.table.equals(by_name.table)
    keeps = parks(*SIX, cover=COVERS, district=WARDS, **{KEPT + "RANK": list("112334")})
    kept = compare(keeps, must_not=[{"column": "RANK", "values": ["1", "4"]}]).table
    assert set(kept.query("chosen")["site"]) == {"Park 2", "Park 3", "Park 4"}
    assert set(by_column.table.query("chosen")["district"]) == {"South"}


@pytest.mark.parametrize(
    ("rules", "said"),
    [
        ({"districts": {"North": {"budget": "1 USD"}}}, "district 'East' has no budget"),
        ({"districts": {"Nort": {"budget": "1 USD"}}}, "did you mean|North"),
        ({"districts": {"North": {"budget": "1 EUR"}}, "budget": "9 USD"}, "give it in USD"),
        ({"districts": {"North": {"budget": "1 USD/ft^2"}}}, "no sum of money"),
        ({"districts": {"North": {"least_share": "60 %", "most_share": "50 %"}}}, "shares are"),
        ({"funds": {"a": {"amount": "1 USD", "districts": ["Nort"]}}}, "funds.a: no area is in"),
        ({"funds": {"a": {"amount": "1 USD", "conversions": ["lawn"]}}}, "funds.a: conversion"),
        ({"must": [{"column": "district", "values": ["Nort"]}]}, "no compared area has district"),
        ({"must": [{"column": "RANK", "values": ["1"]}]}, "no area has a column 'RANK'"),
        ({"must": [{"column": "district"}]}, "column goes with values"),
        ({"must": [{"conversion": "planting"}]}, "by site or by column"),
        (
            {
                "funds": {"a": {"amount": "9000 USD", "districts": ["South"]}},
                "must": [{"site": "Park 0"}],
            },
            "by a fund",
        ),
        (
            {"funds": {"a": {"amount": "9 USD"}}, "must": [{"site": "Park 0"}]},
            "what a alone may pay for",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(rules, said):
    with pytest.raises(BidError, match=said) as refused:
        compare(**rules)
    assert len(str(refused.value).strip().splitlines()) == 1


def test_areas_without_a_district_need_a_budget_where_districts_have_theirs():
    ground = parks(1_000, 1_000, district=["North", ""])
    with pytest.raises(BidError, match="1 areas have none"):
        compare(ground, districts={"North": {"budget": "9000 USD"}})
    found = compare(ground, districts={"North": {"budget": "9000 USD"}}, budget="20000 USD")
    assert np.count_nonzero(found.table["chosen"]) == 2


CAPS = {
    "a site": {"most_per_site": "2500 USD"},
    "all": {"most_in_all": "4000 USD"},
    "both": {"most_per_site": "2600 USD", "most_in_all": "4300 USD"},
}


def rebate_of(pick, each=np.inf, every=np.inf):
    """What a program pays, site by site, by hand."""
    sites = {row["site"] for row in pick}
    of_site = (sum(row["rebate"] for row in pick if row["site"] == site) for site in sites)
    return min(sum(min(paid, each) for paid in of_site), every)


@pytest.mark.parametrize("cap", CAPS)
@pytest.mark.parametrize("objective", ["money", "cost"])
@pytest.mark.parametrize("tiers", [[], [{"above": "5 HCF", "price": "11 USD/HCF"}]])
def test_caps_of_a_rebate_are_weighed_exactly(cap, objective, tiers):
    """Brute force: 3^6 choices on three sites, of each the rebates by hand; net present value is
    that of the whole choice, bills and all."""
    ground = parks(*SIX, cover=COVERS, site=["A", "A", "B", "B", "B", "C"], area=list("123456"))
    rules = water_rules(
        **OFFER,
        objective=objective,
        saving="60000 gal",
        price={"price": "7 USD/HCF", "tiers": tiers},
        conversions={"planting": {"rebate": REBATE | CAPS[cap]}},
    )
    found = water.compare(ground, None, rules, "USD")
    limits = [
        float(CAPS[cap].get(word, "inf").split()[0]) for word in ("most_per_site", "most_in_all")
    ]
    wanted = 60_000 * GALLON_M3
    enough = [p for p in every_choice(found.table) if total(p, "saved_m3") >= wanted]
    chosen = found.summary["chosen"]
    assert chosen["rebate"] == pytest.approx(rebate_of(taken(found.table), *limits), abs=0.01)
    if objective == "cost":
        least = min(total(p, "capital") - rebate_of(p, *limits) for p in enough)
        assert chosen["capital"] - chosen["rebate"] == pytest.approx(least, abs=0.01)
    else:
        assert chosen["value"] == pytest.approx(chosen["npv"])
        if not tiers:
            best = max(total(p, "npv") - total(p, "rebate") + rebate_of(p, *limits) for p in enough)
            assert chosen["npv"] == pytest.approx(best)
    paid = sum(part["rebate"] for part in found.summary["conversions"])
    assert paid == pytest.approx(chosen["rebate"], abs=0.01)


def dated(day, deadline):
    terms = {} if day is None else {"terms": {"date": day}}
    rebate = REBATE | {"deadline": deadline}
    conversions = {"planting": {"rebate": rebate}}
    table = {"climate": {"eto": "4 in"}, "offer": ["planting"], "conversions": conversions}
    return make_bid({"layers": [{"path": "x"}], "water": table} | terms, file="x.toml")


def test_a_deadline_is_held_against_the_bids_own_date():
    assert dated("2026-03-02", "2026-03-02").water.conversions["planting"].rebate.deadline
    with pytest.raises(BidError, match="2026-03-01, is before 2026-03-02, the date of the bid"):
        dated("2026-03-02", "2026-03-01")
    with pytest.raises(BidError, match=r"state terms\.date"):
        dated(None, "2026-03-01")


def test_a_shared_cap_needs_a_budget_of_capital():
    with pytest.raises(BidError, match='budget_takes = "capital" only'):
        compare(
            conversions={"planting": {"rebate": REBATE | CAPS["all"]}},
            budget_takes="capital less rebate",
        )


# -- a programme over years ------------------------------------------------------------------------

FIVE = {"offer": ["planting"], "gap": "0 %", "horizon": 12, "discount_rate": "4 %"}
FEW = (800, 1_300, 1_700, 2_100, 2_900)


def programme_of(objective, carry_over, **more):
    budgets = ["9000 USD", "7000 USD", "8000 USD"]
    over = {"budgets": budgets, "carry_over": carry_over, "price_rise": "5 %"}
    ground = parks(*FEW, cover=COVERS[:5], district=WARDS[:5])
    price = {"price": "16 USD/HCF", "escalation": "2 %"}
    rules = FIVE | {"objective": objective, "programme": over, "price": price} | more
    return water.compare(ground, None, water_rules(**rules), "USD")


def present_worth(row, year):
    """Money of now of one conversion done in a year (0: this one), each later year by hand."""
    horizon, rate, rise = 12, 0.04, 0.03
    total_now = -round(row["capital"] * 1.05**year, 2) / (1 + rate) ** year
    for later in range(year + 1, horizon + 1):
        bill = row["bill_saved"] * 1.02**later
        upkeep = row["upkeep_saved"] * (1 + rise) ** later
        total_now += (bill + upkeep) / (1 + rate) ** later
    return total_now


@pytest.mark.parametrize("objective", ["water", "money"])
@pytest.mark.parametrize("carry_over", [True, False])
def test_a_programme_is_the_best_of_all(objective, carry_over):
    """Brute force: each of five areas in one of three years or never, 4^5 choices, costs and worth
    year by year by hand."""
    young = {"planting": {"establishing_years": 0}}
    found = programme_of(objective, carry_over, conversions=young)
    rows = [row for _, row in found.table.iterrows()]
    budgets = [9_000.0, 7_000.0, 8_000.0]

    def worth(plan):
        done = [(row, year) for row, year in zip(rows, plan, strict=True) if year is not None]
        if objective == "water":
            return sum(row["saved_m3"] * (12 - year) / 12 for row, year in done)
        return sum(present_worth(row, year) for row, year in done)

    def fits(plan):
        carried = 0.0
        for year, budget in enumerate(budgets):
            cost = sum(
                round(row["capital"] * 1.05**year, 2)
                for row, when in zip(rows, plan, strict=True)
                if when == year
            )
            left = budget + carried - cost
            if left < -1e-9:
                return False
            carried = left if carry_over else 0.0
        return True

    best = max(worth(plan) for plan in product([None, 0, 1, 2], repeat=5) if fits(plan))
    assert found.summary["chosen"]["value"] == pytest.approx(best, rel=1e-6)
    told = found.summary["programme"]
    by_name = {(row["site"], row["area"]): k for k, row in enumerate(rows)}
    plan = [None] * 5
    for year, one in enumerate(told["years"]):
        for area in one["areas"]:
            plan[by_name[area["site"], area["area"]]] = year
    assert fits(plan)
    assert worth(plan) == pytest.approx(best, rel=1e-6)
    done = [k for k, year in enumerate(plan) if year is not None]
    assert told["npv"] == pytest.approx(
        sum(present_worth(rows[k], plan[k]) for k in done), rel=1e-6
    )
    assert told["years"][-1]["saved_so_far_m3"] == pytest.approx(
        found.summary["chosen"]["saved_m3"]
    )
    spent = sum(one["spent"] for one in told["years"])
    assert spent == pytest.approx(found.summary["chosen"]["spent"])


def test_one_year_is_a_budget():
    ground = parks(*FEW)
    year = water.compare(
        ground, None, water_rules(**FIVE, programme={"budgets": ["9000 USD"]}), "USD"
    )
    budget = water.compare(ground, None, water_rules(**FIVE, budget="9000 USD"), "USD")
    assert year.table.equals(budget.table)


def test_a_rebate_with_a_deadline_is_counted_on_this_year_only():
    """Nothing is to be had this year; next year's budget, net of rebates, must do without one."""
    over = {"budgets": ["0 USD", "4620 USD"], "price_rise": "5 %"}
    common = {"programme": over, "budget_takes": "capital less rebate"}
    ground = parks(800, 1_000)  # 4,620 USD are 5.50 USD/ft2 risen by 5 % on 800 ft2
    later = date(2026, 12, 31)
    rebated = water_rules(**FIVE, **common | {"conversions": {"planting": {"rebate": REBATE}}})
    planting = rebated.conversions["planting"]
    dated_rebate = planting.rebate.model_copy(update={"deadline": later})
    one = planting.model_copy(update={"rebate": dated_rebate})
    rules = rebated.model_copy(update={"conversions": rebated.conversions | {"planting": one}})
    found = water.compare(ground, None, rules, "USD")
    assert [row["spent"] for row in found.summary["programme"]["years"]] == [0, 4_620]
    always = water.compare(ground, None, rebated, "USD").summary["programme"]["years"]
    assert always[1]["spent"] == pytest.approx(5_500 * 1.05 - 1_500)  # the larger, rebate and all


@pytest.mark.parametrize(
    ("rules", "said"),
    [
        ({"budget": "9 USD"}, "do not go with budget"),
        ({"funds": {"a": {"amount": "9 USD"}}}, "do not go with funds"),
        ({"objective": "cost", "saving": "9 gal"}, "do not go with objective"),
        ({"programme": {"budgets": []}}, "1 to 10 years"),
        ({"programme": {"budgets": ["1 USD/ft^2"]}}, "budget of year 1: .* no sum of money"),
    ],
)
def test_what_a_programme_does_not_weigh_is_refused(rules, said):
    with pytest.raises(BidError, match=said):
        water_rules(**({"programme": {"budgets": ["9 USD"] * 2}} | rules))
