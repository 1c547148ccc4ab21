"""Order: turf by size, which stays with the cut plan, and all that is bought as Materials and Lines
have it; Order of work: lots as they are worked, which stays with the cut plan too."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, NamedTuple

import pandas as pd

from geoturf import tables
from geoturf.model import Result
from geoturf.records import records
from geoturf.rules.items import ITEMS
from geoturf.tables.turf import work_order as lots_in_order
from geoturf.workbook.book import ORDER, STAYS, Book, cell
from geoturf.workbook.bought import AMOUNT, work

_SIZES_STAY = "Turf by size, and weights: the cut plan's; they stay when a shaded cell is changed."
_HEADS = ("phase", "what", "dye lot", "deliver on", "width", "length", "quantity", "unit", "weight",
          "cost")  # fmt: skip
_QUANTITY = 6
_COST = 9


def order(book: Book, result: Result, at: Mapping[int, int]) -> None:
    """Turf by dye lot and size, then all that is bought, phase by phase, with what it costs.
    ``at``: rows of Materials."""
    widths = (16, 40, 9, 12, 9, 10, 11, 14, 12, 14)
    sheet = book.sheet("Order", widths, _HEADS, printed=False, said=(_SIZES_STAY,))
    turf = tables.order(result)
    wide = turf.columns[4]
    long = turf.columns[5]
    heavy = turf.columns[7]
    top = 2
    for row, one in enumerate(turf.to_dict("records"), start=top):
        product = result.bid.products[str(one["product"])]
        day = one["deliver_on"]
        book.texts(sheet, row, 0, (one["phase"], product.title, one["dye_lot"]))
        book.text(sheet, row, 3, "" if pd.isna(day) else day)
        for column, name in ((4, wide), (5, long), (8, heavy)):
            sheet.write_number(row, column, float(one[name]), book.number)
        sheet.write_number(row, _QUANTITY, int(one["count"]), book.count)
        unit = long.removeprefix("length_")
        book.text(sheet, row, 7, f"{'rolls' if product.sold_by == 'roll' else 'lengths'}, {unit}")
    end = _bought(book, sheet, top + len(turf), result, at)
    book.filters(sheet, end - top, len(_HEADS), top=1)


class _Line(NamedTuple):
    """A line of material: ``row`` of the takeoff, -1 of a least order."""

    phase: str
    key: str
    kind: str
    description: str
    amount: Decimal
    row: int


class _Ordered(NamedTuple):
    """A row of `geoturf.model.Takeoff.items` as ordered."""

    order: int
    order_unit: str


def _bought(book: Book, sheet: Any, row: int, result: Result, at: Mapping[int, int]) -> int:
    """A row a line of material, from ``row`` on; gives the row below them, which adds them up."""
    first = row
    total = Decimal(0)
    items = result.takeoff.items
    ordered = dict(zip(items.index.tolist(), records(items, _Ordered), strict=True))
    for nth, line in enumerate(records(work(result.price), _Line), start=1):
        if line.kind != "material" or line.key not in ITEMS:
            continue
        book.texts(sheet, row, 0, (line.phase, line.description))
        if line.row >= 0:
            formula = f"=Materials!{cell(at[line.row], ORDER)}"
            one = ordered[line.row]
            sheet.write_formula(row, _QUANTITY, formula, book.count, one.order)
            book.text(sheet, row, 7, one.order_unit)
        cost = f"=Lines!{cell(nth, AMOUNT)}"
        sheet.write_formula(row, _COST, cost, book.money, float(line.amount))
        row = row + 1
        total = total + line.amount
    book.text(sheet, row, 1, "All that is bought", book.head)
    formula = "=0"
    if row > first:
        formula = f"=SUM({cell(first, _COST)}:{cell(row - 1, _COST)})"
    sheet.write_formula(row, _COST, formula, book.total, float(total))
    return row


def work_order(book: Book, result: Result) -> None:
    """Lots in the order of work, and the rolls that each draws on."""
    if result.plan.lots is None:
        return
    table = lots_in_order(result).drop(columns=["crew", "day"])
    heads = [name.replace("_", " ") for name in table.columns]
    widths = (8, 24, 14, *[10] * (len(heads) - 3))
    sheet = book.sheet("Order of work", widths, heads, printed=False, said=(STAYS,))
    for row, values in enumerate(table.itertuples(index=False), start=2):
        for column, value in enumerate(values):
            if isinstance(value, str):
                book.text(sheet, row, column, value)
            else:
                sheet.write_number(row, column, float(value), book.count)
    book.filters(sheet, len(table), len(heads), top=1)
