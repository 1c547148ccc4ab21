"""A whole layer at once: pyogrio with Arrow; GeoParquet with geopandas."""

from __future__ import annotations

import contextlib
import gc
import json
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import geopandas
import numpy as np
import pyarrow as pa
import pyogrio
from pyarrow import parquet

from geoturf.read.loaded import Built, Keep, Loaded, built, joined, looked_at
from geoturf.read.look import Held

_BATCH = 8_192  # features handed to a thread at a time
_THREADS = 2


def _binary(kind: pa.DataType) -> bool:
    return bool(pa.types.is_binary(kind) or pa.types.is_large_binary(kind))


class Encoding(Exception):
    """Text is not in the encoding the file declares."""


def by_arrow(held: Held, keep: Keep, encoding: str | None = None) -> Loaded:
    """What GDAL hands over in batches. Their columns are the feature's number, the fields in the
    file's order, the geometry: taken by place, since a field may be called like one of the
    others."""
    options = {
        "layer": held.layer or None,
        "encoding": encoding,
        "return_fids": True,
        "use_pyarrow": True,
    }
    with pyogrio.raw.open_arrow(held.item.dataset, batch_size=_BATCH, **options) as (meta, reader):
        columns = [str(name) for name in meta["fields"]]
        wanted = keep(columns)
        places = [1 + columns.index(name) for name in wanted]
        schema = pa.schema(
            [
                reader.schema.field(place).with_name(n)
                for place, n in zip(places, wanted, strict=True)
            ]
        )
        ids = []

        def batches() -> Iterator[tuple[pa.Array, pa.RecordBatch]]:
            for batch in reader:
                ids.append(batch.column(0).to_numpy())
                fields = pa.RecordBatch.from_arrays(
                    [batch.column(p) for p in places], schema=schema
                )
                yield batch.column(batch.num_columns - 1), fields

        found, table = _all_built(batches(), schema)
    numbers = np.concatenate(ids) if ids else np.empty(0, np.int64)
    return Loaded(numbers, *found, tuple(columns), table, meta["crs"])


def _all_built(
    batches: Iterable[tuple[pa.Array, pa.RecordBatch]], schema: pa.Schema
) -> tuple[Built, pa.Table]:
    """Geometry and fields of all batches. Threads build and check geometry while the next batches
    are read (which lets go of the interpreter)."""
    jobs = []
    fields = []
    with _uncollected(), ThreadPoolExecutor(_THREADS) as pool:
        for wkb, columns in batches:
            jobs.append(pool.submit(_built, wkb, columns))
            fields.append(columns)
        return joined([job.result() for job in jobs]), pa.Table.from_batches(fields, schema)


@contextlib.contextmanager
def _uncollected() -> Iterator[None]:
    """Without the collector of cycles: geometry makes none, and it would walk all that is built so
    far again and again."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _built(wkb: pa.Array, columns: pa.RecordBatch) -> Built:
    """Geometry of a batch, its columns checked."""
    _refuse_bytes(columns)
    known = None
    if len(wkb) == _BATCH and _binary(wkb.type):  # a large layer: worth loading what is compiled
        from geoturf.read.rings import star_shaped

        known = star_shaped(wkb)
    return built(wkb.to_numpy(zero_copy_only=False), known)


def _refuse_bytes(columns: pa.RecordBatch) -> None:
    """Raises `Encoding` where text is not text: Arrow takes any bytes for it unseen."""
    for column in columns.columns:
        if pa.types.is_string(column.type) or pa.types.is_large_string(column.type):
            try:
                column.validate(full=True)
            except pa.ArrowInvalid:
                raise Encoding("its text is not in the encoding it declares") from None


def by_parquet(held: Held, keep: Keep) -> Loaded:
    """GeoParquet. Raises ValueError where the file has no geometry."""
    path = held.item.path
    schema = parquet.read_schema(path)
    about = (schema.metadata or {}).get(b"geo")
    if about is None:
        raise ValueError("it is Parquet without geometry (no geo metadata)")
    geo = json.loads(about)
    name = geo["primary_column"]
    wanted = keep(schema.names)
    if geo["columns"][name].get("encoding") != "WKB":
        return _by_geopandas(path, name, wanted, schema.names)
    with parquet.ParquetFile(path) as file:
        batches = file.iter_batches(_BATCH, columns=list(dict.fromkeys([name, *wanted])))
        fields = pa.schema([schema.field(one) for one in wanted])
        parts = (
            (batch.column(name), batch.select(wanted).replace_schema_metadata(None))
            for batch in batches
        )
        found, table = _all_built(parts, fields)
    crs = geo["columns"][name].get("crs", "OGC:CRS84")
    return Loaded(np.arange(len(found[0])), *found, tuple(schema.names), table, crs)


def _by_geopandas(path: Any, name: str, wanted: list[str], columns: list[str]) -> Loaded:
    """GeoParquet whose geometry is not WKB."""
    frame = geopandas.read_parquet(path, columns=[name])
    shapes = frame.geometry.to_numpy().copy()
    table = parquet.read_table(path, columns=wanted)
    for batch in table.to_batches():
        _refuse_bytes(batch)
    return Loaded(np.arange(len(shapes)), *looked_at(shapes, {}), tuple(columns), table, frame.crs)
