"""Geometry as sent to geometry that can be measured: flat, valid polygons; what cannot be is left out by name."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely

from geoturf.read.say import Say, counted, listed

REPAIR_LIMIT = 0.001  # a repair that changes an area by more is no repair
_POLYGON, _MULTIPOLYGON, _COLLECTION = 3, 6, 7
_KINDS = ("point", "line", "ring", "polygon", "points", "lines", "polygons", "collection")


def flat(shapes: np.ndarray, say: Say) -> np.ndarray:
    """x and y only; heights and measures are dropped."""
    deep = np.flatnonzero(shapely.has_z(shapes) | shapely.has_m(shapes))
    if deep.size:
        shapes = shapes.copy()
        shapes[deep] = shapely.force_2d(shapes[deep])
        say.note("flattened", f"heights or measures of {counted(deep.size, 'feature')} dropped; x and y are used")
    return shapes


def polygons(
    shapes: np.ndarray, ids: np.ndarray, bad: dict[int, str], priced: bool, say: Say
) -> tuple[Any, np.ndarray]:
    """The shapes, repaired where that changes nothing that counts, and a mask of those to go on with.

    ``bad``: {row: fault} of rings that could not be built as sent (closed already, or None).
    """
    leave_out = say.leave_out if priced else say.warn
    shapes, kept = shapes.copy(), np.ones(len(shapes), bool)
    for row in np.flatnonzero(shapely.is_missing(shapes) | shapely.is_empty(shapes)):
        kept[row] = False
        if int(row) in bad:
            leave_out("beyond-repair", f"{bad[int(row)]}; it is left out: draw it again", feature=str(ids[row]))
        else:
            say.warn("no-geometry", "has no geometry; it is left out", feature=str(ids[row]))
    for row in (row for row in bad if kept[row]):
        say.warn("repaired", f"{bad[row]}; closed, area unchanged (+0.0000%)", feature=str(ids[row]))
    _areal_only(shapes, ids, kept, say)
    for row in np.flatnonzero(kept & ~shapely.is_valid(shapes)):
        mended = _repaired(shapes[row], str(ids[row]), leave_out, say)
        kept[row], shapes[row] = mended is not None, mended
    _repeated(shapes, ids, kept, say)
    return shapes, kept


def _areal_only(shapes: np.ndarray, ids: np.ndarray, kept: np.ndarray, say: Say) -> None:
    """Takes the polygons out of collections; points and lines are left out by name."""
    kind = shapely.get_type_id(shapes)
    odd = np.flatnonzero(kept & (kind != _POLYGON) & (kind != _MULTIPOLYGON))
    if odd.size == kept.sum() and odd.size and not (kind[odd] == _COLLECTION).any():
        kept[odd] = False
        what = _KINDS[kind[odd[0]]]
        say.warn("not-polygons", f"all {counted(odd.size, 'feature')} ({what}) left out: this role needs polygons")
        return
    for row in odd:
        parts = [p for p in shapely.get_parts(shapes[row]) if p.geom_type in ("Polygon", "MultiPolygon")]
        if parts:
            say.warn("mixed-geometry", "is a collection; only its polygons are used", feature=str(ids[row]))
            flat_parts = [q for p in parts for q in shapely.get_parts(p)]
            shapes[row] = shapely.MultiPolygon(flat_parts) if len(flat_parts) > 1 else flat_parts[0]
        else:
            kept[row] = False
            what = _KINDS[kind[row]]
            say.warn("not-a-polygon", f"is a {what} in a layer of polygons; it is left out", feature=str(ids[row]))


def _repaired(shape: Any, feature: str, leave_out: Callable[..., None], say: Say) -> Any:
    """The repaired shape, or None where a repair would be a guess. Two readings of the ring must agree: by structure
    (what the shell encloses less what the holes do) and by line work (what the lines enclose an odd number of times)."""
    why = shapely.is_valid_reason(shape)
    before = shapely.area(shape)
    try:
        mended = shapely.make_valid(shape, method="structure", keep_collapsed=False)
        other = shapely.area(shapely.make_valid(shape, method="linework"))
    except shapely.errors.ShapelyError:
        mended, other = shapely.Polygon(), 0.0
    after = shapely.area(mended)
    changes = [(area - before) / before if before > 0 else np.inf for area in (after, other)]
    worst = max(changes, key=abs)
    if after <= 0 or not np.isfinite(worst) or abs(worst) > REPAIR_LIMIT:
        told = f"a repair would change its area by {worst:+.2%}" if np.isfinite(worst) else "it encloses no clear area"
        leave_out("beyond-repair", f"{why}; {told}, so it is left out: draw it again", feature=feature)
        return None
    say.warn("repaired", f"{why}; repaired, area changed by {changes[0]:+.4%}", feature=feature)
    return mended


def _repeated(shapes: np.ndarray, ids: np.ndarray, kept: np.ndarray, say: Say) -> None:
    """Vertices that stand twice in a row are dropped."""
    rows = np.flatnonzero(kept)
    points, owner = shapely.get_coordinates(shapes[rows], return_index=True)
    twice = (owner[1:] == owner[:-1]) & (points[1:, 0] == points[:-1, 0]) & (points[1:, 1] == points[:-1, 1])
    if not twice.any():
        return
    hit = rows[np.unique(owner[1:][twice])]
    cleaned = shapely.remove_repeated_points(shapes[hit])
    told = hit[shapely.get_num_coordinates(cleaned) < shapely.get_num_coordinates(shapes[hit])]
    shapes[hit] = cleaned
    if told.size:
        named = f"{'feature' if told.size == 1 else 'features'} {listed(ids[told])}"
        say.warn("repaired", f"vertices standing twice in a row dropped, area unchanged (+0.0000%): {named}")
