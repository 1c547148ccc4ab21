"""The answers: one row an area and conversion, which areas come first and why, totals, what if the budget doubles, what
to mind."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from geoturf.rules.water.climate import MONTHS
from geoturf.water.choice import worthwhile
from geoturf.water.lawns import Lawns
from geoturf.water.notes import assumed_conversions
from geoturf.water.outlook import Settled
from geoturf.water.place import Law
from geoturf.water.problem import Pick, Programme
from geoturf.water.published import key
from geoturf.water.view import View

FIRST = 10


def table(view: View, wanted: Programme, pick: Pick) -> pd.DataFrame:
    """One row an area and conversion on offer to it, as documented at `geoturf.model.Water`."""
    lawns, use, worth, saved = view.lawns, view.use, view.worth, view.saved_m3
    at, conversion = np.nonzero(lawns.offered)
    areas = lawns.areas.iloc[at].reset_index(drop=True)
    titles = np.array([c.title or name for name, c in zip(lawns.names, lawns.conversions, strict=True)])
    capital = worth.capital[at, conversion]
    with np.errstate(divide="ignore", invalid="ignore"):
        per_currency = np.where(capital > 0, saved[at, conversion] / capital, np.nan)
    rows = pd.DataFrame(
        {
            "area_index": areas["area_index"],
            "site": areas["site"],
            "area": areas["area"],
            "district": areas["district"],
            "cover": areas["cover"],
            "irrigation": areas["irrigation"],
            "conversion": np.array(lawns.names)[conversion],
            "title": titles[conversion],
            "ground_area_m2": areas["ground_area_m2"],
            "baseline_m3": use.before_m3.sum(axis=1)[at],
            "use_m3": use.after_m3.sum(axis=2)[at, conversion],
            "saved_m3": saved[at, conversion],
            "capital": capital,
            "rebate": worth.rebate[at, conversion],
            "bill_saved": worth.bill_saved[at, conversion],
            "upkeep_saved": worth.upkeep_saved[at, conversion],
            "payback_years": worth.payback_years[at, conversion],
            "npv": worth.npv[at, conversion],
            "cost_per_m3": worth.cost_per_m3[at, conversion],
            "saved_m3_per_currency": per_currency,
            "chosen": pick.chosen[at] == conversion,
        }
    )
    value = saved if view.rules.objective == "water" else worth.npv
    merit = _merit(value, wanted.cost)
    rows["rank"] = _ranks(rows["chosen"].to_numpy(), merit[at, conversion], value[at, conversion])
    rows["why"] = [
        _reason(merit[i, j], pick.cut_off, wanted.required[i])
        + "; "
        + _against_others(lawns.names, value[i], wanted, i, j)
        if pick.chosen[i] == j
        else ""
        for i, j in zip(at, conversion, strict=True)
    ]
    return rows


def _merit(value: np.ndarray, cost: np.ndarray) -> np.ndarray:
    """Value per unit of budget; inf where it costs nothing."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(cost > 0, value / cost, np.inf)


def _ranks(chosen: np.ndarray, merit: np.ndarray, value: np.ndarray) -> np.ndarray:
    """1, 2, 3 … of the chosen by value per unit of budget, then by value; 0 for the others."""
    ranks = np.zeros(len(chosen), dtype=int)
    rows = np.flatnonzero(chosen)
    with np.errstate(divide="ignore", invalid="ignore"):
        step = np.round(np.log(np.maximum(merit[rows], 1e-300)), 3)  # merits within a thousandth count as equal
    order = np.lexsort((rows, -value[rows], -step))
    ranks[rows[order]] = np.arange(1, len(rows) + 1)
    return ranks


def _reason(merit: float, cut_off: float, required: bool) -> str:
    """Why a chosen row was chosen, without units: the measure is what the last unit of budget still brings (the
    cut-off)."""
    must = "must convert, says the bid"
    if cut_off <= 0:
        return must if required else "the budget does not bind: brings most of what is offered here"
    ratio = merit / cut_off
    if not np.isfinite(ratio):
        text = "costs nothing"
    elif abs(ratio - 1) < 1e-3:  # ties of what the last money was divided over fall a hair to either side
        text = "brings just what the last money spent must bring"
    elif ratio > 1:
        text = f"brings {ratio:.2f} times what the last money spent must bring"
    else:
        return must if required else "fills what the budget leaves, or a minimum of the bid"
    return f"{text}; the bid also says it must" if required else text


def _against_others(names: tuple[str, ...], value: np.ndarray, wanted: Programme, area: int, taken: int) -> str:
    """How the conversion taken compares with the one that would bring more for least more money, if there is any.
    ``value``: (k,)."""
    cost = wanted.cost[area]
    better = [j for j in np.flatnonzero(wanted.allowed[area]) if value[j] > value[taken] + 1e-9 * abs(value[taken])]
    if not better:
        return "no other conversion brings more here"
    other = max(better, key=lambda j: (value[j] - value[taken]) / max(cost[j] - cost[taken], 1e-9))
    if value[taken] <= 0 or cost[taken] <= 0:
        return f"{names[other]} would bring more but does not fit"
    gain, price = value[other] / value[taken], cost[other] / cost[taken]
    if price <= 1:
        return f"{names[other]} would bring more for no more money, but a rule of the bid stands against it"
    more = f"{gain - 1:.0%} more" if gain < 2 else f"{gain:.1f} times as much"
    dearer = f"{price - 1:.0%} more" if price < 2 else f"{price:.1f} times the"
    return f"{names[other]} would bring {more} for {dearer} money"


def monthly(view: View, pick: Pick) -> pd.DataFrame:
    """One row a month: month (1 to 12), name, eto_m, rain_m, baseline_m3, after_m3, saved_m3, all areas together."""
    before, after = view.use.before_m3.sum(axis=0), view.after_m3(pick.chosen).sum(axis=0)
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
    proof = {"spent": pick.cost, "value": pick.value, "bound": pick.bound, "gap": pick.gap, "cut_off": pick.cut_off}
    return view.outcome(pick.chosen) | proof


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
    view, lawns, rules, pick = settled.view, settled.view.lawns, settled.rules, settled.pick
    chosen = rows[rows["chosen"]].sort_values("rank")
    conversions = [
        {"conversion": name, "title": part["title"].iloc[0], "areas": len(part)}
        | {c: float(part[c].sum()) for c in ("ground_area_m2", "saved_m3", "capital", "rebate")}
        for name, part in chosen.groupby("conversion", sort=False)
    ]
    first = chosen.head(FIRST)
    return {
        "objective": rules.objective,
        "budget": None if rules.budget is None else float(rules.budget.amount),
        "currency": currency,
        "horizon": rules.horizon,
        "discount_rate": rules.discount_rate,
        "constant": rules.constant,
        "climate": view.months.origin,
        "effective_rain": rules.climate.effective_rain,
        "compared_areas": len(lawns.areas),
        "compared_ground_m2": float(lawns.ground_m2.sum()),
        "baseline_m3": float(view.use.before_m3.sum()),
        "chosen": outcome(view, pick),
        "doubled": None if doubled is None else _doubled(settled, doubled),
        "first": first.drop(columns="chosen").to_dict("records"),
        "conversions": conversions,
        "most_sensitive": sensitivity["input"].iloc[0] if sensitivity["swing"].max() > 0 else "",
        "left": _left(settled),
        "turf_conversions": [name for name, c in zip(lawns.names, lawns.conversions, strict=True) if c.turf],
        "assumed_conversions": assumed_conversions(lawns, rules),
        "law": law.name,
        "law_why": law.why,
        "complies_before": _complying(compliance, "existing", law),
        "complies_after": _complying(compliance, "chosen", law),
        "factors": _factors(lawns),
        "sites": int(lawns.areas["site"].nunique()),
        "rebates": [
            {"conversion": name, "date": c.rebate.date.isoformat(), "terms": c.rebate.terms}
            for name, c in zip(lawns.names, lawns.conversions, strict=True)
            if c.rebate is not None
        ],
    }


def _left(settled: Settled) -> str:
    """Why no more is converted, in words."""
    view, chosen = settled.view, settled.pick.chosen
    open_to = view.lawns.offered & (chosen < 0)[:, None]
    if (open_to & settled.programme.allowed).any():
        aim = "saves more" if view.rules.objective == "water" else "gains more"
        return f"no other choice of whole areas {aim} within it"
    if (open_to & ~worthwhile(view)).any():
        limit = f"pays back within {view.rules.longest_payback} years" if view.rules.longest_payback else "pays back"
        return f"nothing else on offer {limit}{' at a net gain' if view.rules.positive_npv else ''}"
    return "nothing else is on offer"


def _complying(compliance: pd.DataFrame, plan: str, law: Law) -> int | None:
    """Sites that comply; None where no law says."""
    return int(compliance["complies"][compliance["plan"] == plan].sum()) if law.judges else None


def _factors(lawns: Lawns) -> dict[str, list[dict[str, Any]]]:
    """Covers and irrigation methods in play, before and after, with what is assumed of them and its source."""
    after_covers = {key(c.cover) for c in lawns.conversions if c.cover}
    after_methods = {key(c.irrigation) for c in lawns.conversions if c.irrigation}
    covers = sorted(set(lawns.areas["cover"]) | after_covers)
    methods = sorted(set(lawns.areas["irrigation"]) | after_methods)
    return {
        "covers": [
            {
                "cover": lawns.covers[name].title or name,
                "low": min(lawns.covers[name].factor),
                "high": max(lawns.covers[name].factor),
                "upkeep": str(lawns.covers[name].upkeep),
                "source": lawns.covers[name].source,
            }
            for name in covers
        ],
        "irrigation": [{"method": name, "efficiency": lawns.efficiencies[name]} for name in methods],
    }


def _doubled(settled: Settled, doubled: Pick) -> dict[str, Any]:
    """Totals with twice the budget, and which areas join, leave or change."""
    before, after = settled.pick.chosen, doubled.chosen
    names = settled.view.lawns.areas[["site", "area"]]

    def listed(at: np.ndarray) -> list[dict[str, str]]:
        return names[at].to_dict("records")

    return outcome(settled.view, doubled) | {
        "budget": 2 * settled.budget,
        "joins": listed((before < 0) & (after >= 0)),
        "leaves": listed((before >= 0) & (after < 0)),
        "changes": listed((before >= 0) & (after >= 0) & (before != after)),
    }
