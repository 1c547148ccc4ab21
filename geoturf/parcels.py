"""From a parcel to the lawn on it: parcel less buildings, paving and exclusions, as a person would draw it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.errors import InputError
from geoturf.model import Finding, Ground
from geoturf.rules.ground import ParcelRules

_HAIR_M = 1e-6
_MITRE = {"join_style": "mitre", "mitre_limit": 5.0}


def derive(ground: Ground, rules: ParcelRules) -> Ground:
    """Replaces each area of role ``parcel`` by the lawn on it; gives ``ground`` back where there is none.

    Taken away, in this order: the boundary setback, what is drawn as turf already, exclusions, buildings with their setback, paving
    with its own, strips narrower than the smallest width, remnants under the smallest area; small holes are filled last.
    ``taken`` holds each with its area, so that for every parcel: parcel = lawn + what was taken. A parcel without lawn leaves the
    areas with a note. Raises `InputError` when nothing is left at all.
    """
    areas = ground.areas
    rows = np.flatnonzero(areas["role"] == "parcel")
    if not len(rows):
        return ground
    parcels = areas.iloc[rows]
    lawn, losses = _lawns(ground, parcels, rules)
    taken = _taken(parcels, losses)
    derived = _refigured(parcels, lawn)
    bare = shapely.is_empty(lawn)
    kept = pd.concat([areas.drop(index=areas.index[rows]), derived[~bare]]).sort_index(kind="stable")
    findings = (*ground.findings, *_bare(parcels[bare]))
    if kept.empty:
        raise InputError([*findings, Finding("error", "nothing-to-price", "no parcel has any lawn left")])
    return replace(ground, areas=kept.reset_index(drop=True), taken=taken, findings=findings)


def _lawns(
    ground: Ground, parcels: pd.DataFrame, rules: ParcelRules
) -> tuple[np.ndarray, list[tuple[str, np.ndarray]]]:
    """The lawn of each parcel, and (reason, m2 lost in the frame) in the order it was taken."""
    lawn, losses = parcels["geometry"].to_numpy(), []

    def left(reason: str, after: np.ndarray) -> None:
        nonlocal lawn
        losses.append((reason, shapely.area(lawn) - shapely.area(after)))
        lawn = after

    if rules.boundary_setback_m > 0:
        left("boundary setback", shapely.buffer(lawn, -rules.boundary_setback_m, **_MITRE))
    left("drawn as turf", _without(lawn, parcels, _drawn(ground), 0.0))
    for role, setback in (
        ("exclude", 0.0),
        ("building", rules.building_setback_m),
        ("paving", rules.paving_setback_m),
    ):
        things = ground.context[ground.context["role"] == role]
        left(role, _without(lawn, parcels, things, 0.0))
        if setback > 0:
            left(f"{role} setback", _without(lawn, parcels, things, setback))
    left("too narrow", _opened(lawn, rules.min_width_m))
    left("too small", _large_parts(lawn, rules.min_area_m2))
    left("holes filled", _filled(lawn, rules.fill_holes_m2))
    return lawn, losses


def _drawn(ground: Ground) -> pd.DataFrame:
    return ground.areas[ground.areas["role"] == "turf"]


def _without(lawn: np.ndarray, parcels: pd.DataFrame, things: pd.DataFrame, setback_m: float) -> np.ndarray:
    """``lawn`` less the things in its frame, each grown by the setback. Only lawns that are met are touched."""
    frame, geometry = parcels["frame"].to_numpy(), things["geometry"].to_numpy()
    i, j = plane.near(lawn, frame, geometry, things["frame"].to_numpy(), setback_m)
    if setback_m > 0:
        geometry = shapely.buffer(geometry, setback_m, **_MITRE)
    hit = np.unique(i)
    out = lawn.copy()
    out[hit] = shapely.difference(lawn[hit], plane.united(geometry, i, j, len(lawn))[hit])
    return polygonal(out)


def _opened(lawn: np.ndarray, width_m: float) -> np.ndarray:
    """Less what no disc-like square of ``width_m`` reaches: buffered in and out with mitred corners, so that straight borders and
    square corners stay as they are; only borders at the mouth of what is cut off are new."""
    if width_m <= 0:
        return lawn
    core = shapely.buffer(lawn, -width_m / 2, **_MITRE)
    reached = shapely.buffer(core, width_m / 2 + _HAIR_M, **_MITRE)
    out = polygonal(shapely.intersection(lawn, reached))
    same = shapely.area(lawn) - shapely.area(out) < 1e-4  # a square centimetre: only round-off
    return np.where(same, lawn, out)


def _large_parts(lawn: np.ndarray, least_m2: float) -> np.ndarray:
    parts, owner = shapely.get_parts(lawn, return_index=True)
    large = shapely.area(parts) >= least_m2
    return regrouped(parts[large], owner[large], len(lawn))


def _filled(lawn: np.ndarray, least_m2: float) -> np.ndarray:
    """Holes under ``least_m2`` filled."""
    parts, owner = shapely.get_parts(lawn, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    shell = np.concatenate([[True], part[1:] != part[:-1]]) if len(part) else np.zeros(0, bool)
    keep = shell | (shapely.area(shapely.polygons(rings)) >= least_m2)
    if keep.all():
        return lawn
    return regrouped(shapely.polygons(rings[keep], indices=part[keep]), owner, len(lawn))


def polygonal(geometries: np.ndarray) -> np.ndarray:
    """The polygons of a column whose overlays may also have left lines and points; oriented, shells counter-clockwise."""
    if np.isin(shapely.get_type_id(geometries), (3, 6)).all():
        return shapely.orient_polygons(geometries)
    parts, owner = shapely.get_parts(geometries, return_index=True)
    area = (shapely.get_type_id(parts) == 3) & ~shapely.is_empty(parts)
    return shapely.orient_polygons(regrouped(parts[area], owner[area], len(geometries)))


def regrouped(parts: np.ndarray, owner: np.ndarray, size: int) -> np.ndarray:
    """Polygons gathered by owner (sorted): a Polygon where it has one, a MultiPolygon where more, empty where none."""
    out = np.full(size, shapely.Polygon(), dtype=object)
    owners, first, count = np.unique(owner, return_index=True, return_counts=True)
    out[owners[count == 1]] = parts[first[count == 1]]
    many = np.isin(owner, owners[count > 1])
    if many.any():
        who, row = np.unique(owner[many], return_inverse=True)
        out[who] = shapely.multipolygons(parts[many], indices=row)
    return out


def _refigured(parcels: pd.DataFrame, lawn: np.ndarray) -> pd.DataFrame:
    """The parcels' rows with the lawn's own figures: areas and lengths keep the ratio that the parcel's true ones have to its
    frame."""
    out, old = parcels.copy(), parcels["geometry"].to_numpy()
    part = shapely.area(lawn) / shapely.area(old)
    for name in ("plan_area_m2", "ground_area_m2", "surface_area_m2"):
        out[name] = out[name] * part
    out["perimeter_m"] *= shapely.length(lawn) / shapely.length(old)
    out["geometry"] = lawn
    out["area_tolerance_m2"] = plane.area_sigma_m2(lawn, out["sigma_m"].to_numpy())
    out["laid"] = plane.laid(out)
    return out


def _taken(parcels: pd.DataFrame, losses: list[tuple[str, np.ndarray]]) -> pd.DataFrame:
    """One row a parcel and reason, in ground m2; what was filled in counts as less than nothing taken."""
    true = (parcels["ground_area_m2"] / shapely.area(parcels["geometry"].to_numpy())).to_numpy()
    tables = [
        pd.DataFrame({"row": np.arange(len(lost)), "order": order, "reason": reason, "area_m2": lost * true})
        for order, (reason, lost) in enumerate(losses)
    ]
    table = pd.concat(tables).sort_values(["row", "order"], kind="stable")
    table = table[table["area_m2"].abs() > 1e-9]
    names = parcels[["site", "area"]].iloc[table["row"]].reset_index(drop=True)
    return pd.concat([names, table[["reason", "area_m2"]].reset_index(drop=True)], axis=1)


def _bare(parcels: pd.DataFrame) -> list[Finding]:
    """Parcels that have no lawn."""
    message = "has no lawn left after buildings, paving, exclusions and the smallest width and area"
    places = parcels[["file", "layer", "feature", "site", "area"]].to_numpy().tolist()
    return [Finding("warning", "no-lawn", message, *place) for place in places]
