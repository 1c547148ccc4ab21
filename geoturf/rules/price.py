"""Rules of the price: unit costs, the build-up in its order, alternates."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Literal

from pydantic import (
    ValidationError,
    ValidationInfo,
    create_model,
    field_validator,
    model_validator,
)

from geoturf import units
from geoturf.rules.base import (
    ASSUMED,
    COMMON,
    Break,
    Fraction,
    Number,
    Price,
    Rules,
    rule,
    unfit_amount,
    unfit_breaks,
)
from geoturf.rules.items import GENERAL_SECTION, ITEMS, cannot_leave, misfit
from geoturf.rules.materials import Rates
from geoturf.rules.offer import Day
from geoturf.units import Money


class _Costs(Rules):
    """Unit costs by item: per package ("85 USD/roll") or per measure ("0.12 USD/ft^2"). All
    defaults are invented."""

    @field_validator("*")
    @classmethod
    def _fits_its_item(cls, money: Money | None, info: ValidationInfo) -> Money | None:
        fault = ""
        if money is not None:
            fault = misfit(info.field_name or "", money)
        if fault:
            raise ValueError(fault)
        return money


def _unit_costs() -> dict[str, tuple[Any, Any]]:
    """Type and field of each unit cost that an item names."""
    return {
        item.cost: (Price if item.price else Price | None, rule(item.price, item.priced))
        for item in ITEMS.values()
        if item.cost
    }


if TYPE_CHECKING:
    Costs = _Costs  # a checker cannot read fields that are made of records
else:
    Costs = create_model(
        "Costs",
        __base__=_Costs,
        __doc__=_Costs.__doc__,
        **_unit_costs(),
    )


#: what extras are counted by, and the words for it
COUNTED_BY = {
    "lump": "once (once a price book), shared among its phases by surface",
    "each": "as lump",
    "site": "sites",
    "phase": "phases",
    "load": "loads of spoil hauled away",
    "truck": "trucks of turf, infill and granules",
    "roll": "rolls, and lengths cut off rolls, bought",
    "day": "days of one crew, whole ones a phase",
    "h": "crew-hours",
}


class Extra(Rules):
    """What else the bid carries, such as mobilisation, permits, freight, supervision, a cut fee or
    a fence: a lump sum, or by the site, phase, load, truck, roll, crew day, crew-hour, by the
    weight that is trucked, or by surface."""

    title: str
    price: Price
    section: str = rule(GENERAL_SECTION, "MasterFormat section", source=COMMON)
    kind: Literal["material", "labour", "plant", "service"] = rule(
        "service", "what it is; materials are taxed"
    )

    @model_validator(mode="after")
    def _can_be_counted(self) -> Extra:
        measured = self.price.dimension in ((2, 0, 0), (0, 1, 0))
        if self.price.unit not in COUNTED_BY and not measured:
            shown = f"{self.price.amount} {self.price.currency}"
            by = ", ".join(f"/{word}" for word in COUNTED_BY if word not in ("lump", "each"))
            raise ValueError(
                f"'{self.price}' does not fit; it is a lump sum (\"{shown}\") or priced by {by}, "
                "/ton or /ft^2"
            )
        if not re.fullmatch(r"\d\d \d\d \d\d(\.\d\d)?", self.section):
            raise ValueError(
                f"'{self.section}' is no section number, which is written like "
                f'"{GENERAL_SECTION}"'
            )
        return self


#: what an alternate cannot change: how a bid is told, and what else may be chosen
_STAYS = (
    "name",
    "units",
    "currency",
    "base_map",
    "base_map_credit",
    "bidder",
    "client",
    "terms",
    "water",
    "ranges",
    "folder",
    "looked",
    "given",
)
_STAYS_IN_PRICE = ("alternates", "combine")


class Alternate(Rules):
    """The bid again with something else: other turf, other unit costs, items left out or added, or
    any rule changed."""

    title: str
    products: dict[str, str] = rule({}, 'turf laid in place of other turf: turf60 = "turf80"')
    costs: dict[str, Price] = rule({}, "unit costs in place of the bid's")
    leave_out: tuple[str, ...] = rule((), "items left out, each with the work that goes with it")
    add: tuple[Literal["edging", "geotextile"], ...] = rule(
        (), "edging along open edges, a separation fabric under the base, each with its work"
    )

    change: dict[str, Any] = rule(
        {}, 'any rule as the bid would write it: change.materials.base_depth = "6 in"'
    )

    @model_validator(mode="after")
    def _names_exist(self) -> Alternate:
        fixed = [key for key in self.change if key in _STAYS]
        in_price = self.change.get("price")
        fixed += [
            f"price.{key}"
            for key in _STAYS_IN_PRICE
            if isinstance(in_price, dict) and key in in_price
        ]
        if fixed:
            raise ValueError(f"change: '{fixed[0]}' is the same for all alternates; take it out")
        if cannot_leave(self.leave_out):
            raise ValueError(f"alternate '{self.title}', leave_out: {cannot_leave(self.leave_out)}")
        _assert_unit_costs(self.costs)
        return self


def _assert_unit_costs(costs: Mapping[str, Money]) -> None:
    """Raises `ValueError` for a cost of no item, or per something its item is not bought by."""
    for key, money in costs.items():
        if key not in Costs.model_fields:
            known = ", ".join(Costs.model_fields)
            raise ValueError(f"costs: '{key}' is no unit cost; unit costs are {known}")
        if misfit(key, money):
            raise ValueError(f"costs.{key}: {misfit(key, money)}")


_OWN = "in place of the bid's, if given"


class Book(Rules):
    """The prices of a place or a client, where they are not the bid's own."""

    costs: dict[str, Price] = rule({}, "unit costs in place of the bid's")
    rates: dict[str, Any] = rule({}, "production rates in place of the bid's [materials.rates]")
    waste: Fraction | None = rule(None, _OWN)
    contingency: Fraction | None = rule(None, _OWN)
    sales_tax: Fraction | None = rule(None, _OWN)
    overhead: Fraction | None = rule(None, _OWN)
    profit: Fraction | None = rule(None, _OWN)
    bond: Fraction | None = rule(None, _OWN)
    minimum: Price | None = rule(None, "the least its sites are priced at together, " + _OWN)
    extras: tuple[Extra, ...] | None = rule(None, _OWN)

    @model_validator(mode="after")
    def _names_exist(self) -> Book:
        _assert_unit_costs(self.costs)
        self.own_rates()
        return self

    def own_rates(self) -> dict[str, float]:
        """The production rates it gives, SI, by field of `Rates`. Raises `ValueError` for one that
        does not fit."""
        try:
            given = Rates.model_validate(self.rates)
        except ValidationError as error:
            first = error.errors()[0]
            key = ".".join(map(str, first["loc"]))
            raise ValueError(f"rates: {key}: {first['msg']}") from None
        return {name: getattr(given, name) for name in given.model_fields_set}

    def own_steps(self) -> dict[str, object]:
        """What it gives of the build-up, by field of `PriceRules`."""
        steps = set(PriceRules.model_fields) & self.model_fields_set - {"costs"}
        given = {name: getattr(self, name) for name in steps}
        return {name: value for name, value in given.items() if value is not None}


class Escalation(Rules):
    """What prices rise by until a phase starts: simple, by days of a year of 365."""

    rate: Fraction
    prices_of: Day = rule(..., "day that the unit costs are of")
    starts: dict[str, Day] = rule({}, "day that each phase starts, by its name; others do not rise")

    @model_validator(mode="after")
    def _starts_later(self) -> Escalation:
        for phase, day in self.starts.items():
            if day < self.prices_of:
                raise ValueError(f"starts.{phase}: {day} is before prices_of, {self.prices_of}")
        return self


class Bracket(Rules):
    """The rate of what lies below an amount, and above the bracket before."""

    up_to: Price
    rate: Fraction

    @model_validator(mode="after")
    def _is_an_amount(self) -> Bracket:
        if self.up_to.unit != "each" or self.up_to.amount <= 0:
            raise ValueError(f"up_to: '{self.up_to}' is no amount, as \"100000 USD\" is")
        return self


def _unfit_hire(key: str, money: Money, own: Money) -> str:
    if not any(item.kind == "plant" and item.cost == key for item in ITEMS.values()):
        return "is no plant, which alone is hired"
    if money.unit != "week":
        return f"'{money}' is not by the week, as in \"320 USD/week\""
    if own.unit == "day":
        return ""
    return f"the unit cost '{own}' is not by the day"


_UNFIT: dict[str, Callable[[str, Any, Money], str]] = {
    "breaks": lambda key, breaks, own: unfit_breaks(breaks, own),
    "least": lambda key, money, own: unfit_amount(money),
    "hire": _unfit_hire,
}


def _crew_hour(wage: Money, crew: float, burden: float) -> Decimal:
    """Wage x crew x (1 + burden), to the cent."""
    return units.cents(wage.amount * Decimal(str(crew)) * (1 + Decimal(str(burden))))


MOST_COMBINED = 6  # alternates, of which 63 combinations can be made


class PriceRules(Rules):
    """The build-up, in the order it is applied."""

    costs: Costs = rule({}, "unit costs")
    wage: Price | None = rule(
        None,
        "what one of a crew earns an hour; gives the cost of a crew-hour in place of costs.labour",
    )
    crew: Number = rule(3, "people in a crew, where a wage is given", source=f"{COMMON}; {ASSUMED}")
    burden: Fraction = rule(
        "35 %",
        "taxes, insurance and benefits on a wage, where one is given",
        low="20 %",
        high="60 %",
    )
    waste: Fraction = rule(
        "0 %", "of materials, beyond the takeoff's allowances (the cut plan has the turf's own)"
    )
    contingency: Fraction = rule("3 %", "of direct cost and waste")
    sales_tax: Fraction = rule("7 %", "of materials and their waste; your jurisdiction's own rate")
    overhead: Fraction = rule("12 %", "of direct cost, waste, contingency and tax")
    profit: Fraction = rule("10 %", "of all that and overhead")
    bond: Fraction = rule("1.5 %", "of all that and profit")
    bond_scale: tuple[Bracket, ...] = rule(
        (), "rates of the first part of that, a list of tables with up_to and rate; bond above them"
    )
    escalation: Escalation | None = rule(None, "what prices rise by until a phase starts")
    tax_on_plant: bool = rule(False, "hired plant is taxed as materials are")
    minimum: Price | None = rule(None, "the least the bid is priced at; none if not given")
    breaks: dict[str, tuple[Break, ...]] = rule(
        {}, "unit costs by what a phase orders: of each, a list of tables with at_least and price"
    )
    least: dict[str, Price] = rule(
        {}, "the least that an order of a phase is charged, by unit cost"
    )
    hire: dict[str, Price] = rule({}, "hire of plant by the week, mixed with days as is cheapest")
    hire_days: int = rule(
        5, "days of work that a week's hire covers", source=f"{COMMON}; {ASSUMED}", least=1, most=7
    )
    unit_price_decimals: int = rule(
        4, "decimals of the unit prices in the schedule of prices", least=2, most=6
    )
    extras: tuple[Extra, ...] = rule(
        (), "what else the bid carries: a list of tables with title and price"
    )
    alternates: tuple[Alternate, ...] = rule(
        (), "what else the client may choose: a list of tables with a title"
    )
    combine: Literal["none", "all"] | tuple[tuple[int, ...], ...] = rule(
        "none", 'alternates accepted together, by number: [[1, 3], [2, 3]], or "all" of up to 6'
    )

    @model_validator(mode="before")
    @classmethod
    def _labour_by_wage(cls, given: Any) -> Any:
        """The cost of a crew-hour, where a wage gives it; what does not fit is told by its
        field."""
        costs = given.get("costs", {}) if isinstance(given, dict) else None
        if not isinstance(costs, dict) or "labour" in costs or given.get("wage") is None:
            return given
        fields = cls.model_fields
        try:
            wage = units.read_money(given["wage"])
            crew = units.read(given.get("crew", fields["crew"].default), "number")
            burden = units.read(given.get("burden", fields["burden"].default), "fraction")
            hour = f"{_crew_hour(wage, crew, burden)} {wage.currency}/h"
        except (units.UnitError, ArithmeticError):
            return given
        return {**given, "costs": {**costs, "labour": hour}}

    @model_validator(mode="after")
    def _wage_fits(self) -> PriceRules:
        if self.wage is None:
            return self
        if self.wage.unit != "h":
            raise ValueError(f"wage: '{self.wage}' is not by the hour, as in \"38 USD/h\"")
        if dict(self.costs)["labour"].amount != _crew_hour(self.wage, self.crew, self.burden):
            raise ValueError("wage and costs.labour both say what a crew-hour costs; give one")
        return self

    @model_validator(mode="after")
    def _orders_fit(self) -> PriceRules:
        costs: dict[str, Money | None] = dict(self.costs)
        for table in ("breaks", "least", "hire"):
            for key, value in getattr(self, table).items():
                own = costs.get(key)
                if own is None:
                    raise ValueError(f"{table}: '{key}' is no unit cost of the bid")
                if fault := _UNFIT[table](key, value, own):
                    raise ValueError(f"{table}.{key}: {fault}")
        return self

    @model_validator(mode="after")
    def _scale_rises(self) -> PriceRules:
        ends = [bracket.up_to.amount for bracket in self.bond_scale]
        if ends != sorted(set(ends)):
            raise ValueError("bond_scale: each up_to must be more than the one before")
        return self

    @model_validator(mode="after")
    def _combinations_exist(self) -> PriceRules:
        count = len(self.alternates)
        if self.combine == "all" and count > MOST_COMBINED:
            raise ValueError(
                f'combine = "all" takes up to {MOST_COMBINED} alternates, here are {count}; list those wanted'
            )
        for some in () if isinstance(self.combine, str) else self.combine:
            if len(some) < 2 or len(set(some)) < len(some):
                raise ValueError(
                    f"combine: {list(some)} is no combination of two or more alternates"
                )
            if not all(1 <= number <= count for number in some):
                raise ValueError(f"combine: {list(some)}: the alternates are numbered 1 to {count}")
        return self
