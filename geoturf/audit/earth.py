"""The earth, by other formulas than the run's: geodesics (GeographicLib's, as PROJ carries them)
for areas and lengths, and a topocentric plane through earth-centred coordinates (EPSG method 9837)
where shapes are laid upon each other.

The run goes by transverse Mercator frames; none of that is used here.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from pyproj.network import set_network_enabled  # type: ignore[attr-defined]  # public, not listed

from geoturf.audit.folder import Beyond, Shapes, Unreadable
from geoturf.audit.told import Floats

#: half axes of the ellipsoids of satellites differ by less
_NEW_M = 2.0
_WGS84_M = 6_378_137.0
_POLAR_DEG = 89.0
_SOME = 20_000


def crs_of(text: str) -> pyproj.CRS:
    try:
        return pyproj.CRS.from_user_input(text)
    except pyproj.exceptions.CRSError:
        raise Unreadable("a CRS that cannot be read") from None


def is_old(crs: pyproj.CRS) -> bool:
    """Whether on an ellipsoid of the time before satellites."""
    half_axis = crs.ellipsoid.semi_major_metre if crs.ellipsoid else _WGS84_M
    return abs(half_axis - _WGS84_M) > _NEW_M


def geographic(crs: pyproj.CRS, ellipsoid: str) -> pyproj.CRS:
    """Where a CRS is measured: its own longitudes and latitudes, those of WGS 84 from old
    datums."""
    own = crs.geodetic_crs
    if is_old(crs) and ellipsoid != "own":
        own = None
    if own is None or own.axis_info[0].unit_name != "degree":
        return pyproj.CRS.from_epsg(4326)
    return own.to_2d()


def degrees(shapes: Shapes, crs: pyproj.CRS, ellipsoid: str) -> Shapes:
    """Shapes as longitudes and latitudes."""
    turned: Shapes = shapes.copy()
    turn(turned, crs, ellipsoid)
    return turned


def turn(shapes: Shapes, crs: pyproj.CRS, ellipsoid: str) -> None:
    """The same in place, some at a time, so that no more than these are there twice."""
    set_network_enabled(False)
    to = pyproj.Transformer.from_crs(crs.to_2d(), geographic(crs, ellipsoid), always_xy=True)
    for at in range(0, len(shapes), _SOME):
        some = shapes[at : at + _SOME]
        xy = shapely.get_coordinates(some)
        lon, lat = to.transform(xy[:, 0], xy[:, 1])
        turned = shapely.set_coordinates(some.copy(), np.column_stack([lon, lat]))
        shapes[at : at + _SOME] = unwrapped(turned)


def unwrapped(lonlat: Shapes) -> Shapes:
    """Shapes over the 180th meridian in one piece, east of it."""
    west, _, east, _ = shapely.bounds(lonlat).reshape(-1, 4).T
    over = east - west > 180
    if not over.any():
        return lonlat
    points, owner = shapely.get_coordinates(lonlat, return_index=True)
    points[over[owner] & (points[:, 0] < 0), 0] += 360
    turned: Shapes = shapely.set_coordinates(lonlat.copy(), points)
    return turned


def geod_of(crs: pyproj.CRS, ellipsoid: str) -> pyproj.Geod:
    found = geographic(crs, ellipsoid).get_geod()
    if found is not None:
        return found
    return pyproj.Geod(ellps="WGS84")


@dataclass(frozen=True)
class Measured:
    """At the ellipsoid, (n,) each."""

    area_m2: Floats
    perimeter_m: Floats


def measured(lonlat: Shapes, geod: pyproj.Geod) -> Measured:
    """Geodesic area and perimeter of polygons, holes taken out."""
    parts, owner = shapely.get_parts(lonlat, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    first = np.diff(part, prepend=-1) != 0  # the shell
    points = shapely.get_coordinates(rings)
    lon, lat = np.ascontiguousarray(points.T)
    ends = [0, *np.cumsum(shapely.get_num_coordinates(rings)).tolist()]
    found = [geod.polygon_area_perimeter(lon[a:b], lat[a:b]) for a, b in pairwise(ends)]
    area, length = np.array(found, float).reshape(-1, 2).T
    area = np.abs(area)
    signed: Floats = np.where(first, area, -area)
    n = len(lonlat)
    of = owner[part]
    return Measured(summed(of, signed, n), summed(of, length, n))


def summed(of: NDArray[np.intp], values: Floats, n: int) -> Floats:
    """Sums of ``values`` of each of ``n`` things."""
    return np.asarray(np.bincount(of, values, n), float)


def raised(lonlat: Shapes, height_m: Floats, geod: pyproj.Geod) -> Floats:
    """A length at a height over one on the ellipsoid: 1 + h / R, R the mean radius of curvature."""
    south, north = shapely.bounds(lonlat).reshape(-1, 4)[:, [1, 3]].T
    sine = np.sin(np.radians((south + north) / 2))
    bent = 1 - geod.es * sine**2
    radius = geod.a * np.sqrt(1 - geod.es) / bent
    return np.asarray(1 + height_m / radius)


@dataclass(frozen=True)
class Planes:
    """Planes that touch the earth, one each, (k,): metres east and north of a place at its
    height."""

    lon: Floats
    lat: Floats
    height_m: Floats
    geod: pyproj.Geod

    def only(self, rows: slice) -> Planes:
        return Planes(self.lon[rows], self.lat[rows], self.height_m[rows], self.geod)

    def laid(self, lonlat: Shapes, plane: NDArray[np.intp]) -> Shapes:
        """Shapes, each in the plane that is named for it."""
        points, owner = shapely.get_coordinates(lonlat, return_index=True)
        k = plane[owner]
        there = self._centred(points[:, 0], points[:, 1], self.height_m[k])
        here = self._centred(self.lon, self.lat, self.height_m)[k]
        lon = np.radians(self.lon[k])
        lat = np.radians(self.lat[k])
        dx, dy, dz = (there - here).T
        east = -np.sin(lon) * dx + np.cos(lon) * dy
        outward = np.cos(lon) * dx + np.sin(lon) * dy
        north = -np.sin(lat) * outward + np.cos(lat) * dz
        placed: Shapes = shapely.set_coordinates(lonlat.copy(), np.column_stack([east, north]))
        return placed

    def _centred(self, lon: Floats, lat: Floats, height_m: Floats) -> Floats:
        """Earth-centred coordinates."""
        lam = np.radians(lon)
        phi = np.radians(lat)
        across = self.geod.a / np.sqrt(1 - self.geod.es * np.sin(phi) ** 2)
        flat = (across + height_m) * np.cos(phi)
        up = (across * (1 - self.geod.es) + height_m) * np.sin(phi)
        return np.column_stack([flat * np.cos(lam), flat * np.sin(lam), up])


def planes(lonlat: Shapes, height_m: Floats, geod: pyproj.Geod) -> Planes:
    """One in the middle of each shape."""
    if len(lonlat) and np.nanmax(np.abs(shapely.bounds(lonlat)[:, [1, 3]])) > _POLAR_DEG:
        raise Beyond("areas about a pole are not reckoned again")
    west, south, east, north = shapely.bounds(lonlat).reshape(-1, 4).T
    return Planes((west + east) / 2, (south + north) / 2, height_m, geod)
