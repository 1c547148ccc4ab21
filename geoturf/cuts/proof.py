"""Beside what is bought for a pool, the least that any layout of its ground can buy."""

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
    """The plan with the bounds of each pool, by what each area takes at least (``least_m2``, (n,
    2)): in any rectangles, and in strips from border to border. Left-overs at hand count off the
    bounds of a pool as far as pools before it left them.

    Raises `PromiseError` where less is bought than any rectangles can take. Where areas are laid
    otherwise than in strips from border to border, less may be bought than these take.
    """
    bounds = []
    gathered = pools.gather(ground, choices, rules)
    stock_m2, bought_m2 = plan.pools[["stock_m2", "bought_m2"]].to_numpy(float).T.tolist()
    for pool, stock, bought in zip(gathered, stock_m2, bought_m2, strict=True):
        market = markets(products[pool.product], rules)
        least = np.maximum(0.0, least_m2[list(pool.areas)].sum(axis=0) - stock)
        covered, in_strips = (_to_buy(float(one), market) for one in least)
        bounds.append((kept(pool.key, bought, covered), _level(in_strips, bought)))
    any_m2, strips_m2 = np.array(bounds, float).reshape(-1, 2).T
    return replace(plan, pools=plan.pools.assign(bound_m2=any_m2, strip_bound_m2=strips_m2))


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


def _level(bound_m2: float, bought_m2: float) -> float:
    """A bound that need not hold, without float dust between equal figures."""
    if undercut(bought_m2, bound_m2):
        return bound_m2
    return min(bound_m2, bought_m2)
