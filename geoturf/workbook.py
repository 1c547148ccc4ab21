"""The bid as a workbook in which a unit price, a rate or an allowance can be changed and all else follows.

Formulas are only ever our own; text from the data is written as text. What formulas give is written beside them, so that a
reader that does not reckon sees the same figures. Bytes depend on the result alone.

    Materials   order = net x (1 + allowance) / package, rounded up
    Lines       quantity from Materials, amount = quantity x unit price
    Build-up    the steps in their order, down to the price
    Schedule    direct cost by phase and section from Lines, price shared out
    Sites       cost and price, shared out
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import xlsxwriter
from xlsxwriter.utility import xl_rowcol_to_cell as cell

from geoturf import planner, units
from geoturf.model import Price, Result
from geoturf.rules.items import shown

#: a cell holds 32,767 characters; longer text is cut, and says so
LONGEST = 32_767
_CUT = " … (cut)"
_NO_XML = {0xFFFE: "\ufffd", 0xFFFF: "\ufffd"}  # the writer sees to the control characters
_MOST_ARGUMENTS = 255  # of a function of a spreadsheet
_MADE = datetime.datetime(2000, 1, 1)  # the same for every bid, so that the same bid gives the same bytes
_KINDS = (("Materials", "material"), ("Labour", "labour"), ("Plant", "plant"), ("Services", "service"))


def write(result: Result, path: str | Path) -> None:
    """Writes the workbook of ``result`` to ``path``."""
    book = _Book(path, result.bid.currency)
    price, items = result.price, shown(result.takeoff.items, result.bid.units)
    _water(book, result)
    summary = book.sheet("Summary", (34, 16, 16, 18, 18, 18, 16))
    rows = _materials(book, items)
    last_line = _lines(book, price, items, rows)
    total = _build_up(book, price, last_line)
    _schedule(book, price, last_line, total)
    _sites(book, price, total)
    _alternates(book, price)
    _cautions(book, result)
    _findings(book, result)
    _summary(book, summary, result, total)
    book.close()


class _Book:
    """Sheets with text kept text, money as money, and cells to change marked."""

    def __init__(self, path: str | Path, currency: str):
        options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
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
        self.book.close()


def text_of(value: object) -> str:
    """Text as a cell can hold it: what XML cannot carry replaced, cut at `LONGEST` characters with a mark."""
    text = str(value).encode("utf-8", "replace").decode("utf-8").translate(_NO_XML)
    return text if len(text) <= LONGEST else text[: LONGEST - len(_CUT)] + _CUT


# ------------------------------------------------------------------------------------------------ sheets


def _water(book: _Book, result: Result) -> None:
    """What to convert and what that brings, before the price of turf on everything; nothing where no water is compared."""
    if result.water is None:
        return
    sheet = book.sheet("Water", (34, 44, 34, 16, 16, 16))
    said = [(line, "") for line in [result.water.summary["assumed_conversions"]] if line]
    for row, pair in enumerate((*said, *planner.facts(result))):
        book.texts(sheet, row, 0, pair)
        start = row + 2
    options = result.water.table
    unit, size = ("gal", units.GALLON_M3) if result.bid.units == "us" else ("m3", 1.0)
    heads = ("site", "area", "convert to", f"saves a year, {unit}", "capital", "payback, years")
    for place, head in enumerate(heads):
        book.text(sheet, start, place, head, book.head)
    for row, one in enumerate(options[options["chosen"]].sort_values("rank").itertuples(), start=start + 1):
        book.texts(sheet, row, 0, (one.site, one.area, one.title))
        sheet.write_number(row, 3, one.saved_m3 / size, book.count)
        sheet.write_number(row, 4, one.capital, book.money)
        if math.isfinite(one.payback_years):
            sheet.write_number(row, 5, one.payback_years, book.number)
        else:
            book.text(sheet, row, 5, "never")


def _materials(book: _Book, items: pd.DataFrame) -> dict[int, int]:
    """Pools, then the bid's totals. Gives the sheet row of each takeoff row."""
    heads = ("scope", "section", "item", "net quantity", "unit", "allowance", "order quantity", "order unit", "order size",
             "site by site", "formula")  # fmt: skip
    sheet = book.sheet("Materials", (14, 10, 34, 13, 8, 10, 13, 11, 12, 12, 110), heads)
    kept = items[items["scope_kind"].isin(["pool", "bid", "option"])]
    at: dict[int, int] = {}
    pools: dict[tuple[Any, ...], list[str]] = {}  # cells of the pools' orders that a row of the bid adds up
    for row, item in enumerate(kept.itertuples(), start=1):
        at[item.Index] = row
        option = " (option)" if item.scope_kind == "option" else ""
        book.texts(sheet, row, 0, (item.scope + option, item.section, item.item))
        sheet.write_number(row, 3, item.net, book.number)
        book.text(sheet, row, 4, item.unit)
        sheet.write_number(row, 5, item.allowance, book.percent if item.scope_kind != "bid" else book.plain)
        same = pools.setdefault((item.key, item.product, str(item.width_m), item.order_size), [])
        formula = _order(row, item, same)
        if item.scope_kind == "pool":
            same.append(cell(row, 6))
        if formula:
            sheet.write_formula(row, 6, formula, book.count, int(item.order))
        else:
            sheet.write_number(row, 6, item.order, book.count)
        book.text(sheet, row, 7, item.order_unit)
        sheet.write_number(row, 8, item.order_size, book.number)
        sheet.write_number(row, 9, item.order_by_site, book.count)
        book.text(sheet, row, 10, item.basis)
    return at


def _order(row: int, item: Any, pools: list[str]) -> str:
    """The formula of an order quantity; "" where it is no sum or rounding of this sheet: turf comes from the cut plan, and
    where sites are pools they are rounded one by one."""
    if item.scope_kind == "bid":
        return f"=SUM({','.join(pools)})" if len(pools) <= _MOST_ARGUMENTS else ""
    if item.key == "turf" or _whole(item.net * (1 + item.allowance) / item.order_size) != item.order:
        return ""
    return f"=ROUNDUP({cell(row, 3)}*(1+{cell(row, 5)})/{cell(row, 8)}-0.000001,0)"


def _whole(packages: float) -> int:
    return max(0, math.ceil(packages - 1e-6))


def _lines(book: _Book, price: Price, items: pd.DataFrame, rows: dict[int, int]) -> int:
    """Lines of the work. Gives the last row used."""
    heads = ("line", "section", "phase", "kind", "description", "quantity", "unit", "unit price", "amount")
    sheet = book.sheet("Lines", (6, 10, 14, 10, 38, 13, 10, 13, 15), heads)
    lines = price.lines[price.lines["kind"] != "general"]
    row = 0
    for row, line in enumerate(lines.itertuples(), start=1):
        sheet.write_number(row, 0, line.line)
        book.texts(sheet, row, 1, (line.section, line.phase, line.kind, line.description))
        if line.row < 0:  # an extra of the bid, which is no takeoff row
            sheet.write_number(row, 5, float(line.quantity), book.change)
        else:
            ordered = int(items.at[line.row, "order"])
            formula = f"=ROUND(Materials!{cell(rows[line.row], 6)}*{float(line.quantity) / max(ordered, 1)!r},2)"
            sheet.write_formula(row, 5, formula, book.number, float(line.quantity))
        book.text(sheet, row, 6, line.unit)
        sheet.write_number(row, 7, float(line.unit_price), book.change)
        sheet.write_formula(row, 8, f"=ROUND({cell(row, 5)}*{cell(row, 7)},2)", book.money, float(line.amount))
    book.text(sheet, row + 1, 4, "Direct cost", book.head)
    sheet.write_formula(row + 1, 8, f"=SUM(I2:I{row + 1})", book.total, float(price.totals["direct cost"]))
    return row


def _build_up(book: _Book, price: Price, last_line: int) -> str:
    """The steps in their order. Gives the reference of the price; the cost before overhead is in the cell under it."""
    sheet = book.sheet("Build-up", (26, 34, 16, 10, 16), ("step", "on", "base", "rate", "amount"))
    for row, (title, kind) in enumerate(_KINDS, start=1):
        book.text(sheet, row, 0, title)
        formula = f'=SUMIF(Lines!$D$2:$D${last_line + 1},"{kind}",Lines!$I$2:$I${last_line + 1})'
        sheet.write_formula(row, 4, formula, book.money, float(price.totals[title.lower()]))
    direct, first = len(_KINDS) + 1, len(_KINDS) + 2
    book.text(sheet, direct, 0, "Direct cost", book.head)
    sheet.write_formula(direct, 4, f"=SUM(E2:E{direct})", book.total, float(price.totals["direct cost"]))
    at = {step: first + place for place, step in enumerate(price.build_up["step"])}
    for step in price.build_up.itertuples():
        _step(book, sheet, at, direct, step)
    end = first + len(at)
    book.text(sheet, end, 0, "Price", book.head)
    sheet.write_formula(end, 4, f"=SUM(E{direct + 1}:E{end})", book.total, float(price.totals["price"]))
    book.text(sheet, end + 1, 0, "Cost before overhead", book.plain)
    sheet.write_formula(
        end + 1, 4, f"=SUM(E{direct + 1}:E{at['sales tax'] + 1})", book.money, float(price.totals["cost"])
    )
    return f"'Build-up'!$E${end + 1}"


def _step(book: _Book, sheet: Any, at: dict[str, int], direct: int, step: Any) -> None:
    """One step: base by what it is on, amount = base x rate; the minimum charge fills up to its base."""
    row = at[step.step]
    book.texts(sheet, row, 0, (step.step.capitalize(), step.on))
    bases = {
        "waste": "=E2",
        "contingency": f"=E{direct + 1}+E{at['waste'] + 1}",
        "sales tax": f"=E2+E{at['waste'] + 1}",
    }
    if step.step == "minimum charge":
        sheet.write_number(row, 2, float(step.base), book.change)
        formula = f"=MAX(0,{cell(row, 2)}-SUM(E{direct + 1}:E{row}))"
        sheet.write_formula(row, 4, formula, book.money, float(step.amount))
        return
    sheet.write_formula(row, 2, bases.get(step.step, f"=SUM(E{direct + 1}:E{row})"), book.money, float(step.base))
    sheet.write_number(row, 3, step.rate, book.percent)
    sheet.write_formula(row, 4, f"=ROUND({cell(row, 2)}*{cell(row, 3)},2)", book.money, float(step.amount))


def _shared(book: _Book, sheet: Any, column: int, values: Sequence[Decimal], total: str) -> None:
    """Shares of a total that may change: each as priced, plus its part of the change; the parts telescope, so that the column
    adds up to the cent whatever the total becomes."""
    base = float(sum(values))
    parts = np.cumsum([float(value) for value in values]) / (base or 1.0)
    before = 0.0
    for row, (value, part) in enumerate(zip(values, parts, strict=True), start=1):
        change = f"({total}-{base!r})"
        formula = f"=ROUND({float(value)!r}+ROUND({change}*{float(part)!r},2)-ROUND({change}*{before!r},2),2)"
        sheet.write_formula(row, column, formula, book.money, float(value))
        before = float(part)
    end = len(values) + 1
    letter = "ABCDEFGHIJ"[column]
    sheet.write_formula(end, column, f"=SUM({letter}2:{letter}{end})" if len(values) else "=0", book.total, base)


def _schedule(book: _Book, price: Price, last_line: int, total: str) -> None:
    sheet = book.sheet("Schedule", (14, 10, 40, 16, 16), ("phase", "section", "title", "direct cost", "price"))
    rows, amount = price.schedule, f"Lines!$I$2:$I${last_line + 1}"
    for row, value in enumerate(rows.itertuples(), start=1):
        book.texts(sheet, row, 0, (value.phase, value.section, value.title))
        same = (
            f"EXACT(Lines!$C$2:$C${last_line + 1},{cell(row, 0)})*EXACT(Lines!$B$2:$B${last_line + 1},{cell(row, 1)})"
        )
        sheet.write_formula(row, 3, f"=SUMPRODUCT({same}*{amount})", book.money, float(value.amount))
    end = len(rows) + 1
    book.text(sheet, end, 2, "Total", book.head)
    sheet.write_formula(
        end, 3, f"=SUM(D2:D{end})" if len(rows) else "=0", book.total, float(price.totals["direct cost"])
    )
    _shared(book, sheet, 4, list(rows["price"]), total)


def _sites(book: _Book, price: Price, total: str) -> None:
    sheet = book.sheet("Sites", (30, 16, 16), ("site", "cost", "price"))
    for row, site in enumerate(price.sites["site"], start=1):
        book.text(sheet, row, 0, site)
    book.text(sheet, len(price.sites) + 1, 0, "Total", book.head)
    cost = f"'Build-up'!$E${int(total.rsplit('$', 1)[1]) + 1}"
    _shared(book, sheet, 1, list(price.sites["cost"]), cost)
    _shared(book, sheet, 2, list(price.sites["price"]), total)


def _alternates(book: _Book, price: Price) -> None:
    if not len(price.alternates):
        return
    sheet = book.sheet("Alternates", (60, 16, 16), ("alternate, as reckoned with the bid", "price", "difference"))
    for row, one in enumerate(price.alternates.itertuples(), start=1):
        book.text(sheet, row, 0, one.alternate)
        sheet.write_number(row, 1, float(one.price), book.money)
        sheet.write_number(row, 2, float(one.difference), book.money)


def _cautions(book: _Book, result: Result) -> None:
    sheet = book.sheet("Cautions", (130,), ("cautions",))
    said = list(result.takeoff.cautions)
    said += [line for line in (result.water.cautions if result.water else ()) if line not in said]
    for row, line in enumerate(said, start=1):
        book.text(sheet, row, 0, line, book.wrap)


def _findings(book: _Book, result: Result) -> None:
    heads = ("severity", "file", "layer", "feature", "site", "area", "code", "message")
    sheet = book.sheet("Findings", (10, 20, 16, 12, 16, 12, 18, 110), heads)
    for row, f in enumerate(result.findings, start=1):
        book.texts(sheet, row, 0, (f.severity, f.file, f.layer, f.feature, f.site, f.area, f.code, f.message))


def _summary(book: _Book, sheet: Any, result: Result, total: str) -> None:
    """What the bid is, its price, and its phases."""
    price, bid, land = result.price, result.bid, result.ground.areas
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
    sheet.write_formula(6, 1, f"={total}", book.total, float(price.totals["price"]))
    book.text(sheet, 7, 0, f"Price a {unit}, {bid.currency}")
    a_unit = float(price.totals["price"]) / surface if surface else 0.0
    sheet.write_formula(7, 1, "=IF(B5>0,ROUND(B7/B5,2),0)", book.money, round(a_unit, 2))
    book.text(sheet, 8, 0, "Price were every lot bought alone")
    sheet.write_number(8, 1, float(price.lot_by_lot), book.money)
    _phases(book, sheet, price, unit, size)


def _phases(book: _Book, sheet: Any, price: Price, unit: str, size: float) -> None:
    """Phases under the summary; their money is summed from the schedule."""
    end, per = len(price.schedule) + 1, "price_per_ft2" if unit == "ft^2" else "price_per_m2"
    for place, head in enumerate(
        ("phase", "sites", "areas", f"surface, {unit}", "direct cost", "price", f"price a {unit}")
    ):
        book.text(sheet, 10, place, head, book.head)
    direct = price.schedule.groupby("phase")["amount"].sum()
    for row, phase in enumerate(price.phases.itertuples(), start=11):
        book.text(sheet, row, 0, phase.phase)
        sheet.write_number(row, 1, phase.sites, book.count)
        sheet.write_number(row, 2, phase.areas, book.count)
        sheet.write_number(row, 3, phase.surface_area_m2 / size, book.number)
        for column, letter, value in ((4, "D", direct.get(phase.phase, 0)), (5, "E", phase.price)):
            formula = f"=SUMPRODUCT(EXACT(Schedule!$A$2:$A${end},{cell(row, 0)})*Schedule!${letter}$2:${letter}${end})"
            sheet.write_formula(row, column, formula, book.money, float(value))
        sheet.write_formula(row, 6, f"=ROUND(F{row + 1}/D{row + 1},2)", book.money, float(getattr(phase, per)))
