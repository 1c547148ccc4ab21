"""Columns of the input carried through into the report (keep), and portfolio.html, which groups by
them."""

from __future__ import annotations

import csv

import geopandas
import pytest

import geoturf
from geoturf.bid import make_bid
from geoturf.errors import BidError, InputError

KEEP = 'keep = ["OWNER", "REGION"]\n'


def rows_of(path):
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


@pytest.fixture
def out(lawns, tmp_path):
    """A report of four lawns on three sites."""
    lawns(
        *((0, 0, 40, 30), (60, 0, 20, 14), (200, 0, 30, 20), (400, 0, 25, 25)),
        site=["A", "A", "B", "C"],
        area=["1", "2", "1", "1"],
        OWNER=["Alder & Co", "Sedge", "Alder & Co", "=1+1"],
        REGION=["North", "North", None, "</script><b>"],
    )
    bid = tmp_path / "bid.toml"
    layer = '[[layers]]\npath = "lawns.gpkg"\nsigma = "0.5 ft"\n'
    bid.write_text(f'name = "Kept"\n{KEEP}{layer}', encoding="utf-8")
    geoturf.write(geoturf.run(geoturf.read_bid(bid)), tmp_path / "out", readers=["portfolio"])
    return tmp_path / "out"


def test_kept_columns_go_through_into_every_table_and_the_geopackage(out):
    areas, sites = rows_of(out / "areas.csv"), rows_of(out / "sites.csv")
    assert [row["OWNER"] for row in areas] == ["Alder & Co", "Sedge", "Alder & Co", "'=1+1"]
    assert [row["REGION"] for row in areas] == ["North", "North", "", "</script><b>"]
    assert [row["OWNER"] for row in sites] == ["Alder & Co + Sedge", "Alder & Co", "'=1+1"]
    laid = geopandas.read_file(out / "layout.gpkg", layer="areas")
    assert laid["OWNER"].tolist() == ["Alder & Co", "Sedge", "Alder & Co", "=1+1"]
    told = [row for row in rows_of(out / "columns.csv") if row["column"] == "OWNER"]
    assert [row["file"] for row in told] == ["areas.csv", "sites.csv"]


def test_kept_columns_stand_on_the_offices_map_and_not_on_the_clients(out):
    assert '"label":"OWNER"' in (out / "map.html").read_text("utf-8")
    assert "OWNER" not in (out / "client" / "map.html").read_text("utf-8")
    assert "OWNER" not in (out / "client" / "prices.csv").read_text("utf-8")


def test_a_kept_column_that_is_not_there_is_told_in_one_line(lawns, bid_file):
    lawns((0, 0, 40, 30), OWNER=["x"])
    with pytest.raises(InputError) as refused:
        geoturf.run(geoturf.read_bid(bid_file('keep = ["OWNRE"]\n')))
    (line,) = [one.line() for one in refused.value.findings if one.code == "unknown-column"]
    assert "lawns.gpkg" in line and "keep: no column 'OWNRE' (did you mean 'OWNER'?)" in line


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (["price"], "'price' is a column of the report already"),
        (["Ground_Area_FT2"], "'Ground_Area_FT2' is a column of the report already"),
        (["fid"], "'fid' is a column of the report already"),
        (["OWNER", "owner"], "'owner' and 'OWNER' differ in case alone"),
        (["OWNER", "OWNER"], "'OWNER' is named twice"),
        ([" "], "a column without a name"),
    ],
)
def test_a_kept_column_that_clashes_is_told_in_one_line(names, said):
    with pytest.raises(BidError) as refused:
        make_bid({"keep": names, "layers": [{"path": "lawns.gpkg"}]})
    (finding,) = refused.value.findings
    assert said in finding.line() and "keep" in finding.line()


def test_a_layer_keeps_its_own_columns_and_what_another_lacks_is_empty(lawns, bid_file):
    lawns((0, 0, 40, 30), OWNER=["x"])
    lawns((100, 0, 40, 30), name="more.gpkg", site=["B"], STATE=["y"])
    more = 'keep = ["OWNER"]\n[[layers]]\npath = "more.gpkg"\nkeep = ["STATE"]\n'
    areas = geoturf.tables.areas(geoturf.run(geoturf.read_bid(bid_file(more))))
    assert areas["OWNER"].tolist() == ["x", ""] and areas["STATE"].tolist() == ["", "y"]
