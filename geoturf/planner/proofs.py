"""What the answer has to stand up to: the ordinance, uncertainty, local minimums, inputs,
cautions."""

from __future__ import annotations

import math
from collections.abc import Iterator

from markupsafe import Markup

from geoturf.planner import charts
from geoturf.planner.html import (
    MOST_ROWS,
    bullets,
    cut,
    folded,
    joined,
    note,
    section,
    table,
    tag,
    wide,
)
from geoturf.planner.rows import Minimum, Move, Scenario, SiteRow, Zone, records
from geoturf.planner.shown import INPUTS, Shown
from geoturf.rules.water import Ordinance, WaterPrice
from geoturf.rules.water.ordinance import REGIONAL, filled, laws, shipped

_SEVERAL = "several"


def ordinance(shown: Shown) -> Markup:
    """MAWA against ETWU: by plan, by site, and the worksheet by hydrozone; nothing is worked where
    no ordinance holds and the bid does not ask for the formula."""
    summary = shown.summary
    if summary["law"] == "none":
        return section("Water ordinance", tag("p", law(shown)), note(_ASK))
    return section(
        "Water allowance (MAWA) against estimated use (ETWU)",
        tag("p", law(shown)),
        note(_formula(shown)),
        _plans(shown),
        tag("h3", "From the ordinance's estimate to this plan's use"),
        _bridge(shown),
        _peak(shown),
        folded("Site by site", _sites(shown)),
        folded("Worksheet by hydrozone", _worksheet(shown)),
    )


def law(shown: Shown) -> str:
    """Which ordinance holds, in a sentence."""
    summary = shown.summary
    if summary["law"] == "none":
        return f"No ordinance is checked: {summary['law_why']}."
    if summary["law"] in laws():
        return f"{shipped(summary['law']).name}'s ordinance, {summary['law_why']}."
    if summary["law"] == REGIONAL:
        return f"The allowance of {summary['law_why']}, in the form of California's."
    if summary["law"] == _SEVERAL:
        return f"Several ordinances: {summary['law_why']}."
    return (
        "Worked as California's formula would, because the bid asks for it: "
        "no verdict, for no ordinance is said to hold."
    )


_ASK = (
    'State it in the bid: ordinance = "california" under [water] for its verdict by site; '
    '"regional" with the place, source and factors of another; '
    '"formula" for the numbers as California\'s formula would work them, without a verdict; '
    '"none" for neither.'
)


def _formula(shown: Shown) -> str:
    """The ordinance's two formulas and what they leave out."""
    stated = [filled(one) for one in _ordinances(shown)]
    constant = " or ".join(dict.fromkeys(map(_gallons, stated)))
    special = " or ".join(dict.fromkeys(f"{one.special_etaf:g}" for one in stated))
    special_use = "SLA" if special == "1" else f"{special} × SLA"
    return (
        f"MAWA = ETo × {constant} × [ETAF × LA + ({special} − ETAF) × SLA], "
        f"ETWU = ETo × {constant} × (Σ PF × area / IE + {special_use}), "
        "gallons from inches and square feet (23 CCR 492.4). "
        "Synthetic and bare ground is no landscape area here. "
        "Rinse and cooling water is not in ETWU. "
        "A check of the arithmetic of each site's compared areas, "
        "not a permit and no legal advice."
    )


def _gallons(stated: Ordinance) -> str:
    exact = stated.constant == "exact"
    if exact:
        return "144/231 (exact)"
    return f"{stated.gallons:g} (the ordinance's)"


def _ordinances(shown: Shown) -> tuple[Ordinance, ...]:
    rules = shown.result.bid.water
    return tuple(rules.ordinances.values()) or (rules.ordinance,)


def _plans(shown: Shown) -> Markup:
    """Both plans' sums, with how many sites comply where an ordinance holds."""
    judged = {plan: f"{comply:,} of {every:,}" for plan, comply, every in complying(shown)}
    rows = []
    for plan, part in shown.water.compliance.groupby("plan", sort=False):
        verdict = [judged[str(plan)]] if judged else []
        allowed = part["mawa_m3"].sum()
        used = part["etwu_m3"].sum()
        volumes = shown.volume(allowed), shown.volume(used), _margin(shown, allowed - used)
        rows.append((plan, *verdict, *volumes))
    comply = ["sites that comply"] if judged else []
    return table(("plan", *comply, "MAWA", "ETWU", "margin"), rows)


def complying(shown: Shown) -> Iterator[tuple[str, int, int]]:
    """Plan, sites that comply, all its sites: none where no ordinance is said to hold."""
    if shown.summary["law"] in (*laws(), REGIONAL, _SEVERAL):
        judged = shown.water.compliance[shown.water.compliance["complies"].notna()]
        for plan, part in judged.groupby("plan", sort=False):
            yield str(plan), int(part["complies"].sum()), len(part)


def _margin(shown: Shown, m3: float) -> str:
    side = "under" if m3 >= 0 else "over"
    return f"{shown.volume(abs(m3))} {side}"


def _bridge(shown: Shown) -> Markup:
    """The ordinance's estimate and the use of the comparison side by side, with each difference
    named."""
    rows = shown.water.differences.set_index("plan")
    stated = [filled(one) for one in _ordinances(shown)]
    printed = " or ".join(dict.fromkeys(f"{one.gallons:g}" for one in stated))
    words = {
        "etwu_m3": "ETWU, by the ordinance",
        "special_m3": "special areas by their own plants and irrigation, not at ETo × area",
        "constant_m3": f"gallons from inches: 144/231 for {printed}, where they differ",
        "rain_m3": _rain(shown),
        "unplanted_m3": "rinse and cooling of synthetic turf, which is not in ETWU",
        "use_m3": "use in every other table here",
    }
    cells = [(word, *map(shown.volume, rows[column])) for column, word in words.items()]
    return table(("a year", *rows.index), cells)


def _rain(shown: Shown) -> str:
    """How rain is counted in the comparison, and how in the ordinance."""
    rules = shown.result.bid.water
    meter = " and use by the meter" if rules.metered else ""
    shares = sorted({one.effective_rain_share for one in _ordinances(shown)})
    theirs = "which the ordinance leaves out"
    if any(shares):
        told = " or ".join(map(shown.share, shares))
        theirs = f"of which the ordinance takes {told} off ETo"
    return f"rain ({rules.climate.effective_rain}){meter}, {theirs}"


def _peak(shown: Shown) -> Markup:
    """The second budget: the month of most evapotranspiration."""
    months = shown.water.monthly
    peak = months["name"].iloc[int(months["eto_m"].argmax())]
    said = []
    for plan, part in shown.water.compliance.groupby("plan", sort=False):
        used = part["peak_m3"].sum()
        allowed = part["peak_allowance_m3"].sum()
        said.append(f"{plan}: {shown.volume(used)} against {shown.volume(allowed)}")
    basis = "use against 70 % of ETo × landscape area (EPA 2009 revised approach)"
    return note(f"A second budget, of {peak} alone: {basis}. {'; '.join(said)}.")


def _sites(shown: Shown) -> Markup:
    rows = records(shown.water.compliance.head(MOST_ROWS), SiteRow)
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
        for row in rows
    ]
    areas = ("landscape area", "special (SLA)")
    volumes = ("MAWA", "ETWU", "margin", "use by this plan")
    head = ("plan", "site", "landscape (ETAF)", "", *areas, *volumes)
    return joined([table(head, cells, text=(0, 1, 2, 3)), cut(len(shown.water.compliance))])


def _verdict(complies: bool | None) -> Markup:
    if complies is None:
        return tag("span", "not judged")
    if complies:
        return tag("span", "complies")
    return tag("span", "over", class_="fail")


def _worksheet(shown: Shown) -> Markup:
    zones = records(shown.water.worksheet.head(MOST_ROWS), Zone)
    cells = [
        (
            zone.plan,
            zone.site,
            _spaced(zone.cover),
            _spaced(zone.irrigation),
            f"{zone.hydrozone}",
            "SLA" if zone.special else f"{zone.plant_factor:.2f}",
            f"{zone.efficiency:.2f}",
            f"{zone.etaf:.3f}",
            shown.area(zone.area_m2),
            shown.area(zone.etaf_area_m2),
            shown.volume(zone.etwu_m3),
            shown.volume(zone.use_m3),
        )
        for zone in zones
    ]
    factors = ("PF", "IE", "PF / IE", "area", "PF / IE × area")
    head = ("plan", "site", "cover", "irrigation", "zone", *factors, "ETWU", "use by this plan")
    return joined([table(head, cells, text=(0, 1, 2, 3)), cut(len(shown.water.worksheet))])


def _spaced(name: str) -> str:
    return name.replace("_", " ")


def uncertainty(shown: Shown) -> Markup:
    """Low, middle, high; and which input moves the choice most."""
    counted = "an area counts as changing only where that gains over 0.1 % there"
    return section(
        "How sure is this",
        _cases(shown),
        tag("h3", "One input at a time"),
        tag("p", moves_most(shown)),
        _spans(shown),
        _moves(shown),
        note(f"Factors on the input; {counted}."),
    )


def moves_most(shown: Shown) -> str:
    most = shown.summary["most_sensitive"]
    if not most:
        return "No input within its range moves the choice."
    return f"The input that moves the choice most is {INPUTS[most]}."


def _cases(shown: Shown) -> Markup:
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
    cells = [
        (
            row.case,
            f"{row.eto:g}",
            row.rain_method,
            f"{row.efficiency:g}",
            f"{row.price:g}",
            shown.volume(row.baseline_m3),
            shown.volume(row.saved_m3),
            shown.money(row.npv),
            _changed(row.areas_changed),
        )
        for row in records(shown.water.scenarios, Scenario)
    ]
    return table(head, cells)


def _moves(shown: Shown) -> Markup:
    head = (
        "input",
        "end",
        "factor",
        "this choice saves",
        "its net present value",
        "areas that would change",
        "ground",
    )
    cells = [
        (
            INPUTS[row.input],
            row.end,
            row.factor if isinstance(row.factor, str) else f"{row.factor:g}",
            shown.volume(row.saved_m3),
            shown.money(row.npv),
            _changed(row.areas_changed),
            shown.share(row.ground_changed),
        )
        for row in records(shown.water.sensitivity, Move)
    ]
    return table(head, cells, text=(0, 1))


def _changed(areas: int) -> str:
    """How many areas would change; -1 where no choice fits."""
    if areas < 0:
        return "none fits"
    return f"{areas:,}"


def _spans(shown: Shown) -> Markup:
    npv: dict[str, dict[str, float]] = {}
    for move in records(shown.water.sensitivity, Move):
        npv.setdefault(move.input, {})[move.end] = move.npv
    rows = [(INPUTS[name], ends["low"], ends["high"]) for name, ends in npv.items()]
    cases = records(shown.water.scenarios, Scenario)
    (middle,) = (row.npv for row in cases if row.case == "middle")
    title = "Net present value of this choice, one input at a time"
    across = f"net present value, {shown.currency}"
    return wide(charts.spans(rows, middle, shown.money, (title, across), "as it stands"))


def profile(shown: Shown) -> Markup | None:
    """The local minimums for synthetic turf, site by site; None where the bid states none."""
    rules = shown.result.bid.water.profile
    found = shown.water.profile
    if rules is None:
        return None
    whose = note(", ".join(part for part in (rules.name, rules.source) if part))
    title = "Local minimums for synthetic turf"
    if found.empty:
        return section(title, whose, tag("p", minimums(shown)))
    said = tag("p", minimums(shown))
    return section(title, whose, said, _minimums(shown), cut(len(found)))


def minimums(shown: Shown) -> str:
    """How the local minimums are met, in a sentence."""
    found = shown.water.profile
    if found.empty:
        return "No synthetic turf was chosen: nothing to check."
    failing = int((found["result"] == "fail").sum())
    return f"{failing:,} of {len(found):,} checks fail."


def _minimums(shown: Shown) -> Markup:
    cells = [
        (
            row.site,
            row.check,
            tag("span", row.result, class_=None if row.result == "pass" else "fail"),
            shown.limit(row.limit, row.unit),
            "not known" if math.isnan(row.found) else shown.limit(row.found, row.unit),
        )
        for row in records(shown.water.profile.head(MOST_ROWS), Minimum)
    ]
    return table(("site", "check", "result", "limit", "found"), cells, text=(0, 1, 2))


def inputs(shown: Shown) -> Markup:
    """What the figures rest on."""
    factors = shown.summary["factors"]
    covers = [
        (
            cover["cover"],
            _range(cover["low"], cover["high"]),
            cover["upkeep"],
            cover["source"] or "stated in the bid",
        )
        for cover in factors["covers"]
    ]
    methods = [_method(row["method"], row["efficiency"]) for row in factors["irrigation"]]
    return section(
        "What this rests on",
        bullets(rests_on(shown)),
        table(("cover", "share of ETo", "upkeep a year", "source"), covers, text=(0, 3)),
        table(("irrigation", "efficiency"), methods),
    )


def rests_on(shown: Shown) -> list[str]:
    """What was put in or assumed, a sentence each."""
    return [
        _climate(shown),
        f"Volume from depth: {_constant(shown)}.",
        _price(shown),
        "Fixed charges of the bill stay, whatever is converted.",
        *map(_rebate, shown.summary["rebates"]),
        *(finding.message for finding in shown.water.findings),
    ]


def _climate(shown: Shown) -> str:
    months = shown.water.monthly
    eto = shown.depth(months["eto_m"].sum())
    rain = shown.depth(months["rain_m"].sum())
    counted = f"effective rain: {shown.summary['effective_rain']}"
    return f"ETo and rain: {shown.summary['climate']}; {eto} and {rain} a year; {counted}."


def _constant(shown: Shown) -> str:
    if shown.summary["constant"] == "exact":
        return "exact, 144/231 gallons per square foot and inch"
    return "rounded, 0.62 (the ordinance's)"


def _price(shown: Shown) -> str:
    rules = shown.result.bid.water
    summary = shown.summary
    named = {f"{name}: ": price for name, price in rules.prices.items()} or {"": rules.price}
    told = "; ".join(f"{name}{_blocks(shown, price)}" for name, price in named.items())
    return (
        f"Water: {told}; rising {shown.share(rules.price.escalation)} a year; "
        f"{summary['horizon']} years at {shown.share(summary['discount_rate'])}; "
        "nothing is left over at the end."
    )


def _blocks(shown: Shown, price: WaterPrice) -> str:
    """A price of water, block by block."""
    tiers = ""
    for tier in price.tiers:
        tiers += f"; above {shown.volume(tier.above_m3)} a site and month {tier.price}"
    return f"{price.price}{tiers}"


def _method(name: str, efficiency: float) -> tuple[str, str]:
    return _spaced(name), f"{efficiency:.2f}"


def _rebate(stated: dict[str, str]) -> str:
    return f"Rebate for {stated['conversion']}, as stated on {stated['date']}: {stated['terms']}"


def _range(low: float, high: float) -> str:
    if low == high:
        return f"{low:.2f}"
    return f"{low:.2f} to {high:.2f}"


def cautions(shown: Shown) -> Markup:
    return section("Cautions and limits", bullets(shown.water.cautions))
