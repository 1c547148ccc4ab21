"""Tables against each other: nothing missing, and what should add up does."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoturf.check.estimating import laid_part
from geoturf.check.finding import always, area_name, is_not, told
from geoturf.check.placed import rolls_by_name
from geoturf.model import Finding, Result

EDGE_M = 1e-3  # the spec's: edge lengths add up to the perimeter to 1 mm
FRAME = 1e-3  # lengths in a site's frame are this close to those at an area's own elevation
CLOSE = 1e-6  # sums of floats, relative

_NEEDED = {
    "ground.areas": "plan_area_m2 ground_area_m2 surface_area_m2 area_tolerance_m2 perimeter_m",
    "edges.totals": "edge_paving_m edge_building_m edge_shared_m edge_open_m perimeter_fasteners "
    "field_fasteners fastened_m",
    "edges.runs": "area_index length_m",
    "plan.pieces": "area_index u0 u1 v0 v1 bearing_deg along_m across_m length_m width_m "
    "start_slant_m end_slant_m",
    "plan.rolls": "width_m length_m used_m pieces left_over_m",
    "plan.pools": "pieces rolls bought_m2 needed_m2 bound_m2 strip_bound_m2 cut_bound_m2 "
    "by_hand_m2 square_m2",
    "plan.chosen": "pile_bearing_deg seam_m cross_seams pieces piece_area_m2 turf_bought_m2 "
    "free_cost_ratio",
    "plan.seams": "area_index u0 v0 u1 v1 length_m",
    "takeoff.items": "net allowance order order_size",
    "price.lines": "quantity unit_price amount",
    "price.sites": "cost price",
    "price.areas": "cost price",
}
_SIGNED = {
    "u0",
    "u1",
    "v0",
    "v1",
    "along_m",
    "across_m",
    "bearing_deg",
    "pile_bearing_deg",
    "start_slant_m",
    "end_slant_m",
}
_ALIGNED = ("edges.totals", "plan.chosen", "takeoff.areas", "price.areas")


def missing_values(result: Result) -> list[Finding]:
    """No NaN, no infinity, nothing negative where a measure, a count or an amount belongs; a row
    for every area."""
    found: list[Finding] = []
    laid = laid_part(result)
    for name in _ALIGNED:
        if len(_table(result, name)) != len(result.ground.areas):
            found += told(
                "rows-missing", np.ones(1, dtype=bool), always(f"{name} has not one row an area")
            )
    for name, columns in _NEEDED.items():
        table = _table(laid if name.startswith("plan.") else result, name)
        for column in columns.split():
            values = pd.to_numeric(table[column], errors="coerce").to_numpy(float)
            say = lambda k, what, name=name, column=column: f"{name}, row {k}: {what} {column}"  # noqa: E731
            found += told("value-missing", ~np.isfinite(values), partial(say, what="no"))
            if column not in _SIGNED:
                found += told("value-negative", values < -1e-9, partial(say, what="less than no"))
    return found


def edge_sums(result: Result) -> list[Finding]:
    """The four kinds of edge of an area add up to its perimeter, and are those of its runs."""
    totals = result.edges.totals
    runs = result.edges.runs
    count = len(result.ground.areas)
    kinds = [f"edge_{kind}_m" for kind in ("paving", "building", "shared", "open")]
    missed = totals[kinds].sum(axis=1) - result.ground.areas["perimeter_m"]
    off = np.abs(missed.to_numpy(float))
    found = told(
        "edges-not-perimeter",
        off > EDGE_M,
        lambda row: f"{area_name(result, row)}: edges miss the perimeter by {off[row]:.4f} m",
    )
    of = runs["area_index"].to_numpy(np.int64)
    told_m = runs["length_m"].to_numpy(float)
    drawn = shapely.length(
        runs["geometry"].to_numpy(dtype=object)
    )  # in the site's frame: an elevation's worth off
    wrong = np.bincount(of, np.abs(drawn - told_m) > EDGE_M + FRAME * told_m, count) > 0
    for kind, column in zip(("paving", "building", "shared", "open"), kinds, strict=True):
        of_kind = runs["kind"].replace({"fence": "open", "planter": "open"}) == kind
        own = np.bincount(of, told_m * of_kind, count)
        wrong |= np.abs(own - totals[column].to_numpy(float)) > EDGE_M
    return found + told(
        "edges-not-runs",
        wrong,
        lambda row: f"{area_name(result, row)}: edges are not those of its runs",
    )


def fasteners(result: Result) -> list[Finding]:
    """Nails along each run that is not shared, along the slope (one more than spaces where it has
    ends), in the field, none where glued."""
    areas = result.ground.areas
    runs = result.edges.runs
    rules = result.bid.edges
    length_m = runs["length_m"].to_numpy(float) * _climb(areas, runs)
    products = result.bid.products
    nailed = np.array([products[name].fixing == "nail" for name in areas["product"]], dtype=bool)
    of = runs["area_index"].to_numpy(np.int64)
    spaces = np.ceil(length_m / rules.perimeter_spacing_m - CLOSE)
    along = (spaces + ~runs["closed"].to_numpy(bool)) * (runs["kind"] != "shared").to_numpy()
    along = np.bincount(of, along, len(areas)) * nailed
    field = (
        np.ceil(areas["surface_area_m2"].to_numpy(float) / rules.field_spacing_m**2 - CLOSE)
        * nailed
    )
    due = np.column_stack([along, field])
    wrong = (
        result.edges.totals[["perimeter_fasteners", "field_fasteners"]].to_numpy(float) != due
    ).any(axis=1)
    return told(
        "nails-miscounted",
        wrong,
        lambda row: f"{area_name(result, row)}: {due[row].sum():.0f} nails are due",
    )


def _climb(areas: pd.DataFrame, runs: pd.DataFrame) -> np.ndarray:
    """How much longer each run is along the slope than on the map: by Pythagoras, of what its
    segments go down the fall line."""
    xy, run = shapely.get_coordinates(runs["geometry"].to_numpy(dtype=object), return_index=True)
    step = np.diff(xy, axis=0)
    own = run[1:] == run[:-1]
    step = step[own]
    run = run[1:][own]
    area = runs["area_index"].to_numpy(np.int64)[run]
    fall = np.radians(np.nan_to_num(areas["laid_fall_deg"].to_numpy(float)))[area]
    down = step[:, 0] * np.sin(fall) + step[:, 1] * np.cos(fall)
    rise = down**2 * (areas["laid_stretch"].to_numpy(float)[area] ** 2 - 1)
    flat = (step**2).sum(axis=1)
    long, short = (np.bincount(run, np.sqrt(square), len(runs)) for square in (flat + rise, flat))
    return long / np.where(short > 0, short, 1.0)


def pool_sums(result: Result) -> list[Finding]:
    """A pool buys its rolls, has their pieces, and needs the surface of its areas."""
    plan = result.plan
    pools = result.plan.pools.set_index("pool")
    rolls = plan.rolls.assign(m2=plan.rolls["width_m"] * plan.rolls["length_m"])
    bought = rolls[rolls["source"] != "stock"].groupby("pool")
    area_pool = _pool_of_areas(result)
    surface = (
        result.ground.areas["surface_area_m2"].reindex(area_pool.index).groupby(area_pool).sum()
    )
    due = {
        "bought_m2": bought["m2"].sum(), "rolls": bought.size(), "pieces": rolls.groupby("pool")["pieces"].sum(),
        "needed_m2": surface,
    }  # fmt: skip
    found: list[Finding] = []
    for column, values in due.items():
        wanted = values.reindex(pools.index).fillna(0).to_numpy(float)
        wrong = _differ(pools[column], wanted)
        found += told(
            "pool-sums", wrong, is_not(lambda k: f"pool {pools.index[k]}", column, wanted)
        )
    return found


def bounds(result: Result) -> list[Finding]:
    """No pool buys less than what is proven to be the least for any layout, or for its pieces."""
    pools = result.plan.pools
    least = np.maximum(pools["bound_m2"].to_numpy(float), pools["cut_bound_m2"].to_numpy(float))
    under = pools["bought_m2"].to_numpy(float) < least * (1 - CLOSE) - CLOSE
    return told(
        "bound-beaten",
        under,
        lambda k: (
            f"pool {pools['pool'].iloc[k]} buys {pools['bought_m2'].iloc[k]:.4f} m2 under a bound "
            f"of {least[k]:.4f}"
        ),
    )


def area_sums(result: Result) -> list[Finding]:
    """Turf bought for the areas adds up to what the pools buy; pieces, their area and seams are
    those of the plan."""
    plan = result.plan
    chosen = result.plan.chosen
    count = len(result.ground.areas)
    area_pool = _pool_of_areas(result)
    pools = plan.pools.set_index("pool")["bought_m2"]
    shares = (
        chosen["turf_bought_m2"]
        .reindex(area_pool.index)
        .groupby(area_pool)
        .sum()
        .reindex(pools.index)
        .fillna(0)
    )
    found = told(
        "turf-shares",
        _differ(pools, shares.to_numpy(float)),
        lambda k: (
            f"pool {pools.index[k]} buys {pools.iloc[k]:.6g} m2, its areas {shares.iloc[k]:.6g} m2"
        ),
    )
    of = plan.pieces["area_index"].to_numpy(np.int64)
    seam_of = plan.seams["area_index"].to_numpy(np.int64)
    due = {
        "pieces": np.bincount(of, minlength=count),
        "piece_area_m2": np.bincount(of, _middle_m(plan.pieces) * plan.pieces["width_m"], count),
        "seam_m": np.bincount(seam_of, plan.seams["length_m"], count),
        "cross_seams": np.bincount(seam_of, plan.seams["kind"] == "cross", count),
    }
    for column, wanted in due.items():
        say = is_not(partial(area_name, result), column, wanted)
        found += told("area-sums", _differ(chosen[column], wanted), say)
    return found


def orders(result: Result) -> list[Finding]:
    """What is ordered covers what is needed and its allowance; the bid's total is the sum of its
    pools; a pool's net is that of its areas; turf ordered is turf bought."""
    items = result.takeoff.items
    need = items["net"] * (1 + items["allowance"])
    have = items["order"] * items["order_size"]
    name = items["scope"].astype(str) + ", " + items["item"].astype(str)
    short = (have < need * (1 - CLOSE) - CLOSE * items["order_size"]).to_numpy()
    found = told(
        "order-short",
        short,
        lambda k: f"{name.iloc[k]}: {have.iloc[k]:.6g} {items['unit'].iloc[k]} ordered",
    )
    pools = items[items["scope_kind"] == "pool"]
    total = items[items["scope_kind"] == "bid"]
    for column in ("net", "order"):
        sums = total.groupby("key")[column].sum()
        wanted = pools.groupby("key")[column].sum()
        both = wanted.index.union(sums.index)
        wrong = _differ(
            sums.reindex(both).fillna(0), wanted.reindex(both).fillna(0).to_numpy(float)
        )
        words = [f"{key}: the bid's {column} is not that of its pools" for key in both]
        found += told("takeoff-sums", wrong, words.__getitem__)
    found += list(_net_by_area(result, pools))
    turf = pools["key"] == "turf"
    off = abs(
        (pools["order"] * pools["order_size"])[turf].sum() - result.plan.pools["bought_m2"].sum()
    )
    return found + told(
        "turf-not-as-planned",
        np.array([off > 1e-3]),
        lambda _: f"turf ordered and the cut plan differ by {off:.4f} m2",
    )


def _net_by_area(result: Result, pools: pd.DataFrame) -> Iterator[Finding]:
    """Pool rows whose net is not the sum over the areas of the phase (turf is told by the plan)."""
    nets = result.takeoff.areas.groupby(result.ground.areas["phase"].astype(str).to_numpy()).sum()
    rows = pools[(pools["key"] != "turf") & pools["key"].isin(nets.columns)]
    wanted = np.array(
        [nets.at[phase, key] for phase, key in zip(rows["phase"], rows["key"], strict=True)],
        dtype=float,
    )
    yield from told(
        "net-not-by-area",
        _differ(rows["net"], wanted),
        lambda k: f"{rows['scope'].iloc[k]}: {rows['key'].iloc[k]}",
    )


PROMISES = (edge_sums, fasteners, bounds, orders)
LAID = (pool_sums, area_sums)  # of what is laid: what is estimated has no pieces to add up


def _table(result: Result, name: str) -> pd.DataFrame:
    room, table = name.split(".")
    found: pd.DataFrame = getattr(getattr(result, room), table)
    return found


def _pool_of_areas(result: Result) -> pd.Series:
    """The pool of each area that has pieces, by the rolls they are cut from; index: the area's
    row."""
    pool = rolls_by_name(result)["pool"]
    return result.plan.pieces["roll"].map(pool).groupby(result.plan.pieces["area_index"]).first()


def _middle_m(pieces: pd.DataFrame) -> pd.Series:
    """Length of each piece along its middle line."""
    return pieces["length_m"] + (pieces["end_slant_m"] - pieces["start_slant_m"]) / 2


def _differ(values: pd.Series[Any], wanted: NDArray[Any]) -> NDArray[np.bool_]:
    """Where two columns of sums differ."""
    off: NDArray[np.bool_] = np.abs(values.to_numpy(float) - wanted) > CLOSE * (1 + np.abs(wanted))
    return off
