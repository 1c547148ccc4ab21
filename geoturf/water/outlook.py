"""What if the inputs are off: low, middle and high cases, and which input moves the choice most, one at a time."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from geoturf.rules.water import WaterRules
from geoturf.water import choice
from geoturf.water.demand import INPUTS, MIDDLE, Case
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


def cases(rules: WaterRules) -> dict[str, Case]:
    """Low, middle and high saving: little evapotranspiration, efficient irrigation and cheap water; and the other
    way."""
    span = rules.uncertainty
    return {
        "low": Case(eto=span.eto.low, efficiency=span.efficiency.high, price=span.price.low),
        "middle": MIDDLE,
        "high": Case(eto=span.eto.high, efficiency=span.efficiency.low, price=span.price.high),
    }


def scenarios(settled: Settled) -> pd.DataFrame:
    """One row a case: case, eto, efficiency, price (factors), baseline_m3, saved_m3, bill_saved, npv (of the middle
    case's choice), best_saved_m3, best_npv (of the best choice for the case), areas_changed (-1: no choice meets the
    budget then)."""
    rows = []
    for name, case in cases(settled.rules).items():
        factors = {"eto": case.eto, "efficiency": case.efficiency, "price": case.price}
        rows.append({"case": name} | factors | _outcome(settled, case))
    return pd.DataFrame(rows)


def sensitivity(settled: Settled) -> pd.DataFrame:
    """One row an input and end, the input that moves the choice most first: input, end (low, high), factor, then as in
    `scenarios`, and ``swing``: the greater share of ground whose conversion changes, of the input's two ends."""
    rows = []
    for name in INPUTS:
        for end in ("low", "high"):
            factor = getattr(getattr(settled.rules.uncertainty, name), end)
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
