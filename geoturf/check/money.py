"""The price against itself, in decimal, to the cent, down and across."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import ROUND_HALF_UP, Decimal
from typing import NamedTuple

import numpy as np

from geoturf.check.finding import told
from geoturf.model import Finding, Result
from geoturf.records import records

CENT = Decimal("0.01")


def adds_up(result: Result) -> list[Finding]:
    """All promises about money; amounts that are no amounts are not added."""
    return whole_cents(result) or [finding for promise in _SUMS for finding in promise(result)]


def whole_cents(result: Result) -> list[Finding]:
    """Every amount is a Decimal of whole cents."""
    price = result.price
    columns: dict[str, Iterable[object]] = {
        "lines": price.lines["amount"], "sites": price.sites["price"], "areas": price.areas["price"],
        "totals": price.totals.values(), "schedule": price.schedule["price"],
        "alternates": price.alternates["price"], "lot by lot": [price.lot_by_lot or CENT],
    }  # fmt: skip
    found: list[Finding] = []
    for name, column in columns.items():
        wrong = np.array([not _is_cents(amount) for amount in column], dtype=bool)
        words = [f"{name}: {amount!r} is not in cents" for amount in column]
        found += told("not-cents", wrong, words.__getitem__)
    return found


def lines(result: Result) -> list[Finding]:
    """Each line is its quantity times its unit price; the lines add up to the price."""
    table = result.price.lines
    due = [
        (Decimal(quantity) * Decimal(each)).quantize(CENT, ROUND_HALF_UP)
        for quantity, each in zip(table["quantity"], table["unit_price"], strict=True)
    ]
    wrong = np.array(
        [amount != wanted for amount, wanted in zip(table["amount"], due, strict=True)], dtype=bool
    )
    found = told(
        "line-amount",
        wrong,
        lambda k: f"line {table['line'].iloc[k]} is {table['amount'].iloc[k]}, not {due[k]}",
    )
    return found + _agree("lines-not-price", "the lines", _total(table["amount"]), _price(result))


def build_up(result: Result) -> list[Finding]:
    """From direct cost step by step to the price; the totals are those of the lines by kind."""
    table = result.price.lines
    totals = result.price.totals
    own = result.price.lines["kind"]
    found: list[Finding] = []
    for kind, word in (
        ("material", "materials"),
        ("labour", "labour"),
        ("plant", "plant"),
        ("service", "services"),
    ):
        found += _agree(
            "totals-not-lines", word, _total(table["amount"][own == kind]), totals[word]
        )
    direct = _total(table["amount"][own != "general"])
    found += _agree("totals-not-lines", "direct cost", direct, totals["direct cost"])
    price = Decimal(0)
    for book, steps in result.price.build_up.groupby("book", sort=False):
        running = _total(table["amount"][(own != "general") & (table["book"] == book)])
        for row in records(steps, _Step):
            running += row.amount
            found += _agree("build-up", f"subtotal after {row.step}", running, row.subtotal)
        price += running
    for name, amounts in result.price.build_up.groupby("step")["amount"]:
        found += _agree("build-up", str(name), _total(amounts), totals[str(name)])
    return found + _agree("build-up", "the build-up", price, _price(result))


class _Step(NamedTuple):
    step: str
    amount: Decimal
    subtotal: Decimal


def schedule(result: Result) -> list[Finding]:
    """The schedule of values adds up across (amount and steps to price) and down (to the build-up
    and the price)."""
    table = result.price.schedule
    steps = list(result.price.build_up["step"].unique())
    parts = ["amount", *steps]
    across = np.array(
        [_total(row[c] for c in parts) != row["price"] for _, row in table.iterrows()], dtype=bool
    )
    found = told(
        "schedule-across", across, lambda k: f"schedule, row {k}: does not add up to its price"
    )
    due = {"amount": result.price.totals["direct cost"], "price": _price(result)}
    due |= {step: result.price.totals[step] for step in steps}
    for column, wanted in due.items():
        found += _agree("schedule-down", f"schedule, {column}", _total(table[column]), wanted)
    return found


def shares(result: Result) -> list[Finding]:
    """Cost and price of areas add up to their sites', those of sites and phases to the bid's."""
    price = result.price
    land = result.ground.areas
    found: list[Finding] = []
    for column in ("cost", "price"):
        wanted = price.totals[column]
        found += _agree(
            "sites-not-total", f"{column} of the sites", _total(price.sites[column]), wanted
        )
        found += _agree(
            "phases-not-total", f"{column} of the phases", _total(price.phases[column]), wanted
        )
        keys = [key for key in ("phase", "site") if key in price.sites]
        own = price.areas[column].groupby([land[key].astype(str).to_numpy() for key in keys]).sum()
        sites = price.sites.set_index(keys)[column]
        wrong = np.array(
            [own.get(name, Decimal(0)) != amount for name, amount in sites.items()], dtype=bool
        )
        words = [f"site {site}: its areas do not add up to it" for site in sites.index]
        found += told("areas-not-site", wrong, words.__getitem__)
    return found


def unit_prices(result: Result) -> list[Finding]:
    """The schedule of prices: every extension is quantity x unit price, every scope comes to
    its areas' price."""
    table = result.price.schedule_of_prices
    land = result.ground.areas
    price = result.price.areas["price"].to_numpy()
    found: list[Finding] = []
    for row in records(table, _PayRow):
        due = (row.quantity * row.unit_price).quantize(CENT, ROUND_HALF_UP)
        if due != row.extension:
            found += _agree("pay-item", f"{row.scope}, {row.description}", row.extension, due)
    for scope, extensions in table.groupby("scope")["extension"]:
        kind, _, name = str(scope).partition(" ")
        of = None if kind == "bid" else land[kind].astype(str).replace("", "not given") == name
        wanted = _price(result) if of is None else _total(price[of.to_numpy()])
        found += _agree("pay-scope", str(scope), _total(extensions), wanted)
    return found


class _PayRow(NamedTuple):
    """A row of `geoturf.model.Price.schedule_of_prices`."""

    scope: str
    description: str
    quantity: Decimal
    unit_price: Decimal
    extension: Decimal


def alternates(result: Result) -> list[Finding]:
    """An alternate's price is the bid's and its difference."""
    table = result.price.alternates
    others = zip(table["price"].tolist(), table["difference"].tolist(), strict=True)
    wrong = np.array([price - more != _price(result) for price, more in others], dtype=bool)
    found = told(
        "alternate-difference",
        wrong,
        lambda k: f"alternate {table['alternate'].iloc[k]}: not the bid's and more",
    )
    return found + list(_changes(result))


def _changes(result: Result) -> Iterator[Finding]:
    """What an alternate moves: phases, sites, and each phase's lines come to the same."""
    changes = result.price.changes
    if changes is None:
        return
    for title, rows in changes.groupby("alternate", sort=False):
        whole = rows[rows["line"] == ""]
        scope = rows["scope"].str
        due = _total(whole.loc[whole["scope"] == "bid", "difference"])
        for kind in ("phase ", "site "):
            found = _total(whole.loc[scope.startswith(kind), "difference"])
            yield from _agree("alternate-rows", f"alternate {title}, by {kind}", found, due)
        for place, own in rows[scope.startswith("phase ")].groupby("scope", sort=False):
            lines = _total(own.loc[own["line"] != "", "difference"])
            phase = _total(own.loc[own["line"] == "", "difference"])
            yield from _agree("alternate-rows", f"alternate {title}, {place}", lines, phase)


PROMISES = (adds_up,)
_SUMS = (lines, build_up, schedule, unit_prices, shares, alternates)


def _price(result: Result) -> Decimal:
    return result.price.totals["price"]


def _total(amounts: Iterable[Decimal]) -> Decimal:
    return sum(amounts, Decimal(0))


def _is_cents(amount: object) -> bool:
    return isinstance(amount, Decimal) and amount == amount.quantize(CENT)


def _agree(code: str, what: str, found: Decimal, wanted: Decimal) -> list[Finding]:
    return told(code, np.array([found != wanted]), lambda _: f"{what}: {found} against {wanted}")
