"""The answer and its reasons: which areas first, how much, what if the budget doubles."""

from __future__ import annotations

import pandas as pd

from geoturf.planner import charts
from geoturf.planner.html import MOST_ROWS, Markup, bullets, folded, joined, note, section, table, tag
from geoturf.planner.shown import VOLUMES, Shown
from geoturf.planner.spoken import establishing, left, nothing, unsure


def answer(shown: Shown) -> Markup:
    """The whole answer in one paragraph."""
    summary, chosen = shown.summary, shown.summary["chosen"]
    assumed = summary["assumed_conversions"]
    first = [tag("p", assumed, class_="lead")] if assumed else []
    if not chosen["areas"]:
        return joined([*first, tag("p", nothing(shown), class_="lead")])
    budget = (
        "With no limit on capital" if summary["budget"] is None else f"With {shown.money(summary['budget'])} to spend"
    )
    aim = "water" if summary["objective"] == "water" else "money"
    part = chosen["saved_m3"] / summary["baseline_m3"] if summary["baseline_m3"] else 0.0
    lead = (
        f"{budget}, converting {chosen['areas']:,} of {summary['compared_areas']:,} areas ({shown.area(chosen['ground_m2'])}) "
        f"saves {shown.volume(chosen['saved_m3'])} a year, {shown.share(part)} of what is used now, for "
        f"{shown.money(chosen['capital'])} of capital. The water bill falls by {shown.money(chosen['bill_saved'])} a year "
        f"at today's prices; simple payback is {shown.years(chosen['payback_years'])} years, net present value over "
        f"{summary['horizon']} years {shown.money(chosen['npv'])}, and a saved {shown.water_cost_unit} costs "
        f"{shown.water_cost(chosen['cost_per_m3'])}."
    )
    proof = (
        f"No other choice under the same rules saves more than {shown.share(chosen['gap'], 4)} more {aim} "
        "(an integer programme, proved by its relaxation)."
    )
    spare = f" Of the budget {left(shown)}." if summary["budget"] is not None else ""
    lead = tag("p", " ".join([lead + spare, *establishing(shown), unsure(shown)]), class_="lead")
    return joined([*first, lead, note(proof, " No rebate is counted but those stated below.")])


def first_areas(shown: Shown) -> Markup:
    rows = _chosen(shown).head(10)
    cut_off = shown.summary["chosen"]["cut_off"]
    if shown.summary["objective"] == "water" and cut_off > 0:
        why = f"The last money spent saves {shown.per_money(cut_off)} a year for each {shown.currency}: that is the cut-off."
    elif cut_off > 0:
        why = f"The last money spent brings {cut_off:,.2f} of net present value for each {shown.currency}: that is the cut-off."
    else:
        why = "The budget does not bind: each area takes what brings most there."
    return section("Which areas first, and why", tag("p", why), _ranked(shown, rows))


def doubled(shown: Shown) -> Markup | None:
    """The same question with twice the budget."""
    more = shown.summary["doubled"]
    if more is None:
        return None
    now = shown.summary["chosen"] | {"budget": shown.summary["budget"]}
    rows = [
        ("budget", *(shown.money(x["budget"]) for x in (now, more))),
        ("spent", *(shown.money(x["spent"]) for x in (now, more))),
        ("areas converted", *(f"{x['areas']:,}" for x in (now, more))),
        ("ground converted", *(shown.area(x["ground_m2"]) for x in (now, more))),
        ("water saved a year", *(shown.volume(x["saved_m3"]) for x in (now, more))),
        ("water bill saved a year", *(shown.money(x["bill_saved"]) for x in (now, more))),
        ("simple payback, years", *(shown.years(x["payback_years"]) for x in (now, more))),
        ("net present value", *(shown.money(x["npv"]) for x in (now, more))),
        (f"cost of a saved {shown.water_cost_unit}", *(shown.water_cost(x["cost_per_m3"]) for x in (now, more))),
        ("proved within", *(shown.share(x["gap"], 4) for x in (now, more))),
    ]
    extra = more["saved_m3"] - now["saved_m3"]
    part = extra / now["saved_m3"] if now["saved_m3"] else float("nan")
    said = f"Twice the budget saves {shown.volume(extra)} a year more ({shown.share(part, 0)} on top)."
    lists = [
        folded(f"{word} ({len(more[key])})", bullets(f"{x['site']}, {x['area']}" for x in more[key][:MOST_ROWS]))
        for key, word in (
            ("joins", "areas that join"),
            ("leaves", "areas that leave"),
            ("changes", "areas that change"),
        )
        if more[key]
    ]
    return section("What if the budget doubles", tag("p", said), table(("", "this budget", "twice"), rows), *lists)


def budget_curve(shown: Shown) -> Markup | None:
    rows = shown.water.curve
    if rows.empty:
        return None
    factor, unit = shown.units["m3"]
    points = [(row.budget, row.saved_m3 * factor) for row in rows.itertuples()]
    marks = []
    if shown.summary["budget"] is not None:
        marks.append(("this budget", shown.summary["budget"], shown.summary["chosen"]["saved_m3"] * factor))
        if shown.summary["doubled"]:
            marks.append(("twice", shown.summary["doubled"]["budget"], shown.summary["doubled"]["saved_m3"] * factor))
    chart = charts.curve(
        points,
        marks,
        lambda x: f"{x:,.0f}",
        lambda y: f"{y:,.0f}",
        (f"Water saved a year against budget, {unit}", f"budget, {shown.currency}", f"saved a year, {unit}"),
    )
    cells = [
        (
            shown.money(row.budget),
            f"{row.areas:,}",
            shown.volume(row.saved_m3),
            shown.money(row.npv),
            shown.share(row.gap, 4),
        )
        for row in rows.itertuples()
    ]
    numbers = table(("budget", "areas", "saved a year", "net present value", "proved within"), cells, text=())
    return section("Saving against budget", chart, folded("The points of the curve", numbers))


def totals(shown: Shown) -> Markup:
    summary = shown.summary
    used = {
        "used now": summary["baseline_m3"],
        "used after": summary["chosen"]["use_m3"],
        "saved": summary["chosen"]["saved_m3"],
    }
    rows = [(word, *(f"{m3 * factor:,.{digits}f}" for _, factor, digits in VOLUMES)) for word, m3 in used.items()]
    return section("Totals a year", table(("", *(name for name, _, _ in VOLUMES)), rows))


def by_month(shown: Shown) -> Markup:
    rows = shown.water.monthly
    factor, unit = shown.units["m3"]
    chart = charts.pairs(
        list(rows["name"]),
        [value * factor for value in rows["baseline_m3"]],
        [value * factor for value in rows["after_m3"]],
        lambda value: f"{value:,.0f}",
        (f"Water use by month before and after, {unit}", f"{unit} a month"),
    )
    columns = ("baseline_m3", "after_m3", "saved_m3")
    cells = [
        (
            month["name"],
            shown.depth(month["eto_m"]),
            shown.depth(month["rain_m"]),
            *(shown.volume(month[c]) for c in columns),
        )
        for month in rows.to_dict("records")
    ]
    numbers = table(("month", "ETo", "rain", "before", "after", "saved"), cells)
    return section("Before and after by month", chart, folded("The months in numbers", numbers))


def conversions(shown: Shown) -> Markup:
    """What each conversion would do everywhere it is offered, beside what of it was chosen."""
    rows = []
    for title, part in shown.water.table.groupby("title", sort=False):
        taken = part[part["chosen"]]
        per_money = part["saved_m3"].sum() / part["capital"].sum() if part["capital"].sum() else float("nan")
        rows.append(
            (
                title,
                f"{len(part):,}",
                shown.volume(part["saved_m3"].sum()),
                shown.money(part["capital"].sum()),
                shown.per_money(per_money),
                f"{len(taken):,}",
                shown.volume(taken["saved_m3"].sum()),
                shown.money(taken["capital"].sum()),
            )
        )
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
    districts = _chosen(shown).groupby("district", sort=True)
    by_district = [
        (name or "(none)", f"{len(part):,}", shown.volume(part["saved_m3"].sum()), shown.money(part["capital"].sum()))
        for name, part in districts
    ]
    return section(
        "Conversions and districts",
        table(head, rows),
        tag("h3", "Chosen, by district"),
        table(("district", "areas", "saves a year", "capital"), by_district),
    )


def ranking(shown: Shown) -> Markup:
    rows = _chosen(shown)
    more = len(rows) - MOST_ROWS
    tail = note(f"{more:,} more are in water.csv.") if more > 0 else ""
    return section(
        "The whole ranking", folded(f"All {len(rows):,} areas chosen", _ranked(shown, rows.head(MOST_ROWS)), tail)
    )


def _ranked(shown: Shown, rows: pd.DataFrame) -> Markup:
    head = ["", "area", "convert to", "saves a year", "capital", "payback, years", "net present value", "why"]
    cells = [
        [
            f"{row.rank}",
            f"{row.site}, {row.area}" if row.area else row.site,
            row.title,
            shown.volume(row.saved_m3),
            shown.money(row.capital),
            shown.years(row.payback_years),
            shown.money(row.npv),
            row.why,
        ]
        for row in rows.itertuples()
    ]
    if (rows["rebate"] > 0).any():
        head.insert(5, "rebate")
        for row, paid in zip(cells, rows["rebate"], strict=True):
            row.insert(5, shown.money(paid))
    return table(head, cells, text=(1, 2, len(head) - 1))


def _chosen(shown: Shown) -> pd.DataFrame:
    rows = shown.water.table
    return rows[rows["chosen"]].sort_values("rank", kind="stable")
