"""Order: what is ordered, turf by size and all else as Materials has it; Order of work: lots as
they are worked. Both tell of the cut plan, and stay with it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import pandas as pd

from geoturf import tables
from geoturf.model import Result
from geoturf.records import records
from geoturf.rules.items import ITEMS
from geoturf.tables.turf import work_order as lots_in_order
from geoturf.workbook.book import ORDER, Book, cell


def order(book: Book, result: Result, items: pd.DataFrame, at: Mapping[int, int]) -> None:
    """Turf by dye lot and size, then what else is bought, phase by phase. ``at``: rows of
    Materials."""
    heads = ("phase", "what", "dye lot", "deliver on", "width", "length", "quantity", "unit",
             "weight")  # fmt: skip
    sheet = book.sheet("Order", (16, 40, 9, 12, 9, 10, 11, 14, 12), heads, printed=False)
    turf = tables.order(result)
    wide, long, heavy = turf.columns[4], turf.columns[5], turf.columns[7]
    row = 0
    for row, one in enumerate(turf.to_dict("records"), start=1):
        product = result.bid.products[str(one["product"])]
        day = one["deliver_on"]
        book.texts(sheet, row, 0, (one["phase"], product.title, one["dye_lot"]))
        book.text(sheet, row, 3, "" if pd.isna(day) else day)
        for column, name in ((4, wide), (5, long), (8, heavy)):
            sheet.write_number(row, column, float(one[name]), book.number)
        sheet.write_number(row, 6, int(one["count"]), book.count)
        unit = long.removeprefix("length_")
        book.text(sheet, row, 7, f"{'rolls' if product.sold_by == 'roll' else 'lengths'}, {unit}")
    materials = [key for key, item in ITEMS.items() if item.kind == "material" and key != "turf"]
    bought = items[(items["scope_kind"] == "pool") & items["key"].isin(materials)]
    for index, item in zip(bought.index.tolist(), records(bought, _Bought), strict=True):
        row += 1
        book.texts(sheet, row, 0, (item.phase, item.item))
        formula = f"=Materials!{cell(at[index], ORDER)}"
        sheet.write_formula(row, 6, formula, book.count, item.order)
        book.text(sheet, row, 7, item.order_unit)
    book.filters(sheet, row, len(heads))


class _Bought(NamedTuple):
    """A row of `geoturf.model.Takeoff.items` as ordered."""

    phase: str
    item: str
    order: int
    order_unit: str


def work_order(book: Book, result: Result) -> None:
    """Lots in the order of work, and the rolls that each draws on."""
    if result.plan.lots is None:
        return
    table = lots_in_order(result).drop(columns=["crew", "day"])
    heads = [name.replace("_", " ") for name in table.columns]
    sheet = book.sheet("Order of work", (8, 24, 14, *[10] * (len(heads) - 3)), heads, printed=False)
    for row, values in enumerate(table.itertuples(index=False), start=1):
        for column, value in enumerate(values):
            if isinstance(value, str):
                book.text(sheet, row, column, value)
            else:
                sheet.write_number(row, column, float(value), book.count)
    book.filters(sheet, len(table), len(heads))
