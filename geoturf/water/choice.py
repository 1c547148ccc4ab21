"""Which areas to convert to what: the bid's wishes as an integer programme, the choice for a budget, and the whole
curve of budgets."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from geoturf.errors import BidError
from geoturf.model import Finding
from geoturf.rules.water import Named, WaterRules
from geoturf.water.lawns import Lawns
from geoturf.water.money import blocks, by_site, present_value_factor, site_numbers
from geoturf.water.problem import Pick, Programme, Side, Tariff, told
from geoturf.water.programme import Chooser
from geoturf.water.published import closest
from geoturf.water.tiered import bill_fall, rising
from geoturf.water.view import View

_CURVE_GAP = 10  # a point of the curve is proved within so many times the gap of the choice itself


def programme(view: View) -> Programme:
    """The integer programme of a bid: value in m3 of water a year, or in net present money. Raises `BidError` for a
    name in must, must_not or districts that no area has."""
    lawns, rules, worth = view.lawns, view.rules, view.worth
    value, tariff = _value(view)
    cost = worth.capital if rules.budget_takes == "capital" else worth.capital - worth.rebate
    allowed, required = lawns.offered.copy(), np.zeros(len(lawns.areas), dtype=bool)
    for named in rules.must:
        at = _named(named, "must", lawns)
        required |= at
        if named.conversion:
            number = lawns.names.index(named.conversion)
            _refuse_unknown(lawns, at & ~lawns.offered[:, number], f"must become '{named.conversion}'")
            allowed[at] &= np.arange(len(lawns.names)) == number
    for named in rules.must_not:
        at = _named(named, "must_not", lawns)
        gone = np.array([not named.conversion or name == named.conversion for name in lawns.names])
        allowed[np.ix_(at, gone)] = False
    _refuse_unknown(lawns, required & ~allowed.any(axis=1), "must convert")
    allowed &= worthwhile(view) | required[:, None] | _needed(view, allowed, required)[:, None]
    return Programme(value, cost, allowed, required, _sides(lawns, allowed, rules), tariff)


def worthwhile(view: View) -> np.ndarray:
    """Options worth their money by the bid's rules (longest_payback, positive_npv), whatever budget is left: bool (n, k)."""
    rules, worth = view.rules, view.worth
    soon = worth.payback_years <= (rules.longest_payback or np.inf)
    return soon & (worth.npv >= 0) if rules.positive_npv else soon


def _needed(view: View, allowed: np.ndarray, required: np.ndarray) -> np.ndarray:
    """Areas, bool (n,), that a district's minimum cannot do without, though nothing offered to them is worth its money: those
    that pay back soonest."""
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
            needed[i], areas, ground = True, areas + 1, ground + lawns.ground_m2[i]
    return needed


def _refuse_unknown(lawns: Lawns, at: np.ndarray, what: str) -> None:
    """Refuses the first of areas ``at`` (bool (n,)), which the bid asks more of than is offered to them."""
    if at.any():
        row = lawns.areas[at].iloc[0]
        fault = (
            f"{what}, which is not offered to it: see must_not, only_covers and except_uses, or it has no price of turf"
        )
        raise BidError(Finding("error", "must-without-offer", fault, site=row["site"], area=row["area"]))


def _value(view: View) -> tuple[np.ndarray, Tariff | None]:
    """Value of every option, and the bill that is shared, where the aim is money and its blocks rise."""
    rules, worth = view.rules, view.worth
    if rules.objective == "water":
        return view.saved_m3, None
    starts, prices = blocks(rules.price)
    if len(starts) == 1 or not rising(prices):
        return worth.npv, None
    years = present_value_factor(rules.horizon, rules.discount_rate, rules.price.escalation)
    site, before = site_numbers(view.lawns), by_site(view.use.before_m3, site_numbers(view.lawns))
    prices = prices * view.case.price * years
    tied = (
        before > starts[1]
    )  # in other months the first block is all an account uses, and its areas have nothing to share
    alone = (view.use.saved_m3 * ~tied[site][:, None, :]).sum(axis=2) * prices[0]
    tariff = Tariff(site, before * tied, view.use.saved_m3 * tied[site][:, None, :], starts, prices)
    return worth.npv - worth.bill_saved * years + alone, tariff


def _named(named: Named, key: str, lawns: Lawns) -> np.ndarray:
    at = (lawns.areas["site"] == named.site).to_numpy()
    if not at.any():
        hint = closest(named.site, set(lawns.areas["site"]))[:300]
        raise BidError(
            Finding("error", "unknown-site", f"water.{key}: no compared area has site '{named.site}'; {hint}")
        )
    if named.area:
        sites_areas = set(lawns.areas["area"][at])
        at &= (lawns.areas["area"] == named.area).to_numpy()
        if not at.any():
            hint = closest(named.area, sites_areas)[:300]
            fault = f"water.{key}: site '{named.site}' has no compared area '{named.area}'; {hint}"
            raise BidError(Finding("error", "unknown-area", fault))
    return at


def _sides(lawns: Lawns, allowed: np.ndarray, rules: WaterRules) -> tuple[Side, ...]:
    sides = []
    district = lawns.areas["district"].to_numpy()
    known = sorted(set(district) - {""})
    for name in rules.districts:
        if name not in known:
            hint = closest(name, known) if known else "no area has a district"
            raise BidError(
                Finding("error", "unknown-district", f"water.districts: no area is in district '{name}'; {hint}")
            )
    for name in known:
        wanted = rules.districts.get(name, rules.every_district)
        inside = np.broadcast_to((district == name)[:, None], allowed.shape).astype(float)
        for word, least, weight in (
            ("areas", float(wanted.areas), inside),
            ("m2 of ground", wanted.ground_m2, inside * lawns.ground_m2[:, None]),
        ):
            if least > 0:
                most = float((weight * allowed).max(axis=1).sum())
                if most < least:
                    fault = (
                        f"water.districts: district '{name}' is to get at least {least:,.0f} {word} converted; only "
                        f"{most:,.0f} are on offer there"
                    )
                    raise BidError(Finding("error", "district-minimum", fault))
                sides.append(Side(f"at least {least:,.0f} {word} in {name}", weight, least, np.inf))
    if rules.turf_share < 1:
        turf = np.array([conversion.turf for conversion in lawns.conversions], dtype=float)
        most = rules.turf_share * lawns.ground_m2.sum()
        sides.append(Side("share of synthetic turf", lawns.ground_m2[:, None] * turf, -np.inf, most))
    return tuple(sides)


def least_cost(wanted: Programme) -> float | None:
    """The least that any choice meeting must, districts and turf share costs; 0 where nothing is asked for, None where
    none can."""
    if not wanted.required.any() and all(side.lower <= 0 for side in wanted.sides):
        return 0.0
    pick = Chooser(replace(wanted, value=-wanted.cost, tariff=None)).pick(np.inf, 1e-6)
    return None if pick is None else pick.cost


def choose(wanted: Programme, chooser: Chooser, budget: float, gap: float, currency: str) -> Pick:
    """The best choice within ``budget``. Raises `BidError` where none meets the constraints, saying what the least
    budget is."""
    pick = chooser.pick(budget, gap)
    if pick is not None:
        return pick
    least = least_cost(wanted)
    asked = "; ".join(
        [f"{int(wanted.required.sum())} areas must convert"] * bool(wanted.required.any())
        + [s.name for s in wanted.sides]
    )
    if least is None:
        fault = f"no choice meets all that is asked for, whatever the budget ({asked}); ask for less"
        raise BidError(Finding("error", "no-choice", f"water: {fault}"))
    costs = f"what is asked for ({asked}) costs at least {least:,.2f} {currency}"
    fault = f"no choice meets a budget of {budget:,.2f} {currency}: {costs}"
    raise BidError(Finding("error", "budget-too-small", f"water.budget: {fault}"))


def curve(wanted: Programme, chooser: Chooser, view: View) -> pd.DataFrame:
    """Saving against budget: budgets in equal steps, from the least that meets the constraints to where more money
    saves no more. Columns: budget, spent, saved_m3 (a year), npv, areas, value, bound, gap (fraction), cut_off."""
    gap = view.rules.gap * _CURVE_GAP
    most = chooser.pick(np.inf, gap)
    rows, best = [], None
    start = least_cost(wanted) or 0.0
    for step in np.linspace(start, max(most.cost, start), view.rules.curve_points):
        budget = float(np.ceil(step * 100 - 1e-6) / 100)
        pick = chooser.pick(budget, gap)
        if pick is None:
            continue
        if best is not None and best.value > pick.value:  # what did with less money still does
            pick = told(best.chosen, best.value, best.cost, pick.bound, pick.cut_off, pick.nodes)
        best = pick
        outcome = view.outcome(pick.chosen)
        figures = {"budget": budget, "spent": pick.cost} | {
            name: outcome[name] for name in ("saved_m3", "npv", "areas")
        }
        rows.append(figures | {"value": pick.value, "bound": pick.bound, "gap": pick.gap, "cut_off": pick.cut_off})
    return pd.DataFrame(rows)


def keeping(wanted: Programme, chosen: np.ndarray, share: float) -> Programme:
    """The programme with options already ``chosen`` (n,) worth ``share`` of their value more, so that ties do not move
    areas."""
    value = wanted.value.copy()
    at = np.flatnonzero(chosen >= 0)
    value[at, chosen[at]] += share * np.abs(value[at, chosen[at]])
    return replace(wanted, value=value)


def doubled(wanted: Programme, chooser: Chooser, pick: Pick, budget: float, gap: float) -> Pick | None:
    """The best choice for twice the budget; of choices as good within the gap, one that keeps what is chosen now."""
    best = chooser.pick(2 * budget, gap)
    kept = Chooser(keeping(wanted, pick.chosen, gap)).pick(2 * budget, gap / 2)
    if best is None or kept is None:
        return best
    again = told(kept.chosen, value_of(wanted, kept.chosen), kept.cost, best.bound, best.cut_off, best.nodes)
    return again if again.gap <= gap else best


def value_of(wanted: Programme, chosen: np.ndarray) -> float:
    """What a choice is worth."""
    at = np.flatnonzero(chosen >= 0)
    options = float(wanted.value[at, chosen[at]].sum())
    return options if wanted.tariff is None else options + bill_fall(wanted.tariff, chosen)
