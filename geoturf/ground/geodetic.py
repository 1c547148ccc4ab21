"""From any CRS to longitude and latitude and back: the only calls to PROJ.

A CRS is taken back to its *own* geographic CRS, which is a conversion without a change of datum:
whatever its plane does to areas (State Plane, Albers, Web Mercator with its spherical formulas),
the degrees are right. PROJ's scale factors are not used: for Web Mercator they are those of the
sphere, 0.4 % off in area. A CRS on a *sphere* (EPSG:2163 and the like) has no ground of its own:
its degrees are those of WGS 84, which is also how PROJ converts them, so it is measured on WGS 84.
Where the ellipsoid is one of the time before satellites, degrees go on to WGS 84 by one of PROJ's
transformations (`Shift`), the same for all of a bid's layers on that datum: a choice vertex by
vertex could tear a lot apart.

PROJ's network is off: a run asks nobody, and the same files give the same figures everywhere.
"""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.exceptions import CRSError, ProjError
from pyproj.network import set_network_enabled  # type: ignore[attr-defined]  # public, not listed
from pyproj.transformer import TransformerGroup

from geoturf.ground.mercator import Ellipsoid, Floats

set_network_enabled(False)  # with PROJ_NETWORK=ON and no network, PROJ answers infinity

WGS84 = "EPSG:4326"
_ALIKE_M = 1.0  # semi-major axes this near to that of WGS 84 are of the satellites' time: 0.3 ppm
_AROUND_DEG = 0.01


@dataclass(frozen=True)
class Shift:
    """The way from an old datum to WGS 84. ``old``: WKT of its geographic CRS; ``pipeline``: PROJ's
    transformation from it, ``name`` and ``accuracy_m`` (in position; negative where PROJ tells
    none)."""

    old: str
    pipeline: str
    name: str
    accuracy_m: float

    def modern(self, lonlat: Floats) -> Floats:
        """Degrees of WGS 84, of degrees in the old datum."""
        own = lonlat / _degrees_per_unit(self.old)
        return _transformed(self._transformer, own, "FORWARD")

    def back(self, lonlat: Floats) -> Floats:
        """Undoes `modern`. PROJ's inverse alone is off by what the height between the ellipsoids
        leans, a millimetre or so: what it misses by is taken off again, which leaves some
        nanometres."""
        old = self._inverse(lonlat)
        return old + self._inverse(lonlat) - self._inverse(self.modern(old))

    def _inverse(self, lonlat: Floats) -> Floats:
        own = _transformed(self._transformer, lonlat, "INVERSE")
        return own * _degrees_per_unit(self.old)

    @cached_property
    def _transformer(self) -> Transformer:
        return Transformer.from_pipeline(self.pipeline)


def is_old(geographic: str) -> bool:
    """Whether a geographic CRS is on an ellipsoid of the time before satellites."""
    return abs(ellipsoid_of(geographic).a_m - ellipsoid_of(WGS84).a_m) > _ALIKE_M


def shift_of(geographic: str, lonlat: Floats) -> Shift | None:
    """PROJ's best transformation from an old datum to WGS 84 about a place in its degrees, (2,);
    None where PROJ has none (or none without a grid that is not installed)."""
    lon, lat = lonlat + np.array([meridian_deg(geographic), 0.0])
    around = _AROUND_DEG
    box = AreaOfInterest(lon - around, lat - around, lon + around, lat + around)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of grids that would do better
        ways = TransformerGroup(
            CRS.from_user_input(geographic),
            WGS84,
            always_xy=True,
            area_of_interest=box,  # type: ignore[arg-type]  # its stubs name a private class
            allow_ballpark=False,
        ).transformers
    if not ways:
        return None
    best = ways[0]
    steps = re.split(r" \+ ", best.description)
    name = " + ".join(step for step in steps if "axis order" not in step)
    return Shift(geographic, best.definition, name, best.accuracy)


def own_area_ppm(shift: Shift, lonlat: Floats) -> float:
    """Millionths by which a small area at a place (2,) is larger on the old datum's own ellipsoid
    than on that of WGS 84."""
    step = 1e-3  # degrees
    corners = lonlat + step * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    own = _plain_m2(corners, shift.old)
    modern = _plain_m2(shift.modern(corners), WGS84)
    return 1e6 * (own / modern - 1)


def _plain_m2(corners: Floats, geographic: str) -> float:
    """Area of a small quadrangle in degrees, by the radii of curvature at its middle."""
    ellipsoid = ellipsoid_of(geographic)
    (_, lat) = corners.mean(axis=0)
    east = ellipsoid.normal_radius_m(lat) * np.cos(np.radians(lat))
    north = ellipsoid.meridian_radius_m(lat)
    x0, y0 = np.radians(corners[2] - corners[0])
    x1, y1 = np.radians(corners[3] - corners[1])
    return float(abs(x0 * y1 - y0 * x1) / 2 * east * north)


def meridian_deg(geographic: str) -> float:
    """Where its longitudes are counted from, in degrees from Greenwich."""
    found = CRS.from_user_input(geographic).prime_meridian
    if found is None:
        return 0.0
    return float(np.degrees(found.longitude * float(found.unit_conversion_factor)))


def writable(crs_wkt: str) -> bool:
    """Whether a GeoPackage's writer can name it: by an authority's code, or in the first form of
    WKT, which some have not."""
    crs = CRS.from_user_input(crs_wkt)
    try:
        return bool(crs.to_epsg() or crs.to_wkt("WKT1_GDAL"))
    except CRSError:
        return False


@lru_cache(maxsize=256)
def geographic_of(crs_wkt: str) -> str:
    """WKT of the two-dimensional geographic CRS that ``crs_wkt`` is built on; of WGS 84 where that
    is on a sphere."""
    geographic = CRS.from_user_input(crs_wkt).geodetic_crs
    if geographic is None or geographic.is_geocentric or _is_sphere(geographic):
        return CRS.from_user_input(WGS84).to_wkt()
    return geographic.to_2d().to_wkt()


def _is_sphere(geographic: CRS) -> bool:
    return geographic.ellipsoid is not None and geographic.ellipsoid.inverse_flattening == 0


@lru_cache(maxsize=256)
def usable(crs_wkt: str) -> bool:
    """Whether PROJ can take coordinates in this CRS to longitude and latitude: not a site's own
    grid, the moon's, or one by a method that PROJ does not have."""
    try:
        crs = CRS.from_user_input(crs_wkt)
        return not crs.is_geocentric and _transformer(crs_wkt, geographic_of(crs_wkt)) is not None
    except ProjError:
        return False


@lru_cache(maxsize=256)
def ellipsoid_of(geographic: str) -> Ellipsoid:
    """The ellipsoid of a geographic CRS, as `geographic_of` gives it: each has one."""
    found = CRS.from_user_input(geographic).ellipsoid
    assert found is not None
    return Ellipsoid(found.semi_major_metre, 1 / found.inverse_flattening)


def name_of(crs_wkt: str) -> str:
    return CRS.from_user_input(crs_wkt).name


@lru_cache(maxsize=256)
def unit_m(crs_wkt: str) -> float:
    """Metres to a unit of a projected CRS; NaN where its unit is an angle."""
    crs = CRS.from_user_input(crs_wkt).to_2d()
    if crs.is_projected:
        return float(crs.axis_info[0].unit_conversion_factor)
    return float("nan")


def to_degrees(xy: Floats, crs_wkt: str) -> Floats:
    """Longitude and latitude in degrees, shape (n, 2), in ``geographic_of(crs_wkt)``, of
    coordinates in a file's own units, x first. What PROJ cannot transform comes as infinity."""
    geographic = geographic_of(crs_wkt)
    return _transform(xy, crs_wkt, geographic) * _degrees_per_unit(geographic)


def from_degrees(lonlat: Floats, geographic: str, crs_wkt: str) -> Floats:
    """Undoes `to_degrees`, and changes the datum where ``crs_wkt`` is built on another than
    ``geographic``."""
    return _transform(lonlat / _degrees_per_unit(geographic), geographic, crs_wkt)


def measured_in(crs_wkt: str, shifts: dict[str, Shift]) -> str:
    """WKT of the geographic CRS that coordinates in ``crs_wkt`` are measured in."""
    own = geographic_of(crs_wkt)
    if own in shifts:
        return geographic_of(WGS84)
    return own


def degrees_in(xy: Floats, crs_wkt: str, geographic: str, shifts: dict[str, Shift]) -> Floats:
    """Coordinates in a file's own units as degrees of ``geographic``, by the transformation that
    ``shifts`` has for its datum."""
    own = geographic_of(crs_wkt)
    lonlat = to_degrees(xy, crs_wkt)
    if own in shifts:
        lonlat = shifts[own].modern(lonlat)
        own = geographic_of(WGS84)
    return change_datum(lonlat, own, geographic)


def degrees_out(lonlat: Floats, geographic: str, crs_wkt: str, shifts: dict[str, Shift]) -> Floats:
    """Undoes `degrees_in`."""
    own = geographic_of(crs_wkt)
    if own not in shifts:
        return from_degrees(lonlat, geographic, crs_wkt)
    modern = change_datum(lonlat, geographic, geographic_of(WGS84))
    return from_degrees(shifts[own].back(modern), own, crs_wkt)


def change_datum(lonlat: Floats, geographic: str, other: str) -> Floats:
    """Degrees in one geographic CRS to degrees in another."""
    if geographic == other:
        return lonlat
    return from_degrees(lonlat, geographic, other) * _degrees_per_unit(other)


def _transform(xy: Floats, source: str, target: str) -> Floats:
    if source == target or not len(xy):
        return xy
    return _transformed(_transformer(source, target), xy, "FORWARD")


def _transformed(way: Transformer, xy: Floats, direction: str) -> Floats:
    return np.column_stack(way.transform(xy[:, 0], xy[:, 1], direction=direction))


@lru_cache(maxsize=256)
def _transformer(source: str, target: str) -> Transformer:
    source_crs, target_crs = (CRS.from_user_input(text).to_2d() for text in (source, target))
    return Transformer.from_crs(source_crs, target_crs, always_xy=True)


@lru_cache(maxsize=256)
def _degrees_per_unit(geographic: str) -> float:
    """1, but for a geographic CRS in grads."""
    unit = CRS.from_user_input(geographic).axis_info[0].unit_conversion_factor
    if np.isclose(unit, np.pi / 180, rtol=1e-12):
        return 1.0
    return float(np.degrees(unit))


@lru_cache(maxsize=256)
def wkt(crs: str) -> str:
    """One spelling of a CRS, whatever it was given as."""
    return CRS.from_user_input(crs).to_wkt()
