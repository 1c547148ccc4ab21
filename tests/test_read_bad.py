"""Every row of bad input that reading meets (tests/data: one fault a file, named for it). The rule: what can be mended
without a guess is mended and told; what cannot is left out by name while the rest lives; nothing left to price is a refusal."""

import random
import shutil
import zipfile
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest
from shapely import Polygon, box

from geoturf.bid import make_bid
from geoturf.errors import InputError
from geoturf.read import read
from geoturf.read.say import Gathered, Say
from geoturf.read.shapes import polygons

DATA = Path(__file__).parent / "data"
GOOD = {"path": "leading_zeros.geojson", "name": "good"}


def source_of(*layers):
    return read(make_bid({"layers": [{"path": x} if isinstance(x, str) else x for x in layers], "folder": str(DATA)}))


def refusal(*layers):
    with pytest.raises(InputError) as refused:
        source_of(*layers)
    return refused.value.findings


# what is mended or left out, and told: file, severity, code, feature named, features left, counted as not priced
LIVES = [
    ("unclosed_ring.geojson", "warning", "repaired", "1", 3, 0),
    ("small_crossing.geojson", "warning", "repaired", "1", 3, 0),
    ("spike.geojson", "warning", "repaired", "1", 3, 0),
    ("vertex_twice.geojson", "warning", "repaired", "", 3, 0),
    ("wrong_winding.geojson", "warning", "winding", "", 3, 0),
    ("bow_tie.geojson", "error", "beyond-repair", "1", 2, 1),
    ("short_ring.geojson", "error", "beyond-repair", "1", 2, 1),
    ("null_geometry.geojson", "warning", "no-geometry", "1", 2, 0),
    ("empty_geometry.geojson", "warning", "no-geometry", "1", 2, 0),
    ("point_among_polygons.geojson", "warning", "not-a-polygon", "1", 2, 0),
    ("line_among_polygons.geojson", "warning", "not-a-polygon", "1", 2, 0),
    ("collection.geojson", "warning", "mixed-geometry", "1", 3, 0),
    ("heights.geojson", "note", "flattened", "", 3, 0),
    ("one_far_away.geojson", "error", "impossible-coordinates", "1", 2, 1),
    ("far_off.fgb", "warning", "far-off", "", 2, 0),
    ("curves.gpkg", "warning", "curves", "1", 2, 0),
    ("damaged_record.shp", "error", "beyond-repair", "1", 4, 1),
    ("no_dbf.shp", "warning", "no-dbf", "", 5, 0),
    ("short_dbf.shp", "error", "short-dbf", "", 3, 2),
    ("wrong_encoding.shp", "warning", "encoding", "", 5, 0),
    ("cut_name.shp", "warning", "cut-name", "", 3, 0),
    ("truncated.shp", "error", "beyond-repair", "4", 3, 2),
    ("truncated.fgb", "error", "truncated", "", 3, 2),
    ("bad_ring.parquet", "warning", "repaired", "0", 3, 0),
    ("bad_text.fgb", "warning", "walked", "", 5, 0),
    ("bad_number.geojson", "warning", "bad-number", "1", 3, 0),
]


@pytest.mark.parametrize(
    ("file", "severity", "code", "feature", "left", "not_priced"), LIVES, ids=[x[0] for x in LIVES]
)
def test_the_rest_lives(file, severity, code, feature, left, not_priced):
    source = source_of(file)
    assert (severity, code, feature) in {(f.severity, f.code, f.feature) for f in source.findings}
    assert len(source.layers[0].table) == left
    assert source.left_out == not_priced
    assert all(f.file == file and f.message for f in source.findings)
    assert source.layers[0].table.geometry.is_valid.all()


# a file that cannot be used at all: file, code, words in the message
DEAD = [
    ("no_crs.fgb", "no-crs", "EPSG:"),
    ("no_prj.shp", "no-crs", "State Plane feet"),
    ("local_crs.shp", "no-crs", "Site grid"),
    ("projected_coordinates.geojson", "impossible-coordinates", "State Plane feet"),
    ("degrees_as_feet.fgb", "impossible-coordinates", "longitude and latitude"),
    ("swapped_axes.geojson", "impossible-coordinates", "swapped"),
    ("truncated.geojson", "unreadable", "Unterminated"),
    ("truncated.gpkg", "unreadable", "cut short"),
    ("empty.geojson", "unreadable", "empty"),
    ("text.shp", "unreadable", "no shapefile"),
    ("not_a_zip.zip", "unreadable", "no zip"),
    ("no_shx.shp", "unreadable", ".shx is missing"),
    ("no_geometry.parquet", "unreadable", "without geometry"),
    ("virtual.geojson", "unreadable", "virtual dataset"),
    ("pipeline.geojson", "unreadable", "virtual dataset"),
    ("hole_wound_as_shell.shp", "beyond-repair", "Nested shells"),
]


@pytest.mark.parametrize(("file", "code", "words"), DEAD, ids=[x[0] for x in DEAD])
def test_the_only_file_is_refused(file, code, words):
    findings = refusal(file)
    assert [f.code for f in findings if f.severity == "error"] == [code, "nothing-to-price"]
    assert any(words in f.message and f.file == file for f in findings)


@pytest.mark.parametrize(("file", "code", "words"), DEAD, ids=[x[0] for x in DEAD])
def test_one_file_of_several_is_left_out(file, code, words):
    source = source_of(file, GOOD)
    assert source.left_out >= 1
    assert [f.code for f in source.findings if f.severity == "error"] == [code]
    assert sum(len(layer.table) for layer in source.layers) == 3


REFUSED = [
    ("duplicate_ids.geojson", "duplicate-id", "stands 2 times"),
    ("two_phases.geojson", "two-phases", "phases 1, 2"),
    ("unknown_product.geojson", "unknown-product", "did you mean 'turf60'"),
    ("two_layers.gpkg", "several-layers", "lawns, houses"),
    ("two_shapefiles.zip", "several-layers", "north, south"),
    ("no_such_file.shp", "no-such-file", "there is no such file"),
    ("bow_ty.geojson", "no-such-file", "did you mean 'bow_tie.geojson'"),
    ("no_*.gpx", "no-such-file", "no GIS file matches"),
    ("make.py", "not-gis", "GeoPackage"),
    ("no_crs.dbf", "no-such-file", ""),
    ("no_prj.dbf", "not-gis", "did you mean 'no_prj.shp'"),
    ("/vsicurl/https://example.org/lawns.shp", "not-a-file", "only files on this machine"),
    ("https://example.org/lawns.geojson", "not-a-file", "only files on this machine"),
    ("PG:dbname=lawns", "not-a-file", "only files on this machine"),
    ('{"type":"Polygon"}', "not-a-file", "only files on this machine"),
]


@pytest.mark.parametrize(("path", "code", "words"), REFUSED, ids=[x[0] for x in REFUSED])
def test_refused_though_other_files_are_good(path, code, words):
    findings = refusal(path, GOOD)
    assert [f.code for f in findings] == [code]
    assert words in findings[0].message


def test_everything_is_told_at_once():
    findings = refusal(
        "duplicate_ids.geojson", "bow_tie.geojson", "no_prj.shp", {"path": "spike.geojson", "crs": "EPSG:1"}
    )
    assert {f.code for f in findings} >= {"duplicate-id", "beyond-repair", "no-crs", "unknown-crs"}


def test_findings_keep_their_order():
    first, second = (source_of("spike.geojson", "bow_tie.geojson", "no_prj.shp") for _ in range(2))
    assert first.findings == second.findings
    assert [f.file for f in first.findings] == ["spike.geojson", "bow_tie.geojson", "no_prj.shp"]


def test_a_repair_says_by_how_much():
    """By hand: a square of 100 whose left side makes a loop. The loop's triangle (1/3, 49 2/3), (1, 49), (1, 51) of 2/3 is
    counted twice as sent; the side loses the triangle (0, 50), (1/3, 49 2/3), (0, 49) of 1/6. As sent 10000 - 1/6 + 2/3."""
    ring = Polygon([(0, 0), (100, 0), (100, 100), (0, 100), (0, 50), (1, 49), (1, 51), (0, 49)])
    say = Say(Gathered())
    (mended,), kept = polygons(np.array([ring]), np.array([7]), {}, True, say)
    assert kept.all()
    assert mended.area == pytest.approx(10_000 - 1 / 6, rel=1e-12)
    (finding,) = say.to.findings
    assert (finding.severity, finding.feature) == ("warning", "7")
    assert f"{-2 / 3 / (10_000 - 1 / 6 + 2 / 3):+.4%}" in finding.message


def test_a_repair_past_a_thousandth_is_none():
    """The same with a square of 10: the loop is over 0.1 % of it."""
    ring = Polygon([(0, 0), (10, 0), (10, 10), (0, 10), (0, 5), (1, 4), (1, 6), (0, 4)])
    say = Say(Gathered())
    _, kept = polygons(np.array([ring]), np.array([7]), {}, True, say)
    assert not kept.any()
    assert (say.to.findings[0].severity, say.to.left_out) == ("error", 1)


def test_a_wrong_mapping_names_the_nearest_column():
    (finding,) = refusal({"path": "spike.geojson", "columns": {"site": "sit", "area": "LOT"}}, GOOD)[:1]
    assert finding.code == "unknown-column"
    assert "site = 'sit'" in finding.message
    assert "did you mean 'site'" in finding.message


def test_a_wrong_layer_names_the_nearest():
    (finding,) = refusal({"path": "two_layers.gpkg", "layer": "lawn"})
    assert "did you mean 'lawns'" in finding.message


def test_a_mapping_without_dbf_says_so():
    (finding,) = (f for f in refusal({"path": "no_dbf.shp", "columns": {"site": "LOT"}}) if f.severity == "error")
    assert "is its .dbf missing?" in finding.message


@pytest.mark.parametrize(
    "text",
    [
        "<kml/><OGRVRTDataSource><OGRVRTLayer><SrcDataSource>x.shp</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>",
        "<OGRVRTDataSource><!-- <kml> --></OGRVRTDataSource>",
        "<html>kml</html>",
        "<!-- <kml> --><other/>",
    ],
)
def test_kml_that_is_none_never_reaches_the_reader(tmp_path, text):
    (tmp_path / "lawns.kml").write_text(text)
    with pytest.raises(InputError) as refused:
        read(make_bid({"layers": [{"path": "lawns.kml"}], "folder": str(tmp_path)}))
    assert refused.value.findings[0].code == "unreadable"


def test_a_bad_member_of_a_zip_leaves_the_others(tmp_path):
    with zipfile.ZipFile(tmp_path / "sent.zip", "w") as archive:
        archive.write(DATA / "leading_zeros.geojson", "good.geojson")
        archive.write(DATA / "text.shp", "bad.shp")
    source = read(make_bid({"layers": [{"path": "sent.zip"}], "folder": str(tmp_path)}))
    assert [(f.code, f.layer) for f in source.findings] == [("unreadable", "bad.shp")]
    assert (source.left_out, len(source.layers[0].table)) == (1, 3)


def test_a_wrong_name_in_a_zip_of_one_is_refused(tmp_path):
    with zipfile.ZipFile(tmp_path / "sent.zip", "w") as archive:
        archive.write(DATA / "leading_zeros.geojson", "good.geojson")
    with pytest.raises(InputError, match="did you mean 'good'"):
        read(make_bid({"layers": [{"path": "sent.zip", "layer": "gud"}], "folder": str(tmp_path)}))


def test_hostile_text_stays_text():
    table = source_of("hostile_text.geojson").layers[0].table
    assert table["site"].tolist() == [
        "=cmd|' /C calc'!A0",
        "<script>alert(1)</script>",
        "../../../etc/{{ 7*7 }}\n`${1}`",
    ]


def test_ids_stay_text():
    assert source_of("leading_zeros.geojson").layers[0].table["site"].tolist() == ["0012", "012", "12"]


def test_every_bad_file_is_met():
    met = {row[0] for row in (*LIVES, *DEAD, *REFUSED)} | {
        "hostile_text.geojson",
        "leading_zeros.geojson",
        "all_points.geojson",
    }
    kinds = {".geojson", ".shp", ".fgb", ".gpkg", ".zip", ".parquet"}
    assert {p.name for p in DATA.iterdir() if p.suffix in kinds} <= met


def damaged(tmp_path, chance):
    """A good file of some format with some bytes changed, cut out or cut off; its name."""
    name = chance.choice(["lots.gpkg", "lots.shp", "lots.fgb", "lots.geojson", "lots.parquet", "lots.kml", "sent.zip"])
    part = chance.choice(["lots.shp", "lots.dbf", "lots.shx", "lots.prj", "lots.cpg"]) if name == "lots.shp" else name
    content = bytearray((tmp_path / "good" / part).read_bytes())
    how = chance.random()
    if how < 0.2:
        del content[chance.randrange(len(content)) :]
    elif how < 0.4:
        start = chance.randrange(len(content))
        del content[start : start + chance.randrange(1, 10)]
    else:
        within = len(content) if chance.random() < 0.5 else min(len(content), 300)
        for _ in range(chance.randrange(1, 6)):
            content[chance.randrange(within)] = chance.randrange(256)
    shutil.copytree(tmp_path / "good", tmp_path / "sent", dirs_exist_ok=True)
    (tmp_path / "sent" / part).write_bytes(bytes(content))
    return name


def test_no_damage_gets_past_the_findings(tmp_path, capfd):
    """150 files with random damage (always the same): each is read, told or refused; no other error, nothing printed."""
    good = tmp_path / "good"
    good.mkdir()
    shapes = [box(-77 + k * 0.001, 40, -76.9995 + k * 0.001, 40.0005) for k in range(3)]
    table = geopandas.GeoDataFrame({"site": ["a", "b", "é"], "slope_pct": [1.5, 2.0, 3.0]}, geometry=shapes, crs=4326)
    for suffix in ("gpkg", "shp", "fgb", "geojson", "kml"):
        pyogrio.write_dataframe(table, good / f"lots.{suffix}", driver="KML" if suffix == "kml" else None)
    table.to_parquet(good / "lots.parquet")
    with zipfile.ZipFile(good / "sent.zip", "w") as archive:
        for suffix in ("shp", "dbf", "shx", "prj", "cpg"):
            archive.write(good / f"lots.{suffix}", f"lots.{suffix}")
    chance, told = random.Random(11), 0
    capfd.readouterr()
    for _ in range(150):
        name = damaged(tmp_path, chance)
        try:
            source = read(make_bid({"layers": [{"path": name}], "folder": str(tmp_path / "sent")}))
            told += bool(source.findings)
        except InputError:
            told += 1
    assert told > 50
    assert capfd.readouterr() == ("", "")


def test_a_layer_of_points_is_refused_with_each_named():
    findings = refusal("all_points.geojson")
    assert [f.feature for f in findings if f.code == "not-a-polygon"] == ["0", "1"]
    assert findings[-1].code == "nothing-to-price"
