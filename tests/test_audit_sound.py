"""Sound reports of bids that the audit once told wrongly: none of it is broken, and it is looked at."""

from __future__ import annotations

import csv
from pathlib import Path
from types import SimpleNamespace

import geopandas
import numpy as np
import pytest
import shapely
from shapely.affinity import translate
from shapely.geometry import box

import geoturf
from geoturf import report
from geoturf.audit import BROKEN, laying
from geoturf.bid import make_bid

E, N = 6_352_000.0, 2_148_000.0  # California zone 5, US survey feet
ESTIMATE = {"layout": {"method": "estimate"}}
WATER = {
    "cover": "cool_season_lawn",
    "climate": {"eto": "5 in"},
    "price": {"price": "25 USD/HCF"},
    "longest_payback": 0,
}


def bid_of(folder: Path, rules: dict, **columns: list) -> geoturf.Bid:
    """Three lawns on two sites, with more columns of them."""
    lawns = [box(0, 0, 40, 30), box(0, 60, 50, 82), box(200, 0, 231, 17)]
    placed = [translate(lawn, E, N) for lawn in lawns]
    table = geopandas.GeoDataFrame(
        {"site": ["A", "A", "B"], "area": ["1", "2", "1"], **columns},
        geometry=placed,
        crs="EPSG:2228",
    )
    table.to_file(folder / "lawns.gpkg", engine="pyogrio")
    return make_bid({"layers": [{"path": "lawns.gpkg"}], "folder": str(folder)} | rules)


def looked_at(folder: Path, bid: geoturf.Bid) -> set[str]:
    """What the audit looked at in a sound report, each by name."""
    told = report.write(geoturf.run(bid), folder / "report", ())
    assert [one for one in told if one.verdict == BROKEN] == []
    return {one.promise for one in told}


def test_an_estimate_has_no_bearing_to_lie_as_stated_and_sites_that_add_up(tmp_path):
    bid = bid_of(tmp_path, ESTIMATE, pile_bearing_deg=[30.0, 30.0, 120.0])
    promises = looked_at(tmp_path, bid)
    assert {"price of a site", "bearing as stated"} <= promises


def test_a_conversion_costs_by_its_area_along_the_slope(tmp_path):
    """At 40 % it is 7.7 % more than from above."""
    water = WATER | {"offer": ["planting"]}
    bid = bid_of(tmp_path, {"water": water}, slope_pct=[40.0, 40.0, 40.0])
    assert "costs of conversions" in looked_at(tmp_path, bid)


def test_a_site_that_gets_no_turf_bears_nothing_and_is_no_row_of_the_workbook(tmp_path):
    water = WATER | {"offer": ["turf"], "budget": "11000 USD"}
    extras = [{"title": "Gate", "price": "120 USD/site"}]
    bid = bid_of(tmp_path, {"water": water, "price": {"extras": extras}})
    promises = looked_at(tmp_path, bid)
    rows = csv.DictReader((tmp_path / "report" / "sites.csv").open(encoding="utf-8-sig"))
    bare, laid = (float(row["price"]) for row in rows)
    assert bare == 0 < laid
    assert {"price of a site", "workbook's sites"} <= promises


@pytest.mark.parametrize(
    ("left", "hours"), [([], 2.827), (["infill"], 1.1), (["granules"], 1.2 + 0.527)]
)
def test_turf_that_others_fill_is_spread_by_others(tmp_path, left, hours):
    """1,200 and 527 ft2 of sand, 1,100 of granules; 1,000 ft2 are spread in an hour."""
    sand = {"title": "Sand"}
    grain = {"title": "Grain", "infill": "granules"}
    rules = {"products": {"sand": sand, "grain": grain}, "materials": {"leave_out": left}}
    bid = bid_of(tmp_path, rules, product=["sand", "grain", "sand"])
    assert "takeoff" in looked_at(tmp_path, bid)
    rows = csv.DictReader((tmp_path / "report" / "materials.csv").open(encoding="utf-8-sig"))
    spread = next(row for row in rows if row["item"] == "Spread infill and broom")
    assert float(spread["net_quantity"]) == pytest.approx(hours, abs=0.006)


def test_only_pieces_at_the_border_are_cut_with_the_outline(monkeypatch):
    """An outline of a million corners for each of thousands of pieces would take minutes."""
    outline = box(0, 0, 1, 1).buffer(30, quad_segs=500)
    at = np.meshgrid(np.arange(-32, 33, 4.0), np.arange(-32, 33, 4.0))
    x, y = (one.ravel() for one in at)
    pieces = shapely.box(x, y, x + 4, y + 4)
    owner = np.zeros(len(pieces), int)
    own = shapely.area([one.intersection(outline) for one in pieces])
    cut: list[int] = []
    intersection = shapely.intersection
    monkeypatch.setattr(
        shapely, "intersection", lambda a, b: cut.append(len(a)) or intersection(a, b)
    )
    placed = SimpleNamespace(outline=np.array([outline]), pieces=pieces, owner=owner)
    np.testing.assert_allclose(laying._within(placed, np.ones(1, bool)), own, atol=1e-9)
    inside = np.isclose(own, 16).sum()
    assert inside > 100 and sum(cut) <= len(pieces) - inside + 4


def test_what_a_border_sweeps_is_no_less_than_the_area_between():
    """Beside GEOS's overlay; a corner moved by 1 m at the end of two sides of 10 m sweeps no more
    than two triangles. Outlines of other corners are not told apart so."""
    square = shapely.box(0, 0, 10, 10)
    holed = square.difference(shapely.box(2, 2, 4, 4))
    two = shapely.union_all([holed, shapely.box(20, 0, 25, 5)])
    for drawn in (square, holed, two):
        apart = np.array([translate(drawn, 0.01, -0.02)], object)
        between = shapely.area(shapely.symmetric_difference(drawn, apart))
        swept = laying._swept(np.array([drawn], object), apart)
        assert between[0] <= swept[0] * (1 + 1e-9) <= 3 * between[0]
    spike = shapely.Polygon([(0, 0), (10, 0), (11, 10), (0, 10)])
    both = np.array([square, square], object), np.array([spike, two], object)
    assert laying._swept(*both) == pytest.approx([5.0, np.inf])
