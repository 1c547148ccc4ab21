"""Sheets and cells of the workbook, and references between them."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import xlsxwriter
from xlsxwriter.utility import xl_col_to_name as letter
from xlsxwriter.utility import xl_rowcol_to_cell as cell

__all__ = ["MOST_ARGUMENTS", "Book", "cell", "letter", "sum_of", "text_of"]

#: a cell holds 32,767 characters; longer text is cut, and says so
LONGEST = 32_767
MOST_ARGUMENTS = 255  # of a function of a spreadsheet
_CUT = " … (cut)"
_NO_XML = {0xFFFE: "\ufffd", 0xFFFF: "\ufffd"}  # the writer sees to the control characters
_MADE = datetime.datetime(
    2000, 1, 1
)  # the same for every bid, so that the same bid gives the same bytes


class Book:
    """Sheets with text kept text, money as money, and cells to change marked."""

    def __init__(self, path: str | Path, currency: str):
        options = {
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        }
        self.book = xlsxwriter.Workbook(str(path), options)
        self.book.set_properties(
            {"created": _MADE, "comments": f"All money in {currency}. Shaded cells may be changed."}
        )
        add, shade = self.book.add_format, "#FFF6D6"
        self.plain = add({})
        self.wrap = add({"text_wrap": True, "valign": "top"})
        self.title = add({"bold": True, "font_size": 14})
        self.head = add({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
        self.count = add({"num_format": "#,##0"})
        self.number = add({"num_format": "#,##0.00"})
        self.money = add({"num_format": "#,##0.00"})
        self.total = add({"num_format": "#,##0.00", "bold": True, "top": 1})
        self.change = add({"num_format": "#,##0.00####", "bg_color": shade})
        self.change_count = add({"num_format": "#,##0", "bg_color": shade})
        self.share = add({"num_format": "0.0##%"})
        self.percent = add({"num_format": "0.0##%", "bg_color": shade})

    def sheet(self, name: str, widths: Sequence[float], heads: Sequence[str] = ()) -> Any:
        sheet = self.book.add_worksheet(name)
        for column, width in enumerate(widths):
            sheet.set_column(column, column, width)
        if heads:
            sheet.freeze_panes(1, 0)
            for column, head in enumerate(heads):
                sheet.write_string(0, column, head, self.head)
        return sheet

    def text(self, sheet: Any, row: int, column: int, value: object, style: Any = None) -> None:
        sheet.write_string(row, column, text_of(value), style or self.plain)

    def texts(self, sheet: Any, row: int, column: int, values: Iterable[object]) -> None:
        for place, value in enumerate(values):
            self.text(sheet, row, column + place, value)

    def close(self) -> None:
        try:
            self.book.close()
        except xlsxwriter.exceptions.FileCreateError as fault:
            raise OSError(f"bid.xlsx: {fault}") from fault


def text_of(value: object) -> str:
    """Text as a cell can hold it: what XML cannot carry replaced, cut at `LONGEST` characters with
    a mark."""
    text = str(value).encode("utf-8", "replace").decode("utf-8").translate(_NO_XML)
    return text if len(text) <= LONGEST else text[: LONGEST - len(_CUT)] + _CUT


def sum_of(sheet: str, column: int, rows: Iterable[int]) -> str:
    """The sum of some cells of a column of ``sheet``, rows that follow each other as a range; "0"
    for none."""
    rows = sorted(rows)
    ends = (
        [
            rows[0],
            *(row for pair in pairwise(rows) if pair[1] != pair[0] + 1 for row in pair),
            rows[-1],
        ]
        if rows
        else []
    )
    ranges = [
        f"{sheet}!{_range(column, first, last)}"
        for first, last in zip(ends[::2], ends[1::2], strict=True)
    ]
    starts = range(0, len(ranges), MOST_ARGUMENTS)
    return (
        "+".join(f"SUM({','.join(ranges[start : start + MOST_ARGUMENTS])})" for start in starts)
        or "0"
    )


def _range(column: int, first: int, last: int) -> str:
    return cell(first, column) if first == last else f"{cell(first, column)}:{cell(last, column)}"
