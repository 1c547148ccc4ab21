"""What is left of parcels when everything that is no lawn is taken away, with what was taken."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.model import Ground
from geoturf.rules.ground import ParcelRules

_HAIR_M = 1e-6
_PLAY_M = 1e-3  # a strip drawn as wide as the smallest width stays, whatever rounding did to it


def lawns(
    ground: Ground, parcels: pd.DataFrame, rules: ParcelRules
) -> tuple[np.ndarray, list[tuple[str, np.ndarray]]]:
    """The lawn of each parcel, and (reason, m2 lost in the frame) in the order it was taken."""
    lawn = parcels["geometry"].to_numpy()
    losses = []

    def left(reason: str, after: np.ndarray) -> None:
        nonlocal lawn
        losses.append((reason, shapely.area(lawn) - shapely.area(after)))
        lawn = after

    if rules.boundary_setback_m > 0:
        left("boundary setback", plane.buffered(lawn, -rules.boundary_setback_m))
    left("drawn as turf", _without(lawn, parcels, _drawn(ground), 0.0))
    for role, setback in (
        ("exclude", 0.0),
        ("planter", 0.0),
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


def _without(
    lawn: np.ndarray, parcels: pd.DataFrame, things: pd.DataFrame, setback_m: float
) -> np.ndarray:
    """``lawn`` less the things in its frame, each grown by the setback. Only lawns that are met are
    touched."""
    frame = parcels["frame"].to_numpy()
    geometry = things["geometry"].to_numpy()
    i, j = plane.near(lawn, frame, geometry, things["frame"].to_numpy(), setback_m)
    if setback_m > 0:
        geometry = plane.buffered(geometry, setback_m)
    hit = np.unique(i)
    out = lawn.copy()
    out[hit] = plane.overlaid(
        shapely.difference, lawn[hit], plane.united(geometry, i, j, len(lawn))[hit]
    )
    return plane.polygonal(out)


def _opened(lawn: np.ndarray, width_m: float) -> np.ndarray:
    """Less what no square of ``width_m`` reaches: buffered in and out with mitred corners, so that
    straight borders and square corners stay as they are; only borders at the mouth of what is cut
    off are new."""
    half = (width_m - _PLAY_M) / 2
    if half > 0:
        reached = plane.buffered(plane.buffered(lawn, -half), half + _HAIR_M)
        lawn = plane.overlaid(shapely.intersection, lawn, reached)
    return plane.tidy(lawn)


def _large_parts(lawn: np.ndarray, least_m2: float) -> np.ndarray:
    parts, owner = shapely.get_parts(lawn, return_index=True)
    large = shapely.area(parts) >= least_m2
    return plane.regrouped(parts[large], owner[large], len(lawn))


def _filled(lawn: np.ndarray, least_m2: float) -> np.ndarray:
    """Holes under ``least_m2`` filled."""
    parts, owner = shapely.get_parts(lawn, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    shell = np.concatenate([[True], part[1:] != part[:-1]]) if len(part) else np.zeros(0, bool)
    keep = shell | (shapely.area(shapely.polygons(rings)) >= least_m2)
    if keep.all():
        return lawn
    filled = np.asarray(shapely.polygons(rings[keep], indices=part[keep]))
    return plane.regrouped(filled, owner, len(lawn))
