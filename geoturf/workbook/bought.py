"""What is bought and what it comes to: Materials, Lines and Build-up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any, NamedTuple

import pandas as pd

from geoturf.bid import Bid, booked
from geoturf.model import Price, Result
from geoturf.price.lines import ESCALATION, EXTRA, HIRED
from geoturf.records import records
from geoturf.rules.items import ITEMS, task_beside
from geoturf.units import Money
from geoturf.workbook.book import (
    ALLOWANCE,
    MOST_ARGUMENTS,
    NET,
    ORDER,
    SIZE,
    UP,
    Book,
    cell,
    letter,
    sum_of,
)
from geoturf.workbook.places import Sites
from geoturf.workbook.quantities import Counts
from geoturf.workbook.rates import Figure, Rates

#: columns of Lines
QUANTITY = 5
UNIT_PRICE = 7
AMOUNT = 8
FIRST_STEP = 9
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


# ---------------------------------------------------------------------------------------- Materials


def materials(
    book: Book, rates: Rates, items: pd.DataFrame, hours: Mapping[int, str], sites: Sites
) -> dict[int, int]:
    """Pools, then the bid's totals. Gives the sheet row of each takeoff row. ``hours``: the formula
    of the net quantity of each row of a task; ``sites``: where each site's net quantities stand."""
    heads = ("scope", "section", "item", "net quantity", "unit", "allowance", "order quantity", "order unit", "order size",
             "site by site", "formula")  # fmt: skip
    sheet = book.sheet("Materials", (14, 10, 34, 13, 8, 10, 13, 11, 12, 12, 110), heads)
    kept = items[items["scope_kind"].isin(["pool", "bid"])]
    at: dict[int, int] = {}
    nets: dict[tuple[str, str], str] = {}
    pools: dict[
        tuple[Any, ...], list[str]
    ] = {}  # cells of the pools' orders that a row of the bid adds up
    for row, (index, item) in enumerate(
        zip(kept.index, records(kept, _Item), strict=True), start=1
    ):
        at[int(index)] = row
        same = pools.setdefault((item.key, item.product, str(item.width_m), item.order_size), [])
        net = hours.get(int(index), "")
        if item.kind_of() == "plant":  # runs while its task does
            net = nets.get((item.phase, task_beside(item.key)), "")
        if item.scope_kind == "pool":
            nets[item.phase, item.key] = f"={cell(row, NET)}"
        _item(book, rates, sheet, row, item, net, _order(row, item, same, sites))
        if item.scope_kind == "pool":
            same.append(cell(row, ORDER))
    book.filters(sheet, len(kept), len(heads))
    return at


class _Item(NamedTuple):
    """A row of `geoturf.model.Takeoff.items` as shown."""

    scope: str
    scope_kind: str
    phase: str
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

    def kind_of(self) -> str:
        if self.scope_kind == "pool":
            return ITEMS[self.key].kind
        return ""


def _item(
    book: Book, rates: Rates, sheet: Any, row: int, item: _Item, net: str, formula: str
) -> None:
    """One row; shaded is what the price follows: the net quantity that an order is reckoned from,
    where nothing else gives it, or the order itself. ``net`` and ``formula`` are what gives
    them."""
    priced = item.scope_kind == "pool"
    reckoned = bool(formula)
    book.texts(sheet, row, 0, (item.scope, item.section, item.item))
    over = rates.allowance(ITEMS[item.key]) if priced and reckoned else None
    if net:
        sheet.write_formula(row, NET, net, book.number, item.net)
    elif priced and reckoned:
        book.to_change(sheet, row, NET, item.net, book.change)
    else:
        sheet.write_number(row, NET, item.net, book.number)
    if over is not None:
        sheet.write_formula(row, ALLOWANCE, f"={over.name}", book.share, item.allowance)
    else:
        sheet.write_number(row, ALLOWANCE, item.allowance, book.share)
    book.text(sheet, row, 4, item.unit)
    if reckoned:
        sheet.write_formula(row, 6, formula, book.count, int(item.order))
    elif priced:
        book.to_change(sheet, row, 6, item.order, book.change_count)
    else:
        sheet.write_number(row, 6, item.order, book.count)
    book.text(sheet, row, 7, item.order_unit)
    if priced and ITEMS[item.key].kind == "plant":
        day = rates.size("hours_a_day_h", "h")
        sheet.write_formula(row, SIZE, f"={day.name}", book.number, item.order_size)
    else:
        sheet.write_number(row, SIZE, item.order_size, book.number)
    sheet.write_number(row, 9, item.order_by_site, book.count)
    book.text(sheet, row, 10, item.basis)


def _order(row: int, item: _Item, pools: list[str], sites: Sites) -> str:
    """The formula of an order quantity; "" of turf, which comes from the cut plan, of sums over
    more pools than a function takes, and of what is not priced where sites are pools. Those are
    rounded up one by one."""
    if item.scope_kind == "bid":
        if len(pools) <= MOST_ARGUMENTS:
            return f"=SUM({','.join(pools)})"
        return ""
    if item.key == "turf":
        return ""
    packages = f"{cell(row, NET)}*(1+{cell(row, ALLOWANCE)})/{cell(row, SIZE)}"
    if not sites.are_pools:
        return "=" + UP.format(packages)
    own = sites.of(item.phase, item.key)
    if not own:
        return ""
    each = f"{own}/SUM({own})*{packages}"
    return f"=SUMPRODUCT(ROUNDUP(({each}-0.000001)*({own}>0),0))"


# -------------------------------------------------------------------------------------------- Lines


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
    height = _DIRECT + len(steps_of(price)) + 4
    found = []
    first = 1
    for nth, book in enumerate(dict.fromkeys(price.build_up["book"])):
        last = first + int((work(price)["book"] == book).sum()) - 1
        found.append(_Block(book, first, last, nth * height))
        first = last + 1
    return found


def lines(
    book: Book,
    rates: Rates,
    result: Result,
    rows: Mapping[int, int],
    counts: Counts,
    said: list[str],
) -> None:
    """The work's lines, each with its part of every step, its cost and its price, and what is
    ``said`` of the figures behind it that are geoturf's own."""
    price = result.price
    steps = steps_of(price)
    blocks = _blocks(price)
    heads = ("line", "section", "phase", "kind", "description", "quantity", "unit", "unit price", "amount", *steps, "cost",
             "price", "assumed")  # fmt: skip
    sheet = book.sheet(
        "Lines", (6, 10, 14, 10, 38, 13, 10, 13, *[15] * (len(steps) + 3), 30), heads
    )
    table = work(price)
    end = len(work(price)) + 1
    table = table.assign(width_m=table["row"].map(result.takeoff.items["width_m"]))
    told = records(table, _Line)
    extras = list(_extras(told, rates.bid))
    kinds = {step: _kinds(price, step) for step in steps}
    loads = {name: price.loads[name].astype(float).tolist() for name in (*steps, "cost", "price")}
    for row, line in enumerate(told, start=1):
        sheet.write_number(row, 0, line.line)
        book.texts(sheet, row, 1, (line.section, line.phase, line.kind, line.description))
        extra = extras[row - 1]
        least = line.unit == "lump" and extra is None
        quantity = "=1" if least else _quantity(rates, line, extra, rows, counts)
        sheet.write_formula(row, QUANTITY, quantity, book.number, float(line.quantity))
        book.text(sheet, row, 6, line.unit)
        if line.key == ESCALATION:  # of the phase's other lines
            rest = [at for at, other in enumerate(told, start=1) if other.phase == line.phase]
            each = f"={sum_of('Lines', AMOUNT, [at for at in rest if at != row])}/100"
        elif extra is not None:
            before = [at for at in range(1, row) if extras[at - 1] == extra]
            each = _price_of_extra(rates, line, extra, before, counts)
        elif least:
            each = _short_of_least(rates, line, told)
        else:
            each = _unit_price(rates, line, cell(row, QUANTITY))
        style = book.unit_price
        if line.key == ESCALATION:
            style = book.number
        sheet.write_formula(row, UNIT_PRICE, each, style, float(line.unit_price))
        sheet.write_formula(
            row,
            AMOUNT,
            f"=ROUND({cell(row, QUANTITY)}*{cell(row, UNIT_PRICE)},2)",
            book.money,
            float(line.amount),
        )
        for nth, step in enumerate(steps):
            block = next(one for one in blocks if row <= one.last)
            formula = _part_of_step(row, block, nth, step, kinds[step])
            sheet.write_formula(row, FIRST_STEP + nth, formula, book.money, loads[step][row - 1])
        for place, word in enumerate(("cost", "price"), start=cost_column(price)):
            last = FIRST_STEP + (3 if word == "cost" else len(steps)) - 1
            formula = f"=ROUND(SUM({cell(row, AMOUNT)}:{cell(row, last)}),2)"
            sheet.write_formula(row, place, formula, book.money, loads[word][row - 1])
        book.text(sheet, row, len(heads) - 1, said[row - 1], book.mark if said[row - 1] else None)
    book.filters(sheet, len(table), len(heads))
    book.text(sheet, end, 4, "All lines", book.head)
    names = ["amount", *steps, "cost", "price"]
    for column, name in enumerate(names, start=AMOUNT):
        formula = "=0"
        if len(table):
            formula = f"=SUM({cell(1, column)}:{cell(end - 1, column)})"
        sheet.write_formula(end, column, formula, book.total, float(sum(price.loads[name])))


class _Line(NamedTuple):
    """A row of `geoturf.model.Price.lines` as shown."""

    line: int
    section: str
    phase: str
    key: str
    kind: str
    product: str
    book: str
    description: str
    quantity: Decimal
    unit: str
    unit_price: Decimal
    amount: Decimal
    row: int
    per_order: float
    width_m: float


def work(price: Price) -> pd.DataFrame:
    """The lines of the work; the steps of the build-up have a sheet of their own."""
    return price.lines[price.lines["kind"] != "general"]


def cost_column(price: Price) -> int:
    """Column of Lines that holds the cost; the price stands beside it."""
    return FIRST_STEP + len(steps_of(price))


class _Extra(NamedTuple):
    """Which extra of which price book a line is of."""

    book: str
    nth: int
    money: Money


def _extras(lines: list[_Line], bid: Bid) -> Iterator[_Extra | None]:
    """The extra that each line is of; None for other lines. Those of a phase stand in their
    order."""
    met: Counter[str] = Counter()
    for line in lines:
        if line.key != EXTRA:
            yield None
            continue
        nth = met[line.phase]
        met[line.phase] += 1
        yield _Extra(line.book, nth, booked(bid, line.book).price.extras[nth].price)


def price_column(price: Price) -> int:
    """Column of Lines that holds the price."""
    return cost_column(price) + 1


def _quantity(
    rates: Rates, line: _Line, extra: _Extra | None, rows: Mapping[int, int], counts: Counts
) -> str:
    if extra is not None:
        return counts.quantity(line.phase, extra.money)
    if line.key == ESCALATION:
        return f"=ROUND(100*{rates.escalation().name}*{_days(rates.bid, line.phase)}/365,4)"
    order = f"Materials!{cell(rows[line.row], ORDER)}"
    hire = rates.hire(ITEMS[line.key].cost, line.book)
    if hire is not None:
        weeks = _weeks(order, rates.cost(ITEMS[line.key].cost, line.book), *hire)
        by_week = line.description.endswith(HIRED)
        if by_week:
            return f"={weeks}"
        return f"=MAX(0,{order}-{hire[1].name}*({weeks}))"
    return f"=ROUND({order}*{float(line.per_order)!r},2)"


def _weeks(order: str, day: Figure, week: Figure, covers: Figure) -> str:
    """The weeks of the cheapest hire (`geoturf.price.ordered.hired`)."""
    rest = f"{order}-{covers.name}*INT({order}/{covers.name})"
    one_more = f"IF(({rest})*{day.name}>{week.name},1,0)"
    many = f"INT({order}/{covers.name})+{one_more}"
    return f"IF({week.name}>={covers.name}*{day.name},0,{many})"


def _days(bid: Bid, phase: str) -> int:
    """From the day that unit costs are of to the start of a phase."""
    rise = bid.price.escalation
    if rise:
        return (rise.starts[phase] - rise.prices_of).days
    return 0


def _price_of_extra(
    rates: Rates, line: _Line, extra: _Extra, before: list[int], counts: Counts
) -> str:
    """The price of what an extra is counted by; of a lump sum, what this phase bears of it.
    ``before``: rows of the lines that bear the rest down to this one."""
    name = rates.extra(extra.nth, extra.book).name
    if extra.money.unit not in ("lump", "each"):
        return f"={name}"
    above = sum_of("Lines", UNIT_PRICE, before)
    return f"=ROUND({counts.part(line.phase, extra.book, name)}-{above},2)"


def _unit_price(rates: Rates, line: _Line, quantity: str) -> str:
    """The unit cost of a line of the takeoff, by the last price break that it reaches."""
    key = ITEMS[line.key].cost
    nth = 0
    if line.key == "turf":
        widths = [size.roll_width_m for size in rates.bid.products[line.product].widths]
        nth = min(range(len(widths)), key=lambda at: abs(widths[at] - line.width_m))
        key = "turf"
        price = rates.turf(line.product, nth).name
    elif line.description.endswith(HIRED):
        hire = rates.hire(key, line.book)
        price = hire[0].name if hire else ""
    else:
        price = rates.cost(key, line.book).name
    for ends, reached in rates.breaks(key, line.product, nth, line.book):
        price = f"IF({quantity}>={ends.name},{reached.name},{price})"
    return f"={price}"


def _short_of_least(rates: Rates, line: _Line, lines: list[_Line]) -> str:
    """What a phase's lines of a unit cost, or of a turf, fall short of the least order."""
    of = _ordered_as(line)
    own = [
        at
        for at, one in enumerate(lines, start=1)
        if one.row >= 0 and one.phase == line.phase and _ordered_as(one) == of
    ]
    return f"=MAX(0,{rates.least(*of).name}-{sum_of('Lines', AMOUNT, own)})"


def _ordered_as(line: _Line) -> tuple[str, str]:
    """What a least order of a line is of: its unit cost, or its turf."""
    if line.key == "turf":
        return ("turf", line.product)
    return (ITEMS[line.key].cost, "")


def _kinds(price: Price, step: str) -> tuple[str, ...]:
    """The kinds of line that a step is on; all if none are named."""
    found = price.build_up.loc[price.build_up["step"] == step, "kinds"]
    return tuple(found.iloc[0])


def _part_of_step(row: int, block: _Block, nth: int, step: str, kinds: tuple[str, ...]) -> str:
    """A line's part of the ``nth`` step: the rounded share of its block's lines down to it, less
    the parts of those above it."""
    name = letter(FIRST_STEP + nth)
    before = letter(FIRST_STEP + nth - 1)
    top = block.first + 1
    end = block.last + 1
    this = row + 1
    here = f"SUM($I${top}:${before}{this})"
    whole = f"SUM($I${top}:${before}${end})"
    if kinds:  # of materials, and of their waste
        of = f"$D${top}:$D{this}", f"$I${top}:$I{this}"
        here = "+".join(f'SUMIF({of[0]},"{kind}",{of[1]})' for kind in kinds)
        here = f"({here})"
        whole = _cell_of_step("C", nth, block)
    if step == "sales tax":
        here = f"({here}+SUM($J${top}:$J{this}))"
    equal = f"{row - block.first + 1}/{block.last - block.first + 1}"
    share = f"IF({whole}>0,{here}/{whole},{equal})"
    above = "0"
    if row > block.first:
        above = f"SUM({name}${top}:{name}{row})"
    due = f"{_cell_of_step('E', nth, block)}*{share}"
    return f"=ROUND(ROUND({due}+{HALF_UP},2)-{above},2)"


# ----------------------------------------------------------------------------------------- Build-up


def _cell_of_step(column: str, nth: int, block: _Block) -> str:
    """Reference of a cell of the ``nth`` step."""
    return f"'Build-up'!${column}${block.top + _DIRECT + nth + 2}"


def price_formula(price: Price) -> str:
    """The prices of all books together."""
    nth = len(steps_of(price))
    return "=" + "+".join(_cell_of_step("E", nth, block) for block in _blocks(price))


_HEADS = ("step", "on", "base", "rate", "amount")


def build_up(book: Book, rates: Rates, price: Price) -> None:
    """The steps in their order, down to the price and the cost before overhead; once a price
    book."""
    sheet = book.sheet("Build-up", (26, 34, 16, 10, 16), _HEADS)
    blocks = _blocks(price)
    for block in blocks:
        if len(blocks) > 1:
            own = "step, the bid's own prices"
            if block.book:
                own = f"step, price book {block.book}"
            for place, head in enumerate((own, *_HEADS[1:])):
                book.text(sheet, block.top, place, head, book.head)
        _block(book, rates, sheet, price, block)
    end = blocks[-1].top + _DIRECT + len(steps_of(price)) + 4
    book.text(sheet, end, 0, _HOW)


def _block(book: Book, rates: Rates, sheet: Any, price: Price, block: _Block) -> None:
    """The build-up of one price book."""
    of = work(price)
    direct = block.top + _DIRECT
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
        _step(book, rates, sheet, at, step, block)
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


def _step(
    book: Book, rates: Rates, sheet: Any, at: dict[str, int], step: Any, block: _Block
) -> None:
    """One step: base by what it is on, amount = base x rate; the minimum charge fills up to its
    base."""
    row = at[step.step]
    direct = block.top + _DIRECT + 1
    materials = f"E{block.top + 2}"
    book.texts(sheet, row, 0, (step.step.capitalize(), step.on))
    bases = {
        "waste": f"={materials}",
        "contingency": f"=E{direct}+E{at['waste'] + 1}",
        "sales tax": f"={materials}+E{at['waste'] + 1}",
    }
    if "plant" in step.kinds:
        bases[step.step] += f"+E{block.top + 4}"
    if step.step == "minimum charge":
        least = f"={rates.step('minimum', block.book).name}"
        sheet.write_formula(row, 2, least, book.money, float(step.base))
        formula = f"=MAX(0,{cell(row, 2)}-SUM(E{direct}:E{row}))"
        sheet.write_formula(row, 4, formula, book.money, float(step.amount))
        return
    base = bases.get(step.step, f"=SUM(E{direct}:E{row})")
    sheet.write_formula(row, 2, base, book.money, float(step.base))
    rate = rates.step(step.step.replace(" ", "_"), block.book)
    sheet.write_formula(row, 3, f"={rate.name}", book.share, step.rate)
    brackets = [rates.bracket(nth) for nth in range(len(step.scale))]
    formula = f"=ROUND({_rated(cell(row, 2), cell(row, 3), brackets)},2)"
    sheet.write_formula(row, 4, formula, book.money, float(step.amount))


def _rated(base: str, rate: str, brackets: list[tuple[Figure, Figure]]) -> str:
    """The formula of a rate on a base; bracket by bracket where there is a scale."""
    parts = []
    below = "0"
    for end, own in brackets:
        parts.append(f"MAX(0,MIN({base},{end.name})-{below})*{own.name}")
        below = end.name
    parts.append(f"MAX(0,{base}-{below})*{rate}" if parts else f"{base}*{rate}")
    return "+".join(parts)


_HOW = (
    "Each step is shared among the lines (sheet Lines) by what it is on, and a phase among its "
    "sites (Net by site) by what they "
    "take of each line: the share of all rows down to a row, rounded to the cent, less what the "
    "rows above it have. So every "
    "column adds up to the cent."
)
