"""The way back from the areas that turf is laid on to all that a bid has.

`Ground.only` gives the ground of some areas, for the stages. `everywhere` gives a result with the
areas that stay among those that are laid, for tables and maps of the whole place: they have their
ground and their edge, and no turf, piece or price.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import pandas as pd

from geoturf.model import CutPlan, Edges, Ground, Price, Result, Takeoff


def everywhere(result: Result) -> Result:
    """The result with all areas in it, laid or not; itself where turf is laid on all."""
    if result.staying is None:
        return result
    rows = result.staying.rows
    count = len(result.staying.ground.areas)
    return replace(
        result,
        ground=_ground(result.staying.ground, result.ground, rows),
        edges=_edges(result.edges, rows, count),
        plan=_plan(result.plan, rows, count),
        takeoff=_takeoff(result.takeoff, rows, count),
        price=_price(result.price, result.staying.ground, rows),
        choices=(),
        staying=None,
    )


def _ground(whole: Ground, laid: Ground, rows: np.ndarray) -> Ground:
    """All areas, with what the stages have found out of those that are laid."""
    areas = whole.areas.assign(plan="", shape=np.arange(len(whole.areas)))
    own = laid.areas.assign(shape=rows[laid.areas["shape"].to_numpy(int)])
    for name in own:
        if name not in areas:
            areas[name] = ""
        column = areas[name].to_numpy(copy=True)
        column[rows] = own[name].to_numpy()
        areas[name] = column
    return replace(whole, areas=areas)


def _edges(edges: Edges, rows: np.ndarray, count: int) -> Edges:
    runs = edges.runs
    neighbour = runs["neighbour"].to_numpy(int)
    at = _onto(runs, rows)
    at["neighbour"] = np.where(neighbour >= 0, np.append(rows, -1)[neighbour], -1)
    totals = _aligned(edges.totals, rows, count, 0)
    lengths = [name for name in map(str, totals) if name.startswith("edge_")]
    totals.loc[np.setdiff1d(np.arange(count), rows), lengths] = np.nan  # they bound no turf
    return replace(edges, runs=at, totals=totals)


def _plan(plan: CutPlan, rows: np.ndarray, count: int) -> CutPlan:
    chosen = _aligned(plan.chosen, rows, count, 0)
    stays = np.setdiff1d(np.arange(count), rows)
    chosen.loc[stays, "pile_bearing_deg"] = np.nan
    chosen.loc[stays, "free_cost_ratio"] = 1.0
    pieces = _onto(plan.pieces, rows)
    seams = _onto(plan.seams, rows)
    return replace(
        plan,
        pieces=pieces,
        seams=seams,
        chosen=chosen,
    )


def _takeoff(takeoff: Takeoff, rows: np.ndarray, count: int) -> Takeoff:
    return replace(takeoff, areas=_aligned(takeoff.areas, rows, count, 0))


def _price(price: Price, whole: Ground, rows: np.ndarray) -> Price:
    count = len(whole.areas)
    nothing = Decimal(0)
    all_sites = whole.areas["site"].drop_duplicates()
    own: Any = price.sites.set_index("site").reindex(all_sites).astype(object)
    sites = own.where(own.notna(), nothing)
    return replace(
        price,
        areas=_aligned(price.areas, rows, count, nothing),
        borne=_aligned(price.borne, rows, count, 0),
        sites=sites.rename_axis("site").reset_index(),
    )


def _onto(table: pd.DataFrame, rows: np.ndarray) -> pd.DataFrame:
    return table.assign(area_index=rows[table["area_index"].to_numpy(int)])


def _aligned(table: pd.DataFrame, rows: np.ndarray, count: int, none: Any) -> pd.DataFrame:
    """An areas-aligned table over ``count`` areas, ``none`` where they stay."""
    return table.set_axis(pd.Index(rows), axis=0).reindex(np.arange(count), fill_value=none)
