"""What to mind, whatever the numbers say: the usual cautions of the trade, deferring to local
codes and licensed practice."""

from __future__ import annotations

from geoturf.water.lawns import Lawns

# reported surface temperatures: a state university's desert study, and a university turf page
# citing Brakeman (2004)
HEAT = (
    "Synthetic turf in the sun gets far hotter than grass (up to 169 °F reported, some 60 °F "
    "over the air, and hot again within minutes of wetting): shade, cooling water and closing "
    "on hot days are part of the decision where children or animals use it."
)
LAW = (
    "Laws and rebates change, differ from place to place, and may forbid or exclude synthetic "
    "turf. Nothing here is legal advice: read the local code and a program's current terms, and "
    "apply before work starts where a program asks for it. No rebate is counted but those the "
    "bid states."
)
_ARBORIST = "have an arborist see root zones before digging"
TREES = f"Trees in a lawn have lived on its water: keep them watered, and {_ARBORIST}."
STORM_WATER = (
    "A lawn soaks up storm water: check infiltration, runoff and drainage of what replaces it "
    "under the local rules for storm water."
)
BACKFLOW = (
    "Keep backflow prevention in place and tested when irrigation is cut, capped or kept for "
    "rinsing; licensed persons do that work."
)
ESTIMATE = (
    "Savings are estimates from reference evapotranspiration and stated efficiencies: compare "
    "the baseline with water bills before money is spent on it."
)


def cautions(lawns: Lawns) -> tuple[str, ...]:
    """The lines to print; surface heat where synthetic turf is on offer."""
    heat = (HEAT,) if any(conversion.turf for conversion in lawns.conversions) else ()
    return (*heat, LAW, TREES, STORM_WATER, BACKFLOW, ESTIMATE)
