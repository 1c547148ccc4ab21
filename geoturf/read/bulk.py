"""A whole layer at once: pyogrio with Arrow; GeoParquet with geopandas."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import geopandas
import numpy as np
import pyarrow as pa
import pyogrio
import shapely
from pyarrow import parquet

from geoturf.read.loaded import Keep, Loaded, built, decode, joined
from geoturf.read.look import Held
from geoturf.read.shapes import untouched

_BATCH = 8_192  # features handed to a thread at a time
_THREADS = 2


class Encoding(Exception):
    """Text is not in the encoding the file declares."""


def by_arrow(held: Held, keep: Keep, encoding: str | None = None) -> Loaded:
    """GDAL hands over batches; threads build and check their geometry meanwhile (shapely lets go of the interpreter).

    A batch's columns are the feature's number, the fields in the file's order, the geometry: taken by place, since a field
    may be called like one of the others.
    """
    ids, jobs, batches = [], [], []
    options = {"layer": held.layer or None, "encoding": encoding, "return_fids": True, "use_pyarrow": True}
    with (
        ThreadPoolExecutor(_THREADS) as pool,
        pyogrio.raw.open_arrow(held.item.dataset, batch_size=_BATCH, **options) as (meta, reader),
    ):
        columns = [str(name) for name in meta["fields"]]
        wanted = keep(columns)
        places = [1 + columns.index(name) for name in wanted]
        schema = pa.schema([reader.schema.field(place).with_name(n) for place, n in zip(places, wanted, strict=True)])
        for batch in reader:
            jobs.append(pool.submit(_built, batch.column(batch.num_columns - 1)))
            ids.append(batch.column(0).to_numpy())
            batches.append(_checked(pa.RecordBatch.from_arrays([batch.column(p) for p in places], schema=schema)))
        shapes, whole, bad = joined([job.result() for job in jobs])
    table = pa.Table.from_batches(batches, schema)
    numbers = np.concatenate(ids) if ids else np.empty(0, np.int64)
    return Loaded(numbers, shapes, whole, bad, tuple(columns), table, meta["crs"])


def _built(wkb: pa.Array) -> Any:
    return built(wkb.to_numpy(zero_copy_only=False))


def _checked(batch: Any) -> Any:
    """A batch or table whose text is text: Arrow takes any bytes for it unseen."""
    for column in batch.columns:
        if pa.types.is_string(column.type) or pa.types.is_large_string(column.type):
            try:
                column.validate(full=True)
            except pa.ArrowInvalid:
                raise Encoding("its text is not in the encoding it declares") from None
    return batch


def by_parquet(held: Held, keep: Keep) -> Loaded:
    """GeoParquet. Raises ValueError where the file has no geometry."""
    path = held.item.path
    schema = parquet.read_schema(path)
    about = (schema.metadata or {}).get(b"geo")
    if about is None:
        raise ValueError("it is Parquet without geometry (no geo metadata)")
    geo = json.loads(about)
    name, wanted = geo["primary_column"], keep(schema.names)
    try:
        frame = geopandas.read_parquet(path, columns=[name])
        shapes, bad, crs = frame.geometry.to_numpy().copy(), {}, frame.crs
    except shapely.errors.ShapelyError:  # one bad ring fails the whole file
        shapes, bad = decode(parquet.read_table(path, columns=[name]).column(name).to_numpy())
        crs = geo["columns"][name].get("crs", "OGC:CRS84")
    table = _checked(parquet.read_table(path, columns=wanted))
    with ThreadPoolExecutor(_THREADS) as pool:
        starts = range(0, len(shapes), _BATCH)
        whole = list(pool.map(lambda k: untouched(shapes[k : k + _BATCH]), starts))
    mask = np.concatenate(whole) if whole else np.empty(0, bool)
    mask[list(bad)] = False
    return Loaded(np.arange(len(shapes)), shapes, mask, bad, tuple(schema.names), table, crs)
