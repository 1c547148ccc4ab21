"""Double pay, slivers, giants, steep slopes and areas outside their parcel, with their figures."""

import time
from dataclasses import replace

import numpy as np
import pytest
import shapely
import shapely.affinity
from ground_cases import FT, layer, measured, moved_to, source
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon, box

from geoturf import ground
from geoturf.rules import GroundRules

HERE = "+proj=tmerc +lat_0=40 +lon_0=-75 +k=1 +ellps=GRS80 +datum=NAD83 +units=ft +type=crs"
RULES = GroundRules()


def told(found):
    return [(f.code, f.site) for f in ground.notice(found, RULES)]


def test_an_overlap_is_told_in_square_feet():
    found = measured([box(0, 0, 20, 20), box(15, 0, 35, 20)], HERE)
    (finding,) = ground.notice(found, RULES)
    assert (finding.severity, finding.code, finding.site) == ("warning", "overlap", "site 2")
    assert "100.0 ft2 would be paid twice" in finding.message
    assert "site 1 (turf.gpkg, turf, feature 1)" in finding.message


def test_neighbours_that_only_touch_are_fine():
    assert told(measured([box(0, 0, 20, 20), box(20, 0, 40, 20), box(20, 20, 30, 30)], HERE)) == []
    slanted = [
        shapely.affinity.rotate(lot, 33, origin=(0, 0))
        for lot in (box(0, 0, 20, 20), box(20, 0, 40, 20))
    ]
    assert told(measured(slanted, HERE, site=["a", "b"])) == []


def test_overlaps_are_a_table_for_the_price():
    found = measured([box(0, 0, 20, 20), box(15, 0, 35, 20), box(100, 0, 110, 10)], HERE)
    table = ground.overlaps(found)
    assert table[["area_index", "other_index"]].to_numpy().tolist() == [[0, 1]]
    assert table.area_m2[0] == pytest.approx(100 * FT**2, rel=1e-6)


def test_thin_overlaps_are_summed_in_one_note():
    strips = [box(20 * k, 0, 20 * k + 20.01, 20) for k in range(4)]
    (finding,) = ground.notice(measured(strips, HERE), RULES)
    assert (finding.severity, finding.code) == ("note", "small-overlaps")
    assert finding.message.startswith("3 overlaps") and "0.60 ft2 in all" in finding.message


@pytest.mark.parametrize("site", [["a", "a"], ["a", "b"]])
def test_a_copy_is_a_duplicate_wherever_its_ring_starts_and_however_it_turns(site):
    lot = Polygon([(0, 0), (20, 0), (25, 12), (0, 20)])
    copy = Polygon([(25, 12), (20, 0), (0, 0), (0, 20)])
    assert told(measured([lot, copy], HERE, site=site)) == [("duplicate", site[1])]


def test_a_copy_in_another_frame_is_a_duplicate():
    lot, other = box(0, 0, 20, 20), box(300, 0, 310, 10)
    assert told(measured([lot, other, lot], HERE, site=["a", "a", "b"])) == [("duplicate", "b")]


def test_a_copy_in_another_crs_and_datum_is_a_duplicate():
    """PROJ takes NAD27 there and back to a fraction of a millimetre: the borders agree, to the inch
    if not to the bit."""
    lot = [box(0, 0, 20, 20)]
    layers = [
        layer(moved_to(lot, HERE, crs), crs, site=[f"in {crs}"], name=str(crs))
        for crs in (2272, 3857, 26718)
    ]
    found = ground.measure(source(*layers), RULES)
    assert {code.removeprefix("near-") for code, _ in told(found)} == {"duplicate"}


def test_the_same_shape_within_an_inch():
    lot = box(0, 0, 20, 20)
    nearly, hardly = (
        shapely.affinity.translate(lot, 0.9 / 12, 0),
        shapely.affinity.translate(lot, 1.3 / 12, 0),
    )
    (finding,) = ground.notice(measured([lot, nearly], HERE), RULES)
    assert finding.code == "near-duplicate" and "0.90 in" in finding.message
    assert told(measured([lot, hardly], HERE)) == [("overlap", "site 2")]


def test_small_large_and_steep():
    giant = box(0, 0, 2100, 2100)  # 101 acres
    found = measured(
        [box(0, 0, 0.9, 1.0), shapely.affinity.translate(giant, 100, 0)], HERE, slope_pct=[0, 40.0]
    )
    assert told(found) == [("sliver", "site 1"), ("large", "site 2"), ("steep", "site 2")]
    assert "licensed" in ground.notice(found, RULES)[-1].message


def test_an_area_that_leaves_its_parcel():
    parcel = layer([box(0, 0, 50, 50)], HERE, role="parcel", site=["a"])
    lawns = layer([box(40, 0, 60, 10), box(0, 0, 10, 10)], HERE, site=["a", "a"])
    found = ground.measure(source(lawns, parcel), RULES)
    outside = [f for f in ground.notice(found, RULES) if f.code == "outside-parcel"]
    assert [f.feature for f in outside] == ["1"]
    assert "100.0 ft2" in outside[0].message


def test_areas_on_no_parcel_are_counted_and_not_blamed():
    parcel = layer([box(0, 0, 50, 50)], HERE, role="parcel", site=["a"])
    lawns = layer(
        [box(500, 0, 520, 10), box(0, 0, 10, 10), box(50.1, 0, 60, 10)], HERE, site=["b", "a", "a"]
    )
    found = [
        f
        for f in ground.notice(ground.measure(source(lawns, parcel), RULES), RULES)
        if "parcel" in f.code
    ]
    assert [(f.severity, f.code, f.message) for f in found] == [
        ("note", "no-parcel", "2 areas drawn as turf lie on no parcel")
    ]


def test_thousands_of_copies_are_told_once_each_and_quickly():
    lot = [Polygon([(0, 0), (20, 0), (25, 12), (0, 20)])]
    found = measured(lot * 5000, HERE, site=["a"] * 5000)
    start = time.process_time()
    table = ground.overlaps(found)
    assert time.process_time() - start < 2
    assert len(table) == 4999 and np.all(table.area_index == 0)


@settings(max_examples=20, deadline=None)
@given(
    st.lists(
        st.tuples(*[st.integers(0, 40)] * 2, *[st.integers(1, 20)] * 2),
        min_size=2,
        max_size=6,
        unique=True,
    )
)
def test_overlaps_of_rectangles_by_hand(corners):
    """What two rectangles share is the product of what their sides share."""
    boxes = [box(x, y, x + w, y + h) for x, y, w, h in corners]
    table = ground.overlaps(measured(boxes, HERE))
    expected = {}
    for i, (x, y, w, h) in enumerate(corners):
        for j, (x2, y2, w2, h2) in enumerate(corners[:i]):
            shared = max(0, min(x + w, x2 + w2) - max(x, x2)) * max(
                0, min(y + h, y2 + h2) - max(y, y2)
            )
            if shared:
                expected[j, i] = shared * FT**2
    got = {
        (a, b): size
        for a, b, size in table[["area_index", "other_index", "area_m2"]].itertuples(index=False)
    }
    assert got == pytest.approx(expected, rel=1e-5)


def test_some_areas_alone_keep_what_lies_between_them():
    """Of three areas in a row, each over the next, the last two: their overlap, by their new
    rows."""
    boxes = [box(0, 0, 10, 10), box(9, 0, 19, 10), box(17, 0, 27, 10)]
    place = measured(boxes, HERE)
    place = replace(place, overlaps=ground.overlaps(place))
    part = place.only(np.array([1, 2]))
    assert len(place.overlaps) == 2 and len(part.areas) == 2
    pairs = part.overlaps[["area_index", "other_index"]].to_numpy()
    assert sorted(pairs[0]) == [0, 1] and len(pairs) == 1
    assert part.overlaps["area_m2"].iloc[0] == pytest.approx(20 * FT**2, rel=1e-3)
    assert place.only(np.arange(3)) is place
