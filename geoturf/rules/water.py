"""Rules of the water comparison."""

from __future__ import annotations

from geoturf.rules.base import Rules


class WaterRules(Rules):
    """The [water] table of a bid."""
