"""Where on earth: the CRS a layer is in, and whether its coordinates can be."""

from __future__ import annotations

from typing import Any

import geopandas
import numpy as np
import shapely

from geoturf.read.say import Say, counted

_FAR_DEG = (
    6.0  # further than this from where a CRS is used, coordinates are not in it (a state in one UTM zone is 5 off)
)
_OFF_DEG = 1.0  # further than this is told
_WEB_MERCATOR_M = 20_037_508.35


def known(text: Any) -> Any:
    """The CRS meant by an authority code, WKT or PROJ string, or None where PROJ knows none."""
    if text is None or text == "":
        return None
    try:
        return geopandas.GeoSeries([], crs=text).crs
    except (RuntimeError, ValueError, TypeError):
        return None


def crs_of(found: Any, stated: str, shapes: np.ndarray, say: Say) -> Any:
    """The CRS to go by, or None (said) where a layer has none that places it on earth."""
    if stated:
        crs, own = known(stated), known(found)
        if crs is None or not _on_earth(crs):
            say.refuse("unknown-crs", f"crs = '{stated}' is no CRS that PROJ knows; write it like EPSG:2272")
            return None
        if own is not None and own != crs:
            say.note("crs-overridden", f"the file says {own.name}; the bid's {crs.name} is used")
        return crs
    crs = known(found)
    if crs is not None and _on_earth(crs):
        return crs
    what = f"has a local CRS ({crs.name}) that does not say where on earth it is" if crs is not None else "has no CRS"
    if crs is None and found:
        what = "has a CRS that PROJ cannot read"
    guess = _maybe(_bounds(shapes))
    mend = f'state it in its layer, crs = "EPSG:..."{guess}; {_all_left_out(len(shapes))}'
    say.leave_out("no-crs", f"{what}; {mend}", count=len(shapes) or 1)
    return None


def _bounds(shapes: np.ndarray) -> np.ndarray:
    return shapely.total_bounds(shapes) if len(shapes) else np.full(4, np.nan)


def _all_left_out(n: int) -> str:
    return f"its {counted(n, 'feature')} {'is' if n == 1 else 'are'} left out"


def possible(crs: Any, shapes: np.ndarray, ids: np.ndarray, say: Say) -> np.ndarray:
    """Mask of the shapes that can be where they say they are. A file all wrong is one finding."""
    keep = np.ones(len(shapes), bool)
    bounds = _bounds(shapes)
    if np.isnan(bounds).any():
        return keep
    why, impossible = fault(crs, bounds)
    if why and not impossible:
        say.warn("far-off", why)
    if not impossible:
        return keep
    each = [fault(crs, box) for box in shapely.bounds(shapes)]
    keep = np.array([not bad for _, bad in each])
    if not keep.any():
        say.leave_out("impossible-coordinates", f"{why}; {_all_left_out(len(shapes))}", count=len(shapes))
        return keep
    for row in np.flatnonzero(~keep):
        say.leave_out("impossible-coordinates", f"{each[row][0]}; it is left out", feature=str(ids[row]))
    return keep


def _on_earth(crs: Any) -> bool:
    return crs.is_geographic or crs.is_projected


def far_from(crs: Any, bounds: np.ndarray) -> float:
    """Degrees from the place where a CRS is used to coordinates of these bounds; inf where they cannot be in it at all."""
    x0, y0, x1, y1 = bounds
    if crs.is_geographic:
        return 0.0 if max(abs(x0), abs(x1)) <= 360 and max(abs(y0), abs(y1)) <= 90 + 1e-9 else np.inf
    corners = geopandas.GeoSeries(shapely.points([x0, x1, x0, x1], [y0, y0, y1, y1]), crs=crs)
    lonlat = shapely.get_coordinates(corners.to_crs(crs.geodetic_crs).to_numpy())
    if len(lonlat) < 4 or not np.isfinite(lonlat).all():
        return np.inf
    return _off(lonlat, crs.area_of_use)


def _off(lonlat: np.ndarray, use: Any) -> float:
    if use is None:
        return 0.0
    width = (use.east - use.west) % 360 or 360.0
    east_of = (lonlat[:, 0] - use.west) % 360
    off_lon = np.where(east_of <= width, 0.0, np.minimum(east_of - width, 360 - east_of))
    off_lat = np.maximum(0.0, np.maximum(use.south - lonlat[:, 1], lonlat[:, 1] - use.north))
    return float(np.maximum(off_lon, off_lat).max())


def fault(crs: Any, bounds: np.ndarray) -> tuple[str, bool]:
    """What is wrong with coordinates of these bounds in this CRS (nothing if all is well), and whether they can be at all."""
    far = far_from(crs, bounds)
    degrees = _like_degrees(bounds) and not crs.is_geographic
    mercator = crs.is_projected and crs.area_of_use is not None and crs.area_of_use.west <= -179
    if far > _FAR_DEG or (degrees and (far > 0 or mercator)):
        x0, y0, x1, y1 = bounds
        where = f"x {x0:,.6g} to {x1:,.6g}, y {y0:,.6g} to {y1:,.6g}"
        return f"its coordinates ({where}) cannot be {crs.name}{_maybe(bounds)}", True
    if far > _OFF_DEG:
        return f"it lies {far:.1f} degrees outside the area that {crs.name} is made for: is it the right CRS?", False
    return "", False


def _like_degrees(bounds: np.ndarray) -> bool:
    return max(abs(bounds[0]), abs(bounds[2])) <= 180 and max(abs(bounds[1]), abs(bounds[3])) <= 90


def _maybe(bounds: np.ndarray) -> str:
    """A guess of what coordinates of these bounds are, for the end of a message."""
    if not np.isfinite(bounds).all():
        return ""
    x0, y0, x1, y1 = bounds
    if _like_degrees(bounds):
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
