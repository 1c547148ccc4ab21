"""Whose water ordinance holds for a site: what the bid says, by column where it says several, else
a shipped one where the site surely lies within its border.

A site counts as inside only well within a border: near it, and anywhere else, no verdict is given
unless the bid asks for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geoturf.rules.water import WaterRules
from geoturf.rules.water.ordinance import FORMULA, NONE, REGIONAL, Border, filled, laws, shipped
from geoturf.water.lawns import Lawns
from geoturf.water.sited import by_site

SEVERAL = "several"


@dataclass(frozen=True)
class Law:
    """``name``: a shipped record or regional (a verdict), formula (its numbers without one), none,
    or several (some sites under one, some under another); ``why``: in words."""

    name: str
    why: str

    @property
    def judges(self) -> bool:
        return self.name not in (FORMULA, NONE)


@dataclass(frozen=True)
class Holding:
    """A law and the ``sites`` that it holds for; ``rules``: with its ordinance, filled."""

    law: Law
    sites: frozenset[str]
    rules: WaterRules


def holdings(rules: WaterRules, lawns: Lawns) -> list[Holding]:
    """Which ordinance holds for which sites: by the column that says so, or by where they lie.
    Raises `BidError` as `sited.by_site`."""
    sites = lawns.areas["site"]
    if not rules.ordinances:
        return _by_place(rules, lawns, frozenset(sites))
    named = by_site(lawns.areas, rules.ordinance_by, rules.ordinances, "ordinances")
    out = []
    for name in dict.fromkeys(named):
        own = rules.model_copy(update={"ordinance": rules.ordinances[name]})
        out += _by_place(own, lawns, frozenset(named.index[named == name]))
    return out


def _by_place(rules: WaterRules, lawns: Lawns, sites: frozenset[str]) -> list[Holding]:
    """One ordinance for some ``sites``, parted by where they lie where it does not say."""
    said = rules.ordinance
    if said.law == REGIONAL:
        return _regional(rules, lawns, sites)
    if said.law:
        return [_holding(said.law, "as the bid says", sites, rules)]
    if lawns.degrees is None:
        return [_holding(NONE, "the bid names no ordinance", sites, rules)]
    found = []
    left = sites
    for law in laws():
        record = shipped(law)
        within, left = _parted(left, lawns, record.border)
        if within:
            ground = "all ground" if within == sites else f"the ground of {len(within)} sites"
            lies = f"{ground} lies well within {record.name}'s border; the bid names no other"
            found.append(_holding(law, f"as {lies}", within, rules))
    if left:
        which = "not all ground lies" if left == sites else f"{len(left)} sites do not lie"
        known = " or ".join(shipped(law).name for law in laws())
        why = f"{which} well within {known}, whose formula is known"
        found.append(_holding(NONE, f"the bid names no ordinance, and {why}", left, rules))
    return found


def _regional(rules: WaterRules, lawns: Lawns, sites: frozenset[str]) -> list[Holding]:
    """An allowance of the bid's own, and no verdict for sites that lie outside its border."""
    said = rules.ordinance
    within, left = _parted(sites, lawns, said.border)
    named = f"{said.name} ({said.source})"
    found = [_holding(REGIONAL, f"{named}, as the bid says", within, rules)] if within else []
    if left:
        why = f"{len(left)} sites do not lie well within the border stated of {said.name}"
        found.append(_holding(NONE, why, left, rules))
    return found


def _holding(law: str, why: str, sites: frozenset[str], rules: WaterRules) -> Holding:
    own = rules.ordinance.model_copy(update={"law": law})
    return Holding(Law(law, why), sites, rules.model_copy(update={"ordinance": filled(own)}))


def _parted(
    sites: frozenset[str], lawns: Lawns, border: Border | None
) -> tuple[frozenset[str], frozenset[str]]:
    """The ``sites`` all of whose areas lie within a border, and the others; all where there is no
    border, or where nothing tells where the areas lie."""
    if border is None or lawns.degrees is None:
        return sites, frozenset()
    outside = lawns.areas["site"][~well_within(border, *lawns.degrees.T)]
    left = sites & frozenset(outside)
    return sites - left, left


def together(held: list[Holding]) -> Law:
    """What holds, in one: the law itself where there is one."""
    laws = list(dict.fromkeys(one.law for one in held))
    if len(laws) == 1:
        return laws[0]
    judged = any(law.judges for law in laws)
    told = [f"{len(one.sites)} sites: {one.law.name}, {one.law.why}" for one in held]
    return Law(SEVERAL if judged else laws[0].name, "; ".join(told))


def well_within(border: Border, lon_deg: np.ndarray, lat_deg: np.ndarray) -> np.ndarray:
    """Whether points lie within a border by its margin, bool (n,); what lies nearer does not
    count. Degrees, of longitude and latitude alike."""
    inner = shapely.Polygon(border.corners).buffer(-border.margin)
    inside: np.ndarray = shapely.contains_xy(inner, lon_deg, lat_deg)
    return inside
