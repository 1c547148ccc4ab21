"""What a file claims to hold against what came out of it: GDAL drops rows and records without a word."""

from __future__ import annotations

import struct

import numpy as np
import pyogrio
import shapely

from geoturf.read.loaded import Loaded
from geoturf.read.look import Held
from geoturf.read.say import Say, counted

_HEADER = 100  # bytes of a .shp or .shx before its first record (ESRI Shapefile Technical Description, 1998)


def account(held: Held, loaded: Loaded, say: Say) -> Loaded:
    """Says which features of a file did not come, and marks the records that came as nothing but are not nothing."""
    if held.item.format == "FlatGeobuf":
        _all_features(held, loaded, say)
    if held.item.format == "shapefile":
        _all_rows(held, loaded, say)
        missing = np.flatnonzero(shapely.is_missing(loaded.geometry))
        if missing.size:
            loaded.bad.update(_unreadable(held, loaded.ids, missing))
    return loaded


def _all_features(held: Held, loaded: Loaded, say: Say) -> None:
    claimed = pyogrio.read_info(held.item.dataset)["features"]
    lost = claimed - len(loaded.ids)
    if lost > 0:
        message = f"is cut short: {lost:,} of its {counted(claimed, 'feature')} left out, being unreadable; send the file again"
        say.leave_out("truncated", message, count=lost)


def _all_rows(held: Held, loaded: Loaded, say: Say) -> None:
    """A .dbf with fewer rows than the .shx has shapes: the shapes past its end do not come."""
    index, table = held.item.part(".shx"), held.item.part(".dbf")
    if table is None:
        say.warn("no-dbf", "its .dbf is missing: there are no attributes, and each shape is a site of its own")
        return
    if index is None or len(table) < 8:
        return
    shapes, rows = (len(index) - _HEADER) // 8, struct.unpack("<I", table[4:8])[0]
    lost = shapes - len(loaded.ids)
    if rows < shapes and lost > 0:
        which = f"the last {counted(lost, 'shape')} of {shapes:,}"
        message = f"its .dbf has {counted(rows, 'row')} for {counted(shapes, 'shape')}: {which} cannot be named and are left out"
        say.leave_out("short-dbf", f"{message}; send .shp and .dbf of one export", count=lost)


def _unreadable(held: Held, ids: np.ndarray, missing: np.ndarray) -> dict[int, str]:
    """Of the rows without geometry, those whose record is no null shape: it is damaged, or the file ends before it."""
    index, shapes = held.item.part(".shx"), held.item.part(".shp")
    bad: dict[int, str] = {}
    if index is None or shapes is None:
        return bad
    for row in missing:
        at = _HEADER + 8 * int(ids[row])
        start = struct.unpack(">i", index[at : at + 4])[0] * 2 if at + 4 <= len(index) else -1
        kind = shapes[start + 8 : start + 12] if start >= _HEADER else b""
        if len(kind) < 4:
            bad[int(row)] = "the file ends before its record"
        elif struct.unpack("<i", kind)[0] != 0:
            bad[int(row)] = "its record is damaged"
    return bad
