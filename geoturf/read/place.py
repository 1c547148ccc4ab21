"""Where on earth: the CRS a layer is in, and whether its coordinates can be."""

from __future__ import annotations

from functools import partial
from typing import Any

import geopandas
import numpy as np
import shapely

from geoturf.read.say import Say, counted

# Further than this from where a CRS is used, coordinates are not in it (a state in one UTM zone is
# 5 off).
_FAR_DEG = 6.0
_OFF_DEG = 1.0  # further than this is told
_LONG = 100  # letters of a CRS that a message repeats
_WEB_MERCATOR_M = 20_037_508.35
_HALVES = (-90, 90)  # longitudes half around from each other, and off any seam


def known(text: Any) -> Any:
    """The CRS meant by an authority code, WKT or PROJ string, or None where PROJ knows none."""
    if text is None or text == "":
        return None
    try:
        return geopandas.GeoSeries([], crs=text).crs
    except (RuntimeError, ValueError, TypeError):
        return None


def crs_of(found: Any, stated: str, boxes: np.ndarray, say: Say) -> Any:
    """The CRS to go by, or None (said) where a layer has none that places it on earth."""
    if stated:
        crs = known(stated)
        own = known(found)
        if crs is None or not _on_earth(crs) or not _leads_to_degrees(crs):
            shown = stated if len(stated) <= _LONG else f"{stated[:_LONG]}..."
            say.refuse(
                "unknown-crs", f"crs = '{shown}' is no CRS that PROJ knows; write it like EPSG:2272"
            )
            return None
        if own is not None and own != crs:
            say.note("crs-overridden", f"the file says {own.name}; the bid's {crs.name} is used")
        return crs
    crs = known(found)
    if crs is not None and _on_earth(crs) and _leads_to_degrees(crs):
        return crs
    what = "has a CRS that PROJ cannot read" if found else "has no CRS"
    if crs is not None:
        what = f"has a local CRS ({crs.name}) that does not say where on earth it is"
        if _on_earth(crs):
            what = f"has a CRS ({crs.name}) that PROJ knows no way from to longitude and latitude"
    guess = _maybe(_whole(boxes))
    mend = f'state it in its layer, crs = "EPSG:..."{guess}; {_all_left_out(len(boxes))}'
    say.leave_out("no-crs", f"{what}; {mend}", count=len(boxes) or 1)
    return None


def _whole(boxes: np.ndarray) -> np.ndarray:
    """(4,) bounds of all of (n, 4); NaN where there are none."""
    x0, y0, x1, y1 = boxes.T  # a column at a time: numpy is slow along the short side
    least, most = (partial(side.reduce, initial=np.nan) for side in (np.fmin, np.fmax))
    return np.array([least(x0), least(y0), most(x1), most(y1)])


def _all_left_out(n: int) -> str:
    return f"its {counted(n, 'feature')} {'is' if n == 1 else 'are'} left out"


def possible(crs: Any, boxes: np.ndarray, ids: np.ndarray, say: Say) -> np.ndarray:
    """Mask of the shapes, given by their (n, 4) bounds, that can be where they say they are. A file
    all wrong is one finding."""
    keep = np.ones(len(boxes), bool)
    bounds = _whole(boxes)
    if np.isnan(bounds).any():
        return keep
    (far,) = far_from(crs, bounds[None])
    if far <= _FAR_DEG:
        if far > _OFF_DEG:
            off = f"it lies {far:.1f} degrees outside the area that {crs.name} is made for"
            say.warn("far-off", f"{off}: is it the right CRS?")
        return keep
    keep = far_from(crs, boxes) <= _FAR_DEG
    if not keep.any():
        message = f"{_cannot_be(crs, bounds)}; {_all_left_out(len(boxes))}"
        say.leave_out("impossible-coordinates", message, count=len(boxes))
        return keep
    for row in np.flatnonzero(~keep):
        message = f"{_cannot_be(crs, boxes[row])}; it is left out"
        say.leave_out("impossible-coordinates", message, feature=str(ids[row]))
    return keep


def _cannot_be(crs: Any, bounds: np.ndarray) -> str:
    x0, y0, x1, y1 = bounds
    where = f"x {x0:,.6g} to {x1:,.6g}, y {y0:,.6g} to {y1:,.6g}"
    return f"its coordinates ({where}) cannot be {crs.name}{_maybe(bounds)}"


def _on_earth(crs: Any) -> bool:
    return bool(crs.is_geographic or crs.is_projected)


def _leads_to_degrees(crs: Any) -> bool:
    """Whether PROJ has a way from it to longitude and latitude: a .prj may name a projection that
    is none, or standard parallels that cannot be."""
    try:
        geopandas.GeoSeries([shapely.Point(0, 0)], crs=crs).to_crs(crs.geodetic_crs)
    except (RuntimeError, ValueError):
        return False
    return True


def far_from(crs: Any, boxes: np.ndarray) -> np.ndarray:
    """Degrees from the place where a CRS is used to coordinates of these (n, 4) bounds; inf where
    they cannot be in it, or look like degrees called a projection: outside of its area, or (in a
    worldwide one) in the sea off Africa."""
    x = boxes[:, [0, 2, 0, 2]]
    y = boxes[:, [1, 1, 3, 3]]
    if crs.is_geographic:
        can_be = (np.abs(x) <= 360) & (np.abs(y) <= 90 + 1e-9)
        return np.where(can_be.all(axis=1), 0.0, np.inf)
    corners = geopandas.GeoSeries(shapely.points(x.ravel(), y.ravel()), crs=crs).to_crs(
        crs.geodetic_crs
    )
    degrees = np.degrees(
        crs.geodetic_crs.axis_info[0].unit_conversion_factor
    )  # 1, but of grads 0.9
    lon, lat = (degrees * c.reshape(-1, 4) for c in (corners.x.to_numpy(), corners.y.to_numpy()))
    lon += _meridian_deg(crs)
    there = np.isfinite(lon).all(axis=1) & np.isfinite(lat).all(axis=1)
    far = np.where(there, _off(lon, lat, crs.area_of_use), np.inf)
    worldwide = crs.area_of_use is not None and crs.area_of_use.west <= -179
    return np.where(_like_degrees(boxes) & (worldwide | (far > 0)), np.inf, far)


def _meridian_deg(crs: Any) -> float:
    """Where its longitudes are counted from, in degrees from Greenwich: areas of use are told from
    there."""
    found = crs.prime_meridian
    if found:
        return float(np.degrees(found.longitude * found.unit_conversion_factor))
    return 0.0


def turn(crs: Any) -> float:
    """By how much x grows once around the earth: 360 in degrees, the equator's length in Mercator's
    plane; infinite in other planes, which do not come round."""
    if crs.is_geographic:
        radians: float = crs.axis_info[0].unit_conversion_factor
        return 2 * np.pi / radians
    way = crs.coordinate_operation
    if (
        way is None
        or "Mercator" not in way.method_name
        or "Transverse" in way.method_name
        or "Oblique" in way.method_name
    ):
        return np.inf
    west, east = (
        geopandas.GeoSeries([shapely.Point(lon, 0)], crs=4326).to_crs(crs).x[0] for lon in _HALVES
    )
    return float(2 * (east - west))


def _off(lon: np.ndarray, lat: np.ndarray, use: Any) -> np.ndarray:
    """Degrees outside an area of use, the most of each row."""
    if use is None:
        return np.zeros(len(lon))
    width = (use.east - use.west) % 360 or 360.0
    with np.errstate(invalid="ignore"):
        past = (lon - use.west) % 360 - width
        off_lon = np.where(past <= 0, 0.0, np.minimum(past, 360 - width - past))
        off_lat = np.maximum(0.0, np.maximum(use.south - lat, lat - use.north))
    worst: np.ndarray = np.maximum(off_lon, off_lat).max(axis=1)
    return worst


def _like_degrees(boxes: np.ndarray) -> np.ndarray:
    """Mask of the (n, 4) bounds that longitudes and latitudes may have."""
    within = np.abs(boxes) <= (180, 90, 180, 90)
    return np.asarray(within.all(axis=1))


def _maybe(bounds: np.ndarray) -> str:
    """A guess of what coordinates of these bounds are, for the end of a message."""
    if not np.isfinite(bounds).all():
        return ""
    x0, y0, x1, y1 = bounds
    if _like_degrees(bounds[None])[0]:
        return "; they look like longitude and latitude (EPSG:4326)"
    if max(abs(x0), abs(x1)) <= 90 and 90 < max(abs(y0), abs(y1)) <= 180:
        return "; latitude and longitude look swapped"
    if x1 < 0 < y0 and max(abs(x0), y1) <= _WEB_MERCATOR_M and abs(x0) > 1e6:
        return "; they look like Web Mercator (EPSG:3857)"
    if 1e5 <= x0 <= x1 <= 9e5 and 1e6 <= y0 <= y1 <= 1e7:
        return "; they look like UTM metres (EPSG:326 and the zone, as 32618)"
    if x0 > 0 and y0 > -1e6 and x1 < 2e7:
        return "; they look like a projected grid such as State Plane feet"
    return ""
