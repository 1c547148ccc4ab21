"""Prices: the schedule of unit prices of the bid and of each phase, worked out as
`geoturf.price.unit_prices` does it; Plans: what the lots of each house plan come to."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from typing import Any, NamedTuple

import pandas as pd

from geoturf.by_plan import OF_NONE
from geoturf.model import Result
from geoturf.price.lines import ESCALATION
from geoturf.records import records
from geoturf.rules.item import takes_time
from geoturf.rules.items import ITEMS, PAY_ITEMS, measured_in, work_of
from geoturf.units import SHOWN
from geoturf.workbook.book import Book, cell, sum_of
from geoturf.workbook.bought import QUANTITY, price_column, work
from geoturf.workbook.quantities import books_of
from geoturf.workbook.rates import Rates

_HEADS = ("scope", "item", "section", "description", "unit", "quantity", "unit price",
          "extension", "comes to", "carried on")  # fmt: skip
_QUANTITY, _EACH, _EXTENSION, _DUE, _LEFT = range(5, 10)  # columns

#: halves of a unit price's last decimal, which a float may miss to either side, go up
_HALF_UP = "0.000000001"


class _Line(NamedTuple):
    """What of a price line says what it is paid under."""

    key: str
    phase: str
    section: str
    description: str
    unit: str
    share: str


class _Row(NamedTuple):
    """A row of `geoturf.model.Price.schedule_of_prices`."""

    scope: str
    item: str
    section: str
    description: str
    unit: str
    quantity: Decimal
    unit_price: Decimal
    extension: Decimal


class _Part(NamedTuple):
    """A line's part in a pay item: its sheet row, and the turf whose areas bear it; "" for all."""

    row: int
    line: _Line
    product: str


def prices(book: Book, rates: Rates, result: Result) -> None:
    """Scope by scope; what a pay item of the bid comes to is what those of its phases do."""
    sheet = book.sheet("Prices", (14, 6, 12, 42, 8, 14, 13, 16, 16, 13), _HEADS)
    table = result.price.schedule_of_prices
    scopes = [name for name in dict.fromkeys(table["scope"]) if _is_told(name)]
    rows = {name: records(table[table["scope"] == name], _Row) for name in scopes}
    first = 1
    at = {}
    for name in scopes:
        at[name] = first
        first += len(rows[name]) + 1
    parts = list(_parts(result))
    extras = _extras(parts)
    of_phases: dict[str, list[_Due]] = {}  # what each pay item comes to in the phases
    for name in [*scopes[1:], *scopes[:1]]:
        due = {}
        for row, one in enumerate(rows[name], start=at[name]):
            if not one.item:
                continue
            some = of_phases.setdefault(one.item, [])
            if name == "bid":
                due[one.item] = _added(some)
            else:
                own = [one for one in parts[int(one.item) - 1] if f"phase {one.line.phase}" == name]
                due[one.item] = _of_lines(rates, result, own)
                some.append(_Due(cell(row, _DUE), due[one.item].value))
        counted = {item: _counted(some, name) for item, some in extras.items()}
        _scope(book, sheet, at[name], rows[name], due, counted, price_of(result, name))


def _extras(parts: list[list[_Part]]) -> dict[str, list[_Part]]:
    """The bid's extras among the pay items, by number."""
    numbered = enumerate(parts, start=1)
    return {str(item): some for item, some in numbered if some[0].line.key not in ITEMS}


def _counted(parts: list[_Part], scope: str) -> str:
    """The formula of an extra's quantity: of its lines; of what prices rise by, the phases."""
    own = [part for part in parts if scope in ("bid", f"phase {part.line.phase}")]
    if own and own[0].line.key == ESCALATION:
        return f"={len(own)}"
    return f"=ROUND({sum_of('Lines', QUANTITY, [part.row for part in own])},2)"


class _Due(NamedTuple):
    """What a pay item comes to: the formula, and what it gives."""

    formula: str
    value: float


def _is_told(scope: str) -> bool:
    return scope == "bid" or scope.startswith("phase ")


def price_of(result: Result, scope: str) -> Decimal:
    if scope == "bid":
        return result.price.totals["price"]
    phases = result.price.phases
    own = phases.loc[phases["phase"].astype(str) == scope.removeprefix("phase "), "price"]
    return sum(own, Decimal(0))


def _scope(
    book: Book,
    sheet: Any,
    first: int,
    rows: list[_Row],
    due: Mapping[str, _Due],
    counted: Mapping[str, str],
    price: Decimal,
) -> None:
    """The rows of a scope and its sum; cents are carried on from extras, as they come, to what is
    measured, from the largest quantity to the smallest."""
    left = "0"
    carried = 0.0
    extras = [nth for nth, one in enumerate(rows) if one.item in counted]
    measured = [nth for nth, one in enumerate(rows) if one.item and one.item not in counted]
    measured.sort(key=lambda nth: (-rows[nth].quantity, nth))
    for nth in (*extras, *measured):
        one = rows[nth]
        row = first + nth
        comes = due[rows[nth].item]
        quantity, each, extension, comes_to = (cell(row, at) for at in range(_QUANTITY, _LEFT))
        wanted = f"ROUND({comes_to}+{left},6)"
        due_too = comes.value + carried
        carried = round(due_too, 6) - float(one.extension)
        price_each = f"=ROUND(MAX({wanted}/{quantity}+{_HALF_UP},0),{_decimals(one)})"
        sheet.write_formula(row, _EACH, price_each, book.unit_price, float(one.unit_price))
        product = f"=ROUND({quantity}*{each},2)"
        sheet.write_formula(row, _EXTENSION, product, book.money, float(one.extension))
        sheet.write_formula(row, _DUE, f"={comes.formula}", book.money, comes.value)
        sheet.write_formula(row, _LEFT, f"={wanted}-{extension}", book.unit_price, carried)
        left = cell(row, _LEFT)
    for row, one in enumerate(rows, start=first):
        book.texts(sheet, row, 0, (one.scope, one.item, one.section, one.description, one.unit))
        if one.item in counted:
            formula = counted[one.item]
            sheet.write_formula(row, _QUANTITY, formula, book.number, float(one.quantity))
        else:
            sheet.write_number(row, _QUANTITY, float(one.quantity), book.number)
    end = first + len(rows)
    rest = [first + nth for nth, one in enumerate(rows) if not one.item]
    for row in rest:
        for column in (_EACH, _EXTENSION):
            value = float(rows[row - first].extension)
            sheet.write_formula(row, column, f"=ROUND({left},2)", book.money, value)
    book.text(sheet, end, 3, f"{rows[0].scope}: the sum", book.head)
    total = f"=SUM({cell(first, _EXTENSION)}:{cell(end - 1, _EXTENSION)})"
    total += "" if rest else f"+ROUND({left},2)"
    sheet.write_formula(end, _EXTENSION, total, book.total, float(price))


def _decimals(row: _Row) -> int:
    exponent = row.unit_price.as_tuple().exponent
    if isinstance(exponent, int):
        return -exponent
    return 0


def _added(some: list[_Due]) -> _Due:
    cells = [one.formula for one in some]
    value = sum(one.value for one in some)
    return _Due(f"SUM({','.join(cells)})" if len(cells) < 255 else "+".join(cells), value)


def _of_lines(rates: Rates, result: Result, parts: Iterable[_Part]) -> _Due:
    found = [_of_line(rates, result, part) for part in parts]
    return _Due("+".join(one.formula for one in found) or "0", sum(one.value for one in found))


def _of_line(rates: Rates, result: Result, part: _Part) -> _Due:
    """A line's price, or what areas of one turf bear of it."""
    whole = f"Lines!{cell(part.row, price_column(result.price))}"
    value = float(result.price.loads["price"].iloc[part.row - 1])
    land = result.ground.areas
    own = land["phase"].astype(str).eq(part.line.phase)
    of = own
    if part.product:
        of = own & land["product"].eq(part.product)
    if of.equals(own):
        return _Due(whole, value)
    some, every = (_taken(rates, result, part.line, one) for one in (of, own))
    borne = result.price.borne[part.line.share]
    return _Due(f"{whole}*({some})/({every})", value * borne[of].sum() / borne[own].sum())


def _taken(rates: Rates, result: Result, line: _Line, own: pd.Series[bool]) -> str:
    """What some areas take of what a line is shared by; hours by several rates as their sum."""
    measures = work_of(line.key) if line.share == line.key else ()
    if len(measures) < 2:
        return repr(float(result.price.borne.loc[own, line.share].sum()))
    book = books_of(result.price)[line.phase]
    terms = []
    for one in measures:
        timed = takes_time(one.rate)
        size = 1.0 if timed else measured_in(one.rate, rates.bid.units)[1]
        measured = float(one.measure(result.takeoff.areas[own]).sum()) / size
        terms.append(f"{measured!r}{'*' if timed else '/'}{rates.rate(one.rate, book).name}")
    return "+".join(terms)


def _parts(result: Result) -> Iterator[list[_Part]]:
    """What is paid under each pay item, in their order: those of the takeoff, turf once a product,
    then extras as they are met."""
    lines = list(enumerate(records(work(result.price), _Line), start=1))
    land = result.ground.areas
    for key in PAY_ITEMS:
        own = [(row, one) for row, one in lines if one.key in ITEMS and ITEMS[one.key].pay == key]
        products = list(dict.fromkeys(land["product"])) if key == "turf" else [""]
        if own:
            yield from ([_Part(row, one, name) for row, one in own] for name in products)
    extras: dict[tuple[str, str, str], list[_Part]] = {}
    for phase in dict.fromkeys(land["phase"].astype(str)):
        for row, one in lines:
            if one.phase == phase and one.key not in ITEMS:
                unit = "phase" if one.key == ESCALATION else one.unit
                named = one.section, one.description, unit
                extras.setdefault(named, []).append(_Part(row, one, ""))
    yield from extras.values()


# ------------------------------------------------------------------------------------------- Plans


def plans(book: Book, result: Result) -> None:
    """What the lots of each house plan come to, from Sites; no sheet where no lot has one."""
    rows = result.by_plan
    if rows is None:
        return
    land = result.ground.areas
    system = result.bid.units
    area = SHOWN["area"][system]
    heads = ("plan", "lots", "areas", f"ground, {area.unit}", f"turf bought, {area.unit}", "pieces",
             "price each", "price", "least", "most")  # fmt: skip
    sheet = book.sheet("Plans", (22, 8, 8, 14, 14, 8, 14, 16, 14, 14), heads, printed=False)
    row_of = {site: row for row, site in enumerate(result.price.sites["site"], start=1)}
    for row, one in enumerate(records(rows, _Plan), start=1):
        lots = dict.fromkeys(land.loc[land["plan"] == one.plan, "site"])
        book.text(sheet, row, 0, one.plan or OF_NONE)
        for column, count in ((1, one.lots), (2, one.areas), (5, one.pieces)):
            sheet.write_number(row, column, count, book.count)
        for column, m2 in ((3, one.ground_area_m2), (4, one.turf_bought_m2)):
            sheet.write_number(row, column, m2 * area.factor, book.number)
        total = sum_of("Sites", 2, [row_of[site] for site in lots])
        each = f"=ROUND({cell(row, 7)}/{cell(row, 1)},2)"
        sheet.write_formula(row, 6, each, book.money, float(one.price_each))
        sheet.write_formula(row, 7, f"=ROUND({total},2)", book.money, float(one.price))
        for column, word, value in ((8, "MIN", one.price_least), (9, "MAX", one.price_most)):
            ends = total.replace("SUM(", f"{word}(")
            if "+" not in ends:  # more ranges than a function takes
                sheet.write_formula(row, column, f"={ends}", book.money, float(value))
    end = len(rows) + 1
    book.text(sheet, end, 0, "Total", book.head)
    for column in (1, 7):
        formula = f"=SUM({cell(1, column)}:{cell(end - 1, column)})"
        whole = float(rows["lots" if column == 1 else "price"].sum())
        sheet.write_formula(end, column, formula, book.total if column == 7 else book.count, whole)


class _Plan(NamedTuple):
    """A row of `geoturf.by_plan.by_plan` as shown."""

    plan: str
    lots: int
    areas: int
    ground_area_m2: float
    turf_bought_m2: float
    pieces: int
    price_each: Decimal
    price: Decimal
    price_least: Decimal
    price_most: Decimal
