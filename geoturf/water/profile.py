"""A profile of local minimums for synthetic turf, checked site by site: pass, fail, or not known."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd
import shapely

from geoturf.model import Finding, Ground
from geoturf.rules import Product
from geoturf.rules.water import Profile
from geoturf.water.lawns import Lawns

PASS, FAIL, UNKNOWN = "pass", "fail", "not known"


def check(
    lawns: Lawns, ground: Ground, products: Mapping[str, Product] | None, profile: Profile | None, chosen: np.ndarray
) -> pd.DataFrame:
    """One row a site with turf chosen and a limit of the profile: site, check, unit, limit (SI), found (SI, the worst
    area's), result. ``chosen``: (n,) conversions."""
    turf = np.array([conversion.turf for conversion in lawns.conversions])
    is_turf = (chosen >= 0) & turf[chosen]
    if profile is None or not is_turf.any():
        return pd.DataFrame(columns=["site", "check", "unit", "limit", "found", "result"])
    areas = lawns.areas.assign(is_turf=is_turf)
    laid = areas[is_turf]

    def of_product(value: Callable[[str, Product], float]) -> pd.Series:
        known = {name: value(name, product) for name, product in (products or {}).items()}
        return laid["product"].map(known).astype(float)

    rows: list[pd.DataFrame] = []

    def least(name: str, unit: str, limit: float | None, found: pd.Series) -> None:
        if limit is not None:
            rows.append(
                _judged(name, unit, limit, found.groupby(laid["site"], sort=False).agg(_worst_low), at_least=True)
            )

    def most(name: str, unit: str, limit: float | None, found: pd.Series) -> None:
        if limit is not None:
            rows.append(
                _judged(name, unit, limit, found.groupby(laid["site"], sort=False).agg(_worst_high), at_least=False)
            )

    least("pile height at least", "m", profile.min_pile_height_m, of_product(lambda _, p: p.pile_height_m))
    most("pile height at most", "m", profile.max_pile_height_m, of_product(lambda _, p: p.pile_height_m))
    least(
        "pile weight at least",
        "kg/m2",
        profile.min_pile_weight_kg_per_m2,
        of_product(lambda _, p: p.pile_weight_kg_per_m2),
    )
    drainage = laid["product"].map(profile.drainage_m_per_h).astype(float)
    least("drainage at least", "m/h", profile.min_drainage_m_per_h, drainage)
    if profile.min_tree_distance_m is not None:
        least(
            "distance to trees at least", "m", profile.min_tree_distance_m, tree_distance_m(laid, ground, profile.trees)
        )
    if profile.max_slope is not None:
        slope = laid["slope_pct"] / 100 if "slope_pct" in laid else pd.Series(np.nan, index=laid.index)
        most("slope at most", "fraction", profile.max_slope, slope)
    if profile.max_coverage is not None:
        whole = areas.groupby("site", sort=False)["ground_area_m2"].sum()
        covered = laid.groupby("site", sort=False)["ground_area_m2"].sum()
        share = covered / whole.reindex(covered.index)
        rows.append(_judged("share of turf at most", "fraction", profile.max_coverage, share, at_least=False))
    return (
        pd.concat(rows, ignore_index=True)
        if rows
        else pd.DataFrame(columns=["site", "check", "unit", "limit", "found", "result"])
    )


def _worst_low(found: pd.Series) -> float:
    return np.nan if found.isna().any() else found.min()


def _worst_high(found: pd.Series) -> float:
    return np.nan if found.isna().any() else found.max()


def _judged(name: str, unit: str, limit: float, found: pd.Series, at_least: bool) -> pd.DataFrame:
    margin = found - limit if at_least else limit - found
    result = np.where(found.isna(), UNKNOWN, np.where(margin >= -1e-9 * max(1.0, abs(limit)), PASS, FAIL))
    return pd.DataFrame(
        {
            "site": found.index,
            "check": name,
            "unit": unit,
            "limit": limit,
            "found": found.to_numpy(float),
            "result": result,
        }
    )


def tree_distance_m(areas: pd.DataFrame, ground: Ground, layer: str) -> pd.Series:
    """Distance from each area to the nearest feature of the context layer ``layer``, metres; inf where that layer is
    there and has none near, nan (not known) where no such layer is. A column ``tree_distance_m`` of the areas goes
    first."""
    if "tree_distance_m" in areas:
        return areas["tree_distance_m"].astype(float)
    context = ground.context
    named = context["layer"].astype(str).eq(layer) if len(context) else pd.Series(dtype=bool)
    trees = context[named] if len(context) else context
    if len(trees) == 0:
        return pd.Series(np.nan, index=areas.index)
    found = pd.Series(np.inf, index=areas.index)
    for frame, group in areas.groupby("frame"):
        near = trees[trees["frame"] == frame]
        if len(near):
            tree = shapely.STRtree(near["geometry"].to_numpy())
            at, distance = tree.query_nearest(group["geometry"].to_numpy(), return_distance=True, all_matches=False)
            found.loc[group.index[at[0]]] = distance
    return found


def findings(table: pd.DataFrame) -> list[Finding]:
    """A warning for each site that fails, a note where something could not be known."""
    found = []
    for site, part in table[table["result"] == FAIL].groupby("site", sort=False):
        text = f"synthetic turf chosen here fails local minimums stated in the bid: {', '.join(part['check'])}"
        found.append(Finding("warning", "profile-fails", text, site=str(site)))
    unknown = sorted(set(table.loc[table["result"] == UNKNOWN, "check"]))
    if unknown:
        text = f"water.profile: could not be checked, the data or the bid do not say it: {', '.join(unknown)}"
        found.append(Finding("note", "profile-unknown", text))
    return found
