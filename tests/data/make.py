"""Makes the bad files of this folder. Each has one fault, which is its name; all else in it is
right.

    python tests/data/make.py

The ground is invented: squares of 100 ft, 150 ft apart (EPSG:2272), or of 0.0003 degree at -77, 40.
"""

from __future__ import annotations

import json
import sqlite3
import struct
import zipfile
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import pyarrow as pa
import pyogrio
from pyarrow import parquet
from shapely import box

HERE = Path(__file__).parent
PARTS = (".cpg", ".dbf", ".prj", ".shp", ".shx")
Ring = list[list[float]]


def degrees(k: int, size: float = 0.0003) -> Ring:
    """A square in longitude and latitude, counter-clockwise, closed."""
    x, y = -77 + k * 0.0005, 40.0
    return [[x, y], [x + size, y], [x + size, y + size], [x, y + size], [x, y]]


def polygon(*rings: Ring) -> dict[str, Any]:
    return {"type": "Polygon", "coordinates": list(rings)}


def geojson(name: str, shapes: list[dict[str, Any] | None], **columns: list[Any]) -> None:
    """Features 0, 1, 2 ... on sites A, B, C ... unless columns say otherwise."""
    columns = {"site": [chr(65 + k) for k in range(len(shapes))]} | columns
    features = [
        {"type": "Feature", "properties": {c: v[k] for c, v in columns.items()}, "geometry": shape}
        for k, shape in enumerate(shapes)
    ]
    (HERE / f"{name}.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "features": features}) + "\n", encoding="utf-8"
    )


def squares(
    n: int = 5, crs: Any = 2272, x: float = 2_000_000, y: float = 300_000, **columns: Any
) -> geopandas.GeoDataFrame:
    columns = {"site": [chr(65 + k) for k in range(n)]} | columns
    shapes = [box(x + 150 * k, y, x + 150 * k + 100, y + 100) for k in range(n)]
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs=crs)


def write(table: geopandas.GeoDataFrame, name: str, **options: Any) -> Path:
    path = HERE / name
    path.unlink(missing_ok=True)
    pyogrio.write_dataframe(table, path, **options)
    return path


def cut(path: Path, keep: float) -> None:
    """Keeps the first part of a file, as a broken transfer does."""
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * keep)])


def rings() -> None:
    good, other = polygon(degrees(0)), polygon(degrees(2))
    a = degrees(1)
    geojson("unclosed_ring", [good, polygon(a[:-1]), other])
    geojson("short_ring", [good, polygon(a[:2]), other])
    geojson("bow_tie", [good, polygon([a[0], a[2], a[1], a[3], a[0]]), other])
    x, y, s = a[0][0], a[0][1], 0.0003
    loop = [
        [x + s, y + s],
        [x + s * 0.5, y + s],
        [x + s * 0.49, y + s * 1.01],
        [x + s * 0.49, y + s * 0.995],
        [x + s * 0.5, y + s * 1.005],
    ]
    geojson("small_crossing", [good, polygon([a[0], a[1], *loop, a[3], a[0]]), other])
    geojson("spike", [good, polygon([a[0], a[1], [x + 3 * s, y], a[1], a[2], a[3], a[0]]), other])
    geojson("vertex_twice", [good, polygon([a[0], a[1], a[1], a[2], a[3], a[0]]), other])
    geojson("wrong_winding", [good, polygon(a[::-1]), other])
    geojson("null_geometry", [good, None, other])
    geojson("empty_geometry", [good, {"type": "Polygon", "coordinates": []}, other])
    point = {"type": "Point", "coordinates": [-77.0, 40.0]}
    geojson("point_among_polygons", [good, point, other])
    geojson("line_among_polygons", [good, {"type": "LineString", "coordinates": a[:2]}, other])
    geojson("all_points", [point, point])
    geojson(
        "collection",
        [good, {"type": "GeometryCollection", "geometries": [point, polygon(a)]}, other],
    )
    side = [
        [x + s, y],
        [x + 2 * s, y],
        [x + 2 * s, y + s],
        [x + s, y + s],
        [x + s, y],
    ]  # meets the square a
    geojson("empty_hole", [polygon(a, []), polygon(side), other])
    geojson("heights", [good, polygon([[*p, 12.5] for p in a]), other])


def members() -> None:
    """FeatureCollections of three members, the second of them no Feature (RFC 7946 section 3.2)."""
    for name, fault in (
        ("no_type", {}),
        ("wrong_type", {"type": "feature "}),
        ("null_type", {"type": None}),
    ):
        odd = {"properties": {"site": "B"}, "geometry": polygon(degrees(1))} | fault
        collection(name, odd)
    collection("null_member", None)


def collection(name: str, second: Any) -> None:
    first, third = (
        {"type": "Feature", "properties": {"site": chr(65 + k)}, "geometry": polygon(degrees(k))}
        for k in (0, 2)
    )
    text = json.dumps({"type": "FeatureCollection", "features": [first, second, third]})
    (HERE / f"{name}.geojson").write_text(text + "\n", encoding="utf-8")


def places() -> None:
    feet = [[2e6, 3e5], [2e6 + 100, 3e5], [2e6 + 100, 3e5 + 100], [2e6, 3e5 + 100], [2e6, 3e5]]
    geojson("projected_coordinates", [polygon(feet)])
    far = [
        [6_400_000, 2e6],
        [6_400_100, 2e6],
        [6_400_100, 2e6 + 100],
        [6_400_000, 2e6 + 100],
        [6_400_000, 2e6],
    ]
    geojson("one_far_away", [polygon(degrees(0)), polygon(far), polygon(degrees(2))])
    geojson("swapped_axes", [polygon([[lat, 40 + lon * 2] for lon, lat in degrees(0)])])
    lonlat = squares(2)
    lonlat.geometry = [box(-77, 40, -76.9997, 40.0003), box(-76.999, 40, -76.9987, 40.0003)]
    write(lonlat, "degrees_as_feet.fgb")
    write(squares(2, crs=2272, x=3_700_000), "far_off.fgb")
    write(squares(2, crs=None), "no_crs.fgb")
    shapefile(squares(3), "no_prj")
    (HERE / "no_prj.prj").unlink()
    shapefile(squares(3), "local_crs")
    (HERE / "local_crs.prj").write_text(
        'LOCAL_CS["Site grid",UNIT["US survey foot",0.304800609601219]]', encoding="ascii"
    )


def shapefile(table: geopandas.GeoDataFrame, name: str, **options: Any) -> None:
    for part in PARTS:
        (HERE / f"{name}{part}").unlink(missing_ok=True)
    write(table, f"{name}.shp", **options)


def shapefiles() -> None:
    shapefile(squares(), "no_dbf")
    (HERE / "no_dbf.dbf").unlink()
    shapefile(squares(), "no_shx")
    (HERE / "no_shx.shx").unlink()
    shapefile(squares(), "short_dbf")
    patch("short_dbf.dbf", 4, struct.pack("<I", 3))  # dBASE header: number of records
    shapefile(squares(), "cut_dbf")
    cut(HERE / "cut_dbf.dbf", 0.8)
    shapefile(squares(), "deleted_row")
    first, size = struct.unpack(
        "<HH", (HERE / "deleted_row.dbf").read_bytes()[8:12]
    )  # dBASE: bytes of header, of a row
    patch("deleted_row.dbf", first + 2 * size, b"*")
    shapefile(squares(3), "unknown_projection")
    text = (HERE / "unknown_projection.prj").read_text(encoding="ascii")
    text = text.replace("Lambert_Conformal_Conic", "Plain_Wrong")
    (HERE / "unknown_projection.prj").write_text(text, encoding="ascii")
    shapefile(squares(), "damaged_record")
    start = struct.unpack(">i", (HERE / "damaged_record.shx").read_bytes()[108:112])[0] * 2
    patch(
        "damaged_record.shp", start + 8 + 36, struct.pack("<i", 99_999_999)
    )  # number of parts of the second shape
    shapefile(squares(), "truncated")
    cut(HERE / "truncated.shp", 0.75)
    shapefile(squares(site=["A", "B", "C", "D", "é"]), "wrong_encoding")
    table = (HERE / "wrong_encoding.dbf").read_bytes()
    (HERE / "wrong_encoding.dbf").write_bytes(
        table.replace("é".encode(), b"\xe9 ")
    )  # Windows-1252, though .cpg says UTF-8
    shapefile(squares(3).assign(elevation_=[1.0, 2.0, 3.0]), "cut_name")
    ring = squares(1)
    ring.geometry = ring.geometry.difference(box(2_000_020, 300_020, 2_000_060, 300_060))
    shapefile(ring, "hole_wound_as_shell")
    wound = (HERE / "hole_wound_as_shell.shp").read_bytes()
    head = 100 + 8 + 44 + 4 * 2  # file header, record header, bounds and counts, two part offsets
    hole = np.frombuffer(wound[head + 5 * 16 : head + 10 * 16]).reshape(5, 2)
    patch("hole_wound_as_shell.shp", head + 5 * 16, hole[::-1].tobytes())


def patch(name: str, at: int, content: bytes) -> None:
    whole = bytearray((HERE / name).read_bytes())
    whole[at : at + len(content)] = content
    (HERE / name).write_bytes(whole)


def containers() -> None:
    for name, sites in (("north", ["A", "B"]), ("south", ["C", "D"])):
        shapefile(squares(2, site=sites), f"_{name}")
    with zipfile.ZipFile(HERE / "two_shapefiles.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for name in ("north", "south"):
            for part in PARTS:
                archive.write(HERE / f"_{name}{part}", f"export/{name}{part}")
                (HERE / f"_{name}{part}").unlink()
    (HERE / "not_a_zip.zip").write_bytes(b"PK\x03\x04 and no more")
    (HERE / "text.shp").write_text("This is no shapefile.\n", encoding="ascii")
    (HERE / "empty.geojson").write_bytes(b"")
    inner = '<OGRVRTLayer name="lawns"><SrcDataSource>bow_tie.geojson</SrcDataSource></OGRVRTLayer>'
    (HERE / "virtual.geojson").write_text(
        f"<OGRVRTDataSource>{inner}</OGRVRTDataSource>\n", encoding="ascii"
    )
    (HERE / "pipeline.geojson").write_text(
        '{"type": "gdal_streamed_alg", "command_line": "gdal vector pipeline ! read bow_tie.geojson"}\n',
        encoding="ascii",
    )
    geojson("truncated", [polygon(degrees(k)) for k in range(3)])
    cut(HERE / "truncated.geojson", 0.6)
    cut(write(squares(), "truncated.fgb"), 0.95)
    path = write(squares(site=["A", "B", "Cxyz", "D", "E"]), "bad_text.fgb")
    path.write_bytes(
        path.read_bytes().replace(b"Cxyz", b"C\xff\xfez")
    )  # no UTF-8, which FlatGeobuf text must be
    path = write(squares(), "truncated.gpkg")
    cut(path, 0.3)
    pd.DataFrame({"site": ["A"]}).to_parquet(HERE / "no_geometry.parquet")
    bad_ring_parquet()
    path = write(squares(2), "two_layers.gpkg", layer="lawns")
    pyogrio.write_dataframe(squares(2, y=400_000), path, layer="houses", append=True)


def bad_ring_parquet() -> None:
    """The first ring does not close, which shapely will not write: put into the column as bytes."""
    squares(3).to_parquet(HERE / "bad_ring.parquet")
    table = parquet.read_table(HERE / "bad_ring.parquet")
    shapes = table.column("geometry").to_pylist()
    points = [(2_000_000.0, 300_000.0), (2_000_100.0, 300_000.0), (2_000_100.0, 300_100.0)]
    shapes[0] = struct.pack("<BIII", 1, 3, 1, 3) + b"".join(struct.pack("<dd", *p) for p in points)
    at = table.schema.get_field_index("geometry")
    column = pa.array(shapes, pa.binary())
    parquet.write_table(
        table.set_column(at, table.schema.field(at), column), HERE / "bad_ring.parquet"
    )


def curves() -> None:
    """A circle of 50 ft as one circular string, beside a square; written as GDAL does (OGC
    12-128r18, WKB of ISO 19125)."""
    path = write(squares(2, x=2_000_000), "curves.gpkg", layer="curves", SPATIAL_INDEX="NO")
    x, y, r = 2_000_050.0, 300_050.0, 50.0
    points = [(x - r, y), (x, y + r), (x + r, y), (x, y - r), (x - r, y)]
    circle = (
        struct.pack("<BII", 1, 10, 1)
        + struct.pack("<BII", 1, 8, 5)
        + b"".join(struct.pack("<dd", *p) for p in points)
    )
    with sqlite3.connect(path) as base:
        header = base.execute("select geom from curves where fid = 1").fetchone()[0][:40]
        base.execute("update curves set geom = ? where fid = 1", (header + circle,))
        base.execute("update gpkg_geometry_columns set geometry_type_name = 'CURVEPOLYGON'")
    base.close()


def attributes() -> None:
    three = [polygon(degrees(k)) for k in range(3)]
    geojson("duplicate_ids", three, site=["A", "A", "B"], area=["1", "1", "1"])
    geojson("two_phases", three, site=["A", "A", "B"], phase=["1", "2", "1"])
    geojson("unknown_product", three, product=["turf60", "turf06", "turf60"])
    geojson("bad_number", three, slope_pct=["4.5", "steep", "-3"])
    hostile = ["=cmd|' /C calc'!A0", "<script>alert(1)</script>", "../../../etc/{{ 7*7 }}\n`${1}`"]
    geojson("hostile_text", three, site=hostile)
    geojson("leading_zeros", three, site=["0012", "012", "12"])


if __name__ == "__main__":
    rings()
    members()
    places()
    shapefiles()
    containers()
    curves()
    attributes()
