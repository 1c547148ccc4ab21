"""What a conversion costs and brings: the water bill with its tiers, simple payback, net present value, cost of a saved
cubic metre.

Capital and rebate fall now; water, upkeep and replacements at the ends of years 1 to the horizon, discounted. Nothing
is left over at the horizon. numpy-financial is the oracle in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geoturf.rules.water import Rebate, WaterPrice, WaterRules
from geoturf.water.demand import MIDDLE, Case, Use
from geoturf.water.lawns import Lawns, by_area, site_numbers
from geoturf.water.published import key


@dataclass(frozen=True)
class Worth:
    """Money, arrays (n, k) for n areas and k conversions.

    ``bill_saved``: water bill saved a year at today's prices, once plants are established, each conversion as if it were the
    only one of its site.
    ``upkeep_saved``: a year. ``payback_years``: inf where it never pays back. ``cost_per_m3``: present cost but for the
    water bill (capital, replacements and upkeep less rebate) over water saved, both discounted; nan where nothing is
    saved. ``later_cost``: present value of replacements less upkeep saved. ``establishing``: present value of the water that
    plants take until they are established over what they take then, at the price of the first block.
    """

    capital: np.ndarray
    rebate: np.ndarray
    bill_saved: np.ndarray
    upkeep_saved: np.ndarray
    payback_years: np.ndarray
    npv: np.ndarray
    cost_per_m3: np.ndarray
    later_cost: np.ndarray
    establishing: np.ndarray


def present_value_factor(years: int, rate: float, growth: float = 0.0) -> float:
    """Present value of 1 a year at the ends of years 1 to ``years``, the first growing by ``growth`` over today's
    price."""
    year = np.arange(1, years + 1)
    return float((((1 + growth) / (1 + rate)) ** year).sum())


def replacement_factor(life: int, years: int, rate: float, growth: float = 0.0) -> float:
    """Present value of 1 spent at the end of every ``life`` years before the horizon; 0 where ``life`` is 0."""
    if life <= 0:
        return 0.0
    year = np.arange(life, years, life)
    return float((((1 + growth) / (1 + rate)) ** year).sum())


def blocks(price: WaterPrice) -> tuple[np.ndarray, np.ndarray]:
    """Starts (m3 a month) and prices (per m3) of the blocks of the tariff."""
    starts = np.array([0.0, *(tier.above_m3 for tier in price.tiers)])
    return starts, np.array([price.price.per_si(), *(tier.price.per_si() for tier in price.tiers)])


def bill(volume_m3: np.ndarray, price: WaterPrice, factor: float = 1.0) -> np.ndarray:
    """Bill of an account's month for ``volume_m3`` (any shape), without fixed charges."""
    starts, prices = blocks(price)
    widths = np.append(np.diff(starts), np.inf)
    total = np.zeros(np.shape(volume_m3))
    for start, width, unit_price in zip(starts, widths, prices, strict=True):
        total += unit_price * np.clip(np.asarray(volume_m3) - start, 0.0, width)
    return total * factor


def by_site(values: np.ndarray, site: np.ndarray) -> np.ndarray:
    """Sums rows of ``values`` (n, ...) by ``site`` (n,) numbers, giving one row a site."""
    total = np.zeros((int(site.max(initial=-1)) + 1, *values.shape[1:]))
    np.add.at(total, site, values)
    return total


def _bill_saved(lawns: Lawns, use: Use, price: WaterPrice, factor: float) -> np.ndarray:
    if not price.tiers:
        return use.saved_m3.sum(axis=2) * price.price.per_si() * factor
    site = site_numbers(lawns)
    account = by_site(use.before_m3, site)[site]
    now = bill(account, price, factor).sum(axis=1)
    return np.stack(
        [now - bill(account - saved, price, factor).sum(axis=1) for saved in np.moveaxis(use.saved_m3, 1, 0)], axis=1
    )


def rebates(rebate: Rebate | None, surface_m2: np.ndarray) -> np.ndarray:
    """Rebate of each area, (n,): what the bid states and nothing else."""
    if rebate is None:
        return np.zeros(len(surface_m2))
    paid = by_area(rebate.amount, surface_m2)
    if rebate.most is not None:
        paid = np.minimum(paid, by_area(rebate.most, surface_m2))
    return np.round(np.where(surface_m2 >= rebate.min_area_m2, paid, 0.0), 2)


def worth(lawns: Lawns, use: Use, rules: WaterRules, case: Case = MIDDLE) -> Worth:
    """Money of every area and conversion."""
    years, rate = rules.horizon, rules.discount_rate
    surface = lawns.surface_m2
    capital = np.round(lawns.capital * case.capital, 2)
    rebate = np.stack([rebates(c.rebate, surface) for c in lawns.conversions], axis=1)
    rebate = np.minimum(rebate, capital)  # no program pays more than the work costs
    now = _upkeep_now(lawns)
    then = np.stack(
        [
            _upkeep_then(lawns, c.cover, None if c.upkeep is None else by_area(c.upkeep, surface), now)
            for c in lawns.conversions
        ],
        axis=1,
    )
    upkeep_saved = (now[:, None] - then) * case.upkeep
    bill_saved = _bill_saved(lawns, use, rules.price, case.price)
    growth = rules.upkeep_escalation
    again = np.array([c.replacement_share * replacement_factor(c.life, years, rate, growth) for c in lawns.conversions])
    later = capital * again - upkeep_saved * present_value_factor(years, rate, growth)
    outlay = capital - rebate
    young = np.array([min(c.establishing_years, years) for c in lawns.conversions])
    young_bill = np.array([present_value_factor(y, rate, rules.price.escalation) for y in young])
    establishing = use.establishing_m3 * rules.price.price.per_si() * case.price * young_bill
    npv = bill_saved * present_value_factor(years, rate, rules.price.escalation) - outlay - later - establishing
    young_water = np.array([present_value_factor(y, rate) for y in young])
    saved = use.saved_m3.sum(axis=2) * present_value_factor(years, rate) - use.establishing_m3 * young_water
    with np.errstate(divide="ignore", invalid="ignore"):
        yearly = bill_saved + upkeep_saved
        payback = np.where(yearly > 0, outlay / yearly, np.where(outlay > 0, np.inf, 0.0))
        cost = np.where(saved > 1e-9, (outlay + later) / saved, np.nan)
    return Worth(capital, rebate, bill_saved, upkeep_saved, payback, npv, cost, later, establishing)


def _upkeep_now(lawns: Lawns) -> np.ndarray:
    """Upkeep a year of what is there, (n,)."""
    cover, surface = lawns.areas["cover"].to_numpy(), lawns.surface_m2
    total = np.zeros(len(cover))
    for name in np.unique(cover):
        at = cover == name
        total[at] = by_area(lawns.covers[name].upkeep, surface[at])
    return total


def _upkeep_then(lawns: Lawns, cover: str, stated: np.ndarray | None, now: np.ndarray) -> np.ndarray:
    if stated is not None:
        return stated
    return by_area(lawns.covers[key(cover)].upkeep, lawns.surface_m2) if cover else now
