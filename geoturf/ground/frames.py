"""Ground frames: a plane of true scale for each site, and the way into it and out of it.

A frame is a transverse Mercator plane about the site's middle, with k = 1 on its meridian, times
(1 + h/R): lengths at the site's elevation h, R = sqrt(M N). It is conformal, so a rectangle laid in
it is a rectangle on the ground, and a border between two areas of a site stays one line. Away from
the meridian lengths are too long by x^2 / 2R^2, 0.3 ppm at the side of a site 10 km wide. A site
wider than that (`WIDEST_M`) is no lot and keeps no single frame: it is ruled in squares of half
that side, and the areas with their middles in one square share a frame.

An edge is straight in the frame, which is the geodesic between its vertices to 0.02 mm over 1 km.
So no edge is densified: a line that is straight in the *file's* plane may bow from the geodesic, by
2 cm over 1 km along a parallel at 45 degrees (some ppm of area), but which of the two was meant a
file cannot say, and the geodesic is what every CRS agrees on.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from geoturf import plane
from geoturf.errors import PromiseError
from geoturf.ground import geodetic, mercator
from geoturf.ground.mercator import Ellipsoid, Floats, Origins
from geoturf.model import Finding, Frames

WIDEST_M = 10_000.0
_METRES_PER_DEGREE = 111_320.0
_AT_ONCE = 1 << 15  # vertices

_EARTH_M = 6_371_000.0  # mean radius, from memory
_APART_M = 1e8  # between grounds on different datums


@dataclass(frozen=True)
class Outline:
    """The vertices of a column of geometries in degrees. ``lonlat`` (n, 2); ``counts`` (k,):
    vertices of each geometry; ``geographic`` (k,): row of the geographic CRS each is in."""

    geometries: np.ndarray
    lonlat: np.ndarray
    counts: np.ndarray
    geographic: np.ndarray

    def of_vertices(self, values: np.ndarray) -> np.ndarray:
        """A value for each geometry, repeated for its vertices."""
        return np.repeat(values, self.counts)

    def only(self, keep: np.ndarray) -> Outline:
        """The geometries of a mask."""
        lonlat = self.lonlat[self.of_vertices(keep)]
        return Outline(self.geometries[keep], lonlat, self.counts[keep], self.geographic[keep])


def outline(
    geometries: np.ndarray,
    crs_wkt: str,
    geographics: tuple[str, ...],
    shifts: dict[str, geodetic.Shift],
) -> Outline:
    """A layer's column in degrees: one call of PROJ, or two from an old datum."""
    counts = shapely.get_num_coordinates(geometries)
    goes_to = geodetic.measured_in(crs_wkt, shifts)
    lonlat = geodetic.degrees_in(shapely.get_coordinates(geometries), crs_wkt, goes_to, shifts)
    return Outline(geometries, lonlat, counts, np.full(len(geometries), geographics.index(goes_to)))


def joined(outlines: list[Outline]) -> Outline:
    """The geometries of all, one after the other."""
    nothing = Outline(np.zeros(0, object), np.zeros((0, 2)), np.zeros(0, int), np.zeros(0, int))
    parts = [nothing, *outlines]
    return Outline(
        np.concatenate([part.geometries for part in parts]),
        np.concatenate([part.lonlat for part in parts]),
        np.concatenate([part.counts for part in parts]),
        np.concatenate([part.geographic for part in parts]),
    )


def bounds_deg(shape: Outline) -> np.ndarray:
    """West, south, east, north of each geometry, shape (k, 4). East passes 180 where a geometry
    crosses the antimeridian."""
    starts = np.concatenate([[0], np.cumsum(shape.counts)[:-1]])
    lon, lat = shape.lonlat.T
    first = shape.of_vertices(lon[starts])
    lon = first + _wrapped(lon - first)
    west = np.minimum.reduceat(lon, starts)
    south = np.minimum.reduceat(lat, starts)
    east = np.maximum.reduceat(lon, starts)
    north = np.maximum.reduceat(lat, starts)
    return np.column_stack([west, south, east, north])


def frames_for(
    site: np.ndarray,
    bounds: np.ndarray,
    geographic: np.ndarray,
    geographics: tuple[str, ...],
    height_m: np.ndarray,
    shifts: dict[str, geodetic.Shift] | None = None,
) -> tuple[Frames, np.ndarray]:
    """The frames of a bid and the frame of each area: (`Frames`, int array). ``site``: a code from
    0 on for each area, ``bounds`` as of `bounds_deg`, ``height_m`` NaN where unknown."""
    box = _on_one_side(bounds, bounds[_first_of(site)[site], 0])
    squares = _squares(site, box)
    frame = site
    if squares.any():
        frame = _codes(np.column_stack([site, squares]))
    whole = boxes(frame, box)
    lat0 = (whole[:, 1] + whole[:, 3]) / 2
    frames = Frames(
        lon0_deg=_wrapped((whole[:, 0] + whole[:, 2]) / 2),
        lat0_deg=lat0,
        height_m=_means(frame, height_m),
        geographic_id=geographic[_first_of(frame)],
        geographics=geographics,
        shifts=shifts or {},
    )
    return frames, frame


def origins_m(frames: Frames) -> Floats:
    """Where the frames' origins lie in one plane (n, 2), x east and y north in metres on a sphere,
    near enough to tell neighbours by (a metre in some hundred); those on different datums are far
    apart."""
    lon = _wrapped(frames.lon0_deg - frames.lon0_deg[0])
    x = np.radians(lon) * np.cos(np.radians(frames.lat0_deg[0])) * _EARTH_M
    y = np.radians(frames.lat0_deg) * _EARTH_M
    return np.column_stack([x + _APART_M * frames.geographic_id, y])


def _on_one_side(bounds: Floats, near_deg: Floats) -> Floats:
    """Boxes (k, 4) whose middles lie within half a turn of the longitudes ``near_deg`` (k,): areas
    of a site may lie on either side of the antimeridian."""
    west = bounds[:, 0] - near_deg
    east = bounds[:, 2] - near_deg
    turn = np.round((west + east) / 720) * 360
    level = np.zeros_like(turn)
    return bounds - np.column_stack([turn, level, turn, level])


def project(lonlat: np.ndarray, frames: Frames, frame: np.ndarray) -> np.ndarray:
    """Degrees (n, 2) in the geographic CRS of each vertex's frame, to x, y in it. ``frame``: row in
    ``frames``, (n,)."""
    xy = np.empty_like(lonlat)
    size = scale(frames)
    ellipsoids = map(geodetic.ellipsoid_of, frames.geographics)
    origins = {one: Origins.at(one, frames.lat0_deg) for one in ellipsoids}
    for ellipsoid, rows, of in _batches(frames, frame):
        dlon = _wrapped(lonlat[rows, 0] - frames.lon0_deg[of])
        east, north = mercator.forward(origins[ellipsoid], of, dlon, lonlat[rows, 1])
        xy[rows, 0] = east * size[of]
        xy[rows, 1] = north * size[of]
    return xy


def unproject(xy: np.ndarray, frames: Frames, frame: np.ndarray) -> np.ndarray:
    """Undoes `project`."""
    lonlat = np.empty_like(xy)
    rise = _origin_y(frames)
    size = scale(frames)
    for ellipsoid, rows, of in _batches(frames, frame):
        east = xy[rows, 0] / size[of]
        north = xy[rows, 1] / size[of] + rise[of]
        dlon, lonlat[rows, 1] = mercator.inverse(ellipsoid, east, north)
        lonlat[rows, 0] = _wrapped(dlon + frames.lon0_deg[of])
    return lonlat


def scale(frames: Frames) -> np.ndarray:
    """1 + h/R of each frame."""
    rise: Floats = frames.height_m / radius_m(frames)
    return 1 + rise


def radius_m(frames: Frames) -> np.ndarray:
    """R = sqrt(M N) at each frame's origin."""
    radius = np.empty(len(frames.lat0_deg))
    for ellipsoid, rows, _ in _batches(frames, np.arange(len(radius))):
        radius[rows] = ellipsoid.mean_radius_m(frames.lat0_deg[rows])
    return radius


def to_crs(frames: Frames, frame: np.ndarray, geometries: np.ndarray, crs: str) -> np.ndarray:
    """Geometries in ground frames, back in any CRS. ``frame``: row in ``frames`` of each geometry.
    Raises `PromiseError` where the CRS has no place for one: what is no number must not be
    written."""
    geometries = np.array(geometries, dtype=object)
    frame = np.asarray(frame)
    vertex = np.repeat(frame, shapely.get_num_coordinates(geometries))
    lonlat = unproject(shapely.get_coordinates(geometries), frames, vertex)
    xy = _in_crs(lonlat, frames, vertex, geodetic.wkt(crs))
    if not np.isfinite(xy).all():
        name = geodetic.name_of(crs)
        told = f"coordinates cannot be written in {name}: PROJ has no place there for some of them"
        raise PromiseError(Finding("error", "not-finite", told))
    return shapely.set_coordinates(geometries, xy)


def hold(frames: Frames, crs: str) -> bool:
    """Whether a CRS has a place for the origin of every frame."""
    lonlat = np.column_stack([frames.lon0_deg, frames.lat0_deg])
    xy = _in_crs(lonlat, frames, np.arange(len(lonlat)), geodetic.wkt(crs))
    return bool(np.isfinite(xy).all())


def _in_crs(lonlat: np.ndarray, frames: Frames, frame: np.ndarray, crs_wkt: str) -> np.ndarray:
    """Degrees (n, 2), each in the geographic CRS of its frame, as x and y in a CRS."""
    xy = np.empty_like(lonlat)
    for row, geographic in enumerate(frames.geographics):
        rows = frames.geographic_id[frame] == row
        xy[rows] = geodetic.degrees_out(lonlat[rows], geographic, crs_wkt, frames.shifts)
    return xy


def to_common_degrees(frames: Frames, frame: np.ndarray, geometries: np.ndarray) -> np.ndarray:
    """Geometries in ground frames as degrees in the first geographic CRS of the frames; no call of
    PROJ where there is one."""
    geometries = np.array(geometries, dtype=object)
    vertex = np.repeat(frame, shapely.get_num_coordinates(geometries))
    lonlat = unproject(shapely.get_coordinates(geometries), frames, vertex)
    own = frames.geographic_id[vertex]
    first = np.zeros_like(own)
    return shapely.set_coordinates(geometries, in_datum(lonlat, own, first, frames.geographics))


def moved(
    frames: Frames, frame: np.ndarray, other: np.ndarray, geometries: np.ndarray
) -> np.ndarray:
    """Geometries in the frames ``frame``, brought into the frames ``other``."""
    geometries = np.array(geometries, dtype=object)
    counts = shapely.get_num_coordinates(geometries)
    old = np.repeat(frame, counts)
    new = np.repeat(other, counts)
    lonlat = unproject(shapely.get_coordinates(geometries), frames, old)
    here = frames.geographic_id[old]
    there = frames.geographic_id[new]
    lonlat = in_datum(lonlat, here, there, frames.geographics)
    return plane.sound(shapely.set_coordinates(geometries, project(lonlat, frames, new)))


def in_datum(
    lonlat: np.ndarray, old: np.ndarray, new: np.ndarray, geographics: tuple[str, ...]
) -> np.ndarray:
    """Degrees (n, 2) from the geographic CRS ``old`` to ``new``, rows of ``geographics``, one each
    a vertex."""
    if len(geographics) == 1 or (old == new).all():
        return lonlat
    out = lonlat.copy()
    changes = np.column_stack([old, new])[old != new]
    for first, second in np.unique(changes, axis=0).tolist():
        rows = (old == first) & (new == second)
        out[rows] = geodetic.change_datum(lonlat[rows], geographics[first], geographics[second])
    return out


def to_degrees(frames: Frames, frame: np.ndarray, geometries: np.ndarray) -> np.ndarray:
    """Geometries in ground frames as longitude and latitude of WGS 84, for a map."""
    return to_crs(frames, frame, geometries, geodetic.WGS84)


def _origin_y(frames: Frames) -> np.ndarray:
    """Distance of each frame's origin from the equator, in metres."""
    y0 = np.empty(len(frames.lat0_deg))
    for ellipsoid, rows, of in _batches(frames, np.arange(len(y0))):
        equator = Origins.at(ellipsoid, np.zeros(1))
        at = np.zeros_like(of)
        on_meridian = np.zeros(len(of))
        _, y0[rows] = mercator.forward(equator, at, on_meridian, frames.lat0_deg[rows])
    return y0


def _batches(frames: Frames, frame: np.ndarray) -> Iterator[tuple[Ellipsoid, Any, np.ndarray]]:
    """(ellipsoid, rows, frame of each row) in batches small enough for the processor's cache, each
    on one ellipsoid."""
    for start in range(0, len(frame), _AT_ONCE):
        part = slice(start, min(start + _AT_ONCE, len(frame)))
        used = frames.geographic_id[frame[part]]
        for row, geographic in enumerate(frames.geographics):
            rows = part if len(frames.geographics) == 1 else start + np.flatnonzero(used == row)
            yield geodetic.ellipsoid_of(geographic), rows, frame[rows]


def _squares(site: np.ndarray, box: np.ndarray) -> np.ndarray:
    """Column and row of the square that each area's middle lies in, shape (k, 2); 0 in a site that
    one frame bears."""
    west, south, east, north = boxes(site, box)[site].T
    narrower = np.cos(np.radians((south + north) / 2))
    metres = _METRES_PER_DEGREE * np.column_stack([narrower, np.ones(len(site))])
    middle = (box[:, :2] + box[:, 2:]) / 2 - np.column_stack([west, south])
    size = np.column_stack([east - west, north - south]) * metres
    wide = (size > WIDEST_M).any(axis=1, keepdims=True)
    square = np.floor(middle * metres / (WIDEST_M / 2))
    return np.where(wide, square, 0).astype(int)


def boxes(group: np.ndarray, box: np.ndarray) -> np.ndarray:
    """The box of all boxes of each group."""
    order = np.argsort(group, kind="stable")
    starts = np.searchsorted(group[order], np.arange(group.max(initial=-1) + 1))
    low = np.minimum.reduceat(box[order, :2], starts)
    high = np.maximum.reduceat(box[order, 2:], starts)
    return np.hstack([low, high])


def _means(group: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Mean of the known values of each group, 0 where none is known."""
    known = np.isfinite(values)
    size = group.max() + 1
    count = np.bincount(group[known], minlength=size)
    total = np.bincount(group[known], values[known], minlength=size)
    return total / np.maximum(count, 1)


def _codes(group: np.ndarray) -> np.ndarray:
    """0, 1, 2 ... for the different rows of ``group``, in order of first appearance."""
    _, first, inverse = np.unique(
        group,
        axis=0,
        return_index=True,
        return_inverse=True,
    )
    rank = np.empty(len(first), int)
    rank[np.argsort(first)] = np.arange(len(first))
    return rank[inverse]


def _first_of(group: np.ndarray) -> np.ndarray:
    return np.unique(group, return_index=True)[1]


def _wrapped(lon_deg: np.ndarray) -> np.ndarray:
    """Within -180 .. 180."""
    if np.abs(lon_deg).max(initial=0) <= 180:
        return lon_deg
    return lon_deg - 360 * np.round(lon_deg / 360)
