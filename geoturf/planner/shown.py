"""Figures as they are shown: the bid's units, its currency, and words for what is never or not known."""

from __future__ import annotations

import math

from geoturf import units
from geoturf.model import Result, Water

_US = {"m3": (1 / units.GALLON_M3, "gal"), "m2": (1 / units.FT2_M2, "ft²"), "m": (1 / units.INCH_M, "in")}
_METRIC = {"m3": (1.0, "m³"), "m2": (1.0, "m²"), "m": (1000.0, "mm")}
INPUTS = {
    "eto": "evapotranspiration",
    "rain": "rain",
    "rain_method": "how rain is counted",
    "efficiency": "present irrigation",
    "price": "price of water",
    "capital": "capital",
    "upkeep": "upkeep",
    "rinse": "rinse and cooling",
}
VOLUMES = (
    ("gallons", 1 / units.GALLON_M3, 0),
    ("HCF (100 ft³)", 1 / units.HCF_M3, 0),
    ("acre-feet", 1 / units.ACRE_FT_M3, 2),
    ("m³", 1.0, 0),
)


class Shown:
    """A result with its figures put into words."""

    def __init__(self, result: Result):
        self.result = result
        self.water: Water = result.water
        self.summary = self.water.summary
        self.metric = result.bid.units == "metric"
        self.units = _METRIC if self.metric else _US
        self.currency = result.bid.currency

    def volume(self, m3: float) -> str:
        factor, unit = self.units["m3"]
        return f"{round(m3 * factor) + 0.0:,.0f} {unit}"  # no minus zero

    def range(self, low_m3: float, high_m3: float) -> str:
        """Two volumes in one unit."""
        return f"{self.volume(low_m3).rsplit(' ', 1)[0]} to {self.volume(high_m3)}"

    def area(self, m2: float) -> str:
        factor, unit = self.units["m2"]
        return f"{m2 * factor:,.0f} {unit}"

    def depth(self, m: float) -> str:
        factor, unit = self.units["m"]
        return f"{m * factor:.{0 if self.metric else 2}f} {unit}"

    def money(self, amount: float) -> str:
        """Whole units of currency; a dash where not known."""
        return "–" if math.isnan(amount) else f"{amount:,.0f} {self.currency}"

    def years(self, years: float) -> str:
        return "never" if math.isinf(years) else "–" if math.isnan(years) else f"{years:.1f}"

    def payback(self, years: float) -> str:
        """Years with their word, where there are any."""
        told = self.years(years)
        return f"{told} years" if told[0].isdigit() else told

    def water_cost(self, per_m3: float) -> str:
        """Cost of saved water, per acre-foot or m3."""
        if math.isnan(per_m3):
            return "–"
        if self.metric:
            return f"{per_m3:,.2f} {self.currency}"
        return f"{per_m3 * units.ACRE_FT_M3:,.0f} {self.currency}"

    @property
    def water_cost_unit(self) -> str:
        return "m³" if self.metric else "acre-foot"

    def per_money(self, m3: float) -> str:
        """Water a year for one unit of currency."""
        factor, unit = self.units["m3"]
        return "–" if math.isnan(m3) else f"{m3 * factor:,.{4 if self.metric else 2}f} {unit}"

    def share(self, fraction: float, digits: int = 1) -> str:
        return "–" if math.isnan(fraction) else f"{100 * fraction:,.{digits}f} %"
