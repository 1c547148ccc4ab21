"""What an order's size does to its price: breaks by quantity, hire by the week against every mix,
least orders; in the bid, its schedule of values and the workbook's terms."""

from decimal import Decimal as D

import pytest
from invented_lots import LOTS, PRODUCTS, edges, ground, plan

from geoturf import materials
from geoturf.bid import booked, make_bid
from geoturf.errors import BidError
from geoturf.price import price
from geoturf.price.ordered import hired
from geoturf.units import read_money

LAND = ground(LOTS)


def bid_of(**prices):
    return make_bid({"layers": [{"path": "lots.shp"}], "price": prices})


def priced(products=PRODUCTS, **prices):
    bid = bid_of(**prices)
    laid = plan(LAND)
    taken = materials.takeoff(LAND, edges(LAND), laid, products, bid.materials, bid.edges)
    return price(LAND, laid, taken, products, bid.price, "USD")


def line(made, phase, words):
    lines = made.lines
    own = lines[(lines["phase"] == phase) & (lines["description"] == words)]
    assert len(own) == 1, words
    return own.iloc[0]


@pytest.mark.parametrize("week", ["100", "330", "380", "455", "460", "900"])
@pytest.mark.parametrize("covers", [5, 6, 7])
def test_hire_is_the_cheapest_of_all_mixes(week, covers):
    """Against every number of weeks, the rest by the day."""
    day, money = read_money("92 USD/day"), read_money(f"{week} USD/week")
    for days in range(30):
        every = [
            weeks * money.amount + max(0, days - weeks * covers) * day.amount
            for weeks in range(days // covers + 2)
        ]
        weeks, rest = hired(days, day, money, covers)
        assert weeks * covers + rest >= days
        assert weeks * money.amount + rest * day.amount == min(every), days


def test_a_break_holds_for_all_of_an_order_from_its_quantity_on():
    """131 bags in phase 1, 14 in phase 2 (the plain bid's own lines)."""
    plain = priced()
    breaks = [{"at_least": 131, "price": "11 USD/bag"}, {"at_least": 132, "price": "9 USD/bag"}]
    made = priced(breaks={"infill": breaks})
    for phase, each in (("1", "11"), ("2", "11.75")):
        bags = line(plain, phase, "Infill")["quantity"]
        own = line(made, phase, "Infill")
        assert (own["quantity"], own["unit_price"]) == (bags, D(each))
        assert own["amount"] == bags * D(each)


def test_turf_has_breaks_of_its_own():
    own = PRODUCTS["turf60"].model_copy(
        update={
            "breaks": type(PRODUCTS["turf60"])(
                breaks=[{"at_least": 4605, "price": "1.99 USD/ft^2"}]
            ).breaks
        }
    )
    made = priced({**PRODUCTS, "turf60": own})
    assert line(made, "1", own.title)["unit_price"] == D("1.99")


def test_a_least_order_is_filled_up_to_and_told_where_it_is_met():
    made = priced(least={"haul": "1000 USD"})
    short = {p: line(made, p, "Least order of 1000 USD: Haul away") for p in ("1", "2")}
    hauled = {p: line(made, p, "Haul away")["amount"] for p in ("1", "2")}
    assert hauled["1"] > 1000 and short["1"]["amount"] == 0
    assert hauled["2"] + short["2"]["amount"] == 1000
    kept = made.schedule_of_prices.query("scope == 'phase 2'")
    assert not kept["description"].str.startswith("Least").any()  # paid under its pay item
    assert kept["extension"].sum() == made.phases.set_index("phase")["price"]["2"]


def test_a_least_order_of_turf_is_of_what_a_phase_buys_of_it():
    """Phase 1 is laid with turf60, phase 2 with turf80."""
    own, plain = PRODUCTS["turf60"], priced()
    least = D("0.01") + line(plain, "1", own.title)["amount"]
    charged = own.model_copy(update={"least_charge": read_money(f"{least} USD")})
    made = priced({**PRODUCTS, "turf60": charged})
    short = line(made, "1", f"Least order of {least} USD: {own.title}")
    assert (short["amount"], short["kind"]) == (D("0.01"), "material")  # taxed as the turf is
    assert made.totals["direct cost"] - plain.totals["direct cost"] == D("0.01")


@pytest.mark.parametrize(
    ("charge", "said"),
    [("2 USD/ft^2", "least_charge: '2 USD/ft.2' is no amount"), ("9 EUR", "EUR")],
)
def test_a_least_charge_of_turf_that_does_not_fit_is_refused(charge, said):
    layers = {"layers": [{"path": "lots.shp"}]}
    with pytest.raises(BidError, match=said):
        made = make_bid(layers | {"products": {"turf60": {"least_charge": charge}}})
        priced(PRODUCTS | made.products)


def test_weeks_and_days_are_told_apart():
    made = priced(hire={"excavator": "500 USD/week"})
    days, weeks = (
        line(made, "1", f"Excavator or skid steer{end}") for end in ("", ", by the week")
    )
    assert (days["quantity"], weeks["quantity"], weeks["amount"]) == (0, 1, 500)


def test_a_books_own_unit_cost_has_no_terms_of_the_bids():
    bid = make_bid(
        {
            "layers": [{"path": "lots.shp"}],
            "price": {"least": {"haul": "1000 USD", "infill": "500 USD"}},
            "books": {"far": {"costs": {"haul": "190 USD/load"}}},
        }
    )
    assert list(booked(bid, "far").price.least) == ["infill"]


@pytest.mark.parametrize(
    ("prices", "said"),
    [
        ({"breaks": {"gravel": []}}, "'gravel' is no unit cost of the bid"),
        ({"breaks": {"infill": [{"at_least": 5, "price": "1 USD/lb"}]}}, "is not by the bag"),
        ({"breaks": {"infill": [{"at_least": 0, "price": "1 USD/bag"}]}}, "more than 0"),
        ({"least": {"haul": "5 USD/load"}}, "is no amount"),
        ({"hire": {"infill": "5 USD/week"}}, "is no plant"),
        ({"hire": {"broom": "5 USD/day"}}, "is not by the week"),
        ({"hire": {"broom": "5 USD/week"}, "costs": {"broom": "9 USD/h"}}, "is not by the day"),
    ],
)
def test_terms_that_do_not_fit_are_refused_by_name(prices, said):
    with pytest.raises(BidError, match=said):
        bid_of(**prices)
