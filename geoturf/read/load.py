"""From a layer of a file to its columns and raw geometry, by the fastest way that works.

In bulk with Arrow; else, without (curves, odd encodings); else feature by feature with fiona, so that one bad record is
named and the others live. Whatever the way, every feature the file claims to have is accounted for.
"""

from __future__ import annotations

import contextlib
import logging
import struct
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa
import pyogrio
import shapely

from geoturf.read.find import Item
from geoturf.read.look import Held
from geoturf.read.say import Say
from geoturf.read.shapes import untouched

for _name in ("fiona", "pyogrio"):  # what they log is said as findings, in our words
    logging.getLogger(_name).addHandler(logging.NullHandler())

Keep = Callable[[Sequence[str]], list[str]]  # of these columns, the ones wanted
_CURVES = range(8, 13)
_BATCH = 8_192  # features handed to a thread at a time
_THREADS = 2
_ARC_STEP_DEG = 1.0  # curves become chords of this; a circle loses 51 ppm of its area


@dataclass(frozen=True)
class Loaded:
    """``ids``: the file's own feature numbers; ``geometry``: shapely array, None where there is none to be had;
    ``sound``: mask of the shapes that nothing need be done to; ``bad``: {row: why} of geometry that is there but cannot be
    built; ``columns``: names in the file, ``table``: the wanted."""

    ids: np.ndarray
    geometry: np.ndarray
    sound: np.ndarray
    bad: dict[int, str]
    columns: tuple[str, ...]
    table: pa.Table
    crs: Any

    def only(self, keep: np.ndarray) -> Loaded:
        """The features of a mask."""
        if keep.all():
            return self
        row = np.cumsum(keep) - 1
        bad = {int(row[k]): why for k, why in self.bad.items() if keep[k]}
        table = self.table.filter(keep) if self.table.num_columns else self.table
        ids, geometry, sound = self.ids[keep], self.geometry[keep], self.sound[keep]
        return replace(self, ids=ids, geometry=geometry, sound=sound, bad=bad, table=table)


class _Curved(Exception):
    """The layer holds curves, which Arrow hands over as they are."""


class _Encoding(Exception):
    """Text is not in the encoding the file declares."""


def load(held: Held, keep: Keep, say: Say) -> Loaded | None:
    """The layer, or None when nothing can be had from it (said)."""
    reasons = []
    for way in (_bulk, _recoded, _plain, _walk):
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                loaded = way(held, keep, say)
        except _FAILS as error:
            reasons.append(error)
        else:
            if loaded is None:
                continue
            if way is _walk:
                why = f"could not be read in bulk ({_reason(reasons, held.item)}) and was read one by one"
                say.warn("walked", f"{why}; text that cannot be read is taken as not given")
            return loaded
    say.leave_out("unreadable", f"cannot be read as {held.item.format}: {_reason(reasons, held.item)}; it is left out")
    return None


_FAILS = (
    _Curved,
    _Encoding,
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
    pyogrio.errors.FeatureError,
    pyogrio.errors.GeometryError,
    pyogrio.errors.FieldError,
    pa.ArrowException,
    shapely.errors.ShapelyError,
    NotImplementedError,
    ValueError,  # UnicodeDecodeError, parquet without geo metadata
    RuntimeError,
    OSError,
    KeyError,
    AttributeError,
)


def _reason(reasons: list[Exception], item: Item) -> str:
    """The first reason that says something about the file, without this machine's paths."""
    told = [r for r in reasons if str(r) and not isinstance(r, (_Curved, _Encoding))] or reasons
    text = str(told[0]).replace(item.dataset, item.name.name).replace(str(item.path.absolute()), item.given)
    if ".shx" in text.lower():
        return "its .shx is missing; send .shp, .shx, .dbf, .prj and .cpg together"
    if "malformed" in text:
        return "its database is damaged or cut short; send it again"
    return text.split(" It might help")[0].split("; It might help")[0].rstrip(".; ")[:200]


# --------------------------------------------------------------------------------------------- in bulk


def _bulk(held: Held, keep: Keep, say: Say, encoding: str | None = None) -> Loaded:
    """GDAL hands over batches; threads build and check their geometry meanwhile (shapely lets go of the interpreter)."""
    if held.item.format == "GeoParquet":
        return _parquet(held, keep)
    ids, jobs, batches = [], [], []
    options = {"layer": held.layer or None, "encoding": encoding, "return_fids": True, "use_pyarrow": True}
    with (
        ThreadPoolExecutor(_THREADS) as pool,
        pyogrio.raw.open_arrow(held.item.dataset, batch_size=_BATCH, **options) as (meta, reader),
    ):
        columns = tuple(str(name) for name in meta["fields"])
        wanted = keep(columns)
        for batch in reader:
            jobs.append(pool.submit(_built, batch.column(meta["geometry_name"] or "wkb_geometry")))
            ids.append(batch.column(meta["fid_column"] or "OGC_FID").to_numpy())
            batches.append(_checked(batch.select(wanted)))
        schema = pa.schema([reader.schema.field(name) for name in wanted])
        shapes, sound, bad = _joined([job.result() for job in jobs])
    table = pa.Table.from_batches(batches, schema)
    numbers = np.concatenate(ids) if ids else np.empty(0, np.int64)
    return Loaded(numbers, shapes, sound, bad, columns, table, meta["crs"])


Built = tuple[np.ndarray, np.ndarray, dict[int, str]]  # shapes, sound, bad


def _built(wkb: pa.Array) -> Built:
    shapes, bad = decode(wkb.to_numpy(zero_copy_only=False))
    return shapes, _sound(shapes, bad), bad


def _sound(shapes: np.ndarray, bad: dict[int, str]) -> np.ndarray:
    sound = untouched(shapes)
    sound[list(bad)] = False
    return sound


def _joined(parts: list[Built]) -> Built:
    if not parts:
        return np.empty(0, object), np.empty(0, bool), {}
    first = np.cumsum([0, *(len(shapes) for shapes, _, _ in parts)])
    bad = {int(k) + row: why for k, (_, _, faults) in zip(first, parts, strict=False) for row, why in faults.items()}
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts]), bad


def _checked(batch: pa.RecordBatch) -> pa.RecordBatch:
    """Arrow takes bytes for text unseen."""
    for column in batch.columns:
        if pa.types.is_string(column.type) or pa.types.is_large_string(column.type):
            try:
                column.validate(full=True)
            except pa.ArrowInvalid as error:
                raise _Encoding(str(error)) from None
    return batch


def decode(wkb: np.ndarray) -> tuple[np.ndarray, dict[int, str]]:
    """Geometry of an array of WKB, None where there is none; and why those failed that could not be built."""
    shapes = shapely.from_wkb(wkb, on_invalid="ignore")
    bad = {}
    for row in np.flatnonzero(shapely.is_missing(shapes)):
        if wkb[row] is not None and len(wkb[row]):
            if _kind(wkb[row]) in _CURVES:
                raise _Curved
            shapes[row], bad[int(row)] = _mended(wkb[row])
    return shapes, bad


def _kind(wkb: bytes) -> int:
    """Type number of a WKB (3 polygon, 10 curve polygon), without its Z and M marks."""
    if len(wkb) < 5:
        return 0
    return (struct.unpack("<I" if wkb[0] else ">I", wkb[1:5])[0] & 0x1FFFFFFF) % 1000


def _mended(wkb: bytes) -> tuple[Any, str]:
    """A ring that does not close, closed (its area is the same: the shoelace closes it anyway); and what was wrong."""
    try:
        shapely.from_wkb(wkb)
    except shapely.errors.ShapelyError as error:
        why = str(error)
    mended = shapely.from_wkb(wkb, on_invalid="fix")
    if "closed" in why and mended is not None and shapely.get_num_coordinates(mended) >= 4:
        return mended, "its ring was not closed"
    return None, "its ring has too few points" if "oints" in why else "its geometry cannot be decoded"


def _recoded(held: Held, keep: Keep, say: Say) -> Loaded | None:
    """Again in the encoding that old shapefiles mostly are in."""
    if held.item.format != "shapefile":
        return None
    loaded = _bulk(held, keep, say, "cp1252")
    say.warn("encoding", "its text is not in the encoding it declares; read as Windows-1252: check accented names")
    return loaded


def _parquet(held: Held, keep: Keep) -> Loaded:
    import geopandas
    from pyarrow import parquet

    names = parquet.read_schema(held.item.path).names
    wanted = keep(names)
    try:
        frame = geopandas.read_parquet(held.item.path, columns=[*wanted, _shape_column(held.item.path)])
        shapes, bad, crs = frame.geometry.to_numpy().copy(), {}, frame.crs
    except shapely.errors.ShapelyError:  # one bad ring fails the whole file
        shapes, bad, crs = _parquet_walk(held.item.path)
    table = parquet.read_table(held.item.path, columns=wanted)
    return Loaded(np.arange(len(shapes)), shapes, _sound(shapes, bad), bad, tuple(names), table, crs)


def _shape_column(path: Any) -> str:
    """Name of the geometry in a GeoParquet file; ValueError where it has none."""
    import json

    from pyarrow import parquet

    about = (parquet.read_schema(path).metadata or {}).get(b"geo")
    if about is None:
        raise ValueError("it is Parquet without geometry (no geo metadata)")
    return str(json.loads(about)["primary_column"])


def _parquet_walk(path: Any) -> tuple[np.ndarray, dict[int, str], Any]:
    import json

    from pyarrow import parquet

    geo = json.loads(parquet.read_schema(path).metadata[b"geo"])
    name = _shape_column(path)
    shapes, bad = decode(parquet.read_table(path, columns=[name]).column(name).to_numpy())
    return shapes, bad, geo["columns"][name].get("crs", "OGC:CRS84")


# ---------------------------------------------------------------------------------------------- without Arrow


def _plain(held: Held, keep: Keep, say: Say) -> Loaded:
    """Without Arrow: GDAL turns curves into chords. Twice, at two steps: the chord's loss goes with the square of the step,
    so the difference tells the area of the curve itself."""
    with _arcs(_ARC_STEP_DEG):
        loaded = _read(held, keep)
    with _arcs(2 * _ARC_STEP_DEG):
        coarse = _read(held, keep).geometry
    fine, rough = shapely.area(loaded.geometry), shapely.area(coarse)
    for row in np.flatnonzero(np.abs(fine - rough) > 1e-12 * fine):
        change = -(fine[row] - rough[row]) / 3 / (fine[row] + (fine[row] - rough[row]) / 3)
        say.warn(
            "curves",
            f"its curves are drawn as chords of {_ARC_STEP_DEG:g} degree, which changes its area by {change:+.3%}",
            feature=str(loaded.ids[row]),
        )
    return loaded


@contextlib.contextmanager
def _arcs(step_deg: float) -> Iterator[None]:
    before = pyogrio.get_gdal_config_option("OGR_ARC_STEPSIZE")
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": step_deg})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": before})


def _read(held: Held, keep: Keep) -> Loaded:
    meta, ids, wkb, fields = pyogrio.raw.read(held.item.dataset, layer=held.layer or None, return_fids=True)
    names = [str(name) for name in meta["fields"]]
    table = pa.table({n: pa.array(list(f), from_pandas=True) for n, f in zip(names, fields, strict=True)})
    shapes, bad = decode(wkb)
    return Loaded(ids, shapes, _sound(shapes, bad), bad, tuple(names), table.select(keep(names)), meta["crs"])


# ------------------------------------------------------------------------------------------- feature by feature


def _walk(held: Held, keep: Keep, say: Say) -> Loaded | None:
    """One record at a time: those that can be read live, the others are named."""
    try:
        import fiona
    except ImportError:  # no fiona for this Python: then the bulk readers' word stands
        return None
    ids, shapes, rows, failed = [], [], [], []
    with fiona.open(held.item.dataset, layer=held.layer or None) as source:
        columns = tuple(source.schema["properties"])
        wanted, crs, claimed = keep(columns), source.crs_wkt or None, len(source)
        features = iter(source)
        for number in range(claimed):
            try:
                feature = next(features)
                shape = shapely.geometry.shape(feature.geometry) if feature.geometry else None
                row = [feature.properties.get(name) for name in wanted]
            except StopIteration:
                break
            except (fiona.errors.FionaError, ValueError, KeyError, IndexError, AttributeError) as error:
                failed.append((number, error))
                continue
            ids.append(int(feature.id))
            shapes.append(shape)
            rows.append(row)
    if not ids:
        return None
    for number, error in failed:
        say.leave_out("bad-record", f"record {number} cannot be read ({error}) and is left out", feature=str(number))
    table = pa.table({n: _column([row[k] for row in rows]) for k, n in enumerate(wanted)})
    built = _objects(shapes)
    return Loaded(np.array(ids), built, _sound(built, {}), {}, columns, table, crs)


def _objects(shapes: list[Any]) -> np.ndarray:
    array = np.empty(len(shapes), object)
    array[:] = shapes
    return array


def _column(values: list[Any]) -> pa.Array:
    try:
        return pa.array(values)
    except (pa.ArrowException, TypeError):
        return pa.array([None if value is None else str(value) for value in values])
