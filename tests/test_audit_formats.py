"""The audit reads each format for itself: of three lots in any, a sound report agrees in all, and
ground that is 1 % too large and a lot lost in reading are told."""

from __future__ import annotations

import zipfile
from dataclasses import replace
from functools import cache
from pathlib import Path

import geopandas
import pyogrio
import pytest
import shapely
from damaging import LOTS, good

import geoturf
from geoturf import pipeline, read, report
from geoturf.audit import AGREES, sources
from geoturf.audit.folder import Unreadable
from geoturf.bid import make_bid
from geoturf.errors import PromiseError

UTM = {"crs": "EPSG:26911"}
LAYERS = {
    "file geodatabase": {"path": "lots.gdb"},
    "geodatabase in a zip": {"path": "gdb.zip"},
    "FlatGeobuf": {"path": "lots.fgb"},
    "GML": {"path": "lots.gml"},
    "CSV": {"path": "lots.csv"} | UTM,
    "DXF": {"path": "lots.dxf"} | UTM,
    "all of a zip of several": {"path": "two.zip", "layer": "*"},
    "one of a zip of several": {"path": "two.zip", "layer": "a"},
}


@pytest.fixture(scope="module")
def home(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("formats")
    good(folder)
    shapefile = {f"lots.{one}": f"in/a.{one}" for one in ("shp", "shx", "dbf", "prj", "cpg")}
    lots = pyogrio.read_dataframe(folder / "lots.gpkg")
    lots.geometry = lots.translate(0, 500)
    pyogrio.write_dataframe(lots, folder / "b.fgb")
    zipped(folder / "two.zip", folder, shapefile | {"b.fgb": "b.fgb"})
    tables = {f"lots.gdb/{one.name}": f"x/lots.gdb/{one.name}" for one in folder.glob("lots.gdb/*")}
    zipped(folder / "gdb.zip", folder, tables)
    return folder


def zipped(path: Path, folder: Path, members: dict[str, str]) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        for own, name in members.items():
            archive.write(folder / own, name)


@cache
def ran(home: Path, kind: str) -> geoturf.Result:
    return geoturf.run(make_bid({"layers": [LAYERS[kind]], "folder": str(home)}))


@pytest.fixture
def only_the_audit(monkeypatch):
    monkeypatch.setattr(pipeline.promises, "broken_promises", lambda *_: ())
    monkeypatch.setattr(report, "_write_pages", lambda *_: None)


@pytest.mark.parametrize("kind", LAYERS)
def test_every_format_is_looked_at(home, tmp_path, only_the_audit, kind):
    told = report.write(ran(home, kind), tmp_path / "out", ())
    assert {one.verdict for one in told} == {AGREES}
    assert {"ground", "every area", "outline"} <= {one.promise for one in told}


@pytest.mark.parametrize("kind", LAYERS)
def test_ground_that_is_too_large_is_told(home, tmp_path, only_the_audit, kind):
    result = ran(home, kind)
    areas = result.ground.areas
    more = areas.assign(ground_area_m2=1.01 * areas["ground_area_m2"])
    larger = replace(result, ground=replace(result.ground, areas=more))
    with pytest.raises(PromiseError, match=r"ground: .* ground areas by geodesics"):
        report.write(larger, tmp_path / "out", ())


@pytest.mark.parametrize("kind", LAYERS)
def test_a_lot_lost_in_reading_is_told(home, tmp_path, monkeypatch, only_the_audit, kind):
    own = read.read

    def losing(bid):
        source = own(bid)
        first, *others = source.layers
        fewer = replace(first, table=first.table.iloc[1:].reset_index(drop=True))
        return replace(source, layers=(fewer, *others))

    monkeypatch.setattr(read, "read", losing)
    result = geoturf.run(make_bid({"layers": [LAYERS[kind]], "folder": str(home)}))
    with pytest.raises(PromiseError, match=r"every area: .* is neither an area nor told"):
        report.write(result, tmp_path / "out", ())


@pytest.mark.parametrize("suffix", ["fgb", "gml", "dxf", "gdb", "csv"])
def test_what_is_another_kind_is_not_opened(tmp_path, suffix):
    """GDAL goes by what a file begins with, and would follow an address in it."""
    path = tmp_path / f"lots.{suffix}"
    path.write_text(
        "<OGRVRTDataSource><OGRVRTLayer name='x'><SrcDataSource>http://127.0.0.1/x.geojson"
        "</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"
    )
    with pytest.raises(Unreadable):
        sources.read(path, "", "EPSG:26911")
    with pytest.raises(Unreadable):
        sources.read(path, "x", "EPSG:26911")


def test_what_a_library_warns_of_is_not_printed(tmp_path, capfd, recwarn):
    """A coordinate of 1e999 in a table."""
    wkt = "POLYGON((1e999 0, 9 0, 9 9, 1e999 0))"
    (tmp_path / "lots.csv").write_text(f'site,WKT\nA,"{wkt}"\n')
    assert sources.read(tmp_path / "lots.csv", "", "EPSG:26911").column("site") == ["A"]
    assert not recwarn.list and capfd.readouterr() == ("", "")


def test_files_of_one_name_in_a_zip_are_told_apart_by_their_place(home, tmp_path):
    lots = geopandas.read_file(home / "lots.fgb")
    lots.iloc[:1].to_file(tmp_path / "less.fgb", driver="FlatGeobuf")
    (tmp_path / "lots.fgb").write_bytes((home / "lots.fgb").read_bytes())
    zipped(tmp_path / "two.zip", tmp_path, {"lots.fgb": "a/lots.fgb", "less.fgb": "b/lots.fgb"})
    layers = sources.layers_of(tmp_path / "two.zip")
    assert layers == ["a/lots.fgb", "b/lots.fgb"]
    counts = [len(sources.read(tmp_path / "two.zip", one, "").feature) for one in layers]
    assert counts == [LOTS, 1]


def test_nothing_is_written_beside_the_input(home, tmp_path):
    path = tmp_path / "lots.gml"
    path.write_bytes((home / "lots.gml").read_bytes())
    layer = sources.read(path, "", "")
    own = pyogrio.read_dataframe(home / "lots.gpkg")
    assert shapely.equals(layer.shape, own.geometry.to_numpy()).all()
    assert [one.name for one in tmp_path.iterdir()] == ["lots.gml"]
