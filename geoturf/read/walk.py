"""A layer feature by feature, with fiona: one bad record is named, the others live."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import shapely

from geoturf.read.loaded import Keep, Loaded, looked_at
from geoturf.read.look import Held, hushed
from geoturf.read.say import Say


def walk(held: Held, keep: Keep, say: Say) -> Loaded | None:
    """What can be read of it; None where nothing can, or where there is no fiona for this
    Python."""
    try:
        import fiona
    except ImportError:
        return None
    ids = []
    shapes = []
    rows = []
    failed = {}
    with hushed(), fiona.Env(), fiona.open(held.item.dataset, layer=held.layer or None) as source:
        columns = tuple(source.schema["properties"])
        wanted = keep(columns)
        crs = source.crs_wkt or None
        claimed = len(source)
        features = iter(source)
        for number in range(1, claimed + 1):
            try:
                feature = next(features)
                shape = shapely.geometry.shape(feature.geometry) if feature.geometry else None
                row = [feature.properties.get(name) for name in wanted]
            except StopIteration:
                break
            except Exception as error:  # whatever a damaged record makes the reader raise
                failed[number] = f"it cannot be read ({error})"
                continue
            ids.append(int(feature.id))
            shapes.append(shape)
            rows.append(row)
    if not ids:
        return None
    table = pa.table({name: _column([row[k] for row in rows]) for k, name in enumerate(wanted)})
    geometry = np.empty(len(shapes), object)
    geometry[:] = shapes
    return Loaded(np.array(ids), *looked_at(geometry, {}), columns, table, crs, failed)


def _column(values: list[Any]) -> pa.Array:
    try:
        return pa.array(values)
    except (pa.ArrowException, TypeError):
        return pa.array([None if value is None else str(value) for value in values])
