"""What is bought and what it comes to: Materials, Lines and Build-up."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, NamedTuple

import pandas as pd

from geoturf import units
from geoturf.model import Price
from geoturf.records import records
from geoturf.workbook.book import MOST_ARGUMENTS, Book, cell, letter, sum_of

#: columns of Lines
AMOUNT, FIRST_STEP = 8, 9
#: a millionth: exact halves of a cent, which a float may miss to either side, go up
#: (`geoturf.price.money.HALF_UP`)
HALF_UP = "0.000001"

_KINDS = (
    ("Materials", "material"),
    ("Labour", "labour"),
    ("Plant", "plant"),
    ("Services", "service"),
)
_DIRECT = len(_KINDS) + 1  # row of the direct cost on Build-up; the steps follow it


# ------------------------------------------------------------------------------------------------ Materials


def materials(book: Book, items: pd.DataFrame) -> dict[int, int]:
    """Pools, then the bid's totals. Gives the sheet row of each takeoff row."""
    heads = ("scope", "section", "item", "net quantity", "unit", "allowance", "order quantity", "order unit", "order size",
             "site by site", "formula")  # fmt: skip
    sheet = book.sheet("Materials", (14, 10, 34, 13, 8, 10, 13, 11, 12, 12, 110), heads)
    kept = items[items["scope_kind"].isin(["pool", "bid"])]
    at: dict[int, int] = {}
    pools: dict[
        tuple[Any, ...], list[str]
    ] = {}  # cells of the pools' orders that a row of the bid adds up
    for row, (index, item) in enumerate(
        zip(kept.index, records(kept, _Item), strict=True), start=1
    ):
        at[int(index)] = row
        same = pools.setdefault((item.key, item.product, str(item.width_m), item.order_size), [])
        _item(book, sheet, row, item, _order(row, item, same))
        if item.scope_kind == "pool":
            same.append(cell(row, 6))
    book.filters(sheet, len(kept), len(heads))
    return at


class _Item(NamedTuple):
    """A row of `geoturf.model.Takeoff.items` as shown."""

    scope: str
    scope_kind: str
    section: str
    key: str
    item: str
    product: str
    width_m: float
    net: float
    unit: str
    allowance: float
    order: int
    order_unit: str
    order_size: float
    order_by_site: int
    basis: str


def _item(book: Book, sheet: Any, row: int, item: _Item, formula: str) -> None:
    """One row; shaded is what the price follows: what the order is reckoned from, or the order
    itself."""
    priced, reckoned = item.scope_kind == "pool", bool(formula)
    book.texts(sheet, row, 0, (item.scope, item.section, item.item))
    if priced and reckoned:
        book.to_change(sheet, row, 3, item.net, book.change)
        book.to_change(sheet, row, 5, item.allowance, book.percent)
    else:
        sheet.write_number(row, 3, item.net, book.number)
        sheet.write_number(row, 5, item.allowance, book.share)
    book.text(sheet, row, 4, item.unit)
    if reckoned:
        sheet.write_formula(row, 6, formula, book.count, int(item.order))
    elif priced:
        book.to_change(sheet, row, 6, item.order, book.change_count)
    else:
        sheet.write_number(row, 6, item.order, book.count)
    book.text(sheet, row, 7, item.order_unit)
    sheet.write_number(row, 8, item.order_size, book.number)
    sheet.write_number(row, 9, item.order_by_site, book.count)
    book.text(sheet, row, 10, item.basis)


def _order(row: int, item: _Item, pools: list[str]) -> str:
    """The formula of an order quantity; "" where it is no sum or rounding of this sheet: turf comes
    from the cut plan, and where sites are pools they are rounded one by one."""
    if item.scope_kind == "bid":
        return f"=SUM({','.join(pools)})" if len(pools) <= MOST_ARGUMENTS else ""
    if (
        item.key == "turf"
        or _whole(item.net * (1 + item.allowance) / item.order_size) != item.order
    ):
        return ""
    return f"=ROUNDUP({cell(row, 3)}*(1+{cell(row, 5)})/{cell(row, 8)}-0.000001,0)"


def _whole(packages: float) -> int:
    return units.round_up(packages)


# ------------------------------------------------------------------------------------------------ Lines


class _Block(NamedTuple):
    """The lines of one price book and their build-up: sheet rows (from 0) of its ``first`` and
    ``last`` line, and the row of Build-up that it stands below."""

    book: str
    first: int
    last: int
    top: int


def steps_of(price: Price) -> list[str]:
    """The steps of the build-up, in their order."""
    return list(dict.fromkeys(price.build_up["step"]))


def _blocks(price: Price) -> list[_Block]:
    """Book by book; the lines of each follow each other."""
    height, found, first = _DIRECT + len(steps_of(price)) + 4, [], 1
    for nth, book in enumerate(dict.fromkeys(price.build_up["book"])):
        last = first + int((work(price)["book"] == book).sum()) - 1
        found.append(_Block(book, first, last, nth * height))
        first = last + 1
    return found


def lines(
    book: Book, price: Price, items: pd.DataFrame, rows: dict[int, int], said: list[str]
) -> None:
    """The work's lines, each with its part of every step, its cost and its price, and what is
    ``said`` of the figures behind it that are geoturf's own."""
    steps, blocks = steps_of(price), _blocks(price)
    heads = ("line", "section", "phase", "kind", "description", "quantity", "unit", "unit price", "amount", *steps, "cost",
             "price", "assumed")  # fmt: skip
    sheet = book.sheet(
        "Lines", (6, 10, 14, 10, 38, 13, 10, 13, *[15] * (len(steps) + 3), 30), heads
    )
    table, end = work(price), len(work(price)) + 1
    told = records(table, _Line)
    for row, line in enumerate(told, start=1):
        sheet.write_number(row, 0, line.line)
        book.texts(sheet, row, 1, (line.section, line.phase, line.kind, line.description))
        _quantity(book, sheet, row, line, items, rows)
        book.text(sheet, row, 6, line.unit)
        if line.unit == "%":  # of the phase's other lines
            rest = [at for at, other in enumerate(told, start=1) if other.phase == line.phase]
            each = f"={sum_of('Lines', AMOUNT, [at for at in rest if at != row])}/100"
            sheet.write_formula(row, 7, each, book.number, float(line.unit_price))
        else:
            book.to_change(sheet, row, 7, float(line.unit_price), book.change)
        sheet.write_formula(
            row, AMOUNT, f"=ROUND({cell(row, 5)}*{cell(row, 7)},2)", book.money, float(line.amount)
        )
        for nth, step in enumerate(steps):
            block = next(one for one in blocks if row <= one.last)
            formula = _part_of_step(row, block, nth, step, _kinds(price, step))
            sheet.write_formula(
                row, FIRST_STEP + nth, formula, book.money, float(price.loads[step].iloc[row - 1])
            )
        for place, word in enumerate(("cost", "price"), start=cost_column(price)):
            last = FIRST_STEP + (3 if word == "cost" else len(steps)) - 1
            formula = f"=ROUND(SUM({cell(row, AMOUNT)}:{cell(row, last)}),2)"
            sheet.write_formula(
                row, place, formula, book.money, float(price.loads[word].iloc[row - 1])
            )
        book.text(sheet, row, len(heads) - 1, said[row - 1], book.mark if said[row - 1] else None)
    book.filters(sheet, len(table), len(heads))
    book.text(sheet, end, 4, "All lines", book.head)
    names = ["amount", *steps, "cost", "price"]
    for column, name in enumerate(names, start=AMOUNT):
        formula = f"=SUM({cell(1, column)}:{cell(end - 1, column)})" if len(table) else "=0"
        sheet.write_formula(end, column, formula, book.total, float(sum(price.loads[name])))


class _Line(NamedTuple):
    """A row of `geoturf.model.Price.lines` as shown."""

    line: int
    section: str
    phase: str
    kind: str
    description: str
    quantity: Decimal
    unit: str
    unit_price: Decimal
    amount: Decimal
    row: int
    per_order: float


def work(price: Price) -> pd.DataFrame:
    """The lines of the work; the steps of the build-up have a sheet of their own."""
    return price.lines[price.lines["kind"] != "general"]


def cost_column(price: Price) -> int:
    """Column of Lines that holds the cost; the price stands beside it."""
    return FIRST_STEP + len(steps_of(price))


def _quantity(
    book: Book, sheet: Any, row: int, line: _Line, items: pd.DataFrame, rows: dict[int, int]
) -> None:
    if line.row < 0:  # an extra of the bid, which is no takeoff row
        book.to_change(sheet, row, 5, float(line.quantity), book.change)
        return
    formula = f"=ROUND(Materials!{cell(rows[line.row], 6)}*{float(line.per_order)!r},2)"
    sheet.write_formula(row, 5, formula, book.number, float(line.quantity))


def _kinds(price: Price, step: str) -> tuple[str, ...]:
    """The kinds of line that a step is on; all if none are named."""
    found = price.build_up.loc[price.build_up["step"] == step, "kinds"]
    return tuple(found.iloc[0])


def _part_of_step(row: int, block: _Block, nth: int, step: str, kinds: tuple[str, ...]) -> str:
    """A line's part of the ``nth`` step: the rounded share of its block's lines down to it, less the
    parts of those above it."""
    name, before = letter(FIRST_STEP + nth), letter(FIRST_STEP + nth - 1)
    top, end, this = block.first + 1, block.last + 1, row + 1
    here, whole = f"SUM($I${top}:${before}{this})", f"SUM($I${top}:${before}${end})"
    if kinds:  # of materials, and of their waste
        of = f"$D${top}:$D{this}", f"$I${top}:$I{this}"
        here = "+".join(f'SUMIF({of[0]},"{kind}",{of[1]})' for kind in kinds)
        here = f"({here})"
        whole = _cell_of_step("C", nth, block)
    if step == "sales tax":
        here = f"({here}+SUM($J${top}:$J{this}))"
    equal = f"{row - block.first + 1}/{block.last - block.first + 1}"
    share = f"IF({whole}>0,{here}/{whole},{equal})"
    above = f"SUM({name}${top}:{name}{row})" if row > block.first else "0"
    due = f"{_cell_of_step('E', nth, block)}*{share}"
    return f"=ROUND(ROUND({due}+{HALF_UP},2)-{above},2)"


# ------------------------------------------------------------------------------------------------ Build-up


def _cell_of_step(column: str, nth: int, block: _Block) -> str:
    """Reference of a cell of the ``nth`` step."""
    return f"'Build-up'!${column}${block.top + _DIRECT + nth + 2}"


def price_formula(price: Price) -> str:
    """The prices of all books together."""
    nth = len(steps_of(price))
    return "=" + "+".join(_cell_of_step("E", nth, block) for block in _blocks(price))


_HEADS = ("step", "on", "base", "rate", "amount")


def build_up(book: Book, price: Price) -> None:
    """The steps in their order, down to the price and the cost before overhead; once a price
    book."""
    sheet = book.sheet("Build-up", (26, 34, 16, 10, 16), _HEADS)
    blocks = _blocks(price)
    for block in blocks:
        if len(blocks) > 1:
            own = f"step, price book {block.book}" if block.book else "step, the bid's own prices"
            for place, head in enumerate((own, *_HEADS[1:])):
                book.text(sheet, block.top, place, head, book.head)
        _block(book, sheet, price, block)
    end = blocks[-1].top + _DIRECT + len(steps_of(price)) + 4
    book.text(sheet, end, 0, _HOW)


def _block(book: Book, sheet: Any, price: Price, block: _Block) -> None:
    """The build-up of one price book."""
    of, direct = work(price), block.top + _DIRECT
    of = of[of["book"] == block.book]
    rows = f"${block.first + 1}", f"${block.last + 1}"
    kinds, amounts = (f"Lines!${c}{rows[0]}:${c}{rows[1]}" for c in "DI")
    for row, (title, kind) in enumerate(_KINDS, start=block.top + 1):
        book.text(sheet, row, 0, title)
        formula = f'=SUMIF({kinds},"{kind}",{amounts})'
        sheet.write_formula(row, 4, formula, book.money, float(_sum(of[of["kind"] == kind])))
    book.text(sheet, direct, 0, "Direct cost", book.head)
    whole = _sum(of)
    formula = f"=SUM(E{block.top + 2}:E{direct})"
    sheet.write_formula(direct, 4, formula, book.total, float(whole))
    steps = price.build_up[price.build_up["book"] == block.book]
    at = {step: direct + place for place, step in enumerate(steps["step"], start=1)}
    for step in steps.itertuples():
        _step(book, sheet, at, step, block)
    end = direct + 1 + len(at)
    book.text(sheet, end, 0, "Price", book.head)
    total = whole + sum(steps["amount"], Decimal(0))
    sheet.write_formula(end, 4, f"=SUM(E{direct + 1}:E{end})", book.total, float(total))
    book.text(sheet, end + 1, 0, "Cost before overhead", book.plain)
    cost = f"=SUM(E{direct + 1}:E{at['sales tax'] + 1})"
    paid = whole + sum(steps["amount"].iloc[: list(at).index("sales tax") + 1], Decimal(0))
    sheet.write_formula(end + 1, 4, cost, book.money, float(paid))


def _sum(lines: pd.DataFrame) -> Decimal:
    return sum(lines["amount"], Decimal(0))


def _step(book: Book, sheet: Any, at: dict[str, int], step: Any, block: _Block) -> None:
    """One step: base by what it is on, amount = base x rate; the minimum charge fills up to its
    base."""
    row, direct, materials = at[step.step], block.top + _DIRECT + 1, f"E{block.top + 2}"
    book.texts(sheet, row, 0, (step.step.capitalize(), step.on))
    bases = {
        "waste": f"={materials}",
        "contingency": f"=E{direct}+E{at['waste'] + 1}",
        "sales tax": f"={materials}+E{at['waste'] + 1}",
    }
    if "plant" in step.kinds:
        bases[step.step] += f"+E{block.top + 4}"
    if step.step == "minimum charge":
        book.to_change(sheet, row, 2, float(step.base), book.change)
        formula = f"=MAX(0,{cell(row, 2)}-SUM(E{direct}:E{row}))"
        sheet.write_formula(row, 4, formula, book.money, float(step.amount))
        return
    base = bases.get(step.step, f"=SUM(E{direct}:E{row})")
    sheet.write_formula(row, 2, base, book.money, float(step.base))
    book.to_change(sheet, row, 3, step.rate, book.percent)
    formula = f"=ROUND({_rated(cell(row, 2), cell(row, 3), step.scale)},2)"
    sheet.write_formula(row, 4, formula, book.money, float(step.amount))


def _rated(base: str, rate: str, scale: tuple[tuple[Decimal, float], ...]) -> str:
    """The formula of a rate on a base; bracket by bracket where there is a scale."""
    parts, below = [], Decimal(0)
    for end, own in scale:
        parts.append(f"MAX(0,MIN({base},{end})-{below})*{own!r}")
        below = end
    parts.append(f"MAX(0,{base}-{below})*{rate}" if parts else f"{base}*{rate}")
    return "+".join(parts)


_HOW = (
    "Each step is shared among the lines (sheet Lines) by what it is on, and a phase among its sites (Net by site) by what they "
    "take of each line: the share of all rows down to a row, rounded to the cent, less what the rows above it have. So every "
    "column adds up to the cent."
)
