"""A programme over years: the choice with a budget for each year.

An area takes one conversion in one year or none: the knapsack with each conversion once a year.
What is done in year y (0 is this one) costs and brings what it does at that year's prices, within
what is then left of the horizon, discounted to now.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from geoturf.rules.water import Conversion, WaterRules
from geoturf.rules.water.choice import Programme
from geoturf.water import asked, choice
from geoturf.water.knapsack import NONE, Knapsack, Pick, Side
from geoturf.water.view import View, view


def by_year(now: View) -> list[View]:
    """What is done in each year of the programme, seen from that year."""
    programme = now.rules.programme
    if programme is None:
        return [now]
    return [now, *(_later(now, programme, y) for y in range(1, len(programme.budgets)))]


def _later(now: View, programme: Programme, year: int) -> View:
    rules = now.rules
    case = now.case
    risen = replace(
        case,
        capital=case.capital * (1 + programme.price_rise) ** year,
        price=case.price * (1 + rules.price.escalation) ** year,
        upkeep=case.upkeep * (1 + rules.upkeep_escalation) ** year,
    )
    left = rules.model_copy(update={"horizon": rules.horizon - year})
    conversions = tuple(_without_dated(conversion) for conversion in now.lawns.conversions)
    return view(replace(now.lawns, conversions=conversions), now.months, left, risen)


def _without_dated(conversion: Conversion) -> Conversion:
    """A rebate with a deadline is counted on in the first year only."""
    rebate = conversion.rebate
    if rebate is None or rebate.deadline is None:
        return conversion
    return conversion.model_copy(update={"rebate": None})


def knapsack(now: View) -> Knapsack:
    """What a bid asks, each conversion once a year: option ``year * k + conversion``. Without a
    programme `choice.knapsack`."""
    programme = now.rules.programme
    if programme is None:
        return choice.knapsack(now)
    years = by_year(now)
    worth = [one.worth for one in years]
    net = now.rules.budget_takes != "capital"
    cost = [w.capital - w.rebate if net else w.capital for w in worth]
    allowed, required = zip(*(asked.allowed_and_required(one) for one in years), strict=True)
    any_year = np.logical_or.reduce(allowed)
    sides = [asked.sides(v, any_year, c) for v, c in zip(years, cost, strict=True)]
    beside = [_over_years(same) for same in zip(*sides, strict=True)]
    value = [_value(one, year, now.rules) for year, one in enumerate(years)]
    return Knapsack(
        np.hstack(value),
        np.hstack(cost),
        np.hstack(allowed),
        np.logical_or.reduce(required),
        (*beside, *_budgets(programme, cost)),
    )


def _value(one: View, year: int, rules: WaterRules) -> np.ndarray:
    """What is done in a year is worth, (n, k): m3 a year, the mean over the horizon, or money of
    now."""
    if rules.objective == "water":
        return one.saved_m3 * (rules.horizon - year) / rules.horizon
    now: np.ndarray = one.worth.npv / (1 + rules.discount_rate) ** year
    return now


def _over_years(same: tuple[Side, ...]) -> Side:
    return replace(same[0], weight=np.hstack([side.weight for side in same]))


def _budgets(programme: Programme, cost: list[np.ndarray]) -> list[Side]:
    """Each year's budget; with what is carried over, that of all years up to it."""
    amounts = [float(budget.amount) for budget in programme.budgets]
    found = []
    for year in range(len(amounts)):
        first = 0 if programme.carry_over else year
        counted = [c if first <= y <= year else 0.0 * c for y, c in enumerate(cost)]
        most = sum(amounts[first : year + 1])
        found.append(Side(f"budget of year {year + 1}", np.hstack(counted), -np.inf, most))
    return found


def conversions(chosen: np.ndarray, k: int) -> np.ndarray:
    """The conversion of each area, whatever its year, (n,)."""
    return np.where(chosen >= 0, chosen % k, NONE)


def told(now: View, answer: Pick) -> dict[str, Any] | None:
    """What is done, spent and saved in each year; None without a programme. ``answer``: of
    `knapsack`. npv: of the whole programme, in money of now; None with tiers, where bills are
    shared."""
    programme = now.rules.programme
    rules = now.rules
    if programme is None:
        return None
    cost = knapsack(now).cost
    k = len(now.lawns.names)
    year_of = np.where(answer.chosen >= 0, answer.chosen // k, NONE)
    rows: list[dict[str, Any]] = []
    carried = so_far = in_horizon = npv = 0.0
    for year, one in enumerate(by_year(now)):
        at = np.flatnonzero(year_of == year)
        picked = at, answer.chosen[at] % k
        budget = float(programme.budgets[year].amount)
        spent = float(cost[at, answer.chosen[at]].sum())
        saved = float(one.saved_m3[picked].sum())
        so_far += saved
        in_horizon += saved * (rules.horizon - year)
        npv += float(one.worth.npv[picked].sum()) / (1 + rules.discount_rate) ** year
        left = budget + carried - spent
        carried = left if programme.carry_over else 0.0
        names = now.lawns.areas.iloc[at][["site", "area"]].to_dict("records")
        rows.append(
            {
                "year": year + 1,
                "budget": budget,
                "spent": spent,
                "left": left,
                "areas": names,
                "saved_m3": saved,
                "saved_so_far_m3": so_far,
            }
        )
    return {
        "price_rise": programme.price_rise,
        "carry_over": programme.carry_over,
        "years": rows,
        "saved_in_horizon_m3": in_horizon,
        "npv": None if now.lawns.tariffs.tiered else npv,
    }
