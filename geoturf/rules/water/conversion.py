"""Rules of covers and conversions: what grows there, what may take its place, and what that costs.

The money in the shipped conversions is an assumption, said so on every report that uses it.
"""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, model_validator

from geoturf import units
from geoturf.rules.base import Area, Fraction, Length, Price, Rules, rule
from geoturf.rules.water.climate import MonthlyNumber

Category = Literal["", "very_low", "low", "moderate", "high"]
RainCounts = Literal["", "whole", "by factor"]
MOST_FACTOR = 1.3  # a share of ETo
_LOW_FACTOR = 0.3  # most of the category "low", 23 CCR 491: no lawn has less


def _efficiencies(value: object) -> dict[str, float]:
    if not isinstance(value, dict):
        raise ValueError("efficiencies is a table of methods, such as spray = 0.70")
    found = {}
    for name, given in value.items():
        try:
            share = units.read(given, "fraction")
        except units.UnitError as error:
            raise ValueError(f"irrigation '{name}': {error}") from None
        if not 0 < share <= 1:
            wanted = "an efficiency is over 0 and at most 1"
            raise ValueError(f"irrigation '{name}': {wanted}, not {given}")
        found[str(name)] = share
    return found


Efficiencies = Annotated[dict[str, float], BeforeValidator(_efficiencies)]


def by_area_or_each(*prices: units.Money | None) -> None:
    """Refuses a price that is neither per area of ground nor per area to convert."""
    for price in prices:
        if price is None or price.dimension == (2, 0, 0) or price.unit in ("each", "area"):
            continue
        neither = 'neither per ground ("4.00 USD/ft^2") nor for each area ("250 USD")'
        raise ValueError(f"{price} is {neither}")


class Cover(Rules):
    """Something that covers ground, with its water need as a share of ETo."""

    title: str = rule("", "what a reader sees", source="")
    factor: MonthlyNumber = rule(
        ...,
        "crop coefficient or plant factor: one value, or one for each month",
        source="",
    )
    category: Category = rule(
        "", "plant-factor category that the factor must lie in; any if empty", source="23 CCR 491"
    )
    upkeep: Price = rule("0 USD/ft^2", "upkeep a year without water (mowing, pruning, weeding)")
    rain: RainCounts = rule(
        "",
        "how effective rain counts: whole (ETo x factor - rain, ground covered all over) or by "
        "factor ((ETo - rain) x factor, plants that take their share of rain as of ETo); if "
        "empty, by factor for low factors and stated categories",
        source="whole: FAO-56; by factor: 23 CCR 492.4",
    )
    special: bool = rule(
        False,
        "counts as special landscape area (SLA) in the ordinance check",
        source="23 CCR 491",
    )
    planted: bool = rule(
        True,
        "counts as landscape area in the ordinance check; not for synthetic or bare ground",
        source="",
    )
    source: str = rule("", "where the factor comes from, as printed", source="")

    @model_validator(mode="after")
    def _fits(self) -> Cover:
        by_area_or_each(self.upkeep)
        most = max(self.factor, default=0.0)
        if most > MOST_FACTOR:
            known = f"FAO-56 knows none above {MOST_FACTOR:g}"
            raise ValueError(f"a factor of {most:g} is outside 0 to {MOST_FACTOR:g} ({known})")
        return self

    @property
    def rain_by_factor(self) -> bool:
        """Whether the plants take their share of the rain only, as they take a share of ETo."""
        if self.rain:
            return self.rain == "by factor"
        return bool(self.category) or max(self.factor, default=0.0) <= _LOW_FACTOR


class Rebate(Rules):
    """Money a program pays back. Only ever what the bid states, with its date and terms."""

    amount: Price = rule(
        ...,
        'paid per ground ("2.00 USD/ft^2") or for each area ("500 USD")',
        source="",
    )
    date: datetime.date = rule(..., "the day these terms were read (2026-05-31)", source="")
    terms: str = rule(..., "the terms in a sentence, as printed", source="")
    most: Price | None = rule(None, "no more than this for each area", source="")
    min_area_m2: Area = rule("0 ft^2", "smaller areas get none", source="")
    most_per_site: Price | None = rule(
        None, "no more than this for each customer: a site, as water is billed", source=""
    )
    most_in_all: Price | None = rule(None, "no more than this for all sites together", source="")
    deadline: datetime.date | None = rule(
        None, "last day to apply; held against terms.date of the bid, never a clock", source=""
    )

    @model_validator(mode="after")
    def _stated(self) -> Rebate:
        by_area_or_each(self.amount)
        if not self.terms.strip():
            raise ValueError("a rebate needs its terms")
        for cap in (self.most_per_site, self.most_in_all):
            if cap is not None and cap.unit != "each":
                raise ValueError(f'{cap} is no sum of money, which is written like "20000 USD"')
        return self

    @property
    def shared(self) -> bool:
        """Whether areas share a cap, so that what one is paid hangs on the others."""
        return self.most_per_site is not None or self.most_in_all is not None


class Conversion(Rules):
    """What an area may become. Empty ``cover`` or ``irrigation`` keeps the area's own."""

    title: str = rule("", "what a reader sees", source="")
    turf: bool = rule(
        False,
        "this bid's own turf: takes the bid's price, counts as turf, is checked by the profile",
        source="",
    )
    cover: str = rule("", "cover afterwards; the area's own if empty", source="")
    irrigation: str = rule("", "irrigation method afterwards; the area's own if empty", source="")
    only_covers: tuple[str, ...] = rule(
        (),
        "existing covers it is offered for; all if empty",
        source="",
    )
    except_uses: tuple[str, ...] = rule(
        (),
        "values of the use column it is not offered for",
        source="",
    )
    establishing_years: int = rule(
        0,
        "years in which new plants are still being established",
        low=0,
        high=5,
    )
    establishing_cover: str = rule(
        "",
        "cover whose need new plants have in those years; money counts it, the saving a year does "
        "not",
        source="",
    )
    capital: Price | None = rule(
        None,
        "what it costs to build; a turf conversion takes this bid's price where left out",
        source="",
    )
    kept_line: Price = rule(
        "0 USD",
        "for each area: keeping or rerouting an irrigation line, on top of capital",
        source="",
    )
    upkeep: Price | None = rule(None, "upkeep a year without water; the cover's own if left out")
    life: int = rule(0, "years until it is replaced; 0: lasts beyond the horizon", low=0, high=50)
    replacement_share: Fraction = rule(
        "100 %",
        "cost of a replacement as a share of capital",
        low="10 %",
        high="120 %",
    )
    rinse_m: Length = rule(
        "0 gal/ft^2",
        "water of one rinse",
        low="0 gal/ft^2",
        high="0.2 gal/ft^2",
        source="",
    )
    rinses: MonthlyNumber = rule(0, "rinses a month: one value, or twelve", source="")
    cooling_m: Length = rule(
        "0 gal/ft^2",
        "water of one cooling",
        low="0 gal/ft^2",
        high="0.2 gal/ft^2",
        source="",
    )
    coolings: MonthlyNumber = rule(0, "coolings a month: one value, or twelve", source="")
    rebate: Rebate | None = rule(None, "a rebate with its date and terms; never assumed", source="")

    @model_validator(mode="after")
    def _priced(self) -> Conversion:
        by_area_or_each(self.capital, self.kept_line, self.upkeep)
        if self.kept_line.dimension is not None:
            raise ValueError('kept_line is for each area, such as "250 USD"')
        if self.capital is None and not self.turf:
            only = "only turf has a price in the bid"
            raise ValueError(f'capital is needed, such as "4.00 USD/ft^2" ({only})')
        if not 0 <= self.establishing_years <= 20:
            raise ValueError("establishing_years is 0 to 20 years")
        if self.establishing_years and not self.establishing_cover:
            needed = "establishing_cover: what new plants take until then"
            raise ValueError(f"establishing_years needs {needed}")
        if not 0 <= self.life <= 100:
            raise ValueError("life is 0 to 100 years")
        return self


SHIPPED: dict[str, dict[str, Any]] = {
    "turf": {
        "title": "Synthetic turf",
        "turf": True,
        "cover": "synthetic_turf",
        "irrigation": "hose",
        "kept_line": "250 USD",
        "upkeep": "0.06 USD/ft^2",
        "life": 15,
        "replacement_share": "60 %",  # the base stays
        "rinse": "0.06 gal/ft^2",
        "rinses": 1,
        "cooling": "0.10 gal/ft^2",
        "coolings": [0, 0, 0, 0, 2, 6, 8, 8, 4, 0, 0, 0],
    },
    "planting": {
        "title": "Low-water planting on drip",
        "cover": "low_water_planting",
        "irrigation": "drip",
        "except_uses": ["play", "sport", "sports"],  # nobody plays on planting
        "establishing_years": 2,  # common practice: two summers
        "establishing_cover": "moderate_water_planting",
        "capital": "5.50 USD/ft^2",
        "life": 20,
        "replacement_share": "25 %",  # drip line and part of the plants
    },
    "irrigation": {
        "title": "Efficient irrigation of the existing planting",
        "irrigation": "efficient_spray",
        "capital": "0.90 USD/ft^2",
        "life": 12,
        "replacement_share": "60 %",  # the pipes stay
    },
}


def merged(own: dict[str, Any]) -> dict[str, Any]:
    """The shipped conversions with a bid's own laid over them, key by key."""
    both = {name: dict(table) for name, table in SHIPPED.items()}
    for name, table in own.items():
        both[name] = {**both.get(name, {}), **table} if isinstance(table, dict) else table
    return both
