"""Metered use in place of what the formula says: it adds up to the bills, what a conversion leaves
of it is by a stated rule, and one line for each fault."""

import numpy as np
import pytest
from water_cases import parks, turf_price, water_rules

from geoturf import water
from geoturf.errors import InputError
from geoturf.units import GALLON_M3, HCF_M3

KGAL = 1_000 * GALLON_M3
MONTHS = [0, 0, 1, 2, 4, 5, 6, 5, 3, 2, 0, 1]  # kgal


def compared(tmp_path, bills, ground=None, **rules):
    (tmp_path / "bills.csv").write_text(bills, encoding="utf-8")
    given = {"offer": ["planting", "irrigation"], "metered": "bills.csv"} | rules
    ground = ground or parks(1_000, 3_000, 2_000, site=["A", "A", "B"], area=["1", "2", "1"])
    return water.compare(
        ground, turf_price(ground), water_rules(**given), "USD", folder=str(tmp_path)
    )


def by_area(found):
    return found.table.groupby("area_index").first()["baseline_m3"]


def test_a_years_bill_is_the_baseline_divided_as_the_formula_divides_it(tmp_path):
    """50 kgal on lawns of 1,000 and 3,000 ft2: 12.5 and 37.5; the site without a bill stays with
    the formula, 51.1 in x 0.8 / 0.75."""
    found = by_area(compared(tmp_path, "site,use_kgal\nA,50\n"))
    assert found[0] / KGAL == pytest.approx(12.5) and found[1] / KGAL == pytest.approx(37.5)
    assert found[2] / GALLON_M3 == pytest.approx(51.1 * 0.8 / 0.75 * 2_000 * 144 / 231)


def test_bills_by_month_are_kept_month_by_month(tmp_path):
    rows = "".join(f"B,{month},{use}\n" for month, use in enumerate(MONTHS, 1))
    found = compared(tmp_path, "site,month,use_kgal\n" + rows, parks(2_000, site=["B"]))
    np.testing.assert_allclose(found.monthly["baseline_m3"] / KGAL, MONTHS)


def test_units_of_bills(tmp_path):
    assert by_area(compared(tmp_path, "site,use_ccf\nB,10\n"))[2] / HCF_M3 == pytest.approx(10)


def test_a_month_that_the_formula_leaves_dry_is_divided_by_the_years_use(tmp_path):
    """No ETo in January, 8 kgal billed: 2 to the smaller lawn, 6 to the other."""
    rows = "".join(f"A,{month},{8 if month == 1 else 0}\n" for month in range(1, 13))
    found = compared(
        tmp_path, "site,month,use_kgal\n" + rows, climate={"eto": ["0 in"] + ["5 in"] * 11}
    )
    np.testing.assert_allclose(by_area(found)[[0, 1]] / KGAL, [2, 6])


@pytest.mark.parametrize("metered", [40, 200])
def test_what_a_conversion_leaves_of_the_meters_departure(tmp_path, metered):
    """A site billed for less or more than the formula's 136 kgal: planting takes what is planned
    for it; new irrigation of the same lawn ends waste but not thrift; a conversion that keeps the
    irrigation keeps both."""
    keeps = {"cover": "warm_season_lawn", "capital": "1 USD/ft^2"}
    rules = {"offer": ["planting", "irrigation", "keeps"], "conversions": {"keeps": keeps}}

    def rows(site, kgal):
        table = compared(tmp_path, f"site,use_kgal\n{site},{kgal}\n", **rules).table
        return table[table["site"] == "A"].set_index(["area", "conversion"])

    model, found = rows("B", 1), rows("A", metered)
    ratio = metered * KGAL / model["baseline_m3"].xs("planting", level=1).sum()
    assert (ratio < 1) == (metered == 40)
    for (area, conversion), row in found.iterrows():
        factor = {"planting": 1, "irrigation": min(ratio, 1), "keeps": ratio}[conversion]
        assert row["use_m3"] == pytest.approx(factor * model.loc[(area, conversion), "use_m3"])
        assert row["saved_m3"] == pytest.approx(row["baseline_m3"] - row["use_m3"])


def test_the_weather_does_not_move_what_the_meter_says(tmp_path):
    found = compared(tmp_path, "site,use_kgal\nA,50\nB,20\n")
    np.testing.assert_allclose(found.sensitivity["baseline_m3"] / KGAL, 70)


def test_the_models_calibration_is_told(tmp_path):
    """By hand: 4,000 ft2 take 4,000 x 51.1 x 0.8 / 0.75 x 0.62338 = 135,915 gal by the formula;
    50,000 are 0.37 of it."""
    told = next(
        f for f in compared(tmp_path, "site,use_gal\nA,50000\n").findings if f.code == "metered"
    ).message
    assert "1 of 2 sites are metered (bills.csv) and take 0.37 of what the formula says" in told


def test_the_steps_to_the_ordinance_still_close(tmp_path):
    rows = compared(tmp_path, "site,use_kgal\nA,50\n").differences
    added = rows[["etwu_m3", "special_m3", "constant_m3", "rain_m3", "unplanted_m3"]].sum(axis=1)
    np.testing.assert_allclose(added, rows["use_m3"])


@pytest.mark.parametrize(
    ("bills", "said"),
    [
        ("site,use_kgal\nAa,50\n", r"bills\.csv: line 2: no compared area has site 'Aa'; "),
        ("site,use_kgal\nA,50\nA,60\n", "line 3: site 'A' has this year twice"),
        ("site,month,use_kgal\nA,Jan,5\n", "site 'A' has no use for Feb, Mar"),
        ("site,month,use_kgal\nA,Jan,5\nA,,60\n", "site 'A' has a year's use and months' too"),
        ("site,month,use_kgal\nA,Brumaire,5\n", "line 2: 'Brumaire' is no month"),
        ("site,use_kgal\nA,-5\n", "line 2: use -5 is negative"),
        ("site,use_kgal\nA,some\n", "line 2: use 'some' is not a number"),
        ("site,use\nA,5\n", r"needs a column use_kgal or use_hcf \(it has: site, use\)"),
        ("site,use_kgal,use_hcf\nA,5,6\n", "has two columns of use"),
    ],
)
def test_faulty_bills_are_one_line(tmp_path, bills, said):
    with pytest.raises(InputError, match=said) as refusal:
        compared(tmp_path, bills)
    assert len(str(refusal.value).splitlines()) == 1


def test_bills_that_are_not_there_are_one_line(tmp_path):
    with pytest.raises(InputError, match="there is no such file beside the bid"):
        water.check(
            parks(1_000), water_rules(metered="none.csv", offer=["planting"]), "USD", str(tmp_path)
        )
