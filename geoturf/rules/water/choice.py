"""Rules of the choice: what constrains it, and how far its inputs may be off."""

from __future__ import annotations

from pydantic import model_validator

from geoturf.rules.base import Area, Number, Rules, rule


class Named(Rules):
    """Areas by name: one area of a site, or all of a site where ``area`` is empty."""

    site: str = rule(..., "site, as on the bid", source="")
    area: str = rule("", "area; every area of the site if empty", source="")
    conversion: str = rule("", "conversion by name; any if empty", source="")


class DistrictMinimum(Rules):
    """What a district gets at least."""

    areas: int = rule(0, "areas converted", low=0, source="")
    ground_m2: Area = rule("0 ft^2", "ground converted", source="")

    @model_validator(mode="after")
    def _positive(self) -> DistrictMinimum:
        if self.areas < 0:
            raise ValueError("a minimum of areas is 0 or more")
        return self


class Span(Rules):
    """Factors on an input in the low and the high case."""

    low: Number
    high: Number

    @model_validator(mode="after")
    def _around(self) -> Span:
        if not 0 < self.low <= 1 <= self.high:
            raise ValueError("low is a factor over 0 and at most 1, high one of at least 1")
        return self


class Uncertainty(Rules):
    """How far each input may be off. Low and high are factors on it; an efficiency never passes
    1."""

    eto: Span = rule(
        {"low": 0.9, "high": 1.1},
        "reference evapotranspiration, year to year and station to site",
    )
    rain: Span = rule({"low": 0.7, "high": 1.3}, "rain, year to year")
    efficiency: Span = rule({"low": 0.85, "high": 1.1}, "efficiency of the existing irrigation")
    price: Span = rule({"low": 0.8, "high": 1.3}, "price of water")
    capital: Span = rule({"low": 0.85, "high": 1.25}, "capital")
    upkeep: Span = rule({"low": 0.7, "high": 1.3}, "upkeep")
    rinse: Span = rule({"low": 0.5, "high": 2.0}, "rinse and cooling water")
