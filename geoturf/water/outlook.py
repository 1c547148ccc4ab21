"""What if the inputs are off: low, middle and high cases, and which input moves the choice most, one at a time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from geoturf.rules.water import WaterRules
from geoturf.water import choice
from geoturf.water.demand import INPUTS, MIDDLE, Case, Use
from geoturf.water.lawns import Lawns
from geoturf.water.money import Worth
from geoturf.water.programme import Chooser, Pick, Programme

_STAY = 1e-3  # an area counts as moved only where moving gains more than this share of its value

Evaluate = Callable[[Case], tuple[Use, Worth]]


@dataclass(frozen=True)
class Settled:
    """The middle case: its programme and choice, to compare with."""

    lawns: Lawns
    rules: WaterRules
    budget: float
    programme: Programme
    pick: Pick
    evaluate: Evaluate


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
        rows.append(
            {
                "case": name,
                "eto": case.eto,
                "efficiency": case.efficiency,
                "price": case.price,
                **_outcome(settled, case),
            }
        )
    return pd.DataFrame(rows)


def sensitivity(settled: Settled) -> pd.DataFrame:
    """One row an input and end, the input that moves the choice most first: input, end (low, high), factor, then as in
    `scenarios`, and ``swing``: the greater share of ground whose conversion changes, of the input's two ends."""
    rows = []
    for name in INPUTS:
        for end in ("low", "high"):
            factor = getattr(getattr(settled.rules.uncertainty, name), end)
            rows.append(
                {"input": name, "end": end, "factor": factor, **_outcome(settled, replace(MIDDLE, **{name: factor}))}
            )
    table = pd.DataFrame(rows)
    npv = table.groupby("input")["npv"].agg(lambda values: values.max() - values.min())
    table["swing"] = table["input"].map(table.groupby("input")["ground_changed"].max())
    table["npv_swing"] = table["input"].map(npv)
    order = sorted(INPUTS, key=lambda n: (-table["swing"][table["input"] == n].max(), -npv[n], INPUTS.index(n)))
    table["order"] = table["input"].map({name: k for k, name in enumerate(order)})
    return table.sort_values(["order", "end"], ascending=[True, False], kind="stable", ignore_index=True).drop(
        columns="order"
    )


def _outcome(settled: Settled, case: Case) -> dict[str, float]:
    """The middle case's choice in another case, and the best choice then."""
    use, worth = settled.evaluate(case)
    wanted = choice.programme(settled.lawns, use, worth, settled.rules)
    saved = use.saved_m3.sum(axis=2)
    kept = choice.totals(settled.pick, saved, worth.npv)
    at = np.flatnonzero(settled.pick.chosen >= 0)
    bill = float(worth.bill_saved[at, settled.pick.chosen[at]].sum())
    pick = _best(settled, wanted)
    row = {
        "baseline_m3": float(use.before_m3.sum()),
        "saved_m3": kept["saved_m3"],
        "bill_saved": bill,
        "npv": kept["npv"],
    }
    if pick is None:
        return row | {
            "best_saved_m3": np.nan,
            "best_npv": np.nan,
            "areas_changed": -1,
            "ground_changed": 1.0,
            "gap": np.nan,
        }
    best = choice.totals(pick, saved, worth.npv)
    changed = pick.chosen != settled.pick.chosen
    ground = settled.lawns.ground_m2
    share = float(ground[changed].sum() / ground.sum())
    return row | {
        "best_saved_m3": best["saved_m3"],
        "best_npv": best["npv"],
        "areas_changed": int(changed.sum()),
        "ground_changed": share,
        "gap": pick.gap,
    }


def _best(settled: Settled, wanted: Programme) -> Pick | None:
    same = (
        np.array_equal(wanted.value, settled.programme.value)
        and np.array_equal(wanted.cost, settled.programme.cost)
        and np.array_equal(wanted.allowed, settled.programme.allowed)
    )
    if same:
        return settled.pick
    return Chooser(choice.keeping(wanted, settled.pick.chosen, _STAY)).pick(settled.budget, _STAY)
