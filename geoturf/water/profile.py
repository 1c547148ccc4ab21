"""A profile of local minimums for synthetic turf, checked site by site: pass, fail, or not
known."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
import shapely

from geoturf.model import Finding, Ground
from geoturf.rules import Product
from geoturf.rules.water import Profile
from geoturf.water.lawns import Lawns

PASS = "pass"
FAIL = "fail"
UNKNOWN = "not known"
_COLUMNS = ["site", "check", "unit", "limit", "found", "result"]


def check(
    lawns: Lawns,
    ground: Ground,
    products: Mapping[str, Product] | None,
    profile: Profile | None,
    chosen: np.ndarray,
) -> pd.DataFrame:
    """One row a site with turf chosen and a limit of the profile: site, check, unit, limit (SI),
    found (SI, the worst area's), result. ``chosen``: (n,) conversions."""
    turf = np.array([conversion.turf for conversion in lawns.conversions])
    is_turf = (chosen >= 0) & turf[chosen]
    rows = []
    if profile is not None and is_turf.any():
        laid = lawns.areas[is_turf]
        rows = [
            *_of_products(laid, products or {}, profile),
            *_of_ground(laid, ground, profile),
            *_of_coverage(laid, lawns.areas, profile),
        ]
    if rows:
        return pd.concat(rows, ignore_index=True)
    return pd.DataFrame(columns=_COLUMNS)


def _of_products(
    laid: pd.DataFrame,
    products: Mapping[str, Product],
    profile: Profile,
) -> list[pd.DataFrame]:
    """Limits that the turf laid has to keep."""
    height = laid["product"].map({n: p.pile_height_m for n, p in products.items()}).astype(float)
    weight = laid["product"].map({n: p.pile_weight_kg_per_m2 for n, p in products.items()})
    drainage = laid["product"].map(profile.drainage_m_per_h).astype(float)
    least_weight = profile.min_pile_weight_kg_per_m2
    return [
        *_kept("pile height", "m", profile.min_pile_height_m, height, laid),
        *_kept("pile height", "m", profile.max_pile_height_m, height, laid, at_most=True),
        *_kept("pile weight", "kg/m2", least_weight, weight.astype(float), laid),
        *_kept("drainage", "m/h", profile.min_drainage_m_per_h, drainage, laid),
    ]


def _of_ground(laid: pd.DataFrame, ground: Ground, profile: Profile) -> list[pd.DataFrame]:
    """Limits of the place where turf is laid."""
    rows = []
    if profile.min_tree_distance_m is not None:
        away = tree_distance_m(laid, ground, profile.trees)
        rows += _kept("distance to trees", "m", profile.min_tree_distance_m, away, laid)
    slope = pd.Series(np.nan, index=laid.index)
    if "slope_pct" in laid:
        slope = laid["slope_pct"] / 100
    return rows + _kept("slope", "fraction", profile.max_slope, slope, laid, at_most=True)


def _of_coverage(laid: pd.DataFrame, areas: pd.DataFrame, profile: Profile) -> list[pd.DataFrame]:
    """The limit of turf's share of a site's areas."""
    if profile.max_coverage is None:
        return []
    whole = areas.groupby("site", sort=False)["ground_area_m2"].sum()
    covered = laid.groupby("site", sort=False)["ground_area_m2"].sum()
    share = covered / whole.reindex(covered.index)
    name = "share of turf at most"
    limit = profile.max_coverage
    return [_judged(name, "fraction", limit, share, limit - share)]


def _kept(
    what: str,
    unit: str,
    limit: float | None,
    found: pd.Series,
    laid: pd.DataFrame,
    at_most: bool = False,
) -> list[pd.DataFrame]:
    """The least that is ``found`` of each site's areas (the most, of what is ``at_most`` so much),
    beside its ``limit``; nothing where there is none."""
    if limit is None:
        return []
    by_site = found.groupby(laid["site"], sort=False)
    worst = (by_site.max() if at_most else by_site.min()).where(_known(found, laid))
    if at_most:
        return [_judged(f"{what} at most", unit, limit, worst, limit - worst)]
    return [_judged(f"{what} at least", unit, limit, worst, worst - limit)]


def _known(found: pd.Series, laid: pd.DataFrame) -> pd.Series:
    """Whether all of a site's areas are known."""
    return found.notna().groupby(laid["site"], sort=False).all()


def _judged(
    name: str,
    unit: str,
    limit: float,
    found: pd.Series,
    margin: pd.Series,
) -> pd.DataFrame:
    """One row a site: passes where the ``margin`` is no less than nothing."""
    keeps = margin >= -1e-9 * max(1.0, abs(limit))
    return pd.DataFrame(
        {
            "site": found.index,
            "check": name,
            "unit": unit,
            "limit": limit,
            "found": found.to_numpy(float),
            "result": np.where(found.isna(), UNKNOWN, np.where(keeps, PASS, FAIL)),
        }
    )


def tree_distance_m(areas: pd.DataFrame, ground: Ground, layer: str) -> pd.Series:
    """Distance from each area to the nearest feature of the context layer ``layer``, metres; inf
    where that layer is there and has none near, nan (not known) where no such layer is. A column
    ``tree_distance_m`` of the areas goes first."""
    if "tree_distance_m" in areas:
        return areas["tree_distance_m"].astype(float)
    trees = ground.context
    if len(trees):
        trees = trees[trees["layer"].astype(str) == layer]
    if len(trees) == 0:
        return pd.Series(np.nan, index=areas.index)
    found = pd.Series(np.inf, index=areas.index)
    for frame, group in areas.groupby("frame"):
        near = trees[trees["frame"] == frame]
        if len(near):
            tree = shapely.STRtree(near["geometry"].to_numpy())
            lawns = group["geometry"].to_numpy()
            (at, _), distance = tree.query_nearest(lawns, return_distance=True, all_matches=False)
            found.loc[group.index[at]] = distance
    return found


def failures(table: pd.DataFrame) -> list[Finding]:
    """A warning for each site that fails, a note where something could not be known."""
    found = []
    for site, part in table[table["result"] == FAIL].groupby("site", sort=False):
        checks = ", ".join(part["check"])
        text = f"synthetic turf chosen here fails local minimums stated in the bid: {checks}"
        found.append(Finding("warning", "profile-fails", text, site=str(site)))
    unknown = sorted(set(table.loc[table["result"] == UNKNOWN, "check"]))
    if unknown:
        unsaid = "could not be checked, the data or the bid do not say it"
        text = f"water.profile: {unsaid}: {', '.join(unknown)}"
        found.append(Finding("note", "profile-unknown", text))
    return found
