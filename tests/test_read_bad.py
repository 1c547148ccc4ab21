"""Every row of bad input that reading meets (tests/data: one fault a file, named for it). The rule:
what can be mended without a guess is mended and told; what cannot is left out by name while the
rest lives; nothing left to price is a refusal."""

import io
import json
import os
import shutil
import sys
import tracemalloc
import zipfile
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest
import shapely
from forked import begin, status_of
from shapely import Polygon, box

from geoturf import cli
from geoturf.bid import make_bid
from geoturf.errors import InputError
from geoturf.read import read
from geoturf.read.account import _unreadable, claim
from geoturf.read.bulk import by_arrow
from geoturf.read.item import Item
from geoturf.read.look import Held
from geoturf.read.members import NotJson, members
from geoturf.read.say import Gathered, Say
from geoturf.read.shapes import polygons

DATA = Path(__file__).parent / "data"
LOAD = sys.modules["geoturf.read.load"]  # its name in the package is its function's
GOOD = {"path": "leading_zeros.geojson", "name": "good"}


def source_of(*layers):
    return read(
        make_bid(
            {
                "layers": [{"path": x} if isinstance(x, str) else x for x in layers],
                "folder": str(DATA),
            }
        )
    )


def refusal(*layers):
    with pytest.raises(InputError) as refused:
        source_of(*layers)
    return refused.value.findings


# what is mended or left out, and told: file, severity, code, feature named, features left, counted
# as not priced
LIVES = [
    ("unclosed_ring.geojson", "note", "repaired", "2", 3, 0),
    ("small_crossing.geojson", "warning", "repaired", "2", 3, 0),
    ("spike.geojson", "note", "repaired", "2", 3, 0),
    ("empty_hole.geojson", "note", "repaired", "1", 3, 0),
    ("vertex_twice.geojson", "note", "repaired", "2", 3, 0),
    ("wrong_winding.geojson", "note", "winding", "", 3, 0),
    ("bow_tie.geojson", "error", "beyond-repair", "2", 2, 1),
    ("short_ring.geojson", "error", "beyond-repair", "2", 2, 1),
    ("null_geometry.geojson", "warning", "no-geometry", "2", 2, 1),
    ("empty_geometry.geojson", "warning", "no-geometry", "2", 2, 1),
    ("point_among_polygons.geojson", "warning", "not-a-polygon", "2", 2, 1),
    ("line_among_polygons.geojson", "warning", "not-a-polygon", "2", 2, 1),
    ("no_type.geojson", "error", "lost", "2", 2, 1),
    ("wrong_type.geojson", "error", "lost", "2", 2, 1),
    ("null_type.geojson", "error", "lost", "2", 2, 1),
    ("null_member.geojson", "error", "lost", "2", 2, 1),
    ("collection.geojson", "warning", "mixed-geometry", "2", 3, 0),
    ("heights.geojson", "note", "flattened", "", 3, 0),
    ("one_far_away.geojson", "error", "impossible-coordinates", "2", 2, 1),
    ("far_off.fgb", "warning", "far-off", "", 2, 0),
    ("curves.gpkg", "warning", "curves", "1", 2, 0),
    ("damaged_record.shp", "error", "beyond-repair", "2", 4, 1),
    ("cut_dbf.shp", "error", "lost", "", 3, 2),
    ("deleted_row.shp", "error", "lost", "3", 4, 1),
    ("no_dbf.shp", "warning", "no-dbf", "", 5, 0),
    ("short_dbf.shp", "error", "lost", "", 3, 2),
    ("wrong_encoding.shp", "warning", "encoding", "", 5, 0),
    ("cut_name.shp", "warning", "cut-name", "", 3, 0),
    ("truncated.shp", "error", "beyond-repair", "5", 3, 2),
    ("truncated.fgb", "error", "lost", "", 3, 2),
    ("bad_ring.parquet", "note", "repaired", "1", 3, 0),
    ("bad_text.fgb", "warning", "walked", "", 5, 0),
    ("bad_number.geojson", "warning", "bad-number", "2", 3, 0),
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
    ("unknown_projection.shp", "no-crs", "PROJ knows no way from"),
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
        "duplicate_ids.geojson",
        "bow_tie.geojson",
        "no_prj.shp",
        {"path": "spike.geojson", "crs": "EPSG:1"},
    )
    assert {f.code for f in findings} >= {"duplicate-id", "beyond-repair", "no-crs", "unknown-crs"}


def test_findings_keep_their_order():
    first, second = (source_of("spike.geojson", "bow_tie.geojson", "no_prj.shp") for _ in range(2))
    assert first.findings == second.findings
    assert [f.file for f in first.findings] == ["spike.geojson", "bow_tie.geojson", "no_prj.shp"]


def test_a_repair_says_by_how_much():
    """By hand: a square of 100 whose left side makes a loop. The loop's triangle (1/3, 49 2/3), (1,
    49), (1, 51) of 2/3 is counted twice as sent; the side loses the triangle (0, 50), (1/3, 49
    2/3), (0, 49) of 1/6. As sent 10000 - 1/6 + 2/3."""
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
    (finding,) = refusal(
        {"path": "spike.geojson", "columns": {"site": "sit", "area": "LOT"}}, GOOD
    )[:1]
    assert finding.code == "unknown-column"
    assert "site = 'sit'" in finding.message
    assert "did you mean 'site'" in finding.message


def test_a_wrong_layer_names_the_nearest():
    (finding,) = refusal({"path": "two_layers.gpkg", "layer": "lawn"})
    assert "did you mean 'lawns'" in finding.message


def test_a_mapping_without_dbf_says_so():
    (finding,) = (
        f
        for f in refusal({"path": "no_dbf.shp", "columns": {"site": "LOT"}})
        if f.severity == "error"
    )
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
    assert source_of("leading_zeros.geojson").layers[0].table["site"].tolist() == [
        "0012",
        "012",
        "12",
    ]


def test_every_bad_file_is_met():
    met = {row[0] for row in (*LIVES, *DEAD, *REFUSED)} | {
        "hostile_text.geojson",
        "leading_zeros.geojson",
        "all_points.geojson",
    }
    kinds = {".geojson", ".shp", ".fgb", ".gpkg", ".zip", ".parquet"}
    assert {p.name for p in DATA.iterdir() if p.suffix in kinds} <= met


def test_a_layer_of_points_is_refused_with_each_named():
    findings = refusal("all_points.geojson")
    assert [f.feature for f in findings if f.code == "not-a-polygon"] == ["1", "2"]
    assert findings[-1].code == "nothing-to-price"


# -------------------------------------------------------------------------- nothing lost in silence


def lots(n=6, **columns):
    """Squares of 0.0005 degree on sites S1, S2 ...; a second opinion of what a file holds is what
    was written to it."""
    shapes = [box(-77 + k * 0.001, 40, -76.9995 + k * 0.001, 40.0005) for k in range(n)]
    return geopandas.GeoDataFrame(
        {"site": [f"S{k + 1}" for k in range(n)]} | columns, geometry=shapes, crs=4326
    )


def read_of(folder, *layers):
    return read(
        make_bid(
            {
                "layers": [{"path": x} if isinstance(x, str) else x for x in layers],
                "folder": str(folder),
            }
        )
    )


@pytest.mark.parametrize("cut", [0, 1, 2, 40, 82, 111, 163, 243, 405])
def test_wherever_a_dbf_is_cut_all_features_are_accounted_for(tmp_path, cut):
    """What is read and what is told to be left out come to what was written, at any place of the
    cut."""
    pyogrio.write_dataframe(lots(), tmp_path / "lots.shp")
    table = (tmp_path / "lots.dbf").read_bytes()
    (tmp_path / "lots.dbf").write_bytes(table[: len(table) - cut])
    source = read_of(tmp_path, "lots.shp")
    assert len(source.layers[0].table) + source.left_out == 6
    assert (
        source.layers[0].table["site"].tolist()
        == source.layers[0].table["site"].drop_duplicates().tolist()
    )
    told = [f.message for f in source.findings if f.severity == "error"]
    assert bool(told) == (source.left_out > 0) and all("cut short" in message for message in told)


def test_rows_of_a_dbf_that_are_out_of_place_are_left_out(tmp_path):
    """Two bytes too many: each row after them would take the end of the one before for its own."""
    pyogrio.write_dataframe(lots(slope_pct=[2.5] * 6), tmp_path / "lots.shp")
    table = (tmp_path / "lots.dbf").read_bytes()
    first, size = int.from_bytes(table[8:10], "little"), int.from_bytes(table[10:12], "little")
    place = first + 2 * size + 5  # in the third row
    (tmp_path / "lots.dbf").write_bytes(table[:place] + b"xx" + table[place:])
    source = read_of(tmp_path, "lots.shp")
    assert len(source.layers[0].table) == source.left_out == 3
    assert "(records 4, 5, 6)" in source.findings[0].line()


def test_a_member_left_out_is_named_by_its_site():
    (finding,) = (f for f in source_of("no_type.geojson").findings if f.code == "lost")
    assert (finding.feature, finding.site) == ("2", "B")
    assert '1 feature of 3 left out: it has no "type"' in finding.message


def test_records_keep_their_numbers_past_what_is_left_out():
    assert source_of("null_member.geojson").layers[0].table["feature"].tolist() == ["1", "3"]
    assert source_of("deleted_row.shp").layers[0].table["feature"].tolist() == ["1", "2", "4", "5"]


def test_a_line_that_is_no_json_in_a_sequence_is_told(tmp_path):
    """GeoJSON text sequences, a Feature a line (RFC 8142 without the separators, as GDAL reads
    them)."""
    features = [json.dumps(f) for f in json.loads(lots(3).to_json())["features"]]
    (tmp_path / "lots.geojson").write_text("\n".join([features[0], "{no json", features[2]]))
    source = read_of(tmp_path, "lots.geojson")
    assert source.layers[0].table["site"].tolist() == ["S1", "S3"]
    assert [(f.code, f.feature) for f in source.findings if f.severity == "error"] == [
        ("lost", "2")
    ]
    assert source.left_out == 1


@pytest.mark.parametrize("block", [1, 7, 64, 1 << 22])
def test_members_are_told_as_json_tells_them(monkeypatch, block):
    """Against the standard library's parser, however the text falls into blocks."""
    where = {
        "coordinates": [[[1.5, -2e-3], [3, 4.25, 5]], [[1, 2]]]
    }  # positions are left out of what is told
    one = {"type": "Feature", "a": [1, {"b": "]}"}], "at": where}
    told = {
        "name": 'é\\"[{',
        "features": [one, None, 12, "x", [], {"at": where, "b": 1}],
        "more": 1.5,
    }
    monkeypatch.setattr("geoturf.read.members._BLOCK", block)
    for text in (json.dumps(told), json.dumps(told, ensure_ascii=False, indent=1)):
        found = [
            m | {"at": where} if isinstance(m, dict) else m
            for m, _ in members(io.BytesIO(text.encode()))
        ]
        assert found == told["features"]
        with pytest.raises(NotJson):
            list(members(io.BytesIO(text.encode()[:-9])))


def test_a_row_that_sqlite_counts_and_the_reader_does_not_give_is_told(tmp_path, monkeypatch):
    pyogrio.write_dataframe(lots(), tmp_path / "lots.gpkg")
    bulk = by_arrow
    monkeypatch.setattr(
        LOAD, "by_arrow", lambda held, keep: bulk(held, keep).only(np.arange(6) < 4)
    )
    source = read_of(tmp_path, "lots.gpkg")
    assert (len(source.layers[0].table), source.left_out) == (4, 2)
    assert "2 features of 6 left out" in source.findings[0].message


@pytest.mark.parametrize("suffix", ["kml", "parquet", "fgb", "geojson"])
def test_every_format_counts_for_itself(tmp_path, suffix):
    path = tmp_path / f"lots.{suffix}"
    table = lots()
    table.to_parquet(path) if suffix == "parquet" else pyogrio.write_dataframe(
        table, path, driver="KML" if suffix == "kml" else None
    )
    assert claim(Held(Item(path.name, path), "lots" if suffix == "kml" else "")).count == 6


def test_a_folder_that_may_not_be_read_is_told(tmp_path, monkeypatch):
    (tmp_path / "sent" / "secret").mkdir(parents=True)
    pyogrio.write_dataframe(lots(), tmp_path / "sent" / "lots.gpkg")
    scan = os.scandir

    def refusing(path):
        if str(path).endswith("secret"):
            raise PermissionError(13, "Permission denied", str(path))
        return scan(path)

    monkeypatch.setattr(os, "scandir", refusing)
    source = read_of(tmp_path, "sent")
    (finding,) = source.findings
    assert (finding.severity, finding.file, source.left_out) == ("error", "sent/secret", 1)
    assert "the folder cannot be read (Permission denied)" in finding.message


def test_a_folder_that_is_a_link_is_told(tmp_path):
    (tmp_path / "sent").mkdir()
    (tmp_path / "elsewhere").mkdir()
    pyogrio.write_dataframe(lots(), tmp_path / "sent" / "lots.gpkg")
    (tmp_path / "sent" / "more").symlink_to(tmp_path / "elsewhere")
    assert "links are not entered: more" in read_of(tmp_path, "sent").findings[0].message


def test_a_file_that_changes_while_it_is_read_is_refused(tmp_path, monkeypatch):
    path = tmp_path / "lots.gpkg"
    pyogrio.write_dataframe(lots(), path)
    bulk = by_arrow

    def slow(held, keep):
        path.write_bytes(path.read_bytes() + b"more")
        return bulk(held, keep)

    monkeypatch.setattr(LOAD, "by_arrow", slow)
    with pytest.raises(InputError, match="was changed while it was read"):
        read_of(tmp_path, "lots.gpkg")


def test_what_is_left_out_is_named_as_its_owner_names_it(tmp_path):
    table = lots(3, LOT=["7a", "7b", "7c"])
    table.loc[1, "geometry"] = None
    pyogrio.write_dataframe(table, tmp_path / "lots.geojson")
    source = read_of(tmp_path, {"path": "lots.geojson", "columns": {"site": "LOT"}})
    (finding,) = (f for f in source.findings if f.code == "no-geometry")
    assert (finding.site, finding.feature) == ("7b", "2")
    assert source.left_out == 1


def test_a_layer_of_points_swept_up_with_others_is_told_once(tmp_path):
    """A folder takes in what lies there; points in it were never asked to be priced. Named by the
    bid, they are left out."""
    pyogrio.write_dataframe(lots(), tmp_path / "a.gpkg")
    points = lots()
    points.geometry = shapely.centroid(points.geometry.to_numpy())
    pyogrio.write_dataframe(points, tmp_path / "b.gpkg")
    source = read_of(tmp_path.parent, tmp_path.name)
    assert [(f.severity, f.code) for f in source.findings] == [("warning", "no-polygons")]
    assert source.left_out == 0
    assert read_of(tmp_path, "a.gpkg", "b.gpkg").left_out == 6


@pytest.mark.parametrize("suffix", ["geojson", "gpkg", "parquet"])
def test_a_ring_without_points_takes_nothing_down(tmp_path, suffix):
    """GEOS's `touches` ends the process on it, so this is tried in a child."""
    path = tmp_path / f"lots.{suffix}"
    shutil.copy(DATA / "empty_hole.geojson", tmp_path / "lots.geojson")
    if suffix != "geojson":
        table = pyogrio.read_dataframe(tmp_path / "lots.geojson")
        assert shapely.get_num_interior_rings(table.geometry[0]) == 1
        table.to_parquet(path) if suffix == "parquet" else pyogrio.write_dataframe(table, path)
    told = tmp_path / "told"

    def check():
        with told.open("w", encoding="utf-8") as sys.stdout:
            return cli.main(["check", str(path)])

    assert status_of(begin(check)) == 0
    said = told.read_text(encoding="utf-8")
    assert "a ring without any point dropped" in said and "3 areas on 3 sites" in said


# -------------------------------------------------------------------------- what is no regular file


@pytest.mark.parametrize("name", ["lots.gpkg", "lots.shp", "lots.dbf of lots.shp"])
def test_a_pipe_is_not_waited_for(tmp_path, name):
    pipe, _, given = name.partition(" of ")
    if given:
        pyogrio.write_dataframe(lots(), tmp_path / given)
        (tmp_path / pipe).unlink()
    os.mkfifo(tmp_path / pipe)
    with pytest.raises(InputError, match="is no regular file"):
        read_of(tmp_path, given or pipe)
    with pytest.raises(InputError, match="is no regular file"):
        read_of(tmp_path.parent, tmp_path.name)


def test_a_part_that_cannot_be_opened_is_told(tmp_path, monkeypatch):
    pyogrio.write_dataframe(lots(), tmp_path / "lots.shp")
    before = Path.open

    def refusing(self, *args, **options):
        if self.suffix == ".prj":
            raise PermissionError(13, "Permission denied")
        return before(self, *args, **options)

    monkeypatch.setattr(Path, "open", refusing)
    with pytest.raises(InputError, match=r"its \.prj cannot be opened: Permission denied"):
        read_of(tmp_path, "lots.shp")


@pytest.mark.parametrize("part", [".dbf", ".shx", ".shp"])
def test_a_sparse_part_of_ten_gigabytes_is_not_read_into_memory(tmp_path, part):
    """The parts are looked into where they must be: what is asked for is some kilobytes."""
    pyogrio.write_dataframe(lots(), tmp_path / "lots.shp")
    os.truncate(tmp_path / f"lots{part}", 10_000_000_000)
    held = Held(Item("lots.shp", tmp_path / "lots.shp"))
    tracemalloc.start()
    claim(held)
    _unreadable(held.item, np.arange(1, 7), np.arange(6))
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 1_000_000


def test_kml_of_many_gigabytes_is_refused_by_its_size(tmp_path):
    pyogrio.write_dataframe(lots(), tmp_path / "lots.kml", driver="KML")
    os.truncate(tmp_path / "lots.kml", 10_000_000_000)
    with pytest.raises(InputError, match=r"is KML of 9,537 MiB, more than the 512 MiB"):
        read_of(tmp_path, "lots.kml")


def test_reports_among_the_input_are_not_read(tmp_path):
    """A run.json as `geoturf run` writes it marks a report; another one does not."""
    about = {"version": "0", "inputs": [], "settings": {}, "counts": {}, "cautions": []}
    for name, content in (("out", about), ("other", {"version": 1})):
        (tmp_path / "sent" / name).mkdir(parents=True)
        pyogrio.write_dataframe(lots(2), tmp_path / "sent" / name / f"{name}.gpkg")
        (tmp_path / "sent" / name / "run.json").write_text(
            json.dumps(about if name == "out" else content)
        )
    for source in (read_of(tmp_path, "sent"), read_of(tmp_path, "sent/**/*.gpkg")):
        assert [layer.name for layer in source.layers] == ["other"]
        (said,) = (f for f in source.findings if f.code == "own-report")
        assert said.message.endswith("not read as input: out")


@pytest.mark.parametrize("name", ["two\nlines.gpkg", "two\nlines.tab", "a;b!c.gpkg", "a;b!c.zip"])
def test_odd_names_are_read_or_refused_in_one_line(tmp_path, name):
    pyogrio.write_dataframe(lots(), tmp_path / "plain.gpkg", layer="lots")
    if name.endswith(".zip"):
        with zipfile.ZipFile(tmp_path / name, "w") as archive:
            archive.write(tmp_path / "plain.gpkg", "plain.gpkg")
    else:
        shutil.copy(tmp_path / "plain.gpkg", tmp_path / name)
    if name.endswith(".zip"):
        assert len(read_of(tmp_path, name).layers[0].table) == 6
        return
    with pytest.raises(InputError) as refused:
        read_of(tmp_path, name)
    line = refused.value.findings[0].line()
    assert ("is not a format geoturf reads" if name.endswith(".tab") else "rename it") in line
    assert "\n" not in line


def test_a_name_longer_than_the_system_holds_is_refused_in_one_line(tmp_path):
    layers = [{"path": "x" * 5000 + ".gpkg"}]
    with pytest.raises(InputError) as refused:
        read(make_bid({"layers": layers, "folder": str(tmp_path)}))
    assert "longer than this machine can hold" in refused.value.findings[0].message
