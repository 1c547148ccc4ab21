"""Rates: every unit cost, production rate, allowance and percentage of the bid, once, by name.

A row is made when a formula first asks for its name, so that the sheet holds what the price rests
on and nothing else. What a price book does not give is the bid's own, and has the bid's name.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, NamedTuple

from geoturf import units
from geoturf.bid import Bid, booked
from geoturf.rules import PriceRules
from geoturf.rules.base import key_of
from geoturf.rules.item import Item
from geoturf.rules.items import ITEMS, measured_in
from geoturf.units import Money
from geoturf.workbook.book import Book

_LONGEST = 200  # characters of a name, which may have 255
_HEADS = ("name", "what it is", "value", "unit", "price book", "assumed")
_VALUE = 2  # column of the values
#: kinds of figures, in the order of the sheet
_KINDS = ("build-up", "unit cost", "turf", "extra", "production rate", "allowance", "size")


class Figure(NamedTuple):
    """A row: ``value`` may be changed, unless a ``formula`` gives it. ``unit`` "%" is a
    fraction."""

    kind: str
    name: str
    what: str
    value: float
    unit: str
    book: str = ""  # the price book that gives it; "" for the bid
    assumed: bool = False  # geoturf's, as neither gives it
    formula: str = ""


class Rates:
    """The figures of a bid, by the names that formulas know them by."""

    def __init__(self, book: Book, bid: Bid):
        self.book = book
        self.bid = bid
        self.sheet = book.sheet("Rates", (28, 62, 14, 14, 14, 10), _HEADS)
        self._rows: dict[tuple[str, str], Figure] = {}  # by key and price book
        self._booked = {name: booked(bid, name) for name in ("", *bid.books)}

    # ------------------------------------------------------------------------- what is asked for

    def step(self, key: str, book: str) -> Figure:
        """A percentage of the build-up, or the least price (0 where there is none)."""
        owner = ""
        if book and key in self.bid.books[book].own_steps():
            owner = book
        rules = self._booked[owner].price
        value = getattr(rules, key)
        assumed = key not in self.bid.price.model_fields_set
        number = float(value.amount) if isinstance(value, Money) else float(value or 0)
        unit = self.bid.currency if key == "minimum" else "%"
        told = (_said(PriceRules, key), number, unit, owner, assumed and not owner)
        return self._row(key, Figure("build-up", key, *told))

    def bracket(self, nth: int) -> tuple[Figure, Figure]:
        """The end and the rate of a bracket of the bond's scale, from 0."""
        one = self.bid.price.bond_scale[nth]
        key = f"bond_{nth + 1}"
        what = f"bond, its bracket {nth + 1}"
        end = float(one.up_to.amount)
        ends = Figure("build-up", f"{key}_up_to", f"{what}: up to", end, self.bid.currency)
        rate = Figure("build-up", key, f"{what}: rate", one.rate, "%")
        return self._row(ends.name, ends), self._row(key, rate)

    def escalation(self) -> Figure:
        """What prices rise by in a year."""
        rise = self.bid.price.escalation
        rate = rise.rate if rise else 0.0
        made = Figure("build-up", "escalation", "what prices rise by in a year", rate, "%")
        return self._row("escalation", made)

    def cost(self, key: str, book: str) -> Figure:
        """The unit cost of an item, by its key in [price.costs]."""
        owner = ""
        if book and key in self.bid.books[book].costs:
            owner = book
        costs = self._booked[owner].price.costs
        what = next(item.priced for item in ITEMS.values() if item.cost == key)
        assumed = not owner and key not in costs.model_fields_set
        formula = ""
        if key == "labour" and not owner:
            formula = self._by_wage()
        made = self._money("unit cost", f"cost_{key}", what, dict(costs)[key])
        return self._row(
            made.name,
            made._replace(
                book=owner,
                assumed=assumed,
                formula=formula,
            ),
        )

    def breaks(
        self, key: str, product: str, nth_width: int, book: str
    ) -> list[tuple[Figure, Figure]]:
        """Of each price break of a unit cost, or of a turf's own width: from how many on, and the
        price."""
        if key == "turf":
            name = f"turf_{product}"
            some = self.bid.products[product].breaks
            some = () if nth_width else some
        else:
            name = f"cost_{key}"
            some = self._booked[book].price.breaks.get(key, ())
        found = []
        for nth, one in enumerate(some, start=1):
            kind = "turf" if key == "turf" else "unit cost"
            at = f"{name}_from_{nth}"
            told = f"{name}: price break {nth}"
            ends = Figure(kind, at, f"{told}, from", one.at_least, one.price.unit)
            price = self._money(kind, f"{at}_price", told, one.price)
            found.append((self._row(at, ends), self._row(price.name, price)))
        return found

    def least(self, key: str, product: str) -> Figure:
        """The least that an order of a unit cost, or of a turf, is charged."""
        turf = self.bid.products[product].least_charge if product else None
        name, kind = (f"turf_{product}", "turf") if product else (f"cost_{key}", "unit cost")
        money = turf or self.bid.price.least[key]
        made = self._money(kind, f"least_{product or key}", f"least order, {name}", money)
        return self._row(made.name, made)

    def hire(self, key: str, book: str) -> tuple[Figure, Figure] | None:
        """Hire by the week, and the days of work it covers; None of what is hired by the day
        alone."""
        rules = self._booked[book].price
        if key not in rules.hire:
            return None
        made = self._money("unit cost", f"hire_{key}", f"cost_{key}: by the week", rules.hire[key])
        days = rules.hire_days
        covers = Figure("size", "hire_days", _said(PriceRules, "hire_days"), days, "days")
        assumed = "hire_days" not in rules.model_fields_set
        return self._row(made.name, made), self._row("hire_days", covers._replace(assumed=assumed))

    def _by_wage(self) -> str:
        """The formula of a crew-hour; "" where the bid gives no wage."""
        rules = self.bid.price
        if rules.wage is None:
            return ""
        wage = self._money("unit cost", "wage", _said(PriceRules, "wage"), rules.wage)
        crew = Figure("unit cost", "crew", _said(PriceRules, "crew"), float(rules.crew), "people")
        burden = Figure("unit cost", "burden", _said(PriceRules, "burden"), rules.burden, "%")
        for one in (wage, crew, burden):
            given = one.name in rules.model_fields_set
            self._row(one.name, one._replace(assumed=not given))
        return "=ROUND(wage*crew*(1+burden),2)"

    def turf(self, product: str, nth: int) -> Figure:
        """The price of a turf's ``nth`` stocked width, from 0."""
        turf = self.bid.products[product]
        key = f"turf_{product}" + (f"__{nth + 1}" if nth else "")
        what = turf.title + (f", its width {nth + 1}" if nth else "")
        made = self._money("turf", key, what, turf.widths[nth].price)
        assumed = not nth and "price" not in turf.model_fields_set
        return self._row(key, made._replace(assumed=assumed))

    def extra(self, nth: int, book: str) -> Figure:
        """The price of an extra, from 0."""
        owner = ""
        if book and self.bid.books[book].extras is not None:
            owner = book
        one = self._booked[owner].price.extras[nth]
        made = self._money("extra", f"extra_{nth + 1}", one.title, one.price)
        return self._row(made.name, made._replace(book=owner))

    def rate(self, field: str, book: str) -> Figure:
        """A production rate, in the units of the bid."""
        owner = ""
        if book and field in self.bid.books[book].own_rates():
            owner = book
        rates = self._booked[owner].materials.rates
        unit, size = measured_in(field, self.bid.units)
        key = f"rate_{key_of(field)}"
        value = getattr(rates, field) / size
        assumed = not owner and field not in rates.model_fields_set
        told = (_said(type(rates), field), value, unit, owner, assumed)
        return self._row(key, Figure("production rate", key, *told))

    def allowance(self, item: Item) -> Figure | None:
        """What is bought of an item over net; None where nothing ever is."""
        rules = self.bid.materials
        field = item.allowance_rule(rules)
        if not field:
            return None
        assumed = field not in rules.model_fields_set
        told = (_said(type(rules), field), item.allowance(rules), "%", "", assumed)
        return self._row(field, Figure("allowance", field, *told))

    def size(self, field: str, unit: str) -> Figure:
        """A size among the rules of the takeoff, in ``unit``."""
        rules = self.bid.materials
        key = key_of(field)
        value = getattr(rules, field) / units.unit_factor(unit)[0]
        assumed = field not in rules.model_fields_set
        told = (_said(type(rules), field), value, unit, "", assumed)
        return self._row(key, Figure("size", key, *told))

    # ---------------------------------------------------------------------------- how it is told

    def _money(self, kind: str, key: str, what: str, money: Money) -> Figure:
        unit = money.currency if money.unit == "each" else f"{money.currency}/{money.unit}"
        return Figure(kind, key, what, float(money.amount), unit)

    def _row(self, key: str, made: Figure) -> Figure:
        """The row of a figure, made where there is none yet."""
        at = key, made.book
        if at not in self._rows:
            name = self._unused(f"{key}__{made.book}" if made.book else key)
            self._rows[at] = made._replace(name=name)
        return self._rows[at]

    def _unused(self, wanted: str) -> str:
        """A name as spreadsheets take them, and no other figure's; capitals tell none apart."""
        plain = re.sub(r"\W", "_", wanted, flags=re.ASCII)[:_LONGEST]
        taken = {one.name.lower() for one in self._rows.values()}
        name = plain
        nth = 2
        while name.lower() in taken:
            name = f"{plain}_{nth}"
            nth = nth + 1
        return name

    def write(self) -> None:
        """All rows, kind by kind, and how many of them are assumed."""
        rows = list(self._in_order())
        for row, one in enumerate(rows, start=1):
            self._write(row, one)
        end = len(rows) + 1
        self.book.filters(self.sheet, len(rows), len(_HEADS))
        self.book.text(self.sheet, end, 1, "assumed by geoturf, of all above", self.book.head)
        count = f'=COUNTIF(F2:F{end},"assumed")'
        assumed = sum(one.assumed for one in rows)
        self.sheet.write_formula(end, _VALUE, count, self.book.count, assumed)

    def _in_order(self) -> Iterator[Figure]:
        for kind in _KINDS:
            yield from (one for one in self._rows.values() if one.kind == kind)

    def _write(self, row: int, one: Figure) -> None:
        book = self.book
        sheet = self.sheet
        book.texts(sheet, row, 0, (one.name, one.what))
        if one.formula:
            sheet.write_formula(row, _VALUE, one.formula, book.number, one.value)
        else:
            style = book.change
            if one.unit == "%":
                style = book.percent
            book.to_change(sheet, row, _VALUE, one.value, style)
        book.texts(sheet, row, 3, ("" if one.unit == "%" else one.unit, one.book))
        book.text(sheet, row, 5, "assumed" if one.assumed else "", book.mark)
        book.define(one.name, sheet, row, _VALUE)


def _said(rules: Any, field: str) -> str:
    """What a rule is, in its own words."""
    return str(rules.model_fields[field].description)
