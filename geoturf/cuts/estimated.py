"""Beside what is cut for areas that are laid, what is bought for areas that are estimated.

They share rolls with each other and not with laid ones, so that these are cut as if they stood
alone. How much more small pools buy than large ones was fitted with the rest
(``data/estimate.csv``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pandas as pd

from geoturf import data
from geoturf.cuts import packed
from geoturf.cuts.market import Market, markets, width_key
from geoturf.model import ESTIMATED, PIECES_OF, CutPlan, Estimate, Finding, Ground
from geoturf.rules import CutRules, Product
from geoturf.units import whole_steps


def of_all(plan: CutPlan, ground: Ground) -> CutPlan:
    """A plan of the areas that are laid, counted among themselves, as one of all areas: the others
    have nothing yet."""
    laid = ground.laid
    count = len(ground.areas)
    pieces = _moved(plan.pieces, laid)
    seams = _moved(plan.seams, laid)
    chosen = plan.chosen.astype(float).set_index(laid).reindex(range(count))
    nothing = {name: 0.0 for name in chosen if name != "pile_bearing_deg"}
    chosen = chosen.fillna(nothing | {"free_cost_ratio": 1.0}).astype({"pieces": np.int64})
    return replace(
        plan,
        pieces=pieces,
        seams=seams,
        chosen=chosen,
    )


def _moved(rows: pd.DataFrame, laid: np.ndarray) -> pd.DataFrame:
    return rows.assign(area_index=laid[rows["area_index"].to_numpy(np.int64)])


def with_estimate(
    plan: CutPlan,
    ground: Ground,
    estimate: Estimate,
    products: Mapping[str, Product],
    rules: CutRules,
) -> CutPlan:
    """The plan of the laid areas with what is bought for the estimated ones: in pools as the rules
    say, in lengths or rolls as they are sold, and never less than its bound."""
    areas = _pooled(ground, estimate.areas, rules)
    market = {name: markets(product, rules) for name, product in products.items()}
    pools = _pools(areas)
    bought = _bought(pools, market)
    totals = _totals(pools, bought, areas, market)
    turf = totals["bought_m2"].to_numpy()[areas["number"]] * _shares(areas)
    chosen = _chosen(plan.chosen, areas, turf)
    rows = totals.drop(columns="number")
    both = [plan.pools.assign(sigma_m2=0.0), rows] if len(plan.pools) else [rows]
    return replace(
        plan,
        pools=pd.concat(both, ignore_index=True),
        chosen=chosen,
        estimate=replace(estimate, bought=bought),
        findings=(*plan.findings, *_told(areas, totals, rules)),
    )


def _pooled(ground: Ground, areas: pd.DataFrame, rules: CutRules) -> pd.DataFrame:
    """The estimated areas with what tells their pools."""
    at = areas["area_index"].to_numpy()
    land = ground.areas.iloc[at]
    apart = {
        "phase": [],
        "site": ["site"],
        "area": ["site", "area"],
    }[rules.pool]
    lot = land["dye_lot"] if "dye_lot" in land else pd.Series("", land.index)
    keys = land[["phase", "product", *apart]].astype(str).assign(dye_lot=lot.astype(str))
    number = keys.groupby(list(keys), sort=False).ngroup().to_numpy()
    named = keys.reset_index(drop=True).reindex(
        columns=["phase", "product", "site", "area", "dye_lot"]
    )
    named = named.fillna("")
    needed = land["surface_area_m2"].to_numpy(float)
    figures = areas.reset_index(drop=True)
    return pd.concat([named, figures], axis=1).assign(number=number, needed_m2=needed)


def _pools(areas: pd.DataFrame) -> pd.DataFrame:
    """A row a pool and roll width: what its areas take together."""
    return areas.groupby(["number", "width_m"], sort=True, as_index=False).agg(
        phase=("phase", "first"),
        product=("product", "first"),
        site=("site", "first"),
        area=("area", "first"),
        dye_lot=("dye_lot", "first"),
        narrow=("narrow", "sum"),
        rest_m2=("rest_m2", "sum"),
        turf_m2=("turf_m2", "sum"),
        bound_m2=("bound_m2", "sum"),
        **{name: (name, "sum") for name in _lengths(areas)},
    )


def _lengths(areas: pd.DataFrame) -> list[str]:
    """The columns that count pieces by length."""
    return [name for name in map(str, areas) if name.startswith(PIECES_OF)]


def _bought(pools: pd.DataFrame, market: Mapping[str, Mapping[float, Market]]) -> pd.DataFrame:
    """What is bought of each width: whole rolls of the longest stocked and one more that holds the
    rest, or a length."""
    parts = []
    for (name, _), own in pools.groupby(["product", "width_m"], sort=False):
        width = float(own["width_m"].iloc[0])
        offer = market[str(name)][width_key(width)]
        least = own["bound_m2"].to_numpy(float)
        need = np.maximum(own["turf_m2"].to_numpy(float) + small_m2(own), least)
        parts += _sold(own, need / width, offer)
    every = pd.concat(parts, ignore_index=True)
    every = every[every["rolls"] > 0].sort_values(["number", "width_m"], kind="stable")
    return every.assign(pool=_names(every), net_m2=every["net_m"] * every["width_m"]).reset_index(
        drop=True
    )


def _sold(own: pd.DataFrame, need_m: np.ndarray, offer: Market) -> list[pd.DataFrame]:
    """Lengths (m) as they can be bought."""
    longest = offer.lengths_m[0]
    kept = own[["number", "phase", "product", "site", "area", "dye_lot", "width_m"]]
    if offer.by_length:
        total = whole_steps(need_m, offer.billing_m) * offer.billing_m
        rolls = whole_steps(total, longest).astype(np.int64)
        return [
            kept.assign(
                length_m=longest,
                rolls=rolls,
                total_m=total,
                net_m=need_m,
            )
        ]
    pieces = np.ascontiguousarray(own[_lengths(own)].to_numpy(float))
    need_m = need_m * (1 + fitted("whole rolls", "of what packing takes") * packed.over(pieces))
    whole = np.floor(need_m / longest + 1e-9)
    rest = need_m - whole * longest
    last = np.array([_holds(offer, one) for one in rest.tolist()])
    full = kept.assign(
        length_m=longest,
        rolls=whole.astype(np.int64),
        total_m=whole * longest,
    )
    more = kept.assign(
        length_m=last,
        rolls=(last > 0).astype(np.int64),
        total_m=last,
    )
    return [full.assign(net_m=whole * longest), more.assign(net_m=rest)]


def _holds(offer: Market, need_m: float) -> float:
    """The shortest stocked roll that holds a length."""
    if need_m <= 1e-6:
        return 0.0
    return min(length for length in offer.lengths_m if length >= need_m - 1e-6)


def _names(rows: pd.DataFrame) -> list[str]:
    """As `geoturf.cuts.pools` calls them, and that they are estimated."""
    columns = rows[["phase", "site", "area", "dye_lot", "product"]].to_numpy(str).tolist()
    return [" / ".join([*filter(None, parts), ESTIMATED]) for parts in columns]


def _totals(
    pools: pd.DataFrame,
    bought: pd.DataFrame,
    areas: pd.DataFrame,
    market: Mapping[str, Mapping[float, Market]],
) -> pd.DataFrame:
    """A row a pool, as `CutPlan.pools` has them."""
    by_pool = bought.assign(m2=bought["total_m"] * bought["width_m"]).groupby("number", sort=True)
    out = by_pool.agg(
        pool=("pool", "first"),
        phase=("phase", "first"),
        product=("product", "first"),
        rolls=("rolls", "sum"),
        bought_m2=("m2", "sum"),
    ).reset_index()
    own = areas.groupby("number", sort=True)
    least = own["bound_m2"].sum().to_numpy(float)
    to_buy = [
        _to_buy(one, market[name]) for one, name in zip(least.tolist(), out["product"], strict=True)
    ]
    bought_m2 = out["bought_m2"].to_numpy(float)
    bound = np.minimum(to_buy, bought_m2)
    return out.assign(
        pieces=0,
        needed_m2=own["needed_m2"].sum().to_numpy(float),
        bound_m2=bound,
        strip_bound_m2=bound,
        cut_bound_m2=bound,
        by_hand_m2=np.nan,
        status=ESTIMATED,
        square_m2=bought_m2,
        stock_m2=0.0,
        sigma_m2=_sigma_m2(pools, areas, market),
    )


def _sigma_m2(
    pools: pd.DataFrame, areas: pd.DataFrame, market: Mapping[str, Mapping[float, Market]]
) -> np.ndarray:
    """One standard deviation of each pool: of its areas, each by itself; of its kind of shapes, in
    common; of what a small pool takes more; of how whole rolls are shared."""
    by_pool = areas.groupby("number", sort=True)
    own = ((areas["sigma"] * areas["turf_m2"]) ** 2).groupby(areas["number"], sort=True).sum()
    kind = fitted("sigma", "of a kind") * by_pool["turf_m2"].sum()
    more = pd.Series(small_m2(pools)).groupby(pools["number"], sort=True).sum()
    small = fitted("sigma", "of a small pool") * more
    rolls = fitted("sigma", "of whole rolls") * by_pool["turf_m2"].sum()
    in_rolls = by_pool["product"].first().map(lambda name: _whole_rolls(market[name]))
    squares = own + kind**2 + small**2 + (rolls * in_rolls) ** 2
    sigma: np.ndarray = np.sqrt(squares).to_numpy(float)
    return sigma


def _whole_rolls(market: Mapping[float, Market]) -> bool:
    return not any(offer.by_length for offer in market.values())


def _to_buy(least_m2: float, market: Mapping[float, Market]) -> float:
    """As `geoturf.cuts.proof` rounds a bound."""
    if len(market) > 1:
        return least_m2
    (only,) = market.values()
    return only.least_m(least_m2 / only.roll_width_m) * only.roll_width_m


def small_m2(pools: pd.DataFrame) -> np.ndarray:
    """What pools take beyond what large ones take for the same areas: turf beside narrow pieces
    finds few others to be cut for."""
    narrow = pools["narrow"].to_numpy(float) + fitted("small pools", "narrow pieces more")
    part = fitted("small pools", "of the rest") * narrow ** -fitted("small pools", "power")
    more: np.ndarray = pools["rest_m2"].to_numpy(float) * part
    return more


def fitted(name: str, quantity: str) -> float:
    return data.value("estimate", name, quantity)


def _shares(areas: pd.DataFrame) -> np.ndarray:
    """The share of each area in the turf of its pool."""
    turf = areas["turf_m2"]
    shares: np.ndarray = (turf / turf.groupby(areas["number"]).transform("sum")).to_numpy(float)
    return shares


def _chosen(chosen: pd.DataFrame, areas: pd.DataFrame, turf_m2: np.ndarray) -> pd.DataFrame:
    """The figures of all areas, with those of the estimated ones."""
    at = areas["area_index"].to_numpy()
    out = chosen.assign(sigma_m2=0.0)
    own = {
        "seam_m": areas["seam_m"],
        "cross_seams": areas["cross_seams"],
        "turf_bought_m2": turf_m2,
        "sigma_m2": turf_m2 * areas["sigma"],
    }
    for name, values in own.items():
        column = out[name].to_numpy(float, copy=True)
        column[at] = values
        out[name] = column
    return out


def _told(areas: pd.DataFrame, totals: pd.DataFrame, rules: CutRules) -> list[Finding]:
    """That nothing of this is laid, and how sure it is."""
    turf = totals["bought_m2"].sum()
    sigma = totals["sigma_m2"].sum()
    alone = 0.0
    if len(areas):
        alone = np.median(areas["sigma"].to_numpy(float))
    said = f"the turf of {len(areas):,} areas is estimated from their shapes, not laid"
    sure = (
        f"one sigma {100 * sigma / turf:.1f} % of it in all, {100 * alone:.1f} % of an area by "
        "itself"
    )
    mend = "there are no pieces, rolls or crew's papers of them; --lay SITE lays sites"
    notes = [Finding("warning", "estimated", f"{said} ({sure}): {mend}")]
    if rules.stock:
        kept = "left-overs at hand are not used up by turf that is estimated"
        notes.append(Finding("note", "estimated-stock", kept))
    return notes
