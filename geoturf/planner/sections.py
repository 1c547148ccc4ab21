"""The sections of the planner's page, in reading order: the answer first, its reasons next, inputs and cautions
last."""

from __future__ import annotations

import math

import pandas as pd

from geoturf.planner import charts
from geoturf.planner.html import Markup, bullets, folded, joined, section, table, tag
from geoturf.planner.shown import VOLUMES, Shown

_MOST_ROWS = 500  # of a long table; the CSV has them all
_INPUTS = {
    "eto": "evapotranspiration",
    "rain": "rain",
    "efficiency": "present irrigation",
    "price": "price of water",
    "capital": "capital",
    "upkeep": "upkeep",
    "rinse": "rinse and cooling",
}


def _note(*children: object) -> Markup:
    return tag("p", *children, class_="note")


def answer(shown: Shown) -> Markup:
    """The whole answer in one paragraph."""
    summary, chosen = shown.summary, shown.summary["chosen"]
    budget = (
        "With no limit on capital" if summary["budget"] is None else f"With {shown.money(summary['budget'])} to spend"
    )
    aim = "water" if summary["objective"] == "water" else "money"
    part = chosen["saved_m3"] / summary["baseline_m3"] if summary["baseline_m3"] else 0.0
    lead = (
        f"{budget}, converting {chosen['areas']:,} of {summary['compared_areas']:,} areas ({shown.area(chosen['ground_m2'])}) "
        f"saves {shown.volume(chosen['saved_m3'])} a year, {shown.share(part)} of what is used now, for "
        f"{shown.money(chosen['capital'])} of capital. The water bill falls by {shown.money(chosen['bill_saved'])} in the "
        f"first year; simple payback is {shown.years(chosen['payback_years'])} years, net present value over "
        f"{summary['horizon']} years {shown.money(chosen['npv'])}, and a saved {shown.water_cost_unit} costs "
        f"{shown.water_cost(chosen['cost_per_m3'])}."
    )
    proof = (
        f"No other choice under the same rules saves more than {shown.share(chosen['gap'], 4)} more {aim} "
        "(an integer programme, proved by its relaxation)."
    )
    return joined([tag("p", lead, class_="lead"), _note(proof, " No rebate is counted but those stated below.")])


def _ranked(shown: Shown, rows: pd.DataFrame) -> Markup:
    head = ("", "site", "area", "convert to", "saves a year", "capital", "payback, years", "net present value", "why")
    cells = [
        (
            f"{row.rank}",
            row.site,
            row.area,
            row.title,
            shown.volume(row.saved_m3),
            shown.money(row.capital) + (f" less {shown.money(row.rebate)} rebate" if row.rebate else ""),
            shown.years(row.payback_years),
            shown.money(row.npv),
            row.why,
        )
        for row in rows.itertuples()
    ]
    return table(head, cells, text=(1, 2, 3, 8))


def _chosen(shown: Shown) -> pd.DataFrame:
    rows = shown.water.table
    return rows[rows["chosen"]].sort_values("rank", kind="stable")


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
        ("water bill saved, first year", *(shown.money(x["bill_saved"]) for x in (now, more))),
        ("simple payback, years", *(shown.years(x["payback_years"]) for x in (now, more))),
        ("net present value", *(shown.money(x["npv"]) for x in (now, more))),
        (f"cost of a saved {shown.water_cost_unit}", *(shown.water_cost(x["cost_per_m3"]) for x in (now, more))),
        ("proved within", *(shown.share(x["gap"], 4) for x in (now, more))),
    ]
    extra = more["saved_m3"] - now["saved_m3"]
    part = extra / now["saved_m3"] if now["saved_m3"] else float("nan")
    said = f"Twice the budget saves {shown.volume(extra)} a year more ({shown.share(part, 0)} on top)."
    lists = [
        folded(f"{word} ({len(more[key])})", bullets(f"{x['site']}, {x['area']}" for x in more[key][:_MOST_ROWS]))
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
    more = len(rows) - _MOST_ROWS
    tail = _note(f"{more:,} more are in water.csv.") if more > 0 else ""
    return section(
        "The whole ranking", folded(f"All {len(rows):,} areas chosen", _ranked(shown, rows.head(_MOST_ROWS)), tail)
    )


def ordinance(shown: Shown) -> Markup:
    """MAWA against ETWU: by plan, by site, and the worksheet by hydrozone."""
    rules, water = shown.result.bid.water.ordinance, shown.water
    sums = water.compliance.groupby("plan", sort=False)
    rows = []
    for plan, part in sums:
        margin = part["mawa_m3"].sum() - part["etwu_m3"].sum()
        rows.append(
            (
                plan,
                f"{int(part['complies'].sum()):,} of {len(part):,}",
                shown.volume(part["mawa_m3"].sum()),
                shown.volume(part["etwu_m3"].sum()),
                f"{shown.volume(abs(margin))} {'under' if margin >= 0 else 'over'}",
            )
        )
    constant = "0.62 (the ordinance's)" if rules.constant == "ordinance" else "144/231 (exact)"
    basis = (
        f"MAWA = ETo × {constant} × [ETAF × LA + (1 − ETAF) × SLA], ETWU = ETo × {constant} × (Σ PF × area / IE + SLA), gallons "
        "from inches and square feet (23 CCR 492.4). Synthetic and bare ground is no landscape area here. Rinse and cooling "
        "water is not in ETWU. A check of the arithmetic of each site's compared areas, not a permit and no legal advice."
    )
    return section(
        "Water allowance (MAWA) against estimated use (ETWU)",
        _note(basis),
        table(("plan", "sites that comply", "MAWA", "ETWU", "margin"), rows),
        folded("Site by site", _sites(shown)),
        folded("Worksheet by hydrozone", _worksheet(shown)),
    )


def _sites(shown: Shown) -> Markup:
    rows = shown.water.compliance.head(_MOST_ROWS)
    cells = [
        (
            row.plan,
            row.site,
            f"{row.landscape} ({row.etaf:g})",
            tag("span", "complies" if row.complies else "over", class_=None if row.complies else "fail"),
            shown.area(row.landscape_m2),
            shown.area(row.special_m2),
            shown.volume(row.mawa_m3),
            shown.volume(row.etwu_m3),
            f"{shown.volume(abs(row.margin_m3))} {'under' if row.margin_m3 >= 0 else 'over'}",
        )
        for row in rows.itertuples()
    ]
    head = ("plan", "site", "landscape (ETAF)", "", "landscape area", "special (SLA)", "MAWA", "ETWU", "margin")
    return joined([table(head, cells, text=(0, 1, 2, 3)), _cut(len(shown.water.compliance))])


def _worksheet(shown: Shown) -> Markup:
    rows = shown.water.worksheet.head(_MOST_ROWS)
    cells = [
        (
            row.plan,
            row.site,
            row.cover.replace("_", " "),
            row.irrigation.replace("_", " "),
            f"{row.hydrozone}",
            "SLA" if row.special else f"{row.plant_factor:.2f}",
            f"{row.efficiency:.2f}",
            f"{row.etaf:.3f}",
            shown.area(row.area_m2),
            shown.area(row.etaf_area_m2),
            shown.volume(row.etwu_m3),
        )
        for row in rows.itertuples()
    ]
    head = ("plan", "site", "cover", "irrigation", "zone", "PF", "IE", "PF / IE", "area", "PF / IE × area", "ETWU")
    return joined([table(head, cells, text=(0, 1, 2, 3)), _cut(len(shown.water.worksheet))])


def _cut(rows: int) -> Markup:
    return _note(f"The first {_MOST_ROWS:,} of {rows:,} rows.") if rows > _MOST_ROWS else Markup("")


def uncertainty(shown: Shown) -> Markup:
    """Low, middle, high; and which input moves the choice most."""
    cases = [
        (
            row.case,
            f"{row.eto:g}",
            f"{row.efficiency:g}",
            f"{row.price:g}",
            shown.volume(row.baseline_m3),
            shown.volume(row.saved_m3),
            shown.money(row.npv),
            "none fits" if row.areas_changed < 0 else f"{row.areas_changed:,}",
        )
        for row in shown.water.scenarios.itertuples()
    ]
    head = (
        "case",
        "ETo ×",
        "present irrigation ×",
        "price ×",
        "used now",
        "saved a year",
        "net present value",
        "areas that would change",
    )
    moves = [
        (
            _INPUTS[row.input],
            row.end,
            f"{row.factor:g}",
            shown.volume(row.saved_m3),
            shown.money(row.npv),
            "none fits" if row.areas_changed < 0 else f"{row.areas_changed:,}",
            shown.share(row.ground_changed),
        )
        for row in shown.water.sensitivity.itertuples()
    ]
    most = shown.summary["most_sensitive"]
    said = (
        f"The input that moves the choice most is {_INPUTS[most]}."
        if most
        else "No input within its range moves the choice."
    )
    return section(
        "How sure is this",
        table(head, cases),
        tag("h3", "One input at a time"),
        tag("p", said),
        _spans(shown),
        table(
            (
                "input",
                "end",
                "factor",
                "this choice saves",
                "its net present value",
                "areas that would change",
                "ground",
            ),
            moves,
            text=(0, 1),
        ),
        _note("Factors on the input; an area counts as changing only where that gains over 0.1 % there."),
    )


def _spans(shown: Shown) -> Markup:
    rows = []
    for name, part in shown.water.sensitivity.groupby("input", sort=False):
        ends = part.set_index("end")["npv"]
        rows.append((_INPUTS[name], float(ends["low"]), float(ends["high"])))
    middle = float(shown.water.scenarios.set_index("case").loc["middle", "npv"])
    return charts.spans(rows, middle, shown.money, "Net present value of this choice, one input at a time")


def profile(shown: Shown) -> Markup | None:
    rules, rows = shown.result.bid.water.profile, shown.water.profile
    if rules is None:
        return None
    said = ", ".join(part for part in (rules.name, rules.source) if part)
    if rows.empty:
        return section(
            "Local minimums for synthetic turf",
            _note(said),
            tag("p", "No synthetic turf was chosen: nothing to check."),
        )
    cells = [
        (
            row.site,
            row.check,
            tag("span", row.result, class_=None if row.result == "pass" else "fail"),
            _measure(shown, row.limit, row.unit),
            "not known" if math.isnan(row.found) else _measure(shown, row.found, row.unit),
        )
        for row in rows.head(_MOST_ROWS).itertuples()
    ]
    failing = int((rows["result"] == "fail").sum())
    return section(
        "Local minimums for synthetic turf",
        _note(said),
        tag("p", f"{failing:,} of {len(rows):,} checks fail."),
        table(("site", "check", "result", "limit", "found"), cells, text=(0, 1, 2)),
        _cut(len(rows)),
    )


def _measure(shown: Shown, value: float, unit: str) -> str:
    if math.isinf(value):
        return "none near"
    if unit == "fraction":
        return shown.share(value)
    if shown.metric:
        return f"{value:.3g} {unit}"
    factor, name = {"m": (1 / 0.0254, "in"), "kg/m2": (29.4935, "oz/yd²"), "m/h": (1 / 0.0254, "in/h")}[unit]
    return f"{value * factor:.4g} {name}"


def inputs(shown: Shown) -> Markup:
    """What the figures rest on."""
    summary, rules = shown.summary, shown.result.bid.water
    constant = (
        "exact, 144/231 gallons per square foot and inch"
        if summary["constant"] == "exact"
        else "rounded, 0.62 (the ordinance's)"
    )
    tiers = "".join(
        f"; above {shown.volume(tier.above_m3)} a site and month {tier.price}" for tier in rules.price.tiers
    )
    lines = [
        f"ETo and rain: {summary['climate']}; {shown.depth(shown.water.monthly['eto_m'].sum())} and "
        f"{shown.depth(shown.water.monthly['rain_m'].sum())} a year; effective rain: {summary['effective_rain']}.",
        f"Volume from depth: {constant}.",
        f"Water: {rules.price.price}{tiers}; rising {shown.share(rules.price.escalation)} a year; "
        f"{summary['horizon']} years at {shown.share(summary['discount_rate'])}; nothing is left over at the end.",
        "A row's saving on the bill is that of its area alone; totals work out each site's bill with its tiers."
        if rules.price.tiers
        else "Fixed charges of the bill stay, whatever is converted.",
        *(
            f"Rebate for {item['conversion']}, as stated on {item['date']}: {item['terms']}"
            for item in summary["rebates"]
        ),
        *(finding.message for finding in shown.water.findings),
    ]
    return section("What this rests on", bullets(lines))


def cautions(shown: Shown) -> Markup:
    return section("Cautions and limits", bullets(shown.water.cautions))
