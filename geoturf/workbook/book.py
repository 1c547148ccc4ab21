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

__all__ = [
    "ALLOWANCE",
    "MOST_ARGUMENTS",
    "NET",
    "ORDER",
    "SIZE",
    "STAYS",
    "UP",
    "Book",
    "cell",
    "letter",
    "sum_of",
    "text_of",
]

#: a cell holds 32,767 characters; longer text is cut, and says so
LONGEST = 32_767
MOST_ARGUMENTS = 255  # of a function of a spreadsheet
NET, ALLOWANCE, ORDER, SIZE = 3, 5, 6, 8  # columns of Materials
#: a formula of whole packages; a millionth over buys no more (`geoturf.units.round_up`)
UP = "ROUNDUP(MAX(0,{}-0.000001),0)"
#: above what no formula gives
STAYS = "As reckoned with the bid; stays when a shaded cell is changed."
_CUT = " … (cut)"
_PAPERS = {"letter": 1, "a4": 9}  # of ECMA-376, ST_PaperSize as spreadsheets number it
_UPRIGHT = 110  # characters of width that an upright page takes without much smaller print
_NAMED = 80  # characters of the bid's name at the foot of a page, which takes 255 in all
_NO_XML = {0xFFFE: "\ufffd", 0xFFFF: "\ufffd"}  # the writer sees to the control characters
_MADE = datetime.datetime(
    2000, 1, 1
)  # the same for every bid, so that the same bid gives the same bytes


class Book:
    """Sheets with text kept text, money as money, and cells to change marked."""

    def __init__(self, path: str | Path, currency: str, name: str = "", page: str = "letter"):
        options = {
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        }
        self.book = xlsxwriter.Workbook(str(path), options)
        self.book.set_properties(
            {"created": _MADE, "comments": f"All money in {currency}. Shaded cells may be changed."}
        )
        add = self.book.add_format
        shade = "#FFF6D6"
        self.plain = add({})
        self.wrap = add({"text_wrap": True, "valign": "top"})
        self.title = add({"bold": True, "font_size": 14})
        self.head = add(
            {
                "bold": True,
                "bottom": 1,
                "text_wrap": True,
                "valign": "top",
            }
        )
        self.count = add({"num_format": "#,##0"})
        self.number = add({"num_format": "#,##0.00"})
        self.money = add({"num_format": "#,##0.00"})
        self.unit_price = add({"num_format": "#,##0.00####"})
        self.total = add(
            {
                "num_format": "#,##0.00",
                "bold": True,
                "top": 1,
            }
        )
        self.change = add({"num_format": "#,##0.00####", "bg_color": shade})
        self.change_count = add({"num_format": "#,##0", "bg_color": shade})
        self.mark = add({"italic": True, "font_color": "#8A3B00"})
        self.share = add({"num_format": "0.0##%"})
        self.percent = add({"num_format": "0.0##%", "bg_color": shade})
        self.name, self.paper = text_of(name)[:_NAMED].replace("&", "&&"), _PAPERS[page]
        self.on_screen: list[str] = []  # sheets that are not printed
        self.shaded: dict[tuple[Any, int], list[list[int]]] = {}

    def sheet(
        self,
        name: str,
        widths: Sequence[float],
        heads: Sequence[str] = (),
        printed: bool = True,
        said: Sequence[str] = (),
    ) -> Any:
        """A sheet; what is ``said`` of it stands above its heads, a line a row."""
        sheet = self.book.add_worksheet(name)
        if not printed:
            self.on_screen.append(name)
        for column, width in enumerate(widths):
            sheet.set_column(column, column, width)
        self._page(sheet, name, upright=sum(widths) <= _UPRIGHT)
        if heads:
            top = len(said)
            sheet.freeze_panes(top + 1, 0)
            sheet.repeat_rows(0, top)
            for row, line in enumerate(said):
                self.text(sheet, row, 0, line, self.mark)
            for column, head in enumerate(heads):
                sheet.write_string(top, column, head, self.head)
        return sheet

    def _page(self, sheet: Any, name: str, upright: bool) -> None:
        """On paper: as wide as a page, its name and number at the foot."""
        sheet.set_portrait() if upright else sheet.set_landscape()
        sheet.set_paper(self.paper)
        sheet.set_margins(
            left=0.4,
            right=0.4,
            top=0.4,
            bottom=0.6,
        )
        sheet.fit_to_pages(1, 0)
        sheet.set_footer(f"&L{self.name}&C{name}&R&P / &N")

    def to_change(self, sheet: Any, row: int, column: int, value: float, style: Any) -> None:
        """A shaded cell, which takes what the bid would: no text, nothing below 0."""
        sheet.write_number(row, column, value, style)
        place = next(nth for nth, one in enumerate(self._rules()) if one[0] is style)
        self.shaded.setdefault((sheet, place), []).append([row, column, row, column])

    def define(self, name: str, sheet: Any, row: int, column: int) -> None:
        """A name by which formulas of any sheet know a cell."""
        self.book.define_name(name, f"={sheet.get_name()}!{cell(row, column, True, True)}")

    def _rules(self) -> tuple[tuple[Any, str, dict[str, Any]], ...]:
        """What shaded cells of a style take, and how that is said."""
        least = {"criteria": ">=", "value": 0}
        return (
            (self.change, "a number, 0 or more", {"validate": "decimal", **least}),
            (self.change_count, "a whole number, 0 or more", {"validate": "integer", **least}),
            (
                self.percent,
                "a percentage from 0 to 1,000",
                {
                    "validate": "decimal",
                    "criteria": "between",
                    "minimum": 0,
                    "maximum": 10,
                },
            ),
        )

    def _guard(self) -> None:
        for (sheet, place), cells in self.shaded.items():
            _, said, rule = self._rules()[place]
            told = {"error_title": "Shaded cells", "error_message": f"This cell takes {said}."}
            sheet.data_validation(
                *cells[0],
                {
                    **rule,
                    **told,
                    "other_cells": cells,
                },
            )

    def filters(self, sheet: Any, rows: int, columns: int, top: int = 0) -> None:
        """Lets a reader choose among the ``rows`` below the heads, which stand in row ``top``."""
        if rows:
            sheet.autofilter(top, 0, top + rows, columns - 1)

    def text(self, sheet: Any, row: int, column: int, value: object, style: Any = None) -> None:
        sheet.write_string(row, column, text_of(value), style or self.plain)

    def texts(self, sheet: Any, row: int, column: int, values: Iterable[object]) -> None:
        for place, value in enumerate(values):
            self.text(sheet, row, column + place, value)

    def close(self) -> None:
        self._guard()
        for sheet in self.book.worksheets():
            if sheet.dim_rowmax is not None:
                sheet.print_area(*self._on_paper(sheet))
        try:
            self.book.close()
        except xlsxwriter.exceptions.FileCreateError as fault:
            raise OSError(f"bid.xlsx: {fault}") from fault

    def _on_paper(self, sheet: Any) -> tuple[int, int, int, int]:
        """All cells; of a sheet for the screen an empty one, as what is empty is not printed."""
        if sheet.get_name() in self.on_screen:
            return 0, sheet.dim_colmax + 1, 0, sheet.dim_colmax + 1
        return 0, 0, sheet.dim_rowmax, sheet.dim_colmax


def text_of(value: object) -> str:
    """Text as a cell can hold it: what XML cannot carry replaced, cut at `LONGEST` characters with
    a mark."""
    text = str(value).encode("utf-8", "replace").decode("utf-8").translate(_NO_XML)
    if len(text) <= LONGEST:
        return text
    return text[: LONGEST - len(_CUT)] + _CUT


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
    start: str = cell(first, column)
    if first == last:
        return start
    return f"{start}:{cell(last, column)}"
