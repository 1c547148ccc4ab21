"""Strips of fabric over an area: how many, and how long."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from geoturf import plane, units
from geoturf.threads import each

# Points of a part from which it is cut down to so many strips at a time.
RAGGED = 1000
TOGETHER = 16
VERY_RAGGED = 50_000  # of a part whose border is looked at strip by strip, nothing cut out
LEVEL_M = 1e-9  # an edge that rises by less is level
MANY = 2_000  # areas looked at together
ABREAST = 4  # narrow last strips that are cut from one width of a roll, at most


def strips(geometry: np.ndarray, width_m: float, length_m: float, overlap_m: float) -> pd.DataFrame:
    """Fabric laid in strips along the long side of each part's smallest rectangle, lapped by
    ``overlap_m``.

    ceil((W - overlap) / (width - overlap)) strips cover the rectangle's short side W. Each is as
    long as the ground beneath it (gaps left open), plus a lap for every join where it is longer
    than a roll. The last strip of a part is often narrow: as many as go into a roll's width, up to
    `ABREAST`, are cut from it side by side, each lane as long as its strips together, so that such
    a strip takes its part of a roll's length. ``geometry``: (n,) polygons or multipolygons. Gives
    one row an area: strips (count), length_m (laid), roll_m (of roll, off-cuts used).
    """
    some = [geometry[k : k + MANY] for k in range(0, max(len(geometry), 1), MANY)]
    found = each(lambda one: _strips(one, width_m, length_m, overlap_m), some)
    if len(found) > 1:
        return pd.concat(found, ignore_index=True)
    return found[0]


def _strips(
    geometry: np.ndarray, width_m: float, length_m: float, overlap_m: float
) -> pd.DataFrame:
    """As `strips`, of some areas."""
    parts, owner = shapely.get_parts(geometry, return_index=True)
    level, deep = _level(parts)
    count = units.whole_steps(deep - overlap_m, width_m - overlap_m).clip(1).astype(int)
    part = np.repeat(np.arange(len(parts)), count)
    nth = np.arange(len(part)) - np.repeat(np.cumsum(count) - count, count)
    low = nth * (width_m - overlap_m)
    by_border = shapely.get_num_coordinates(level) > VERY_RAGGED
    plain = np.flatnonzero(~by_border[part])
    ground = level[part]
    ground[plain] = _about(level, part[plain], low[plain], low[plain] + width_m)
    long = np.zeros(len(part))
    for rows in _by_number(nth[plain]):  # strips of a number lie alike, and are cut in one call
        some = plain[rows]
        bottom = float(low[some[0]])
        long[some] = _extent(plane.in_band(ground[some], bottom, bottom + width_m))
    for k in np.flatnonzero(by_border).tolist():
        long[part == k] = _under(level[k], low[part == k], width_m)
    joins = (units.whole_steps(long - overlap_m, length_m - overlap_m) - 1).clip(0)
    narrow = (deep - (count - 1) * (width_m - overlap_m)).clip(1e-9)
    lanes = np.floor(width_m / narrow + units.MILLIONTH).clip(1, ABREAST)
    last = nth == count[part] - 1
    taken = (long + joins * overlap_m) / np.where(last, lanes[part], 1.0)
    area = owner[part]
    return pd.DataFrame(
        {
            "strips": np.bincount(area, long > 0, len(geometry)).astype(int),
            "length_m": np.bincount(area, long + joins * overlap_m, len(geometry)),
            "roll_m": np.bincount(area, taken, len(geometry)),
        }
    )


def _under(ground: shapely.Polygon, low: np.ndarray, width_m: float) -> np.ndarray:
    """How far the ground reaches along each strip that begins at ``low``, gaps left open: what its
    border, and the strip's own sides on the ground, take of the line along it. Pieces beside each
    other count once, not each."""
    edges = _edges(ground)
    edges = edges[np.argsort(edges[:, 1], kind="stable")]
    long = []
    for south in low.tolist():
        north = south + width_m
        mine = edges[: np.searchsorted(edges[:, 1], north)]
        mine = mine[mine[:, 3] > south]
        ends = np.column_stack([_x_at(mine, side) for side in (south, north)])
        inside = np.sort(ends[mine[:, 1] <= south, 0]), np.sort(ends[mine[:, 3] >= north, 1])
        spans = [
            np.sort(ends, axis=1),
            *(one[: len(one) // 2 * 2].reshape(-1, 2) for one in inside),
        ]
        long.append(_covered(np.concatenate(spans)))
    return np.array(long)


def _edges(ground: shapely.Polygon) -> np.ndarray:
    """Float (n, 4): x, y of the lower end and of the upper, of every edge."""
    rings = shapely.get_rings(ground)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    edges: np.ndarray = np.hstack([points[:-1], points[1:]])[ring[:-1] == ring[1:]]
    falls = edges[:, 1] > edges[:, 3]
    edges[falls] = edges[falls][:, [2, 3, 0, 1]]
    return edges


def _x_at(edges: np.ndarray, y: float) -> np.ndarray:
    """x of edges at ``y``, or at the end that is nearest to it."""
    x0, y0, x1, y1 = edges.T
    share: np.ndarray = ((y - y0) / np.maximum(y1 - y0, LEVEL_M)).clip(0.0, 1.0)
    x: np.ndarray = x0 + share * (x1 - x0)
    return x


def _covered(spans: np.ndarray) -> float:
    """Length of the union of intervals (n, 2)."""
    if not len(spans):
        return 0.0
    spans = spans[np.argsort(spans[:, 0], kind="stable")]
    reach = np.maximum.accumulate(spans[:, 1])
    begin = np.append(spans[0, 0], np.maximum(spans[1:, 0], reach[:-1]))
    return float((reach - begin).clip(0.0).sum())


def _about(level: np.ndarray, part: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """What there is of ``level[part]`` about strips from ``low`` to ``high``. Of a ragged part
    only the ground about some strips at a time, so that an outline is not read once for each."""
    out: np.ndarray = level[part]
    ragged = np.flatnonzero(shapely.get_num_coordinates(level)[part] > RAGGED)
    if not len(ragged):
        return out
    turn = np.flatnonzero(np.diff(part[ragged], prepend=-1))  # strips of a part lie in order
    nth = np.arange(len(ragged)) - np.repeat(turn, np.diff(turn, append=len(ragged)))
    first = np.flatnonzero(nth % TOGETHER == 0)
    last = np.append(first[1:], len(ragged)) - 1
    bounds = shapely.bounds(out[ragged[first]])
    west = bounds[:, 0] - 2
    east = bounds[:, 2] + 2
    south = low[ragged[first]] - 1
    north = high[ragged[last]] + 1
    cut = shapely.intersection(out[ragged[first]], shapely.box(west, south, east, north))
    out[ragged] = np.repeat(_polygons(cut), last - first + 1)
    return out


def _by_number(nth: np.ndarray) -> list[np.ndarray]:
    """The rows of each number, from 0 on; none of no rows."""
    order = np.argsort(nth, kind="stable")
    return np.split(order, np.flatnonzero(np.diff(nth[order])) + 1) if len(nth) else []


def _polygons(cut: np.ndarray) -> np.ndarray:
    """Without the points and lines in which a cut only touches ground."""
    mixed = np.flatnonzero(shapely.get_type_id(cut) == shapely.GeometryType.GEOMETRYCOLLECTION)
    for k in mixed.tolist():
        parts = shapely.get_parts(cut[k])
        cut[k] = shapely.multipolygons(shapely.get_parts(parts[shapely.get_dimensions(parts) == 2]))
    return cut


def _extent(under: np.ndarray) -> np.ndarray:
    """How far the ground beneath each strip reaches along it; ground in several pieces counts piece
    by piece."""
    pieces, strip = shapely.get_parts(under, return_index=True)
    bounds = shapely.bounds(pieces)
    reach = np.where(
        shapely.area(pieces) > 0, bounds[:, 2] - bounds[:, 0], 0.0
    )  # a line touched is no ground
    whole = shapely.bounds(under)
    return np.fmin(np.bincount(strip, reach, len(under)), whole[:, 2] - whole[:, 0])


def _level(geometry: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Polygons turned so that the long side of their smallest rectangle lies along x, and moved
    up or down to begin at y = 0; and the length of the short side."""
    corners = shapely.get_coordinates(shapely.oriented_envelope(geometry)).reshape(-1, 5, 2)
    sides = np.diff(corners[:, :3], axis=1)
    lengths = np.hypot(*sides.transpose(2, 0, 1))
    longest = lengths.argmax(axis=1)
    along = sides[np.arange(len(sides)), longest] / lengths.max(axis=1)[:, None]
    points, owner = shapely.get_coordinates(geometry, return_index=True)
    c, s = along[owner].T
    turned = np.column_stack(
        [c * points[:, 0] + s * points[:, 1], c * points[:, 1] - s * points[:, 0]]
    )
    turned[:, 1] -= _least(turned[:, 1], owner)[owner]
    level = shapely.set_coordinates(np.array(geometry, dtype=object), turned)
    return level, lengths.min(axis=1)


def _least(values: np.ndarray, owner: np.ndarray) -> np.ndarray:
    """The least value of each owner; owners are numbered from 0 on, in order, none without any."""
    if not len(values):
        return values
    least: np.ndarray = np.minimum.reduceat(values, np.flatnonzero(np.diff(owner, prepend=-1)))
    return least
