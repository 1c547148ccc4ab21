"""Geometry as sent to geometry that can be measured: flat, valid polygons; what cannot be is left
out by name."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely

from geoturf.read.say import Say, counted, listed

REPAIR_LIMIT = 0.001  # a repair that changes an area by more is no repair
QUIET = 1e-6  # one that changes it by no more is a note
_POLYGON = 3
_MULTIPOLYGON = 6
_COLLECTION = 7
_KINDS = (
    "point",
    "line",
    "ring",
    "polygon",
    "set of points",
    "set of lines",
    "polygons",
    "collection",
)


def untouched(shapes: np.ndarray, known: np.ndarray | None = None) -> np.ndarray:
    """Mask of the shapes that nothing need be done to: flat, valid polygons without a vertex twice
    in a row. Those that a quick test (``known``, where it was made already) cannot tell to be so
    are put to the full one."""
    sound = _star_shaped(shapes) if known is None else known
    rest = np.flatnonzero(~sound)
    if rest.size:
        sound[rest] = _sound(shapes[rest])
    return sound


def unwrapped(shapes: np.ndarray, boxes: np.ndarray, turn: float) -> tuple[np.ndarray, np.ndarray]:
    """Polygons that cross 180 degrees as they were meant, x going on beyond it; and the rows that
    were changed.

    A part wider than half of ``turn``, x once around the earth, is read the short way round, as
    every measure of it is. As sent it covers the other side of the world and may cross itself, and
    any repair would make it another shape.
    """
    rows = np.flatnonzero(boxes[:, 2] - boxes[:, 0] > turn / 2)
    out = shapes.copy() if rows.size else shapes
    changed = []
    for row in rows:
        parts = shapely.get_parts(shapes[row])
        wide = shapely.bounds(parts)[:, [0, 2]] @ [-1, 1] > turn / 2
        if wide.any():
            near = [
                _short_way(part, turn) if far else part
                for part, far in zip(parts, wide, strict=True)
            ]
            out[row] = near[0] if len(near) == 1 else type(shapes[row])(near)
            changed.append(row)
    return out, np.array(changed, dtype=int)


def _short_way(part: Any, turn: float) -> Any:
    """A part with every vertex within half a turn of its first."""
    points = shapely.get_coordinates(part, include_z=shapely.has_z(part))
    points[:, 0] -= turn * np.round((points[:, 0] - points[0, 0]) / turn)
    return shapely.set_coordinates(part, points)


def _sound(shapes: np.ndarray) -> np.ndarray:
    sound = np.isin(shapely.get_type_id(shapes), (_POLYGON, _MULTIPOLYGON))
    sound &= ~shapely.is_empty(shapes)
    sound &= shapely.is_valid(shapes)
    sound &= shapely.get_coordinate_dimension(shapes) == 2
    sound[_with_empty_rings(shapes)] = False
    points, owner = shapely.get_coordinates(shapes, return_index=True)
    sound[owner[1:][_twice(points, owner)]] = False
    return sound


def _star_shaped(shapes: np.ndarray) -> np.ndarray:
    """Mask of the flat polygons of one ring that all of the ring is seen from its mean vertex: each
    side turns the same way around it, beyond rounding, and all sides turn around it once. Such a
    ring cannot touch itself, nor repeat a vertex; most lots and lawns are such, and this costs a
    third of asking GEOS."""
    found = np.zeros(len(shapes), bool)
    counts = shapely.get_num_coordinates(shapes)
    fit = shapely.get_type_id(shapes) == _POLYGON
    fit &= shapely.get_num_interior_rings(shapes) == 0
    fit &= counts >= 4
    fit &= shapely.get_coordinate_dimension(shapes) == 2
    rows = np.flatnonzero(fit)
    if not rows.size:
        return found
    with np.errstate(all="ignore"):  # coordinates that are no numbers fail every test below
        found[rows] = _seen_from_within(shapely.get_coordinates(shapes[rows]), counts[rows])
    return found


def _seen_from_within(points: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """`_star_shaped` of rings given as (n, 2) vertices, ``counts`` of them to a ring."""
    first = np.cumsum(counts) - counts
    middle = np.add.reduceat(points, first) / counts[:, None]
    x, y = (points - np.repeat(middle, counts, axis=0)).T
    away = np.maximum(np.abs(x), np.abs(y))
    reach = np.maximum.reduceat(away, first)
    turn = x[:-1] * y[1:] - x[1:] * y[:-1]
    turn[first[1:] - 1] = np.nan  # from the last vertex of a ring to the first of the next
    least = np.fmin.reduceat(turn, first)
    most = np.fmax.reduceat(turn, first)
    doubt = 16 * np.finfo(float).eps * reach * (reach + np.abs(middle).sum(axis=1))
    crosses = (y[:-1] < 0) != (y[1:] < 0)
    crosses[first[1:] - 1] = False
    once = np.add.reduceat(crosses, first, dtype=np.int64) == 2
    seen: np.ndarray = once & ((least > doubt) | (most < -doubt))
    return seen


def _twice(points: np.ndarray, owner: np.ndarray) -> np.ndarray:
    """Mask of the vertices, from the second on, that stand where the one before stands."""
    same: np.ndarray = points[1:, 0] == points[:-1, 0]
    if same.any():
        same &= (points[1:, 1] == points[:-1, 1]) & (owner[1:] == owner[:-1])
    return same


def _with_empty_rings(shapes: np.ndarray) -> np.ndarray:
    """Rows of the polygons that have a hole, or of the sets that have a polygon, without any point.
    GEOS calls them valid, and some of its questions about them (``touches``) take the process
    down."""
    parts, owner = shapely.get_parts(shapes, return_index=True)
    rings, of_part = shapely.get_rings(parts, return_index=True)
    empty = shapely.get_num_points(rings) == 0
    with_empty = owner[of_part[empty]]
    all_empty = owner[shapely.is_empty(parts)]
    return np.unique(np.concatenate([with_empty, all_empty]))


def _full(shape: Any) -> Any:
    """A polygon or a set of them without the rings that have no point."""
    parts = []
    for part in shapely.get_parts(shape):
        holes = [hole for hole in part.interiors if not hole.is_empty]
        if not part.is_empty:
            parts.append(shapely.Polygon(part.exterior, holes))
    if len(parts) == 1:
        return parts[0]
    return shapely.MultiPolygon(parts)


def winding(shapes: np.ndarray, say: Say) -> None:
    """GeoJSON wants shells counter-clockwise (RFC 7946 section 3.1.6). Others are read as meant,
    and told."""
    many = shapely.get_type_id(shapes) == _MULTIPOLYGON
    parts = np.concatenate([shapes[~many], shapely.get_parts(shapes[many])])
    shells = shapely.get_exterior_ring(parts)
    wrong = int((~shapely.is_ccw(shells)).sum())
    if wrong:
        say.note(
            "winding",
            f"{counted(wrong, 'shell')} of {len(shells):,} wound clockwise; read as meant",
        )


def flat(shapes: np.ndarray) -> np.ndarray:
    """x and y only."""
    deep = np.flatnonzero(shapely.get_coordinate_dimension(shapes) > 2)
    if deep.size:
        shapes = shapes.copy()
        shapes[deep] = shapely.force_2d(shapes[deep])
    return shapes


def without_area(shapes: np.ndarray) -> bool:
    """Whether all that is drawn is points and lines."""
    drawn = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    areal = np.isin(shapely.get_type_id(shapes), (_POLYGON, _MULTIPOLYGON, _COLLECTION))
    return bool(drawn.any() and not areal[drawn].any())


def heights(shapes: np.ndarray) -> np.ndarray:
    """Mean height along the outline of each shape, in the file's own unit; NaN where it has
    none."""
    out = np.full(len(shapes), np.nan)
    deep = np.flatnonzero(shapely.has_z(shapes))
    if not deep.size:
        return out
    parts, owner = shapely.get_parts(shapes[deep], return_index=True)
    lines = np.where(
        shapely.get_type_id(parts) == _POLYGON, shapely.get_exterior_ring(parts), parts
    )
    points, line = shapely.get_coordinates(lines, include_z=True, return_index=True)
    steps = np.diff(points[:, :2], axis=0)
    middle = (points[1:, 2] + points[:-1, 2]) / 2
    known = (line[1:] == line[:-1]) & np.isfinite(middle)
    length = np.hypot(*steps[known].T)
    whose = owner[line[1:][known]]
    total, weighed = (
        np.bincount(whose, w, minlength=len(deep)) for w in (length, length * middle[known])
    )
    with np.errstate(invalid="ignore"):
        out[deep] = weighed / total
    return out


def tell_depth(shapes: np.ndarray, height: np.ndarray, unit: str, priced: bool, say: Say) -> None:
    """What geometry holds beside x and y, and what becomes of it. ``height``: as of `heights`;
    ``unit``: what the bid takes elevations in, if it does."""
    known = height[np.isfinite(height)]
    if known.size:
        what = (
            f"heights of {counted(known.size, 'feature')} ({known.min():,.6g} to {known.max():,.6g}"
        )
        mend = '; z = "m" or z = "ft" in its layer takes them as elevations' if priced else ""
        told = f"{what} {unit}) are taken as elevations" if unit else f"{what}) are not used{mend}"
        say.note("heights" if unit else "flattened", told)
    rest = int((shapely.get_coordinate_dimension(shapes) > 2).sum()) - known.size
    if rest:
        say.note(
            "flattened",
            f"measures or empty heights of {counted(rest, 'feature')} dropped; x and y are used",
        )


def drawn(shapes: np.ndarray, ids: np.ndarray, say: Say) -> np.ndarray:
    """Mask of the shapes of any kind that are there at all."""
    missing: np.ndarray = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    for row in np.flatnonzero(missing):
        say.warn("no-geometry", "has no geometry; it is left out", feature=str(ids[row]))
    return ~missing


def polygons(
    shapes: np.ndarray, ids: np.ndarray, bad: dict[int, str], priced: bool, say: Say
) -> tuple[np.ndarray, np.ndarray]:
    """The shapes, repaired where that changes nothing that counts, and a mask of those to go on
    with.

    ``bad``: {row: fault} of rings that could not be built as sent (closed already, or None).
    """
    leave_out, pass_over = (say.leave_out, say.pass_over) if priced else (say.warn, say.warn)
    shapes = flat(shapes).copy()
    kept = np.ones(len(shapes), bool)
    quiet: list[tuple[str, str]] = []  # (feature, fault) of repairs that change no area
    for row in np.flatnonzero(shapely.is_missing(shapes) | shapely.is_empty(shapes)).tolist():
        kept[row] = False
        if row in bad:
            told = f"{bad[row]}; it is left out: mend it at its source"
            leave_out("beyond-repair", told, feature=str(ids[row]))
        else:
            pass_over("no-geometry", "has no geometry; it is left out", feature=str(ids[row]))
    quiet += [(str(ids[row]), why) for row, why in bad.items() if kept[row]]
    _areal_only(shapes, ids, kept, pass_over, say)
    quiet += _without_empty_rings(shapes, ids, kept)
    for row in np.flatnonzero(kept & ~shapely.is_valid(shapes)).tolist():
        mended = _repaired(shapes[row], str(ids[row]), leave_out, quiet, say)
        kept[row] = mended is not None
        shapes[row] = mended
    quiet += _repeated(shapes, ids, kept)
    _tell_quiet(quiet, say)
    return shapes, kept


def _without_empty_rings(
    shapes: np.ndarray, ids: np.ndarray, kept: np.ndarray
) -> list[tuple[str, str]]:
    """Drops rings without any point; (feature, fault) of the shapes that had some."""
    rows = np.flatnonzero(kept)
    rows = rows[_with_empty_rings(shapes[rows])]
    for row in rows:
        shapes[row] = _full(shapes[row])
    return [(str(ids[row]), "a ring without any point dropped") for row in rows]


def _tell_quiet(quiet: list[tuple[str, str]], say: Say) -> None:
    """One note on all repairs that change no area by a millionth, by what was wrong."""
    if len(quiet) == 1:
        (feature, why) = quiet[0]
        say.note("repaired", f"{why}; repaired, its area unchanged", feature=feature)
    elif quiet:
        kinds: dict[str, list[str]] = {}
        for feature, why in quiet:
            kinds.setdefault(why.split(" at ")[0], []).append(feature)
        which = "; ".join(f"{why} (features {listed(features)})" for why, features in kinds.items())
        say.note(
            "repaired",
            f"{counted(len(quiet), 'repair')} that change no area by a millionth: {which}",
        )


def _areal_only(
    shapes: np.ndarray, ids: np.ndarray, kept: np.ndarray, pass_over: Callable[..., None], say: Say
) -> None:
    """Takes the polygons out of collections; points and lines are left out by name."""
    kind = shapely.get_type_id(shapes)
    other = (kind != _POLYGON) & (kind != _MULTIPOLYGON)
    for row in np.flatnonzero(kept & other).tolist():
        feature = str(ids[row])
        parts = shapely.get_parts(shapely.get_parts(shapes[row]))
        polygons = parts[shapely.get_type_id(parts) == _POLYGON]
        if len(polygons):
            say.warn(
                "mixed-geometry", "is a collection; only its polygons are used", feature=feature
            )
            shapes[row] = shapely.MultiPolygon(polygons) if len(polygons) > 1 else polygons[0]
        else:
            kept[row] = False
            what = f"is a {_KINDS[kind[row]]} in a layer of polygons"
            pass_over("not-a-polygon", f"{what}; it is left out", feature=feature)


def _repaired(
    shape: Any, feature: str, leave_out: Callable[..., None], quiet: list[tuple[str, str]], say: Say
) -> Any:
    """The repaired shape, or None where a repair would be a guess. Two readings of the ring must
    agree: by structure (what the shell encloses less what the holes do) and by line work (what the
    lines enclose an odd number of times)."""
    why = shapely.is_valid_reason(shape).replace("[", " at ").rstrip("]")
    before = shapely.area(shape)
    with np.errstate(all="ignore"):
        try:
            mended = shapely.make_valid(shape, method="structure", keep_collapsed=False)
            other = shapely.area(shapely.make_valid(shape, method="linework"))
        except shapely.errors.ShapelyError:
            mended = shapely.Polygon()
            other = 0.0
    after = shapely.area(mended)
    change = _change(before, after)
    otherwise = _change(before, other)
    worst = max(change, otherwise, key=abs)
    if after <= 0 or not np.isfinite(worst) or abs(worst) > REPAIR_LIMIT:
        told = "it encloses no clear area"
        if np.isfinite(worst):
            told = f"a repair would change its area by {worst:+.2%}"
        leave_out(
            "beyond-repair", f"{why}; {told}, so it is left out: draw it again", feature=feature
        )
        return None
    if abs(change) <= QUIET:
        quiet.append((feature, why))
    else:
        say.warn("repaired", f"{why}; repaired, area changed by {change:+.4%}", feature=feature)
    return mended


def _change(before: float, after: float) -> float:
    """Of an area, as a fraction; inf where there was none that could be told."""
    if 0 < before < np.inf:
        return (after - before) / before
    return np.inf


def _repeated(shapes: np.ndarray, ids: np.ndarray, kept: np.ndarray) -> list[tuple[str, str]]:
    """Drops vertices that stand twice in a row; (feature, fault) of those that had some."""
    rows = np.flatnonzero(kept)
    points, owner = shapely.get_coordinates(shapes[rows], return_index=True)
    twice = _twice(points, owner)
    if not twice.any():
        return []
    hit = rows[np.unique(owner[1:][twice])]
    cleaned = shapely.remove_repeated_points(shapes[hit])
    told = hit[shapely.get_num_coordinates(cleaned) < shapely.get_num_coordinates(shapes[hit])]
    shapes[hit] = cleaned
    return [(str(ids[row]), "a vertex stands twice in a row") for row in told]
