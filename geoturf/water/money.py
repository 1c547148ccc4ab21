"""What a conversion costs and brings: the water bill with its tiers, simple payback, net present
value, cost of a saved cubic metre.

Capital and rebate fall now; water, upkeep and replacements at the ends of years 1 to the horizon,
discounted. Nothing is left over at the horizon. numpy-financial is the oracle in the tests.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from geoturf.rules.water import Conversion, Rebate, WaterRules
from geoturf.water.demand import MIDDLE, Case, Use
from geoturf.water.lawns import Lawns, by_area, site_numbers
from geoturf.water.published import key


@dataclass(frozen=True)
class Worth:
    """Money, arrays (n, k) for n areas and k conversions.

    ``bill_saved``: water bill saved a year at today's prices, once plants are established, each
    conversion as if it were the only one of its site.
    ``upkeep_saved``: a year. ``payback_years``: inf where it never pays back. ``cost_per_m3``:
    present cost but for the water bill (capital, replacements and upkeep less rebate) over water
    saved, both discounted; nan where nothing is saved. ``later_cost``: present value of
    replacements less upkeep saved. ``establishing``: present value of the water that plants take
    until they are established over what they take then, at the price of the first block.
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
    """Present value of 1 a year at the ends of years 1 to ``years``, the first growing by
    ``growth`` over today's price."""
    year = np.arange(1, years + 1)
    return float((((1 + growth) / (1 + rate)) ** year).sum())


def replacement_factor(life: int, years: int, rate: float, growth: float = 0.0) -> float:
    """Present value of 1 spent at the end of every ``life`` years before the horizon; 0 where
    ``life`` is 0."""
    if life <= 0:
        return 0.0
    year = np.arange(life, years, life)
    return float((((1 + growth) / (1 + rate)) ** year).sum())


def by_site(values: np.ndarray, site: np.ndarray) -> np.ndarray:
    """Sums rows of ``values`` (n, ...) by ``site`` (n,) numbers, giving one row a site."""
    count = int(site.max(initial=-1)) + 1
    columns = values.reshape(len(values), -1).T
    total = np.stack([np.bincount(site, column, count) for column in columns], axis=-1)
    return total.reshape(count, *values.shape[1:])


def _bill_saved(lawns: Lawns, use: Use, factor: float) -> np.ndarray:
    """A year's bill saved by each option, (n, k), as if it were the only one of its site."""
    tariffs = lawns.tariffs
    if not tariffs.tiered:
        alike: np.ndarray = use.saved_a_year_m3 * tariffs.first_per_m3()[:, None] * factor
        return alike
    own = replace(tariffs, of_account=tariffs.of_account[tariffs.account])  # a bill for each area
    account = by_site(use.before_m3, tariffs.account)[tariffs.account]
    now = own.bill(account, factor).sum(axis=1)
    by_conversion = np.moveaxis(use.saved_m3, 1, 0)
    then = [own.bill(account - saved, factor).sum(axis=1) for saved in by_conversion]
    return np.stack([now - after for after in then], axis=1)


def rebates(rebate: Rebate | None, surface_m2: np.ndarray) -> np.ndarray:
    """Rebate of each area, (n,): what the bid states and nothing else."""
    if rebate is None:
        return np.zeros(len(surface_m2))
    paid = np.minimum(by_area(rebate.amount, surface_m2), min(shared_caps(rebate)))
    if rebate.most is not None:
        paid = np.minimum(paid, by_area(rebate.most, surface_m2))
    return np.round(np.where(surface_m2 >= rebate.min_area_m2, paid, 0.0), 2)


def shared_caps(rebate: Rebate | None) -> tuple[float, float]:
    """Most that a site gets and most that all get together; inf where nothing is said."""
    if rebate is None:
        return np.inf, np.inf
    each = rebate.most_per_site
    every = rebate.most_in_all
    return (
        np.inf if each is None else float(each.amount),
        np.inf if every is None else float(every.amount),
    )


def rebate_paid(lawns: Lawns, rebate: np.ndarray, chosen: np.ndarray) -> np.ndarray:
    """What each conversion's rebate pays for a choice, (k,), its caps kept. ``rebate``: (n, k), of
    each option alone; ``chosen``: (n,)."""
    site = site_numbers(lawns)
    paid = np.zeros(len(lawns.conversions))
    for j, conversion in enumerate(lawns.conversions):
        each, every = shared_caps(conversion.rebate)
        of_site = by_site(np.where(chosen == j, rebate[:, j], 0.0), site)
        paid[j] = min(np.minimum(of_site, each).sum(), every)
    return paid


def worth(lawns: Lawns, use: Use, rules: WaterRules, case: Case = MIDDLE) -> Worth:
    """Money of every area and conversion."""
    years = rules.horizon
    rate = rules.discount_rate
    rise = rules.upkeep_escalation
    water_rise = rules.price.escalation
    conversions = lawns.conversions
    capital = np.round(lawns.capital * case.capital, 2)
    stated = np.stack([rebates(c.rebate, lawns.surface_m2) for c in conversions], axis=1)
    rebate = np.minimum(stated, capital)  # no program pays more than the work costs
    upkeep_saved = _upkeep_saved(lawns) * case.upkeep
    bill_saved = _bill_saved(lawns, use, case.price)
    replaced = [
        conversion.replacement_share * replacement_factor(conversion.life, years, rate, rise)
        for conversion in conversions
    ]
    upkeep_years = present_value_factor(years, rate, rise)
    later = capital * np.array(replaced) - upkeep_saved * upkeep_years
    outlay = capital - rebate
    young = [min(c.establishing_years, years) for c in conversions]
    young_bill = np.array([present_value_factor(year, rate, water_rise) for year in young])
    young_water = np.array([present_value_factor(year, rate) for year in young])
    first = lawns.tariffs.first_per_m3()[:, None]
    establishing = use.establishing_m3 * first * case.price * young_bill
    bill_years = present_value_factor(years, rate, water_rise)
    npv = bill_saved * bill_years - outlay - later - establishing
    water_years = present_value_factor(years, rate)
    saved = use.saved_a_year_m3 * water_years - use.establishing_m3 * young_water
    yearly = bill_saved + upkeep_saved
    with np.errstate(divide="ignore", invalid="ignore"):
        payback = np.where(yearly > 0, outlay / yearly, np.where(outlay > 0, np.inf, 0.0))
        cost = np.where(saved > 1e-9, (outlay + later) / saved, np.nan)
    return Worth(capital, rebate, bill_saved, upkeep_saved, payback, npv, cost, later, establishing)


def _upkeep_saved(lawns: Lawns) -> np.ndarray:
    """Upkeep a year of what is there over that of each conversion, (n, k)."""
    now = _upkeep_now(lawns)
    then = [_upkeep_then(lawns, conversion, now) for conversion in lawns.conversions]
    saved: np.ndarray = now[:, None] - np.stack(then, axis=1)
    return saved


def _upkeep_now(lawns: Lawns) -> np.ndarray:
    """Upkeep a year of what is there, (n,)."""
    surface = lawns.surface_m2
    total = np.zeros(len(surface))
    for number, cover in enumerate(lawns.covers.values()):
        at = lawns.cover_numbers == number
        total[at] = by_area(cover.upkeep, surface[at])
    return total


def _upkeep_then(lawns: Lawns, conversion: Conversion, now: np.ndarray) -> np.ndarray:
    """Upkeep a year after a conversion, (n,): as stated, else the new cover's, else as now."""
    surface = lawns.surface_m2
    if conversion.upkeep is not None:
        return by_area(conversion.upkeep, surface)
    if conversion.cover:
        return by_area(lawns.covers[key(conversion.cover)].upkeep, surface)
    return now
