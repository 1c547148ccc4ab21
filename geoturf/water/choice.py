"""Which areas to convert to what: the bid's wishes as a multiple-choice knapsack, the choice for a
budget, and the whole curve of budgets."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from geoturf.errors import BidError
from geoturf.model import Finding
from geoturf.rules.water import Named, WaterRules
from geoturf.water.chooser import Chooser
from geoturf.water.knapsack import Knapsack, Pick, Side, Tariff, proved
from geoturf.water.lawns import Lawns, site_numbers
from geoturf.water.money import blocks, by_site, present_value_factor
from geoturf.water.published import closest, nearest
from geoturf.water.tiered import bill_fall, rising
from geoturf.water.view import View

_CURVE_GAP = 10  # a point of the curve is proved within so many times the gap of the choice itself


def knapsack(view: View) -> Knapsack:
    """What a bid asks: value in m3 of water a year, or in net present money. Raises `BidError` for
    a name in must, must_not or districts that no area has."""
    lawns, rules, worth = view.lawns, view.rules, view.worth
    value, tariff = _value(view)
    cost = worth.capital if rules.budget_takes == "capital" else worth.capital - worth.rebate
    allowed, required = _musts(lawns, rules)
    needed = _needed(view, allowed, required)
    allowed &= worthwhile(view) | required[:, None] | needed[:, None]
    return Knapsack(value, cost, allowed, required, _sides(lawns, allowed, rules), tariff)


def _musts(lawns: Lawns, rules: WaterRules) -> tuple[np.ndarray, np.ndarray]:
    """By must and must_not: options allowed, bool (n, k), and areas that must convert, bool
    (n,)."""
    allowed = lawns.offered.copy()
    required = np.zeros(len(lawns.areas), dtype=bool)
    for named in rules.must:
        at = _named(named, "must", lawns)
        required |= at
        if named.conversion:
            number = lawns.names.index(named.conversion)
            unoffered = at & ~lawns.offered[:, number]
            _refuse_unoffered(lawns, unoffered, f"must become '{named.conversion}'")
            allowed[at] &= np.arange(len(lawns.names)) == number
    for named in rules.must_not:
        at = _named(named, "must_not", lawns)
        if named.conversion:
            allowed[at, lawns.names.index(named.conversion)] = False
        else:
            allowed[at] = False
    _refuse_unoffered(lawns, required & ~allowed.any(axis=1), "must convert")
    return allowed, required


def worthwhile(view: View) -> np.ndarray:
    """Options worth their money by the bid's rules (longest_payback, positive_npv), whatever budget
    is left: bool (n, k)."""
    rules, worth = view.rules, view.worth
    soon: np.ndarray = worth.payback_years <= (rules.longest_payback or np.inf)
    return soon & (worth.npv >= 0) if rules.positive_npv else soon


def _needed(view: View, allowed: np.ndarray, required: np.ndarray) -> np.ndarray:
    """Areas, bool (n,), that a district's minimum cannot do without, though nothing offered to them
    is worth its money: those that pay back soonest."""
    lawns, rules = view.lawns, view.rules
    district = lawns.areas["district"].to_numpy()
    worth_it = (allowed & worthwhile(view)).any(axis=1) | required
    payback = np.where(allowed, view.worth.payback_years, np.inf).min(axis=1)
    others = np.flatnonzero(allowed.any(axis=1) & ~worth_it)
    others = others[np.argsort(payback[others], kind="stable")]
    needed = np.zeros(len(district), dtype=bool)
    for name in set(district) - {""}:
        wanted = rules.districts.get(name, rules.every_district)
        inside = worth_it & (district == name)
        areas, ground = int(inside.sum()), float(lawns.ground_m2[inside].sum())
        for i in others[district[others] == name]:
            if areas >= wanted.areas and ground >= wanted.ground_m2:
                break
            needed[i] = True
            areas += 1
            ground += lawns.ground_m2[i]
    return needed


def _refuse_unoffered(lawns: Lawns, at: np.ndarray, what: str) -> None:
    """Refuses the first of areas ``at`` (bool (n,)), which the bid asks more of than is offered to
    them."""
    if at.any():
        row = lawns.areas[at].iloc[0]
        see = "see must_not, only_covers and except_uses, or it has no price of turf"
        fault = f"{what}, which is not offered to it: {see}"
        site, area = row["site"], row["area"]
        raise BidError(Finding("error", "must-without-offer", fault, site=site, area=area))


def _value(view: View) -> tuple[np.ndarray, Tariff | None]:
    """Value of every option, and the bill that is shared, where the aim is money and its blocks
    rise."""
    rules, worth = view.rules, view.worth
    if rules.objective == "water":
        return view.saved_m3, None
    starts, prices = blocks(rules.price)
    if len(starts) == 1 or not rising(prices):
        return worth.npv, None
    years = present_value_factor(rules.horizon, rules.discount_rate, rules.price.escalation)
    prices = prices * view.case.price * years
    site = site_numbers(view.lawns)
    before = by_site(view.use.before_m3, site)
    # in other months the first block is all an account uses, and its areas have nothing to share
    tied = before > starts[1]
    tied_areas = tied[site][:, None, :]
    alone = (view.use.saved_m3 * ~tied_areas).sum(axis=2) * prices[0]
    tariff = Tariff(site, before * tied, view.use.saved_m3 * tied_areas, starts, prices)
    return worth.npv - worth.bill_saved * years + alone, tariff


def _named(named: Named, rule: str, lawns: Lawns) -> np.ndarray:
    """Areas named by a ``rule`` (must, must_not), bool (n,). Raises `BidError` where there are
    none."""
    areas = lawns.areas
    of_site = (areas["site"] == named.site).to_numpy()
    if not of_site.any():
        hint = nearest(named.site, set(areas["site"]))
        fault = f"water.{rule}: no compared area has site '{named.site}'; {hint}"
        raise BidError(Finding("error", "unknown-site", fault))
    if not named.area:
        return of_site
    found = of_site & (areas["area"] == named.area).to_numpy()
    if not found.any():
        hint = nearest(named.area, set(areas["area"][of_site]))
        fault = f"water.{rule}: site '{named.site}' has no compared area '{named.area}'; {hint}"
        raise BidError(Finding("error", "unknown-area", fault))
    return found


def _sides(lawns: Lawns, allowed: np.ndarray, rules: WaterRules) -> tuple[Side, ...]:
    """Districts' minimums and the share of turf as side constraints."""
    district = lawns.areas["district"].to_numpy()
    known = sorted(set(district) - {""})
    _refuse_unknown_districts(rules, known)
    sides = []
    for name in known:
        wanted = rules.districts.get(name, rules.every_district)
        inside = np.broadcast_to((district == name)[:, None], allowed.shape).astype(float)
        ground = inside * lawns.ground_m2[:, None]
        sides += _minimum(name, "areas", float(wanted.areas), inside, allowed)
        sides += _minimum(name, "m2 of ground", wanted.ground_m2, ground, allowed)
    if rules.turf_share < 1:
        turf = np.array([conversion.turf for conversion in lawns.conversions], dtype=float)
        most = rules.turf_share * lawns.ground_m2.sum()
        weight = lawns.ground_m2[:, None] * turf
        sides.append(Side("share of synthetic turf", weight, -np.inf, most))
    return tuple(sides)


def _refuse_unknown_districts(rules: WaterRules, known: list[str]) -> None:
    for name in rules.districts:
        if name not in known:
            hint = closest(name, known) if known else "no area has a district"
            fault = f"water.districts: no area is in district '{name}'; {hint}"
            raise BidError(Finding("error", "unknown-district", fault))


def _minimum(
    district: str,
    word: str,
    least: float,
    weight: np.ndarray,
    allowed: np.ndarray,
) -> list[Side]:
    """At least ``least`` of ``weight`` (n, k) converted in a district, where that asks for
    anything. Raises `BidError` where less is on offer."""
    if least <= 0:
        return []
    most = float((weight * allowed).max(axis=1).sum())
    if most < least:
        fault = (
            f"water.districts: district '{district}' is to get at least {least:,.0f} {word} "
            f"converted; only {most:,.0f} are on offer there"
        )
        raise BidError(Finding("error", "district-minimum", fault))
    return [Side(f"at least {least:,.0f} {word} in {district}", weight, least, np.inf)]


def least_cost(wanted: Knapsack) -> float | None:
    """The least that any choice meeting must, districts and turf share costs; 0 where nothing is
    asked for, None where none can."""
    if not wanted.required.any() and all(side.lower <= 0 for side in wanted.sides):
        return 0.0
    cheapest = replace(wanted, value=-wanted.cost, tariff=None)
    pick = Chooser(cheapest).pick(np.inf, 1e-6)
    return None if pick is None else pick.cost


def choose(wanted: Knapsack, chooser: Chooser, budget: float, gap: float, currency: str) -> Pick:
    """The best choice within ``budget``. Raises `BidError` where none meets the constraints, saying
    what the least budget is."""
    pick = chooser.pick(budget, gap)
    if pick is not None:
        return pick
    must = int(wanted.required.sum())
    musts = [f"{must} areas must convert"] if must else []
    asked = "; ".join([*musts, *(side.name for side in wanted.sides)])
    least = least_cost(wanted)
    if least is None:
        whatever = f"whatever the budget ({asked}); ask for less"
        fault = f"water: no choice meets all that is asked for, {whatever}"
        raise BidError(Finding("error", "no-choice", fault))
    costs = f"what is asked for ({asked}) costs at least {least:,.2f} {currency}"
    fault = f"water.budget: no choice meets a budget of {budget:,.2f} {currency}: {costs}"
    raise BidError(Finding("error", "budget-too-small", fault))


def curve(wanted: Knapsack, chooser: Chooser, view: View) -> pd.DataFrame:
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
        budget = float(np.ceil(step * 100 - 1e-6) / 100)
        pick = chooser.pick(budget, gap)
        if pick is None:
            continue
        if best is not None and best.value > pick.value:  # what did with less money still does
            bound, cut_off, nodes = pick.bound, pick.cut_off, pick.nodes
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
    return again if again.gap <= gap else best


def value_of(wanted: Knapsack, chosen: np.ndarray) -> float:
    """What a choice is worth."""
    at = np.flatnonzero(chosen >= 0)
    options = float(wanted.value[at, chosen[at]].sum())
    return options if wanted.tariff is None else options + bill_fall(wanted.tariff, chosen)
