"""What cannot be turf: parts and holes thinner than a millimetre, which overlays leave, and shapes
as wide as a country."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.ground.frames import Outline, bounds_deg
from geoturf.ground.mercator import Floats
from geoturf.model import PLACE, Finding
from geoturf.rules.ground import GroundRules
from geoturf.units import System

_METRES_PER_DEGREE = 111_320.0  # near enough to tell a millimetre from a lawn


class Cleaned(NamedTuple):
    """A geometry without its specks: what stays in the file's CRS and in degrees, and how many
    parts and holes went."""

    geometry: shapely.Geometry
    lonlat: np.ndarray
    parts: int
    holes: int


def left_out(
    table: pd.DataFrame, shape: Outline, rules: GroundRules, said: System
) -> tuple[pd.DataFrame, Outline, tuple[Finding, ...]]:
    """Areas without their specks, and a note on each that had some; an error for each area that is
    nothing else, or is wider than ``rules.widest_m``."""
    if table.empty:
        return table, shape, ()
    across = _across_m(shape)
    wide = across > rules.widest_m
    flat = shapely.set_coordinates(shape.geometries.copy(), _metres(shape))
    speckled = [int(row) for row in _speckled(flat) if not wide[row]]
    cleaned = {row: _cleaned(shape, row, flat[row]) for row in speckled}
    shape = _with(shape, cleaned)
    nothing = shape.counts == 0

    places = table[[*PLACE]].to_numpy()
    findings = []
    for row in sorted({*np.flatnonzero(wide).tolist(), *cleaned}):
        if wide[row]:
            finding = _too_wide(across[row], said)
        elif nothing[row]:
            finding = _no_width(said)
        else:
            finding = Finding("note", "specks", _counted(cleaned[row], said))
        findings.append(_at(finding, places[row]))
    if not findings:
        return table, shape, ()
    fit = ~(wide | nothing)
    return table[fit].reset_index(drop=True), shape.only(fit), tuple(findings)


def _at(finding: Finding, place: np.ndarray) -> Finding:
    return replace(finding, **dict(zip(PLACE, place, strict=True)))


def _too_wide(across_m: float, said: System) -> Finding:
    told = (
        f"is {said.distance(across_m)} across, which no property is: check the layer's CRS and the "
        "coordinates; it is left out"
    )
    return Finding("error", "too-wide", told)


def _no_width(said: System) -> Finding:
    thin = said.size(plane.LEAST_WIDTH_M)
    told = f"is nowhere {thin} wide, so that nothing can be laid on it; it is left out"
    return Finding("error", "no-width", told)


def _counted(cleaned: Cleaned, said: System) -> str:
    counts = ((cleaned.parts, "part"), (cleaned.holes, "hole"))
    many = [f"{n} {word}{'' if n == 1 else 's'}" for n, word in counts if n]
    thin = said.size(plane.LEAST_WIDTH_M)
    what = f"{' and '.join(many)} thinner than {thin}"
    return f"{what}, as overlays of layers leave them, do not count"


def _across_m(shape: Outline) -> Floats:
    """The longer side of each geometry's box, in metres."""
    west, south, east, north = bounds_deg(shape).T
    nearest = np.clip(0, south, north)  # to the equator, where degrees are longest
    wide = (east - west) * np.cos(np.radians(nearest))
    return np.asarray(_METRES_PER_DEGREE * np.maximum(wide, north - south))


def _metres(shape: Outline) -> Floats:
    """The vertices in metres on a plane that touches a globe at the first one of their geometry,
    poles and all."""
    first = shape.of_vertices(np.cumsum(shape.counts) - shape.counts)
    lon, lat = np.radians(shape.lonlat).T
    east = lon - lon[first]
    lat0 = lat[first]
    x = np.cos(lat) * np.sin(east)
    y = np.sin(lat - lat0) + 2 * np.sin(lat0) * np.cos(lat) * np.sin(east / 2) ** 2
    return np.asarray(np.degrees(np.column_stack([x, y])) * _METRES_PER_DEGREE)


def _speckled(flat: np.ndarray) -> np.ndarray:
    """Rows with a part or a hole that is a speck."""
    parts, owner = shapely.get_parts(flat, return_index=True)
    holed = np.flatnonzero(shapely.get_num_interior_rings(parts) > 0)
    rings, part = shapely.get_rings(parts[holed], return_index=True)
    specks = owner[_is_speck(parts)]
    with_specks = owner[holed[part[_is_speck(_filled(rings))]]]
    return np.union1d(specks, with_specks)


def _is_speck(polygons: np.ndarray) -> np.ndarray:
    return plane.mean_width_m(polygons) < plane.LEAST_WIDTH_M


def _filled(rings: np.ndarray) -> np.ndarray:
    """What each ring encloses."""
    return np.asarray(shapely.polygons(rings))


def _cleaned(shape: Outline, row: int, flat: shapely.Geometry) -> Cleaned:
    """One geometry without its specks; empty where it is nothing else. ``flat``: the same in
    metres."""
    end = int(shape.counts[: row + 1].sum())
    lonlat = shape.lonlat[end - int(shape.counts[row]) : end]
    at = holes = specks = 0
    parts = []
    points = []
    pairs = zip(shapely.get_parts(shape.geometries[row]), shapely.get_parts(flat), strict=True)
    for part, plain in pairs:
        rings = shapely.get_rings(part)
        degrees = np.split(lonlat[at:], np.cumsum(shapely.get_num_coordinates(rings)))[:-1]
        at += int(shapely.get_num_coordinates(part))
        if _is_speck(np.array([plain]))[0]:
            specks += 1
            continue
        stays = ~_is_speck(_filled(shapely.get_rings(plain)))
        stays[0] = True
        holes += int((~stays).sum())
        parts.append(shapely.Polygon(rings[0], rings[1:][stays[1:]].tolist()))
        points += [some for some, stay in zip(degrees, stays, strict=True) if stay]
    if not parts:
        return Cleaned(shapely.Polygon(), np.zeros((0, 2)), specks, holes)
    whole = parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
    return Cleaned(whole, np.vstack(points), specks, holes)


def _with(shape: Outline, cleaned: dict[int, Cleaned]) -> Outline:
    """The outline with some geometries in place of others."""
    if not cleaned:
        return shape
    geometries = shape.geometries.copy()
    lonlat = np.split(shape.lonlat, np.cumsum(shape.counts)[:-1])
    for row, new in cleaned.items():
        geometries[row] = new.geometry
        lonlat[row] = new.lonlat
    counts = shapely.get_num_coordinates(geometries)
    return Outline(geometries, np.vstack(lonlat), counts, shape.geographic)
