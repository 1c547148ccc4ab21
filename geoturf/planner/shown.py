"""Figures as they are shown: the bid's units, its currency, and words for what is never or not
known."""

from __future__ import annotations

import math
from functools import cached_property

from geoturf import units
from geoturf.model import Result

# dimension -> (factor from SI, unit as written)
_US = {
    "m3": (1 / units.GALLON_M3, "gal"),
    "m2": (1 / units.FT2_M2, "ft²"),
    "m": (1 / units.INCH_M, "in"),
}
_METRIC = {
    "m3": (1.0, "m³"),
    "m2": (1.0, "m²"),
    "m": (1000.0, "mm"),
}
_LIMITS_US = {
    "m": (1 / units.INCH_M, "in"),
    "kg/m2": (units.YARD_M**2 / units.OUNCE_KG, "oz/yd²"),
    "m/h": (1 / units.INCH_M, "in/h"),
}
_UNKNOWN = "–"
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
# name, volumes of it in a cubic metre, decimals
VOLUMES = (
    ("gallons", 1 / units.GALLON_M3, 0),
    ("HCF (100 ft³)", 1 / units.HCF_M3, 0),
    ("acre-feet", 1 / units.ACRE_FT_M3, 2),
    ("m³", 1.0, 0),
)


class Shown:
    """A result with its figures put into words. Raises `ValueError` where it compares no water."""

    def __init__(self, result: Result):
        if result.water is None:
            raise ValueError("this result compares no water")
        self.result = result
        self.water = result.water
        self.summary = self.water.summary
        self.metric = result.bid.units == "metric"
        self.units = _METRIC if self.metric else _US
        self.currency = result.bid.currency

    @cached_property
    def _single(self) -> frozenset[str]:
        """Sites of one area that was numbered, not named."""
        places = self.water.table[["site", "area"]].drop_duplicates()
        alone = places[~places["site"].duplicated(keep=False)]
        return frozenset(alone["site"][alone["area"] == "1"])

    def place(self, site: str, area: str) -> str:
        """What an area is called: its site alone where that has no other, and no name for it."""
        return site if not area or site in self._single else f"{site}, {area}"

    def volume(self, m3: float) -> str:
        factor, unit = self.units["m3"]
        return f"{round(m3 * factor) + 0.0:,.0f} {unit}"  # no minus zero

    def range(self, low_m3: float, high_m3: float) -> str:
        """Two volumes in one unit."""
        low, _, _ = self.volume(low_m3).rpartition(" ")
        return f"{low} to {self.volume(high_m3)}"

    def area(self, m2: float) -> str:
        factor, unit = self.units["m2"]
        return f"{m2 * factor:,.0f} {unit}"

    def depth(self, m: float) -> str:
        factor, unit = self.units["m"]
        digits = 0 if self.metric else 2
        return f"{m * factor:.{digits}f} {unit}"

    def money(self, amount: float) -> str:
        """Whole units of currency; a dash where not known."""
        if math.isnan(amount):
            return _UNKNOWN
        return f"{amount:,.0f} {self.currency}"

    def years(self, years: float) -> str:
        if math.isinf(years):
            return "never"
        if math.isnan(years):
            return _UNKNOWN
        return f"{years:.1f}"

    def payback(self, years: float) -> str:
        """Years with their word, where there are any."""
        said = self.years(years)
        if said[0].isdigit():
            return f"{said} years"
        return said

    def water_cost(self, per_m3: float) -> str:
        """Cost of saved water, per acre-foot or m3."""
        if math.isnan(per_m3):
            return _UNKNOWN
        if self.metric:
            return f"{per_m3:,.2f} {self.currency}"
        return f"{per_m3 * units.ACRE_FT_M3:,.0f} {self.currency}"

    @property
    def water_cost_unit(self) -> str:
        return "m³" if self.metric else "acre-foot"

    def per_money(self, m3: float) -> str:
        """Water a year for one unit of currency."""
        if math.isnan(m3):
            return _UNKNOWN
        factor, unit = self.units["m3"]
        digits = 4 if self.metric else 2
        return f"{m3 * factor:,.{digits}f} {unit}"

    def share(self, fraction: float, digits: int = 1) -> str:
        if math.isnan(fraction):
            return _UNKNOWN
        return f"{100 * fraction:,.{digits}f} %"

    def limit(self, value: float, unit: str) -> str:
        """A local minimum or what is found against it; ``unit``: m, m/h, kg/m2 or fraction."""
        if math.isinf(value):
            return "none near"
        if unit == "fraction":
            return self.share(value)
        if self.metric:
            return f"{value:.3g} {unit}"
        factor, name = _LIMITS_US[unit]
        return f"{value * factor:.4g} {name}"
