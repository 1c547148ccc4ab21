"""Rules of the water comparison: the [water] table of a bid.

climate.py     twelve months of reference evapotranspiration and rain
conversion.py  covers, what a lawn may become, and what that costs
money.py       the price of water
choice.py      budget, constraints, and how far inputs may be off
ordinance.py   the allowance of an ordinance, and a profile of local minimums
names.py       published tables, and what people call what stands in them
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, model_validator

from geoturf.rules.base import Fraction, Price, Rules, Volume, rule
from geoturf.rules.water.choice import District, Fund, Named, Programme, Uncertainty
from geoturf.rules.water.climate import Climate
from geoturf.rules.water.conversion import SHIPPED, Conversion, Cover, Efficiencies, Rebate, merged
from geoturf.rules.water.money import Tier, WaterPrice
from geoturf.rules.water.ordinance import Ordinance, Profile, by_name

__all__ = [
    "Climate",
    "Conversion",
    "Cover",
    "District",
    "Fund",
    "Named",
    "Ordinance",
    "Profile",
    "Programme",
    "Rebate",
    "Tier",
    "Uncertainty",
    "WaterPrice",
    "WaterRules",
]


_RAIN_RULES = {"effective_rain", "effective_share", "soil_store_m"}
MOST_FUNDS = 8  # a row of the choice for each set of funds


def _overlaid(value: Any) -> Any:
    """A bid's conversions laid over the shipped ones of the same name, key by key."""
    if isinstance(value, dict):
        return merged(value)
    return value


class WaterRules(Rules):
    """The [water] table of a bid."""

    climate: Climate = rule({}, "reference evapotranspiration (ETo) and rain by month", source="")
    climates: dict[str, Climate] = rule(
        {}, "climates of several places, by what stands in the column climate_by", source=""
    )
    climate_by: str = rule(
        "",
        "column that says which of climates holds: district, phase, site, price_book, or one of "
        "the bid's keep; all of a site share one",
        source="",
    )
    cover: str = rule(
        "",
        "existing cover of areas whose cover column is empty; such areas stay out if empty",
        source="",
    )
    irrigation: str = rule(
        "spray",
        "irrigation method of areas whose irrigation column is empty",
        source="",
    )
    metered: str = rule(
        "",
        "CSV of metered use beside the bid file: site, use_kgal (or _hcf, _ccf, _gal, _m3, "
        "_acre_ft), and month where it is by month; a metered site's use now is the meter's",
        source="",
    )
    covers: dict[str, Cover] = rule(
        {},
        "covers of your own, or in place of a published one",
        source="",
    )
    efficiencies: Efficiencies = rule(
        {}, "irrigation efficiency by method, over the published ones: spray = 0.70", source=""
    )
    constant: Literal["exact", "ordinance"] = rule(
        "exact",
        "gallons per square foot and inch: exact 144/231 = 0.62338, or the ordinance's rounded "
        "0.62 (0.54 % less)",
        source="23 CCR 492.4 for 0.62",
    )
    conversions: Annotated[dict[str, Conversion], BeforeValidator(_overlaid)] = rule(
        SHIPPED,
        "what an area may become; your keys are laid over the shipped one of the same name; "
        "where you state any, the other shipped ones are on offer only if offer names them",
    )
    offer: tuple[str, ...] = rule(
        (),
        "names of the conversions on offer; if empty, those of the bid, or all shipped ones where "
        "it has none",
        source="",
    )
    price: WaterPrice = rule({}, "price of water", source="")
    prices: dict[str, WaterPrice] = rule(
        {}, "prices of water of several suppliers, by what stands in the column price_by", source=""
    )
    price_by: str = rule(
        "", "column that says which of prices a site pays, as climate_by does", source=""
    )
    lay: Literal["chosen", "all"] = rule(
        "chosen",
        "where turf is laid and priced: on the areas that the choice turns into turf (and those "
        "that take no part in it), or on all areas of the bid whatever is chosen",
        source="",
    )
    horizon: int = rule(20, "years looked ahead", low=5, high=50)
    discount_rate: Fraction = rule(
        "3 %", "discount rate, real or nominal as the escalations are", low="0 %", high="10 %"
    )
    upkeep_escalation: Fraction = rule(
        "3 %",
        "yearly rise of upkeep and replacement",
        low="0 %",
        high="6 %",
    )
    objective: Literal["water", "money", "cost"] = rule(
        "water",
        "what the choice goes for: most water saved a year; most net present value (money); "
        "least capital less rebate for the saving asked for (cost)",
        source="",
    )
    saving_m3: Volume | None = rule(
        None, "water to be saved a year at least, such as 4000 kgal; cost needs it", source=""
    )
    budget: Price | None = rule(None, "capital that may be spent; no limit if left out", source="")
    budget_takes: Literal["capital", "capital less rebate"] = rule(
        "capital",
        "what counts against the budget; a rebate is mostly paid after the work",
        source="",
    )
    longest_payback: int = rule(
        30,
        "years; what pays back later is not chosen to use a budget up, unless must or a "
        "district's minimum asks for it; 0: no limit",
        low=10,
        high=50,
        source="common practice: about the life of what is built, renewed once",
    )
    positive_npv: bool = rule(
        False,
        "what has a negative net present value is not chosen either",
        source="",
    )
    curve_points: int = rule(
        40,
        "budgets on the curve of saving against budget",
        low=10,
        high=100,
        source="",
    )
    gap: Fraction = rule("0.01 %", "the choice is proved best within this", source="")
    districts: dict[str, District] = rule({}, "what each district gets, by its name", source="")
    every_district: District = rule({}, "what every other district gets", source="")
    funds: dict[str, Fund] = rule(
        {}, "where the money comes from and what each fund may pay for, by its name", source=""
    )
    programme: Programme | None = rule(
        None, "budgets by year in place of one budget: what is done in which year", source=""
    )
    must: tuple[Named, ...] = rule(
        (),
        "areas that must convert: tables with site and area, or column and values; conversion "
        "(empty: any)",
        source="",
    )
    must_not: tuple[Named, ...] = rule(
        (),
        "areas that must not convert, named likewise",
        source="",
    )
    turf_share: Fraction = rule(
        "100 %",
        "synthetic turf may take at most this share of the ground of all areas compared",
        source="",
    )
    uncertainty: Uncertainty = rule({}, "how far the inputs may be off: low and high factors")
    ordinance: Annotated[Ordinance, BeforeValidator(by_name)] = rule(
        {}, "maximum applied water allowance (MAWA) against estimated use (ETWU)", source=""
    )
    ordinances: dict[str, Annotated[Ordinance, BeforeValidator(by_name)]] = rule(
        {}, "ordinances of several places, by what stands in the column ordinance_by", source=""
    )
    ordinance_by: str = rule(
        "", "column that says which of ordinances holds for a site, as climate_by does", source=""
    )
    profile: Profile | None = rule(
        None,
        "local minimums for synthetic turf, checked site by site",
        source="",
    )

    @model_validator(mode="before")
    @classmethod
    def _own_first(cls, given: Any) -> Any:
        """A bid that states conversions offers those; shipped ones beside them only where it names
        them."""
        own = given.get("conversions") if isinstance(given, dict) else None
        if own and isinstance(own, dict) and not given.get("offer"):
            return {**given, "offer": list(own)}
        return given

    @model_validator(mode="after")
    def _agrees(self) -> WaterRules:
        if self.horizon < 1 or self.horizon > 100:
            raise ValueError("horizon is 1 to 100 years")
        if self.longest_payback < 0:
            raise ValueError("longest_payback is a number of years, or 0 for no limit")
        if not 2 <= self.curve_points <= 400:
            raise ValueError("curve_points is 2 to 400")
        if self.turf_share > 1:
            raise ValueError("turf_share is a share, at most 100 %")
        for name in self.offer:
            if name not in self.conversions:
                known = ", ".join(sorted(self.conversions))
                raise ValueError(f"offer: conversion '{name}' is not one of {known}")
        self._refuse_two_of_a_kind()
        self._refuse_two_climates()
        if self.objective == "cost" and not self.saving_m3:
            raise ValueError('objective "cost" needs saving, such as saving = "4000 kgal"')
        for kind, named in (("must", self.must), ("must_not", self.must_not)):
            for item in named:
                if item.conversion and item.conversion not in self.offered:
                    place = f"{kind}: {item.said}"
                    unknown = f"conversion '{item.conversion}' is not one of those on offer"
                    raise ValueError(f"{place}: {unknown}: {', '.join(self.offered)}")
        if self.programme is not None:
            self._refuse_beside_programme(len(self.programme.budgets))
        for name in self.offered:
            rebate = self.conversions[name].rebate
            if rebate is not None and rebate.shared and self.budget_takes != "capital":
                what = "a rebate with most_per_site or most_in_all"
                where = f"conversions.{name}.rebate"
                raise ValueError(f'{where}: {what} goes with budget_takes = "capital" only')
        if len(self.funds) > MOST_FUNDS:
            raise ValueError(f"funds are at most {MOST_FUNDS}, not {len(self.funds)}")
        for name, fund in self.funds.items():
            for conversion in fund.conversions:
                if conversion not in self.offered:
                    unknown = f"conversion '{conversion}' is not one of those on offer"
                    raise ValueError(f"funds.{name}: {unknown}: {', '.join(self.offered)}")
        return self

    def _refuse_two_of_a_kind(self) -> None:
        """Refuses several of a kind without the column that tells them apart, or beside one for
        all."""
        for several, one in (
            ("climates", "climate"),
            ("prices", "price"),
            ("ordinances", "ordinance"),
        ):
            by = f"{one}_by"
            if bool(getattr(self, several)) != bool(getattr(self, by)):
                raise ValueError(f'{several} goes with {by}, such as {by} = "district"')
        stated = self.price.model_fields_set - {"escalation"}
        if self.prices and stated:
            raise ValueError("price and prices both give the price of water; keep one of them")
        for name, price in self.prices.items():
            if "escalation" in price.model_fields_set:
                one_for_all = "the yearly rise is one for all: state it in price"
                raise ValueError(f"prices.{name}.escalation: {one_for_all}")
        if self.ordinances and self.ordinance.model_fields_set:
            raise ValueError("ordinance and ordinances both say whose holds; keep one of them")

    @property
    def all_prices(self) -> tuple[WaterPrice, ...]:
        """Every price of water that some site pays."""
        return tuple(self.prices.values()) or (self.price,)

    def _refuse_two_climates(self) -> None:
        """Refuses a climate beside several, and a way of counting rain that is not for all."""
        if self.climates and self.climate.model_fields_set - _RAIN_RULES:
            raise ValueError("climate and climates both give the climate; keep one of them")
        for name, climate in self.climates.items():
            for key in sorted(climate.model_fields_set & _RAIN_RULES):
                where = f"climates.{name}.{key.removesuffix('_m')}"
                raise ValueError(
                    f"{where}: how rain is counted is one for all: state it in climate"
                )

    def _refuse_beside_programme(self, years: int) -> None:
        """Refuses what a choice over years does not weigh."""
        rebates = [self.conversions[name].rebate for name in self.offered]
        tiers = any(price.tiers for price in self.all_prices) and self.objective == "money"
        beside = {
            "budget": self.budget is not None,
            "funds": bool(self.funds),
            'objective = "cost"': self.objective == "cost",
            'objective = "money" with tiers': tiers,
            "a rebate with most_per_site or most_in_all": any(r and r.shared for r in rebates),
            f"a horizon of {self.horizon} years": self.horizon < years,
        }
        for what, there in beside.items():
            if there:
                raise ValueError(f"programme: {years} yearly budgets do not go with {what}")

    @property
    def offered(self) -> tuple[str, ...]:
        """Names of the conversions on offer, in the bid's order."""
        return self.offer or tuple(self.conversions)
