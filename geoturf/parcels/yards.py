"""Front, side and back yards: a lawn divided by the lines of the house that face the street and
turn from it.

The front yard reaches across the whole lot from the street to the nearest line of the house, the
back yard from the house's farthest line to the back of the lot, the side yards lie between: the
usual wording of zoning codes (common practice). Which side is the street's is told by

1. a street layer (or address points): the side of the lot that lies nearest to it on average;
2. without one, the side by which a drive or walk of the paving layer leaves the lot, not to another
  parcel;
3. without paving, the side that touches no other parcel;
4. of two such sides that meet at a corner, the shorter one.

A lot without a drive that stands free, lies enclosed or is open front and back is not told apart.
The sides of a lot are those of its smallest rectangle; each stretch of border belongs to the side
it faces.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.model import Ground

YARDS = ("front", "side", "back")
_STEP_M = 1.5  # borders are looked at in steps of at most this
_WALK_M = 1.0  # paving that leaves a lot is at least so wide
_STREET_M = 200.0  # streets further away are not looked at
_GAP_M = 0.5  # parcels nearer than this are neighbours
_MOST = 0.5  # a side is open when at least this much of it touches no parcel
_FAR_M = 1e5
_TOUCH_M = 1e-3
_HAIR_M = 5e-5


@dataclass(frozen=True)
class Border:
    """The steps of the parcels' outer borders: ``owner`` (row), ``middle`` (points), ``length_m``
    and ``side`` 0 .. 3, the side of the parcel's smallest rectangle that the step faces: bearing
    ``base_deg + 90 * side`` outward."""

    owner: np.ndarray
    middle: np.ndarray
    length_m: np.ndarray
    side: np.ndarray
    base_deg: np.ndarray

    def by_side(self, values: np.ndarray) -> np.ndarray:
        """Sums over the steps of each parcel's sides, shape (n, 4)."""
        size = len(self.base_deg)
        return np.bincount(self.owner * 4 + self.side, values, minlength=4 * size).reshape(size, 4)


def divide(
    ground: Ground, parcels: pd.DataFrame, lawn: np.ndarray, least_m2: float
) -> tuple[np.ndarray, np.ndarray]:
    """The yards of each lawn, shape (n, 3) in the order of `YARDS`, empty where there is none; and
    which parcels could be told (n,): the others keep their lawn whole, in the first column. Parts
    under ``least_m2`` stay with the lawn's largest part."""
    house = _houses(ground, parcels)
    built = np.flatnonzero(~shapely.is_empty(house))
    front_deg = np.full(len(parcels), np.nan)
    front_deg[built] = street_side_deg(ground, parcels.iloc[built])
    told = np.isfinite(front_deg)
    yards = np.full((len(lawn), 3), shapely.Polygon(), dtype=object)
    yards[~told, 0] = lawn[~told]
    yards[told] = _cut(lawn[told], house[told], front_deg[told], least_m2)
    return yards, told


def street_side_deg(ground: Ground, parcels: pd.DataFrame) -> np.ndarray:
    """Compass bearing (in the frame) from each parcel to its street; NaN where the data don't
    tell."""
    border = _border(parcels["geometry"].to_numpy())
    by_street = _nearest_side(ground, parcels, border)
    by_border = _open_side(ground, parcels, border)
    side = np.where(by_street >= 0, by_street, by_border)
    bearing = (border.base_deg + 90 * side) % 360
    return np.where(side >= 0, bearing, np.nan)


def _border(parcels: np.ndarray) -> Border:
    shells, owner = shapely.get_parts(parcels, return_index=True)
    rings = shapely.segmentize(shapely.get_exterior_ring(shells), _STEP_M)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    step = np.flatnonzero(ring[1:] == ring[:-1])
    start = points[step]
    end = points[step + 1]
    x, y = (end - start).T
    base = plane.long_side_deg(parcels)
    who = owner[ring[step]]
    outward = np.degrees(np.arctan2(y, -x))  # of a counter-clockwise shell: its right-hand normal
    side = np.round((outward - base[who]) / 90).astype(int) % 4
    middle = np.asarray(shapely.points((start + end) / 2))
    return Border(who, middle, np.hypot(x, y), side, base)


def _near(
    ground: Ground, parcels: pd.DataFrame, role: str, reach_m: float = 0.0
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What stands in the context as ``role`` (n,), and rows (parcel, thing) of what comes within
    ``reach_m`` of each other."""
    things = ground.context[ground.context["role"] == role]
    shapes = things["geometry"].to_numpy()
    frame = things["frame"].to_numpy()
    lots = parcels["geometry"].to_numpy()
    of_lot = parcels["frame"].to_numpy()
    lot, thing = plane.near(lots, of_lot, shapes, frame, reach_m)
    return shapes, lot, thing


def _nearest_side(ground: Ground, parcels: pd.DataFrame, border: Border) -> np.ndarray:
    """The side nearest to the streets on average, -1 where no street is near."""
    streets, i, j = _near(ground, parcels, "street", _STREET_M)
    street = plane.gathered(streets, i, j, len(parcels))
    apart = np.nan_to_num(shapely.distance(border.middle, street[border.owner]), nan=0.0)
    length = border.by_side(border.length_m)
    weighted = border.by_side(apart * border.length_m)
    mean = np.where(length > 0, weighted / np.maximum(length, 1e-12), np.inf)
    nearest = mean.argmin(axis=1)
    return np.where(shapely.is_empty(street), -1, nearest)


def _open_side(ground: Ground, parcels: pd.DataFrame, border: Border) -> np.ndarray:
    """The side that a drive leaves by, or that touches no other parcel; -1 where that does not
    tell."""
    free = ~_beside_parcel(ground, parcels, border)
    by_drive = _drive_side(ground, parcels, border, free)
    length = border.by_side(border.length_m)
    free_m = border.by_side(border.length_m * free)
    is_open = (free_m >= _MOST * length) & (length > 0)
    count = is_open.sum(axis=1)
    facing_ends = is_open[:, :2] & is_open[:, 2:]  # sides 0 and 2, and 1 and 3, face each other
    corner = (count == 2) & ~facing_ends.any(axis=1)
    shorter = np.where(is_open, length, np.inf).argmin(axis=1)
    return np.select([by_drive >= 0, (count == 1) | corner], [by_drive, shorter], -1)


def _beside_parcel(ground: Ground, parcels: pd.DataFrame, border: Border) -> np.ndarray:
    """Whether each step of border runs beside another parcel."""
    land, i, j = _near(ground, parcels, "parcel", _GAP_M)
    beside = ~_itself(parcels["geometry"].to_numpy()[i], land[j])
    return _reaches(border, plane.gathered(land, i[beside], j[beside], len(parcels)))


def _drive_side(
    ground: Ground, parcels: pd.DataFrame, border: Border, free: np.ndarray
) -> np.ndarray:
    """The side where most paving reaches free border: at least a walk's width of it, and no other
    side half as much."""
    paving, i, j = _near(ground, parcels, "paving", _GAP_M)
    reached = _reaches(border, plane.gathered(paving, i, j, len(parcels)))
    reached_m = border.by_side(border.length_m * (reached & free))
    second, most = np.sort(reached_m, axis=1)[:, 2:].T
    clear = (most >= _WALK_M) & (second <= most / 2)
    return np.where(clear, reached_m.argmax(axis=1), -1)


def _reaches(border: Border, things: np.ndarray) -> np.ndarray:
    """Whether each step of border lies within `_GAP_M` of its parcel's ``things``."""
    with plane.prepared(things):
        return np.asarray(shapely.dwithin(things[border.owner], border.middle, _GAP_M))


def _itself(parcel: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Whether ``other`` is the parcel, or lies on it: not a neighbour. Boxes tell most."""
    mine = shapely.bounds(parcel).reshape(-1, 4)
    yours = shapely.bounds(other).reshape(-1, 4)
    low = yours[:, :2] >= mine[:, :2] - _GAP_M
    high = yours[:, 2:] <= mine[:, 2:] + _GAP_M
    out = np.asarray(np.hstack([low, high]).all(axis=1))
    row = np.flatnonzero(out)
    common = plane.overlaid(shapely.intersection, parcel[row], other[row])
    out[row] = shapely.area(common) > 0.1 * shapely.area(other[row])
    return out


def _houses(ground: Ground, parcels: pd.DataFrame) -> np.ndarray:
    """The largest building on each parcel, as far as it stands on it; empty where there is none."""
    buildings, i, j = _near(ground, parcels, "building")
    lots = parcels["geometry"].to_numpy()
    on_it = plane.polygonal(plane.overlaid(shapely.intersection, lots[i], buildings[j]))
    size = shapely.area(on_it)
    order = np.lexsort((-size, i))
    order = order[size[order] > 0]
    owner, first = np.unique(i[order], return_index=True)
    out = np.full(len(parcels), shapely.Polygon(), dtype=object)
    out[owner] = on_it[order[first]]
    return out


def _cut(lawn: np.ndarray, house: np.ndarray, front_deg: np.ndarray, least_m2: float) -> np.ndarray:
    """Lawns divided at their houses' nearest and farthest line from the street."""
    points, owner = shapely.get_coordinates(house, return_index=True)
    bearing = np.radians(front_deg)
    toward = np.column_stack([np.sin(bearing), np.cos(bearing)])
    depth = (points * toward[owner]).sum(axis=1)  # grows toward the street
    far = np.full(len(lawn), _FAR_M)
    starts = np.searchsorted(owner, np.arange(len(lawn)))
    near = far
    if len(lawn):
        near = np.maximum.reduceat(depth, starts)
    back = far
    if len(lawn):
        back = np.minimum.reduceat(depth, starts)
    front = _band(toward, near, far)
    side = _band(toward, back, near)
    rear = _band(toward, -far, back)
    thrice = np.repeat(lawn, 3)
    bands = np.column_stack([front, side, rear]).ravel()
    pieces = plane.polygonal(plane.overlaid(shapely.intersection, thrice, bands))
    parts, place = shapely.get_parts(pieces, return_index=True)
    yards = _without_scraps(parts, place // 3, place % 3, len(lawn), least_m2)
    return plane.tidy(plane.overlaid(shapely.intersection, yards, thrice)).reshape(-1, 3)


def _without_scraps(
    parts: np.ndarray, owner: np.ndarray, yard: np.ndarray, size: int, least_m2: float
) -> np.ndarray:
    """Parts gathered by owner and yard. One under ``least_m2`` goes to the yard of the larger part
    it shares most border with: a wall that is not quite square to the street would else leave a
    wedge of another yard along it."""
    is_small = shapely.area(parts) < least_m2
    small = np.flatnonzero(is_small)
    large = np.flatnonzero(~is_small)
    i, j = plane.near(parts[small], owner[small], parts[large], owner[large], _TOUCH_M)
    border = shapely.boundary(parts[small[i]])
    around = shapely.buffer(parts[large[j]], _TOUCH_M)
    shared = shapely.length(plane.overlaid(shapely.intersection, border, around))
    order = np.lexsort((-shared, i))
    scrap, best = np.unique(i[order], return_index=True)
    yard = yard.copy()
    parts = parts.copy()
    yard[small[scrap]] = yard[large[j[order[best]]]]
    parts[small] = plane.buffered(
        parts[small], _HAIR_M
    )  # so that it grows together with what it joins
    key = owner * 3 + yard
    rows = np.argsort(key, kind="stable")
    return plane.united(parts, key[rows], rows, 3 * size)


def _band(toward: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Boxes that reach from depth ``low`` to ``high`` and far to both sides."""
    across = np.column_stack([-toward[:, 1], toward[:, 0]]) * _FAR_M
    a = toward * low[:, None]
    b = toward * high[:, None]
    corners = np.stack([a - across, b - across, b + across, a + across], axis=1)
    return np.asarray(shapely.polygons(corners))
