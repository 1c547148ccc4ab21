"""A city in small: parcels with houses and paving, estimated, as the benchmark has them, and what
is left out where sites are very many."""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely

import geoturf
from geoturf import ground, maps, pipeline, tables
from geoturf.errors import InputError
from geoturf.maps import content, layers

sys.path.insert(0, str(Path(__file__).parent / "bench"))
import city

LOTS = 40


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    folder = tmp_path_factory.mktemp("city")
    city.write(LOTS, folder)
    return folder


def run(home, more=""):
    text = (home / "city.toml").read_text(encoding="utf-8")
    path = home / "tried.toml"
    path.write_text(text.replace("[parcels]", f"{more}\n[parcels]"), encoding="utf-8")
    return geoturf.run(geoturf.read_bid(path))


@pytest.fixture(scope="module")
def many(home):
    """The city where forty sites are very many."""
    return run(home, "[limits]\nsites_each = 39")


@pytest.fixture(scope="module")
def few(home):
    return run(home)


def test_lawns_are_what_houses_and_paving_leave(few):
    """The area by shapely, of parcels less all that lies on them; no default of `[parcels]` takes
    more than scraps of these lots."""
    made = city.city(LOTS)
    built = shapely.union_all([*made["buildings"].geometry, *made["paving"].geometry])
    left = shapely.area(shapely.difference(made["parcels"].geometry.to_numpy(), built)).sum()
    assert few.ground.areas["plan_area_m2"].sum() == pytest.approx(left, rel=0.02)


def test_very_many_sites_have_their_price_and_no_takeoff_of_each(few, many):
    assert many.price.totals == few.price.totals
    assert (many.takeoff.items["scope_kind"] != "site").all()
    assert many.price.lot_by_lot is None
    assert "many-sites" in {finding.code for finding in many.findings}
    assert "materials_by_site" in tables.tables(few)
    assert "materials_by_site" not in tables.tables(many)


def test_what_rounding_site_by_site_would_order_is_told_all_the_same(few, many):
    """By the rows of each site where there are some."""
    one, other = (r.takeoff.items.query("scope_kind == 'pool'") for r in (few, many))
    plain = one["key"].ne("turf").to_numpy()  # turf is what lots alone would buy, which is not run
    assert (one["order_by_site"][plain] == other["order_by_site"][plain]).all()
    rows = few.takeoff.items.query("scope_kind == 'site' and key != 'turf'")
    alone = rows.groupby("key")["order"].sum()
    told = one[plain].groupby("key")["order_by_site"].sum()
    assert told.reindex(alone.index).tolist() == alone.tolist()


def test_the_report_of_very_many_sites_has_no_workbook(many, tmp_path):
    geoturf.write(many, tmp_path / "out", ())
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"index.html", "areas.csv", "sites.csv", "areas.parquet", "layout.gpkg"} <= names
    assert not names & {"bid.xlsx", "materials_by_site.csv", "pieces.csv"}
    assert json.loads((tmp_path / "out" / "run.json").read_text("utf-8"))["counts"]["areas"] > 0


def test_areas_as_geoparquet_are_those_of_the_table(few, tmp_path):
    tables.write(few, tmp_path)
    table = geopandas.read_parquet(tmp_path / "areas.parquet")
    rows = list(csv.DictReader((tmp_path / "areas.csv").open(encoding="utf-8")))
    assert [row["site"] for row in rows] == table["site"].tolist()
    assert table.crs.to_epsg() == 26911
    drawn = shapely.area(table.geometry.to_numpy())
    assert drawn == pytest.approx(few.ground.areas["plan_area_m2"].to_numpy(), rel=1e-6)


def test_a_map_of_very_many_areas_is_leaner_and_says_so(few, monkeypatch):
    whole = maps.page(few, "us")
    monkeypatch.setattr(layers, "MOST_AREAS", 10)
    lean = content.islands(few)
    assert "outlines are drawn to within 1 ft" in lean["geoturf-bid"]["note"]
    assert lean["geoturf-edges"]["tooMany"]
    told = {column["label"] for column in lean["geoturf-areas"]["figures"]}
    assert {"price", "turf bought"} <= told and "perimeter" not in told
    assert len(maps.page(few, "us")) < len(whole)


def test_more_areas_are_taken_where_they_are_estimated(home):
    with pytest.raises(InputError, match="more than 30"):
        run(home, "[limits]\nareas = 3")
    with pytest.raises(InputError, match="more than 39"):
        text = (home / "city.toml").read_text(encoding="utf-8")
        laid = text.replace('method = "estimate"', 'method = "lay"')
        laid = laid.replace("[parcels]", "[limits]\nareas = 39\n[parcels]")
        (home / "laid.toml").write_text(laid, encoding="utf-8")
        geoturf.run(geoturf.read_bid(home / "laid.toml"))
    assert len(run(home, "[limits]\nareas = 4").ground.areas) == LOTS


def test_crews_of_several_follow_the_recurrence(few):
    """The calendar's hours are those of the takeoff, added up."""
    labour = few.takeoff.items.query("scope_kind == 'pool'")
    labour = labour[labour["key"].str.startswith("labour_")]
    assert few.calendar.rows["crew_hours"].sum() == pytest.approx(labour["net"].sum())
    assert np.isfinite(few.calendar.rows["crew_hours"]).all()


def test_what_is_kept_of_the_surroundings_of_an_estimate_tells_the_same(home, few, monkeypatch):
    """Only what touches a lot is kept beside it: lawns, edges, takeoff and price are those of
    everything within 15 m."""
    monkeypatch.setattr(pipeline, "_near_m", lambda bid: ground.DRAWN_M)
    wide = run(home)
    assert len(few.ground.context) < 0.6 * len(wide.ground.context)
    told = ["ground_area_m2", "perimeter_m"]
    pd.testing.assert_frame_equal(few.ground.areas[told], wide.ground.areas[told])
    pd.testing.assert_frame_equal(few.edges.totals, wide.edges.totals)
    assert few.price.totals == wide.price.totals


def test_a_setback_wider_than_what_is_drawn_about_a_lot_is_kept_clear(tmp_path):
    """A lot of 30 x 30 m, a house 18 m to its east, 20 m kept clear: 28 x 30 m are left."""
    for name, west, east in (("lot", 0, 30), ("house", 48, 58)):
        box = shapely.box(250_000 + west, 4_070_000, 250_000 + east, 4_070_030)
        table = geopandas.GeoDataFrame({"site": [name]}, geometry=[box], crs=city.UTM)
        table.to_file(tmp_path / f"{name}.gpkg", engine="pyogrio")
    bid = {
        "layers": [
            {"path": "lot.gpkg", "role": "parcel"},
            {"path": "house.gpkg", "role": "building"},
        ],
        "parcels": {"split": False, "building_setback": "20 m"},
        "folder": str(tmp_path),
    }
    _, land, _ = pipeline.check(geoturf.make_bid(bid))
    assert land.areas["plan_area_m2"].sum() == pytest.approx(840, rel=1e-3)


def test_nothing_is_left_prepared(few):
    """What GEOS builds to answer quickly is several times as large as a lot; it would stay."""
    for shapes in (few.ground.areas["geometry"], few.ground.context["geometry"]):
        assert not shapely.is_prepared(shapes.to_numpy(object)).any()
