"""Rules of the price."""

from __future__ import annotations

from geoturf.rules.base import Fraction, Rules, rule


class PriceRules(Rules):
    """The build-up, in the order it is applied."""

    waste: Fraction = rule("0 %", "added to material cost beyond the plan (the cut plan has the turf's own)")
