"""Rules of the takeoff."""

from __future__ import annotations

from geoturf.rules.base import COMMON, Length, Rules, rule


class MaterialRules(Rules):
    """Quantities beyond turf."""

    dig_depth_m: Length = rule("4 in", "dug out under the turf", low="3 in", high="4 in", source=COMMON)
