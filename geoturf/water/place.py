"""Whose water ordinance holds for a site: what the bid says, by column where it says several, else
California's where the site surely lies there.

The border of California, from the constitution of 1849, article XII (from memory): the 42nd
parallel, the 120th meridian down to the 39th parallel, a straight line to the Colorado River at
the 35th, the river, the border with Mexico. A site counts as inside only well within it: near the
border, and anywhere else, no verdict is given unless the bid asks for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geoturf.rules.water import WaterRules
from geoturf.water.lawns import Lawns
from geoturf.water.sited import by_site

CALIFORNIA, REGIONAL, NONE, SEVERAL = "california", "regional", "none", "several"
MARGIN_DEG = 0.15  # over 10 km: more than a site is wide, or two datums are apart
_NORTH, _BEND, _RIVER = 42.0, 39.0, 35.0  # latitudes
_MERIDIAN, _OBLIQUE_END = -120.0, -114.633  # where the straight line begins and ends
_COLORADO_WEST = -114.75  # no bend of the river between the two states lies west of it
_PACIFIC = -124.6
# longitude and latitude: the border with Mexico is straight between these
_MEXICO_WEST, _MEXICO_EAST = (-117.123, 32.534), (-114.719, 32.719)


@dataclass(frozen=True)
class Law:
    """``name``: california or regional (a verdict), formula (its numbers without one), none, or several
    (some sites under one, some under another); ``why``: in words."""

    name: str
    why: str

    @property
    def judges(self) -> bool:
        return self.name in (CALIFORNIA, REGIONAL, SEVERAL)


@dataclass(frozen=True)
class Holding:
    """A law and the ``sites`` that it holds for; ``rules``: with its ordinance."""

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
        regional = Law(REGIONAL, f"{said.name} ({said.source}), as the bid says")
        return [Holding(regional, sites, rules)]
    if said.law:
        return [Holding(Law(said.law, "as the bid says"), sites, rules)]
    if lawns.degrees is None:
        return [Holding(Law(NONE, "the bid names no ordinance"), sites, rules)]
    here = lawns.areas["site"].isin(sites).to_numpy()
    inside = here & in_california(*lawns.degrees.T)
    outside = frozenset(lawns.areas["site"][here & ~inside])
    within = sites - outside
    ground = "all ground" if not outside else f"the ground of {len(within)} sites"
    lies = f"{ground} lies well within California's border; the bid names no other"
    found = [Holding(Law(CALIFORNIA, f"as {lies}"), within, rules)] if within else []
    if outside:
        which = "not all ground lies" if not within else f"{len(outside)} sites do not lie"
        known = f"{which} well within California, whose formula is known"
        found.append(Holding(Law(NONE, f"the bid names no ordinance, and {known}"), outside, rules))
    return found


def together(held: list[Holding]) -> Law:
    """What holds, in one: the law itself where there is one."""
    laws = list(dict.fromkeys(one.law for one in held))
    if len(laws) == 1:
        return laws[0]
    judged = any(law.judges for law in laws)
    told = [f"{len(one.sites)} sites: {one.law.name}, {one.law.why}" for one in held]
    return Law(SEVERAL if judged else laws[0].name, "; ".join(told))


def in_california(lon_deg: np.ndarray, lat_deg: np.ndarray) -> np.ndarray:
    """Whether points lie within California by `MARGIN_DEG`, bool (n,); what lies nearer its border
    does not count."""
    lon, lat = np.asarray(lon_deg, dtype=float), np.asarray(lat_deg, dtype=float)
    slope = (_OBLIQUE_END - _MERIDIAN) / (_BEND - _RIVER)
    oblique = _MERIDIAN + (_BEND - lat) * slope
    east = np.where(lat >= _BEND, _MERIDIAN, np.minimum(oblique, _COLORADO_WEST))
    rise = (_MEXICO_EAST[1] - _MEXICO_WEST[1]) / (_MEXICO_EAST[0] - _MEXICO_WEST[0])
    south = _MEXICO_WEST[1] + (lon - _MEXICO_WEST[0]) * rise
    between = (lat < _NORTH - MARGIN_DEG) & (lat > south + MARGIN_DEG)
    return between & (lon > _PACIFIC) & (lon < east - MARGIN_DEG)
