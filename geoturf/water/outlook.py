"""What if the inputs are off: low, middle and high cases, and which input moves the choice most,
one at a time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from geoturf.rules.water import WaterRules
from geoturf.threads import each
from geoturf.water import choice, programme
from geoturf.water.chooser import Chooser
from geoturf.water.demand import INPUTS, MIDDLE, RAIN_METHODS, Case, used_now
from geoturf.water.knapsack import Knapsack, Pick
from geoturf.water.view import View, view

_STAY = 1e-3  # an area counts as moved only where moving gains more than this share of its value


@dataclass(frozen=True)
class Settled:
    """The middle case and its choice, to compare with. ``asked`` and ``answer``: the same over the
    years of a programme, where there is one."""

    view: View
    budget: float
    knapsack: Knapsack
    pick: Pick
    asked: Knapsack
    answer: Pick

    @property
    def rules(self) -> WaterRules:
        return self.view.rules

    @cached_property
    def rain_methods(self) -> tuple[str, str]:
        """The ways of counting rain, the bid's among them, that count least and most of it (take
        most and least water)."""
        lawns = self.view.lawns
        months = self.view.months
        rules = self.rules
        taken: dict[str, float] = {}
        for way in (rules.climate.effective_rain, *RAIN_METHODS):
            taken[way] = float(used_now(lawns, months, rules, Case(rain_method=way)).sum())
        return max(taken, key=taken.__getitem__), min(taken, key=taken.__getitem__)


def cases(settled: Settled) -> dict[str, Case]:
    """Low, middle and high saving: little evapotranspiration, much rain counted, efficient
    irrigation and cheap water; and the other way."""
    span = settled.rules.uncertainty
    least, most = settled.rain_methods
    return {
        "low": Case(
            eto=span.eto.low,
            rain_method=most,
            efficiency=span.efficiency.high,
            price=span.price.low,
        ),
        "middle": Case(rain_method=settled.rules.climate.effective_rain),
        "high": Case(
            eto=span.eto.high,
            rain_method=least,
            efficiency=span.efficiency.low,
            price=span.price.high,
        ),
    }


class End(NamedTuple):
    """One end (low, high) of an input: its ``factor``, or a way of counting rain, and the case with
    that alone."""

    input: str
    end: str
    factor: float | str
    case: Case


def ends(settled: Settled) -> list[End]:
    """Both ends of each input, low first."""
    span = settled.rules.uncertainty
    found = []
    for name in INPUTS:
        low_high = settled.rain_methods
        if name != "rain_method":
            of_input = getattr(span, name)
            low_high = of_input.low, of_input.high
        for end, factor in zip(("low", "high"), low_high, strict=True):
            changed: dict[str, Any] = {name: factor}
            found.append(End(name, end, factor, replace(MIDDLE, **changed)))
    return found


def scenarios(settled: Settled) -> pd.DataFrame:
    """One row a case: case, eto, efficiency, price (factors), rain_method, baseline_m3, saved_m3,
    bill_saved, npv (of the middle case's choice), best_saved_m3, best_npv (of the best choice for
    the case), areas_changed (-1: no choice meets the budget then)."""
    every = cases(settled)
    outcomes = each(partial(_outcome, settled), every.values())
    rows = []
    for (name, case), outcome in zip(every.items(), outcomes, strict=True):
        factors = {
            "case": name,
            "eto": case.eto,
            "rain_method": case.rain_method,
            "efficiency": case.efficiency,
            "price": case.price,
        }
        rows.append(factors | outcome)
    return pd.DataFrame(rows)


def sensitivity(settled: Settled) -> pd.DataFrame:
    """One row an input and end, the input that moves the choice most first: input, end (low, high),
    factor (or how rain is counted), then as in `scenarios`, and ``swing``: the greater share of
    ground whose conversion changes, of the input's two ends."""
    every = ends(settled)
    outcomes = each(partial(_outcome, settled), [tried.case for tried in every])
    rows = []
    for tried, outcome in zip(every, outcomes, strict=True):
        named = {
            "input": tried.input,
            "end": tried.end,
            "factor": tried.factor,
        }
        rows.append(named | outcome)
    table = pd.DataFrame(rows)
    by_input = table.groupby("input")
    npv = by_input["npv"].max() - by_input["npv"].min()
    swing = by_input["ground_changed"].max()
    table["swing"] = table["input"].map(swing)
    table["npv_swing"] = table["input"].map(npv)
    order = sorted(INPUTS, key=lambda name: (-swing[name], -npv[name], INPUTS.index(name)))
    table["order"] = table["input"].map({name: k for k, name in enumerate(order)})
    by = ["order", "end"]  # low comes before high
    table = table.sort_values(
        by,
        ascending=[True, False],
        kind="stable",
        ignore_index=True,
    )
    return table.drop(columns="order")


def _outcome(settled: Settled, case: Case) -> dict[str, Any]:
    """The middle case's choice in another case, and the best choice then."""
    middle = settled.view
    other = view(middle.lawns, middle.months, middle.rules, case)
    kept = other.outcome(settled.pick.chosen)
    of_kept = {
        "baseline_m3": float(other.use.before_m3.sum()),
        "saved_m3": kept["saved_m3"],
        "bill_saved": kept["bill_saved"],
        "npv": kept["npv"],
    }
    return of_kept | _best_then(settled, other)


def _best_then(settled: Settled, other: View) -> dict[str, Any]:
    """The best choice in another case, and how far it is from the middle case's."""
    pick = _best(settled, programme.knapsack(other))
    if pick is None:
        return {
            "best_saved_m3": np.nan,
            "best_npv": np.nan,
            "areas_changed": -1,
            "ground_changed": 1.0,
            "gap": np.nan,
        }
    then = programme.conversions(pick.chosen, len(other.lawns.names))
    best = other.outcome(then)
    changed = then != settled.pick.chosen
    ground = settled.view.lawns.ground_m2
    return {
        "best_saved_m3": best["saved_m3"],
        "best_npv": best["npv"],
        "areas_changed": int(changed.sum()),
        "ground_changed": float(ground[changed].sum() / ground.sum()),
        "gap": pick.gap,
    }


def _best(settled: Settled, wanted: Knapsack) -> Pick | None:
    """The best choice in another case: the middle case's where nothing it rests on is other."""
    now = settled.asked
    pairs = (
        (wanted.value, now.value),
        (wanted.cost, now.cost),
        (wanted.allowed, now.allowed),
    )
    same = all(np.array_equal(other, middle) for other, middle in pairs)
    if same and wanted.tariff is None and wanted.caps is None:
        return settled.answer
    kept = choice.keeping(wanted, settled.answer.chosen, _STAY)
    return Chooser(kept).pick(settled.budget, _STAY)
