"""What the bid is and says: Water, Summary, Alternates, Risk, Calendar, Cautions, Findings."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any, NamedTuple

from geoturf import planner, units
from geoturf.bid import assumed, bought_alone
from geoturf.model import (
    Calendar,
    CalendarTask,
    Price,
    Result,
    Risk,
    RiskMove,
    RiskPercentile,
    Water,
)
from geoturf.records import records
from geoturf.workbook.book import STAYS, Book, cell, sum_of
from geoturf.workbook.bought import price_formula, steps_of, work


def water(book: Book, result: Result) -> None:
    """What to convert and what that brings, before the price of turf on everything; nothing where
    no water is compared."""
    if result.water is None:
        return
    sheet = book.sheet("Water", (34, 44, 34, 16, 16, 16))
    assumed = result.water.summary["assumed_conversions"]
    said = [(assumed, "")] if assumed else []
    said += [*planner.facts(result), (STAYS, "")]
    for row, pair in enumerate(said):
        book.texts(sheet, row, 0, pair)
    _to_convert(book, sheet, len(said) + 1, result.water, result.bid.units)


def _to_convert(book: Book, sheet: Any, start: int, water: Water, system: str) -> None:
    """The areas to convert, the first first, from row ``start`` on."""
    unit, size = ("gal", units.GALLON_M3) if system == "us" else ("m3", 1.0)
    heads = ("site", "area", "convert to", f"saves a year, {unit}", "capital", "payback, years")
    for place, head in enumerate(heads):
        book.text(sheet, start, place, head, book.head)
    options = water.table
    chosen = options[options["chosen"]].sort_values("rank")
    for row, one in enumerate(records(chosen, _Conversion), start=start + 1):
        book.texts(sheet, row, 0, (one.site, one.area, one.title))
        sheet.write_number(row, 3, one.saved_m3 / size, book.count)
        sheet.write_number(row, 4, one.capital, book.money)
        if math.isfinite(one.payback_years):
            sheet.write_number(row, 5, one.payback_years, book.number)
        else:
            book.text(sheet, row, 5, "never")


PRICE = "Summary!$B$7"  # the price, as the workbook has it now


class _Conversion(NamedTuple):
    """A row of `geoturf.model.Water.table` as shown."""

    site: str
    area: str
    title: str
    saved_m3: float
    capital: float
    payback_years: float


def alternates(book: Book, price: Price) -> None:
    if not len(price.alternates):
        return
    said = (STAYS, _OF_PRICE, _MOVED)
    sheet = book.sheet(
        "Alternates", (60, 16, 16), ("alternate", "price", "add or deduct"), said=said
    )
    _moved_by(book, sheet, price)
    for row, one in enumerate(records(price.alternates, _Alternate), start=len(said) + 1):
        book.text(sheet, row, 0, one.alternate)
        sheet.write_number(row, 1, float(one.price), book.money)
        sheet.write_number(row, 2, float(one.difference), book.money)


_OF_PRICE = "Goes with the bid at a price of"
_MOVED = "which has moved since by (unless 0, run the bid again)"


def _moved_by(book: Book, sheet: Any, price: Price) -> None:
    """The price that a sheet's figures go with, and what the workbook's has moved by since, so that
    nobody adds the two."""
    sheet.write_number(1, 1, float(price.totals["price"]), book.money)
    sheet.write_formula(2, 1, f"=ROUND({PRICE}-{cell(1, 1)},2)", book.money, 0.0)


class _Alternate(NamedTuple):
    alternate: str
    price: Decimal
    difference: Decimal


def calendar(book: Book, when: Calendar) -> None:
    """Tasks in the order of the work, with their days."""
    heads = (
        "phase",
        "task",
        "crew",
        "first day",
        "last day",
        "start",
        "finish",
        "crew days",
        "crew-hours",
    )
    widths = (16, 34, 18, 10, 10, 12, 12, 12, 12)
    sheet = book.sheet("Calendar", widths, heads, said=(STAYS,))
    for row, task in enumerate(records(when.rows, CalendarTask), start=2):
        book.texts(sheet, row, 0, (task.phase, task.description, task.crew))
        sheet.write_number(row, 3, task.start_day, book.count)
        sheet.write_number(row, 4, task.finish_day, book.count)
        book.texts(sheet, row, 5, (task.start or "", task.finish or ""))
        sheet.write_number(row, 7, task.crew_days, book.number)
        sheet.write_number(row, 8, task.crew_hours, book.number)


def assumptions(result: Result) -> list[str]:
    """Which figures behind each line of the work are geoturf's own; "" where all are the bid's."""
    of = records(work(result.price), _Of)
    return [assumed.of_line_in_words(result.bid, *line) for line in of]


class _Of(NamedTuple):
    """What of a price line tells the figures behind it."""

    key: str
    product: str
    book: str


def risk(book: Book, risk: Risk | None, price: Price) -> None:
    """How sure the price is, as reckoned with the bid; no sheet where the bid gives no ranges."""
    if risk is None:
        return
    heads = ("of draws within", "cost, no contingency", "price", "contingency asked for", "of cost")
    said = (STAYS, _OF_PRICE, _MOVED)
    sheet = book.sheet("Risk", (50, 18, 18, 18, 18), heads, said=said)
    _moved_by(book, sheet, price)
    top = len(said) + 1
    for row, one in enumerate(records(risk.percentiles, RiskPercentile), start=top):
        sheet.write_number(row, 0, one.percentile, book.share)
        for column, money in enumerate((one.cost, one.price, one.contingency), start=1):
            sheet.write_number(row, column, round(money, 2), book.money)
        sheet.write_number(row, 4, one.contingency_part, book.share)
    _moves(book, sheet, top + len(risk.percentiles) + 1, risk)


def _moves(book: Book, sheet: Any, start: int, risk: Risk) -> None:
    """What moves the price most, from row ``start`` on."""
    heads = ("figure", "price at its low end", "at its high end", "rank correlation", "share")
    for place, head in enumerate(heads):
        book.text(sheet, start, place, head, book.head)
    for row, one in enumerate(records(risk.moves, RiskMove), start=start + 1):
        book.text(sheet, row, 0, f"{one.table}: {one.figure}")
        sheet.write_number(row, 1, round(one.price_low, 2), book.money)
        sheet.write_number(row, 2, round(one.price_high, 2), book.money)
        sheet.write_number(row, 3, one.rank_correlation, book.number)
        sheet.write_number(row, 4, one.share, book.share)


def cautions(book: Book, result: Result) -> None:
    sheet = book.sheet("Cautions", (130,), ("cautions",), printed=False)
    said = list(result.takeoff.cautions)
    said += [line for line in (result.water.cautions if result.water else ()) if line not in said]
    for row, line in enumerate(said, start=1):
        book.text(sheet, row, 0, line, book.wrap)


def findings(book: Book, result: Result) -> None:
    heads = ("severity", "file", "layer", "feature", "site", "area", "code", "message")
    sheet = book.sheet("Findings", (10, 20, 16, 12, 16, 12, 18, 110), heads, printed=False)
    for row, f in enumerate(result.findings, start=1):
        book.texts(
            sheet,
            row,
            0,
            (f.severity, f.file, f.layer, f.feature, f.site, f.area, f.code, f.message),
        )
    book.filters(sheet, len(result.findings), len(heads))


def summary(book: Book, sheet: Any, result: Result) -> None:
    """What the bid is, its price, and its phases."""
    price = result.price
    bid = result.bid
    land = result.ground.areas
    unit, size = ("ft^2", units.FT2_M2) if bid.units == "us" else ("m^2", 1.0)
    surface = float(land["surface_area_m2"].sum()) / size
    book.text(sheet, 0, 0, bid.name, book.title)
    facts = (("Sites", land["site"].nunique()), ("Areas", len(land)), (f"Surface, {unit}", surface))
    for row, (word, value) in enumerate(facts, start=2):
        book.text(sheet, row, 0, word)
        sheet.write_number(row, 1, value, book.number if isinstance(value, float) else book.count)
    if result.source.left_out:
        book.text(sheet, 5, 0, "NOT PRICED, areas or files left out", book.head)
        sheet.write_number(5, 1, int(result.source.left_out), book.count)
    book.text(sheet, 6, 0, f"Price, {bid.currency}", book.head)
    sheet.write_formula(6, 1, price_formula(price), book.total, float(price.totals["price"]))
    book.text(sheet, 7, 0, f"Price a {unit}, {bid.currency}")
    a_unit = 0.0
    if surface:
        a_unit = float(price.totals["price"]) / surface
    sheet.write_formula(7, 1, "=IF(B5>0,ROUND(B7/B5,2),0)", book.money, round(a_unit, 2))
    if price.lot_by_lot is not None:
        how = f"its rolls planned with effort {bought_alone(bid, result.ground).cuts.effort}"
        book.text(
            sheet, 8, 0, f"Price were every lot bought alone, {how}, as reckoned with the bid"
        )
        sheet.write_number(8, 1, float(price.lot_by_lot), book.money)
    if assumed.in_words(bid, price.lines):
        said = f"{assumed.share(bid, price.lines)} are geoturf's own: the last column of Lines"
        book.text(sheet, 9, 0, said, book.mark)
    end = _phases(book, sheet, price, unit, size)
    said = f"For the screen, with an empty print area: {', '.join(book.on_screen)}."
    book.text(sheet, end + 1, 0, said)


class _Phase(NamedTuple):
    phase: str
    sites: int
    areas: int
    surface_area_m2: float
    price: Decimal
    price_per_ft2: Decimal
    price_per_m2: Decimal


def _phases(book: Book, sheet: Any, price: Price, unit: str, size: float) -> int:
    """Phases under the summary; their money is summed from the schedule. Gives the row below
    them."""
    per = "price_per_ft2" if unit == "ft^2" else "price_per_m2"
    heads = (
        "phase",
        "sites",
        "areas",
        f"surface, {unit}",
        "direct cost",
        "price",
        f"price a {unit}",
    )
    for place, head in enumerate(heads):
        book.text(sheet, 10, place, head, book.head)
    direct = price.schedule.groupby("phase")["amount"].sum()
    of = price.schedule.reset_index(drop=True).groupby("phase").indices
    for row, phase in enumerate(records(price.phases, _Phase), start=11):
        book.text(sheet, row, 0, phase.phase)
        sheet.write_number(row, 1, phase.sites, book.count)
        sheet.write_number(row, 2, phase.areas, book.count)
        sheet.write_number(row, 3, phase.surface_area_m2 / size, book.number)
        rows = [int(at) + 1 for at in of.get(phase.phase, ())]
        amounts = (
            (4, 3, direct.get(phase.phase, Decimal(0))),
            (5, 4 + len(steps_of(price)), phase.price),
        )
        for column, source, value in amounts:
            sheet.write_formula(
                row,
                column,
                f"=ROUND({sum_of('Schedule', source, rows)},2)",
                book.money,
                float(value),
            )
        sheet.write_formula(
            row, 6, f"=ROUND(F{row + 1}/D{row + 1},2)", book.money, float(getattr(phase, per))
        )
    return 11 + len(price.phases)
