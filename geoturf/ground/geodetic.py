"""From any CRS to longitude and latitude and back: the only calls to PROJ.

A CRS is taken back to its *own* geographic CRS, which is a conversion without a change of datum: whatever its plane does to areas
(State Plane, Albers, Web Mercator with its spherical formulas), the degrees are right, and lengths are then taken on its own
ellipsoid. PROJ's scale factors are not used: for Web Mercator they are those of the sphere, 0.4 % off in area.
A CRS on a *sphere* (EPSG:2163 and the like) has no ground of its own: its degrees are those of WGS 84, which is also how
PROJ converts them, so it is measured on WGS 84.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from pyproj import CRS, Transformer
from pyproj.exceptions import ProjError

from geoturf.ground.mercator import Ellipsoid

WGS84 = "EPSG:4326"


@lru_cache(maxsize=256)
def geographic_of(crs_wkt: str) -> str:
    """WKT of the two-dimensional geographic CRS that ``crs_wkt`` is built on; of WGS 84 where that is on a sphere."""
    geographic = CRS.from_user_input(crs_wkt).geodetic_crs
    if geographic is None or geographic.is_geocentric or geographic.ellipsoid.inverse_flattening == 0:
        return CRS.from_user_input(WGS84).to_wkt()
    return geographic.to_2d().to_wkt()


@lru_cache(maxsize=256)
def usable(crs_wkt: str) -> bool:
    """Whether PROJ can take coordinates in this CRS to longitude and latitude: not a site's own grid, the moon's, or one by a
    method that PROJ does not have."""
    try:
        crs = CRS.from_user_input(crs_wkt)
        return not crs.is_geocentric and _transformer(crs_wkt, geographic_of(crs_wkt)) is not None
    except ProjError:
        return False


@lru_cache(maxsize=256)
def ellipsoid_of(geographic: str) -> Ellipsoid:
    found = CRS.from_user_input(geographic).ellipsoid
    return Ellipsoid(found.semi_major_metre, 1 / found.inverse_flattening)


def name_of(crs_wkt: str) -> str:
    return CRS.from_user_input(crs_wkt).name


@lru_cache(maxsize=256)
def unit_m(crs_wkt: str) -> float:
    """Metres to a unit of a projected CRS; NaN where its unit is an angle."""
    crs = CRS.from_user_input(crs_wkt).to_2d()
    return float(crs.axis_info[0].unit_conversion_factor) if crs.is_projected else float("nan")


def to_degrees(xy: np.ndarray, crs_wkt: str) -> np.ndarray:
    """Longitude and latitude in degrees, shape (n, 2), in ``geographic_of(crs_wkt)``, of coordinates in a file's own units, x
    first. What PROJ cannot transform comes as infinity."""
    geographic = geographic_of(crs_wkt)
    return _transform(xy, crs_wkt, geographic) * _degrees_per_unit(geographic)


def from_degrees(lonlat: np.ndarray, geographic: str, crs_wkt: str) -> np.ndarray:
    """Undoes `to_degrees`, and changes the datum where ``crs_wkt`` is built on another than ``geographic``."""
    return _transform(lonlat / _degrees_per_unit(geographic), geographic, crs_wkt)


def change_datum(lonlat: np.ndarray, geographic: str, other: str) -> np.ndarray:
    """Degrees in one geographic CRS to degrees in another."""
    if geographic == other:
        return lonlat
    return from_degrees(lonlat, geographic, other) * _degrees_per_unit(other)


def _transform(xy: np.ndarray, source: str, target: str) -> np.ndarray:
    if source == target or not len(xy):
        return xy
    return np.column_stack(_transformer(source, target).transform(xy[:, 0], xy[:, 1]))


@lru_cache(maxsize=256)
def _transformer(source: str, target: str) -> Transformer:
    source_crs, target_crs = (CRS.from_user_input(text).to_2d() for text in (source, target))
    return Transformer.from_crs(source_crs, target_crs, always_xy=True)


@lru_cache(maxsize=256)
def _degrees_per_unit(geographic: str) -> float:
    """1, but for a geographic CRS in grads."""
    unit = CRS.from_user_input(geographic).axis_info[0].unit_conversion_factor
    return 1.0 if np.isclose(unit, np.pi / 180, rtol=1e-12) else float(np.degrees(unit))


@lru_cache(maxsize=256)
def wkt(crs: str) -> str:
    """One spelling of a CRS, whatever it was given as."""
    return CRS.from_user_input(crs).to_wkt()
