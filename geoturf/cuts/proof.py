"""Beside what is bought for a pool, what no layout of its ground in strips from border to border
can buy less than."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geoturf.cuts import pools
from geoturf.cuts.job import undercut
from geoturf.cuts.market import Market, markets
from geoturf.errors import PromiseError
from geoturf.model import Choices, CutPlan, Finding, Ground
from geoturf.rules import CutRules, Product


def proven(
    plan: CutPlan,
    ground: Ground,
    choices: tuple[Choices, ...],
    products: dict[str, Product],
    rules: CutRules,
    least_m2: np.ndarray,
) -> CutPlan:
    """The plan with the bound of each pool, by what strips from border to border
    take of each area at least (``least_m2``, (n,)). Left-overs at hand count off the
    bound of a pool as far as pools before it left them.

    Raises `PromiseError` where less is bought than that.
    """
    bounds = []
    gathered = pools.gather(ground, choices, rules)
    stock_m2, bought_m2 = plan.pools[["stock_m2", "bought_m2"]].to_numpy(float).T.tolist()
    for pool, stock, bought in zip(gathered, stock_m2, bought_m2, strict=True):
        least = max(0.0, float(sum(least_m2[area] for area in pool.areas)) - stock)
        bounds.append(
            kept(pool.key, bought, _to_buy(least, markets(products[pool.product], rules)))
        )
    return replace(plan, pools=plan.pools.assign(bound_m2=np.array(bounds, float)))


def _to_buy(least_m2: float, market: dict[float, Market]) -> float:
    """Rounded to what can be bought, where one roll width is stocked."""
    if len(market) > 1:
        return least_m2
    (only,) = market.values()
    return only.least_m(least_m2 / only.roll_width_m) * only.roll_width_m


def kept(pool: str, bought_m2: float, bound_m2: float) -> float:
    """The bound of what is bought, without float dust between equal figures. Raises `PromiseError`
    where it is broken."""
    if undercut(bought_m2, bound_m2):
        line = f"pool {pool}: {bought_m2:.4f} m2 bought under a bound of {bound_m2:.4f} m2"
        raise PromiseError(Finding("error", "bound-broken", line))
    return min(bound_m2, bought_m2)
