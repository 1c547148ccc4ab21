"""What rain counts, and what is worth its money: ways of counting rain are among what is unsure,
and a budget is not used up on what never pays back."""

import numpy as np
import numpy_financial
import pytest
from water_cases import ETO_51_1, parks, water_rules

from geoturf import water
from geoturf.bid import make_bid
from geoturf.errors import BidError
from geoturf.units import GALLON_M3, HCF_M3

RAIN = ["3 in", "3 in", "2 in", "1 in"] + ["0 in"] * 5 + ["1 in", "2 in", "3 in"]
RAINY = {"eto": ETO_51_1, "rain": RAIN}


def compare(ground, **given_rules):
    return water.compare(
        ground, None, water_rules(**({"offer": ["planting"]} | given_rules)), "USD"
    )


# - rain -------------------------------------------------------------------------------------------


def baseline(climate):
    return compare(parks(1_000), climate=climate).summary["baseline_m3"]


def test_rain_that_is_stated_counts_by_the_stated_default():
    """USDA NEH 623 ch. 2 (tr21): rain used to count for nothing until a way was named."""
    assert (
        baseline(RAINY)
        == baseline(RAINY | {"effective_rain": "tr21"})
        < baseline(RAINY | {"effective_rain": "none"})
    )
    told = [f for f in compare(parks(1_000), climate=RAINY).findings if f.code == "rain-method"]
    assert "tr21" in told[0].message
    assert "rain-method" not in [
        f.code for f in compare(parks(1_000), climate=RAINY | {"effective_rain": "scs"}).findings
    ]
    assert "no-rain" in [f.code for f in compare(parks(1_000)).findings]


@pytest.mark.parametrize("own", ["none", "scs", "tr21"])
def test_the_ways_of_counting_rain_are_among_what_is_unsure(own):
    """Each end is a run of its own with that way stated; no other way goes beyond them."""
    found = compare(parks(1_000), climate=RAINY | {"effective_rain": own})
    ends = found.sensitivity.query("input == 'rain_method'").set_index("end")
    reruns = {
        way: baseline(RAINY | {"effective_rain": way}) for way in ("none", "scs", "fao", "tr21")
    }
    for end, due in (("low", max(reruns.values())), ("high", min(reruns.values()))):
        assert ends.loc[end, "baseline_m3"] == pytest.approx(due)
        assert reruns[ends.loc[end, "factor"]] == pytest.approx(due)
    cases = found.scenarios.set_index("case")
    assert (cases.loc["low", "rain_method"], cases.loc["high", "rain_method"]) == tuple(
        ends["factor"][["high", "low"]]
    )


def test_the_spread_of_rain_is_in_the_low_and_high_cases():
    """With every factor at 1 only the way of counting rain is left to set them apart."""
    still = {name: {"low": 1, "high": 1} for name in ("eto", "efficiency", "price")}
    cases = compare(parks(1_000), climate=RAINY, uncertainty=still).scenarios.set_index("case")
    assert (
        cases.loc["low", "saved_m3"]
        < cases.loc["middle", "saved_m3"]
        < cases.loc["high", "saved_m3"]
    )


# - worth its money --------------------------------------------------------------------------------

# on 1,000 ft2: cool-season lawn 34,000 gal a year against planting's 7,900; at 5 USD/HCF and 80 USD
# of upkeep some 254 USD a year
DEAR = {
    "cover": "low_water_planting",
    "irrigation": "drip",
    "capital": "20 USD/ft^2",
}  # pays back in 79 years
CHEAP = DEAR | {"capital": "2 USD/ft^2"}  # in 8


def chosen(ground, **rules):
    given = {
        "conversions": {"dear": DEAR, "cheap": CHEAP | {"only_covers": ["warm season"]}},
        "budget": "900000 USD",
    } | rules
    found = water.compare(ground, None, water_rules(**given), "USD")
    taken = found.table[found.table["chosen"]]
    return list(zip(taken["area_index"], taken["conversion"], strict=True)), found


def two(**columns):
    return parks(1_000, 1_000, cover=["cool_season_lawn", "warm_season_lawn"], **columns)


def test_thirty_years_is_the_longest_unless_the_bid_says_otherwise():
    rules = make_bid(
        {"layers": [{"path": "x"}], "water": {"climate": {"eto": "1 in"}}}, file="x.toml"
    ).water
    assert rules.longest_payback == 30 and not rules.positive_npv


def test_a_budget_is_not_used_up_on_what_never_pays_back():
    """79 years by hand: 20,000 / 254; the lawn with the cheap one takes that, the other stays, and
    what is left is told."""
    taken, found = chosen(two(), longest_payback=30)
    assert taken == [(1, "cheap")]
    dear = found.table.query("area_index == 0").iloc[0]
    saved_hcf = dear["saved_m3"] / GALLON_M3 / 748.05
    assert (
        dear["payback_years"] == pytest.approx(20_000 / (saved_hcf * 5 + 80), rel=1e-4)
        and dear["payback_years"] > 30
    )
    assert found.summary["left"] == "nothing else on offer pays back within 30 years"
    assert found.curve["spent"].max() == found.summary["chosen"]["capital"] == 2_000


def test_without_a_limit_all_is_spent_that_saves():
    taken, found = chosen(two(), longest_payback=0)
    assert taken == [(0, "dear"), (1, "dear")] or taken == [(0, "dear"), (1, "cheap")]
    assert found.summary["left"] == "nothing else is on offer"


def test_a_negative_net_present_value_can_be_ruled_out():
    found = chosen(two(), longest_payback=0, positive_npv=True)[1]
    taken = found.table[found.table["chosen"]]
    assert len(taken) == 1 and (taken["npv"] >= 0).all()
    assert (found.table.query("area_index == 0")["npv"] < 0).all()


def test_what_must_convert_converts_whatever_it_costs():
    assert chosen(two(), longest_payback=30, must=[{"site": "Park 0"}])[0] == [
        (0, "dear"),
        (1, "cheap"),
    ]


@pytest.mark.parametrize("wanted", [{"areas": 1}, {"ground": "500 ft^2"}])
def test_a_district_gets_its_minimum_by_what_pays_back_soonest(wanted):
    """Nothing in the North pays back in time: one lawn of the two is let in, the one with the more
    to save."""
    ground = parks(
        1_000,
        1_000,
        1_000,
        cover=["warm_season_lawn", "cool_season_lawn", "warm_season_lawn"],
        district=["N", "N", "S"],
    )
    conversions = {"dear": DEAR}
    taken, _ = chosen(ground, longest_payback=30, conversions=conversions, districts={"N": wanted})
    assert taken == [(1, "dear")]


def test_the_rule_leaves_the_best_choice_among_what_is_worth_it():
    """By brute force over the lawns: those whose planting pays back within the limit, within the
    budget."""
    rng = np.random.default_rng(4)
    ground = parks(*rng.integers(500, 3_000, 8), irrigation=["spray", "worn_spray"] * 4)
    found = compare(ground, longest_payback=20, budget="30000 USD", gap="0 %")
    rows = found.table
    worth = rows[rows["payback_years"] <= 20]
    assert 0 < len(worth) < len(rows)
    best = 0.0
    for bits in range(2 ** len(worth)):
        part = worth[[bool(bits >> k & 1) for k in range(len(worth))]]
        if part["capital"].sum() <= 30_000:
            best = max(best, part["saved_m3"].sum())
    assert found.summary["chosen"]["saved_m3"] == pytest.approx(best)


# - until plants are established -------------------------------------------------------------------

YOUNG = {"establishing_years": 2, "establishing_cover": "moderate_water_planting"}


def beds(**given):
    own = DEAR | {"capital": "4 USD/ft^2"} | given
    rules = {
        "conversions": {"beds": own},
        "horizon": 5,
        "discount_rate": "4 %",
        "price": {"price": "6 USD/HCF", "escalation": "5 %"},
    }
    return water.compare(parks(1_000), None, water_rules(**rules), "USD")


def test_young_plants_are_watered_as_the_cover_stated_for_them():
    """By hand: 51.1 in x (0.5 - 0.2) / 0.81 on 1,000 ft2 a year more; the saving a year is that of
    plants established."""
    young, grown = beds(**YOUNG), beds()
    extra = 51.1 * 0.3 / 0.81 * 1_000 * 144 / 231
    assert young.summary["chosen"]["establishing_m3"] / GALLON_M3 == pytest.approx(extra)
    assert (
        young.summary["chosen"]["establishing_years"] == 2
        and grown.summary["chosen"]["establishing_m3"] == 0
    )
    assert young.table["saved_m3"][0] == grown.table["saved_m3"][0]


def test_their_water_is_in_net_present_value_and_cost():
    """numpy-financial on the flows of five years, the extra water in the first two."""
    row, grown = beds(**YOUNG).table.iloc[0], beds().table.iloc[0]
    extra_hcf = 51.1 * 0.3 / 0.81 * 1_000 * 144 / 231 * GALLON_M3 / HCF_M3
    saved_hcf = grown["saved_m3"] / HCF_M3
    hcf = [0.0] + [saved_hcf - (extra_hcf if year <= 2 else 0.0) for year in range(1, 6)]
    upkeep = [0.0] + [grown["upkeep_saved"] * 1.03**year for year in range(1, 6)]
    flows = [-4_000.0] + [hcf[year] * 6 * 1.05**year + upkeep[year] for year in range(1, 6)]
    assert row["npv"] == pytest.approx(numpy_financial.npv(0.04, flows))
    present = numpy_financial.npv(0.04, [-4_000.0, *upkeep[1:]])
    assert row["cost_per_m3"] == pytest.approx(-present / (numpy_financial.npv(0.04, hcf) * HCF_M3))
    chosen = beds(**YOUNG).summary["chosen"]
    assert (chosen["npv"], chosen["cost_per_m3"]) == (
        pytest.approx(row["npv"]),
        pytest.approx(row["cost_per_m3"]),
    )


def test_two_years_are_assumed_of_the_shipped_planting_and_told():
    assert compare(parks(1_000)).summary["chosen"]["establishing_years"] == 2
    assert "planting.establishing_years 2" in compare(parks(1_000)).findings[0].message


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"establishing_years": 2}, "establishing_years needs establishing_cover"),
        (YOUNG | {"establishing_years": 30}, "establishing_years is 0 to 20 years"),
        (YOUNG | {"establishing_cover": "cactus"}, "cover 'cactus' is not known"),
    ],
)
def test_faulty_establishment_is_one_line(given, said):
    with pytest.raises(BidError, match=said) as refusal:
        beds(**given)
    assert len(str(refusal.value).splitlines()) == 1
