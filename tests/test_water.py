"""The water stage on small parks that a reader can add up, its mass balance, and what it says to
bad input."""

import re

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from water_cases import parks, turf_price, water_rules

from geoturf import units, water
from geoturf.bid import make_bid
from geoturf.errors import BidError, InputError
from geoturf.rules import Product
from geoturf.units import FT2_M2, GALLON_M3, HCF_M3
from geoturf.water.climate import Months
from geoturf.water.demand import use
from geoturf.water.lawns import lawns
from geoturf.water.rain import effective_rain_m
from geoturf.water.tariff import bill

COLUMNS = (
    "area_index site area district cover irrigation conversion title ground_area_m2 baseline_m3 "
    "use_m3 saved_m3 capital rebate "
    "bill_saved upkeep_saved payback_years npv cost_per_m3 saved_m3_per_currency chosen rank why"
)


def compare(ground, turf=None, **given_rules):
    return water.compare(ground, turf, water_rules(**given_rules), "USD")


# - the whole stage --------------------------------------------------------------------------------


def test_one_row_an_area_and_conversion():
    ground = parks(1_000, 2_000)
    found = compare(ground, turf_price(ground))
    assert " ".join(found.table.columns) == COLUMNS
    assert list(found.table["conversion"]) == ["turf", "planting", "irrigation"] * 2
    assert list(found.table["area_index"]) == [0, 0, 0, 1, 1, 1]
    np.testing.assert_allclose(
        found.table["baseline_m3"] - found.table["use_m3"], found.table["saved_m3"]
    )


def test_turf_takes_the_bids_own_price_and_its_kept_line():
    ground = parks(1_000, 2_000)
    table = compare(ground, turf_price(ground, 10.0), offer=["turf"]).table
    assert list(table["capital"]) == [10_250.0, 20_250.0]


def test_a_conversion_is_offered_by_cover_and_use():
    """Nobody plays on planting; and a conversion of its own for warm-season lawn alone."""
    ground = parks(
        1_000,
        1_000,
        1_000,
        use=["", "play", ""],
        cover=["cool_season_lawn"] * 2 + ["warm_season_lawn"],
    )
    own = {
        "cover": "low_water_planting",
        "irrigation": "drip",
        "capital": "3 USD/ft^2",
        "only_covers": ["Warm-season lawn"],
    }
    table = compare(ground, offer=["planting", "scrub"], conversions={"scrub": own}).table
    assert list(zip(table["area_index"], table["conversion"], strict=True)) == [
        (0, "planting"),
        (2, "planting"),
        (2, "scrub"),
    ]


def test_areas_without_a_cover_stay_out():
    ground = parks(1_000, 2_000, cover=["", "Cool-season lawn"])
    table = compare(ground, offer=["planting"]).table
    assert list(table["area_index"]) == [1]
    assert set(
        compare(ground, offer=["planting"], cover="warm_season_lawn").table["area_index"]
    ) == {0, 1}


def test_water_falls_on_ground_and_money_on_surface():
    ground = parks(1_000, surface_area_m2=1_100 * FT2_M2)
    row = compare(
        ground, offer=["planting"], covers={"low_water_planting": {"factor": 0}}
    ).table.iloc[0]
    assert row["baseline_m3"] / GALLON_M3 == pytest.approx(51.1 * 0.8 / 0.75 * 1_000 * 144 / 231)
    assert row["capital"] == pytest.approx(6_050.0)


def test_the_answers():
    """Which first, how much, why, and what if the budget doubles: all in the summary."""
    ground = parks(*range(1_000, 13_000, 1_000))
    summary = compare(ground, offer=["planting"], budget="200000 USD").summary
    assert len(summary["first"]) == min(10, summary["chosen"]["areas"])
    first = summary["first"][0]
    assert (
        first["rank"] == 1
        and first["site"].startswith("Park")
        and "no other conversion" in first["why"]
    )
    assert summary["chosen"]["spent"] <= 200_000 < summary["doubled"]["spent"] <= 400_000
    assert summary["doubled"]["saved_m3"] > summary["chosen"]["saved_m3"]
    assert (
        len(summary["doubled"]["joins"]) == summary["doubled"]["areas"] - summary["chosen"]["areas"]
    )
    assert summary["chosen"]["gap"] <= 1e-4


def test_ranks_go_by_what_money_brings():
    """Warm-season lawn takes less water, so the same money saves less there: it ranks after the
    cool-season lawns."""
    ground = parks(
        5_000, 1_000, 2_000, cover=["warm_season_lawn", "cool_season_lawn", "cool_season_lawn"]
    )
    table = compare(ground, offer=["planting"]).table
    assert list(table["rank"]) == [3, 2, 1]


def test_totals_add_up():
    ground = parks(1_000, 2_000, 3_000)
    found = compare(ground, offer=["planting", "irrigation"], budget="14000 USD")
    chosen = found.table[found.table["chosen"]]
    assert found.summary["chosen"]["saved_m3"] == pytest.approx(chosen["saved_m3"].sum())
    assert found.summary["chosen"]["capital"] == pytest.approx(chosen["capital"].sum())
    assert found.summary["chosen"]["bill_saved"] == pytest.approx(chosen["bill_saved"].sum())
    assert found.summary["chosen"]["npv"] == pytest.approx(chosen["npv"].sum())
    assert found.monthly["saved_m3"].sum() == pytest.approx(chosen["saved_m3"].sum())


def test_assumptions_are_told():
    note = compare(parks(1_000), offer=["planting", "irrigation"]).findings[0].message
    for said in (
        "planting.capital 5.50 USD/ft^2",
        "5.00 USD/HCF",
        "upkeep of cool_season_lawn",
        "efficiency of efficient_spray 0.85",
    ):
        assert said in note
    own = compare(
        parks(1_000, cover="lawn"),
        offer=["planting"],
        covers={"lawn": {"factor": 0.8}},
        conversions={
            "planting": {"capital": "4 USD/ft^2", "upkeep": "0.1 USD/ft^2", "establishing_years": 0}
        },
        price={"price": "6 USD/HCF"},
    )
    assert [f.code for f in own.findings] == ["no-rain", "not-on-offer"]


def test_no_rebate_is_ever_assumed():
    ground = parks(1_000)
    found = compare(ground, turf_price(ground))
    assert (found.table["rebate"] == 0).all()
    assert found.summary["rebates"] == []


def test_the_cautions_are_there():
    said = " ".join(compare(parks(1_000), offer=["planting"]).cautions)
    for word in ("legal advice", "rebate", "Trees", "storm water", "ackflow"):
        assert word in said
    assert "hotter" not in said
    ground = parks(1_000)
    assert "hotter" in " ".join(compare(ground, turf_price(ground), offer=["turf"]).cautions)


# - mass balance -----------------------------------------------------------------------------------

monthly = st.lists(st.floats(0, 0.3), min_size=12, max_size=12)


@settings(max_examples=60, deadline=None)
@given(
    eto=monthly,
    rain=monthly,
    method=st.sampled_from(["none", "fixed", "scs", "fao", "tr21"]),
    covers=st.lists(
        st.sampled_from(["cool_season_lawn", "warm_season_lawn", "bare_ground"]),
        min_size=1,
        max_size=4,
    ),
    constant=st.sampled_from(["exact", "ordinance"]),
)
def test_water_balances_every_month(eto, rain, method, covers, constant):
    """What reaches the plants, by irrigation and effective rain, is what they need: never less,
    more only where rain alone is more. And rain that counts is never more than fell."""
    eto[6] += 0.01
    ground = parks(*[1_000.0 * (k + 1) for k in range(len(covers))], cover=covers)
    climate = {"eto": "1 in", "effective_rain": method}
    rules = water_rules(climate=climate, constant=constant, offer=["planting", "irrigation"])
    months = Months(np.array(eto), np.array(rain), "")
    land = lawns(ground, None, rules, "USD")
    found = use(land, months, rules)
    scale = 1.0 if constant == "exact" else 0.62 / (144 / 231)
    factor = np.array([land.covers[c].factor for c in covers])
    need = months.eto_m * factor
    counted = effective_rain_m(rules.climate, months.rain_m, need)
    assert (counted <= months.rain_m + 1e-12).all() and (counted >= 0).all()
    reached = found.before_m3 * 0.75 / (land.ground_m2[:, None] * scale) + np.minimum(counted, need)
    np.testing.assert_allclose(reached, need, atol=1e-12)
    np.testing.assert_allclose((found.after_m3 + found.saved_m3)[:, 0], found.before_m3, atol=1e-12)
    np.testing.assert_allclose(
        found.after_m3[:, 1] * 0.85, found.before_m3 * 0.75, atol=1e-12
    )  # the same planting, better irrigated


# - money ------------------------------------------------------------------------------------------


def test_a_tiered_bill_by_hand():
    """30 HCF at 5 up to 10, 7 up to 20, 9 beyond: 50 + 70 + 90 = 210."""
    price = water_rules(
        price={
            "price": "5 USD/HCF",
            "tiers": [
                {"above": "10 HCF", "price": "7 USD/HCF"},
                {"above": "20 HCF", "price": "9 USD/HCF"},
            ],
        }
    ).price
    np.testing.assert_allclose(
        bill(np.array([5.0, 10.0, 30.0]) * HCF_M3, price), [25.0, 50.0, 210.0]
    )


def test_totals_work_out_the_tiers_of_each_site():
    """Two lawns of one site share its blocks: each alone saves the dear block, both together not
    twice."""
    tiers = {"price": "1 USD/HCF", "tiers": [{"above": "10 HCF", "price": "20 USD/HCF"}]}
    ground = parks(5_000, 5_000, site="One", area=["a", "b"])
    found = compare(ground, offer=["planting"], price=tiers)
    assert found.summary["chosen"]["bill_saved"] < found.table["bill_saved"].sum()
    total = found.summary["chosen"]["bill_before"] - found.summary["chosen"]["bill_after"]
    assert found.summary["chosen"]["bill_saved"] == pytest.approx(total)
    assert any("tiers" in f.message for f in found.findings)


def test_falling_blocks_are_told_where_the_aim_is_money():
    tiers = {"price": "9 USD/HCF", "tiers": [{"above": "10 HCF", "price": "2 USD/HCF"}]}
    codes = [
        f.code
        for f in compare(parks(5_000), offer=["planting"], price=tiers, objective="money").findings
    ]
    assert "falling-tiers" in codes


def test_a_rebate_is_what_the_bid_states():
    rebate = {
        "amount": "2 USD/ft^2",
        "date": "2026-05-31",
        "terms": "invented",
        "most": "5000 USD",
        "min_area": "250 ft^2",
    }
    ground = parks(100, 1_000, 9_000)
    found = compare(ground, offer=["planting"], conversions={"planting": {"rebate": rebate}})
    assert list(found.table["rebate"]) == [0.0, 2_000.0, 5_000.0]
    assert found.summary["rebates"] == [
        {"conversion": "planting", "date": "2026-05-31", "terms": "invented"}
    ]


def test_a_rebate_is_no_more_than_the_work_costs():
    """1,000 ft2 at 1 USD, of which a program would pay 2: it pays the 1,000 USD, and nothing is
    left to pay back."""
    rebate = {"amount": "2 USD/ft^2", "date": "2026-05-31", "terms": "invented"}
    planting = {"capital": "1 USD/ft^2", "rebate": rebate}
    row = compare(parks(1_000), offer=["planting"], conversions={"planting": planting}).table.iloc[
        0
    ]
    assert (row["capital"], row["rebate"], row["payback_years"]) == (1_000.0, 1_000.0, 0.0)


def test_irrigation_is_never_more_than_perfect():
    """70 % doubled would be 140 %: all that is applied is used then, and a meadow of half of ETo
    takes 51.1 in x 0.5 x 1,000 ft2 x 144/231 gal/(ft2 in)."""
    doubled = {"efficiency": {"low": 1, "high": 2}}
    own = {"covers": {"meadow": {"factor": 0.5}}, "efficiencies": {"spray": 0.7}}
    found = compare(parks(1_000, cover="meadow"), offer=["planting"], uncertainty=doubled, **own)
    ends = found.sensitivity.query("input == 'efficiency'").set_index("end")["baseline_m3"]
    perfect = 51.1 * 0.5 * 1_000 * 144 / 231 * GALLON_M3
    assert ends["high"] == pytest.approx(perfect)
    assert ends["low"] == pytest.approx(perfect / 0.7)


# - how sure ---------------------------------------------------------------------------------------


def test_low_and_high_stand_around_the_middle():
    cases = compare(parks(1_000, 2_000), offer=["planting"]).scenarios.set_index("case")
    assert (
        cases.loc["low", "saved_m3"]
        < cases.loc["middle", "saved_m3"]
        < cases.loc["high", "saved_m3"]
    )
    assert cases.loc["low", "npv"] < cases.loc["middle", "npv"] < cases.loc["high", "npv"]
    assert cases.loc["middle", "areas_changed"] == 0


def test_the_input_that_moves_the_choice_comes_first():
    """Within a tight budget dearer work drops an area; the price of water cannot move a choice that
    saves most water."""
    found = compare(parks(1_000, 2_000, 3_000), offer=["planting"], budget="16500 USD")
    assert found.sensitivity["input"].iloc[0] == found.summary["most_sensitive"] == "capital"
    assert (found.sensitivity.query("input == 'price'")["areas_changed"] == 0).all()


# - local minimums ---------------------------------------------------------------------------------


def check_profile(ground, profile, **product):
    rules = water_rules(offer=["turf"], profile=profile)
    products = {"turf60": Product.model_validate(product)}
    return water.compare(ground, turf_price(ground), rules, "USD", products=products).profile


@pytest.mark.parametrize(
    ("profile", "product", "results"),
    [
        # West Valley City UT 7-2-127: pile at least 1 1/2 in, face weight at least 50 oz/yd2,
        # drains at least 30 in/h
        (
            {
                "min_pile_height": "1 1/2 in",
                "min_pile_weight": "50 oz/yd^2",
                "min_drainage": "30 in/h",
                "drainage": {"turf60": "30 in/h"},
            },
            {"pile_height": "1 1/2 in", "pile_weight": "60 oz/yd^2"},
            ["pass", "pass", "pass"],
        ),
        # Weston FL 124.37.3: pile 1.75 to 2.5 in, at least 75 oz/yd2
        (
            {
                "min_pile_height": "1.75 in",
                "max_pile_height": "2.5 in",
                "min_pile_weight": "75 oz/yd^2",
            },
            {"pile_height": "2.75 in", "pile_weight": "60 oz/yd^2"},
            ["pass", "fail", "fail"],
        ),
        # Temple City CA: pile at least 1 2/3 in, drains at least 30 in/h
        (
            {"min_pile_height": "1 2/3 in", "min_drainage": "30 in/h"},
            {"pile_height": "1.5 in"},
            ["fail", "not known"],
        ),
    ],
)
def test_published_minimums(profile, product, results):
    found = check_profile(parks(1_000), profile, **product)
    assert list(found["result"]) == results
    assert (found["site"] == "Park 0").all()


def test_a_failing_site_is_told_among_the_findings():
    ground = parks(1_000)
    rules = water_rules(
        offer=["turf"], profile={"min_pile_height": "2 in", "min_drainage": "30 in/h"}
    )
    products = {"turf60": Product.model_validate({"pile_height": "1.5 in"})}
    found = water.compare(ground, turf_price(ground), rules, "USD", products=products).findings
    told = {finding.code: finding for finding in found}
    assert (
        told["profile-fails"].site == "Park 0"
        and "pile height at least" in told["profile-fails"].message
    )
    assert "drainage at least" in told["profile-unknown"].message


def test_coverage_is_a_share_of_the_site():
    """A front yard no more than 70 % turf (Beverly Hills code): two of three equal lawns pass, all
    three fail."""
    ground = parks(1_000, 1_000, 1_000, site=["A", "A", "A"], area=["1", "2", "3"])
    profile = {"max_coverage": "70 %"}
    assert list(check_profile(ground, profile)["result"]) == ["fail"]
    rules = water_rules(offer=["turf"], profile=profile, must_not=[{"site": "A", "area": "3"}])
    assert list(water.compare(ground, turf_price(ground), rules, "USD").profile["result"]) == [
        "pass"
    ]


def test_distance_to_trees():
    """Weston FL 124.37.3: at least 6 ft from a tree; one 5 ft away fails, one 7 ft away passes, no
    layer: not known."""
    side = units.FOOT_M
    square = shapely.box(0, 0, 10, 10)
    ground = parks(1_000, geometry=[square])
    profile = {"min_tree_distance": "6 ft"}
    assert list(check_profile(ground, profile)["result"]) == ["not known"]
    for feet, result in ((5, "fail"), (7, "pass")):
        tree = {
            "role": "exclude",
            "frame": 0,
            "geometry": shapely.Point(10 + feet * side, 5),
            "file": "",
            "layer": "trees",
        }
        near = type(ground)(**{**vars(ground), "context": pd.DataFrame([tree])})
        assert list(check_profile(near, profile)["result"]) == [result]


# - bad input --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (
            {"climate": {"eto": ["1 in"] * 11}},
            r"water\.climate\.eto: 11 values where twelve months are needed",
        ),
        (
            {"climate": {"eto": "1 in", "rain": ["-1 in"] + ["1 in"] * 11}},
            r"water\.climate\.rain: Jan: -1 in is negative",
        ),
        ({"climate": {"eto": "1 in", "place": "Fresno"}}, "eto and place both give the climate"),
        (
            {"efficiencies": {"spray": 1.2}},
            "irrigation 'spray': an efficiency is over 0 and at most 1, not 1.2",
        ),
        ({"covers": {"reeds": {"factor": 1.5}}}, "a factor of 1.5 is outside 0 to 1.3"),
        (
            {"offer": ["turff"]},
            "offer: conversion 'turff' is not one of irrigation, planting, turf",
        ),
        (
            {"must": [{"site": "Park 0", "conversion": "gravel"}]},
            "conversion 'gravel' is not one of those on offer",
        ),
        ({"conversions": {"gravel": {"cover": "bare_ground"}}}, "capital is needed"),
        (
            {"conversions": {"turf": {"rince": 2}}},
            r"key 'water\.conversions\.turf\.rince' is not known \(did you mean 'rinse'",
        ),
        (
            {
                "conversions": {
                    "turf": {"rebate": {"amount": "2 USD/ft^2", "date": "2026-05-31", "terms": " "}}
                }
            },
            "a rebate needs its terms",
        ),
        (
            {"conversions": {"turf": {"rebate": {"amount": "2 USD/ft^2", "terms": "x"}}}},
            r"rebate\.date' is needed",
        ),
        ({"price": {"price": "5 USD/ft^2"}}, "no price of water"),
        ({"turf_share": "150 %"}, "turf_share is a share"),
        (
            {"uncertainty": {"eto": {"low": 1.2, "high": 1.3}}},
            "low is a factor over 0 and at most 1",
        ),
    ],
)
def test_a_faulty_table_is_one_line(table, said):
    with pytest.raises(BidError, match=said) as refusal:
        make_bid(
            {"layers": [{"path": "parks.geojson"}], "water": {"climate": {"eto": "1 in"}} | table},
            file="parks.toml",
        )
    assert len(str(refusal.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        (
            {"cover": "cool_seson_lawn"},
            r"parks\.geojson, layer parks, feature 0, .*cover 'cool_seson_lawn' is not known.*cool_season_lawn",
        ),
        (
            {"irrigation": "spry"},
            r"parks\.geojson, layer parks, feature 0, .*irrigation method 'spry' is not known.*'spray'",
        ),
        ({"cover": ""}, "no area with an existing cover"),
    ],
)
def test_faulty_areas_are_one_line(columns, said):
    with pytest.raises(InputError, match=said) as refusal:
        compare(parks(1_000, 2_000, **columns), offer=["planting"])
    assert len(str(refusal.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"offer": ["planting"], "climate": {}}, r"water\.climate needs one of eto"),
        (
            {"offer": ["planting"], "climate": {"place": "Fresnoo"}},
            "no published ETo for 'Fresnoo'; did you mean 'Fresno'",
        ),
        ({"offer": ["turf"]}, "this run has no price of turf; state capital"),
        (
            {"offer": ["planting"], "conversions": {"planting": {"cover": "cactus"}}},
            "cover 'cactus' is not known",
        ),
        (
            {"offer": ["planting"], "conversions": {"planting": {"irrigation": "hoze"}}},
            "irrigation 'hoze' is not known",
        ),
        (
            {"offer": ["planting"], "conversions": {"planting": {"only_covers": ["lawn"]}}},
            "existing cover 'lawn' is not known",
        ),
        (
            {"offer": ["planting"], "budget": "100 USD/ft^2"},
            r"water\.budget: .* is no sum of money",
        ),
        (
            {"offer": ["planting"], "ordinance": {"landscape": "farm"}},
            r"water\.ordinance\.landscape: 'farm' is not known",
        ),
    ],
)
def test_what_the_stage_refuses_is_one_line(table, said):
    with pytest.raises(BidError, match=said) as refusal:
        compare(parks(1_000), **table)
    assert len(str(refusal.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("columns", "table"),
    [
        ({"cover": "cool_seson_lawn"}, {}),
        ({}, {"climate": {}}),
        ({}, {"must": [{"site": "Parc 0"}]}),
        ({}, {"ordinance": {"landscape": "farm"}}),
    ],
)
def test_what_will_be_refused_can_be_refused_before_turf_is_laid(columns, table):
    with pytest.raises((BidError, InputError)):
        water.check(parks(1_000, **columns), water_rules(**table), "USD")


def test_a_sound_bid_passes_the_early_check():
    water.check(parks(1_000), water_rules(must=[{"site": "Park 0", "conversion": "turf"}]), "USD")


def test_prices_in_another_currency_are_refused():
    """The shipped assumptions too: none is quietly taken as the bid's currency."""
    tables = {"layers": [{"path": "a.gpkg", "role": "turf"}], "currency": "EUR"}
    with pytest.raises(BidError) as refusal:
        make_bid(tables | {"water": {"offer": ["planting"], "price": {"price": "5 USD/m^3"}}})
    told = str(refusal.value)
    assert "water.price.price is 5 USD/m^3, but the bid's currency is EUR; give it in EUR" in told
    assert "these prices stand at defaults in another currency" in told
    assert "water.conversions.planting.capital" in told
    with pytest.raises(BidError) as refusal:
        water.compare(parks(1_000), None, water_rules(offer=["planting"]), "EUR")
    told = str(refusal.value)
    assert re.search(r"water.covers.\S+: upkeep is [0-9.]+ USD/\S+, but the bid's currency", told)


def test_what_is_assumed_is_told_in_the_bids_units():
    """By hand: 5.50 USD/ft^2 is 59.20 USD/m^2, 5.00 USD/HCF (100 ft^3) 1.77 USD/m^3; in a bid in
    US units they stand as they are shipped."""
    rules = water_rules(offer=["planting"])
    us, metric = (
        water.compare(parks(1_000), None, rules, "USD", told=told)
        for told in (units.US, units.METRIC)
    )
    said = [
        next(f.message for f in one.findings if f.code == "assumed-cost") for one in (us, metric)
    ]
    assert "capital 5.50 USD/ft^2" in said[0] and "price of water 5.00 USD/HCF" in said[0]
    assert "capital 59.20 USD/m2" in said[1] and "price of water 1.77 USD/m3" in said[1]
    assert "ft" not in said[1] and "HCF" not in said[1]
