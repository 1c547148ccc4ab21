"""Quantities as people write them. Second opinion: pint. Facts: NIST SP 811 (2008) Appendix B."""

import time
from decimal import ROUND_HALF_UP, Decimal
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geoturf import units
from geoturf.units import UnitError, read, read_money, round_down, round_up


@cache
def pint():
    """The registry of the package pint, which takes its time to load."""
    from pint import UnitRegistry

    return UnitRegistry()


SI = {
    "length": "m",
    "area": "m^2",
    "volume": "m^3",
    "mass": "kg",
    "mass per area": "kg/m^2",
    "mass per length": "kg/m",
    "density": "kg/m^3",
    "area per time": "m^2/hour",
    "length per time": "m/hour",
    "volume per time": "m^3/hour",
    "area per volume": "m^2/m^3",
    "time": "hour",
}
#: the same unit in geoturf's words and in pint's
WORDS = [
    ("length", "ft", "international_foot"),
    ("length", "in", "inch"),
    ("length", "yd", "yard"),
    ("length", "mi", "mile"),
    ("length", "mm", "mm"),
    ("area", "ft^2", "international_foot^2"),
    ("area", "yd^2", "yard^2"),
    ("area", "acre", "43560 international_foot^2"),
    ("area", "ha", "hectare"),
    ("volume", "gal", "gallon"),
    ("volume", "hcf", "100 international_foot^3"),
    ("volume", "acre_ft", "43560 international_foot^3"),
    ("volume", "kgal", "1000 gallon"),
    ("volume", "Mgal", "1000000 gallon"),
    ("volume", "CCF", "100 international_foot^3"),
    ("volume", "cf", "international_foot^3"),
    ("volume", "acre-inch", "43560 international_foot^2 inch"),
    ("volume", "acre-feet", "43560 international_foot^3"),
    ("volume", "kL", "1000 liter"),
    ("volume", "ML", "1000000 liter"),
    ("volume", "fl_oz", "fluid_ounce"),
    ("volume", "yd^3", "yard^3"),
    ("mass", "lb", "pound"),
    ("mass", "oz", "ounce"),
    ("mass", "ton", "short_ton"),
    ("mass", "t", "metric_ton"),
    ("mass per area", "oz/yd^2", "ounce/yard^2"),
    ("mass per area", "lb/ft^2", "pound/international_foot^2"),
    ("density", "lb/ft^3", "pound/international_foot^3"),
    ("density", "ton/yd^3", "short_ton/yard^3"),
    ("area per time", "ft^2/h", "international_foot^2/hour"),
    ("volume per time", "yd^3/day", "yard^3/day"),
    ("area per volume", "ft^2/gal", "international_foot^2/gallon"),
    ("time", "min", "minute"),
    ("time", "year", "year"),
]


@pytest.mark.parametrize(("dimension", "ours", "theirs"), WORDS, ids=[w[1] for w in WORDS])
def test_units_agree_with_pint(dimension, ours, theirs):
    expected = (7.25 * pint().parse_expression(theirs)).to(SI[dimension]).magnitude
    assert read(f"7.25 {ours}", dimension) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "m3", "digits"),
    [
        # NIST SP 811 (2008) Appendix B.8, from memory, as repeated by public tables of it: m3 of a
        # gallon, a cubic foot, an acre-foot of survey feet (the international one is 6 ppm less)
        ("1 kgal", 3.785412, 1e-7),
        ("1 CCF", 2.831685, 2e-7),
        ("1 acre-foot", 1.233489e3, 7e-6),
        # USGS, water science school: an acre-inch is 27,154 gal, an acre-foot 325,851, a million
        # gallons 3.07 acre-feet
        ("1 acre-inch", 27_154 * 3.785412e-3, 2e-5),
        ("1 acre_ft", 325_851 * 3.785412e-3, 2e-6),
        ("1 Mgal", 3.07 * 325_851 * 3.785412e-3, 4e-4),
        ("1 ML", 1e3, 1e-12),
    ],
)
def test_water_is_billed_in_published_units(text, m3, digits):
    assert read(text, "volume") == pytest.approx(m3, rel=digits)


def test_a_price_by_the_thousand_gallons():
    """5.60 USD a HCF is 5.60 / 0.74805 = 7.4861 a thousand gallons: 748.05 gal to the HCF
    (USGS)."""
    assert read_money("5.60 USD/HCF").per_si() == pytest.approx(
        read_money("7.4861 USD/kgal").per_si(), rel=1e-5
    )


@given(st.integers(0, 500), st.integers(0, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_mixed_numbers_are_sums(whole, numerator, denominator):
    expected = (whole + numerator / denominator) * 0.0254
    assert read(f"{whole} {numerator}/{denominator} in", "length") == pytest.approx(
        expected, rel=1e-12, abs=1e-15
    )


@given(st.integers(0, 500), st.decimals(0, 11, places=2))
def test_feet_and_inches_add_up(feet, inches):
    expected = feet * 0.3048 + float(inches) * 0.0254
    for text in (f"{feet} ft {inches} in", f"{feet}' {inches}\"", f"{feet}ft{inches}in"):
        assert read(text, "length") == pytest.approx(expected, rel=1e-12, abs=1e-15)


def test_the_traps_of_general_unit_libraries():
    """Seen with pint 0.25: "1 1/2 in" is half an inch, "15 ft 6 in" an area, "15'" a bare
    number."""
    assert read("1 1/2 in", "length") == pytest.approx(0.0381)
    assert pint().parse_expression("1 1/2 in").to("m").magnitude == pytest.approx(
        0.0127
    )  # why it is the oracle only
    assert read("15 ft 6 in", "length") == pytest.approx(4.7244)
    assert read("15'", "length") == pytest.approx(4.572)
    assert read('6"', "length") == pytest.approx(0.1524)


@pytest.mark.parametrize(
    "text",
    [
        "9**9**9 ft", "1e400 ft", "1e5 ft", "nan ft", "inf ft",
        "-3 in", "3 -in", "+3 in", "1,5 in", "1.5.2 in", "1/0 in", "3/0 in",
        "15 ft 6", "ft", "", "   ", "15", "3 in in", "3 in 2 ft", "three in", "0x10 ft", "15 ft; import os", "9" * 70 + " ft",
        "15 lb", "15 ft^2", "15 ft/h", "15 ft^4", "15 furlong", "__import__('os') ft", "1 1/2 1/2 in", "½ in", "15 ft\x00",
    ],
)  # fmt: skip
def test_what_is_no_length_is_refused_at_once(text):
    start = time.perf_counter()
    with pytest.raises(UnitError):
        read(text, "length")
    assert time.perf_counter() - start < 0.1


@pytest.mark.parametrize("value", [3, 3.5, None, True, [], {}, ("3 ft",)])
def test_a_length_without_unit_is_refused(value):
    with pytest.raises(UnitError, match="15 ft"):
        read(value, "length")


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("5 %", "fraction", 0.05), (0.05, "fraction", 0.05), ("0.05", "fraction", 0.05), ("1/2", "fraction", 0.5),
        ("45 deg", "angle", 45.0), ("45°", "angle", 45.0), (45, "angle", 45.0),
        ("2.5", "number", 2.5), (3, "number", 3.0),
    ],
)  # fmt: skip
def test_plain_values(text, dimension, value):
    assert read(text, dimension) == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "dimension"),
    [("-5 %", "fraction"), (-0.1, "fraction"), (float("nan"), "fraction"), (float("inf"), "number"), (True, "number"), ("5 ft", "angle"),  # noqa: E501
     (10**400, "number")],
)  # fmt: skip
def test_plain_values_that_are_none(text, dimension):
    with pytest.raises(UnitError):
        read(text, dimension)


def test_survey_and_international_foot_differ_by_two_parts_per_million():
    """NIST SP 811 B.6: 1 ft (US survey) = 1200/3937 m."""
    ratio = units.US_SURVEY_FOOT_M / units.FOOT_M
    assert ratio == pytest.approx(1 + 2e-6, abs=1e-9)


def test_published_equivalents():
    """NIST SP 811 (2008) Appendix B.8: gallon 3.785 412 L, acre 4046.856 m2 (international
    4046.8564), short ton 907.1847 kg, oz/yd2 33.905 75 g/m2, lb/ft2 4.882 428 kg/m2, lb/ft3 16.018
    46 kg/m3."""
    assert read("1 gal", "volume") == pytest.approx(3.785412e-3, rel=1e-6)
    assert read("1 acre", "area") == pytest.approx(4046.8564, rel=1e-7)
    assert read("1 ton", "mass") == pytest.approx(907.1847, rel=1e-7)
    assert read("1 oz/yd^2", "mass per area") == pytest.approx(33.90575e-3, rel=1e-6)
    assert read("1 lb/ft^2", "mass per area") == pytest.approx(4.882428, rel=1e-6)
    assert read("1 lb/ft^3", "density") == pytest.approx(16.01846, rel=1e-6)


# -------------------------------------------------------------------------------------------- money


def test_money_is_decimal_and_knows_its_unit():
    price = read_money("2.10 USD/ft^2")
    assert (price.amount, price.currency, price.unit, price.dimension) == (
        Decimal("2.10"),
        "USD",
        "ft^2",
        (2, 0, 0),
    )
    assert price.per_si() == pytest.approx(2.10 / 0.09290304, rel=1e-12)
    assert str(price) == "2.10 USD/ft^2"
    assert read_money("40 USD").unit == "each"
    assert read_money("85 USD per roll").dimension is None


@pytest.mark.parametrize(
    "text",
    [
        "2.10",
        "USD 2",
        "-2 USD",
        "2 usd",
        "2,10 USD",
        "1e9 USD",
        "2 USD/",
        "2 USD/ft^9",
        3,
        None,
        "9" * 70 + " USD",
    ],
)
def test_what_is_no_price(text):
    with pytest.raises(UnitError):
        read_money(text)


@given(st.integers(0, 10**6), st.sampled_from([1.0, 0.0254, 0.3048, 45.72]))
def test_whole_steps_do_not_buy_one_more(steps, step):
    assert round_up(steps * step, step) == steps
    assert round_up(steps * step + 0.01 * step, step) == steps + 1


@given(st.integers(0, 10**6), st.sampled_from([1.0, 0.0254, 0.1, 0.3048, 45.72]))
def test_whole_steps_are_not_lost(steps, step):
    assert round_down(steps * step, step) == steps  # 3 x 0.1 / 0.1 is a hair under 3 or over
    assert round_down(steps * step + 0.99 * step, step) == steps


@given(st.decimals(0, 10**7, places=3))
def test_cents_round_halves_up(amount):
    assert units.cents(amount) == Decimal(int(amount * 100 + Decimal("0.5"))) / 100


@given(
    st.one_of(
        st.floats(-1e9, 1e9),
        st.integers(-(10**7), 10**7).map(lambda n: n / 8),  # those halfway are among them
        st.integers(-(10**7), 10**7).map(lambda n: n / 1000),
        st.decimals(-(10**9), 10**9, places=3),
        st.decimals(-(10**9), 10**9, places=2),
    )
)
def test_cents_as_text_are_the_cents(amount):
    """Against the decimal module's rounding of the very number."""
    own = Decimal(amount).quantize(Decimal("0.01"), ROUND_HALF_UP)
    assert units.cents_text(amount) == str(own)
