"""Whose water ordinance holds for the ground: what the bid says, else California's where the
ground surely lies there.

The border of California, from the constitution of 1849, article XII (from memory): the 42nd
parallel, the 120th meridian down to the 39th parallel, a straight line to the Colorado River at
the 35th, the river, the border with Mexico. A site counts as inside only well within it: near the
border, and anywhere else, no verdict is given unless the bid asks for it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geoturf.model import Ground
from geoturf.rules.water import WaterRules

CALIFORNIA, REGIONAL, NONE = "california", "regional", "none"
MARGIN_DEG = 0.15  # over 10 km: more than a site is wide, or two datums are apart
_NORTH, _BEND, _RIVER = 42.0, 39.0, 35.0  # latitudes
_MERIDIAN, _OBLIQUE_END = -120.0, -114.633  # where the straight line begins and ends
_COLORADO_WEST = -114.75  # no bend of the river between the two states lies west of it
_PACIFIC = -124.6
# longitude and latitude: the border with Mexico is straight between these
_MEXICO_WEST, _MEXICO_EAST = (-117.123, 32.534), (-114.719, 32.719)


@dataclass(frozen=True)
class Law:
    """``name``: california or regional (a verdict), formula (its numbers without one) or none; ``why``: in
    words."""

    name: str
    why: str

    @property
    def judges(self) -> bool:
        return self.name in (CALIFORNIA, REGIONAL)


def law(rules: WaterRules, ground: Ground, frame: np.ndarray) -> Law:
    """Whose ordinance holds for areas in frames numbered ``frame`` (n,)."""
    if rules.ordinance.law == REGIONAL:
        return Law(REGIONAL, f"{rules.ordinance.name} ({rules.ordinance.source}), as the bid says")
    if rules.ordinance.law:
        return Law(rules.ordinance.law, "as the bid says")
    frames = ground.frames
    if getattr(frames, "lon0_deg", None) is None:
        return Law(NONE, "the bid names no ordinance")
    lon, lat = np.asarray(frames.lon0_deg)[frame], np.asarray(frames.lat0_deg)[frame]
    unnamed = "the bid names no"
    if in_california(lon, lat).all():
        well_within = "as all ground lies well within California's border"
        return Law(CALIFORNIA, f"{well_within}; {unnamed} other")
    outside = "not all ground lies well within California, whose formula is known"
    return Law(NONE, f"{unnamed} ordinance, and {outside}")


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
