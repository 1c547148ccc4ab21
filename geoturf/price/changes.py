"""What an alternate adds or deducts: of the bid, of each phase and its lines, and of each site."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal
from typing import NamedTuple

import pandas as pd

from geoturf.model import Price
from geoturf.records import records

COLUMNS = [
    "alternate", "scope", "line", "change", "unit", "quantity", "quantity_change", "price", "difference",
]  # fmt: skip
OTHERS = "All other lines, by their shares of the build-up"
_NOTHING = Decimal(0)


class _Line(NamedTuple):
    """What a line is known by in two runs of a bid."""

    phase: str
    key: str
    product: str
    description: str
    unit: str


class _Sum(NamedTuple):
    quantity: Decimal
    amount: Decimal
    price: Decimal


def changes(own: Price, alternates: Iterable[tuple[str, Price]]) -> pd.DataFrame:
    """`COLUMNS`. Rows without a line hold the whole scope; those of phases add up to the bid's,
    those of sites too, and lines to their phase's. Lines are those whose quantity or cost is
    another; what moves the rest is one line more. ``quantity`` and ``price`` are with the
    alternate, the price with its part of the build-up."""
    rows = [(title, *row) for title, other in alternates for row in _rows(own, other)]
    return pd.DataFrame(rows, columns=COLUMNS)


def _rows(own: Price, other: Price) -> Iterator[tuple[object, ...]]:
    yield _row("bid", own.totals["price"], other.totals["price"])
    before, after = (_by(price.phases, "phase") for price in (own, other))
    lines = _lines(own), _lines(other)
    for phase in dict.fromkeys((*before, *after)):
        yield _row(f"phase {phase}", before.get(phase, _NOTHING), after.get(phase, _NOTHING))
        yield from _rows_of_lines(phase, *lines)
    before, after = (_by(price.sites, "site") for price in (own, other))
    for site in dict.fromkeys((*before, *after)):
        old = before.get(site, _NOTHING)
        new = after.get(site, _NOTHING)
        if old != new:
            yield _row(f"site {site}", old, new)


def _rows_of_lines(
    phase: str, before: dict[_Line, _Sum], after: dict[_Line, _Sum]
) -> Iterator[tuple[object, ...]]:
    none = _Sum(_NOTHING, _NOTHING, _NOTHING)
    rest = (_NOTHING, _NOTHING)
    for line in dict.fromkeys((*before, *after)):
        if line.phase != phase:
            continue
        old = before.get(line, none)
        new = after.get(line, none)
        if (old.quantity, old.amount) == (new.quantity, new.amount):
            rest = rest[0] + old.price, rest[1] + new.price
            continue
        more = new.quantity - old.quantity
        told = (line.description, line.unit, str(new.quantity), str(more))
        yield _row(f"phase {phase}", old.price, new.price, *told)
    if rest[0] != rest[1]:
        yield _row(f"phase {phase}", *rest, OTHERS)


def _row(
    scope: str,
    old: Decimal,
    new: Decimal,
    line: str = "",
    unit: str = "",
    quantity: str = "",
    more: str = "",
) -> tuple[object, ...]:
    word = "add" if new > old else "deduct" if new < old else "none"
    return scope, line, word, unit, quantity, more, new, new - old


def _by(table: pd.DataFrame, name: str) -> dict[str, Decimal]:
    return dict(zip(table[name].astype(str), table["price"], strict=True))


def _lines(price: Price) -> dict[_Line, _Sum]:
    """The lines of the work, those of one name added up."""
    work = price.lines[price.lines["kind"] != "general"].assign(price=price.loads["price"])
    sums: dict[_Line, _Sum] = {}
    for line, own in zip(records(work, _Line), records(work, _Sum), strict=True):
        known = sums.get(line, _Sum(_NOTHING, _NOTHING, _NOTHING))
        sums[line] = _Sum(*(a + b for a, b in zip(known, own, strict=True)))
    return sums
