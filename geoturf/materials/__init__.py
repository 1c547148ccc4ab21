"""Takeoff: what every area takes, summed over its pool, rounded up to what is bought.

quantities   net quantities of every area, one column an item; fabric by `strips`
rows         sums over pools and sites, rounded up to `packages`, the formula in `words`; turf as
             the cut plan buys it (`turf`)
counts       what lump prices are counted by, phase by phase
left_out     what cannot be left to others
cautions     what the work calls for
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from geoturf.materials import cautions, rows
from geoturf.materials.counts import counts
from geoturf.materials.left_out import missing
from geoturf.materials.quantities import cross_seam, per_area, seam_m
from geoturf.materials.words import caps_by
from geoturf.model import CutPlan, Edges, Finding, Ground, Takeoff
from geoturf.rules import EdgeRules, MaterialRules, Product

__all__ = ["beside", "cross_seam", "missing", "seam_m", "takeoff"]


def takeoff(
    ground: Ground,
    edges: Edges,
    plan: CutPlan,
    products: Mapping[str, Product],
    rules: MaterialRules,
    edge_rules: EdgeRules,
    books: Mapping[str, MaterialRules] | None = None,
    each: bool = True,
) -> Takeoff:
    """Every item of the bid by pool, by site for comparison, and in total. Net quantities are SI;
    see `Takeoff`. ``books``: the rules with the production rates of each price book; ``each``:
    whether there are rows of each site."""
    by_book = books or {}
    areas = per_area(ground, edges, plan, products, rules, edge_rules, by_book)
    given = (products, rules, edge_rules, by_book, each)
    items = rows.takeoff_rows(ground.areas, areas, plan, *given)
    said = cautions.of(ground, plan, areas, products, rules)
    phase = ground.areas["phase"].astype(str)
    counted = counts(phase, areas, items, plan, products, rules)
    return Takeoff(items, areas, _assumed(ground, rules), said, counted)


def beside(
    takeoff: Takeoff, ground: Ground, alone: CutPlan, products: Mapping[str, Product]
) -> Takeoff:
    """The takeoff with what every site would buy ``alone``, cut from rolls of its own, beside what
    its pool buys. Rows of kind pool stay in their places."""
    return replace(takeoff, items=rows.beside(takeoff.items, ground.areas, alone, products))


def _assumed(ground: Ground, rules: MaterialRules) -> tuple[Finding, ...]:
    """Notes on what neither the layers nor the bid say."""
    found: list[Finding] = []
    missing = int(ground.areas.groupby(["phase", "site"], sort=False)["caps"].count().eq(0).sum())
    if missing and (rules.caps_per_site or rules.cap_covers_m2):
        what = f"{missing} site(s) state no irrigation heads to cap; {caps_by(rules)} are assumed"
        mend = "give a column caps, or set caps_per_site"
        found.append(Finding("note", "caps-assumed", f"{what}; {mend}"))
    return tuple(found)
