"""What a price rests on: unit costs and rates, and whether each is the bid's own or geoturf's
assumption."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, NamedTuple

from geoturf.bid.alternates import booked
from geoturf.model import Finding
from geoturf.rules.base import key_of
from geoturf.rules.items import ITEMS, task_of

if TYPE_CHECKING:
    import pandas as pd

    from geoturf.bid import Bid

COST = "unit cost"
TURF = "turf price"
RATE = "production rate"
STEP = "rate"


class _Said(NamedTuple):
    """How a kind of figure is told: a finding's code, what it is, and where a bid gives it."""

    code: str
    what: str
    table: str


_SAID = {
    COST: _Said("assumed-costs", "unit cost(s)", "[price.costs]"),
    TURF: _Said("assumed-turf", "turf price(s)", "[products] price of"),
    RATE: _Said("assumed-rates", "production rate(s)", "[materials.rates]"),
    STEP: _Said("assumed-build-up", "rate(s) of the build-up", "[price]"),
}


class Figure(NamedTuple):
    """A figure that a price line rests on: its kind, the key a bid gives it by, whether the bid
    does not."""

    kind: str
    key: str
    assumed: bool


def of_line(bid: Bid, key: str, product: str, book: str = "") -> list[Figure]:
    """The figures behind a line of `geoturf.model.Price`, priced by a price ``book``; none behind
    an extra or a least price, which only a bid gives."""
    return list(_figures(booked(bid, book), key, product))


def of_line_in_words(bid: Bid, key: str, product: str, book: str = "") -> str:
    """Which of the figures behind a line are geoturf's own; "" where all are the bid's."""
    return ", ".join(one.kind for one in of_line(bid, key, product, book) if one.assumed)


def _figures(bid: Bid, key: str, product: str) -> Iterator[Figure]:
    costs = bid.price.costs
    rates = bid.materials.rates
    steps = bid.price
    if key == "turf":
        given = bid.products[product].model_fields_set
        yield Figure(TURF, product, "price" not in given)
    elif key in ITEMS:
        yield Figure(COST, ITEMS[key].cost, ITEMS[key].cost not in costs.model_fields_set)
        if task := task_of(key):
            name = next(name for name in type(rates).model_fields if key_of(name) == task)
            yield Figure(RATE, task, name not in rates.model_fields_set)
    elif (step := key.replace(" ", "_")) in type(steps).model_fields:
        yield Figure(STEP, step, step not in steps.model_fields_set)


def figures(bid: Bid, lines: pd.DataFrame) -> list[Figure]:
    """Every figure that the price lines rest on, once, in the order of the lines."""
    found: dict[tuple[str, str], bool] = {}
    for key, product, book in zip(lines["key"], lines["product"], lines["book"], strict=True):
        for one in of_line(bid, key, product, book):
            name = one.kind, one.key
            found[name] = found.get(name, False) or one.assumed
    return [Figure(kind, key, assumed) for (kind, key), assumed in found.items()]


def in_words(bid: Bid, lines: pd.DataFrame) -> str:
    """How many of the figures are assumed, which, and where to give them; "" where none is."""
    named = "; ".join(where_to_give(bid, lines))
    if named:
        return f"{share(bid, lines)} are geoturf's own assumptions, give yours: {named}"
    return ""


def share(bid: Bid, lines: pd.DataFrame) -> str:
    """How many figures of all are assumed."""
    known = figures(bid, lines)
    return f"{sum(one.assumed for one in known)} of {len(known)} unit costs and rates"


def where_to_give(bid: Bid, lines: pd.DataFrame) -> list[str]:
    """The figures that are assumed, by the table of the bid that gives them."""
    return [_where(kind, keys) for kind, keys in _wanting(bid, lines).items()]


def told(bid: Bid, lines: pd.DataFrame) -> tuple[Finding, ...]:
    """A note a kind of figure that is assumed."""
    return tuple(_note(kind, keys) for kind, keys in _wanting(bid, lines).items())


def _wanting(bid: Bid, lines: pd.DataFrame) -> dict[str, list[str]]:
    """Keys of the figures that are assumed, by kind."""
    assumed = [one for one in figures(bid, lines) if one.assumed]
    keys = {kind: [one.key for one in assumed if one.kind == kind] for kind in _SAID}
    return {kind: some for kind, some in keys.items() if some}


def _note(kind: str, keys: list[str]) -> Finding:
    said = _SAID[kind]
    share = f"{len(keys)} {said.what}"
    message = f"{share} are geoturf's own assumptions; give yours in {_where(kind, keys)}"
    return Finding("note", said.code, message)


def _where(kind: str, keys: list[str]) -> str:
    """Where a bid gives them."""
    return f"{_SAID[kind].table} {', '.join(keys)}"
