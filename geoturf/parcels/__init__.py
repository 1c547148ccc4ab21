"""From a parcel to the lawn on it: parcel less buildings, paving, planters and exclusions, as a
person would draw it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.errors import InputError
from geoturf.model import PLACE, Finding, Ground
from geoturf.parcels import lawn, yards
from geoturf.rules.ground import ParcelRules

_LEAST_M2 = 1e-4  # a square centimetre: less was not taken but rounded


def derive(ground: Ground, rules: ParcelRules) -> Ground:
    """Replaces each area of role ``parcel`` by the lawn on it; gives ``ground`` back where there is
    none.

    Taken away, in this order: the boundary setback, what is drawn as turf in the same site,
    exclusions, planters, buildings with their setback, paving with its own, strips narrower than
    the smallest width, remnants under the smallest area; small holes are filled last. ``taken``
    holds each with its area, so that for every parcel, but for some square centimetres of rounding,
    parcel = lawn + what was taken. Where the data tell the street's side (`geoturf.parcels.yards`)
    a lawn is divided into front, side and back: an area each. A parcel without lawn leaves the
    areas with a warning. Raises `InputError` when nothing is left at all.
    """
    areas = ground.areas
    rows = np.flatnonzero(areas["role"] == "parcel")
    if not len(rows):
        return ground
    parcels = areas.iloc[rows]
    grass, losses = lawn.lawns(ground, parcels, rules)
    derived, untold = _yards(ground, parcels, grass, rules)
    kept = pd.concat([areas.drop(index=areas.index[rows]), derived]).sort_index(kind="stable")
    findings = (*ground.findings, *_bare(parcels[shapely.is_empty(grass)]), *untold)
    if kept.empty:
        raise InputError(
            [*findings, Finding("error", "nothing-to-price", "no parcel has any lawn left")]
        )
    return replace(
        ground, areas=kept.reset_index(drop=True), taken=_taken(parcels, losses), findings=findings
    )


def _yards(
    ground: Ground, parcels: pd.DataFrame, grass: np.ndarray, rules: ParcelRules
) -> tuple[pd.DataFrame, list[Finding]]:
    """The rows of the derived areas, one a lawn or, where they can be told, one a yard; and what
    could not be told."""
    if not rules.split:
        some = ~shapely.is_empty(grass)
        return _refigured(parcels[some], grass[some]), []
    split, told = yards.divide(ground, parcels, grass, rules.min_area_m2)
    row, yard = np.nonzero(~shapely.is_empty(split))
    table = _refigured(parcels.iloc[row], split[row, yard])
    table["yard"] = np.where(told[row], np.array(yards.YARDS)[yard], "")
    table["area"] = (table["area"] + " " + table["yard"]).str.strip()
    untold = int((~told & ~shapely.is_empty(grass)).sum())
    message = (
        f"front, side and back are not told apart on {untold} of {len(parcels)} parcels: the data "
        "show no house on "
        "them, or neither a street nor one side without a neighbour or with a drive; a layer of "
        "role street would tell"
    )
    return table, [Finding("note", "no-street-side", message)] if untold else []


def _refigured(parcels: pd.DataFrame, grass: np.ndarray) -> pd.DataFrame:
    """The parcels' rows with the lawns' own figures, which keep the ratio that the parcel's have to
    its frame."""
    out = parcels.copy()
    old = parcels["geometry"].to_numpy()
    part = shapely.area(grass) / shapely.area(old)
    for name in ("plan_area_m2", "ground_area_m2", "surface_area_m2"):
        out[name] = out[name] * part
    out["perimeter_m"] *= shapely.length(grass) / shapely.length(old)
    out["geometry"] = grass
    out["area_tolerance_m2"] = plane.area_sigma_m2(
        grass, *(out[name].to_numpy() for name in ("sigma_m", "correlation_m"))
    )
    out["laid"] = plane.laid(out)
    return out


def _taken(parcels: pd.DataFrame, losses: list[tuple[str, np.ndarray]]) -> pd.DataFrame:
    """One row a parcel and reason, in ground m2; what was filled in counts as less than nothing
    taken."""
    true = (parcels["ground_area_m2"] / shapely.area(parcels["geometry"].to_numpy())).to_numpy()
    tables = [
        pd.DataFrame(
            {
                "row": np.arange(len(lost)),
                "order": order,
                "reason": reason,
                "area_m2": lost * true,
            }
        )
        for order, (reason, lost) in enumerate(losses)
    ]
    table = pd.concat(tables).sort_values(["row", "order"], kind="stable")
    table = table[table["area_m2"].abs() > _LEAST_M2]
    names = parcels[["site", "area"]].iloc[table["row"]].reset_index(drop=True)
    return pd.concat([names, table[["reason", "area_m2"]].reset_index(drop=True)], axis=1)


def _bare(parcels: pd.DataFrame) -> list[Finding]:
    """Parcels that have no lawn."""
    message = "has no lawn left after buildings, paving, exclusions and the smallest width and area"
    places = parcels[[*PLACE]].to_numpy().tolist()
    return [Finding("warning", "no-lawn", message, *place) for place in places]
