"""What the answer has to stand up to: the ordinance, uncertainty, local minimums, inputs and cautions."""

from __future__ import annotations

import math

from geoturf import units
from geoturf.planner import charts
from geoturf.planner.html import MOST_ROWS, Markup, bullets, cut, folded, joined, note, section, table, tag
from geoturf.planner.shown import INPUTS, Shown


def ordinance(shown: Shown) -> Markup:
    """MAWA against ETWU: by plan, by site, and the worksheet by hydrozone; nothing is worked where no ordinance holds and the
    bid does not ask for the formula."""
    rules, summary = shown.result.bid.water.ordinance, shown.summary
    if summary["law"] == "none":
        return section("Water ordinance", tag("p", f"No ordinance is checked: {summary['law_why']}."), note(_ASK))
    constant = "0.62 (the ordinance's)" if rules.constant == "ordinance" else "144/231 (exact)"
    basis = (
        f"MAWA = ETo × {constant} × [ETAF × LA + (1 − ETAF) × SLA], ETWU = ETo × {constant} × (Σ PF × area / IE + SLA), gallons "
        "from inches and square feet (23 CCR 492.4). Synthetic and bare ground is no landscape area here. Rinse and cooling "
        "water is not in ETWU. A check of the arithmetic of each site's compared areas, not a permit and no legal advice."
    )
    holds = (
        f"California's ordinance, {summary['law_why']}."
        if summary["law"] == "california"
        else "Worked as California's formula would, because the bid asks for it: no verdict, for no ordinance is said to hold."
    )
    return section(
        "Water allowance (MAWA) against estimated use (ETWU)",
        tag("p", holds),
        note(basis),
        _plans(shown),
        tag("h3", "From the ordinance's estimate to this plan's use"),
        _bridge(shown),
        _peak(shown),
        folded("Site by site", _sites(shown)),
        folded("Worksheet by hydrozone", _worksheet(shown)),
    )


_CUSTOMARY = {"m": "in", "kg/m2": "oz/yd²", "m/h": "in/h"}  # what checks against minimums are told in
_ASK = (
    'State it in the bid: ordinance = "california" under [water] for its verdict by site; "formula" for the numbers as '
    'California\'s formula would work them, without a verdict; "none" for neither.'
)


def _plans(shown: Shown) -> Markup:
    """Both plans' sums, with how many sites comply where an ordinance holds."""
    judged = shown.summary["law"] == "california"
    rows = []
    for plan, part in shown.water.compliance.groupby("plan", sort=False):
        verdict = [f"{int(part['complies'].sum()):,} of {len(part):,}"] if judged else []
        allowed, used = part["mawa_m3"].sum(), part["etwu_m3"].sum()
        rows.append((plan, *verdict, shown.volume(allowed), shown.volume(used), _margin(shown, allowed - used)))
    verdict = ["sites that comply"] if judged else []
    return table(("plan", *verdict, "MAWA", "ETWU", "margin"), rows)


def _margin(shown: Shown, m3: float) -> str:
    return f"{shown.volume(abs(m3))} {'under' if m3 >= 0 else 'over'}"


def _bridge(shown: Shown) -> Markup:
    """The ordinance's estimate and the use of the comparison side by side, with each difference named."""
    rows = shown.water.differences.set_index("plan")
    rain = shown.result.bid.water.climate.effective_rain
    meter = " and use by the meter" if shown.result.bid.water.metered else ""
    share = shown.result.bid.water.ordinance.effective_rain_share
    theirs = f"of which the ordinance takes {shown.share(share)} off ETo" if share else "which the ordinance leaves out"
    counted = f"rain ({rain}){meter}, {theirs}"
    words = {
        "etwu_m3": "ETWU, by the ordinance",
        "special_m3": "special areas by their own plants and irrigation, not at ETo × area",
        "constant_m3": "gallons from inches: 144/231 for 0.62, where they differ",
        "rain_m3": counted,
        "unplanted_m3": "rinse and cooling of synthetic turf, which is not in ETWU",
        "use_m3": "use in every other table here",
    }
    cells = [(word, *(shown.volume(value) for value in rows[column])) for column, word in words.items()]
    return table(("a year", *rows.index), cells)


def _peak(shown: Shown) -> Markup:
    """The second budget: the month of most evapotranspiration."""
    peak = shown.water.monthly.loc[shown.water.monthly["eto_m"].idxmax(), "name"]
    said = [
        f"{plan}: {shown.volume(part['peak_m3'].sum())} against {shown.volume(part['peak_allowance_m3'].sum())}"
        for plan, part in shown.water.compliance.groupby("plan", sort=False)
    ]
    basis = "use against 70 % of ETo × landscape area (EPA 2009 revised approach)"
    return note(f"A second budget, of {peak} alone: {basis}. {'; '.join(said)}.")


def _sites(shown: Shown) -> Markup:
    rows = shown.water.compliance.head(MOST_ROWS)
    cells = [
        (
            row.plan,
            row.site,
            f"{row.landscape} ({row.etaf:g})",
            _verdict(row.complies),
            shown.area(row.landscape_m2),
            shown.area(row.special_m2),
            shown.volume(row.mawa_m3),
            shown.volume(row.etwu_m3),
            _margin(shown, row.margin_m3),
            shown.volume(row.use_m3),
        )
        for row in rows.itertuples()
    ]
    areas = ("landscape area", "special (SLA)")
    head = ("plan", "site", "landscape (ETAF)", "", *areas, "MAWA", "ETWU", "margin", "use by this plan")
    return joined([table(head, cells, text=(0, 1, 2, 3)), cut(len(shown.water.compliance))])


def _verdict(complies: bool | None) -> Markup:
    if complies is None:
        return tag("span", "not judged")
    return tag("span", "complies" if complies else "over", class_=None if complies else "fail")


def _worksheet(shown: Shown) -> Markup:
    rows = shown.water.worksheet.head(MOST_ROWS)
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
            shown.volume(row.use_m3),
        )
        for row in rows.itertuples()
    ]
    factors = ("PF", "IE", "PF / IE", "area", "PF / IE × area")
    head = ("plan", "site", "cover", "irrigation", "zone", *factors, "ETWU", "use by this plan")
    return joined([table(head, cells, text=(0, 1, 2, 3)), cut(len(shown.water.worksheet))])


def uncertainty(shown: Shown) -> Markup:
    """Low, middle, high; and which input moves the choice most."""
    cases = [
        (
            row.case,
            f"{row.eto:g}",
            row.rain_method,
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
        "rain counted by",
        "present irrigation ×",
        "price ×",
        "used now",
        "saved a year",
        "net present value",
        "areas that would change",
    )
    moves = [
        (
            INPUTS[row.input],
            row.end,
            row.factor if isinstance(row.factor, str) else f"{row.factor:g}",
            shown.volume(row.saved_m3),
            shown.money(row.npv),
            "none fits" if row.areas_changed < 0 else f"{row.areas_changed:,}",
            shown.share(row.ground_changed),
        )
        for row in shown.water.sensitivity.itertuples()
    ]
    most = shown.summary["most_sensitive"]
    said = (
        f"The input that moves the choice most is {INPUTS[most]}."
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
        note("Factors on the input; an area counts as changing only where that gains over 0.1 % there."),
    )


def _spans(shown: Shown) -> Markup:
    rows = []
    for name, part in shown.water.sensitivity.groupby("input", sort=False):
        ends = part.set_index("end")["npv"]
        rows.append((INPUTS[name], float(ends["low"]), float(ends["high"])))
    middle = float(shown.water.scenarios.set_index("case").loc["middle", "npv"])
    titles = ("Net present value of this choice, one input at a time", f"net present value, {shown.currency}")
    return charts.spans(rows, middle, shown.money, titles, "as it stands")


def profile(shown: Shown) -> Markup | None:
    rules, rows = shown.result.bid.water.profile, shown.water.profile
    if rules is None:
        return None
    said = ", ".join(part for part in (rules.name, rules.source) if part)
    if rows.empty:
        return section(
            "Local minimums for synthetic turf",
            note(said),
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
        for row in rows.head(MOST_ROWS).itertuples()
    ]
    failing = int((rows["result"] == "fail").sum())
    return section(
        "Local minimums for synthetic turf",
        note(said),
        tag("p", f"{failing:,} of {len(rows):,} checks fail."),
        table(("site", "check", "result", "limit", "found"), cells, text=(0, 1, 2)),
        cut(len(rows)),
    )


def _measure(shown: Shown, value: float, unit: str) -> str:
    if math.isinf(value):
        return "none near"
    if unit == "fraction":
        return shown.share(value)
    if shown.metric:
        return f"{value:.3g} {unit}"
    name = _CUSTOMARY[unit]
    size, _ = units.unit_factor(name)
    return f"{value / size:.4g} {name}"


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
        "Fixed charges of the bill stay, whatever is converted.",
        *(
            f"Rebate for {item['conversion']}, as stated on {item['date']}: {item['terms']}"
            for item in summary["rebates"]
        ),
        *(finding.message for finding in shown.water.findings),
    ]
    covers = [
        (item["cover"], _range(item["low"], item["high"]), item["upkeep"], item["source"] or "stated in the bid")
        for item in summary["factors"]["covers"]
    ]
    methods = [
        (item["method"].replace("_", " "), f"{item['efficiency']:.2f}") for item in summary["factors"]["irrigation"]
    ]
    return section(
        "What this rests on",
        bullets(lines),
        table(("cover", "share of ETo", "upkeep a year", "source"), covers, text=(0, 3)),
        table(("irrigation", "efficiency"), methods),
    )


def _range(low: float, high: float) -> str:
    return f"{low:.2f}" if low == high else f"{low:.2f} to {high:.2f}"


def cautions(shown: Shown) -> Markup:
    return section("Cautions and limits", bullets(shown.water.cautions))
