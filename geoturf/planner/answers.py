"""The answer and its reasons: which areas first, how much, what if the budget doubles."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
from markupsafe import Markup

from geoturf.planner import charts
from geoturf.planner.html import (
    MOST_ROWS,
    bullets,
    folded,
    joined,
    note,
    section,
    table,
    tag,
    wide,
)
from geoturf.planner.rows import Month, Option, Point, records
from geoturf.planner.shown import VOLUMES, Shown
from geoturf.planner.spoken import converted, establishing, left, nothing, unsure

FIRST = 10  # areas told before all others
_TOLD_GAP, _LEAST_GAP = 5e-7, "0.0001 %"  # a gap of less would be written as 0.0000 %


def answer(shown: Shown) -> Markup:
    """The whole answer in one paragraph."""
    summary = shown.summary
    assumed = summary["assumed_conversions"]
    first = [tag("p", assumed, class_="lead")] if assumed else []
    if not summary["chosen"]["areas"]:
        return joined([*first, tag("p", nothing(shown), class_="lead")])
    said = [saves(shown), *establishing(shown), unsure(shown)]
    lead = tag("p", " ".join(said), class_="lead")
    stated = " No rebate is counted but those stated below."
    return joined([*first, lead, note(proof(shown), stated)])


def saves(shown: Shown) -> str:
    """What the choice saves and costs, and what is left of the budget."""
    summary = shown.summary
    chosen = shown.summary["chosen"]
    budget = "With no limit on capital"
    if summary["budget"] is not None:
        budget = f"With {shown.money(summary['budget'])} to spend"
    before = summary["baseline_m3"]
    part = chosen["saved_m3"] / before if before else 0.0
    spare = "" if summary["budget"] is None else f" Of the budget {left(shown)}."
    return (
        f"{budget}, converting {converted(shown, ' (', ')')} "
        f"saves {shown.volume(chosen['saved_m3'])} a year, "
        f"{shown.share(part)} of what is used now, "
        f"for {shown.money(chosen['capital'])} of capital. "
        f"The water bill falls by {shown.money(chosen['bill_saved'])} a year at today's prices; "
        f"simple payback is {shown.years(chosen['payback_years'])} years, "
        f"net present value over {summary['horizon']} years {shown.money(chosen['npv'])}, "
        f"and a saved {shown.water_cost_unit} costs {shown.water_cost(chosen['cost_per_m3'])}."
        f"{spare}"
    )


def proof(shown: Shown) -> str:
    """How near to the best the choice is proved."""
    gap = shown.summary["chosen"]["gap"]
    more = f"more than {shown.share(gap, 4)}" if gap >= _TOLD_GAP else f"even {_LEAST_GAP}"
    by = "(an integer programme, proved by its relaxation)"
    if shown.summary["objective"] == "cost":
        saving = shown.volume(shown.summary["saving_m3"])
        return (
            f"No other choice under the same rules that saves {saving} a year "
            f"costs {more} less {by}."
        )
    aim = "money"
    if shown.summary["objective"] == "water":
        aim = "water"
    return f"No other choice under the same rules saves {more} more {aim} {by}."


def first_areas(shown: Shown) -> Markup:
    rows = chosen_areas(shown).head(FIRST)
    return section("Which areas first, and why", tag("p", cut_off(shown)), _ranked(shown, rows))


def cut_off(shown: Shown) -> str:
    """What the last money spent brings."""
    brought = shown.summary["chosen"]["cut_off"]
    currency = shown.currency
    if shown.summary["objective"] == "cost":
        return "Together they are the cheapest way found to the saving asked for."
    if brought <= 0:
        return "The budget does not bind: each area takes what brings most there."
    brings = f"brings {brought:,.2f} of net present value"
    if shown.summary["objective"] == "water":
        brings = f"saves {shown.per_money(brought)} a year"
    return f"The last money spent {brings} for each {currency}: that is the cut-off."


def funds(shown: Shown) -> Markup | None:
    """What each fund pays; None where the bid names none."""
    paid = shown.summary["funds"]
    if not paid:
        return None
    money = ("amount", "spent", "left")
    rows = [(one["fund"], *(shown.money(one[word]) for word in money)) for one in paid]
    said = "Of the ways to share the cost out, one that draws on the funds as the bid lists them."
    return section("What each fund pays", tag("p", said), table(("fund", *money), rows))


def programme(shown: Shown) -> Markup | None:
    """What is done in which year; None where the bid has no budgets by year."""
    found = shown.summary["programme"]
    if found is None:
        return None
    years = found["years"]
    rows = [
        (
            f"year {one['year']}",
            shown.money(one["budget"]),
            shown.money(one["spent"]),
            shown.money(one["left"]),
            f"{len(one['areas']):,}",
            shown.volume(one["saved_so_far_m3"]),
        )
        for one in years
    ]
    kept = "goes on to the next" if found["carry_over"] else "is lost to the next"
    worth = "" if found["npv"] is None else f", net present value {shown.money(found['npv'])}"
    said = (
        f"What a year leaves {kept}; prices rise by {shown.share(found['price_rise'])} a year. "
        f"Over {shown.summary['horizon']} years it saves "
        f"{shown.volume(found['saved_in_horizon_m3'])}{worth}. "
        "Figures elsewhere on this page take all of it as built now, at today's prices; "
        "what is spent is in money of its year."
    )
    head = ("year", "budget", "spent", "left", "areas", "saved a year from then on")
    named = [_named(f"year {one['year']}", one["areas"]) for one in years if one["areas"]]
    return section("What is done in which year", tag("p", said), table(head, rows), *named)


_MOVED = {
    "joins": "areas that join",
    "leaves": "areas that leave",
    "changes": "areas that change",
}


def doubled(shown: Shown) -> Markup | None:
    """The same question with twice the budget; None where there is no budget to double."""
    more = shown.summary["doubled"]
    if more is None:
        return None
    now = shown.summary["chosen"] | {"budget": shown.summary["budget"]}
    this = totals_of(shown, now)
    twice = totals_of(shown, more)
    rows = [(word, this[word], twice[word]) for word in this]
    extra = more["saved_m3"] - now["saved_m3"]
    part = math.nan
    if now["saved_m3"]:
        part = extra / now["saved_m3"]
    on_top = shown.share(part, 0)
    said = f"Twice the budget saves {shown.volume(extra)} a year more ({on_top} on top)."
    moved = [_named(word, more[key]) for key, word in _MOVED.items() if more[key]]
    compared = table(("figure", "this budget", "twice"), rows)
    return section("What if the budget doubles", tag("p", said), compared, *moved)


def totals_of(shown: Shown, total: dict[str, Any]) -> dict[str, str]:
    """What a choice comes to, in words."""
    return {
        "budget": shown.money(total["budget"]),
        "spent": shown.money(total["spent"]),
        "areas converted": f"{total['areas']:,}",
        "ground converted": shown.area(total["ground_m2"]),
        "water saved a year": shown.volume(total["saved_m3"]),
        "water bill saved a year": shown.money(total["bill_saved"]),
        "simple payback, years": shown.years(total["payback_years"]),
        "net present value": shown.money(total["npv"]),
        f"cost of a saved {shown.water_cost_unit}": shown.water_cost(total["cost_per_m3"]),
        "proved within": shown.share(total["gap"], 4),
    }


def _named(word: str, areas: list[dict[str, str]]) -> Markup:
    """The areas by name, folded away."""
    names = [f"{area['site']}, {area['area']}" for area in areas[:MOST_ROWS]]
    return folded(f"{word} ({len(areas)})", bullets(names))


def budget_curve(shown: Shown) -> Markup | None:
    """Saving against budget; None where no budget meets what is asked for."""
    if shown.water.curve.empty:
        return None
    cells = [
        (
            shown.money(point.budget),
            f"{point.areas:,}",
            shown.volume(point.saved_m3),
            shown.money(point.npv),
            shown.share(point.gap, 4),
        )
        for point in records(shown.water.curve, Point)
    ]
    head = ("budget", "areas", "saved a year", "net present value", "proved within")
    numbers = folded("The points of the curve", table(head, cells, text=()))
    return section("Saving against budget", wide(curve(shown)), numbers)


def curve(shown: Shown) -> Markup:
    """The drawing of saving against budget. There must be a curve."""
    points = records(shown.water.curve, Point)
    factor, unit = shown.units["m3"]
    return charts.curve(
        [(point.budget, point.saved_m3 * factor) for point in points],
        _budgets(shown, factor),
        _whole,
        _whole,
        (
            f"Water saved a year against budget, {unit}",
            f"budget, {shown.currency}",
            f"saved a year, {unit}",
        ),
    )


def _whole(value: float) -> str:
    return f"{value:,.0f}"


def _budgets(shown: Shown, factor: float) -> list[tuple[str, float, float]]:
    """This budget and twice it, each with what it saves, on the curve."""
    budget = shown.summary["budget"]
    twice = shown.summary["doubled"]
    marks = []
    if budget is not None:
        marks.append(("this budget", budget, shown.summary["chosen"]["saved_m3"] * factor))
        if twice:
            marks.append(("twice", twice["budget"], twice["saved_m3"] * factor))
    return marks


def totals(shown: Shown) -> Markup:
    used = {
        "used now": shown.summary["baseline_m3"],
        "used after": shown.summary["chosen"]["use_m3"],
        "saved": shown.summary["chosen"]["saved_m3"],
    }
    rows = [(word, *_in_all_units(m3)) for word, m3 in used.items()]
    names = [name for name, _, _ in VOLUMES]
    return section("Totals a year", table(("water", *names), rows))


def _in_all_units(m3: float) -> list[str]:
    return [f"{m3 * factor:,.{digits}f}" for _, factor, digits in VOLUMES]


def by_month(shown: Shown) -> Markup:
    months = records(shown.water.monthly, Month)
    factor, unit = shown.units["m3"]
    chart = charts.pairs(
        [month.name for month in months],
        [month.baseline_m3 * factor for month in months],
        [month.after_m3 * factor for month in months],
        _whole,
        (f"Water use by month before and after, {unit}", f"{unit} a month"),
    )
    cells = [
        (
            month.name,
            shown.depth(month.eto_m),
            shown.depth(month.rain_m),
            shown.volume(month.baseline_m3),
            shown.volume(month.after_m3),
            shown.volume(month.saved_m3),
        )
        for month in months
    ]
    numbers = table(("month", "ETo", "rain", "before", "after", "saved"), cells)
    return section(
        "Before and after by month", wide(chart), folded("The months in numbers", numbers)
    )


def conversions(shown: Shown) -> Markup:
    """What each conversion would do everywhere it is offered, beside what of it was chosen."""
    options = shown.water.table.groupby("title", sort=False)
    rows = [(str(title), *_everywhere(shown, part)) for title, part in options]
    head = (
        "conversion",
        "offered to",
        "would save",
        "capital",
        f"saved a year per {shown.currency}",
        "chosen for",
        "saves",
        "capital",
    )
    districts = chosen_areas(shown).groupby("district", sort=True)
    by_district = [(name or "(none)", *_count_water_money(shown, part)) for name, part in districts]
    return section(
        "Conversions and districts",
        table(head, rows),
        tag("h3", "Chosen, by district"),
        table(("district", "areas", "saves a year", "capital"), by_district),
    )


def _everywhere(shown: Shown, options: pd.DataFrame) -> list[str]:
    """A conversion where it is offered, and where it is chosen."""
    saved = options["saved_m3"].sum()
    capital = options["capital"].sum()
    per_money = saved / capital if capital else math.nan
    taken = options[options["chosen"]]
    return [
        *_count_water_money(shown, options),
        shown.per_money(per_money),
        *_count_water_money(shown, taken),
    ]


def _count_water_money(shown: Shown, options: pd.DataFrame) -> tuple[str, str, str]:
    """How many, what they save, what they cost."""
    saved = options["saved_m3"].sum()
    capital = options["capital"].sum()
    return f"{len(options):,}", shown.volume(saved), shown.money(capital)


def ranking(shown: Shown) -> Markup:
    rows = chosen_areas(shown)
    more = len(rows) - MOST_ROWS
    tail = ""
    if more > 0:
        tail = note(f"{more:,} more are in water.csv.")
    shortened = _ranked(shown, rows.head(MOST_ROWS))
    folded_up = folded(f"All {len(rows):,} areas chosen", shortened, tail)
    return section("The whole ranking", folded_up)


def _ranked(shown: Shown, rows: pd.DataFrame) -> Markup:
    """The areas chosen, one a row; a column of rebates where there are any."""
    options = records(rows, Option)
    rebated = any(option.rebate > 0 for option in options)
    rebate = ["rebate"] if rebated else []
    money = ["saves a year", "capital", *rebate, "payback, years", "net present value"]
    head = ["rank", "area", "convert to", *money, "why"]
    cells = [
        [
            f"{option.rank}",
            shown.place(option.site, option.area),
            option.title,
            shown.volume(option.saved_m3),
            shown.money(option.capital),
            *([shown.money(option.rebate)] if rebated else []),
            shown.years(option.payback_years),
            shown.money(option.npv),
            option.why,
        ]
        for option in options
    ]
    return table(head, cells, text=(1, 2, len(head) - 1))


def chosen_areas(shown: Shown) -> pd.DataFrame:
    """Rows of ``Water.table`` that the choice takes, the first one first."""
    rows = shown.water.table
    return rows[rows["chosen"]].sort_values("rank", kind="stable")
