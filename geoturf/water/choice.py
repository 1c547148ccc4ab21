"""Which areas to convert to what: the bid's wishes as a multiple-choice knapsack, the choice for a
budget, and the whole curve of budgets."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from geoturf.errors import BidError
from geoturf.model import Finding
from geoturf.units import round_up
from geoturf.water import asked
from geoturf.water.chooser import Chooser
from geoturf.water.knapsack import Caps, Knapsack, Pick, Tariff, proved
from geoturf.water.lawns import site_numbers
from geoturf.water.money import by_site, present_value_factor, shared_caps
from geoturf.water.tiered import shared
from geoturf.water.view import View

_NAMED = 8  # of what is asked for, named where nothing meets it
_CURVE_GAP = 10  # a point of the curve is proved within so many times the gap of the choice itself


def knapsack(view: View) -> Knapsack:
    """What a bid asks: value in m3 of water a year, in net present money, or in money not spent.
    Raises `BidError` for a name in must, must_not, districts or funds that no area has."""
    rules = view.rules
    worth = view.worth
    value, tariff = _value(view)
    cost = worth.capital if rules.budget_takes == "capital" else worth.capital - worth.rebate
    caps = _caps(view)
    if caps is not None:
        value = value - caps.rebate
    allowed, required = asked.allowed_and_required(view)
    sides = asked.sides(view, allowed, cost)
    return Knapsack(value, cost, allowed, required, sides, tariff, caps)


def _caps(view: View) -> Caps | None:
    """Rebates whose caps areas share, where the aim counts rebates."""
    conversions = view.lawns.conversions
    shared = np.array([c.rebate is not None and c.rebate.shared for c in conversions])
    if view.rules.objective == "water" or not shared.any():
        return None
    limits = np.array([shared_caps(conversion.rebate) for conversion in conversions])
    rebate = view.worth.rebate * shared
    return Caps(site_numbers(view.lawns), rebate, limits[:, 0], limits[:, 1])


def _value(view: View) -> tuple[np.ndarray, Tariff | None]:
    """Value of every option, and the bill that is shared, where the aim is money and its blocks
    rise."""
    rules = view.rules
    worth = view.worth
    if rules.objective == "water":
        return view.saved_m3, None
    if rules.objective == "cost":
        return worth.rebate - worth.capital, None
    tariffs = view.lawns.tariffs
    if not (tariffs.tiered and tariffs.rising()):
        return worth.npv, None
    starts, prices = tariffs.blocks()
    years = present_value_factor(rules.horizon, rules.discount_rate, rules.price.escalation)
    prices = prices * view.case.price * years
    site = site_numbers(view.lawns)
    before = by_site(view.use.before_m3, site)
    # in other months the first block is all an account uses, and its areas have nothing to share
    tied = before > starts[:, 1:2]
    tied_areas = tied[site][:, None, :]
    alone = (view.use.saved_m3 * ~tied_areas).sum(axis=2) * prices[site, 0][:, None]
    tariff = Tariff(site, before * tied, view.use.saved_m3 * tied_areas, starts, prices)
    return worth.npv - worth.bill_saved * years + alone, tariff


def least_cost(wanted: Knapsack) -> float | None:
    """The least that any choice meeting must, districts and turf share costs; 0 where nothing is
    asked for, None where none can."""
    if not wanted.required.any() and all(side.lower <= 0 for side in wanted.sides):
        return 0.0
    cheapest = replace(
        wanted,
        value=-wanted.cost,
        tariff=None,
        caps=None,
    )
    pick = Chooser(cheapest).pick(np.inf, 1e-6)
    if pick is None:
        return None
    return pick.cost


def choose(wanted: Knapsack, chooser: Chooser, budget: float, gap: float, currency: str) -> Pick:
    """The best choice within ``budget``. Raises `BidError` where none meets the constraints, saying
    what the least budget is."""
    pick = chooser.pick(budget, gap)
    if pick is not None:
        return pick
    must = int(wanted.required.sum())
    musts = [f"{must} areas must convert"] if must else []
    named = [*musts, *(side.name for side in wanted.sides)]
    all_asked = "; ".join(named[:_NAMED] + ["and more"] * (len(named) > _NAMED))
    least = least_cost(wanted)
    if least is None:
        whatever = f"whatever the budget ({all_asked}); ask for less"
        fault = f"water: no choice meets all that is asked for, {whatever}"
        raise BidError(Finding("error", "no-choice", fault))
    costs = f"what is asked for ({all_asked}) costs at least {least:,.2f} {currency}"
    fault = f"water.budget: no choice meets a budget of {budget:,.2f} {currency}: {costs}"
    raise BidError(Finding("error", "budget-too-small", fault))


def curve(wanted: Knapsack, chooser: Chooser, view: View) -> pd.DataFrame:
    """What most can be had for each budget; where the bid asks for least cost, most water saved,
    whatever saving is wanted."""
    if view.rules.objective != "cost":
        return _curve(wanted, chooser, view)
    free = view.rules.model_copy(update={"objective": "water", "saving_m3": None})
    most = replace(view, rules=free)
    any_saving = knapsack(most)
    return _curve(any_saving, Chooser(any_saving), most)


def _curve(wanted: Knapsack, chooser: Chooser, view: View) -> pd.DataFrame:
    """Saving against budget: budgets in equal steps, from the least that meets the constraints to
    where more money saves no more. Columns: budget, spent, saved_m3 (a year), npv, areas, value,
    bound, gap (fraction), cut_off."""
    gap = view.rules.gap * _CURVE_GAP
    start = least_cost(wanted) or 0.0
    most = chooser.pick(np.inf, gap)
    end = start if most is None else max(most.cost, start)
    rows: list[dict[str, float]] = []
    best: Pick | None = None
    for step in np.linspace(start, end, view.rules.curve_points):
        budget = round_up(step * 100) / 100
        pick = chooser.pick(budget, gap)
        if pick is None:
            continue
        if best is not None and best.value > pick.value:  # what did with less money still does
            bound = pick.bound
            cut_off = pick.cut_off
            nodes = pick.nodes
            pick = proved(best.chosen, best.value, best.cost, bound, cut_off, nodes)
        best = pick
        outcome = view.outcome(pick.chosen)
        rows.append(
            {
                "budget": budget,
                "spent": pick.cost,
                "saved_m3": outcome["saved_m3"],
                "npv": outcome["npv"],
                "areas": outcome["areas"],
                "value": pick.value,
                "bound": pick.bound,
                "gap": pick.gap,
                "cut_off": pick.cut_off,
            }
        )
    return pd.DataFrame(rows)


def keeping(wanted: Knapsack, chosen: np.ndarray, share: float) -> Knapsack:
    """The same with options already ``chosen`` (n,) worth ``share`` of their value more, so that
    ties do not move areas."""
    value = wanted.value.copy()
    at = np.flatnonzero(chosen >= 0)
    taken = at, chosen[at]
    value[taken] += share * np.abs(value[taken])
    return replace(wanted, value=value)


def doubled(
    wanted: Knapsack,
    chooser: Chooser,
    pick: Pick,
    budget: float,
    gap: float,
) -> Pick | None:
    """The best choice for twice the budget; of choices as good within the gap, one that keeps what
    is chosen now."""
    best = chooser.pick(2 * budget, gap)
    kept = Chooser(keeping(wanted, pick.chosen, gap)).pick(2 * budget, gap / 2)
    if best is None or kept is None:
        return best
    value = value_of(wanted, kept.chosen)
    again = proved(kept.chosen, value, kept.cost, best.bound, best.cut_off, best.nodes)
    if again.gap <= gap:
        return again
    return best


def value_of(wanted: Knapsack, chosen: np.ndarray) -> float:
    """What a choice is worth."""
    at = np.flatnonzero(chosen >= 0)
    options = float(wanted.value[at, chosen[at]].sum())
    return options + shared(wanted.tariff, wanted.caps, chosen)
