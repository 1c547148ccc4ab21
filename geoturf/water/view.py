"""One case of weather and prices: its water, its money, and what a choice comes to in it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from geoturf.rules.water import WaterRules
from geoturf.water.climate import Months
from geoturf.water.demand import MIDDLE, Case, Use, use
from geoturf.water.lawns import Lawns, site_numbers
from geoturf.water.money import Worth, by_site, present_value_factor, rebate_paid, worth


@dataclass(frozen=True)
class View:
    """n areas, k conversions; a choice is ``chosen``: (n,) number of each area's conversion, -1
    for none."""

    lawns: Lawns
    months: Months
    rules: WaterRules
    case: Case
    use: Use
    worth: Worth
    saved_m3: np.ndarray  # (n, k), a year

    def after_m3(self, chosen: np.ndarray) -> np.ndarray:
        """Use of each area by month after a choice, (n, 12)."""
        at = np.flatnonzero(chosen >= 0)
        after = self.use.before_m3.copy()
        after[at] = self.use.after_m3[at, chosen[at]]
        return after

    def outcome(self, chosen: np.ndarray) -> dict[str, Any]:
        """Totals of a choice. The bill is worked out account by account with its tiers, so it can
        save less than the sum of rows that each stand alone."""
        rules = self.rules
        worth = self.worth
        conversions = self.lawns.conversions
        at = np.flatnonzero(chosen >= 0)
        picked = at, chosen[at]
        after = self.after_m3(chosen)
        after_bill = self._bill(after)
        bill_saved = self.bill_before - after_bill
        capital = _sum(worth.capital[picked])
        rebate = _sum(rebate_paid(self.lawns, worth.rebate, chosen))
        later = _sum(worth.later_cost[picked])
        upkeep_saved = _sum(worth.upkeep_saved[picked])
        establishing = _sum(worth.establishing[picked])
        outlay = capital - rebate
        years = rules.horizon
        rate = rules.discount_rate
        young = np.array([min(c.establishing_years, years) for c in conversions])
        young_years = np.array([present_value_factor(year, rate) for year in young])
        extra = self.use.establishing_m3[picked]
        extra_pv = _sum(extra * young_years[chosen[at]])
        saved = _sum(self.saved_m3[picked])
        saved_pv = saved * present_value_factor(years, rate) - extra_pv
        bill_years = present_value_factor(years, rate, rules.price.escalation)
        return {
            "areas": len(at),
            "ground_m2": _sum(self.lawns.ground_m2[at]),
            "saved_m3": saved,
            "use_m3": _sum(after),
            "capital": capital,
            "rebate": rebate,
            "bill_before": self.bill_before,
            "bill_after": after_bill,
            "bill_saved": bill_saved,
            "upkeep_saved": upkeep_saved,
            "payback_years": _payback(outlay, bill_saved + upkeep_saved) if len(at) else np.nan,
            "npv": bill_saved * bill_years - outlay - later - establishing,
            "cost_per_m3": (outlay + later) / saved_pv if saved_pv > 1e-9 else np.nan,
            "establishing_m3": _sum(extra),
            "establishing_years": int(young[chosen[at]][extra > 0].max(initial=0)),
        }

    @cached_property
    def bill_before(self) -> float:
        """A year's bill before any conversion."""
        return self._bill(self.use.before_m3)

    def _bill(self, volume_m3: np.ndarray) -> float:
        """A year's bill of all accounts, ``volume_m3``: (n, 12)."""
        account = by_site(volume_m3, site_numbers(self.lawns))
        return _sum(self.lawns.tariffs.bill(account, self.case.price))


def _sum(values: np.ndarray) -> float:
    return float(values.sum())


def _payback(outlay: float, yearly: float) -> float:
    """Years; inf where it never pays back."""
    if yearly > 0:
        return outlay / yearly
    if outlay > 0:
        return np.inf
    return 0.0


def view(lawns: Lawns, months: Months, rules: WaterRules, case: Case = MIDDLE) -> View:
    """Water and money of every area and conversion in a case."""
    used = use(lawns, months, rules, case)
    money = worth(lawns, used, rules, case)
    return View(lawns, months, rules, case, used, money, used.saved_a_year_m3)
