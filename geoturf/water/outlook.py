"""What if the inputs are off: low, middle and high cases, and which input moves the choice most, one at a time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from geoturf.rules.water import WaterRules
from geoturf.water import choice
from geoturf.water.demand import INPUTS, MIDDLE, RAIN_METHODS, Case, used_now
from geoturf.water.problem import Pick, Programme
from geoturf.water.programme import Chooser
from geoturf.water.view import View, view

_STAY = 1e-3  # an area counts as moved only where moving gains more than this share of its value


@dataclass(frozen=True)
class Settled:
    """The middle case and its choice, to compare with."""

    view: View
    budget: float
    programme: Programme
    pick: Pick

    @property
    def rules(self) -> WaterRules:
        return self.view.rules

    @cached_property
    def rain_methods(self) -> tuple[str, str]:
        """The ways of counting rain, the bid's among them, that count least and most of it (take most and least water)."""
        lawns, months, rules = self.view.lawns, self.view.months, self.rules
        ways = tuple(dict.fromkeys((rules.climate.effective_rain, *RAIN_METHODS)))
        taken = {way: float(used_now(lawns, months, rules, Case(rain_method=way)).sum()) for way in ways}
        return max(ways, key=taken.__getitem__), min(ways, key=taken.__getitem__)


def cases(settled: Settled) -> dict[str, Case]:
    """Low, middle and high saving: little evapotranspiration, much rain counted, efficient irrigation and cheap water; and
    the other way."""
    span = settled.rules.uncertainty
    least, most = settled.rain_methods
    return {
        "low": Case(eto=span.eto.low, rain_method=most, efficiency=span.efficiency.high, price=span.price.low),
        "middle": Case(rain_method=settled.rules.climate.effective_rain),
        "high": Case(eto=span.eto.high, rain_method=least, efficiency=span.efficiency.low, price=span.price.high),
    }


def ends(settled: Settled) -> dict[str, tuple[float | str, float | str]]:
    """Low and high end of each input: factors, and ways of counting rain."""
    span = settled.rules.uncertainty
    factors = {name: getattr(span, name) for name in INPUTS if name != "rain_method"}
    return {name: (at.low, at.high) for name, at in factors.items()} | {"rain_method": settled.rain_methods}


def scenarios(settled: Settled) -> pd.DataFrame:
    """One row a case: case, eto, efficiency, price (factors), rain_method, baseline_m3, saved_m3, bill_saved, npv (of the middle
    case's choice), best_saved_m3, best_npv (of the best choice for the case), areas_changed (-1: no choice meets the
    budget then)."""
    rows = []
    for name, case in cases(settled).items():
        factors = {"eto": case.eto, "rain_method": case.rain_method, "efficiency": case.efficiency, "price": case.price}
        rows.append({"case": name} | factors | _outcome(settled, case))
    return pd.DataFrame(rows)


def sensitivity(settled: Settled) -> pd.DataFrame:
    """One row an input and end, the input that moves the choice most first: input, end (low, high), factor (or how rain is
    counted), then as in
    `scenarios`, and ``swing``: the greater share of ground whose conversion changes, of the input's two ends."""
    rows, tried = [], ends(settled)
    for name in INPUTS:
        for end, factor in zip(("low", "high"), tried[name], strict=True):
            outcome = _outcome(settled, replace(MIDDLE, **{name: factor}))
            rows.append({"input": name, "end": end, "factor": factor} | outcome)
    table = pd.DataFrame(rows)
    npv = table.groupby("input")["npv"].agg(lambda values: values.max() - values.min())
    table["swing"] = table["input"].map(table.groupby("input")["ground_changed"].max())
    table["npv_swing"] = table["input"].map(npv)
    order = sorted(INPUTS, key=lambda n: (-table["swing"][table["input"] == n].max(), -npv[n], INPUTS.index(n)))
    table["order"] = table["input"].map({name: k for k, name in enumerate(order)})
    table = table.sort_values(["order", "end"], ascending=[True, False], kind="stable", ignore_index=True)
    return table.drop(columns="order")


def _outcome(settled: Settled, case: Case) -> dict[str, float]:
    """The middle case's choice in another case, and the best choice then."""
    middle = settled.view
    other = view(middle.lawns, middle.months, middle.rules, case)
    kept = other.outcome(settled.pick.chosen)
    row = {"baseline_m3": float(other.use.before_m3.sum())} | {n: kept[n] for n in ("saved_m3", "bill_saved", "npv")}
    pick = _best(settled, choice.programme(other))
    if pick is None:
        nothing = {
            "best_saved_m3": np.nan,
            "best_npv": np.nan,
            "areas_changed": -1,
            "ground_changed": 1.0,
            "gap": np.nan,
        }
        return row | nothing
    best = other.outcome(pick.chosen)
    changed = pick.chosen != settled.pick.chosen
    ground = middle.lawns.ground_m2
    return row | {
        "best_saved_m3": best["saved_m3"],
        "best_npv": best["npv"],
        "areas_changed": int(changed.sum()),
        "ground_changed": float(ground[changed].sum() / ground.sum()),
        "gap": pick.gap,
    }


def _best(settled: Settled, wanted: Programme) -> Pick | None:
    now = settled.programme
    same = all(np.array_equal(getattr(wanted, part), getattr(now, part)) for part in ("value", "cost", "allowed"))
    if same and wanted.tariff is None:
        return settled.pick
    return Chooser(choice.keeping(wanted, settled.pick.chosen, _STAY)).pick(settled.budget, _STAY)
