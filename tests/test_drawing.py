"""Drawings: to scale, north up, every area on the sheet, names where they find room."""

import re
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from hand_made import made

from geoturf.papers import drawing

HALF_PER_CENT = 0.005


def points(picture) -> np.ndarray:
    """Every corner of a drawing's paths, in points."""
    numbers = re.findall(r"(-?[\d.]+) (-?[\d.]+)", " ".join(re.findall(r'd="(.*?)"', svg(picture))))
    return np.array(numbers, float)


def svg(picture) -> str:
    return picture["svg"].decode("ascii")


def bar_pt_per_m(picture) -> float:
    length, said = picture["bar"]
    number, unit = said.split()
    return length / (
        float(number.replace(",", ""))
        * {"ft": 0.3048, "m": 1, "mile": 1609.344, "miles": 1609.344}[unit]
    )


def test_areas_are_as_large_as_they_are_measured():
    result = made(["a", "b", "c"])
    drawn = drawing.land(result)
    true = result.ground.areas["ground_area_m2"].to_numpy()
    assert shapely.area(drawn.areas) == pytest.approx(true, rel=2 * HALF_PER_CENT)


@pytest.mark.parametrize("system", ["us", "metric"])
def test_the_bar_measures_what_is_drawn(system):
    """Sites of `made` lie 40 m apart, west to east: their boxes too."""
    result = made(["a", "b"])
    picture = drawing.whole(drawing.land(result), 500, 400, system)
    wide_m = np.ptp(points(picture)[:, 0]) / bar_pt_per_m(picture)
    x = shapely.get_coordinates(np.concatenate([result.ground.areas["geometry"]]))[:, 0]
    assert wide_m == pytest.approx(np.ptp(x), rel=2 * HALF_PER_CENT)
    assert picture["bar"][0] <= 500 / 4


def test_north_is_up():
    """The square of a site of `made` lies north of its L."""
    drawn = drawing.land(made(["a"]))
    square, corner = drawn.areas[1], drawn.areas[0]
    assert square.bounds[1] > corner.bounds[3] - 1e-6
    picture = drawing.whole(drawn, 500, 400, "us")
    first = re.search(r'd="(M [^"]*Z)" fill="#d4d4d4"', svg(picture))[1].split("Z")
    heights = [
        np.array(re.findall(r"([\d.]+) ([\d.]+)", ring), float)[:, 1].mean() for ring in first[:2]
    ]
    assert heights[1] < heights[0]  # y goes down on a sheet


def test_nothing_of_the_bid_lies_off_the_sheet():
    for count in (1, 7, 300):
        picture = drawing.whole(drawing.land(made([str(k) for k in range(count)])), 500, 400, "us")
        at = points(picture)
        assert (at >= 0).all() and (at <= [picture["width"], picture["height"]]).all()
        assert picture["width"] <= 500 and picture["height"] <= 400.1


def test_phases_are_shaded_apart_and_named():
    drawn = drawing.land(made([str(k) for k in range(12)]))
    picture = drawing.whole(drawn, 500, 400, "us")
    assert [name for _, name in picture["legend"]] == ["phase 1", "phase 2", "phase 3"]
    assert all(shade in svg(picture) for shade, _ in picture["legend"])


def test_names_do_not_lie_on_each_other():
    drawn = drawing.land(made([f"Lot {k}" for k in range(40)]))
    labels = drawing.whole(drawn, 500, 400, "us")["labels"]
    assert labels
    for k, (name, x, y) in enumerate(labels):
        for other, x2, y2 in labels[:k]:
            reach = drawing._LETTER * drawing._LABEL_PT * (len(name) + len(other)) / 2
            assert abs(x - x2) >= reach or abs(y - y2) >= drawing._LABEL_PT


def test_one_mile_is_no_miles():
    """A sheet of 72 points, 18 of them for 1.5 miles, has room for a bar of one."""
    sheet = SimpleNamespace(width=72.0, per_m=12 / 1609.344)
    assert drawing._bar(sheet, "us") == (pytest.approx(12.0), "1 mile")
    sheet = SimpleNamespace(width=72.0, per_m=6 / 1609.344)
    assert drawing._bar(sheet, "us") == (pytest.approx(12.0), "2 miles")
