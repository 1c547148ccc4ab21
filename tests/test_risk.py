"""How sure a price is: one draw beside a true run, draws beside closed forms and scipy's triangular
distribution, contingency by pricing again, bad input."""

from dataclasses import replace
from decimal import Decimal as D

import numpy as np
import openpyxl
import pandas as pd
import pytest
from invented_lots import LOTS, PRODUCTS, edges, ground, plan
from scipy import stats

import geoturf
from geoturf import front, materials, tables, workbook
from geoturf.bid import make_bid
from geoturf.errors import BidError
from geoturf.price import price
from geoturf.risk import spread
from geoturf.risk.figures import Figure, draws, figures, triangular
from geoturf.risk.repriced import Repriced, Terms
from geoturf.rules.ranges import own_values
from geoturf.units import read_money

LAND = ground(LOTS)
RANGES = {
    "costs": {"infill": ["10 USD/bag", "15 USD/bag"], "labour": ["140 USD/h", "170 USD/h"]},
    "rates": {"dig": ["3 yd^3/h", "9 yd^3/h"], "setup": ["1 h", "4 h"]},
    "allowances": {"infill": ["0 %", "9 %"], "turf": ["0 %", "3 %"]},
    "build_up": {"waste": ["0 %", "5 %"], "sales_tax": ["6 %", "9 %"]},
}
#: what a draw may give, as a bid writes it
OTHERWISE = {
    "costs.infill": 13.21,
    "costs.labour": 161.37,
    "allowances.infill": 0.071,
    "build_up.waste": 0.0325,
    "build_up.sales_tax": 0.0875,
}
CHANGED = {
    "price": {
        "costs": {"infill": "13.21 USD/bag", "labour": "161.37 USD/h"},
        "waste": "3.25 %",
        "sales_tax": "8.75 %",
    },
    "materials": {
        "rates": {"dig": "4.1 yd^3/h", "setup": "3.3 h"},
        "infill_allowance": "7.1 %",
    },
}
PLAIN = {}
FULL = {
    "price": {
        "tax_on_plant": True,
        "minimum": "9000 USD",
        "bond_scale": [{"up_to": "5000 USD", "rate": "2.5 %"}],
        "escalation": {
            "rate": "5 %",
            "prices_of": "2026-01-01",
            "starts": {str(LAND.areas["phase"].iloc[0]): "2026-07-01"},
        },
        "extras": [
            {"title": "Foreman", "price": "410 USD/day"},
            {"title": "Tools", "price": "3.15 USD/h"},
            {"title": "Permit", "price": "1200 USD"},
        ],
    },
    "materials": {"pool": "site"},
}


def merged(one, other):
    both = {key: other.get(key, value) for key, value in one.items()} | other
    nested = {k: merged(one[k], other[k]) for k in one.keys() & other if isinstance(one[k], dict)}
    return both | nested


def run(content, ranges=RANGES, laid=None, products=PRODUCTS):
    """The bid, its takeoff and its price."""
    bid = make_bid({"layers": [{"path": "lots.shp"}]} | content | {"ranges": ranges})
    bid = bid.model_copy(update={"products": products})
    laid = laid or plan(LAND)
    takeoff = materials.takeoff(LAND, edges(LAND), laid, products, bid.materials, bid.edges)
    return bid, takeoff, price(LAND, laid, takeoff, products, bid.price, "USD")


def terms(bid):
    return {"": Terms(bid.price, bid.materials, frozenset())}


def repriced(content):
    bid, takeoff, money = run(content)
    ranged = figures(bid.ranges, own_values(bid))
    return (
        {one.name: one for one in ranged},
        Repriced(LAND.areas, takeoff, money, bid.materials, ranged, terms(bid), bid.products),
        money,
    )


def sure(content=PLAIN, ranges=RANGES):
    bid, takeoff, money = run(content, ranges)
    own = own_values(bid)
    made = (LAND, takeoff, money, bid.materials, bid.ranges, own, terms(bid), bid.products)
    return spread(*made), money


# ------------------------------------------------------------------------ a draw is a true run


@pytest.mark.parametrize("content", [PLAIN, FULL], ids=["plain", "full"])
def test_the_bids_own_figures_give_its_price(content):
    ranged, anew, money = repriced(content)
    cost, asked = anew.priced({name: np.array([one.own]) for name, one in ranged.items()})
    assert D(f"{asked[0]:.2f}") == money.totals["price"]
    assert D(f"{cost[0]:.2f}") == money.totals["cost"] - money.totals["contingency"]


@pytest.mark.parametrize("content", [PLAIN, FULL], ids=["plain", "full"])
def test_a_draw_gives_what_a_run_with_its_figures_gives(content):
    _, anew, before = repriced(content)
    there, _, _ = run(merged(content, CHANGED), {})
    rates = own_values(there)["rates"]
    drawn = OTHERWISE | {f"rates.{key}": rates[key] for key in ("dig", "setup")}
    _, asked = anew.priced({name: np.array([value]) for name, value in drawn.items()})
    _, _, true = run(merged(content, CHANGED), {})
    assert true.totals["price"] != before.totals["price"]
    assert D(f"{asked[0]:.2f}") == true.totals["price"]


#: terms of orders, some of which a draw passes
ORDERED = {
    "price": {
        "breaks": {
            "infill": [
                {"at_least": 40, "price": "11 USD/bag"},
                {"at_least": 133, "price": "10.20 USD/bag"},
            ]
        },
        "least": {"haul": "1900 USD", "labour": "19000 USD"},
        "hire": {"excavator": "900 USD/week", "broom": "250 USD/week"},
    }
}


def test_a_draw_keeps_to_price_breaks_hire_and_least_orders():
    """A draw under which breaks, weeks and what an order falls short by all change."""
    _, anew, before = repriced(ORDERED)
    change = {"price": {"costs": {"labour": "161.37 USD/h"}}}
    change["materials"] = {"rates": {"dig": "3.1 yd^3/h"}, "infill_allowance": "7.1 %"}
    there, _, true = run(merged(ORDERED, change), {})
    dig = own_values(there)["rates"]["dig"]
    drawn = {"costs.labour": 161.37, "rates.dig": dig, "allowances.infill": 0.071}
    _, asked = anew.priced({name: np.array([value]) for name, value in drawn.items()})
    assert D(f"{asked[0]:.2f}") == true.totals["price"]
    for unit in ("week", "lump", "bag"):
        lines = [one.lines[one.lines["unit"] == unit] for one in (before, true)]
        assert not lines[0]["amount"].equals(lines[1]["amount"]), unit


@pytest.mark.parametrize("drawn", ["1.10", "2.31"])
def test_a_draw_keeps_to_the_least_order_of_a_turf(drawn):
    """A price of turf at which the order falls short of its least charge, and one at which it does
    not."""
    name = next(iter(LAND.areas["product"]))
    least = {"least_charge": read_money("9000 USD")}
    own = PRODUCTS[name].model_copy(update=least)
    ranges = {"turf": {name: ["1 USD/ft^2", "3 USD/ft^2"]}}
    bid, takeoff, money = run({}, ranges, products=PRODUCTS | {name: own})
    ranged = figures(bid.ranges, own_values(bid))
    anew = Repriced(LAND.areas, takeoff, money, bid.materials, ranged, terms(bid), bid.products)
    dearer = own.model_copy(update={"price": read_money(f"{drawn} USD/ft^2")})
    _, _, true = run({}, ranges, products=PRODUCTS | {name: dearer})
    _, asked = anew.priced({f"turf.{name}": np.array([float(drawn)])})
    assert D(f"{asked[0]:.2f}") == true.totals["price"] != money.totals["price"]
    short = true.lines[true.lines["description"].str.startswith("Least order")]["amount"]
    assert (short > 0).any() == (drawn == "1.10")


@pytest.mark.parametrize("key", ["seam", "cross_seam"])
def test_a_task_by_two_rates_follows_each(key):
    """Hours to join seams are reckoned by length and by cross seams."""
    one = {"area_index": 0, "kind": "cross", "length_m": 4.5}
    laid = plan(LAND)
    seams = pd.concat([laid.seams, pd.DataFrame([one] * 9)], ignore_index=True)
    crossed = replace(laid, seams=seams)
    value = {"seam": ["20 ft/h", "90 ft/h"], "cross_seam": ["0.1 h", "2 h"]}[key]
    prices = []
    for rates in ({}, {key: value[1]}):
        bid, takeoff, money = run({"materials": {"rates": rates}}, {"rates": {key: value}}, crossed)
        prices.append(money.totals["price"])
        ranged = figures(bid.ranges, own_values(bid))
        made = (LAND.areas, takeoff, money, bid.materials, ranged, terms(bid), bid.products)
        if not rates:
            anew = Repriced(*made)
    drawn = {f"rates.{key}": np.array([own_values(bid)["rates"][key]])}
    assert prices[0] != prices[1]
    assert D(f"{anew.priced(drawn)[1][0]:.2f}") == prices[1]


def test_a_figure_alone_moves_the_price_as_a_run_does():
    made, _ = sure()
    at = made.moves.set_index("figure")
    for end, cost in (("price_low", "140 USD/h"), ("price_high", "170 USD/h")):
        _, _, true = run({"price": {"costs": {"labour": cost}}}, {})
        assert D(f"{at.loc['labour', end]:.2f}") == true.totals["price"]


def test_turf_over_the_plan_is_bought_at_its_price():
    """By hand: 3 % more of turf, with what waste, tax and the build-up put on it."""
    made, money = sure()
    turf = money.lines[money.lines["key"] == "turf"]
    at = made.moves[(made.moves["table"] == "allowances") & (made.moves["figure"] == "turf")]
    steps = {
        name: 1 + rate
        for name, rate in zip(*map(money.build_up.get, ("step", "rate")), strict=True)
    }
    on_it = float(turf["amount"].sum()) * 0.03 * (steps["contingency"] + steps["sales tax"] - 1)
    on_it *= steps["overhead"] * steps["profit"] * steps["bond"]
    more = float(at["price_high"].iloc[0]) - float(money.totals["price"])
    assert more == pytest.approx(on_it, abs=0.1)


# ------------------------------------------------------------------------------------- draws


@pytest.mark.parametrize("likely", [2.0, 3.5, 7.0])
def test_draws_are_triangular(likely):
    """Beside scipy.stats.triang."""
    one = Figure("costs", "infill", 2.0, likely, 7.0, likely, "")
    chance = np.linspace(0, 1, 101)
    known = stats.triang((likely - 2) / 5, loc=2, scale=5)
    assert triangular(one, chance) == pytest.approx(known.ppf(chance))


def test_a_sum_of_triangulars_has_the_mean_and_variance_of_theory():
    """Mean (a + b + c) / 3, variance (a2 + b2 + c2 - ab - ac - bc) / 18, which add up where draws
    are independent (handbooks of probability; from memory). Within 4 standard errors."""
    ranged = [
        Figure("costs", f"item{k}", low, likely, high, likely, "")
        for k, (low, likely, high) in enumerate([(1, 2, 6), (10, 11, 12), (0, 0, 5), (3, 9, 9)])
    ]
    many = 40_000
    total = sum(draws(ranged, many, seed=7).values())
    ends = [(one.low, one.likely, one.high) for one in ranged]
    mean = sum((a + b + c) / 3 for a, b, c in ends)
    variance = sum((a * a + b * b + c * c - a * b - a * c - b * c) / 18 for a, b, c in ends)
    assert total.mean() == pytest.approx(mean, abs=4 * np.sqrt(variance / many))
    assert total.var() == pytest.approx(variance, rel=4 * np.sqrt(2 / many))


def test_the_same_seed_gives_the_same_draws_whatever_else_is_drawn():
    one, other = (Figure("costs", key, 1, 2, 3, 2, "") for key in ("infill", "labour"))
    both = draws([one, other], 500, seed=3)
    assert (both["costs.infill"] == draws([one], 500, seed=3)["costs.infill"]).all()
    assert (both["costs.infill"] != draws([one], 500, seed=4)["costs.infill"]).any()
    assert abs(np.corrcoef(both["costs.infill"], both["costs.labour"])[0, 1]) < 0.2


def test_the_price_of_labour_alone_is_triangular_too():
    """With one range and an exact survey the price is a straight line of the figure (but for
    cents): its percentiles are those of scipy.stats.triang between the prices of a run at either
    end."""
    exact = {"costs": {"labour": ["140 USD/h", "170 USD/h"]}}
    made, money = sure(ranges=exact)
    (row,) = made.moves[made.moves["figure"] == "labour"].itertuples()
    low, high, own = row.price_low, row.price_high, float(money.totals["price"])
    known = stats.triang((own - low) / (high - low), loc=low, scale=high - low)
    at = made.percentiles
    error = 4 * np.sqrt(made.survey**2 * own**2 + (high - low) ** 2 / 10_000)
    assert at["price"].to_numpy() == pytest.approx(known.ppf(at["percentile"]), abs=error)


# ------------------------------------------------------------------------------- what is told


def test_the_contingency_asked_for_carries_that_cost():
    """Priced again with it, the bid's cost is the percentile's."""
    made, _ = sure()
    row = made.percentiles.set_index("percentile").loc[0.9]
    part = f"{100 * row.contingency_part:.8f} %"
    _, _, again = run({"price": {"contingency": part}}, {})
    assert float(again.totals["cost"]) == pytest.approx(row.cost, abs=0.02)


def test_percentiles_rise_and_shares_add_up():
    made, money = sure(ranges=RANGES | {"confidence": "95 %"})
    at = made.percentiles
    assert at["percentile"].tolist() == [0.1, 0.5, 0.8, 0.9, 0.95]
    assert (np.diff(at[["cost", "price"]].to_numpy(), axis=0) > 0).all()
    assert made.moves["share"].sum() == pytest.approx(1)
    assert made.moves["share"].is_monotonic_decreasing
    carried = float(money.totals["cost"])
    low, high = (
        at["percentile"][at["cost"] <= carried].max(),
        at["percentile"][at["cost"] > carried],
    )
    assert (np.isnan(low) or made.covered >= low - 1e-9) and (made.covered <= high + 1e-9).all()


def test_a_bid_without_ranges_says_nothing_of_the_kind():
    assert not make_bid({"layers": [{"path": "lots.shp"}]}).ranges.any_given()


# --------------------------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("ranges", "told"),
    [
        ({"costs": {"infill": ["15 USD/bag", "10 USD/bag"]}}, "infill: give [low, high]"),
        ({"costs": {"infill": ["9 USD/bag", "10 USD/bag"]}}, "11.75 USD/bag, lies outside it"),
        ({"costs": {"infill": ["9 USD/lb", "20 USD/lb"]}}, "is by the lb, but the bid's own"),
        ({"costs": {"infil": ["9 USD/bag", "20 USD/bag"]}}, "the bid has no 'infil'"),
        ({"costs": {"infill": ["9 EUR/bag", "20 EUR/bag"]}}, "EUR"),
        ({"rates": {"dig": ["5 ft/h", "9 ft/h"]}}, "dig: '5 ft/h' does not fit"),
        ({"allowances": {"labour_dig": ["0 %", "5 %"]}}, "'labour_dig' is no material"),
        ({"turf": {"lawn": ["2 USD/ft^2", "3 USD/ft^2"]}}, "the bid has no 'lawn'"),
        ({"confidence": "100 %"}, "confidence must be 1 % to 99 %"),
        ({"draws": 3}, "draws must be 100 to 1000000"),
    ],
)
def test_what_does_not_fit_is_told_in_a_line(ranges, told):
    with pytest.raises(BidError) as refused:
        make_bid({"layers": [{"path": "lots.shp"}], "ranges": ranges})
    lines = [finding.line() for finding in refused.value.findings]
    assert len([line for line in lines if told in line and "ranges" in line]) >= 1


def test_rates_are_told_in_the_units_of_the_bid(lawns, bid_file, tmp_path):
    lawns((0, 0, 40, 30))
    given = '[ranges.rates]\ndig = ["4 yd^3/h", "7 yd^3/h"]\nsetup = ["1 h", "3 h"]\n'
    done = geoturf.run(geoturf.read_bid(bid_file(given)))
    told = tables.risk_moves(done).set_index("figure")
    assert told.loc["dig", ["low", "likely", "high", "unit"]].tolist() == [4, 5, 7, "yd^3/h"]
    assert told.loc["setup", ["low", "likely", "high", "unit"]].tolist() == [1, 2, 3, "h"]
    own = done.price.totals["price"]
    assert D(told.loc["dig", "price_low"]) > own > D(told.loc["setup", "price_low"])
    workbook.write(done, tmp_path / "bid.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "bid.xlsx")["Risk"]
    assert "stays when a shaded cell is changed" in sheet["A1"].value
    assert (sheet["B2"].value, sheet["B3"].value) == (float(own), "=ROUND(Summary!$B$7-B2,2)")
    assert [f"{sheet.cell(row, 3).value:.2f}" for row in range(5, 9)] == [
        *tables.risk(done)["price"]
    ]
    assert "How sure the price is" in front.page(done, [])
