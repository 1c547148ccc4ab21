"""The choice of a comparison of water against what the bid asks of it: districts, funds, and turf
laid where it is chosen, at the price that was reckoned with."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from geoturf.check.finding import always, told
from geoturf.model import Finding, Result
from geoturf.rules.water import District, WaterRules
from geoturf.units import Money

CENT = 0.01
_TINY = 1e-9


def districts(result: Result) -> list[Finding]:
    """Each district has the areas and the ground converted that it is to have, and spends no more
    than its budget and no other share of all money than it may."""
    if result.water is None:
        return []
    rules = result.bid.water
    chosen = _chosen(result)
    cost = _cost(chosen, rules)
    found: list[Finding] = []
    for name in sorted(set(result.water.table["district"]) - {""}):
        wanted = rules.districts.get(name, rules.every_district)
        inside = (chosen["district"] == name).to_numpy(bool)
        found += _minimum(name, wanted, int(inside.sum()), chosen["ground_area_m2"][inside].sum())
        if rules.programme is None:  # else money is of several years
            found += _money(name, wanted, float(cost[inside].sum()), float(cost.sum()))
    return found


def _minimum(name: str, wanted: District, areas: int, ground_m2: float) -> list[Finding]:
    short = areas < wanted.areas or ground_m2 < wanted.ground_m2 * (1 - _TINY)
    said = f"district {name} has {areas} areas, {ground_m2:.1f} m2, less than it is to have"
    return told("district-short", np.array([short]), always(said))


def _money(name: str, wanted: District, spent: float, of: float) -> list[Finding]:
    most = np.inf if wanted.budget is None else float(wanted.budget.amount)
    over = told(
        "district-over-budget",
        np.array([spent > most + CENT]),
        always(f"district {name} spends {spent:.2f}, its budget is {wanted.budget}"),
    )
    low = wanted.least_share * of - CENT
    high = wanted.most_share * of + CENT
    share = f"{spent:.2f} of {of:.2f}, not {wanted.least_share:.0%} to {wanted.most_share:.0%}"
    beside = np.array([not low <= spent <= high])
    return over + told("district-share", beside, always(f"district {name} spends {share}"))


def funds(result: Result) -> list[Finding]:
    """What the funds are said to spend pays for all that is chosen, each fund for what it may pay
    for and no more than it has: money is sent from fund to fund along paths until all is paid
    (Ford and Fulkerson 1956), in whole cents."""
    if result.water is None or not result.bid.water.funds:
        return []
    rules = result.bid.water
    chosen = _chosen(result)
    paid = {str(row["fund"]): row for row in result.water.summary["funds"]}
    amounts = {name: float(fund.amount.amount) for name, fund in rules.funds.items()}
    over = [paid[name]["spent"] > amount + CENT for name, amount in amounts.items()]
    names = list(amounts)
    found = told("fund-overspent", np.array(over), lambda k: f"fund {names[k]} spends too much")
    due: dict[frozenset[str], int] = {}
    for cost, row in zip(_cost(chosen, rules), chosen.itertuples(), strict=True):
        may = _may_pay(rules, str(row.conversion), str(row.district))
        due[may] = due.get(may, 0) + round(100 * float(cost))
    purse = {name: round(100 * paid[name]["spent"]) + len(due) for name in names}
    unpaid = _unpaid(due, purse)
    said = f"{unpaid / 100:.2f} of what is chosen is paid by no fund that may"
    return found + told("fund-pays-not", np.array([unpaid > len(due)]), always(said))


def _may_pay(rules: WaterRules, conversion: str, district: str) -> frozenset[str]:
    return frozenset(
        name
        for name, fund in rules.funds.items()
        if (not fund.conversions or conversion in fund.conversions)
        and (not fund.districts or district in fund.districts)
    )


def _unpaid(due: Mapping[frozenset[str], int], purse: Mapping[str, int]) -> int:
    """Of what is ``due`` by who may pay for it, what no way to spend the ``purse`` of each pays."""
    left = dict(purse)
    flow = {(may, name): 0 for may in due for name in may}
    unpaid = 0
    for may, amount in due.items():
        while amount:
            path = _path(may, flow, left)
            if path is None:
                unpaid += amount
                break
            back = [flow[path[k + 1][0], path[k][1]] for k in range(len(path) - 1)]
            step = min(amount, left[path[-1][1]], *back)
            for k, (kind, name) in enumerate(path):
                flow[kind, name] += step
                if k:
                    flow[kind, path[k - 1][1]] -= step
            left[path[-1][1]] -= step
            amount -= step
    return unpaid


_Path = list[tuple[frozenset[str], str]]


def _path(start: frozenset[str], flow: Mapping[tuple[frozenset[str], str], int],
          left: Mapping[str, int]) -> _Path | None:  # fmt: skip
    """What pays for ``start`` by way of others that are paid otherwise instead: (kind, the fund
    that pays for it from now on) …, to a fund that has money ``left``."""
    paths: list[_Path] = [[(start, name)] for name in sorted(start)]
    seen = set(start)
    for path in paths:
        fund = path[-1][1]
        if left[fund] > 0:
            return path
        for (kind, name), sent in flow.items():
            if name == fund and sent > 0:
                fresh = sorted(kind - seen)
                seen.update(fresh)
                paths += [[*path, (kind, other)] for other in fresh]
    return None


def turf(result: Result) -> list[Finding]:
    """Turf is laid on what is chosen to be turf and on what takes no part, and nowhere else; what
    was reckoned for it is what it costs as laid."""
    if result.water is None or result.bid.water.lay == "all":
        return []
    rules = result.bid.water
    table = result.water.table
    conversion = rules.conversions
    is_turf = table["conversion"].map(lambda name: conversion[name].turf).to_numpy(bool)
    rows = table[is_turf & table["chosen"].to_numpy(bool)]
    count = len(result.all_ground.areas)
    due = np.setdiff1d(np.arange(count), table["area_index"])
    due = np.union1d(due, rows["area_index"])
    staying = result.staying
    laid = np.arange(count) if staying is None else staying.rows
    wrong = np.setxor1d(due, laid)
    found = told(
        "turf-not-as-chosen",
        np.isin(np.arange(count), wrong),
        lambda k: f"area {k + 1}: turf is laid where it is not chosen, or not where it is",
    )
    if found:
        return found
    price = pd.Series(result.price.areas["price"].to_numpy(), index=laid)
    off = [
        _kept(conversion[name].kept_line) + float(price[area]) - capital
        for name, area, capital in zip(rows["conversion"], rows["area_index"], rows["capital"], strict=True)
        if conversion[name].capital is None
    ]  # fmt: skip
    return told(
        "turf-not-at-its-price",
        np.abs(np.array(off, dtype=float)) > CENT / 2,
        always("turf that is chosen was reckoned at another price than it has as laid"),
    )


def _kept(line: Money) -> float:
    return float(line.amount)


def _chosen(result: Result) -> pd.DataFrame:
    table = result.water.table  # type: ignore[union-attr]  # asked for where there is one
    return table[table["chosen"]]


def _cost(chosen: pd.DataFrame, rules: WaterRules) -> np.ndarray:
    """What counts against budgets, of each area chosen."""
    capital: np.ndarray = chosen["capital"].to_numpy(float)
    if rules.budget_takes == "capital":
        return capital
    rebate: np.ndarray = chosen["rebate"].to_numpy(float)
    taken: np.ndarray = capital - rebate
    return taken


PROMISES = (districts, funds, turf)
