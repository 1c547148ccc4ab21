"""The input, read by other means than the run's: shapefiles by `struct`, GeoPackages by SQLite,
GeoJSON by `json`, GeoParquet by Arrow, tables by `csv`, zips and KML as in `packed`, the rest as in
`through_gdal`. Raises `Unreadable` for what it cannot read."""

from __future__ import annotations

import csv
import io
import json
import sqlite3
import struct
import warnings
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

from geoturf.audit import packed, through_gdal
from geoturf.audit.earth import crs_of
from geoturf.audit.folder import Shapes, Unreadable, defined, read_only, unpacked

_POLYGONS = (5, 15, 25)  # shape types: Polygon, PolygonZ, PolygonM (ESRI white paper, July 1998)
_AREAL = (3, 6)  # shapely's numbers of Polygon and MultiPolygon
_GUARD_BYTES = 1 << 29  # of a file that is read whole


@dataclass
class Layer:
    """Features of a file, (n,) each: what each is called, its columns as texts, its polygon (None
    where it has none). ``mended``: whether its outline crosses itself, and was put right here."""

    crs: pyproj.CRS
    feature: list[str]
    columns: dict[str, list[str]]
    shape: Shapes
    mended: NDArray[np.bool_]

    def called(self, name: str) -> str | None:
        """The file's own name of a column: in any letters, or cut to ten by a shapefile."""
        folded = {own.strip().casefold(): own for own in self.columns}
        asked = name.strip().casefold()
        return folded.get(asked) or folded.get(asked[:10])

    def column(self, name: str) -> list[str] | None:
        own = self.called(name)
        if own is not None:
            return self.columns[own]
        return None

    def only(self, keep: NDArray[np.bool_]) -> Layer:
        rows = np.flatnonzero(keep)
        return Layer(
            self.crs,
            [self.feature[k] for k in rows],
            {name: [column[k] for k in rows] for name, column in self.columns.items()},
            self.shape[rows],
            self.mended[rows],
        )


def read(path: Path, layer: str, crs: str, unit: str = "") -> Layer:
    """A layer of a file; ``crs`` as the bid states it, the file's own where it states none;
    ``unit`` that a drawing is in, where the bid states one."""
    kind = path.suffix.lower()
    if kind in packed.ZIPS:
        return _zipped(path, layer, crs, unit)
    reader = _READERS.get(kind)
    if reader is None:
        raise Unreadable(f"{kind or path.name} files are not read by the audit")
    with _unread():
        if not (path.is_file() or kind == ".gdb"):  # a pipe would be waited for
            raise Unreadable("is no regular file")
        if _size(path) > _GUARD_BYTES:
            raise Unreadable("is larger than the audit reads")
        said, feature, columns, shape = reader(path, layer)
        if not (crs or said):
            raise Unreadable("has no CRS")
        own = crs_of(crs or said)
        if kind == ".dxf":
            shape = through_gdal.scaled(path, unit, own, shape)
        shape = _areal(shape)
        mended = ~(shapely.is_valid(shape) | shapely.is_missing(shape))
        shape[mended] = shapely.make_valid(shape[mended], method="structure", keep_collapsed=False)
    return Layer(own, feature, columns, _areal(shape), mended)


def _size(path: Path) -> int:
    """Bytes of a file, or of the files of a geodatabase."""
    return sum(one.stat().st_size for one in (path, *path.glob("*")) if one.is_file())


@contextmanager
def _unread() -> Iterator[None]:
    """What a reader meets in a file that it cannot read, in words; of what it warns the run's own
    reading tells."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except (
        OSError,
        ValueError,
        LookupError,
        TypeError,
        NotImplementedError,
        RuntimeError,
        struct.error,
        csv.Error,
        sqlite3.Error,
        zipfile.BadZipFile,
        zlib.error,
        pyproj.exceptions.ProjError,
        shapely.errors.ShapelyError,
    ) as fault:
        raise Unreadable(f"cannot be read by the audit ({fault})") from None


def _zipped(path: Path, layer: str, crs: str, unit: str) -> Layer:
    with _unread():
        held = packed.members(path)
        if len(held) == 1:
            (own,) = held.values()
        else:
            own = held.get(layer, "")
            layer = ""
        if not own:
            raise Unreadable(f"holds {len(held)} files of geometry, none by the name of its layer")
        with packed.unpacked(path, own) as inner:
            return read(inner, layer, crs, unit)


def layers_of(path: Path) -> list[str]:
    """Names of the layers of a file of layers, or of the files in a zip; one without a name in
    others."""
    kind = path.suffix.lower()
    with _unread():
        if kind in packed.ZIPS:
            held = packed.members(path)
            if len(held) != 1:
                return list(held)
            (own,) = held.values()
            with packed.unpacked(path, own) as inner:
                return layers_of(inner)
        if kind == ".gpkg" and path.is_file():
            return _tables(path)
        if kind == ".dxf":
            return through_gdal.drawing(path, "")[0]
        if kind in through_gdal.SUFFIXES:
            return through_gdal.layers_of(path)
    return [""]


def _tables(path: Path) -> list[str]:
    """Tables of features in a GeoPackage."""
    with read_only(path) as base:
        rows = base.execute("select table_name from gpkg_contents where data_type = 'features'")
        return [str(name) for (name,) in rows.fetchall()]


def _areal(shape: Shapes) -> Shapes:
    """Polygons that have points; None for all else."""
    kept = np.isin(shapely.get_type_id(shape), _AREAL) & ~shapely.is_empty(shape)
    out: Shapes = shape.copy()
    out[~kept] = None
    return out


_Read = tuple[str, list[str], dict[str, list[str]], Shapes]


# -------------------------------------------------------------------------------------- shapefiles


def _shapefile(path: Path, layer: str) -> _Read:
    shape = _shp(path.read_bytes(), _beside(path, ".shx"))
    columns = _dbf(_beside(path, ".dbf"))
    for column in columns.values():
        if len(column) < len(shape):
            raise Unreadable(f"its .dbf has {len(column)} rows for {len(shape)} shapes")
    prj = _beside(path, ".prj").decode("utf-8", "replace").strip()
    return prj, [str(k + 1) for k in range(len(shape))], columns, shape


def _beside(path: Path, suffix: str) -> bytes:
    for name in (path.with_suffix(suffix), path.with_suffix(suffix.upper())):
        if name.is_file():
            return name.read_bytes()
    return b""


def _shp(data: bytes, index: bytes) -> Shapes:
    """Polygons of a .shp, where its .shx says that they stand, else one after another; None for
    records that hold none."""
    records = _indexed(data, index) if index else _in_turn(data)
    shapes = [_record(one) for one in records]
    out: Shapes = np.empty(len(shapes), object)
    out[:] = shapes
    return out


def _indexed(data: bytes, index: bytes) -> Iterator[bytes]:
    """By offset and length in words of two bytes, after a header of 100 (the white paper)."""
    (words,) = struct.unpack_from(">i", index, 24)
    for at in range(100, min(len(index), 2 * words) - 7, 8):
        offset, length = struct.unpack_from(">2i", index, at)
        yield data[2 * offset + 8 : 2 * (offset + length) + 8]


def _in_turn(data: bytes) -> Iterator[bytes]:
    at = 100
    while at + 8 <= len(data):
        (words,) = struct.unpack_from(">i", data, at + 4)
        yield data[at + 8 : at + 8 + 2 * words]
        at += 8 + 2 * words


def _record(record: bytes) -> Any:
    (kind,) = struct.unpack_from("<i", record, 0)
    if kind not in _POLYGONS:
        return None
    parts, points = struct.unpack_from("<2i", record, 36)
    first = [*struct.unpack_from(f"<{parts}i", record, 44), points]
    xy = np.frombuffer(record, "<f8", 2 * points, 44 + 4 * parts).reshape(-1, 2)
    rings = [xy[a:b] for a, b in pairwise(first) if b - a >= 4]
    return _assembled(rings)


def _assembled(rings: list[NDArray[np.float64]]) -> Any:
    """Rings as polygons: clockwise ones are shells, others holes in the shell about them."""
    if not rings:
        return None
    if len(rings) == 1:
        return shapely.Polygon(rings[0])
    made = [shapely.LinearRing(ring) for ring in rings]
    shells = [ring for ring in made if not ring.is_ccw] or made
    holes = [ring for ring in made if ring.is_ccw and ring not in shells]
    about = [shapely.Polygon(ring) for ring in shells]
    inside: list[list[Any]] = [[] for _ in shells]
    for hole in holes:
        within = [k for k, one in enumerate(about) if one.contains(shapely.Point(hole.coords[0]))]
        owner = min(within, key=lambda k: about[k].area) if within else None
        if owner is None:
            about.append(shapely.Polygon(hole))
            inside.append([])
        else:
            inside[owner].append(hole)
    whole = [shapely.Polygon(one.exterior, own) for one, own in zip(about, inside, strict=True)]
    if len(whole) == 1:
        return whole[0]
    return shapely.MultiPolygon(whole)


def _dbf(data: bytes) -> dict[str, list[str]]:
    """Columns of a .dbf (dBase III), as texts."""
    if len(data) < 32:
        return {}
    rows, head, width = struct.unpack_from("<IHH", data, 4)
    kinds: list[tuple[str, str]] = []
    read = []
    for at in range(32, head - 31, 32):
        if data[at] == 0x0D:
            break
        name = data[at : at + 11].split(b"\0")[0].decode("utf-8", "replace")
        kinds.append((f"{len(kinds)}", f"S{data[at + 16]}"))
        if data[at + 11] in b"CNF":  # texts and numbers
            read.append((name, kinds[-1][0]))
    rows = min(rows, (len(data) - head) // width)
    table = np.frombuffer(data, np.dtype([("", "S1"), *kinds]), rows, head)
    columns = {name: table[own].tolist() for name, own in read}
    letters = _letters(columns)
    return {
        name: [value.decode(letters, "replace").strip() for value in column]
        for name, column in columns.items()
    }


def _letters(columns: dict[str, list[bytes]]) -> str:
    """UTF-8 where all is; else some code page that this does not know, whose letters beyond ASCII
    become U+FFFD."""
    try:
        for column in columns.values():
            b"\n".join(column).decode()
    except UnicodeDecodeError:
        return "ascii"
    return "utf-8"


# ------------------------------------------------------------------------------------ other formats


def _geopackage(path: Path, layer: str) -> _Read:
    with read_only(path) as base:
        found = base.execute(
            "select g.table_name, g.column_name, s.definition, s.organization, "
            "s.organization_coordsys_id "
            "from gpkg_geometry_columns g join gpkg_spatial_ref_sys s on s.srs_id = g.srs_id"
        ).fetchall()
        (named,) = [row for row in found if not layer or row[0] == layer]
        table, geometry, definition, organization, number = named
        rows = base.execute(f"select rowid, * from {_quoted(table)} order by rowid")
        names = [str(one[0]) for one in rows.description]
        values = rows.fetchall()
    across = zip(*values, strict=True) if values else [()] * len(names)
    by_name = dict(zip(names, across, strict=True))
    shape = unpacked(by_name.pop(geometry))
    feature = [str(one) for one in by_name.pop(names[0])]
    columns = _texts(by_name)
    return defined(definition, organization, number), feature, columns, shape


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _geojson(path: Path, layer: str) -> _Read:
    content = json.loads(path.read_text(encoding="utf-8-sig"))
    members = content["features"] if content.get("type") == "FeatureCollection" else [content]
    features = [one if isinstance(one, dict) else {} for one in members]
    shape: Shapes = np.empty(len(features), object)
    shape[:] = [_polygon(one.get("geometry")) for one in features]
    names = dict.fromkeys(name for one in features for name in one.get("properties") or {})
    columns = {
        name: [_text((one.get("properties") or {}).get(name)) for one in features] for name in names
    }
    stated = ((content.get("crs") or {}).get("properties") or {}).get("name", "OGC:CRS84")
    return str(stated), [str(k + 1) for k in range(len(features))], columns, shape


def _polygon(geometry: Any) -> Any:
    """A GeoJSON polygon; None for all else."""
    if not isinstance(geometry, dict) or geometry.get("type") not in ("Polygon", "MultiPolygon"):
        return None
    held = geometry.get("coordinates") or []
    parts = held
    if geometry["type"] == "Polygon":
        parts = [held]
    whole = [[[p[:2] for p in ring] for ring in rings if len(ring) > 2] for rings in parts]
    made = [shapely.Polygon(rings[0], rings[1:]) for rings in whole if rings]
    if not made:
        return None
    if len(made) == 1:
        return made[0]
    return shapely.MultiPolygon(made)


def _geoparquet(path: Path, layer: str) -> _Read:
    import pyarrow.parquet

    table = pyarrow.parquet.read_table(path)
    told = json.loads(table.schema.metadata[b"geo"])
    geometry = told["primary_column"]
    about = told["columns"][geometry]
    if about.get("encoding") != "WKB":
        raise Unreadable("holds no WKB")
    shape: Shapes = np.asarray(shapely.from_wkb(np.array(table[geometry].to_pylist(), object)))
    names = [name for name in table.column_names if name != geometry]
    columns = _texts({name: table[name].to_pylist() for name in names})
    crs = "OGC:CRS84"
    if about.get("crs"):
        crs = json.dumps(about["crs"])
    return crs, [str(k + 1) for k in range(len(shape))], columns, shapely.force_2d(shape)


def _text(value: Any) -> str:
    if value is None or isinstance(value, list | dict | bytes):
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _table(path: Path, layer: str) -> _Read:
    """A CSV with a column of well-known text."""
    text = path.read_text(encoding="utf-8-sig")
    delimiter = max(",;\t", key=text.partition("\n")[0].count)
    lines = [line for line in csv.reader(io.StringIO(text), delimiter=delimiter) if line]
    names = [name.strip() for name in lines[0]]
    geometry = [own for name in _GEOMETRY for own in names if own.lower() == name]
    if not geometry:
        raise Unreadable("has no column of geometry")
    padded = [line + [""] * (len(names) - len(line)) for line in lines[1:]]
    columns = {name: [line[k].strip() for line in padded] for k, name in enumerate(names)}
    texts = [text.rpartition(";")[2] or None for text in columns.pop(geometry[0])]
    shape: Shapes = np.asarray(shapely.from_wkt(np.array(texts, object), on_invalid="ignore"))
    return "", [str(k + 1) for k in range(len(shape))], columns, shapely.force_2d(shape)


def _drawing(path: Path, layer: str) -> _Read:
    _, columns, shape = through_gdal.drawing(path, layer)
    return "", [str(k + 1) for k in range(len(shape))], _texts(columns), shape


def _through_gdal(path: Path, layer: str) -> _Read:
    crs, feature, columns, shape = through_gdal.read(path, layer)
    return crs, feature, _texts(columns), shape


def _texts(columns: Mapping[str, Iterable[Any]]) -> dict[str, list[str]]:
    return {
        name: [value.strip() if type(value) is str else _text(value) for value in column]
        for name, column in columns.items()
    }


_GEOMETRY = ("wkt", "geometry", "geom", "the_geom", "shape", "geo")  # what its column may be called
_READERS = {
    ".csv": _table,
    ".dxf": _drawing,
    **dict.fromkeys(through_gdal.SUFFIXES, _through_gdal),
    ".shp": _shapefile,
    ".kml": packed.kml,
    ".gpkg": _geopackage,
    ".geojson": _geojson,
    ".json": _geojson,
    ".parquet": _geoparquet,
    ".geoparquet": _geoparquet,
}
