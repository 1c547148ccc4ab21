"""Slanted ends from end to end: the plan buys less, the check lays it out again, and finds what is
planted."""

import itertools
from dataclasses import replace

import geopandas
import pytest
from shapely.geometry import Polygon

import geoturf
from geoturf.check import broken_promises


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """Six parallelograms, each three rolls wide with ends leaning 5 m a roll's width, laid square
    and slanted."""
    folder = tmp_path_factory.mktemp("slanted")
    shapes = [
        Polygon([(x, 0), (x + 9 + k, 0), (x + 24 + k, 13.5), (x + 15, 13.5)])
        for k, x in enumerate(range(0, 300, 50))
    ]
    shapes = [Polygon([(250_000 + a, 4_070_000 + b) for a, b in s.exterior.coords]) for s in shapes]
    table = geopandas.GeoDataFrame(
        {"site": [f"P{k}" for k in range(6)]}, geometry=shapes, crs="EPSG:26911"
    )
    table.to_file(folder / "lawns.gpkg", engine="pyogrio")
    products = {"long": {"roll_lengths": "300 ft"}}
    bid = {"layers": [{"path": "lawns.gpkg"}], "folder": str(folder), "products": products}
    return {
        nesting: geoturf.run(
            geoturf.make_bid(bid | {"layout": {"bearing": 90.0, "nesting": nesting}})
        )
        for nesting in ("square", "slanted")
    }


def test_it_buys_less_than_square_cuts_and_says_so(runs):
    square, slanted = (runs[name].plan.pools.iloc[0] for name in ("square", "slanted"))
    assert slanted["square_m2"] == square["bought_m2"] == square["square_m2"]
    assert slanted["bought_m2"] < 0.9 * square["bought_m2"]
    assert max(slanted["bound_m2"], slanted["cut_bound_m2"]) <= slanted["bought_m2"]


def test_a_run_with_slanted_ends_keeps_every_promise(runs):
    assert broken_promises(runs["slanted"]) == ()


def faults(result, row, **columns):
    pieces = result.plan.pieces.copy()
    for name, more in columns.items():
        pieces.loc[row, name] += more
    return {
        fault.code
        for fault in broken_promises(replace(result, plan=replace(result.plan, pieces=pieces)))
    }


@pytest.fixture
def nested(runs):
    """Row of a slanted piece that follows another on its roll, and the result."""
    pieces = runs["slanted"].plan.pieces
    rows = pieces[pieces["cut_u_m"].notna()].sort_values(["roll", "along_m"]).index
    return runs["slanted"], next(
        b for a, b in itertools.pairwise(rows) if pieces["roll"][a] == pieces["roll"][b]
    )


def test_a_chalk_line_through_the_turf_is_found(nested):
    result, row = nested
    assert "piece-cut-short" in faults(result, row, cut_u_m=0.2)
    assert "piece-cut-short" in faults(result, row, end_slant_m=-0.4)


def test_nested_pieces_that_overlap_are_found(nested):
    result, row = nested
    assert "cuts-overlap" in faults(result, row, along_m=-0.1)
    assert "cuts-overlap" in faults(result, row, start_slant_m=-0.4)
