"""What comes out of a layer of a file, before anything is made of it; and how WKB becomes
geometry."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import shapely

from geoturf.read.shapes import untouched

Keep = Callable[[Sequence[str]], list[str]]  # of these columns, the ones wanted
_CURVES = range(
    8, 13
)  # WKB types of circular strings and what is made of them (ISO 19125, OGC 06-103r4)


class Built(NamedTuple):
    """Geometry of some features, in order: see `Loaded`."""

    geometry: np.ndarray
    boxes: np.ndarray
    sound: np.ndarray
    bad: dict[int, str]


class Curved(Exception):
    """The layer holds curves, which Arrow hands over as they are."""


@dataclass(frozen=True)
class Loaded:
    """``ids``: the file's own feature numbers; ``geometry``: shapely array, None where there is
    none to be had; ``boxes``: (n, 4) its bounds, NaN where there is none; ``sound``: mask of the
    shapes that nothing need be done to; ``bad``: {row: why} of geometry that is there but was not
    fit to be built (closed meanwhile, or None); ``columns``: names in the file, ``table``: the
    wanted ones; ``failed``: {record: why} of features that the reader gave up; ``height``: mean
    height of each shape in the file's own unit, once looked at."""

    ids: np.ndarray
    geometry: np.ndarray
    boxes: np.ndarray
    sound: np.ndarray
    bad: dict[int, str]
    columns: tuple[str, ...]
    table: pa.Table
    crs: Any
    failed: dict[int, str] = field(default_factory=dict)
    height: np.ndarray | None = None

    def only(self, keep: np.ndarray) -> Loaded:
        """The features of a mask."""
        if keep.all():
            return self
        row = np.cumsum(keep) - 1
        bad = {int(row[k]): why for k, why in self.bad.items() if keep[k]}
        table = self.table
        if self.table.num_columns:
            table = self.table.filter(keep)
        return replace(
            self,
            ids=self.ids[keep],
            geometry=self.geometry[keep],
            boxes=self.boxes[keep],
            sound=self.sound[keep],
            height=None if self.height is None else self.height[keep],
            bad=bad,
            table=table,
        )


def built(wkb: np.ndarray, known: np.ndarray | None = None) -> Built:
    """Geometry of an array of WKB. ``known``: mask of those sound beyond doubt, where that was told
    already."""
    return looked_at(*decode(wkb), known)


def looked_at(shapes: np.ndarray, bad: dict[int, str], known: np.ndarray | None = None) -> Built:
    """Geometry with what there is to know of it."""
    sound = untouched(shapes, known)
    sound[list(bad)] = False
    return Built(shapes, shapely.bounds(shapes), sound, bad)


def joined(parts: list[Built]) -> Built:
    if not parts:
        return looked_at(np.empty(0, object), {})
    bad: dict[int, str] = {}
    first = 0
    for part in parts:
        bad |= {first + row: why for row, why in part.bad.items()}
        first += len(part.geometry)
    geometry = np.concatenate([part.geometry for part in parts])
    boxes = np.concatenate([part.boxes for part in parts])
    sound = np.concatenate([part.sound for part in parts])
    return Built(geometry, boxes, sound, bad)


def decode(wkb: np.ndarray) -> tuple[np.ndarray, dict[int, str]]:
    """Geometry of an array of WKB, None where there is none; and why those failed that could not be
    built. Raises `Curved`."""
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
    marked = int.from_bytes(wkb[1:5], "little" if wkb[0] else "big")
    return (marked & 0x1FFFFFFF) % 1000


def _mended(wkb: bytes) -> tuple[Any, str]:
    """A ring that does not close, closed (its area is the same: the shoelace closes it anyway); and
    what was wrong."""
    why = ""
    try:
        shapely.from_wkb(wkb)
    except shapely.errors.ShapelyError as error:
        why = str(error)
    mended = shapely.from_wkb(wkb, on_invalid="fix")
    if "closed" in why and mended is not None and shapely.get_num_coordinates(mended) >= 4:
        return mended, "its ring was not closed"
    return (
        None,
        "its ring has too few points" if "oints" in why else "its geometry cannot be decoded",
    )
