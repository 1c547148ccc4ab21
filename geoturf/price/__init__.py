"""Price: unit costs on what is bought, the build-up in its order, shared out to the cent.

books        whose prices hold where
lines        quantity x unit price, a line an item and phase
ordered      what the size of an order does: price breaks, hire by the week, least orders
build_up     the steps, each on the subtotal it names, and each line's load of them
shares       each phase among its sites, and in them areas, by what they take of each line; schedule
             of values
unit_prices  the schedule of prices: pay items, quantities from the ground, unit prices with all
             loads in
changes      what alternates add or deduct, by phase, line and site
money        whole cents; shares by rounded running sums, so that every column and every row adds
             up, as it does in a spreadsheet
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import NamedTuple

import pandas as pd

from geoturf.model import CutPlan, Finding, Ground, Price, Takeoff
from geoturf.price import shares
from geoturf.price.books import books_of, by_book
from geoturf.price.build_up import Step, as_table, build_up, loads, totals
from geoturf.price.changes import changes
from geoturf.price.lines import (
    escalation_lines,
    extra_lines,
    printed_lines,
    work_lines,
)
from geoturf.price.money import decimal_of, shared
from geoturf.price.ordered import least_lines
from geoturf.price.unit_prices import schedule_of_prices
from geoturf.rules import PriceRules, Product
from geoturf.rules.items import ITEMS
from geoturf.units import Money, cents, unit_factor

__all__ = ["beside", "by_book", "price", "seam_cost", "shared"]

_ALTERNATES = ["alternate", "price", "difference"]


def seam_cost(
    takes: Mapping[str, tuple[float, float]], rules: PriceRules, currency: str, unit: str = "each"
) -> Money:
    """What a seam costs by the bid's own unit costs, per ``unit`` ("ft" or "m"), or each, over and
    above its length. ``takes``: item -> (SI quantity a metre of seam, or each, takes, SI size of a
    purchase unit)."""
    size, dimension = (1.0, None) if unit == "each" else unit_factor(unit)
    amount = Decimal(0)
    for key, (quantity, package) in takes.items():
        money = getattr(rules.costs, ITEMS[key].cost)
        amount += (
            Decimal(quantity * size / (package if money.dimension is None else money.si))
            * money.amount
        )
    return Money(cents(amount), currency, unit, size, dimension)


def price(
    ground: Ground,
    plan: CutPlan,
    takeoff: Takeoff,
    products: Mapping[str, Product],
    rules: PriceRules,
    currency: str,
    system: str = "us",
    books: Mapping[str, PriceRules] | None = None,
) -> Price:
    """The priced bid, its schedule of prices in the units of ``system`` ("us" or "metric"); by the
    prices of ``books`` in the phases that lie under one, each built up by itself. Raises `BidError`
    where a unit cost is in another currency than ``currency``."""
    priced = [
        _priced(name, {"": rules, **(books or {})}[name], phases, takeoff, products, currency)
        for name, phases in _phases_by_book(ground, bool(books)).items()
    ]
    lines = pd.concat([one.lines for one in priced], ignore_index=True)
    loaded = pd.concat([one.loads for one in priced], ignore_index=True)
    steps = [step for one in priced for step in one.steps]
    borne, lines["share"] = shares.bearers(ground, takeoff, lines)
    areas = shares.of_areas(ground, borne, lines, loaded)
    paid = schedule_of_prices(
        ground, takeoff, borne, lines, loaded, areas, products, rules.unit_price_decimals, system
    )
    return Price(
        lines=printed_lines(lines, steps),
        borne=borne,
        loads=loaded.map(decimal_of),
        schedule_of_prices=paid,
        sites=shares.of_sites(ground, areas),
        totals=totals(lines, steps),
        schedule=shares.schedule_of_values(lines, loaded),
        areas=areas.map(decimal_of),
        build_up=pd.concat(
            [as_table(one.lines, one.steps).assign(book=one.book) for one in priced],
            ignore_index=True,
        ),
        phases=shares.of_phases(ground, areas),
        alternates=pd.DataFrame(columns=_ALTERNATES),
        findings=(*_paid_twice(ground, areas, currency), *_lumps(priced, rules, books or {})),
    )


class _Priced(NamedTuple):
    """What lies under one price book."""

    book: str
    lines: pd.DataFrame
    steps: list[Step]
    loads: pd.DataFrame


def _priced(
    book: str,
    rules: PriceRules,
    phases: list[str],
    takeoff: Takeoff,
    products: Mapping[str, Product],
    currency: str,
) -> _Priced:
    """Lines of some phases and their build-up."""
    items = takeoff.items
    items = items[(items["scope_kind"] == "pool") & items["phase"].isin(phases)]
    bought = work_lines(items, rules, products)
    bought = pd.concat([bought, least_lines(bought, rules, products)], ignore_index=True)
    lines = pd.concat([bought, extra_lines(takeoff, rules, phases)], ignore_index=True)
    lines = pd.concat([lines, escalation_lines(lines, rules)], ignore_index=True)
    steps = build_up(lines, rules, book)
    return _Priced(book, lines.assign(book=book), steps, loads(lines, steps))


def _phases_by_book(ground: Ground, any_books: bool) -> dict[str, list[str]]:
    """The phases under each price book, "" for the bid's own prices; both as they come."""
    under = (
        books_of(ground.areas)
        if any_books
        else dict.fromkeys(ground.areas["phase"].astype(str), "")
    )
    phases: dict[str, list[str]] = {}
    for phase, book in under.items():
        phases.setdefault(book, []).append(phase)
    return phases or {"": []}  # nothing to lay comes to nothing, step by step


def beside(
    price: Price, alternates: Iterable[tuple[str, Price]], alone: Price | None = None
) -> Price:
    """The price with those of other runs of the bid beside it: alternates by title, and every lot
    bought ``alone``, where that was run."""
    alternates = list(alternates)
    own = price.totals["price"]
    rows = [
        (title, other.totals["price"], other.totals["price"] - own) for title, other in alternates
    ]
    table = pd.DataFrame(rows, columns=_ALTERNATES)
    more = changes(price, alternates)
    lots = None if alone is None else alone.totals["price"]
    return replace(
        price,
        alternates=table,
        changes=more,
        lot_by_lot=lots,
    )


def _lumps(
    priced: list[_Priced], rules: PriceRules, books: Mapping[str, PriceRules]
) -> tuple[Finding, ...]:
    """What the bid's own lump sums come to more than once, as each price book is priced by
    itself."""
    lumps = [one for one in rules.extras if one.price.unit in ("lump", "each")]
    bear = [one.book for one in priced if books.get(one.book, rules).extras == rules.extras]
    again = sum(one.price.amount for one in lumps) * (len(bear) - 1)
    if len(bear) < 2 or not again:
        return ()
    named = ", ".join(one.title for one in lumps[:_NAMED]) + ", ..." * (len(lumps) > _NAMED)
    said = f"lump sums ({named}) stand in each of {len(bear)} price books, as in bids of their own"
    mend = "extras of a book ([books.NAME]) take their place there, [] for none"
    message = f"{said}: {again:,.2f} more than once for all; {mend}"
    return (Finding("note", "lump-by-book", message),)


_NAMED = 3  # lump sums that a finding names


def _paid_twice(ground: Ground, areas: pd.DataFrame, currency: str) -> tuple[Finding, ...]:
    """What the overlaps between areas add to the price: each at the price of the area that
    overlaps, in proportion to ground."""
    if ground.overlaps is None or not len(ground.overlaps):
        return ()
    at = ground.overlaps["other_index"].to_numpy()
    share = ground.overlaps["area_m2"].to_numpy() / ground.areas["ground_area_m2"].to_numpy()[at]
    money = float((areas["price"].to_numpy(float)[at] * share).sum()) / 100
    said = (
        f"{len(at)} overlap(s) between areas put about {money:,.2f} {currency} of ground paid "
        "twice into the price"
    )
    return (Finding("warning", "paid-twice", f"{said}; trim them, or take it off"),)
