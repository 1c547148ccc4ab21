"""One case of weather and prices: its water, its money, and what a choice comes to in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from geoturf.rules.water import WaterRules
from geoturf.water.climate import Months
from geoturf.water.demand import MIDDLE, Case, Use, use
from geoturf.water.lawns import Lawns
from geoturf.water.money import Worth, bill, by_site, present_value_factor, site_numbers, worth


@dataclass(frozen=True)
class View:
    """n areas, k conversions; a choice is ``chosen``: (n,) number of each area's conversion, -1 for none."""

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
        """Totals of a choice. The bill is worked out account by account with its tiers, so it can save less than the
        sum of rows that each stand alone."""
        rules, worth, at = self.rules, self.worth, np.flatnonzero(chosen >= 0)
        picked, after = (at, chosen[at]), self.after_m3(chosen)
        site = site_numbers(self.lawns)
        before_bill, after_bill = (
            float(bill(by_site(volume, site), rules.price, self.case.price).sum())
            for volume in (self.use.before_m3, after)
        )
        parts = (worth.capital, worth.rebate, worth.later_cost, worth.upkeep_saved, worth.establishing)
        capital, rebate, later, upkeep_saved, establishing = (float(part[picked].sum()) for part in parts)
        bill_saved, saved, outlay = before_bill - after_bill, float(self.saved_m3[picked].sum()), capital - rebate
        yearly = bill_saved + upkeep_saved
        years = np.array([min(c.establishing_years, rules.horizon) for c in self.lawns.conversions])
        young = np.array([present_value_factor(y, rules.discount_rate) for y in years])
        extra = self.use.establishing_m3[picked]
        saved_pv = saved * present_value_factor(rules.horizon, rules.discount_rate) - float(
            (extra * young[chosen[at]]).sum()
        )
        bill_years = present_value_factor(rules.horizon, rules.discount_rate, rules.price.escalation)
        return {
            "areas": len(at),
            "ground_m2": float(self.lawns.ground_m2[at].sum()),
            "saved_m3": saved,
            "use_m3": float(after.sum()),
            "capital": capital,
            "rebate": rebate,
            "bill_before": before_bill,
            "bill_after": after_bill,
            "bill_saved": bill_saved,
            "upkeep_saved": upkeep_saved,
            "payback_years": _payback(outlay, yearly) if len(at) else float("nan"),
            "npv": bill_saved * bill_years - outlay - later - establishing,
            "cost_per_m3": (outlay + later) / saved_pv if saved_pv > 1e-9 else float("nan"),
            "establishing_m3": float(extra.sum()),
            "establishing_years": int(years[chosen[at]][extra > 0].max(initial=0)),
        }


def _payback(outlay: float, yearly: float) -> float:
    """Years; inf where it never pays back."""
    return outlay / yearly if yearly > 0 else (float("inf") if outlay > 0 else 0.0)


def view(lawns: Lawns, months: Months, rules: WaterRules, case: Case = MIDDLE) -> View:
    """Water and money of every area and conversion in a case."""
    used = use(lawns, months, rules, case)
    return View(lawns, months, rules, case, used, worth(lawns, used, rules, case), used.saved_m3.sum(axis=2))
