"""What a bid asks of the choice beside its aim: areas that must or must not convert, what is worth
its money, what districts and funds allow, as side constraints."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd

from geoturf.errors import BidError
from geoturf.model import Finding
from geoturf.rules.water import District, Fund, Named, WaterRules
from geoturf.water.knapsack import Side
from geoturf.water.lawns import Lawns
from geoturf.water.published import closest, nearest
from geoturf.water.sited import column
from geoturf.water.view import View

_BY = ("district", "use", "phase", "cover", "irrigation", "feature")
_HALF_A_CENT = 0.005


def allowed_and_required(view: View) -> tuple[np.ndarray, np.ndarray]:
    """Options that may be chosen, bool (n, k), and areas that must convert, bool (n,)."""
    lawns = view.lawns
    rules = view.rules
    allowed, required = _musts(lawns, rules)
    if rules.funds:
        allowed &= payers(lawns, rules).any(axis=2)
        _refuse_unoffered(lawns, required & ~allowed.any(axis=1), "must convert, and by a fund")
    needed = _needed(view, allowed, required)
    allowed &= worthwhile(view) | required[:, None] | needed[:, None]
    return allowed, required


def limit(lawns: Lawns, rules: WaterRules) -> float:
    """What may be spent in all, by the budget, the funds, and districts' budgets where there is no
    other; inf where nothing limits it."""
    whole = [] if rules.budget is None else [float(rules.budget.amount)]
    if rules.funds:
        whole.append(sum(float(fund.amount.amount) for fund in rules.funds.values()))
    if rules.programme is not None:
        whole.append(sum(float(budget.amount) for budget in rules.programme.budgets))
    names = _districts(lawns)
    by_district = [of_district(rules, name).budget for name in names]
    stated = [float(budget.amount) for budget in by_district if budget is not None]
    if not whole and stated:
        whole.append(sum(stated))
    return min(whole, default=np.inf)


def of_district(rules: WaterRules, name: str) -> District:
    """What the bid says of a district."""
    return rules.districts.get(name, rules.every_district)


def _districts(lawns: Lawns) -> list[str]:
    return sorted(set(lawns.areas["district"]) - {""})


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
    rules = view.rules
    worth = view.worth
    soon: np.ndarray = worth.payback_years <= (rules.longest_payback or np.inf)
    if rules.positive_npv:
        return soon & (worth.npv >= 0)
    return soon


def _needed(view: View, allowed: np.ndarray, required: np.ndarray) -> np.ndarray:
    """Areas, bool (n,), that a district's minimum cannot do without, though nothing offered to them
    is worth its money: those that pay back soonest."""
    lawns = view.lawns
    rules = view.rules
    district = lawns.areas["district"].to_numpy()
    worth_it = (allowed & worthwhile(view)).any(axis=1) | required
    payback = np.where(allowed, view.worth.payback_years, np.inf).min(axis=1)
    others = np.flatnonzero(allowed.any(axis=1) & ~worth_it)
    others = others[np.argsort(payback[others], kind="stable")]
    needed = np.zeros(len(district), dtype=bool)
    if not len(others):
        return needed
    for name in set(district) - {""}:
        wanted = rules.districts.get(name, rules.every_district)
        inside = worth_it & (district == name)
        areas = int(inside.sum())
        ground = float(lawns.ground_m2[inside].sum())
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
        site = row["site"]
        area = row["area"]
        raise BidError(Finding("error", "must-without-offer", fault, site=site, area=area))


def _named(named: Named, rule: str, lawns: Lawns) -> np.ndarray:
    """Areas named by a ``rule`` (must, must_not), bool (n,). Raises `BidError` where there are
    none."""
    areas = lawns.areas
    if named.column:
        return _of_column(named, rule, areas)
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


def _of_column(named: Named, rule: str, areas: pd.DataFrame) -> np.ndarray:
    """Areas with one of the values in the column, bool (n,); each value must stand there."""
    given = areas[column(named.column, _BY, areas, rule)].fillna("").astype(str)
    for value in named.values:
        if not (given == value).any():
            hint = nearest(value, set(given) - {""})
            fault = f"water.{rule}: no compared area has {named.column} '{value}'; {hint}"
            raise BidError(Finding("error", "unknown-value", fault))
    return given.isin(named.values).to_numpy()


def sides(view: View, allowed: np.ndarray, cost: np.ndarray) -> tuple[Side, ...]:
    """Saving wanted, districts, funds and the share of turf as side constraints. ``cost``: (n, k),
    what counts against budgets."""
    lawns = view.lawns
    rules = view.rules
    known = _districts(lawns)
    _refuse_unknown_districts(rules, known)
    _refuse_without_budget(lawns, rules, known)
    found = list(_saving(view))
    for name in known:
        found += _of_district(lawns, name, of_district(rules, name), allowed, cost)
    if rules.turf_share < 1:
        turf = np.array([conversion.turf for conversion in lawns.conversions], dtype=float)
        most = rules.turf_share * lawns.ground_m2.sum()
        weight = lawns.ground_m2[:, None] * turf
        found.append(Side("share of synthetic turf", weight, -np.inf, most))
    if rules.funds:
        found += _of_funds(rules.funds, payers(lawns, rules), allowed, cost)
    return tuple(found)


def _saving(view: View) -> list[Side]:
    wanted = view.rules.saving_m3
    if not wanted:
        return []
    told = view.lawns.told.water(wanted)
    return [Side(f"at least {told} saved a year", view.saved_m3, wanted, np.inf)]


def refuse_beyond_reach(view: View) -> None:
    """Raises `BidError` for a saving wanted that all areas together, each converted to what saves
    most there, do not reach."""
    wanted = view.rules.saving_m3
    if not wanted:
        return
    allowed, _ = allowed_and_required(view)
    best = np.where(allowed, view.saved_m3, 0.0).max(axis=1, initial=0.0)
    if best.sum() >= wanted:
        return
    told = view.lawns.told
    asked = told.water(wanted)
    most = told.water(float(best.sum()))
    see = "see longest_payback, positive_npv, must_not and offer, or ask for less"
    fault = f"water.saving: {asked} a year is asked for; all that is on offer saves {most}; {see}"
    raise BidError(Finding("error", "saving-out-of-reach", fault))


def _of_district(
    lawns: Lawns, name: str, wanted: District, allowed: np.ndarray, cost: np.ndarray
) -> list[Side]:
    """A district's minimums, its budget, and its shares of what is spent."""
    if wanted == District():  # nothing
        return []
    at = (lawns.areas["district"] == name).to_numpy()[:, None]
    inside = np.broadcast_to(at, allowed.shape).astype(float)
    ground = inside * lawns.ground_m2[:, None]
    found = _minimum(name, "areas", float(wanted.areas), inside, allowed)
    found += _minimum(name, "m2 of ground", wanted.ground_m2, ground, allowed)
    if wanted.budget is not None:
        most = float(wanted.budget.amount)
        found.append(Side(f"at most {wanted.budget} in {name}", inside * cost, -np.inf, most))
    if wanted.least_share > 0:
        over = (inside - wanted.least_share) * cost
        least = f"at least {wanted.least_share:.0%} of the money in {name}"
        found.append(Side(least, over, -_HALF_A_CENT, np.inf))
    if wanted.most_share < 1:
        over = (inside - wanted.most_share) * cost
        most_said = f"at most {wanted.most_share:.0%} of the money in {name}"
        found.append(Side(most_said, over, -np.inf, _HALF_A_CENT))
    return found


def _refuse_without_budget(lawns: Lawns, rules: WaterRules, known: list[str]) -> None:
    """Refuses a district that nothing limits, where others have budgets."""
    stated = any(of_district(rules, name).budget is not None for name in known)
    if not stated or rules.budget is not None or rules.funds or rules.programme:
        return
    for name in known:
        if of_district(rules, name).budget is None:
            give = f'give [water.districts."{name}"] a budget, or every_district, or the whole'
            fault = f"water.districts: district '{name}' has no budget, and others have; {give}"
            raise BidError(Finding("error", "district-without-budget", fault))
    nowhere = lawns.areas[lawns.areas["district"] == ""]
    if len(nowhere):
        row = nowhere.iloc[0]
        fault = (
            f"budgets are by district, and {len(nowhere)} areas have none; "
            "fill in their district, or state water.budget"
        )
        site = row["site"]
        area = row["area"]
        found = Finding("error", "district-without-budget", fault, site=site, area=area)
        raise BidError(found)


def _refuse_unknown_districts(rules: WaterRules, known: list[str]) -> None:
    named = [("districts", name) for name in rules.districts]
    for fund, of in rules.funds.items():
        named += [(f"funds.{fund}", name) for name in of.districts]
    for where, name in named:
        if name not in known:
            hint = closest(name, known) if known else "no area has a district"
            fault = f"water.{where}: no area is in district '{name}'; {hint}"
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


def payers(lawns: Lawns, rules: WaterRules) -> np.ndarray:
    """Whether each fund may pay for each option, bool (n, k, funds)."""
    district = lawns.areas["district"].to_numpy()
    pays = []
    for fund in rules.funds.values():
        where = (
            np.isin(district, fund.districts) if fund.districts else np.ones(len(district), bool)
        )
        what = np.isin(lawns.names, fund.conversions or lawns.names)
        pays.append(where[:, None] & what[None, :])
    return np.stack(pays, axis=2)


def _of_funds(
    funds: dict[str, Fund], pays: np.ndarray, allowed: np.ndarray, cost: np.ndarray
) -> list[Side]:
    """Funds can pay for a choice just when, whatever set of funds is taken, what only they may pay
    for costs no more than they have (Hall's condition, for money that may be divided; the max-flow
    min-cut theorem gives it)."""
    amounts = np.array([float(fund.amount.amount) for fund in funds.values()])
    names = list(funds)
    found: list[Side] = []
    known: set[bytes] = set()
    for size in range(1, len(names) + 1):
        for some in combinations(range(len(names)), size):
            others = [k for k in range(len(names)) if k not in some]
            theirs = ~pays[:, :, others].any(axis=2) & allowed
            if not theirs.any() or theirs.tobytes() in known:
                continue  # fewer funds alone may pay for the same: they bound it more
            known.add(theirs.tobytes())
            said = f"what {' and '.join(names[k] for k in some)} alone may pay for"
            found.append(Side(said, cost * theirs, -np.inf, float(amounts[list(some)].sum())))
    return found
