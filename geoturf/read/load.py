"""From a layer of a file to its columns and raw geometry, by the fastest way that works.

In bulk with Arrow; else, without (curves, odd encodings); else feature by feature with fiona, so
that one bad record is named and the others live.
"""

from __future__ import annotations

import contextlib
import logging
import warnings
from collections.abc import Iterator

import numpy as np
import pyarrow as pa
import pyogrio
import shapely

from geoturf.read import drawing, wkt_table
from geoturf.read.bulk import by_arrow, by_parquet
from geoturf.read.item import Item
from geoturf.read.loaded import Curved, Keep, Loaded, built
from geoturf.read.look import Held, reason
from geoturf.read.say import Say
from geoturf.read.walk import walk

for _name in ("fiona", "pyogrio"):  # what they log is said as findings, in our words
    logging.getLogger(_name).addHandler(logging.NullHandler())

_ARC_STEP_DEG = 1.0  # curves become chords of this; a circle loses 51 ppm of its area


def load(held: Held, keep: Keep, say: Say) -> Loaded | None:
    """The layer, or None when nothing can be had from it (said)."""
    failed: list[Exception] = []
    own = {"CSV": (_table,), "DXF": (_plain,)}
    ways = own.get(held.item.format, (_bulk, _recoded, _plain, walk))
    for way in ways:
        if way is walk and isinstance(failed[0], pyogrio.errors.DataSourceError):
            break  # what cannot be opened cannot be walked
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                loaded = way(held, keep, say)
        except Exception as error:  # whatever a damaged file makes the readers raise; said below
            failed.append(error)
            continue
        if loaded is not None:
            if way is walk:
                why = (
                    f"could not be read in bulk ({_why(failed, held.item)}) and was read one by one"
                )
                say.warn("walked", f"{why}; text that cannot be read is taken as not given")
            return loaded
    what = f"cannot be read as {held.item.format}: {_why(failed, held.item)}"
    say.leave_out("unreadable", f"{what}; it is left out")
    return None


def _why(failed: list[Exception], item: Item) -> str:
    """The first failure that says something about the file."""
    silent = (Curved, IndexError, UnboundLocalError)
    told = [error for error in failed if str(error) and not isinstance(error, silent)]
    return reason((told or failed)[0], item) or "it is damaged"


def _table(held: Held, keep: Keep, say: Say) -> Loaded:
    return wkt_table.load(held.item, keep)


def _bulk(held: Held, keep: Keep, say: Say) -> Loaded:
    if held.item.format == "GeoParquet":
        return by_parquet(held, keep)
    return by_arrow(held, keep)


def _recoded(held: Held, keep: Keep, say: Say) -> Loaded | None:
    """Again in the encoding that old shapefiles mostly are in."""
    if held.item.format != "shapefile":
        return None
    loaded = by_arrow(held, keep, "cp1252")
    say.warn(
        "encoding",
        "its text is not in the encoding it declares; read as Windows-1252: check accented names",
    )
    return loaded


def _plain(held: Held, keep: Keep, say: Say) -> Loaded | None:
    """Without Arrow: GDAL turns curves into chords. Twice, at two steps: the chord's loss goes with
    the square of the step, so the difference tells the area of the curve itself."""
    if held.item.format == "GeoParquet":
        return None
    if held.item.format == "DXF":
        drawing.say_others(held.item, held.layer, say)
    with _arcs(_ARC_STEP_DEG):
        loaded = _read(held, keep)
    with _arcs(2 * _ARC_STEP_DEG):
        coarse = _read(held, keep).geometry
    fine = shapely.area(loaded.geometry)
    rough = shapely.area(coarse)
    for row in np.flatnonzero(np.abs(fine - rough) > 1e-12 * fine):
        curve = fine[row] + (fine[row] - rough[row]) / 3
        change = (
            f"its curves are drawn as chords of {_ARC_STEP_DEG:g} degree, which changes its area by"
        )
        record = loaded.ids[row] + (held.item.format == "DXF")  # which counts from 0
        say.warn("curves", f"{change} {fine[row] / curve - 1:+.3%}", feature=str(record))
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
    if held.item.format == "DXF":
        return drawing.load(held.item, held.layer, keep)
    meta, ids, wkb, fields = pyogrio.raw.read(
        held.item.dataset, layer=held.layer or None, return_fids=True
    )
    names = [str(name) for name in meta["fields"]]
    wanted = keep(names)
    table = pa.table(
        {name: pa.array(list(fields[names.index(name)]), from_pandas=True) for name in wanted}
    )
    return Loaded(ids, *built(wkb), tuple(names), table, meta["crs"])
