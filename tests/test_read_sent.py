"""What cities and surveyors send: file geodatabases, KMZ, GML, DXF, CSV with well-known text. The
same site in each gives the same rows as in a GeoPackage; what is wrong with one is said in one
line."""

import math
import re
import shutil
import zipfile

import geopandas
import pandas as pd
import pyogrio
import pytest
from open_data import bubenec
from shapely import MultiPolygon, Polygon, box

from geoturf.bid import make_bid
from geoturf.errors import BidError, InputError
from geoturf.ground import measure
from geoturf.read import read
from geoturf.units import US

ROWS = {
    "site": ["0012", "B", "Ö & Co"],
    "phase": ["1", "1", "2"],
    "slope_pct": ["2.5", "0", "12"],
    "cover": ["Fescue", "Bermuda", ""],
}


def lots(crs="EPSG:2228"):
    """Three lots in feet: plain, with a hole, in two parts."""
    x, y = 6_352_000.0, 2_148_000.0
    shapes = [
        box(x, y, x + 60, y + 40),
        box(x + 100, y, x + 180, y + 60).difference(box(x + 120, y + 20, x + 140, y + 40)),
        MultiPolygon([box(x + 300, y, x + 330, y + 20), box(x + 340, y, x + 360, y + 25)]),
    ]
    return geopandas.GeoDataFrame(ROWS, geometry=shapes, crs="EPSG:2228").to_crs(crs)


def save(path, layer, append=False):
    kind = {"driver": "OpenFileGDB", "geometry_type": "MultiPolygon", "promote_to_multi": True}
    pyogrio.write_dataframe(lots(), path, layer=layer, append=append, **kind)


def geodatabase(folder, path):
    save(path, "lots")


def zipped(folder, path):
    (folder / "kept").mkdir()
    geodatabase(folder, folder / "kept" / "lots.gdb")
    with zipfile.ZipFile(path, "w") as archive:
        for part in (folder / "kept" / "lots.gdb").iterdir():
            archive.write(part, f"export/lots.gdb/{part.name}")
    shutil.rmtree(folder / "kept")


def kmz(folder, path):
    pyogrio.write_dataframe(lots("EPSG:4326"), folder / "doc.kml", layer="lots", driver="KML")
    with zipfile.ZipFile(path, "w") as archive:
        archive.write(folder / "doc.kml", "doc.kml")
    (folder / "doc.kml").unlink()


def gml(folder, path):
    pyogrio.write_dataframe(lots(), path, layer="lots", driver="GML")
    path.with_suffix(".xsd").unlink()  # it mostly gets lost


def wkt(folder, path):
    table = lots()
    text = pd.DataFrame(table.drop(columns="geometry")).assign(WKT=table.geometry.to_wkt())
    text.to_csv(path, index=False)


def geopackage(folder, path):
    pyogrio.write_dataframe(lots(), path)


SENT = {
    "lots.gpkg": geopackage,
    "lots.gdb": geodatabase,
    "lots.gdb.zip": zipped,
    "lots.kmz": kmz,
    "lots.gml": gml,
    "a lot (more)%20.gml": gml,
    "lots.csv": wkt,
}


def source_of(folder, name, **layer):
    stated = {"crs": "EPSG:2228"} if name.endswith(".csv") else {}
    given = {"path": name} | stated | layer
    return read(make_bid({"layers": [given], "folder": str(folder)}))


@pytest.mark.parametrize("name", SENT)
def test_the_same_site_gives_the_same_rows(tmp_path, name):
    """Ids stay text, numbers written as text are numbers; ground within a square inch of the
    GeoPackage's (KML keeps 15 digits of a degree)."""
    SENT[name](tmp_path, tmp_path / name)
    before = sorted(tmp_path.rglob("*"))
    source = source_of(tmp_path, name)
    (layer,) = source.layers
    table = layer.table
    assert table["site"].tolist() == ROWS["site"] and table["phase"].tolist() == ROWS["phase"]
    assert table["feature"].tolist() == ["1", "2", "3"]
    assert table["slope_pct"].tolist() == [2.5, 0.0, 12.0]
    assert table["cover"].fillna("").tolist() == ROWS["cover"]
    bid = make_bid({"layers": [{"path": name}]})
    areas = measure(source, bid.ground, US).areas["ground_area_m2"]
    geopackage(tmp_path, tmp_path / "own.gpkg")
    own = measure(source_of(tmp_path, "own.gpkg"), bid.ground, US).areas["ground_area_m2"]
    assert areas.tolist() == pytest.approx(own.tolist(), abs=6e-4)
    assert source.left_out == 0 and not [f for f in source.findings if f.severity != "note"]
    assert sorted({*tmp_path.rglob("*")} - {tmp_path / "own.gpkg"}) == before  # nothing beside it
    assert dict(source.inputs)[name]


def test_layers_of_a_geodatabase_and_a_gml_are_read_by_name(tmp_path):
    for layer in ("north", "south"):
        save(tmp_path / "two.gdb", layer, append=layer == "south")
    with pytest.raises(InputError, match=r"holds 2 layers \(north, south\); say which"):
        source_of(tmp_path, "two.gdb")
    assert source_of(tmp_path, "two.gdb", layer="south").layers[0].layer == "south"
    assert len(source_of(tmp_path, "two.gdb", layer="*").layers) == 2


def test_a_folder_takes_geodatabases_and_no_csv(tmp_path):
    (tmp_path / "sent").mkdir()
    geodatabase(tmp_path, tmp_path / "sent" / "lots.gdb")
    wkt(tmp_path, tmp_path / "sent" / "bills.csv")
    (layer,) = source_of(tmp_path, "sent").layers
    assert layer.file == "sent/lots.gdb" and len(layer.table) == 3


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("a.csv", "site,x\nA,1\n", "no column of geometry as well-known text"),
        ("a.csv", 'site,WKT,site\nA,"POINT (1 1)",B\n', "two of its columns have one name"),
        ("a.csv", b"site,WKT\n\xff\xfe,x\n", "not UTF-8"),
        ("a.csv", b"\x00\x01", "is no CSV"),
        ("a.csv", "", "is empty"),
        ("a.gml", "<a/>", "is no GML, whatever its name says"),
        (
            "a.gml",
            '<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]>'
            '<a xmlns:gml="http://www.opengis.net/gml">&b;</a>',
            "a document type of its own",
        ),
        ("a.kmz", "no zip", "is no zip that can be opened"),
    ],
)
def test_what_is_none_is_said_in_one_line(tmp_path, name, text, said):
    (tmp_path / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(InputError, match=said) as refused:
        source_of(tmp_path, name)
    assert all(len(f.line().splitlines()) == 1 for f in refused.value.findings)


def test_a_cell_that_is_no_geometry_is_named_and_the_others_live(tmp_path):
    good = lots().geometry[0].wkt
    rows = f'site;wkt\nA;{good}\nB;POLYGON ((0 0\nC;\nD;"SRID=2228;{good}"\n'
    (tmp_path / "a.csv").write_text(rows)
    source = source_of(tmp_path, "a.csv")
    assert source.layers[0].table["site"].tolist() == ["A", "D"]
    said = {f.feature: f.message for f in source.findings if f.severity in ("error", "warning")}
    assert "no well-known text" in said["2"] and "3" in said


def test_a_folder_called_gdb_without_tables_is_a_folder(tmp_path):
    (tmp_path / "empty.gdb").mkdir()
    with pytest.raises(InputError, match="holds no"):
        source_of(tmp_path, "empty.gdb")


# ---------------------------------------------------------------------------------------- drawings


def drawing(*entities, unit=2):
    """A DXF by the DXF Reference (ASCII pairs of group code and value)."""
    head = ["0", "SECTION", "2", "HEADER", "9", "$ACADVER", "1", "AC1015"]
    head += ["9", "$INSUNITS", "70", str(unit), "0", "ENDSEC"] if unit else ["0", "ENDSEC"]
    body = [str(value) for entity in entities for value in entity]
    return "\n".join([*head, "0", "SECTION", "2", "ENTITIES", *body, "0", "ENDSEC", "0", "EOF", ""])


def polyline(layer, *corners, closed=True):
    """A light-weight polyline; a corner may have a bulge, the tangent of a quarter of the angle of
    the arc that follows it."""
    pairs = ["0", "LWPOLYLINE", "8", layer, "100", "AcDbPolyline", "90", len(corners)]
    pairs += ["70", int(closed)]
    for x, y, *bulge in corners:
        pairs += ["10", f"{x:.6f}", "20", f"{y:.6f}", *(["42", bulge[0]] if bulge else [])]
    return pairs


def hatch(layer, *corners):
    """A solid hatch within one polyline."""
    pairs = ["0", "HATCH", "8", layer, "100", "AcDbHatch", "10", 0, "20", 0, "30", 0]
    pairs += [
        "2",
        "SOLID",
        "70",
        1,
        "71",
        0,
        "91",
        1,
        "92",
        2,
        "72",
        0,
        "73",
        1,
        "93",
        len(corners),
    ]
    for x, y in corners:
        pairs += ["10", f"{x:.6f}", "20", f"{y:.6f}"]
    return [*pairs, "97", 0, "75", 1, "76", 1, "98", 0]


X, Y = 6_352_000.0, 2_148_000.0
FOOT_M = 1200 / 3937  # the survey foot of EPSG:2228


def rectangle(wide, deep, scale=1.0, x=X, y=Y):
    corners = ((x, y), (x + wide, y), (x + wide, y + deep), (x, y + deep))
    return [(a * scale, b * scale) for a, b in corners]


def drawn(folder, text, **layer):
    (folder / "lots.dxf").write_text(text)
    return source_of(folder, "lots.dxf", **{"crs": "EPSG:2228"} | layer)


def plan_areas(source):
    return [geometry.area for geometry in source.layers[0].table.geometry]


@pytest.mark.parametrize(
    ("unit", "stated", "scale"),
    [
        (2, "", 1.0),  # feet in a grid of feet, survey or not
        (21, "", 1.0),
        (6, "", FOOT_M),
        (4, "", 1000 * FOOT_M),
        (1, "", 12.0),
        (0, "m", FOOT_M),
        (4, "m", FOOT_M),  # the header is wrong, says the bid
    ],
)
def test_a_drawing_is_scaled_from_its_unit_to_the_grid(tmp_path, unit, stated, scale):
    text = drawing(polyline("LAWN", *rectangle(60, 40, scale)), unit=unit)
    source = drawn(tmp_path, text, **({"unit": stated} if stated else {}))
    assert plan_areas(source) == pytest.approx([2400.0], rel=2e-5)  # a foot of 12 in is 2 ppm off
    said = [f.message for f in source.findings if f.code == "drawing-unit"]
    assert bool(said) == (scale != 1.0)


def test_a_drawing_of_no_unit_is_taken_in_that_of_the_grid_and_says_so(tmp_path):
    source = drawn(tmp_path, drawing(polyline("LAWN", *rectangle(60, 40)), unit=0))
    assert plan_areas(source) == pytest.approx([2400.0])
    (said,) = [f for f in source.findings if f.code == "drawing-unit"]
    assert said.severity == "warning" and "names no unit" in said.message


def test_layers_hatches_and_what_bounds_nothing(tmp_path):
    text = drawing(
        polyline("LAWN", *rectangle(60, 40)),
        hatch("LAWN", *rectangle(20, 10, x=X + 100)),
        polyline("LAWN", *rectangle(5, 5, x=X + 200), closed=False),
        polyline("HOUSE", *rectangle(30, 30, x=X + 300)),
        ["0", "LINE", "8", "NOTES", "10", X, "20", Y, "11", X + 9, "21", Y],
    )
    with pytest.raises(InputError, match=r"holds 2 layers \(LAWN, HOUSE\)"):
        drawn(tmp_path, text)
    source = drawn(tmp_path, text, layer="LAWN")
    assert plan_areas(source) == pytest.approx([2400.0, 200.0])
    assert source.layers[0].table["feature"].tolist() == ["1", "2"]
    (said,) = [f.message for f in source.findings if f.code == "open-line"]
    assert said.startswith("1 open line") and "close the polyline" in said


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ("LWPOLYLINE\n8\nLAWN\n100", "LWPLYLINE\n8\nLAWN\n100", "1 of kind 'LWPLYLINE' not read"),
        ("LWPOLYLINE\n8\nLAWN\n100", "REGION\n8\nLAWN\n100", "1 of kind 'REGION' not read"),
        (f"10\n{X:.6f}\n20", f"[]\n{X:.6f}\n20", f"1 of kind '{X:.6f}' not read"),
    ],
)
def test_what_of_a_drawing_does_not_come_is_told(tmp_path, before, after, said):
    """GDAL passes over kinds that it does not know, and draws what it has met at the end."""
    lawns = [polyline("LAWN", *rectangle(60, 40, x=X + 100 * k)) for k in (1, 0)]
    text = drawing(*lawns)
    assert drawn(tmp_path, text).left_out == 0
    place = text.rindex(before)
    source = drawn(tmp_path, text[:place] + after + text[place + len(before) :])
    assert source.left_out and said in source.findings[0].line()


def test_arcs_become_chords_and_the_change_of_area_is_told(tmp_path):
    """A square of 40 ft with half a circle on its top (bulge 1): 1,600 + pi 20^2 / 2 ft2."""
    corners = [(X, Y), (X + 40, Y), (X + 40, Y + 40, 1.0), (X, Y + 40)]
    source = drawn(tmp_path, drawing(polyline("LAWN", *corners)))
    true_ft2 = 1600 + math.pi * 20**2 / 2
    (area,) = plan_areas(source)
    (said,) = [f for f in source.findings if f.code == "curves"]
    told = float(re.search(r"([-+][\d.]+) ?%", said.message).group(1)) / 100
    assert area / true_ft2 - 1 == pytest.approx(told, abs=6e-6) and told < 0
    assert said.feature == "1"


@pytest.mark.parametrize(
    ("text", "layer", "said"),
    [
        ("AutoCAD Binary DXF\r\n\x1a", {}, "is a binary DXF; save it as text"),
        (
            drawing(polyline("A", *rectangle(9, 9)))[:-20],
            {},
            "as DXF: error at line 45 of lots.dxf",
        ),
        ("no drawing", {}, "is no DXF, whatever its name says"),
        (drawing(polyline("A", *rectangle(9, 9))), {"crs": "EPSG:4326"}, "not degrees"),
        (drawing(polyline("A", *rectangle(9, 9))), {"unit": "furlong"}, "'furlong' is no unit"),
        (
            drawing(["0", "LINE", "8", "A", "10", 0, "20", 0, "11", 9, "21", 0]),
            {},
            "holds no layer",
        ),
    ],
)
def test_a_drawing_that_cannot_be_used_is_refused_in_one_line(tmp_path, text, layer, said):
    with pytest.raises((InputError, BidError), match=said):
        drawn(tmp_path, text, **layer)


def test_the_same_lot_drawn_and_mapped_gives_the_same_ground(tmp_path):
    drawn_ft2 = drawn(tmp_path, drawing(polyline("LAWN", *rectangle(60, 40))))
    rules = make_bid({"layers": [{"path": "lots.dxf"}]}).ground
    ours = measure(drawn_ft2, rules, US).areas
    geopackage(tmp_path, tmp_path / "own.gpkg")
    own = measure(source_of(tmp_path, "own.gpkg"), rules, US).areas
    for word in ("ground_area_m2", "perimeter_m"):
        assert ours[word].iloc[0] == pytest.approx(own[word].iloc[0], rel=1e-9)


# ---------------------------------------------------------------------------------------- open data


@pytest.mark.parametrize("suffix", ["gdb", "gml", "csv", "dxf"])
def test_open_data_is_read_alike_in_every_format(tmp_path, suffix):
    """momepy's bubenec: buildings by OpenStreetMap contributors (ODbL), put on the grid of Prague
    (EPSG:5514, metres), whose areas GeoPandas measures; a geodatabase rounds to a tenth of a
    millimetre."""
    own = geopandas.read_file(bubenec(), layer="buildings").to_crs("EPSG:5514")
    path = tmp_path / f"lots.{suffix}"
    if suffix == "gdb":
        kind = {"driver": "OpenFileGDB", "geometry_type": "MultiPolygon", "promote_to_multi": True}
        pyogrio.write_dataframe(own, path, layer="lots", **kind)
    elif suffix == "gml":
        pyogrio.write_dataframe(own, path, layer="lots", driver="GML")
    elif suffix == "csv":
        pd.DataFrame({"uid": own["uID"], "wkt": own.geometry.to_wkt()}).to_csv(path, index=False)
    else:
        own.geometry = own.exterior.map(
            Polygon
        )  # a polyline has no hole; a court is one of its own
        rings = [list(shape.exterior.coords)[:-1] for shape in own.geometry]
        path.write_text(drawing(*(polyline("BUILT", *ring) for ring in rings), unit=6))
    source = source_of(tmp_path, path.name, crs="EPSG:5514")
    assert plan_areas(source) == pytest.approx(own.area.tolist(), abs=0.01)
    assert source.left_out == 0
