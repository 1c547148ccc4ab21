"""What cannot be turf: parts and holes thinner than a millimetre, which overlays leave, and shapes as wide as a country."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.ground.frames import Outline, bounds_deg
from geoturf.model import Finding
from geoturf.rules.ground import GroundRules
from geoturf.units import System

_PLACE = ["file", "layer", "feature", "site", "area"]
_METRES_PER_DEGREE = 111_320.0  # near enough to tell a millimetre from a lawn


class Cleaned(NamedTuple):
    """A geometry without its specks: what stays in the file's CRS and in degrees, and how many parts and holes went."""

    geometry: shapely.Geometry
    lonlat: np.ndarray
    parts: int
    holes: int


def left_out(
    table: pd.DataFrame, shape: Outline, rules: GroundRules, said: System
) -> tuple[pd.DataFrame, Outline, tuple[Finding, ...]]:
    """Areas without their specks, and a note on each that had some; an error for each area that is nothing else, or is wider than
    ``rules.widest_m``."""
    if table.empty:
        return table, shape, ()
    across = _across_m(shape)
    wide = across > rules.widest_m
    flat = shapely.set_coordinates(shape.geometries.copy(), _metres(shape))
    cleaned = {int(row): _cleaned(shape, int(row), flat[row]) for row in _speckled(flat) if not wide[row]}
    shape = _with(shape, cleaned)
    nothing = shape.counts == 0

    findings = []
    for row in sorted({*np.flatnonzero(wide).tolist(), *cleaned}):
        place = table.loc[row, _PLACE].tolist()
        if wide[row]:
            told = f"is {said.distance(across[row])} across, which no property is: check the layer's CRS and the coordinates"
            findings.append(Finding("error", "too-wide", f"{told}; it is left out", *place))
        elif nothing[row]:
            told = (
                f"is nowhere {said.size(plane.LEAST_WIDTH_M)} wide, so that nothing can be laid on it; it is left out"
            )
            findings.append(Finding("error", "no-width", told, *place))
        else:
            findings.append(Finding("note", "specks", _counted(cleaned[row], said), *place))
    fit = ~(wide | nothing)
    return (table, shape, ()) if not findings else (table[fit].reset_index(drop=True), shape.only(fit), tuple(findings))


def _counted(cleaned: Cleaned, said: System) -> str:
    many = [f"{n} {word}{'' if n == 1 else 's'}" for n, word in ((cleaned.parts, "part"), (cleaned.holes, "hole")) if n]
    thin = said.size(plane.LEAST_WIDTH_M)
    return f"{' and '.join(many)} thinner than {thin}, as overlays of layers leave them, do not count"


def _across_m(shape: Outline) -> np.ndarray:
    """The longer side of each geometry's box, in metres."""
    west, south, east, north = bounds_deg(shape).T
    nearest = np.clip(0, south, north)  # to the equator, where degrees are longest
    return _METRES_PER_DEGREE * np.maximum((east - west) * np.cos(np.radians(nearest)), north - south)


def _metres(shape: Outline) -> np.ndarray:
    """The vertices in metres on a plane that touches a globe at the first one of their geometry, poles and all."""
    first = shape.of_vertices(np.cumsum(shape.counts) - shape.counts)
    lon, lat = np.radians(shape.lonlat).T
    east, lat0 = lon - lon[first], lat[first]
    x = np.cos(lat) * np.sin(east)
    y = np.sin(lat - lat0) + 2 * np.sin(lat0) * np.cos(lat) * np.sin(east / 2) ** 2
    return np.degrees(np.column_stack([x, y])) * _METRES_PER_DEGREE


def _speckled(flat: np.ndarray) -> np.ndarray:
    """Rows with a part or a hole that is a speck."""
    parts, owner = shapely.get_parts(flat, return_index=True)
    holed = np.flatnonzero(shapely.get_num_interior_rings(parts) > 0)
    rings, part = shapely.get_rings(parts[holed], return_index=True)
    thin = plane.mean_width_m(shapely.polygons(rings)) < plane.LEAST_WIDTH_M
    return np.union1d(owner[plane.mean_width_m(parts) < plane.LEAST_WIDTH_M], owner[holed[part[thin]]])


def _cleaned(shape: Outline, row: int, flat: shapely.Geometry) -> Cleaned:
    """One geometry without its specks; empty where it is nothing else. ``flat``: the same in metres."""
    end = int(shape.counts[: row + 1].sum())
    lonlat = shape.lonlat[end - int(shape.counts[row]) : end]
    at = holes = specks = 0
    parts, points = [], []
    for part, plain in zip(shapely.get_parts(shape.geometries[row]), shapely.get_parts(flat), strict=True):
        rings, shadows = shapely.get_rings(part), shapely.get_rings(plain)
        degrees = np.split(lonlat[at:], np.cumsum(shapely.get_num_coordinates(rings)))[:-1]
        at += int(shapely.get_num_coordinates(part))
        if plane.mean_width_m(np.array([plain]))[0] < plane.LEAST_WIDTH_M:
            specks += 1
            continue
        stays = plane.mean_width_m(np.asarray(shapely.polygons(shadows))) >= plane.LEAST_WIDTH_M
        stays[0] = True
        holes += int((~stays).sum())
        parts.append(shapely.Polygon(rings[0], rings[1:][stays[1:]].tolist()))
        points += [some for some, stay in zip(degrees, stays, strict=True) if stay]
    whole = shapely.Polygon() if not parts else parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
    return Cleaned(whole, np.vstack(points) if points else np.zeros((0, 2)), specks, holes)


def _with(shape: Outline, cleaned: dict[int, Cleaned]) -> Outline:
    """The outline with some geometries in place of others."""
    if not cleaned:
        return shape
    geometries, lonlat = shape.geometries.copy(), np.split(shape.lonlat, np.cumsum(shape.counts)[:-1])
    for row, new in cleaned.items():
        geometries[row], lonlat[row] = new.geometry, new.lonlat
    return Outline(geometries, np.vstack(lonlat), shapely.get_num_coordinates(geometries), shape.geographic)
