"""Price: build-up by hand, apportionment in exact fractions, columns and rows that add up to the
cent."""

import datetime
import math
from decimal import Decimal as D
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_lots import LOTS, PRODUCTS, edges, ground, plan
from pydantic import ValidationError

from geoturf import data, materials, units
from geoturf.price import beside, price, seam_cost, shared
from geoturf.rules import EdgeRules, LayoutRules, MaterialRules, PriceRules, Product

CENT = D("0.01")
SCALE = [{"up_to": "5000 USD", "rate": "2.5 %"}, {"up_to": "20000 USD", "rate": "1.5 %"}]


def priced(rows=LOTS, products=PRODUCTS, rules=None, currency="USD"):
    land = ground(rows)
    laid = plan(land)
    taken = materials.takeoff(land, edges(land), laid, products, MaterialRules(), EdgeRules())
    return price(land, laid, taken, products, rules or PriceRules(), currency)


# ------------------------------------------------------------------------------------------- shares


def test_shares_are_rounded_running_sums():
    """By hand: 148 among 757, 295, 636 and 976 of 2,664 is 42.06, 58.44, 93.78 and 148 up to each,
    rounded 42, 58, 94, 148."""
    assert shared(148, np.array([757, 295, 636, 976])).tolist() == [42, 16, 36, 54]


@given(st.integers(0, 10**10), st.lists(st.integers(0, 10**6), min_size=1, max_size=50).filter(any))
def test_shares_add_up_and_keep_quota(cents, weights):
    """In exact fractions: each part is its exact share rounded up or down (the quota rule of
    apportionment, from memory)."""
    parts = shared(cents, np.array(weights)).tolist()
    assert sum(parts) == cents
    exact = [Fraction(cents * weight, sum(weights)) for weight in weights]
    assert all(
        math.floor(share) <= part <= math.ceil(share)
        for part, share in zip(parts, exact, strict=True)
    )


@given(st.integers(0, 10**12), st.lists(st.floats(0, 1e6), min_size=1, max_size=50))
def test_shares_of_any_weights_add_up(cents, weights):
    parts = shared(cents, np.array(weights))
    assert parts.sum() == cents and (parts >= 0).all()


def test_equal_parts_share_the_odd_cents():
    """Halves of a cent are exact here, and go up whatever a float makes of a seventh."""
    assert shared(7 * 50 + 3, np.full(7, 0.1)).tolist() == [50, 51, 50, 51, 50, 51, 50]
    assert shared(101, np.full(2, 0.3)).tolist() == [51, 50]


def test_equal_shares_where_nothing_weighs():
    assert shared(100, np.zeros(3)).tolist() == [33, 34, 33]


# ------------------------------------------------------------------------------- lines and build-up


def test_a_line_is_quantity_times_unit_price():
    lines = priced([{"width_ft": 15, "length_ft": 40}]).lines.set_index("key")
    turf = lines.loc["turf"]  # one strip of 40 ft and 6 in to trim, billed to the next foot
    assert (turf["quantity"], turf["unit"], turf["unit_price"], turf["amount"]) == (
        D("615.00"),
        "ft^2",
        D("2.10"),
        D("1291.50"),
    )
    assert lines.loc["infill", "amount"] == lines.loc["infill", "quantity"] * D("11.75")
    assert (
        lines["amount"]
        == [units.cents(q * p) for q, p in zip(lines["quantity"], lines["unit_price"], strict=True)]
    ).all()


def test_half_a_cent_is_rounded_up():
    """0.615 is rounded half up, not to even, and not from its binary neighbour 0.61499."""
    rules = PriceRules(costs={"infill": "0.205 USD/bag"})
    lines = priced([{"width_ft": 10, "length_ft": 9.5}], rules=rules).lines.set_index("key")
    assert (lines.loc["infill", "quantity"], lines.loc["infill", "amount"]) == (3, D("0.62"))


def test_build_up_in_its_order():
    """By hand, from the direct cost: waste on materials, contingency on both, tax on materials and
    waste, and so on up."""
    rates = {
        "waste": 0.02,
        "contingency": 0.05,
        "sales_tax": 0.0725,
        "overhead": 0.11,
        "profit": 0.08,
        "bond": 0.012,
    }
    done = priced(rules=PriceRules(**rates))
    t = done.totals
    assert t["direct cost"] == t["materials"] + t["labour"] + t["plant"] + t["services"]
    waste = units.cents(t["materials"] * D("0.02"))
    contingency = units.cents((t["direct cost"] + waste) * D("0.05"))
    tax = units.cents((t["materials"] + waste) * D("0.0725"))
    cost = t["direct cost"] + waste + contingency + tax
    overhead = units.cents(cost * D("0.11"))
    profit = units.cents((cost + overhead) * D("0.08"))
    bond = units.cents((cost + overhead + profit) * D("0.012"))
    wanted = {"waste": waste, "contingency": contingency, "sales tax": tax, "cost": cost, "overhead": overhead, "profit": profit,
              "bond": bond, "price": cost + overhead + profit + bond}  # fmt: skip
    assert {name: t[name] for name in wanted} == wanted
    assert list(t)[-1] == "price"


def test_minimum_charge():
    done = priced([{"width_ft": 5, "length_ft": 5}], rules=PriceRules(minimum="50000 USD"))
    assert done.totals["price"] == D("50000.00")
    assert done.totals["minimum charge"] > 0
    assert priced(rules=PriceRules(minimum="1 USD")).totals["minimum charge"] == 0


def adds_up(done):
    """Every printed column and row, to the cent."""
    total, cost = done.totals["price"], done.totals["cost"]
    assert sum(done.lines["amount"]) == total
    for table in (done.sites, done.areas, done.phases):
        assert (sum(table["price"]), sum(table["cost"])) == (total, cost)
    steps = ["waste", "contingency", "sales tax", "overhead", "profit", "bond", "minimum charge"]
    schedule = done.schedule
    assert sum(schedule["price"]) == total and sum(schedule["amount"]) == done.totals["direct cost"]
    for step in steps:
        assert sum(schedule[step]) == done.totals[step]
    assert (schedule[["amount", *steps]].sum(axis=1) == schedule["price"]).all()
    by_phase = schedule.groupby("phase")["price"].sum()
    assert all(
        by_phase[phase] == value
        for phase, value in zip(done.phases["phase"], done.phases["price"], strict=True)
    )
    assert (done.areas["price"] >= done.areas["cost"]).all()


def test_all_columns_and_rows_add_up():
    adds_up(priced(rules=PriceRules(waste="2 %", minimum="100000 USD")))


@settings(max_examples=10, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(3, 50), st.integers(3, 50), st.integers(1, 4), st.integers(1, 3)),
        min_size=1,
        max_size=7,
    ),
    st.tuples(*[st.floats(0, 0.3) for _ in range(6)]),
)
def test_they_add_up_whatever_the_bid(drawn, rates):
    rows = [
        {"width_ft": w, "length_ft": h, "site": f"lot {s}", "phase": str(p)} for w, h, s, p in drawn
    ]
    names = ("waste", "contingency", "sales_tax", "overhead", "profit", "bond")
    adds_up(priced(rows, rules=PriceRules(**dict(zip(names, rates, strict=True)))))


@settings(max_examples=30, deadline=None)
@given(st.data())
def test_they_add_up_whatever_a_bid_carries(data):
    """Lump sums and what is counted, a bond that slides, prices that rise, plant taxed, price
    breaks, least orders, hire by the week, books."""
    side = st.integers(3, 50)
    drawn = data.draw(
        st.lists(st.tuples(side, side, st.sampled_from("123")), min_size=1, max_size=6)
    )
    book = {"1": "", "2": "far", "3": data.draw(st.sampled_from(["", "far"]))}
    rows = [
        {"width_ft": w, "length_ft": h, "site": f"lot {k}", "phase": p, "price_book": book[p]}
        for k, (w, h, p) in enumerate(drawn)
    ]
    cents = st.integers(0, 10**6).map(lambda n: D(n).scaleb(-2))
    per = ("", "/site", "/phase", "/load", "/truck", "/roll", "/ton", "/day", "/h", "/ft^2")
    kinds = st.sampled_from(["material", "labour", "plant", "service"])
    extras = [
        {"title": f"x{unit}", "price": f"{data.draw(cents)} USD{unit}", "kind": data.draw(kinds)}
        for unit in data.draw(st.lists(st.sampled_from(per), max_size=12))
    ]
    day = st.dates(datetime.date(2026, 1, 1), datetime.date(2029, 1, 1))
    starts = data.draw(st.dictionaries(st.sampled_from("123"), day, max_size=3))
    rise = {"rate": "4.35 %", "prices_of": "2026-01-01", "starts": starts}
    some = st.integers(1, 400).map(lambda n: {"at_least": n, "price": "9.99 USD/bag"})
    own = {
        "extras": extras,
        "breaks": {"infill": [data.draw(some)]},
        "least": {key: f"{data.draw(cents)} USD" for key in ("haul", "infill", "nails")},
        "hire": {"compactor": f"{data.draw(cents)} USD/week"},
        "escalation": rise,
        "bond_scale": SCALE,
        "tax_on_plant": data.draw(st.booleans()),
    }
    far = PriceRules(**own | {"profit": "3.33 %", "minimum": f"{data.draw(cents)} USD"})
    land = ground(rows)
    laid = plan(land)
    taken = materials.takeoff(land, edges(land), laid, PRODUCTS, MaterialRules(), EdgeRules())
    done = price(land, laid, taken, PRODUCTS, PriceRules(**own), "USD", "us", {"far": far})
    adds_up(done)
    sums = done.schedule_of_prices.groupby("scope")["extension"].sum()
    assert sums["bid"] == done.totals["price"]
    lump = sum(D(one["price"].split()[0]) for one in extras if one["price"].endswith("USD"))
    paid = done.lines[(done.lines["key"] == "extra") & (done.lines["unit"] == "lump")][
        "amount"
    ].sum()
    assert paid == lump * done.build_up["book"].nunique()


def test_areas_pay_for_what_they_take():
    """Two equal lots pay the same to a cent; the pet lot pays for its granules; turf80 for its own
    price."""
    rows = [
        {"width_ft": 15, "length_ft": 40, "site": "a"},
        {"width_ft": 15, "length_ft": 40, "site": "b"},
    ]
    same = priced(rows).areas["price"]
    assert abs(same[0] - same[1]) <= CENT * 40
    pet = priced([rows[0], rows[1] | {"use": "pet"}]).areas["price"]
    assert pet[1] - pet[0] > 6 * 31  # 300 lb of granules: 6 bags


def test_each_product_is_paid_by_its_own_areas():
    """Equal areas in one phase, 615 ft2 of turf each at 2.10 and 2.60: 307.50 apart, and 3 %
    contingency and 7 % tax on it."""
    bare = {
        "turf60": Product(infill="none"),
        "turf80": Product(infill="none", price="2.60 USD/ft^2"),
    }
    rows = [{"width_ft": 15, "length_ft": 40, "product": name} for name in bare]
    cost = priced(rows, products=bare).areas["cost"]
    assert cost[1] - cost[0] == pytest.approx(D("307.50") * D("1.10"), abs=D("0.30"))


def test_tax_and_waste_are_borne_by_materials():
    done = priced(rules=PriceRules(waste="5 %")).schedule.set_index("section")
    earth = done.loc["31 23 16"]  # services, labour and plant
    assert (
        (earth["sales tax"] == 0).all()
        and (earth["waste"] == 0).all()
        and (earth["contingency"] > 0).all()
    )


def test_sites_stand_once_in_their_order():
    done = priced()
    assert done.sites["site"].tolist() == ["lot 1", "lot 2", "lot 3"]
    assert done.areas.index.equals(ground(LOTS).areas.index)


def test_unit_price_of_each_phase():
    done = priced()
    for row in done.phases.itertuples():
        assert row.price_per_ft2 == units.cents(
            float(row.price) / (row.surface_area_m2 / units.FT2_M2)
        )


def test_lines_carry_sections_of_masterformat():
    """Check values section 6: well-formed numbers from the list that ships with its sources."""
    done = priced()
    listed = {row["value"]: row["title"] for row in data.rows_of("masterformat")}
    assert set(done.lines["section"]) <= set(listed)
    assert done.lines["section"].str.fullmatch(r"\d\d \d\d \d\d(\.\d\d)?").all()
    assert done.schedule["title"].tolist() == [listed[s] for s in done.schedule["section"]]


# --------------------------------------------------------------------------------------- unit costs


@pytest.mark.parametrize(
    ("cost", "same"),
    [
        ("36 USD/ton", "0.018 USD/lb"),
        ("36 USD/ton", "36.0 USD/ton"),
        ("0.11 USD/ft^2", "0.99 USD/yd^2"),
        ("29 USD/board", "1.45 USD/ft"),
    ],
)
def test_a_price_per_package_or_measure_is_the_same_money(cost, same):
    key = {"36": "aggregate", "0.": "fabric", "29": "edging"}[cost[:2]]
    land = ground(LOTS)
    laid = plan(land)
    taken = materials.takeoff(
        land, edges(land), laid, PRODUCTS, MaterialRules(), EdgeRules(edging_on=["open"])
    )
    totals = [
        price(land, laid, taken, PRODUCTS, PriceRules(costs={key: text}), "USD").totals[
            "direct cost"
        ]
        for text in (cost, same)
    ]
    assert totals[0] == totals[1]


@pytest.mark.parametrize(
    ("text", "quantity"),
    [
        ("2.10 USD/ft^2", "1230.00"),
        ("31.50 USD/ft", "82"),
        ("3150 USD/roll", "0.82"),
        ("22.60 USD/m^2", "114.27"),
        ("18.90 USD/yd^2", "136.67"),
    ],
)
def test_turf_by_area_length_or_roll(text, quantity):
    """Two strips of 41 ft off rolls of 15 ft x 100 ft."""
    done = priced([{"width_ft": 30, "length_ft": 40}], products={"turf60": Product(price=text)})
    assert done.lines.set_index("key").loc["turf", "quantity"] == D(quantity)


def test_a_price_per_roll_is_that_of_the_widths_own_longest_roll():
    """41 ft off a roll of 12 ft x 50 ft at 1,000 USD: 0.82 of it, whatever the 15 ft rolls measure;
    820 USD, as the cut plan weighs it."""
    more = {"roll_width": "12 ft", "roll_lengths": ["50 ft", "25 ft"], "price": "1000 USD/roll"}
    product = Product(roll_lengths="100 ft", price="3150 USD/roll", more_rolls=[more])
    land = ground([{"width_ft": 12, "length_ft": 40}])
    laid = plan(land, 12)
    taken = materials.takeoff(
        land, edges(land), laid, {"turf60": product}, MaterialRules(), EdgeRules()
    )
    lines = price(land, laid, taken, {"turf60": product}, PriceRules(), "USD").lines
    turf = lines.set_index("key").loc["turf"]
    assert (turf["quantity"], turf["amount"]) == (D("0.82"), D("820.00"))
    narrow = product.widths[1]
    assert 41 / 50 * narrow.roll_price(50 * 0.3048, by_length=True) == pytest.approx(820)
    assert narrow.price_per_m2 * 41 * 12 * 0.3048**2 == pytest.approx(820)


def test_each_stocked_width_has_its_price():
    more = {"roll_width": "12 ft", "roll_lengths": "100 ft", "price": "1.90 USD/ft^2"}
    products = {"turf60": Product(more_rolls=[more])}
    land = ground([{"width_ft": 12, "length_ft": 40}])
    for roll_ft, amount in ((15, D("2.10")), (12, D("1.90"))):
        laid = plan(land, roll_ft)
        taken = materials.takeoff(land, edges(land), laid, products, MaterialRules(), EdgeRules())
        lines = price(land, laid, taken, products, PriceRules(), "USD").lines
        assert lines.set_index("key").loc["turf", "unit_price"] == amount


@pytest.mark.parametrize(
    ("key", "text", "said"),
    [
        ("aggregate", "36 USD/yd^3", 'priced like "36 USD/ton"'),
        ("nails", "98 USD/lb", 'priced like "98 USD/box"'),
        ("nails", "0.05 USD", 'priced like "0.05 USD/box"'),
        ("labour", "1100 USD/day", 'priced like "1100 USD/crew-hour" or "1100 USD/h"'),
        ("infill", "12 USD/sack", 'priced like "12 USD/bag" or "12 USD/ton"'),
        ("infill", "12/bag", "is not a price"),
    ],
)
def test_a_unit_cost_that_does_not_fit_its_item_is_refused(key, text, said):
    with pytest.raises(ValidationError) as refused:
        PriceRules(costs={key: text})
    assert said in str(refused.value)


def test_extras_by_site_phase_and_surface():
    extras = [
        {"title": "Permit", "price": "120 USD/site"},
        {"title": "Delivery", "price": "900 USD/phase", "section": "32 18 13"},
        {"title": "Survey", "price": "0.05 USD/ft^2", "kind": "labour"},
    ]
    done = priced(rules=PriceRules(extras=extras))
    adds_up(done)
    paid = done.lines[done.lines["key"] == "extra"].groupby("description")["amount"].sum()
    surface = sum(row["width_ft"] * row["length_ft"] for row in LOTS)
    assert paid.to_dict() == {
        "Permit": D("360.00"),
        "Delivery": D("1800.00"),
        "Survey": units.cents(0.05 * surface),
    }


def test_extras_by_what_a_phase_has():
    """By hand, lots of 15 x 40 and 30 x 30 ft in two phases. Rolls: 1 and 2. Loads: 7.41 and 11.11
    yd3 at 1.25 are 9.3 and 13.9, of 10 yd3 each: 1 and 2. Freight: 41 and 62 ft of 15 ft turf at 90
    oz/yd2, 0.625 lb/ft2, and bags of 50 lb for 600 and 900 ft2 at 1.5 lb/ft2 and 3 %: 19 and 28; of
    trucks of 0.8 ton one and two. A lump sum is shared by surface, 40 to 60."""
    lots = [
        {"site": "a", "phase": "1", "width_ft": 15, "length_ft": 40},
        {"site": "b", "phase": "2", "width_ft": 30, "length_ft": 30},
    ]
    units_ = ("load", "truck", "roll", "ton", "h", "day")
    extras = [{"title": unit, "price": f"10 USD/{unit}"} for unit in units_]
    extras.append({"title": "lump", "price": "6500.01 USD"})
    land = ground(lots)
    laid = plan(land)
    rules = MaterialRules(delivery_truck="0.8 ton", swell="25 %")
    taken = materials.takeoff(land, edges(land), laid, PRODUCTS, rules, EdgeRules())
    done = price(land, laid, taken, PRODUCTS, PriceRules(extras=extras), "USD")
    adds_up(done)
    own = done.lines[done.lines["key"] == "extra"]
    counted = {
        unit: [str(q) for q in own.loc[own["description"] == unit, "quantity"]] for unit in units_
    }
    hours = taken.areas[[key for key in taken.areas if key.startswith("labour_")]].sum(axis=1)
    assert {name: counted[name] for name in units_[:4]} == {
        "load": ["1", "2"],
        "truck": ["1", "2"],
        "roll": ["1", "2"],
        "ton": [
            str(units.cents((615 * 0.625 + 950) / 2000)),
            str(units.cents((930 * 0.625 + 1400) / 2000)),
        ],
    }
    assert counted["h"] == [str(units.cents(h)) for h in hours]
    assert counted["day"] == [str(math.ceil(h / 8)) for h in hours]
    assert list(own.loc[own["description"] == "lump", "amount"]) == [D("2600.00"), D("3900.01")]


def test_a_lump_sum_is_whole_whatever_the_phases():
    done = priced(rules=PriceRules(extras=[{"title": "Mobilisation", "price": "6500.01 USD"}]))
    adds_up(done)
    own = done.lines[done.lines["key"] == "extra"]
    assert own["amount"].sum() == D("6500.01") and len(own) == 2


def test_a_crew_hour_by_wage():
    """By hand: 38 x 3 x 1.4 = 159.60, 41.25 x 2.5 x 1.335 = 137.67 (137.671875)."""
    rules = PriceRules(wage="38 USD/h", burden="40 %")
    assert rules.costs.labour.amount == D("159.60")
    assert "labour" in rules.costs.model_fields_set
    odd = PriceRules(wage="41.25 USD/h", crew=2.5, burden="33.5 %", costs={"tape": "9 USD/roll"})
    assert odd.costs.labour.amount == D("137.67") and odd.costs.tape.amount == 9
    same = PriceRules(costs={"labour": "159.60 USD/h"})
    assert priced(rules=rules).totals == priced(rules=same).totals


def test_a_bond_on_a_sliding_scale():
    """By hand: 2.5 % of the first 5,000, 1.5 % of the next 15,000, 1 % of the rest: 125 + 225 + 1 %
    of what is over 20,000."""
    done = priced(rules=PriceRules(bond="1 %", bond_scale=SCALE))
    adds_up(done)
    base = done.build_up.set_index("step").loc["bond", "base"]
    assert base > 20000
    assert done.totals["bond"] == units.cents(D(350) + (base - 20000) / 100)
    (said,) = done.lines.loc[done.lines["key"] == "bond", "description"]
    assert said == "Bond, 2.5 % to 5,000, 1.5 % to 20,000, 1 % above of cost, overhead and profit"


def test_a_scale_of_one_rate_is_that_rate():
    flat = PriceRules(bond="2 %", bond_scale=[{"up_to": "7777.77 USD", "rate": "2 %"}])
    assert priced(rules=flat).totals == priced(rules=PriceRules(bond="2 %")).totals


def test_hired_plant_is_taxed_where_that_is_the_law():
    """7 % of materials, their waste and plant; borne by those lines alone."""
    done = priced(rules=PriceRules(tax_on_plant=True, waste="3 %"))
    adds_up(done)
    totals = done.totals
    due = totals["materials"] + totals["waste"] + totals["plant"]
    assert totals["sales tax"] == units.cents(due * D("0.07"))
    kinds = done.lines.loc[done.lines["kind"] != "general", "kind"]
    taxed = done.loads["sales tax"].groupby(kinds.to_numpy()).sum()
    assert taxed["labour"] == taxed["service"] == 0 < taxed["plant"]
    assert abs(taxed["plant"] - totals["plant"] * D("0.07")) < D("0.10")


def test_prices_rise_until_a_phase_starts():
    """By hand: from 1 January to 2 July 2026 are 182 days, 4 % x 182 / 365 = 1.9945 %, of what the
    other lines of phase 2 come to; phase 1 starts on no day that is known."""
    rise = {"rate": "4 %", "prices_of": "2026-01-01", "starts": {"2": "2026-07-02"}}
    plain, done = priced(), priced(rules=PriceRules(escalation=rise))
    adds_up(done)
    own = done.lines[done.lines["key"] == "escalation"]
    direct = plain.schedule.loc[plain.schedule["phase"] == "2", "amount"].sum()
    assert list(own["quantity"]) == [D("1.9945")] and list(own["phase"]) == ["2"]
    assert list(own["amount"]) == [units.cents(direct * D("0.019945"))]
    assert list(own["description"]) == ["Escalation to 2026-07-02, 4 % a year"]
    rows = done.schedule_of_prices.query("scope == 'bid'").set_index("description")
    assert tuple(rows.loc["Escalation to 2026-07-02, 4 % a year", ["unit", "quantity"]]) == (
        "phase",
        1,
    )


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (
            {
                "escalation": {
                    "rate": "4 %",
                    "prices_of": "2026-02-01",
                    "starts": {"1": "2026-01-31"},
                }
            },
            "starts.1: 2026-01-31 is before prices_of, 2026-02-01",
        ),
        ({"bond_scale": SCALE[::-1]}, "each up_to must be more than the one before"),
        ({"bond_scale": [{"up_to": "5 USD/ft", "rate": "1 %"}]}, "is no amount"),
        ({"wage": "38 USD/h", "costs": {"labour": "148 USD/h"}}, "both say what a crew-hour costs"),
        ({"wage": "300 USD/day"}, "is not by the hour"),
    ],
)
def test_a_wage_that_does_not_fit_is_refused(given, said):
    with pytest.raises(ValidationError, match=said):
        PriceRules(**given)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"price": "5 USD/ft"}, "or priced by /site, /phase, /load, /truck, /roll, /day, /h, /ton"),
        ({"price": "5 USD/min"}, "does not fit"),
        ({"price": "5 USD/site", "section": "32-18"}, "is no section number"),
    ],
)
def test_extras_that_cannot_be_counted_are_refused(wrong, said):
    with pytest.raises(ValidationError, match=said):
        PriceRules(extras=[{"title": "x"} | wrong])


# --------------------------------------------------------------------------------------- alternates


def test_other_prices_stand_beside_the_bids_own():
    own, dearer = priced(), priced(rules=PriceRules(profit="20 %"))
    done = beside(own, [("dearer", dearer), ("as bid", own)], alone=dearer)
    more = dearer.totals["price"] - own.totals["price"]
    assert done.alternates.values.tolist() == [
        ["dearer", dearer.totals["price"], more],
        ["as bid", own.totals["price"], 0],
    ]
    assert done.lot_by_lot == dearer.totals["price"] and more > 0


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"leave_out": ["infil"]}, "alternate 'x', leave_out: 'infil' is no item"),
        (
            {"leave_out": ["labour_edging"]},
            "alternate 'x', leave_out: 'labour_edging' alone would leave edging and edging_steel",
        ),
        ({"costs": {"stone": "1 USD/ton"}}, "'stone' is no unit cost"),
        ({"costs": {"infill": "1 USD/ft"}}, "does not fit"),
        ({"add": ["gold"]}, "edging"),
    ],
)
def test_an_alternate_of_unknown_things_is_refused(wrong, said):
    with pytest.raises(ValidationError, match=said):
        PriceRules(alternates=[{"title": "x"} | wrong])


# -------------------------------------------------------------------------------- what a seam costs


def seam(edge_rules=None, unit="ft", **price):
    takes = materials.seam_m(MaterialRules(), EdgeRules.model_validate(edge_rules or {}))
    return seam_cost(takes, PriceRules.model_validate(price), "USD", unit)


def test_a_seam_costs_its_tape_adhesive_and_labour():
    """By hand: tape 42 / 100 ft + 5 %, adhesive 13.50 / 20 ft + 10 %, a crew-hour 148 / 50 ft:
    0.441 + 0.7425 + 2.96 = 4.1435."""
    assert str(seam()) == "4.14 USD/ft"
    assert str(seam(unit="m")) == "13.59 USD/m"


def test_a_nailed_seam_costs_its_nails_and_labour():
    """Six nails a foot: 6 x 98 / (50 lb x 31) + 5 %, driven at 350 an hour of 148, and the joining:
    0.3983 + 2.5371 + 2.96."""
    assert str(seam({"seam_method": "nails"})) == "5.90 USD/ft"


def test_a_seam_costs_what_the_bid_pays():
    assert (
        str(seam(costs={"tape": "0.50 USD/ft", "labour": "50 USD/h"})) == "2.27 USD/ft"
    )  # 0.525 + 0.7425 + 1


def test_the_default_is_what_default_prices_come_to():
    assert LayoutRules().seam_cost == seam()


def test_a_cross_seam_costs_its_labour():
    """By hand: a quarter of a crew-hour at 148, or at 200."""
    takes = materials.cross_seam(MaterialRules())
    assert str(seam_cost(takes, PriceRules(), "USD")) == "37.00 USD"
    dear = PriceRules.model_validate({"costs": {"labour": "200 USD/h"}})
    assert str(seam_cost(takes, dear, "USD")) == "50.00 USD"
    assert LayoutRules().cross_seam_cost == seam_cost(takes, PriceRules(), "USD")
