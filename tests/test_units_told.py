"""A bid is told in its own units: a metric one never in feet, inches, square feet or acres."""

import re

import pytest

from geoturf import pipeline
from geoturf.bid import make_bid
from geoturf.errors import BidError
from geoturf.units import METRIC, US

FOREIGN = re.compile(
    r"(?<![\w.])\d[\d,.]* ?(ft2|ft\^2|ft|in|inches|feet|acres?|miles?|yd\^?[23]?|lb|oz|gal)\b"
)
# x, y, width, depth in feet: a lawn, its copy, one that overlaps it, a near copy, thin overlaps, a
# speck, a giant
ODD = [
    (0, 0, 60, 40),
    (0, 0, 60, 40),
    (50, 0, 60, 40),
    (0.05, 0, 60, 40),
    (200, 0, 20, 20),
    (219.99, 0, 20, 20),
    (300, 0, 0.5, 0.5),
    (5000, 0, 2500, 2500),
]


def bid_of(lawns, units, **tables):
    path = lawns(*ODD, site=[str(k) for k in range(len(ODD))])
    return make_bid({"name": "odd", "units": units, "layers": [{"path": str(path)}], **tables})


def told(bid):
    _, _, findings = pipeline.check(bid)
    return {f.code: f.message for f in findings}


def test_the_findings_of_a_metric_bid_know_no_feet(lawns):
    odd = {
        "layout": {"selvage_trim": "4 in"},
        "edges": {"field_spacing": "3 ft"},
        "ground": {"steep_pct": 60.0},
    }
    found = told(bid_of(lawns, "metric", **odd))
    assert {
        "duplicate",
        "near-duplicate",
        "overlap",
        "small-overlaps",
        "sliver",
        "large",
        "no-elevation",
    } <= set(found)
    assert "unusual-value" in found
    assert not {code: text for code, text in found.items() if FOREIGN.search(text)}


def number_before(word, text):
    return float(re.search(rf"([\d,.]+) {word}", text)[1].replace(",", ""))


def test_one_size_in_both_units(lawns):
    """NIST SP 811 Appendix B, from memory: a square foot is 0.09290304 m2, an acre 0.4046856 ha."""
    us, metric = (told(bid_of(lawns, units)) for units in ("us", "metric"))
    for code, foreign, ours, times in (
        ("duplicate", "ft2", "m2", 0.09290304),
        ("large", "acres", "ha", 0.4046856),
    ):
        assert number_before(ours, metric[code]) == pytest.approx(
            number_before(foreign, us[code]) * times, abs=0.06
        )


@pytest.mark.parametrize(("units", "word"), [("us", "4.00 in wide"), ("metric", "101.6 mm wide")])
def test_a_roll_too_small_is_told_in_the_bids_units(lawns, units, word):
    product = {"turf": {"roll_width": "4 in"}}
    with pytest.raises(BidError, match=word):
        bid_of(lawns, units, products=product)


@pytest.mark.parametrize(
    ("example", "value", "us", "metric"),
    [
        ("2 in", 0.0508, "2 in", "50.8 mm"),
        ("12 ft", 3.6576, "12 ft", "3.658 m"),
        ("40 oz/yd^2", 1.356230, "40 oz/yd^2", "1.356 kg/m2"),
        ("80 lb/ft^3", 1281.477, "80 lb/ft^3", "1281 kg/m3"),
        ("5 cm", 0.05, "5 cm", "5 cm"),
        ("%", 0.05, "", ""),
    ],
)
def test_a_value_in_the_unit_of_an_example(example, value, us, metric):
    """Factors of NIST SP 811 Appendix B, from memory."""
    assert (US.like(value, example), METRIC.like(value, example)) == (us, metric)
