"""Water and money against what others have published. Rows W… are those of the project's list of
check values."""

import numpy as np
import numpy_financial
import pandas as pd
import pyet
import pytest
from water_cases import ETO_51_1, parks, turf_price, water_rules

from geoturf import units, water
from geoturf.errors import BidError
from geoturf.rules.water.ordinance import laws, shipped
from geoturf.water import published
from geoturf.water.climate import months
from geoturf.water.demand import EXACT_GALLONS, ORDINANCE_GALLONS, volume_factor
from geoturf.water.money import present_value_factor, replacement_factor
from geoturf.water.ordinance import allowance_m3, estimated_use_m3, peak_month_allowance_m3
from geoturf.water.rain import effective_rain_m
from geoturf.water.weather import reference_eto

FT2, IN, GAL = units.FT2_M2, units.INCH_M, units.GALLON_M3
FRESNO_ETO = (
    51.1 * IN
)  # the examples' own figure: MWELO 2009 section 492.4, as printed in Colton ordinance O-008-14


def test_the_exact_constant_and_the_rounded_one():
    """W1b: a gallon is 231 cubic inches, a square foot 144 square inches; 23 CCR 492.4 rounds to
    0.62."""
    assert pytest.approx(0.6233766, abs=1e-7) == EXACT_GALLONS
    assert pytest.approx(EXACT_GALLONS, rel=1e-12) == FT2 * IN / GAL
    assert volume_factor("exact") == 1
    assert volume_factor("ordinance") - 1 == pytest.approx(-0.00542, abs=5e-6)
    assert ORDINANCE_GALLONS == 0.62


def test_allowance_of_a_landscape_without_special_areas():
    """W2: MWELO 2009 section 492.4 example 1 (Colton ordinance O-008-14 p. 12): 1,108,870 gal,
    1,482 HCF at 748 gal."""
    gallons = allowance_m3(FRESNO_ETO, 50_000 * FT2, 0.0, 0.7) / GAL
    assert gallons == pytest.approx(1_108_870, abs=0.5)
    assert round(gallons / 748) == 1482


def test_allowance_with_special_areas():
    """W3: p. 14 prints 1,127,808, having rounded 51.1 x 0.62 to 31.68 midway; unrounded it is
    1,127,879."""
    gallons = allowance_m3(FRESNO_ETO, 50_000 * FT2, 2_000 * FT2, 0.7) / GAL
    assert gallons == pytest.approx(1_127_808, rel=1e-4)
    assert gallons == pytest.approx(1_127_879, abs=0.5)


def test_estimated_use_by_hydrozone():
    """W4: p. 13, five zones at IE 0.71: printed 1,102,116 (rounded midway), within the
    allowance."""
    zones = [(0.8, 7_000), (0.7, 10_000), (0.5, 16_000), (0.3, 7_000), (0.2, 10_000)]
    assert sum(factor * area for factor, area in zones) == pytest.approx(24_700)
    gallons = (
        sum(estimated_use_m3(FRESNO_ETO, factor, 0.71, area * FT2) for factor, area in zones) / GAL
    )
    assert gallons == pytest.approx(1_102_116, rel=1e-4)
    assert gallons == pytest.approx(1_102_176.6, abs=0.1)
    assert gallons < allowance_m3(FRESNO_ETO, 50_000 * FT2, 0.0, 0.7) / GAL


def test_estimated_use_with_a_special_area():
    """W5: p. 14 prints 1,111,936 < 1,127,808 (the sum 23,500 of its zones is from memory)."""
    use = estimated_use_m3(FRESNO_ETO, 1.0, 0.71, 23_500 * FT2) + estimated_use_m3(
        FRESNO_ETO, 1.0, 1.0, 2_000 * FT2
    )
    assert use / GAL == pytest.approx(1_111_936, rel=1e-4)


def test_the_worksheet_reproduces_the_printed_example():
    """W2 and W4 through the whole stage: the example's landscape as a bid, its old ETAF and
    efficiency as local overrides."""
    covers = {
        name: {"factor": factor}
        for name, factor in zip("abcde", (0.8, 0.7, 0.5, 0.3, 0.2), strict=True)
    }
    ground = parks(7_000, 10_000, 16_000, 7_000, 10_000, cover=list("abcde"), site="Example")
    rules = water_rules(
        covers=covers,
        efficiencies={"spray": 0.71},
        ordinance={"law": "california", "etaf": {"non_residential": 0.7}},
        offer=["irrigation"],
        budget="0 USD",
    )
    site = water.compare(ground, None, rules, "USD").compliance.query("plan == 'existing'").iloc[0]
    assert site["mawa_m3"] / GAL == pytest.approx(1_108_870, abs=0.5)
    assert site["etwu_m3"] / GAL == pytest.approx(1_102_116, rel=1e-4)
    assert site["complies"]


@pytest.mark.parametrize(
    ("landscape", "etaf"), [("residential", 0.55), ("non_residential", 0.45), ("existing", 0.8)]
)
def test_adjustment_factors(landscape, etaf):
    """W1 (23 CCR 492.4) and W20 (existing landscapes over an acre, Baldwin Park code)."""
    assert published.adjustment_factors(water_rules())[landscape] == etaf


def test_a_local_factor_goes_first():
    """W19: San Diego's regulations use 0.42."""
    rules = water_rules(ordinance={"etaf": {"non_residential": 0.42}}, offer=["irrigation"])
    found = compliance_of(parks(1_000), rules)
    assert found["etaf"].unique() == [0.42]
    assert found["mawa_m3"].iloc[0] / GAL == pytest.approx(51.1 * 0.62 * 0.42 * 1_000)


def compliance_of(ground, rules):
    return water.compare(ground, None, rules, "USD").compliance


def test_irrigation_efficiencies_of_the_ordinance():
    """W1: 23 CCR 492.7, overhead spray 0.75, drip 0.81."""
    shares = published.efficiencies(water_rules())
    assert (shares["spray"], shares["drip"]) == (0.75, 0.81)


@pytest.mark.parametrize(
    ("place", "inches", "year"),
    [
        ("Vacaville", "0.7 1.4 3.2 5.2 6.3 7.6 8.2 7.2 5.5 4.3 1.6 1.1", 52.3),
        ("Lagoon Valley", "1.1 1.7 2.8 4.0 5.5 6.1 7.8 6.0 4.8 3.1 1.4 0.9", 45.2),
    ],
)
def test_published_evapotranspiration(place, inches, year):
    """W8: City of Vacaville code, Table 14.27.030.A, months and printed total."""
    found = months(water_rules(climate={"place": place}).climate, ".").eto_m / IN
    np.testing.assert_allclose(found, [float(x) for x in inches.split()])
    assert found.sum() == pytest.approx(year)


def test_every_published_eto_table_closes():
    """W8, W9: the year's totals printed in the sources (Vacaville code; 23 CCR 495 App. A from
    memory)."""
    totals = {
        "Vacaville": 52.3,
        "Lagoon Valley": 45.2,
        "Fresno": 51.1,
        "San Diego": 46.5,
        "Los Angeles": 50.1,
    }
    rows = pd.DataFrame(published.rows_of("eto")).astype({"value": float, "month": int})
    assert (
        rows.groupby("place")["month"].apply(sorted).map(lambda m: m == list(range(1, 13)))
    ).all()
    assert rows.groupby("place")["value"].sum().to_dict() == pytest.approx(totals)
    assert set(rows.loc[rows["place"].isin(["Fresno", "San Diego", "Los Angeles"]), "seen"]) == {
        "memory"
    }


@pytest.mark.parametrize("name", ["eto", "covers", "irrigation", "plant_factors"])
def test_every_published_row_has_value_unit_and_source(name):
    for row in published.rows_of(name):
        assert float(row["value"]) >= 0 and row["unit"] and row["source"] and "year" in row, row


@pytest.mark.parametrize("law", laws())
def test_every_shipped_ordinance_says_where_its_numbers_come_from_and_where_they_hold(law):
    record = shipped(law)
    assert record.name and record.source and record.year and record.border
    assert record.etaf and record.special_etaf and record.gallons


def test_usgs_volumes():
    """W10: USGS water-use conversion page."""
    assert pytest.approx(325_851, abs=0.5) == units.ACRE_FT_M3 / GAL
    assert pytest.approx(27_154, abs=0.5) == units.ACRE_M2 * IN / GAL
    assert pytest.approx(748.05, abs=0.005) == units.HCF_M3 / GAL
    assert pytest.approx(3.07, abs=0.005) == 1e6 * GAL / units.ACRE_FT_M3


def uccle(**over):
    """FAO-56 example 18: Uccle, 6 July."""
    day = {
        "tmax_c": 21.5,
        "tmin_c": 12.3,
        "rhmax_pct": 84.0,
        "rhmin_pct": 63.0,
        "wind_m_s": 2.078,
        "solar_mj_m2": 22.07,
    }
    return pd.DataFrame(day | over, index=pd.DatetimeIndex(["2001-07-06"]))


def test_evapotranspiration_of_a_day_in_uccle():
    """W11: FAO-56 example 18, p. 72: ETo 3.9 mm/d (3.88)."""
    assert reference_eto(uccle(), 50.80, 100.0).iloc[0] == pytest.approx(3.88, abs=0.01)


def test_evapotranspiration_from_sunshine():
    """W11: the same day from its 9.25 h of sunshine."""
    day = uccle(sunshine_h=9.25).drop(columns="solar_mj_m2")
    assert reference_eto(day, 50.80, 100.0).iloc[0] == pytest.approx(3.9, abs=0.05)


def test_the_library_agrees_with_the_steps_of_fao_56():
    """W13: FAO-56 examples 2, 3, 8, 9 (as in pyet's own tests): pressure, psychrometric constant,
    vapour pressure, radiation, daylight."""
    assert pyet.calc_press(1800) == pytest.approx(81.8, abs=0.1)
    assert pyet.calc_psy(81.8) == pytest.approx(0.054, abs=5e-4)
    mean = pd.Series([19.75])
    assert pyet.calc_es(mean, pd.Series([24.5]), pd.Series([15.0]))[0] == pytest.approx(
        2.39, abs=0.005
    )
    day = pd.DatetimeIndex(["2015-09-03"])
    lat = np.deg2rad(-20)
    assert np.asarray(pyet.extraterrestrial_r(day, lat)).ravel()[0] == pytest.approx(32.2, abs=0.05)
    assert np.asarray(pyet.daylight_hours(day, lat)).ravel()[0] == pytest.approx(11.7, abs=0.05)


@pytest.mark.parametrize(
    ("cover", "low", "high"),
    [("very_low", 0, 0.1), ("low", 0.1, 0.3), ("moderate", 0.4, 0.6), ("high", 0.7, 1.0)],
)
def test_plant_factor_ranges(cover, low, high):
    """W17: 23 CCR 491, current wording (from memory; the 2009 text had low 0 to 0.3)."""
    row = next(row for row in published.rows_of("plant_factors") if row["category"] == cover)
    assert (float(row["low"]), float(row["high"])) == (low, high)


def test_lawn_factors():
    """W18: ASABE S623 annual plant factors, cool 0.8 and warm 0.6; the ranges reach FAO-56 Table 12
    (0.95, 0.85)."""
    rows = {row["cover"]: row for row in published.rows_of("covers")}
    found = [
        (float(rows[c]["value"]), float(rows[c]["high"]))
        for c in ("cool_season_lawn", "warm_season_lawn")
    ]
    assert found == [(0.8, 0.95), (0.6, 0.85)]


def test_a_lawn_against_low_water_planting():
    """W15, from W1: 1,000 ft2 at 51.1 in by the ordinance's constant: lawn 33,794 gal, low-water
    planting on drip 7,823."""
    found = water.compare(
        parks(1_000), None, water_rules(constant="ordinance", offer=["planting"]), "USD"
    ).table.iloc[0]
    assert found["baseline_m3"] / GAL == pytest.approx(33_794, abs=0.5)
    assert found["use_m3"] / GAL == pytest.approx(7_823, abs=0.7)


def test_synthetic_turf_takes_only_what_is_stated_for_it():
    """W15: no evapotranspiration; one rinse of 0.06 gal/ft2 a month is 720 gal a year on 1,000
    ft2."""
    rules = water_rules(conversions={"turf": {"coolings": 0}}, offer=["turf"])
    ground = parks(1_000)
    found = water.compare(ground, turf_price(ground), rules, "USD").table.iloc[0]
    assert found["use_m3"] / GAL == pytest.approx(720)


def test_the_peak_month_allowance():
    """W16: EPA 2009 revised approach (nepis P1010FI8): 70 % of the peak month's ETo x area x
    0.6233; Fresno's July has 8.4 in."""
    gallons = peak_month_allowance_m3(np.array([0.9, 8.4, 0.6]) * IN, 1_000 * FT2) / GAL
    assert gallons == pytest.approx(0.70 * 8.4 * 1_000 * 0.6233, rel=2e-4)


def test_the_peak_month_of_a_lawn():
    """W16: July, 8.4 in, lawn 0.8 by spray 0.75, a quarter of 2 in of rain: (6.72 - 0.5) / 0.75 x
    1,000 x 0.6233 gallons."""
    rain = ["0 in"] * 6 + ["2 in"] + ["0 in"] * 5
    found = compliance_of(
        parks(1_000), water_rules(climate={"eto": ETO_51_1, "rain": rain}, offer=["irrigation"])
    ).iloc[0]
    assert found["peak_m3"] / GAL == pytest.approx(6.22 / 0.75 * 1_000 * 0.6233, rel=2e-4)
    assert found["peak_allowance_m3"] / GAL == pytest.approx(0.70 * 8.4 * 1_000 * 0.6233, rel=2e-4)


def test_effective_rain_by_the_scs_formula():
    """FAO CROPWAT 8: P (125 - 0.2 P) / 125 up to 250 mm, 125 + 0.1 P above; both give 150 at 250
    mm."""
    rain = np.array([0, 50, 100, 250, 300, 0, 0, 0, 0, 0, 0, 0]) / 1000
    rules = water_rules(climate={"eto": "5 in", "effective_rain": "scs"}).climate
    found = effective_rain_m(rules, rain, np.full(12, 1.0)) * 1000
    np.testing.assert_allclose(found[:5], [0, 46, 84, 150, 155])


def test_effective_rain_of_dependable_rain():
    """FAO/AGLW (from memory): 0.6 P - 10 up to 70 mm, 0.8 P - 24 above; both give 32 at 70 mm,
    never below 0."""
    rain = np.array([10, 70, 100, 0, 0, 0, 0, 0, 0, 0, 0, 0]) / 1000
    rules = water_rules(climate={"eto": "5 in", "effective_rain": "fao"}).climate
    np.testing.assert_allclose(effective_rain_m(rules, rain, np.zeros(12))[:3] * 1000, [0, 32, 56])


def test_effective_rain_of_technical_release_21():
    """USDA NEH 623 ch. 2, equation 2-84 (from memory): the soil factor is 1 at 3 in; 1 in of rain
    and 2 in of ETc give 0.66 in."""
    rules = water_rules(climate={"eto": "5 in", "effective_rain": "tr21"}).climate
    found = effective_rain_m(rules, np.full(12, 1.0) * IN, np.full(12, 2.0) * IN) / IN
    assert found[0] == pytest.approx(0.66, abs=0.005)


# - money ------------------------------------------------------------------------------------------


def test_the_oracle_itself():
    """W14: examples in numpy-financial's docstrings (Gitman)."""
    assert numpy_financial.npv(0.08, [-40_000, 5_000, 8_000, 12_000, 30_000]) == pytest.approx(
        3065.22267
    )
    assert numpy_financial.irr([-100, 39, 59, 55, 20]) == pytest.approx(0.28095, abs=1e-5)
    assert numpy_financial.pmt(0.075 / 12, 180, 200_000) == pytest.approx(-1854.0247, abs=1e-4)
    assert numpy_financial.fv(0.05 / 12, 120, -100, -100) == pytest.approx(15692.9289, abs=1e-4)


def test_present_value_of_a_level_year():
    """W14: the payment of 200,000 over 180 months at 7.5 % a year is what its present value factor
    says."""
    assert 200_000 / present_value_factor(180, 0.075 / 12) == pytest.approx(1854.0247, abs=1e-4)


@pytest.mark.parametrize("growth", [0.0, 0.04])
def test_factors_against_the_oracle(growth):
    """numpy-financial on the flows written out."""
    flows = [0.0] + [(1 + growth) ** year for year in range(1, 21)]
    assert present_value_factor(20, 0.03, growth) == pytest.approx(numpy_financial.npv(0.03, flows))
    again = [(1 + growth) ** year if year in (6, 12, 18) else 0.0 for year in range(21)]
    assert replacement_factor(6, 20, 0.03, growth) == pytest.approx(
        numpy_financial.npv(0.03, again)
    )


def test_net_present_value_of_a_conversion_against_the_oracle():
    """numpy-financial on the flows of one conversion, written out year by year."""
    conversion = {
        "cover": "low_water_planting",
        "irrigation": "drip",
        "capital": "4.00 USD/ft^2",
        "upkeep": "0.10 USD/ft^2",
        "life": 8,
        "replacement_share": "30 %",
        "rebate": {
            "amount": "2.00 USD/ft^2",
            "date": "2026-05-31",
            "terms": "invented: applied for before work starts",
            "most": "1500 USD",
        },
    }
    rules = water_rules(
        conversions={"beds": conversion},
        offer=["beds"],
        covers={"lawn": {"factor": 0.8, "upkeep": "0.25 USD/ft^2"}},
        price={"price": "6.00 USD/HCF", "escalation": "5 %"},
        horizon=20,
        discount_rate="4 %",
        upkeep_escalation="2 %",
    )
    row = water.compare(parks(1_000, cover="lawn"), None, rules, "USD").table.iloc[0]
    assert (row["capital"], row["rebate"], row["upkeep_saved"]) == (
        4000.0,
        1500.0,
        pytest.approx(150.0),
    )
    saved_hcf = row["saved_m3"] / units.HCF_M3
    flows = [-4000.0 + 1500.0]
    for year in range(1, 21):
        replacement = 1200.0 if year in (8, 16) else 0.0
        flows.append(saved_hcf * 6.00 * 1.05**year + (150.0 - replacement) * 1.02**year)
    assert row["npv"] == pytest.approx(numpy_financial.npv(0.04, flows))
    assert row["payback_years"] == pytest.approx(2500.0 / (saved_hcf * 6.00 + 150.0))
    costs = [2500.0] + [
        ((1200.0 if year in (8, 16) else 0.0) - 150.0) * 1.02**year for year in range(1, 21)
    ]
    yearly = -numpy_financial.pmt(0.04, 20, numpy_financial.npv(0.04, costs))
    assert row["cost_per_m3"] == pytest.approx(yearly / row["saved_m3"])


def test_a_factor_outside_its_category_is_refused():
    with pytest.raises(
        BidError, match=r"a plant factor of 0\.5 is outside 0\.1 to 0\.3, the range of 'low'"
    ):
        water.compare(
            parks(1), None, water_rules(covers={"mine": {"factor": 0.5, "category": "low"}}), "USD"
        )


def test_compliance_adds_up():
    rules = water_rules(offer=["planting"], ordinance={"special_uses": ["sports"]})
    found = compliance_of(parks(3_000, 1_000, use=["", "sports"], site="One"), rules).iloc[0]
    assert found["landscape_m2"] == pytest.approx(4_000 * FT2)
    assert found["special_m2"] == pytest.approx(1_000 * FT2)
    assert found["mawa_m3"] / GAL == pytest.approx(51.1 * 0.62 * (0.45 * 4_000 + 0.55 * 1_000))
    assert found["etwu_m3"] / GAL == pytest.approx(51.1 * 0.62 * (0.8 / 0.75 * 3_000 + 1_000))
