"""The answers: one row an area and conversion, which areas come first and why, totals, what if the
budget doubles, what to mind."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from geoturf.rules.water import Cover, Rebate
from geoturf.rules.water.climate import MONTHS
from geoturf.water import programme
from geoturf.water.asked import worthwhile
from geoturf.water.funds import paid
from geoturf.water.knapsack import Knapsack, Pick
from geoturf.water.lawns import Lawns
from geoturf.water.money import rebate_paid
from geoturf.water.notes import assumed_conversions
from geoturf.water.outlook import Settled
from geoturf.water.place import Law
from geoturf.water.published import key
from geoturf.water.view import View

FIRST = 10
_TIE = 1e-3  # ties of what the last money was divided over fall a hair to either side of 1
_SUMS = ["ground_area_m2", "saved_m3", "capital", "rebate"]


def offers(view: View, wanted: Knapsack, pick: Pick) -> pd.DataFrame:
    """One row an area and conversion on offer to it, as documented at `geoturf.model.Water`."""
    lawns = view.lawns
    use = view.use
    worth = view.worth
    saved = view.saved_m3
    option = np.nonzero(lawns.offered)
    at, conversion = option
    areas = lawns.areas.iloc[at].reset_index(drop=True)
    capital = worth.capital[option]
    with np.errstate(divide="ignore", invalid="ignore"):
        per_currency = np.where(capital > 0, saved[option] / capital, np.nan)
    rows = pd.DataFrame(
        {
            "area_index": areas["area_index"],
            "site": areas["site"],
            "area": areas["area"],
            "district": areas["district"],
            "cover": areas["cover"],
            "irrigation": areas["irrigation"],
            "conversion": np.array(lawns.names)[conversion],
            "title": np.array(_titles(lawns))[conversion],
            "ground_area_m2": areas["ground_area_m2"],
            "baseline_m3": use.before_m3.sum(axis=1)[at],
            "use_m3": use.after_m3.sum(axis=2)[option],
            "saved_m3": saved[option],
            "capital": capital,
            "rebate": worth.rebate[option],
            "bill_saved": worth.bill_saved[option],
            "upkeep_saved": worth.upkeep_saved[option],
            "payback_years": worth.payback_years[option],
            "npv": worth.npv[option],
            "cost_per_m3": worth.cost_per_m3[option],
            "saved_m3_per_currency": per_currency,
            "chosen": pick.chosen[at] == conversion,
        }
    )
    value = saved
    if view.rules.objective == "money":
        value = worth.npv
    merit = _merit(value, wanted.cost)
    rows["rank"] = _ranks(rows["chosen"].to_numpy(), merit[option], value[option])
    reason = _reason_of_cost if view.rules.objective == "cost" else _reason
    why = _reasons(lawns.names, value, merit, wanted, pick, reason)
    places = zip(at.tolist(), conversion.tolist(), strict=True)
    rows["why"] = [why.get(place, "") for place in places]
    return rows


def _titles(lawns: Lawns) -> list[str]:
    """What a reader calls each conversion, (k,)."""
    named = zip(lawns.names, lawns.conversions, strict=True)
    return [conversion.title or name for name, conversion in named]


def _reasons(
    names: tuple[str, ...],
    value: np.ndarray,
    merit: np.ndarray,
    wanted: Knapsack,
    pick: Pick,
    reason_of: Callable[[float, float, bool], str],
) -> dict[tuple[int, int], str]:
    """Why each chosen option was, by area and conversion."""
    said = {}
    for area in np.flatnonzero(pick.chosen >= 0).tolist():
        taken = int(pick.chosen[area])
        reason = reason_of(float(merit[area, taken]), pick.cut_off, bool(wanted.required[area]))
        others = _against_others(names, value[area], wanted, area, taken)
        said[area, taken] = f"{reason}; {others}"
    return said


def _merit(value: np.ndarray, cost: np.ndarray) -> np.ndarray:
    """Value per unit of budget; inf where it costs nothing."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(cost > 0, value / cost, np.inf)


def _ranks(chosen: np.ndarray, merit: np.ndarray, value: np.ndarray) -> np.ndarray:
    """1, 2, 3 … of the chosen by value per unit of budget, then by value; 0 for the others."""
    ranks = np.zeros(len(chosen), dtype=int)
    rows = np.flatnonzero(chosen)
    with np.errstate(divide="ignore", invalid="ignore"):
        # merits within a thousandth count as equal
        step = np.round(np.log(np.maximum(merit[rows], 1e-300)), 3)
    order = np.lexsort((rows, -value[rows], -step))
    ranks[rows[order]] = np.arange(1, len(rows) + 1)
    return ranks


def _reason(merit: float, cut_off: float, required: bool) -> str:
    """Why a chosen row was chosen, without units: the measure is what the last unit of budget
    still brings (the cut-off)."""
    must = "must convert, says the bid"
    if cut_off <= 0:
        return must if required else "the budget does not bind: brings most of what is offered here"
    ratio = merit / cut_off
    if not np.isfinite(ratio):
        text = "costs nothing"
    elif abs(ratio - 1) < _TIE:
        text = "brings just what the last money spent must bring"
    elif ratio > 1:
        text = f"brings {ratio:.2f} times what the last money spent must bring"
    else:
        return must if required else "fills what the budget leaves, or a minimum of the bid"
    if required:
        return f"{text}; the bid also says it must"
    return text


def _reason_of_cost(merit: float, cut_off: float, required: bool) -> str:
    """Likewise where the aim is least cost for the saving asked for."""
    if required:
        return "must convert, says the bid"
    return "is of the cheapest way found to what is asked for"


def _against_others(
    names: tuple[str, ...],
    value: np.ndarray,
    wanted: Knapsack,
    area: int,
    taken: int,
) -> str:
    """How the conversion taken compares with the one that would bring more for least more money,
    if there is any.
    ``value``: (k,)."""
    cost = wanted.cost[area]
    least = value[taken] + 1e-9 * abs(value[taken])
    allowed = np.flatnonzero(wanted.allowed[area]).tolist()
    better = [j for j in allowed if value[j] > least]
    if not better:
        return "no other conversion brings more here"

    def gain_per_money(j: int) -> float:
        return float((value[j] - value[taken]) / max(cost[j] - cost[taken], 1e-9))

    other = max(better, key=gain_per_money)
    brings = f"{names[other]} would bring"
    if value[taken] <= 0 or cost[taken] <= 0:
        return f"{brings} more but does not fit"
    gain = value[other] / value[taken]
    price = cost[other] / cost[taken]
    if price <= 1:
        return f"{brings} more for no more money, but a rule of the bid stands against it"
    more = f"{gain - 1:.0%} more" if gain < 2 else f"{gain:.1f} times as much"
    dearer = f"{price - 1:.0%} more" if price < 2 else f"{price:.1f} times the"
    return f"{brings} {more} for {dearer} money"


def monthly(view: View, pick: Pick) -> pd.DataFrame:
    """One row a month: month (1 to 12), name, eto_m, rain_m, baseline_m3, after_m3, saved_m3, all
    areas together."""
    before = view.use.before_m3.sum(axis=0)
    after = view.after_m3(pick.chosen).sum(axis=0)
    return pd.DataFrame(
        {
            "month": np.arange(1, 13),
            "name": MONTHS,
            "eto_m": view.months.eto_m,
            "rain_m": view.months.rain_m,
            "baseline_m3": before,
            "after_m3": after,
            "saved_m3": before - after,
        }
    )


def outcome(view: View, pick: Pick) -> dict[str, Any]:
    """Totals of a choice with its proof."""
    return view.outcome(pick.chosen) | {
        "spent": pick.cost,
        "value": pick.value,
        "bound": pick.bound,
        "gap": pick.gap,
        "cut_off": pick.cut_off,
    }


def summary(
    settled: Settled,
    rows: pd.DataFrame,
    doubled: Pick | None,
    sensitivity: pd.DataFrame,
    compliance: pd.DataFrame,
    law: Law,
    currency: str,
) -> dict[str, Any]:
    """The answers in one place; see `geoturf.model.Water`."""
    view = settled.view
    lawns = settled.view.lawns
    rules = settled.rules
    chosen = rows[rows["chosen"]].sort_values("rank")
    first = chosen.head(FIRST).drop(columns="chosen")
    most = ""
    if sensitivity["swing"].max() > 0:
        most = sensitivity["input"].iloc[0]
    named = list(zip(lawns.names, lawns.conversions, strict=True))
    return {
        "objective": rules.objective,
        "budget": settled.budget if np.isfinite(settled.budget) else None,
        "saving_m3": rules.saving_m3,
        "funds": paid(view, settled.knapsack.cost, settled.pick.chosen),
        "currency": currency,
        "horizon": rules.horizon,
        "discount_rate": rules.discount_rate,
        "constant": rules.constant,
        "climate": view.months.origin,
        "effective_rain": rules.climate.effective_rain,
        "compared_areas": len(lawns.areas),
        "compared_ground_m2": float(lawns.ground_m2.sum()),
        "baseline_m3": float(view.use.before_m3.sum()),
        "chosen": outcome(view, settled.pick),
        "doubled": None if doubled is None else _doubled(settled, doubled),
        "programme": programme.told(view, settled.answer),
        "first": first.to_dict("records"),
        "conversions": _by_conversion(chosen, _paid(settled)),
        "most_sensitive": most,
        "left": _left(settled),
        "turf_conversions": [name for name, conversion in named if conversion.turf],
        "assumed_conversions": assumed_conversions(lawns, rules),
        "law": law.name,
        "law_why": law.why,
        "complies_before": _complying(compliance, "existing", law),
        "complies_after": _complying(compliance, "chosen", law),
        "factors": _factors(lawns),
        "sites": int(lawns.areas["site"].nunique()),
        "rebates": [_stated(name, c.rebate) for name, c in named if c.rebate is not None],
    }


def _stated(conversion: str, rebate: Rebate) -> dict[str, str]:
    """A rebate of a conversion with its day and terms."""
    return {
        "conversion": conversion,
        "date": rebate.date.isoformat(),
        "terms": rebate.terms,
    }


def _paid(settled: Settled) -> dict[str, float]:
    """What each conversion's rebate pays for the choice."""
    lawns = settled.view.lawns
    rebate = settled.view.worth.rebate
    paid = rebate_paid(lawns, rebate, settled.pick.chosen)
    return dict(zip(lawns.names, paid.tolist(), strict=True))


def _by_conversion(chosen: pd.DataFrame, paid: dict[str, float]) -> list[dict[str, Any]]:
    """How many areas each conversion is chosen for, and their sums."""
    parts = []
    for name, part in chosen.groupby("conversion", sort=False):
        counted = {
            "conversion": name,
            "title": part["title"].iloc[0],
            "areas": len(part),
        }
        sums = {column: float(part[column].sum()) for column in _SUMS}
        parts.append(counted | sums | {"rebate": paid[str(name)]})
    return parts


def _left(settled: Settled) -> str:
    """Why no more is converted, in words."""
    view = settled.view
    chosen = settled.pick.chosen
    open_to = view.lawns.offered & (chosen < 0)[:, None]
    if view.rules.objective == "cost":
        return "what is asked for is reached, and more would cost more"
    if (open_to & settled.knapsack.allowed).any():
        aim = "saves more" if view.rules.objective == "water" else "gains more"
        return f"no other choice of whole areas {aim} within it"
    if (open_to & ~worthwhile(view)).any():
        years = view.rules.longest_payback
        within = f" within {years} years" if years else ""
        gain = " at a net gain" if view.rules.positive_npv else ""
        return f"nothing else on offer pays back{within}{gain}"
    return "nothing else is on offer"


def _complying(compliance: pd.DataFrame, plan: str, law: Law) -> int | None:
    """Sites that comply; None where no law says."""
    complies = compliance["complies"][compliance["plan"] == plan].dropna()
    if law.judges:
        return int(complies.sum())
    return None


def _factors(lawns: Lawns) -> dict[str, list[dict[str, Any]]]:
    """Covers and irrigation methods in play, before and after, with what is assumed of them and
    its source."""
    after = [key(conversion.cover) for conversion in lawns.conversions if conversion.cover]
    covers = sorted({*lawns.areas["cover"], *after})
    new = [key(conversion.irrigation) for conversion in lawns.conversions if conversion.irrigation]
    methods = sorted({*lawns.areas["irrigation"], *new})
    return {
        "covers": [_cover(name, lawns.covers[name]) for name in covers],
        "irrigation": [_method(name, lawns.efficiencies[name]) for name in methods],
    }


def _method(name: str, efficiency: float) -> dict[str, Any]:
    return {"method": name, "efficiency": efficiency}


def _cover(name: str, cover: Cover) -> dict[str, Any]:
    return {
        "cover": cover.title or name,
        "low": min(cover.factor),
        "high": max(cover.factor),
        "upkeep": str(cover.upkeep),
        "source": cover.source,
    }


def _doubled(settled: Settled, doubled: Pick) -> dict[str, Any]:
    """Totals with twice the budget, and which areas join, leave or change."""
    before = settled.pick.chosen
    after = doubled.chosen
    areas = settled.view.lawns.areas
    return outcome(settled.view, doubled) | {
        "budget": 2 * settled.budget,
        "joins": _names(areas[(before < 0) & (after >= 0)]),
        "leaves": _names(areas[(before >= 0) & (after < 0)]),
        "changes": _names(areas[(before >= 0) & (after >= 0) & (before != after)]),
    }


def _names(areas: pd.DataFrame) -> list[dict[str, str]]:
    named = zip(areas["site"], areas["area"], strict=True)
    return [{"site": site, "area": area} for site, area in named]
