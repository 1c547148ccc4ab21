"""Rules of the choice: what constrains it, and how far its inputs may be off."""

from __future__ import annotations

from pydantic import model_validator

from geoturf import units
from geoturf.rules.base import Area, Fraction, Number, Price, Rules, rule


class Named(Rules):
    """Areas by name (one area of a site, or all of a site where ``area`` is empty) or by what
    stands in a column."""

    site: str = rule("", "site, as on the bid", source="")
    area: str = rule("", "area; every area of the site if empty", source="")
    column: str = rule(
        "",
        "in place of site: the column that says which areas: district, use, phase, cover, "
        "irrigation, feature, or one of the bid's keep",
        source="",
    )
    values: tuple[str, ...] = rule((), "what stands in that column", source="")
    conversion: str = rule("", "conversion by name; any if empty", source="")

    @model_validator(mode="after")
    def _one_way(self) -> Named:
        if bool(self.site) == bool(self.column):
            raise ValueError("areas are named by site or by column, one of the two")
        if bool(self.column) != bool(self.values):
            raise ValueError('column goes with values, such as values = ["North"]')
        return self

    @property
    def said(self) -> str:
        """In words."""
        if self.column:
            return f"{self.column} {' or '.join(self.values)}"
        return f"site '{self.site}' area '{self.area}'"


class District(Rules):
    """What a district gets. Money is what counts against the budget (``budget_takes``)."""

    areas: int = rule(0, "areas converted, at least", low=0, source="")
    ground_m2: Area = rule("0 ft^2", "ground converted, at least", source="")
    budget: Price | None = rule(None, "money spent there, at most", source="")
    least_share: Fraction = rule("0 %", "share of all money spent, at least", source="")
    most_share: Fraction = rule("100 %", "share of all money spent, at most", source="")

    @model_validator(mode="after")
    def _possible(self) -> District:
        if self.areas < 0:
            raise ValueError("a minimum of areas is 0 or more")
        if not self.least_share <= self.most_share <= 1:
            raise ValueError("shares are at most 100 %, the least no more than the most")
        a_sum("budget", self.budget)
        return self


class Fund(Rules):
    """Money with what it may pay for; empty: anything. One area may be paid by several funds."""

    amount: Price = rule(..., "what there is", source="")
    conversions: tuple[str, ...] = rule((), "conversions it may pay for", source="")
    districts: tuple[str, ...] = rule((), "districts it may pay in", source="")

    @model_validator(mode="after")
    def _sum(self) -> Fund:
        a_sum("amount", self.amount)
        return self


class Programme(Rules):
    """A programme over years: what may be spent in each, this year first, in money of that year."""

    budgets: tuple[Price, ...] = rule(..., "a budget for each year", source="")
    carry_over: bool = rule(True, "what a year leaves unspent the next may spend", source="")
    price_rise: Fraction = rule("3 %", "yearly rise of what conversions cost", high="8 %")

    @model_validator(mode="after")
    def _some(self) -> Programme:
        if not 1 <= len(self.budgets) <= MOST_YEARS:
            raise ValueError(f"budgets are for 1 to {MOST_YEARS} years, not {len(self.budgets)}")
        for year, budget in enumerate(self.budgets, 1):
            a_sum(f"budget of year {year}", budget)
        return self


MOST_YEARS = 10  # each makes the choice as large again


def a_sum(word: str, money: units.Money | None) -> None:
    """Refuses a price that is no sum of money."""
    if money is not None and money.unit != "each":
        such = 'which is written like "250000 USD"'
        raise ValueError(f"{word}: {money} is no sum of money, {such}")


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
