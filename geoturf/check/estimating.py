"""What is estimated against the ground it stands for. Bounds are reckoned anew, from the ground
alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd
import shapely

from geoturf.check.finding import always, area_name, told
from geoturf.model import ESTIMATED, Finding, Result
from geoturf.rules import Product

CLOSE = 1e-6  # sums of floats, relative


def laid_part(result: Result) -> Result:
    """The ground that is laid and the cut plan of it, counted among themselves; the result itself
    where nothing is estimated."""
    if result.plan.estimate is None:
        return result
    return part_of(result, result.ground.laid)


def part_of(result: Result, rows: np.ndarray) -> Result:
    """The areas in ``rows``, which are laid, and their part of the cut plan, counted among
    themselves."""
    plan = result.plan
    number = np.full(len(result.ground.areas), -1)
    number[rows] = np.arange(len(rows))
    pieces, seams = (_counted(table, number) for table in (plan.pieces, plan.seams))
    pools = plan.pools[plan.pools["status"].ne(ESTIMATED)].reset_index(drop=True)
    chosen = plan.chosen.iloc[rows].reset_index(drop=True)
    own = replace(
        plan,
        pieces=pieces,
        seams=seams,
        pools=pools,
        chosen=chosen,
    )
    return replace(result, ground=result.ground.only(rows), plan=own)


def _counted(rows: pd.DataFrame, number: np.ndarray) -> pd.DataFrame:
    of = number[rows["area_index"].to_numpy(int)]
    kept: pd.DataFrame = rows[of >= 0]  # what lies on an estimated area is told by `each_once`
    return kept.assign(area_index=of[of >= 0])


def each_once(result: Result) -> list[Finding]:
    """What is to be estimated is, once each, and nothing is laid there; where all is to be laid,
    nothing is estimated."""
    due = np.ones(len(result.ground.areas), bool)
    due[result.ground.laid] = False
    estimate = result.plan.estimate
    of = estimate.areas["area_index"].to_numpy(int) if estimate else np.zeros(0, int)
    have = np.bincount(of, minlength=len(due))
    laid = np.bincount(result.plan.pieces["area_index"].to_numpy(int), minlength=len(due)) > 0
    wrong = (have != due) | (laid & due)
    return told(
        "estimate-not-once",
        wrong,
        lambda row: f"{area_name(result, row)} is not either laid or estimated, once",
    )


def over_ground(result: Result) -> list[Finding]:
    """No area is given less turf than a roll without its selvage covers it with, and no sum of
    them less than is bought."""
    if result.plan.estimate is None:
        return []
    areas = result.plan.estimate.areas
    at = areas["area_index"].to_numpy(int)
    land = result.ground.areas.iloc[at]
    laid_m2 = shapely.area(land["laid"].to_numpy(object))
    least = laid_m2 * _over(result, land["product"])
    bought = result.plan.chosen["turf_bought_m2"].to_numpy(float)[at]
    under = (areas["turf_m2"].to_numpy(float) < least * (1 - CLOSE)) | (
        bought < least * (1 - CLOSE)
    )
    return told(
        "estimate-under-ground",
        under,
        lambda k: (
            f"{area_name(result, int(at[k]))}: {bought[k]:.4f} m2 of turf are estimated, and "
            f"{least[k]:.4f} cover it at the least"
        ),
    )


def _over(result: Result, product: pd.Series) -> np.ndarray:
    """Turf over what it can cover, for each product."""
    trim = 2 * result.bid.layout.selvage_trim_m
    products: Mapping[str, Product] = result.bid.products
    over = {
        name: min(w.roll_width_m / (w.roll_width_m - trim) for w in one.widths)
        for name, one in products.items()
    }
    return product.map(over).to_numpy(float)


def sums(result: Result) -> list[Finding]:
    """A pool that is estimated buys what its areas bear and what its rolls or lengths come to,
    within no bounds that it undercuts, and tells its spread."""
    estimate = result.plan.estimate
    pools = result.plan.pools
    if estimate is None or estimate.bought is None:
        return []
    mine = pools[pools["status"].eq(ESTIMATED)].set_index("pool")
    bought = (estimate.bought["total_m"] * estimate.bought["width_m"]).groupby(
        estimate.bought["pool"]
    )
    due = bought.sum().reindex(mine.index).fillna(0.0).to_numpy(float)
    have = mine["bought_m2"].to_numpy(float)
    wrong = np.abs(have - due) > CLOSE * (1 + due)
    wrong |= ~np.isfinite(mine["sigma_m2"].to_numpy(float)) | (mine["sigma_m2"].to_numpy() <= 0)
    found = told(
        "estimate-sums",
        wrong,
        lambda k: (
            f"pool {mine.index[k]}: {have[k]:.4f} m2 are not what is bought ({due[k]:.4f}), or "
            "without a spread"
        ),
    )
    at = estimate.areas["area_index"].to_numpy(int)
    borne = float(result.plan.chosen["turf_bought_m2"].to_numpy(float)[at].sum())
    off = abs(borne - have.sum()) > CLOSE * (1 + have.sum())
    said = "the turf of the areas that are estimated is not that of their pools"
    return found + told("estimate-sums", np.array([off]), always(said))


def said(result: Result) -> list[Finding]:
    """A result with an estimate in it says so."""
    silent = result.plan.estimate is not None and not any(
        finding.code == "estimated" for finding in result.findings
    )
    return told("estimate-untold", np.array([silent]), always("it is not said what is estimated"))


PROMISES = (each_once, over_ground, sums, said)
