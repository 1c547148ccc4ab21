"""Elevation, slope and aspect of areas from a terrain raster (rasterio, the ``terrain`` extra)."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.errors import InputError
from geoturf.ground import geodetic
from geoturf.ground.frames import Outline
from geoturf.ground.mercator import Floats
from geoturf.model import Finding
from geoturf.units import FOOT_M, US_SURVEY_FOOT_M

_FOUND = ["elevation_m", "slope_pct", "aspect_deg"]
_TILE = 2048  # cells to the side of what is read at a time
_MOST_CELLS = 36_000_000  # a larger window, of a vast area, is read at a coarser step
_CELLS_ACROSS = 32  # an area that is more cells wide or high is sampled at a coarser step
_FEWEST_CELLS = 6  # an area that holds fewer takes the cells around it too
_AREAS_AT_ONCE = 4096
_LONGEST = 255  # letters of a file's name; more is none
#: GDAL's names of the formats taken, all of them plain files: others (a VRT, a web service's XML)
#: may send for more elsewhere
_DRIVERS = [
    "GTiff",
    "AAIGrid",
    "GRASSASCIIGrid",
    "EHdr",
    "ENVI",
    "HFA",
    "USGSDEM",
    "SRTMHGT",
    "DTED",
    "Terragen",
    "XYZ",
]
_FEET = dict.fromkeys(("ft", "foot", "feet"), FOOT_M)
_FEET |= dict.fromkeys(("us survey foot", "ftus"), US_SURVEY_FOOT_M)


@dataclass(frozen=True)
class Raster:
    """A window of elevations in metres (NaN where there is none), and the affine map (2 x 3) from
    column, row to x, y."""

    crs_wkt: str
    z_m: Floats
    to_xy: Floats

    def cells(self, xy: Floats) -> Floats:
        """Column and row, as fractions, of x and y."""
        turned = self.to_xy[:, :2]
        corner = self.to_xy[:, 2]
        found = np.linalg.solve(turned, (xy - corner).T)
        return np.asarray(found.T, float)

    def xy(self, cells: Floats) -> Floats:
        """Undoes `cells`."""
        return cells @ self.to_xy[:, :2].T + self.to_xy[:, 2]


def sampled(
    table: pd.DataFrame, shape: Outline, geographics: tuple[str, ...], path: str
) -> tuple[pd.DataFrame, tuple[Finding, ...]]:
    """``table`` with elevation_m, slope_pct and aspect_deg filled in where it states none, and what
    the terrain left open.

    Elevation is the mean of the cells whose middles lie in the area, as the raster has it; slope
    and aspect (compass direction of steepest descent) are those of the plane fitted to these cells
    by least squares, in ground metres whatever the raster's CRS is. The raster is read tile by
    tile, only where areas lie. Raises `InputError` when it cannot be used.
    """
    if not path:
        return table, ()
    rasterio = _rasterio(path)
    try:
        # `rasterio.open` takes one driver only
        with rasterio.Env(), rasterio.io.DatasetReader(path, driver=_DRIVERS) as file:
            found = _by_tiles(file, path, shape, geographics)
    except rasterio.errors.RasterioError as error:
        taken = "a GeoTIFF, an ASCII grid, USGS DEM, DTED, HGT, ENVI or Imagine file is"
        message = f"the terrain cannot be read ({error}); {taken}"
        raise _refused(path, "terrain-unreadable", message) from None
    filled = table.fillna(found)
    missed = int(found["elevation_m"].isna().sum())
    if not missed:
        return filled, ()
    told = f"the terrain has no elevation for {missed} of {len(table)} areas"
    return filled, (Finding("warning", "terrain-gap", told, file=Path(path).name),)


def _by_tiles(file: Any, path: str, shape: Outline, geographics: tuple[str, ...]) -> pd.DataFrame:
    if file.crs is None:
        message = "the terrain has no CRS; write one into the file"
        raise _refused(path, "terrain-without-crs", message)
    to_xy = np.array(file.transform[:6]).reshape(2, 3)
    whole = Raster(geodetic.wkt(file.crs.to_wkt()), np.zeros((0, 0)), to_xy)
    xy = _xy(shape, geographics, whole.crs_wkt)
    places = shapely.set_coordinates(shape.geometries.copy(), xy)
    box = shapely.bounds(places)
    corners = ([0, 1], [0, 3], [2, 1], [2, 3])
    ends = np.stack([whole.cells(box[:, corner]) for corner in corners])
    low = ends.min(axis=0)
    high = ends.max(axis=0)
    meets = (high > 0) & (low < (file.width, file.height))
    if not meets.all(axis=1).any():
        message = "the terrain lies elsewhere than the areas; check its CRS"
        raise _refused(path, "terrain-elsewhere", message)
    found = np.full((len(places), len(_FOUND)), np.nan)
    for rows in _groups(np.floor((low + high) / 2 / _TILE)):
        raster = _window(file, whole, low[rows].min(axis=0), high[rows].max(axis=0))
        if raster.z_m.size:
            found[rows] = _fitted(raster, places[rows])
    return pd.DataFrame(found, columns=_FOUND)


def _xy(shape: Outline, geographics: tuple[str, ...], crs_wkt: str) -> np.ndarray:
    """The areas' vertices in the raster's CRS."""
    xy = np.empty_like(shape.lonlat)
    vertex = shape.of_vertices(shape.geographic)
    for row, geographic in enumerate(geographics):
        own = vertex == row
        xy[own] = geodetic.from_degrees(shape.lonlat[own], geographic, crs_wkt)
    return xy


def _groups(tile: np.ndarray) -> list[np.ndarray]:
    """Rows that lie in the same tile, some thousands at most."""
    _, code = np.unique(tile, axis=0, return_inverse=True)
    order = np.argsort(code, kind="stable")
    tiles = np.split(order, np.flatnonzero(np.diff(code[order])) + 1)
    groups: list[np.ndarray] = []
    for rows in tiles:
        starts = range(_AREAS_AT_ONCE, len(rows), _AREAS_AT_ONCE)
        groups += np.split(rows, starts)
    return groups


def _window(file: Any, whole: Raster, low: np.ndarray, high: np.ndarray) -> Raster:
    """The part of the raster between two cells, one more on each side; at a coarser step where it
    would not fit in memory."""
    size = (file.width, file.height)
    low = np.clip(np.floor(low) - 1, 0, size).astype(int)
    high = np.clip(np.ceil(high) + 1, low, size).astype(int)
    if (high == low).any():
        return whole
    wide, tall = high - low
    step = int(np.ceil(np.sqrt(wide * tall / _MOST_CELLS)))
    shape = (max(1, int(tall) // step), max(1, int(wide) // step))
    window = ((low[1], high[1]), (low[0], high[0]))
    z = file.read(
        1,
        window=window,
        out_shape=shape,
        masked=True,
    )
    unit = (file.units[0] or "").strip().lower()
    z_m = z.astype(float).filled(np.nan) * _FEET.get(unit, 1.0)
    per_cell = np.diag([wide / shape[1], tall / shape[0]])
    corner = whole.xy(low.astype(float)[None, :])[0]
    to_xy = np.column_stack([whole.to_xy[:, :2] @ per_cell, corner])
    return Raster(whole.crs_wkt, z_m, to_xy)


def _rasterio(path: str) -> Any:
    if not _there(path):  # also keeps names that GDAL would look up on a network from it
        raise _refused(path, "no-terrain", "there is no such terrain file")
    try:
        import rasterio
    except ImportError:
        message = "reading terrain needs the terrain extra: pip install 'geoturf[terrain]'"
        raise _refused(path, "no-rasterio", message) from None
    return rasterio


def _there(path: str) -> bool:
    try:
        return Path(path).is_file()
    except (OSError, ValueError):  # a name too long for the system, or with a NUL in it
        return False


def _refused(path: str, code: str, message: str) -> InputError:
    name = Path(path).name
    short = name if len(name) <= _LONGEST else f"{name[:40]} ..."
    return InputError(Finding("error", code, message, file=short))


def _fitted(raster: Raster, places: np.ndarray) -> np.ndarray:
    """Elevation, slope and aspect of areas given in the raster's CRS, columns as in `_FOUND`."""
    cells = raster.cells(shapely.get_coordinates(places))
    areas = shapely.set_coordinates(places.copy(), cells)
    owner, cell = _cells_in(raster, areas)
    column, row = cell.astype(int).T
    z = raster.z_m[row, column]
    known = np.isfinite(z)
    owner = owner[known]
    cell = cell[known]
    z = z[known]

    def total(values: np.ndarray | None = None) -> np.ndarray:
        return np.bincount(owner, values, minlength=len(areas)).astype(float)

    with np.errstate(invalid="ignore", divide="ignore"):  # no cell: NaN, which says unknown
        count = total()
        sums = np.column_stack([total(cell[:, 0]), total(cell[:, 1])])
        mean = sums / count[:, None]
        z_mean = total(z) / count
        c, r = (cell - mean[owner]).T
        h = z - z_mean[owner]
        cc, cr, rr = total(c * c), total(c * r), total(r * r)
        ch, rh = total(c * h), total(r * h)
        determinant = cc * rr - cr**2
        determinant[determinant <= 1e-9 * (cc + rr) ** 2] = np.nan  # cells in a line, or only one
        by_column = (rr * ch - cr * rh) / determinant
        by_row = (cc * rh - cr * ch) / determinant
        by_cell = np.column_stack([by_column, by_row])
    east, north = _per_metre(raster, mean, by_cell)
    slope = 100 * np.hypot(east, north)
    aspect = np.where(slope > 0.01, np.degrees(np.arctan2(-east, -north)) % 360, np.nan)
    return np.column_stack([z_mean, slope, aspect])


def _cells_in(raster: Raster, areas: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(area, (column, row) of a cell's middle) for the cells in each area, or around it where it
    holds few."""
    owner, cell = _grid(raster, areas, 0.0)
    with plane.prepared(areas):
        inside = shapely.contains_xy(areas[owner], cell[:, 0], cell[:, 1])
    few = np.bincount(owner[inside], minlength=len(areas)) < _FEWEST_CELLS
    around, wider = _grid(raster, areas[few], 1.0)
    keep = inside & ~few[owner]
    owners = np.concatenate([owner[keep], np.flatnonzero(few)[around]])
    return owners, np.concatenate([cell[keep], wider])


def _grid(raster: Raster, areas: np.ndarray, grow: float) -> tuple[np.ndarray, np.ndarray]:
    """Middles of the cells in each area's box, every one or every so many."""
    bounds = shapely.bounds(areas).reshape(-1, 4)
    tall, wide = raster.z_m.shape
    low = np.floor(np.clip(bounds[:, :2] - grow, 0, (wide, tall)))
    high = np.ceil(np.clip(bounds[:, 2:] + grow, 0, (wide, tall)))
    step = np.maximum(1, np.ceil((high - low) / _CELLS_ACROSS))
    number = np.ceil((high - low) / step).astype(int)
    count = number.prod(axis=1)
    owner = np.repeat(np.arange(len(areas)), count)
    place = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    across = np.maximum(np.repeat(number[:, 0], count), 1)
    at = np.column_stack([place % across, place // across])
    return owner, low[owner] + at * step[owner] + 0.5


def _per_metre(
    raster: Raster, middle: np.ndarray, by_cell: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Rise per metre east and north, of the rise per column and per row at ``middle``."""
    geographic = geodetic.geographic_of(raster.crs_wkt)
    cells = (middle, middle + np.array((1, 0)), middle + np.array((0, 1)))
    here, right, down = (geodetic.to_degrees(raster.xy(one), raster.crs_wkt) for one in cells)
    ellipsoid = geodetic.ellipsoid_of(geographic)
    lat = here[:, 1]
    parallel_m = ellipsoid.normal_radius_m(lat) * np.cos(np.radians(lat))
    metres = np.radians(np.column_stack([parallel_m, ellipsoid.meridian_radius_m(lat)]))
    ex, ny = ((right - here) * metres).T
    ex2, ny2 = ((down - here) * metres).T
    # by_cell = J^T gradient, with the columns of J the steps of a column and of a row in metres
    determinant = ex * ny2 - ny * ex2
    by_column, by_row = by_cell.T
    east = (ny2 * by_column - ny * by_row) / determinant
    north = (ex * by_row - ex2 * by_column) / determinant
    return east, north
