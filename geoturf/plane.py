"""Plane geometry that several rooms need, on whole columns of shapely geometries in metres."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

import numpy as np
import pandas as pd
import shapely

from geoturf.threads import by_rows

LEAST_WIDTH_M = 1e-3  # narrower parts and holes are residue of overlays, and cannot be turf
_GRID_M = 1e-5
_SPECK_M2 = 1e-3
# What is laid has its vertices on whole multiples of this: far below what a survey knows, far above
# the last digit of a sine, which processors differ in: it would else choose between layouts that
# cost the same. A power of two: differences are exact.
_FINEST_M = 2.0**-20
_AT_ONCE = 256  # corners set against all others
_MANY = 5_000  # corners: an outline of more is made plainer to set them against each other
_PLAINER = 12  # times, at most
_APART_M = 1.0e6  # frames are laid this far apart in `near`; wider than any frame


def area_sigma_m2(
    geometries: np.ndarray, sigma_m: np.ndarray, correlation_m: np.ndarray | float = 0.0
) -> np.ndarray:
    """One sigma of each polygon's area for errors of its corners, ``sigma_m`` in x and in y.

    The shoelace area is A = 1/2 sum x_i (y_{i+1} - y_{i-1}), so dA/dx_i = (y_{i+1} - y_{i-1}) / 2
    and, likewise, dA/dy_i = -(x_{i+1} - x_{i-1}) / 2. By the law of propagation of variances, with
    g_i that gradient, sigma_A^2 = sigma^2 sum_i sum_j rho_ij g_i . g_j, over all rings, holes
    included; where errors are independent sigma_A = sigma/2 * sqrt(sum |p_{i+1} - p_{i-1}|^2). The
    formula is that of Chrisman and Yandell, "Effects of point error on area calculations",
    Surveying and Mapping 48 (1988) (citation from memory).

    A vertex within one sigma of the line between its neighbours is no corner of its own: a straight
    border is as well known with a vertex a metre as with none, where vertices that err by
    themselves would make it the better known the more there are. Errors of near corners go together
    where ``correlation_m`` is not 0: rho falls by the spherical variogram, 1 - 1.5 d/L + 0.5
    (d/L)^3, to 0 at that distance L (a usual model of geostatistics, from memory).
    """
    geometries = np.asarray(geometries, dtype=object)
    sigma_m = np.asarray(sigma_m, dtype=float)
    reach = np.broadcast_to(np.asarray(correlation_m, dtype=float), sigma_m.shape)
    out = np.zeros(len(geometries))
    rows = np.flatnonzero(sigma_m > 0)
    if not len(rows):
        return out
    plain = shapely.simplify(geometries[rows], sigma_m[rows])  # no part or hole vanishes
    _, gradient, owner = _corners(plain)
    square = np.bincount(owner, (gradient**2).sum(axis=1), minlength=len(rows))
    for k in np.flatnonzero(reach[rows] > 0):
        row = rows[k]
        square[k] = _correlated(plain[k], float(sigma_m[row]), float(reach[row]))
    out[rows] = sigma_m[rows] * np.sqrt(square)
    return out


def _corners(geometries: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Every vertex of the rings, once; by how much the area grows as it moves (a quarter turn on,
    the same for all); and the geometry it is of."""
    parts, whole = shapely.get_parts(shapely.orient_polygons(geometries), return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)  # a multipolygon itself has none
    points, ring = shapely.get_coordinates(rings, return_index=True)
    size = np.bincount(ring, minlength=len(rings))  # closing vertex included
    start = np.cumsum(size) - size
    before = np.arange(len(points)) - 1
    before[start] = start + size - 2
    after = np.minimum(np.arange(len(points)) + 1, len(points) - 1)
    once = np.ones(len(points), bool)
    once[start + size - 1] = False  # the closing vertex is the first one again
    gradient = (points[after] - points[before]) / 2
    return points[once], gradient[once], whole[part[ring]][once]


def _correlated(geometry: shapely.Geometry, sigma_m: float, reach_m: float) -> float:
    """sum_i sum_j rho_ij g_i . g_j, some corners at a time; of an outline with thousands of
    corners, of one that is plainer."""
    for _ in range(_PLAINER):
        if shapely.get_num_coordinates(geometry) <= _MANY:
            break
        sigma_m *= 2
        geometry = shapely.simplify(geometry, sigma_m)
    corners, gradient, _ = _corners(np.array([geometry]))
    total = 0.0
    for k in range(0, len(corners), _AT_ONCE):
        part = slice(k, k + _AT_ONCE)
        apart = corners[part, None] - corners[None]
        near = np.minimum(np.hypot(*apart.transpose(2, 0, 1)) / reach_m, 1.0)
        rho = 1 - 1.5 * near + 0.5 * near**3
        total += float((rho * (gradient[part] @ gradient.T)).sum())
    return max(total, 0.0)


def laid(areas: pd.DataFrame) -> np.ndarray:
    """The areas in their laying planes, by columns ``geometry``, ``laid_stretch`` and
    ``laid_fall_deg``: drawn out along the fall line from the centroid, every vertex to a
    micrometre."""
    stretch = areas["laid_stretch"].to_numpy()
    out = _stretched(areas, np.arange(len(areas)), areas["geometry"].to_numpy(), stretch)
    return shapely.transform(out, lambda points: np.rint(points / _FINEST_M) * _FINEST_M)


def from_laid(areas: pd.DataFrame, area_index: np.ndarray, geometries: np.ndarray) -> np.ndarray:
    """Geometries in the laying planes of the areas ``area_index``, back in their ground frames
    (undoes `laid`)."""
    back = 1 / areas["laid_stretch"].to_numpy()
    return _stretched(areas, np.asarray(area_index), geometries, back)


def onto_laid(areas: pd.DataFrame, area_index: np.ndarray, geometries: np.ndarray) -> np.ndarray:
    """Geometries in the ground frames of the areas ``area_index``, in their laying planes (undoes
    `from_laid`)."""
    drawn_out = areas["laid_stretch"].to_numpy()
    return _stretched(areas, np.asarray(area_index), geometries, drawn_out)


def slope_lengths(
    areas: pd.DataFrame, area_index: np.ndarray, geometries: np.ndarray
) -> np.ndarray:
    """Lengths along the slope over lengths on the map, of geometries in the ground frames of the
    areas ``area_index``: as long as in the laying plane, as seams are; exactly 1 where that is not
    drawn out."""
    out = np.ones(len(geometries))
    drawn_out = areas["laid_stretch"].to_numpy()
    area_index = np.asarray(area_index)
    flat = shapely.length(geometries)
    rows = np.flatnonzero((drawn_out[area_index] != 1) & (flat > 0))
    sloping = onto_laid(areas, area_index[rows], geometries[rows])
    out[rows] = shapely.length(sloping) / flat[rows]
    return out


def _stretched(
    areas: pd.DataFrame, area_index: np.ndarray, geometries: np.ndarray, factor: np.ndarray
) -> np.ndarray:
    """Geometries drawn out by the ``factor`` of their area along its fall line, from its
    centroid."""
    out = np.array(geometries, dtype=object)
    sloping = np.flatnonzero(factor != 1)
    rows = np.flatnonzero(np.isin(area_index, sloping))
    if not len(rows):
        return out
    middle = shapely.get_coordinates(shapely.centroid(areas["geometry"].to_numpy()[sloping]))
    fall = np.radians(areas["laid_fall_deg"].to_numpy()[sloping])
    down = np.column_stack([np.sin(fall), np.cos(fall)])
    counts = shapely.get_num_coordinates(out[rows])
    at = np.repeat(np.searchsorted(sloping, area_index[rows]), counts)
    points = shapely.get_coordinates(out[rows])
    from_middle = ((points - middle[at]) * down[at]).sum(axis=1)
    along = from_middle * (factor[sloping][at] - 1)
    moved = points + along[:, None] * down[at]
    out[rows] = shapely.set_coordinates(out[rows], moved)
    return out


def long_side_deg(geometries: np.ndarray) -> np.ndarray:
    """Compass bearing (0 .. 180) of the long side of each geometry's smallest rectangle."""
    if not len(geometries):
        return np.zeros(0)
    box = shapely.oriented_envelope(geometries)
    corners = shapely.get_coordinates(box).reshape(len(geometries), 5, 2)
    one = corners[:, 1] - corners[:, 0]
    other = corners[:, 2] - corners[:, 1]
    longer = (one**2).sum(axis=1) >= (other**2).sum(axis=1)
    x, y = np.where(longer[:, None], one, other).T
    return np.asarray(np.degrees(np.arctan2(x, y)) % 180)


@contextmanager
def prepared(geometries: np.ndarray) -> Iterator[None]:
    """Geometries made ready for many questions, while these are asked. What GEOS builds for it is
    several times as large as a lot, and would stay as long as the lot does."""
    shapely.prepare(geometries)
    try:
        yield
    finally:
        shapely.destroy_prepared(geometries)


def near(
    geometries: np.ndarray,
    frame: np.ndarray,
    others: np.ndarray,
    other_frame: np.ndarray,
    within_m: float = 0.0,
) -> tuple[np.ndarray, np.ndarray]:
    """Rows (i, j) whose boxes come within ``within_m`` of each other *in the same frame*, sorted.

    One tree serves all frames: their boxes are moved side by side, since coordinates of two frames
    say nothing to each other.
    """
    tree = shapely.STRtree(_frames_side_by_side(others, other_frame, 0.0))
    i, j = tree.query(_frames_side_by_side(geometries, frame, within_m))
    order = np.lexsort((j, i))
    return i[order], j[order]


def _frames_side_by_side(geometries: np.ndarray, frame: np.ndarray, grow: float) -> np.ndarray:
    box = shapely.bounds(np.asarray(geometries, dtype=object)).reshape(-1, 4)
    west, south, east, north = box.T
    shift = np.asarray(frame) * _APART_M
    return shapely.box(west + shift - grow, south - grow, east + shift + grow, north + grow)


def united(parts: np.ndarray, owner: np.ndarray, row: np.ndarray, size: int) -> np.ndarray:
    """For each owner 0 .. ``size`` - 1 the union of ``parts[row]`` where ``owner`` names it; empty
    where it has none. ``owner`` is sorted, as `near` gives it."""
    out = np.full(size, shapely.Polygon(), dtype=object)
    mine = np.unique(owner)
    together = gathered(parts, owner, row, size)[mine]
    out[mine] = by_rows(_union_of_each, together)
    return out


def _union_of_each(together: np.ndarray) -> np.ndarray:
    """The union of what each collection holds."""
    return np.asarray(shapely.union_all(together[:, None], axis=1))


def polygonal(geometries: np.ndarray) -> np.ndarray:
    """The polygons of a column whose overlays may also have left lines and points; oriented, shells
    counter-clockwise."""
    if np.isin(shapely.get_type_id(geometries), (3, 6)).all():
        return shapely.orient_polygons(geometries)
    parts, owner = shapely.get_parts(geometries, return_index=True)
    area = (shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)
    return shapely.orient_polygons(regrouped(parts[area], owner[area], len(geometries)))


def mean_width_m(geometries: np.ndarray) -> np.ndarray:
    """Twice the area over the outline: the width of a long strip, half the side of a square; 0 of
    what is nothing."""
    with np.errstate(invalid="ignore"):
        width = 2 * shapely.area(geometries) / shapely.length(geometries)
    return np.nan_to_num(width)


def tidy(geometries: np.ndarray) -> np.ndarray:
    """Polygons as a hand would have drawn them: on a grid of 0.01 mm, less vertices within 0.05 mm
    of a straight line, less parts under ten square centimetres or thinner than a millimetre.
    Borders that two files share are apart by their rounding once projected, and must not leave a
    seam of lawn, a hole for a notch or a corner in a straight line."""
    plain = by_rows(_plain, polygonal(geometries))
    parts, owner = shapely.get_parts(polygonal(plain), return_index=True)
    large = (shapely.area(parts) > _SPECK_M2) & (mean_width_m(parts) > LEAST_WIDTH_M)
    return regrouped(parts[large], owner[large], len(geometries))


def _plain(geometries: np.ndarray) -> np.ndarray:
    """On the grid, less what is straight on it."""
    on_grid = shapely.set_precision(geometries, _GRID_M)
    plain: np.ndarray = shapely.simplify(on_grid, 5 * _GRID_M)
    return plain


def regrouped(parts: np.ndarray, owner: np.ndarray, size: int) -> np.ndarray:
    """Polygons gathered by owner (sorted): a Polygon where it has one, a MultiPolygon where more,
    empty where none."""
    out = np.full(size, shapely.Polygon(), dtype=object)
    owners, first, count = np.unique(owner, return_index=True, return_counts=True)
    out[owners[count == 1]] = parts[first[count == 1]]
    many = np.isin(owner, owners[count > 1])
    if many.any():
        who, row = np.unique(owner[many], return_inverse=True)
        out[who] = shapely.multipolygons(parts[many], indices=row)
    return out


def sound(geometries: np.ndarray) -> np.ndarray:
    """The same geometries, valid again where moving them by a rounding error has broken a ring that
    touched another. Only polygons with holes or several parts can break so. What a repair cuts off
    that is no wider than a hair is no part."""
    many_parts = shapely.get_type_id(geometries) == 6
    holed = shapely.get_num_interior_rings(geometries) > 0
    risky = np.flatnonzero(many_parts | holed)
    broken = risky[~shapely.is_valid(geometries[risky])]
    if not len(broken):
        return geometries
    out = geometries.copy()
    out[broken] = _without_specks(valid(geometries[broken]))
    return out


def _without_specks(geometries: np.ndarray) -> np.ndarray:
    """Less parts thinner than `LEAST_WIDTH_M`, but for the largest part of each."""
    parts, owner = shapely.get_parts(geometries, return_index=True)
    area = shapely.area(parts)
    largest = np.zeros(len(geometries))
    np.maximum.at(largest, owner, area)
    keep = (mean_width_m(parts) >= LEAST_WIDTH_M) | (area == largest[owner])
    if keep.all():
        return geometries
    return regrouped(parts[keep], owner[keep], len(geometries))


def valid(geometries: np.ndarray) -> np.ndarray:
    """Valid polygons, mended where they are not."""
    broken = np.flatnonzero(~by_rows(shapely.is_valid, geometries))
    if not len(broken):
        return geometries
    out = geometries.copy()
    mended = shapely.make_valid(geometries[broken], method="structure", keep_collapsed=False)
    out[broken] = polygonal(mended)
    return out


def overlaid(
    operation: Callable[..., np.ndarray], these: np.ndarray, those: np.ndarray
) -> np.ndarray:
    """`shapely.intersection` or `shapely.difference` of two columns of polygons, which cannot fail:
    where borders cross so nearly that GEOS finds no consistent answer, all vertices are rounded to
    a micrometre and mended first (slower)."""
    try:
        return by_rows(operation, these, those)
    except shapely.errors.GEOSException:
        return operation(valid(these), valid(those), grid_size=1e-6)


def in_box(geometry: shapely.Geometry, box: Sequence[float]) -> shapely.Geometry:
    """What of a geometry lies in a ``box``, m: left, bottom, right, top. GEOS's own way is several
    times as quick as an overlay, but gives up at a sliver of which it keeps less than a ring."""
    try:
        return shapely.clip_by_rect(geometry, *box)
    except shapely.errors.GEOSException:
        left, bottom, right, top = box
        here = np.full(1, geometry, object)
        there = np.full(1, shapely.box(left, bottom, right, top), object)
        kept: shapely.Geometry = overlaid(shapely.intersection, here, there)[0]
        return kept


def in_band(geometries: np.ndarray, low_m: float, high_m: float) -> np.ndarray:
    """What of each geometry lies between y = ``low_m`` and y = ``high_m``: as `in_box`, all in one
    call."""
    west, _, east, _ = shapely.total_bounds(geometries)
    box = (west - 1, low_m, east + 1, high_m)
    try:
        kept: np.ndarray = shapely.clip_by_rect(geometries, *box)
    except shapely.errors.GEOSException:
        kept = np.array([in_box(one, box) for one in geometries], object)
    return kept


def buffered(geometries: np.ndarray, distance_m: float) -> np.ndarray:
    """Grown, or shrunk, with mitred corners: straight borders and square corners stay what they
    are."""

    def grown(some: np.ndarray) -> np.ndarray:
        return np.asarray(shapely.buffer(some, distance_m, join_style="mitre", mitre_limit=5.0))

    return valid(by_rows(grown, geometries))


def gathered(parts: np.ndarray, owner: np.ndarray, row: np.ndarray, size: int) -> np.ndarray:
    """As `united`, but only gathered into a collection: enough to measure distances to."""
    out = np.full(size, shapely.GeometryCollection(), dtype=object)
    if len(owner):
        mine, place = np.unique(owner, return_inverse=True)
        out[mine] = shapely.geometrycollections(parts[row], indices=place)
    return out
