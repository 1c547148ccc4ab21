"""Cautions a bid carries: those that its own work calls for, each with its source, each after local
codes and licence."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, NamedTuple

import pandas as pd

from geoturf import data, units
from geoturf.materials.quantities import NO_PLANTS
from geoturf.model import CutPlan, Ground
from geoturf.rules import MaterialRules, Product
from geoturf.rules.item import Hazard
from geoturf.rules.items import beware

_SIZE = ["product", "width_m", "length_m"]  # of a roll
ROUTE_USES = ("route", "accessible route", "path", "walk")
PLAY_USES = ("play", "playground")
ROAD_USES = ("median", "traffic island", "roundabout", "verge", "right of way", "right-of-way")
NAILED = {
    "nails": "turf_nail",
    "seam_nails": "seam_nail",
    "fabric_nails": "fabric_nail",
}  # items and the rule of their nail
ROUTE_PILE_M = (
    units.INCH_M / 2
)  # 2010 ADA Standards for Accessible Design 302.2: pile 1/2 in at most


class Caution(NamedTuple):
    """Printed where the bid has any item whose record names ``hazard`` ("": always). ``source`` is
    where its figures come from."""

    hazard: Hazard | Literal[""]
    text: str
    source: str


_BY_WORK = (
    Caution(
        "lines",
        "Digging: whatever goes into the ground, nails and stakes too, can meet a line. Call 811 "
        "first and wait until every "
        "utility has answered; the lead time is set by state law: ask your one-call centre. Near a "
        "marked line dig by hand, as "
        "the law and the line's owner ask.",
        "811, the national call-before-you-dig number; how long ahead is each state's own law, so "
        "no figure stands here",
    ),
    Caution(
        "lines",
        "Trees: dig by hand inside the root zone, cut no structural root, keep turf and base off "
        "the trunk. Local codes may "
        "forbid work under a protected tree; ask a licensed or certified arborist.",
        "common practice",
    ),
    Caution(
        "irrigation",
        "Irrigation: lines are shut off, cut and capped by a licensed person; the backflow device "
        "stays, and stays tested, "
        "as the local code and the water supplier ask. A line kept for rinsing is marked.",
        "common practice",
    ),
    Caution(
        "lines",
        "Disposal: spoil, old turf, off-cuts and infill go where local rules allow; test soil that "
        "may be contaminated "
        "before it leaves.",
        "common practice",
    ),
    Caution(
        "drainage",
        "Drainage: a stone base changes how water soaks in and runs off. Keep the grade away from "
        "buildings, send no water "
        "to a neighbour, and check local stormwater rules; where the soil does not drain ask a "
        "licensed engineer.",
        "common practice",
    ),
    Caution(
        "dust",
        "Silica dust: sand, stone and cut pavers give off respirable crystalline silica. 29 CFR "
        "1926.1153: action level "
        "25 ug/m3, limit 50 ug/m3 over 8 hours; keep it wet, use the controls of Table 1, do not "
        "sweep dry. State codes may "
        "ask for more.",
        "29 CFR 1926.1153 (a), (b), (d) and Table 1",
    ),
    Caution(
        "",
        "Knives: turf is cut and trimmed with sharp knives: new blades, cuts away from the body, "
        "cut-resistant gloves, blades "
        "covered when not in use and boxed when worn, as local safety codes and the makers ask.",
        "common practice",
    ),
    Caution(
        "fumes",
        "Adhesive: read its safety data sheet, keep it from flames and drains, ventilate; local "
        "air rules may limit solvents.",
        "common practice",
    ),
    Caution(
        "falls",
        "Pads: a pad makes a safety surface only where pad, turf, infill and base were tested "
        "together to the fall height of the "
        "equipment over them (ASTM F1292), and again where they lie. Local codes and a licensed or "
        "certified playground "
        "inspector decide; no figure here stands for a test.",
        "ASTM F1292 as quoted in CPSC 325 (secondary pages); common practice",
    ),
    Caution(
        "",
        "Heat: turf in the sun has been measured at 169 F (76 C), 62 F (34 C) over the air, and at "
        "199 F (93 C) in air of "
        "98 F (37 C); water cools it for minutes only. Warn users and shade play areas; for the "
        "crew follow the heat rules "
        "of your state's code.",
        "a university and desert-institute study as reported; a Penn State page citing Brakeman "
        "(2004)",
    ),
    Caution(
        "",
        "Reflections: sun thrown back by window glass, low-emissivity panes above all, has melted "
        "synthetic turf. Look where it "
        "falls through the day and the seasons; screen, shade or film such glass as its maker and "
        "local codes allow, or leave "
        "that ground out.",
        "common practice",
    ),
    Caution(
        "",
        "Contents: ask the makers for statements on lead and PFAS in turf, backing and infill; "
        "local codes may require them "
        "or forbid some kinds.",
        "common practice",
    ),
    Caution(
        "",
        "Permission: some states and cities limit or forbid synthetic turf (as of 2025 among them "
        "Colorado, SB24-005; in "
        "California cities may since SB 676 of 2023). Check local codes and the site's own "
        "covenants before work starts.",
        "bill summaries of Colorado SB24-005 and HB25-1113; a news report of California SB 676",
    ),
)

LAST = (
    "These cautions are no safety plan: local codes, permits, the makers' instructions and the "
    "judgement of licensed "
    "practitioners come before anything this bid says."
)


def of(
    ground: Ground,
    plan: CutPlan,
    net: pd.DataFrame,
    products: Mapping[str, Product],
    rules: MaterialRules,
) -> tuple[str, ...]:
    """One line a caution, in the order of the work; ``net`` is the areas-aligned table of
    `Takeoff.areas`."""
    total = net.sum()
    lines = [one.text for one in _BY_WORK if not one.hazard or _met(one.hazard, total)]
    lines += [
        *_kept_lines(total, rules),
        *_lifting(plan, products, rules),
        *_herbicide(ground),
        *_traffic(ground),
    ]
    return (*lines, *_play(ground), *_routes(ground, products), LAST)


def _met(hazard: Hazard, total: pd.Series[float]) -> bool:
    """Whether there is any item that calls for the caution; whatever depth is dug."""
    return any(total[key] > 0 for key in beware(hazard))


def _kept_lines(total: pd.Series[float], rules: MaterialRules) -> list[str]:
    """Common practice; lengths of nails from data/nails.csv."""
    driven = [
        data.value("nails", getattr(rules, rule), "length")
        for key, rule in NAILED.items()
        if total[key] > 0
    ]
    if not driven and not total["stakes"] > 0:
        return []
    nails = (
        f"nails up to {max(driven) / units.INCH_M:g} in ({1000 * max(driven):.0f} mm) long"
        if driven
        else ""
    )
    what = " and ".join(part for part in (nails, "stakes" if total["stakes"] > 0 else "") if part)
    return [
        f"Kept lines: {what} go through irrigation pipe, drip line and low-voltage wire that stay, "
        "which no utility marks. Find "
        "and mark them, and have them lowered, moved or sleeved first, by a licensed person where "
        "local codes ask for one."
    ]


def _lifting(plan: CutPlan, products: Mapping[str, Product], rules: MaterialRules) -> list[str]:
    """Arithmetic: area of the heaviest roll or length bought of each product x the turf's weight,
    against the limit."""
    sizes = [plan.rolls[_SIZE]]
    if plan.estimate is not None and plan.estimate.bought is not None:
        sizes.append(plan.estimate.bought[_SIZE])
    every = pd.concat([some for some in sizes if len(some)] or sizes[:1])
    area = (every["width_m"] * every["length_m"]).groupby(every["product"], sort=False).max()
    weight_kg = {
        name: m2 * products[name].weight_kg_per_m2()
        for name, m2 in zip(area.index.astype(str), area, strict=True)
    }
    rolls = [
        f"{products[name].title} {kg / units.POUND_KG:,.0f} lb ({kg:,.0f} kg)"
        for name, kg in weight_kg.items()
        if kg > rules.lift_limit_kg
    ]
    if not rolls:
        return []
    limit = f"{rules.lift_limit_kg / units.POUND_KG:,.0f} lb ({rules.lift_limit_kg:,.0f} kg)"
    return [
        f"Lifting: the heaviest rolls weigh about: {'; '.join(rolls)}. That is over the {limit} "
        "set for one person: move them "
        "by machine, as local safety codes and the makers ask."
    ]


def _herbicide(ground: Ground) -> list[str]:
    """7 U.S.C. 136j(a)(2)(G), from memory: use of a pesticide other than its label says is
    unlawful."""
    cover = ground.areas["cover"].str.casefold().str.replace(" ", "_")
    count = int((~cover.isin(NO_PLANTS)).sum())
    if not count:
        return []
    return [
        f"Herbicide: {count} area(s) have a living cover. Where sod is killed before it is taken "
        "up, the product's label is law "
        "(FIFRA); a licence may be needed under state and local codes. Keep spray off trees, "
        "drains and neighbours, and people "
        "and pets off it as long as the label says."
    ]


def _traffic(ground: Ground) -> list[str]:
    """Manual on Uniform Traffic Control Devices, Part 6 (temporary traffic control), from
    memory."""
    count = int(ground.areas["use"].str.casefold().isin(ROAD_USES).sum())
    if not count:
        return []
    return [
        f"Traffic: {count} area(s) lie in or along a road. Work there under a permit and a traffic "
        "control plan, with signs, "
        "tapers and high-visibility clothing as MUTCD Part 6, the road's owner and local codes "
        "ask, by people trained for it."
    ]


def _play(ground: Ground) -> list[str]:
    """ASTM F1292 as quoted in CPSC 325 (secondary pages): g-max 200, HIC 1,000."""
    count = int(ground.areas["use"].str.casefold().isin(PLAY_USES).sum())
    if not count:
        return []
    return [
        f"Falls: {count} area(s) are for play. Turf on stone is no safety surface: under equipment "
        "it needs a tested critical "
        "height of at least the equipment's fall height (ASTM F1292: g-max 200 and HIC 1,000 at "
        "most). Local codes and a "
        "licensed or certified playground inspector decide."
    ]


def _routes(ground: Ground, products: Mapping[str, Product]) -> list[str]:
    """2010 ADA Standards 302 (pile 1/2 in at most, edges fastened), 303 (changes of level), 403.3
    (cross slope 1:48)."""
    tall = [
        name
        for name in ground.areas["product"].unique()
        if products[name].pile_height_m > ROUTE_PILE_M + 1e-9
    ]
    if not tall:
        return []
    marked = int(
        (
            ground.areas["use"].str.casefold().isin(ROUTE_USES) & ground.areas["product"].isin(tall)
        ).sum()
    )
    named = (
        f" {marked} area(s) here are marked as a route: change the product or the route."
        if marked
        else ""
    )
    highest = max(products[name].pile_height_m for name in tall)
    return [
        f"Access: the pile is up to {highest / units.INCH_M:.3g} in ({1000 * highest:.0f} mm) "
        "high. On an accessible route "
        "the 2010 ADA Standards allow 1/2 in (13 mm), edges fastened, changes of level of 1/4 in, "
        "a cross slope of 1:48; "
        f"keep such routes off this turf.{named} Local codes may ask for more."
    ]
