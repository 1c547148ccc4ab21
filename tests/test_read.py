"""Reading what is right: every format and container, columns by name and by mapping, names, CRS,
sums.

Second opinions: geopandas' own reader, shapely's validity, `sha256` of the bytes, a circle's area.
"""

import gc
import hashlib
import subprocess
import sys
import zipfile
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyarrow as pa
import pyogrio
import pytest
import shapely
from geopandas.testing import assert_geoseries_equal
from hypothesis import example, given
from hypothesis import strategies as st
from open_data import bubenec
from shapely import box

from geoturf.bid import make_bid
from geoturf.errors import InputError
from geoturf.read import COLUMNS, read, texts
from geoturf.read.ids import number_areas
from geoturf.read.part import Columns
from geoturf.read.rings import star_shaped
from geoturf.read.shapes import _sound, _star_shaped

DATA = Path(__file__).parent / "data"
SUFFIXES = ("shp", "geojson", "gpkg", "fgb", "parquet", "kml")


def squares(crs="EPSG:4326", **columns):
    columns = columns or {"site": ["0012", "B", "C"], "phase": ["1", "1", "2"]}
    shapes = [
        box(-77 + k * 0.001, 40, -77 + k * 0.001 + 0.0005, 40.0005)
        for k in range(len(next(iter(columns.values()))))
    ]
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs="EPSG:4326").to_crs(crs)


def write(table, path, **options):
    if path.suffix == ".parquet":
        table.to_parquet(path)
    else:
        pyogrio.write_dataframe(
            table, path, driver="KML" if path.suffix == ".kml" else None, **options
        )
    return path


def source_of(folder, *layers, **rest):
    return read(
        make_bid(
            {
                "layers": [{"path": x} if isinstance(x, str) else x for x in layers],
                "folder": str(folder),
            }
            | rest
        )
    )


def table_of(folder, layer, **rest):
    return source_of(folder, layer, **rest).layers[0].table


# ------------------------------------------------------------------------------------------ formats


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_every_format_gives_the_same_areas(tmp_path, suffix):
    write(squares(), tmp_path / f"lots.{suffix}")
    source = source_of(tmp_path, f"lots.{suffix}")
    (layer,) = source.layers
    table = layer.table.sort_values("site", ignore_index=True)  # FlatGeobuf keeps its own order
    assert table["site"].tolist() == ["0012", "B", "C"]
    assert table["phase"].tolist() == ["1", "1", "2"]
    assert table["area"].tolist() == ["1", "1", "1"]
    assert table["product"].tolist() == ["turf60"] * 3
    assert_geoseries_equal(
        table.geometry, squares().geometry, check_less_precise=True, normalize=True, check_crs=False
    )
    assert table.crs.equals("EPSG:4326") or table.crs.to_epsg() == 4326
    assert source.left_out == 0
    assert not [f for f in source.findings if f.severity != "note" and f.code != "winding"]


@pytest.mark.parametrize("layer", ["buildings", "plots"])
def test_open_data_reads_as_geopandas_reads_it(layer):
    """momepy's bubenec (OpenStreetMap, ODbL; CUZK): several layers in one GeoPackage."""
    ours = table_of("/", {"path": bubenec(), "layer": layer})
    theirs = geopandas.read_file(bubenec(), layer=layer)
    assert_geoseries_equal(ours.geometry, theirs.geometry, check_index_type=False)


def test_a_format_whose_features_are_not_counted_is_refused_at_import():
    """What such files lose would be lost in silence."""
    script = (
        "import dataclasses, importlib, sys\n"
        "from geoturf.read import formats\n"
        "new = dataclasses.replace(formats.KINDS[0], name='Ledger', suffixes=('.ledger',))\n"
        "formats.KINDS += (new,)\n"
        "importlib.reload(sys.modules['geoturf.read.account'])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert "what is lost of a format could not be told: Ledger" in done.stderr


def test_a_zip_is_read_in_place(tmp_path):
    write(squares(), tmp_path / "lots.shp")
    with zipfile.ZipFile(tmp_path / "sent.zip", "w") as archive:
        for part in tmp_path.glob("lots.*"):
            archive.write(part, f"an export/{part.name}")
    source = source_of(tmp_path, "sent.zip")
    assert len(source.layers[0].table) == 3
    assert source.layers[0].layer == "lots"


def test_a_zip_of_several_is_read_by_name_or_all():
    one = source_of(DATA, {"path": "two_shapefiles.zip", "layer": "south"})
    assert [layer.layer for layer in one.layers] == ["south"]
    both = source_of(DATA, {"path": "two_shapefiles.zip", "layer": "*"})
    assert [(x.layer, x.table["site"].tolist()) for x in both.layers] == [
        ("north", ["A", "B"]),
        ("south", ["C", "D"]),
    ]


def test_files_of_one_name_in_a_zip_are_called_by_their_place(tmp_path):
    write(squares(), tmp_path / "lots.geojson")
    with zipfile.ZipFile(tmp_path / "sent.zip", "w") as archive:
        for phase in "ab":
            archive.write(tmp_path / "lots.geojson", f"{phase}/lots.geojson")
    with pytest.raises(InputError, match=r"holds 2 layers \(a/lots.geojson, b/lots.geojson\)"):
        source_of(tmp_path, "sent.zip")
    (one,) = source_of(tmp_path, {"path": "sent.zip", "layer": "b/lots.geojson"}).layers
    assert one.layer == "b/lots.geojson"


def test_a_folder_and_a_glob_mean_their_files(tmp_path):
    (tmp_path / "north").mkdir()
    for name in ("a", "north/b"):
        write(squares(site=[f"{name}1", f"{name}2"]), tmp_path / f"{name}.gpkg")
    (tmp_path / "notes.txt").write_text("not GIS")
    assert [x.file for x in source_of(tmp_path.parent, tmp_path.name).layers] == [
        f"{tmp_path.name}/a.gpkg",
        f"{tmp_path.name}/north/b.gpkg",
    ]
    assert [x.file for x in source_of(tmp_path, "*.gpkg").layers] == ["a.gpkg"]
    assert [x.file for x in source_of(tmp_path, "**/*.gpkg").layers] == ["a.gpkg", "north/b.gpkg"]


def test_different_crs_in_one_bid_stay_apart(tmp_path):
    write(squares("EPSG:2272", site=["A", "B"]), tmp_path / "feet.gpkg")
    write(squares("EPSG:32618", site=["C", "D"]), tmp_path / "utm.gpkg")
    assert [x.table.crs.to_epsg() for x in source_of(tmp_path, "feet.gpkg", "utm.gpkg").layers] == [
        2272,
        32618,
    ]


def test_multipart_heights_and_measures(tmp_path):
    shapes = shapely.from_wkt(
        ["MULTIPOLYGON Z (((0 0 5, 1 0 5, 1 1 5, 0 0 5)), ((2 0 5, 3 0 5, 3 1 5, 2 0 5)))"]
    )
    write(geopandas.GeoDataFrame(geometry=shapes, crs=4326), tmp_path / "deep.gpkg")
    (shape,) = table_of(tmp_path, "deep.gpkg").geometry
    assert shape.geom_type == "MultiPolygon"
    assert not shape.has_z
    assert shape.area == 1.0


def test_measures_do_not_count_as_sound():
    flat, measured = shapely.from_wkt(
        ["POLYGON ((0 0, 1 0, 1 1, 0 0))", "POLYGON M ((0 0 1, 1 0 1, 1 1 1, 0 0 1))"]
    )
    assert _sound(np.array([flat, measured])).tolist() == [True, False]
    assert _star_shaped(np.array([flat, measured])).tolist() == [True, False]


def test_curves_lose_what_is_said():
    """A circle of 50 ft: chords of 1 degree hold sin(1 deg) / (1 deg) of its area, 51 ppm less."""
    source = source_of(DATA, "curves.gpkg")
    area = source.layers[0].table.geometry.area[0]
    step = np.radians(1.0)
    assert area / (np.pi * 50**2) == pytest.approx(np.sin(step) / step, abs=1e-6)
    assert [f.message for f in source.findings if "-0.005%" in f.message]


def test_fields_called_like_the_readers_own_columns(tmp_path):
    """Exports from databases bring columns OGC_FID and wkb_geometry along; GDAL calls its own
    columns that too."""
    write(squares(OGC_FID=[70, 80], wkb_geometry=["x", "y"], fid_=[1, 2]), tmp_path / "lots.fgb")
    table = table_of(
        tmp_path, {"path": "lots.fgb", "columns": {"site": "OGC_FID", "area": "wkb_geometry"}}
    )
    assert sorted(zip(table["site"], table["area"], strict=True)) == [("70", "x"), ("80", "y")]


def test_two_fields_of_one_name_give_the_first(tmp_path):
    path = write(squares(siteA=["a", "b"], siteB=["c", "d"]), tmp_path / "lots.shp").with_suffix(
        ".dbf"
    )
    path.write_bytes(path.read_bytes().replace(b"siteB", b"siteA"))
    assert table_of(tmp_path, {"path": "lots.shp", "columns": {"site": "siteA"}})[
        "site"
    ].tolist() == ["a", "b"]


@pytest.mark.parametrize(
    "name", ["lots #1?.gpkg", "l\u00f6ts {a}.gpkg", "[a]*.gpkg", "a&b.gpkg", "a%20b.gpkg"]
)
def test_odd_file_names(tmp_path, name):
    write(squares(), tmp_path / "plain.gpkg", layer="lots").rename(tmp_path / name)
    assert len(table_of(tmp_path, name)) == 3


def test_a_name_the_reader_would_take_for_an_archive(tmp_path):
    for name in ("lots!.gpkg", "lots;a.gpkg"):
        write(squares(), tmp_path / "plain.gpkg").rename(tmp_path / name)
        with pytest.raises(InputError, match="rename it"):
            source_of(tmp_path, name)


# ---------------------------------------------------------------------------------------- soundness


@pytest.mark.filterwarnings("ignore:invalid value encountered in linearrings")
@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_coordinates_that_are_no_numbers_are_left_out_by_name(tmp_path, value):
    good, bad = (
        box(-77, 40, -76.9, 40.1),
        shapely.polygons([(-77, 40), (value, 40), (-76.9, 40.1), (-77, 40)]),
    )
    geopandas.GeoDataFrame(geometry=[good, bad], crs=4326).to_parquet(tmp_path / "lots.parquet")
    source = source_of(tmp_path, "lots.parquet")
    assert [(f.code, f.feature) for f in source.findings] == [("beyond-repair", "2")]
    assert source.left_out == 1


@given(
    st.lists(st.tuples(st.integers(-4, 4), st.integers(-4, 4)), min_size=3, max_size=9),
    st.sampled_from([0.0, 2.0e6, -117.0]),
    st.sampled_from([1.0, 33.3, 1e-4]),
)
def test_the_quick_proof_of_soundness_never_errs(corners, away, scale):
    """Whatever it calls sound, GEOS calls valid; and it repeats no vertex."""
    shape = np.array([shapely.Polygon([(away + x * scale, away + y * scale) for x, y in corners])])
    if _star_shaped(shape)[0]:
        assert shapely.is_valid(shape)[0]
        assert (
            shapely.get_num_coordinates(shapely.remove_repeated_points(shape))[0]
            == shapely.get_num_coordinates(shape)[0]
        )


def test_features_keep_their_numbers_over_many_batches(tmp_path):
    """20,000 squares are more than two batches; those without geometry stand at a batch's edges and
    are named rightly."""
    n, gone = 20_000, [0, 8_191, 8_192, 16_383, 16_384, 19_999]
    x = -77 + np.arange(n) * 1e-5
    shapes = shapely.box(x, 40, x + 5e-6, 40.000005)
    shapes[gone] = None
    shapes[5_000] = shapely.Polygon([(-77, 40), (-76, 41), (-76, 40), (-77, 41)])
    write(
        geopandas.GeoDataFrame({"site": [f"s{k}" for k in range(n)]}, geometry=shapes, crs=4326),
        tmp_path / "lots.gpkg",
    )
    source = source_of(tmp_path, "lots.gpkg")
    table = source.layers[0].table
    assert (
        table["site"] == "s" + (table["feature"].astype(int) - 1).astype(str)
    ).all()  # GeoPackage counts from 1
    assert [int(f.feature) - 1 for f in source.findings if f.code == "no-geometry"] == gone
    assert [f.feature for f in source.findings if f.code == "beyond-repair"] == ["5001"]
    at = table["feature"].astype(int).to_numpy() - 1
    assert (table.geometry.bounds["minx"].to_numpy() == x[at]).all()


def test_the_quick_proof_covers_plain_lawns():
    square, ell = box(0, 0, 9, 9), shapely.Polygon([(0, 0), (9, 0), (9, 5), (5, 5), (5, 9), (0, 9)])
    ring, bow = (
        box(0, 0, 9, 9).difference(box(3, 3, 4, 4)),
        shapely.Polygon([(0, 0), (9, 9), (9, 0), (0, 9)]),
    )
    pentagram = shapely.Polygon(
        [(np.sin(k * 4 * np.pi / 5), np.cos(k * 4 * np.pi / 5)) for k in range(5)]
    )
    mixed = np.array(
        [square, ell, ring, bow, pentagram, None, shapely.Polygon(), shapely.Point(1, 1)], object
    )
    assert _star_shaped(mixed).tolist() == [True, True, False, False, False, False, False, False]


# ------------------------------------------------------------------------------------------ columns


def test_canonical_names_map_by_themselves(tmp_path):
    columns = {
        "SITE": ["A"],
        "Area": ["x"],
        "Pile_Bearing_Deg": [-350.0],
        "USE": ["pets"],
        "elevation_ft": [1000.0],
    }
    write(squares(**columns), tmp_path / "lots.geojson")
    table = table_of(tmp_path, "lots.geojson")
    assert table.loc[0, ["site", "area", "use"]].tolist() == ["A", "x", "pets"]
    assert table.loc[0, "pile_bearing_deg"] == pytest.approx(10.0)
    assert table.loc[0, "elevation_m"] == pytest.approx(
        304.8
    )  # a foot is 0.3048 m exactly (NIST SP 811)
    assert "elevation_ft" not in table


def test_depths_are_read_in_inches_and_metres(tmp_path):
    """An inch is 0.0254 m exactly (NIST SP 811)."""
    columns = {"site": ["A", "B"], "dig_depth_in": [6.0, 5.0], "base_depth_m": [0.1, None]}
    columns["dig_depth_m"] = [None, 0.2]
    write(squares(**columns), tmp_path / "lots.gpkg")
    table = table_of(tmp_path, "lots.gpkg")
    assert table["dig_depth_m"].tolist() == pytest.approx([0.1524, 0.2])
    assert table["base_depth_m"].tolist() == pytest.approx([0.1, np.nan], nan_ok=True)


def test_stated_metres_stand_over_feet(tmp_path):
    """Feet fill in where a feature states no metres, and nowhere else: by hand, 1,000 ft are 304.8
    m."""
    columns = {
        "site": ["A", "B", "C"],
        "elevation_m": [250.0, None, None],
        "elevation_ft": [1000.0, 1000.0, None],
    }
    write(squares(**columns), tmp_path / "lots.gpkg")
    assert table_of(tmp_path, "lots.gpkg")["elevation_m"].tolist() == pytest.approx(
        [250.0, 304.8, np.nan], nan_ok=True
    )


def test_a_shapefile_cuts_names_and_they_still_map(tmp_path):
    with pytest.warns(RuntimeWarning, match="pile_beari"):
        write(squares(site=["A"], pile_bearing_deg=[45.0]), tmp_path / "lots.shp")
    assert table_of(tmp_path, "lots.shp")["pile_bearing_deg"].tolist() == [45.0]
    mapped = {"path": "lots.shp", "columns": {"aspect_deg": "pile_bearing_deg"}}
    assert table_of(tmp_path, mapped)["aspect_deg"].tolist() == [45.0]


def test_a_cut_elevation_can_be_mapped():
    layer = {"path": "cut_name.shp", "columns": {"elevation_ft": "elevation_"}}
    assert table_of(DATA, layer)["elevation_m"].tolist() == pytest.approx([0.3048, 0.6096, 0.9144])


def test_the_bid_maps_and_states_what_the_file_does_not(tmp_path):
    write(squares(LOT_NO=["7", "8", ""], REGION=["n", "", "s"]), tmp_path / "lots.gpkg")
    layer = {
        "path": "lots.gpkg",
        "columns": {"site": "lot_no", "phase": "REGION"},
        "phase": "x",
        "site": "rest",
    }
    table = table_of(tmp_path, layer)
    assert table["site"].tolist() == ["7", "8", "rest"]
    assert table["phase"].tolist() == ["n", "x", "s"]


@pytest.mark.parametrize(
    ("values", "texts"),
    [
        ([7, 8, 9], ["7", "8", "9"]),
        ([7.0, 8.5, None], ["7", "8.5", "lots 3"]),
        ([" 0012 ", "a", None], ["0012", "a", "lots 3"]),
        (
            pd.to_datetime(["2026-05-01", "2026-05-02", "2026-05-03"]),
            ["2026-05-01 00:00:00", "2026-05-02 00:00:00", "2026-05-03 00:00:00"],
        ),
        ([True, False, True], ["true", "false", "true"]),
    ],
    ids=["integers", "floats", "text", "days", "truth"],
)
def test_ids_of_any_type_become_text(tmp_path, values, texts):
    write(squares(site=values), tmp_path / "lots.gpkg")
    assert [
        t[: len(w)] for t, w in zip(table_of(tmp_path, "lots.gpkg")["site"], texts, strict=True)
    ] == texts


@pytest.mark.parametrize(
    ("where", "kept"),
    [
        ({"kind": "lawn"}, ["A", "C"]),
        ({"count": 2}, ["B", "C"]),
        ({"count": 2, "kind": "lawn"}, ["C"]),
        ({"share": 0.5}, ["A"]),
        ({"SITE": "A"}, ["A"]),
    ],
    ids=str,
)
def test_where_keeps_features_by_their_values(tmp_path, where, kept):
    columns = {
        "site": ["A", "B", "C"],
        "kind": ["lawn", "bed", "lawn"],
        "count": [1, 2, 2],
        "share": [0.5, 1.0, 2.0],
    }
    write(squares(**columns), tmp_path / "lots.gpkg")
    assert table_of(tmp_path, {"path": "lots.gpkg", "where": where})["site"].tolist() == kept


def test_where_asks_for_columns_that_exist(tmp_path):
    write(squares(), tmp_path / "lots.gpkg")
    with pytest.raises(InputError, match="did you mean 'phase'"):
        source_of(tmp_path, {"path": "lots.gpkg", "where": {"fase": "1"}})


def test_every_canonical_column_has_a_kind_and_words():
    assert all(column.kind in ("text", "number") and column.what for column in COLUMNS.values())
    assert all(column.low < column.high for column in COLUMNS.values() if column.kind == "number")


# -------------------------------------------------------------------------------------------- names


def test_without_a_site_column_each_feature_is_a_site(tmp_path):
    write(squares(note=["a", "b"]), tmp_path / "lots.geojson")
    table = table_of(tmp_path, "lots.geojson")
    assert table["site"].tolist() == ["lots 1", "lots 2"]
    assert table["area"].tolist() == ["1", "1"]


def test_files_of_one_name_keep_their_sites_apart(tmp_path):
    for folder in ("east", "west"):
        (tmp_path / folder).mkdir()
        write(squares(note=["a"]), tmp_path / folder / "lots.geojson")
    layers = source_of(tmp_path, "east", "west").layers
    assert [layer.table["site"][0] for layer in layers] == ["lots 1", "lots (2) 1"]


def test_areas_are_numbered_within_a_site_past_names_in_use(tmp_path):
    write(squares(site=["A", "A", "B", "A"], area=["", "1", "", ""]), tmp_path / "back.gpkg")
    write(squares(site=["A", "C"]), tmp_path / "front.gpkg")
    back, front = (
        layer.table["area"].tolist()
        for layer in source_of(tmp_path, "back.gpkg", "front.gpkg").layers
    )
    assert (back, front) == (["2", "1", "1", "3"], ["4", "1"])


def test_a_file_named_twice_is_summed_up_once(tmp_path):
    path = write(squares(), tmp_path / "lots.gpkg")
    layers = [{"path": "lots.gpkg", "where": {"phase": n}} for n in ("1", "2")]
    source = source_of(tmp_path, *layers)
    assert source.inputs == (("lots.gpkg", hashlib.sha256(path.read_bytes()).hexdigest()),)
    assert [len(layer.table) for layer in source.layers] == [2, 1]


def test_a_shapefile_is_summed_up_with_all_its_parts(tmp_path):
    write(squares(), tmp_path / "lots.shp")
    parts = b"".join(
        (tmp_path / f"lots.{part}").read_bytes() for part in ("cpg", "dbf", "prj", "shp", "shx")
    )
    assert source_of(tmp_path, "lots.shp").inputs == (
        ("lots.shp", hashlib.sha256(parts).hexdigest()),
    )


# ---------------------------------------------------------------------------------------------- CRS


def test_a_stated_crs_is_taken():
    assert table_of(DATA, {"path": "no_prj.shp", "crs": "EPSG:2272"}).crs.to_epsg() == 2272


def test_an_overridden_crs_is_told(tmp_path):
    write(squares("EPSG:32618"), tmp_path / "lots.gpkg")
    source = source_of(tmp_path, {"path": "lots.gpkg", "crs": "EPSG:26918"})
    assert source.layers[0].table.crs.to_epsg() == 26918
    assert [f.code for f in source.findings] == ["crs-overridden"]


@pytest.mark.parametrize(
    "crs",
    ["EPSG:2272", "EPSG:32618", "EPSG:3857", "EPSG:5070", "EPSG:4269", "EPSG:6350", "EPSG:32129"],
)
def test_right_coordinates_pass_in_any_crs(tmp_path, crs):
    write(squares(crs), tmp_path / "lots.gpkg")
    assert not [
        f
        for f in source_of(tmp_path, "lots.gpkg").findings
        if f.code in ("far-off", "impossible-coordinates")
    ]


def test_a_local_frame_near_its_origin_is_no_degrees(tmp_path):
    """A transverse Mercator at the site, without false easting, has coordinates as small as degrees
    are."""
    lots = squares("+proj=tmerc +lat_0=40 +lon_0=-77 +datum=WGS84 +units=m")
    write(lots, tmp_path / "lots.gpkg")
    assert len(table_of(tmp_path, "lots.gpkg")) == 3


@pytest.mark.parametrize(
    ("real", "said"),
    [("EPSG:4326", "EPSG:3857"), ("EPSG:3857", "EPSG:32618"), ("EPSG:32618", "EPSG:2272")],
)
def test_coordinates_of_another_crs_are_refused(tmp_path, real, said):
    write(squares(real).set_crs(said, allow_override=True), tmp_path / "lots.gpkg")
    with pytest.raises(InputError, match="cannot be"):
        source_of(tmp_path, "lots.gpkg")


# -------------------------------------------------------------------------------------------- roles


def test_context_keeps_its_geometry_and_is_not_priced(tmp_path):
    write(squares(), tmp_path / "lots.gpkg")
    streets = geopandas.GeoDataFrame(
        geometry=[shapely.LineString([(-77, 40), (-76.9, 40)])], crs=4326
    )
    write(streets, tmp_path / "streets.gpkg")
    lots, street = source_of(
        tmp_path, "lots.gpkg", {"path": "streets.gpkg", "role": "street"}
    ).layers
    assert street.table.geom_type.tolist() == ["LineString"]
    assert list(street.table) == ["feature", "geometry"]
    assert "site" in lots.table


def test_context_beyond_repair_is_a_warning(tmp_path):
    write(squares(), tmp_path / "lots.gpkg")
    bow = (DATA / "bow_tie.geojson").read_bytes()
    (tmp_path / "houses.geojson").write_bytes(bow)
    source = source_of(tmp_path, "lots.gpkg", {"path": "houses.geojson", "role": "building"})
    assert source.left_out == 0
    assert [(f.severity, f.code) for f in source.findings] == [("warning", "beyond-repair")]


# ---------------------------------------------------------------------------------- columns of text


WORDS = st.lists(
    st.one_of(
        st.none(), st.sampled_from(["", " ", "1", " 1", "1 ", "A", "\tA"]), st.text(max_size=3)
    )
)


@given(WORDS, WORDS)
@example([], [None, "\0"])
def test_a_column_of_text_is_its_rows_trimmed(left, right):
    """Against pandas row by row; a text is kept once, whatever trimming and filling make equal; two
    columns follow each other."""
    both = [
        texts.of_arrow(pa.chunked_array([pa.array(part, pa.string())])) for part in (left, right)
    ]
    rows = pd.Series([*left, *right], dtype=object).fillna("").str.strip()
    one = texts.together(both)
    assert one.each().tolist() == rows.tolist()
    assert one.filled("1").each().tolist() == rows.replace("", "1").tolist()
    assert one.are("A").tolist() == (rows == "A").tolist()
    for column in (one, one.filled("1"), *both):
        assert len(set(column.values)) == len(column.values)


@given(
    st.lists(
        st.tuples(st.sampled_from("AB"), st.sampled_from(["", "1", "2", "x"])),
        min_size=1,
        max_size=9,
    )
)
def test_areas_without_a_name_get_one_of_their_own(rows):
    """Named ones keep theirs; a site's new names are the least numbers it does not use, in
    order."""
    site, area = (np.array(column, object) for column in zip(*rows, strict=True))
    tables = [
        Columns(site[a:b], {"site": texts.of(site[a:b]), "area": texts.of(area[a:b])}, {})
        for a, b in [(0, 3), (3, 9)]
    ]
    number_areas(tables)
    after = np.concatenate([table.texts["area"].each() for table in tables])
    assert (after[area != ""] == area[area != ""]).all()
    for one in "AB":
        used = set(area[(site == one) & (area != "")])
        new = after[(site == one) & (area == "")].tolist()
        assert new == [str(k) for k in range(1, 20) if str(k) not in used][: len(new)]


# ---------------------------------------------------------------------------------- told from bytes


def rings():
    """Polygons of all sorts: star-shaped and not, crossing, with holes, doubled vertices, heights,
    many parts, nothing."""
    chance = np.random.default_rng(5)
    turn = np.linspace(0, 2 * np.pi, 9, endpoint=False)
    shapes = []
    for _ in range(300):
        reach = chance.uniform(1, 9, 9)
        xy = np.column_stack([reach * np.cos(turn), reach * np.sin(turn)]) + chance.uniform(
            -1e6, 1e6, 2
        )
        shapes.append(shapely.Polygon(xy if chance.random() < 0.5 else chance.permutation(xy)))
    square = shapely.box(0, 0, 4, 4)
    twice = shapely.Polygon([(0, 0), (4, 0), (4, 0), (4, 4), (0, 4)])
    bow = shapely.Polygon([(0, 0), (4, 4), (4, 0), (0, 4)])
    with np.errstate(invalid="ignore"):
        odd = shapely.Polygon([(0, 0), (4, 0), (np.nan, 4)])
    return [
        *shapes,
        *(
            square,
            twice,
            bow,
            odd,
            square - shapely.box(1, 1, 2, 2),
            shapely.MultiPolygon([square]),
            shapely.Polygon(),
        ),
        *(shapely.force_3d(square, 7.0), shapely.Point(1, 1), None),
    ]


@pytest.mark.parametrize("kind", [pa.binary(), pa.large_binary()])
@pytest.mark.parametrize("order", [0, 1])
def test_what_bytes_tell_is_what_shapes_tell(kind, order):
    """And a shape told sound is valid by GEOS. Big-endian bytes are not looked into."""
    shapes = np.array(rings(), object)
    wkb = pa.array(list(shapely.to_wkb(shapes, byte_order=order)), kind)
    told = star_shaped(wkb)
    assert told.tolist() == (_star_shaped(shapes).tolist() if order else [False] * len(shapes))
    assert star_shaped(wkb[100:]).tolist() == told[100:].tolist()
    assert shapely.is_valid(shapes[told]).all() and (not order or told.sum() > 100)


@pytest.mark.parametrize("on", [True, False])
def test_the_collector_is_left_as_it_was(tmp_path, on):
    write(squares(), tmp_path / "lots.gpkg")
    (tmp_path / "torn.fgb").write_bytes(b"no such thing")
    was_on = gc.isenabled()
    try:
        (gc.enable if on else gc.disable)()
        source_of(tmp_path, "lots.gpkg", "torn.fgb")
        assert gc.isenabled() is on
    finally:
        (gc.enable if was_on else gc.disable)()


def test_a_large_layer_reads_as_a_small_one(tmp_path):
    """More features than a batch: what is told from bytes, a crossing ring among them, and what is
    not."""
    x, y = 500_000 + np.arange(9000) % 100, 4_000_000 + np.arange(9000) // 100
    shapes = shapely.box(x, y, x + 0.9, y + 0.9)
    shapes[17] = shapely.Polygon([(x[0], y[0]), (x[4], y[400]), (x[4], y[0]), (x[0], y[400])])
    table = geopandas.GeoDataFrame(
        {"site": [f"S{k}" for k in range(9000)]}, geometry=shapes, crs=32618
    )
    for suffix in ("gpkg", "parquet"):
        path = tmp_path / f"lots.{suffix}"
        table.to_parquet(path) if suffix == "parquet" else table.to_file(path)
        source = source_of(tmp_path, path.name)
        assert len(source.layers[0].table) == 8999 and source.left_out == 1
        assert [f.code for f in source.findings if f.severity == "error"] == ["beyond-repair"]
