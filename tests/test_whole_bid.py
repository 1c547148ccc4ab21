"""The bid that has all that a price may have, tests/data/whole_bid.toml: what it holds. (It takes as
long as the demo; DEVELOPERS.md says what a run of it takes and what its workbook stands.)"""

from pathlib import Path

import geoturf
from geoturf import pipeline

BID = Path(__file__).parent / "data" / "whole_bid.toml"


def test_it_has_all_that_it_says():
    bid = geoturf.read_bid(BID)
    lumps = [one for one in bid.price.extras if one.price.unit == "each"]
    assert len(lumps) == 12 and len(bid.price.alternates) == 4 and len(bid.price.combine) == 2
    assert bid.ranges.any_given() and len(bid.terms.phases) == 3
    assert bid.price.escalation.starts and bid.price.breaks and bid.price.least and bid.price.hire


def test_it_lies_under_two_books_in_three_phases():
    _, land, findings = pipeline.check(geoturf.read_bid(BID))
    areas = land.areas
    assert dict(zip(areas["phase"], areas["price_book"], strict=True)) == {
        "1": "",
        "2": "",
        "3": "north",
    }
    assert not [one for one in findings if one.severity in ("error", "warning")]
