"""What comes out of a layer of a file, before anything is made of it; and how WKB becomes geometry."""

from __future__ import annotations

import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa
import shapely

from geoturf.read.shapes import untouched

Keep = Callable[[Sequence[str]], list[str]]  # of these columns, the ones wanted
Built = tuple[np.ndarray, np.ndarray, dict[int, str]]  # shapes, sound, bad: see `Loaded`
_CURVES = range(8, 13)  # WKB types of circular strings and what is made of them (ISO 19125, OGC 06-103r4)


class Curved(Exception):
    """The layer holds curves, which Arrow hands over as they are."""


@dataclass(frozen=True)
class Loaded:
    """``ids``: the file's own feature numbers; ``geometry``: shapely array, None where there is none to be had;
    ``sound``: mask of the shapes that nothing need be done to; ``bad``: {row: why} of geometry that is there but was not fit
    to be built (closed meanwhile, or None); ``columns``: names in the file, ``table``: the wanted ones."""

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


def built(wkb: np.ndarray, known: np.ndarray | None = None) -> Built:
    """Geometry of an array of WKB. ``known``: mask of those sound beyond doubt, where that was told already."""
    shapes, bad = decode(wkb)
    return shapes, sound(shapes, bad, known), bad


def sound(shapes: np.ndarray, bad: dict[int, str], known: np.ndarray | None = None) -> np.ndarray:
    mask = untouched(shapes, known)
    mask[list(bad)] = False
    return mask


def joined(parts: list[Built]) -> Built:
    if not parts:
        return np.empty(0, object), np.empty(0, bool), {}
    first = np.cumsum([0, *(len(shapes) for shapes, _, _ in parts)])
    bad = {int(k) + row: why for k, (_, _, faults) in zip(first, parts, strict=False) for row, why in faults.items()}
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts]), bad


def decode(wkb: np.ndarray) -> tuple[np.ndarray, dict[int, str]]:
    """Geometry of an array of WKB, None where there is none; and why those failed that could not be built. Raises `Curved`."""
    shapes = shapely.from_wkb(wkb, on_invalid="ignore")
    bad = {}
    for row in np.flatnonzero(shapely.is_missing(shapes)):
        if wkb[row] is not None and len(wkb[row]):
            if _kind(wkb[row]) in _CURVES:
                raise Curved
            shapes[row], bad[int(row)] = _mended(wkb[row])
    return shapes, bad


def _kind(wkb: bytes) -> int:
    """Type number of a WKB (3 polygon, 10 curve polygon), without its Z and M marks."""
    if len(wkb) < 5:
        return 0
    return (struct.unpack("<I" if wkb[0] else ">I", wkb[1:5])[0] & 0x1FFFFFFF) % 1000


def _mended(wkb: bytes) -> tuple[Any, str]:
    """A ring that does not close, closed (its area is the same: the shoelace closes it anyway); and what was wrong."""
    why = ""
    try:
        shapely.from_wkb(wkb)
    except shapely.errors.ShapelyError as error:
        why = str(error)
    mended = shapely.from_wkb(wkb, on_invalid="fix")
    if "closed" in why and mended is not None and shapely.get_num_coordinates(mended) >= 4:
        return mended, "its ring was not closed"
    return None, "its ring has too few points" if "oints" in why else "its geometry cannot be decoded"
