"""Rules of the price: unit costs, the build-up in its order, alternates."""

from __future__ import annotations

import re
from typing import Literal

from pydantic import ValidationInfo, field_validator, model_validator

from geoturf.rules.base import COMMON, Fraction, Price, Rules, rule
from geoturf.rules.items import GENERAL_SECTION, ITEMS, cannot_leave
from geoturf.units import Money


def _words(cost: str) -> tuple[set[str], set[tuple[int, int, int]]]:
    """Purchase words and dimensions that a unit cost may be per."""
    items = [item for item in ITEMS.values() if item.cost == cost]
    words = {item.package for item in items if item.package}
    words |= {"each"} if any(item.unit == "each" and item.package != "box" for item in items) else set()
    return words, {item.dimension for item in items if item.dimension is not None}


def misfit(cost: str, money: Money) -> str:
    """Why a unit cost is not per anything its item is bought by; "" where it fits."""
    words, dimensions = _words(cost)
    whole_day = money.dimension == (0, 0, 1) and money.si > 1  # a crew's day or a hire day is not 24 hours
    if money.unit in words or (money.dimension in dimensions and not whole_day):
        return ""
    example = f"/{min(words)}" if words else ""
    measures = {(2, 0, 0): "/ft^2", (3, 0, 0): "/yd^3", (1, 0, 0): "/ft", (0, 1, 0): "/ton", (0, 0, 1): "/h"}
    ways = [
        f'"{money.amount} {money.currency}{way}"'
        for way in (example, *(measures[d] for d in sorted(dimensions)))
        if way
    ]
    return f"'{money}' does not fit; it is priced like {' or '.join(ways) or str(money.amount)}"


class Costs(Rules):
    """Unit costs by item: per package ("85 USD/roll") or per measure ("0.12 USD/ft^2"). All
    defaults are invented."""

    dig: Price | None = rule(None, "excavation by a subcontractor, over and above labour and plant; none if not given")
    haul: Price = rule("165 USD/load", "a load hauled away")
    disposal: Price = rule("11 USD/yd^3", "tip fee, loose")
    fabric: Price = rule("0.11 USD/ft^2", "weed fabric")
    geotextile: Price = rule("0.19 USD/ft^2", "separation fabric under the base")
    aggregate: Price = rule("36 USD/ton", "base stone, delivered")
    odour: Price = rule("31 USD/bag", "odour-control granules")
    tape: Price = rule("42 USD/roll", "seam tape")
    adhesive: Price = rule("13.50 USD/tube", "seam adhesive")
    glue: Price = rule("148 USD/pail", "adhesive for glued turf")
    nails: Price = rule("98 USD/box", "turf nails")
    seam_nails: Price = rule("98 USD/box", "seam nails")
    fabric_nails: Price = rule("92 USD/box", "nails or staples of the fabric")
    edging: Price = rule("29 USD/board", "edging board")
    stakes: Price = rule("1.15 USD/stake", "edging stakes")
    infill: Price = rule("11.75 USD/bag", "infill")
    caps: Price = rule("9.50 USD/cap", "fittings of a capped head")
    reroutes: Price = rule("135 USD/line", "a line rerouted or kept, by a licensed person")
    labour: Price = rule("148 USD/h", "a crew-hour, burden in")
    excavator: Price = rule("380 USD/day", "excavator or skid steer, fuel in")
    compactor: Price = rule("92 USD/day", "plate compactor")
    broom: Price = rule("105 USD/day", "power broom")
    spreader: Price = rule("48 USD/day", "infill spreader")

    @field_validator("*")
    @classmethod
    def _fits_its_item(cls, money: Money | None, info: ValidationInfo) -> Money | None:
        fault = misfit(info.field_name or "", money) if money is not None else ""
        if fault:
            raise ValueError(fault)
        return money


class Extra(Rules):
    """What else the bid carries, such as permits or a fence: by the site, by the phase, or by
    surface."""

    title: str
    price: Price
    section: str = rule(GENERAL_SECTION, "MasterFormat section", source=COMMON)
    kind: Literal["material", "labour", "plant", "service"] = rule("service", "what it is; materials are taxed")

    @model_validator(mode="after")
    def _can_be_counted(self) -> Extra:
        if self.price.unit not in ("site", "phase") and self.price.dimension != (2, 0, 0):
            shown = f"{self.price.amount} {self.price.currency}"
            raise ValueError(
                f'\'{self.price}\' does not fit; it is priced like "{shown}/site", "{shown}/phase" or "{shown}/ft^2"'
            )
        if not re.fullmatch(r"\d\d \d\d \d\d(\.\d\d)?", self.section):
            raise ValueError(f"'{self.section}' is no section number, which is written like \"{GENERAL_SECTION}\"")
        return self


class Alternate(Rules):
    """The bid again with something else: other turf, other unit costs, items left out or added."""

    title: str
    products: dict[str, str] = rule({}, 'turf laid in place of other turf: turf60 = "turf80"')
    costs: dict[str, Price] = rule({}, "unit costs in place of the bid's")
    leave_out: tuple[str, ...] = rule((), "items left out, each with the work that goes with it")
    add: tuple[Literal["edging", "geotextile"], ...] = rule(
        (), "edging along open edges, a separation fabric under the base, each with its work"
    )

    @model_validator(mode="after")
    def _names_exist(self) -> Alternate:
        if cannot_leave(self.leave_out):
            raise ValueError(f"alternate '{self.title}', leave_out: {cannot_leave(self.leave_out)}")
        for key, money in self.costs.items():
            if key not in Costs.model_fields:
                raise ValueError(f"costs: '{key}' is no unit cost; unit costs are {', '.join(Costs.model_fields)}")
            if misfit(key, money):
                raise ValueError(f"costs.{key}: {misfit(key, money)}")
        return self


class PriceRules(Rules):
    """The build-up, in the order it is applied."""

    costs: Costs = rule({}, "unit costs")
    waste: Fraction = rule("0 %", "of materials, beyond the takeoff's allowances (the cut plan has the turf's own)")
    contingency: Fraction = rule("3 %", "of direct cost and waste")
    sales_tax: Fraction = rule("7 %", "of materials and their waste; your jurisdiction's own rate")
    overhead: Fraction = rule("12 %", "of direct cost, waste, contingency and tax")
    profit: Fraction = rule("10 %", "of all that and overhead")
    bond: Fraction = rule("1.5 %", "of all that and profit")
    minimum: Price | None = rule(None, "the least the bid is priced at; none if not given")
    extras: tuple[Extra, ...] = rule((), "what else the bid carries: a list of tables with title and price")
    alternates: tuple[Alternate, ...] = rule((), "what else the client may choose: a list of tables with a title")
