"""The schedule of prices: pay items with quantities from the ground and unit prices that carry all
loads.

A scope (the bid, a phase, a product …) is the areas it holds, and its price is theirs. Unit prices
are rounded, so each extension misses its item's amount a little; that is carried on: from the
bid's extras, as they come, to the items measured on the ground, and among those to the item of the
next smaller quantity, whose unit price can tell finer amounts. What the last one can't carry is a
line of its own, so that every scope adds up to the cent. (Quantities of the ground stay when a
price changes, so a spreadsheet can follow that order.)
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import ROUND_HALF_UP, Decimal
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from geoturf import units
from geoturf.model import Ground, Takeoff
from geoturf.price import shares
from geoturf.price.lines import ESCALATION, hundredths
from geoturf.price.money import decimal_of
from geoturf.records import records
from geoturf.rules import Product
from geoturf.rules.items import GENERAL_SECTION, ITEMS, PAY_ITEMS

COLUMNS = [
    "scope", "item", "section", "description", "unit", "quantity", "unit_price", "extension",
]  # fmt: skip
#: kinds of scope beside the bid: their name, and the column of areas that tells them apart
_KINDS = {
    "phase": "phase",
    "product": "product",
    "use": "use",
    "yard": "yard",
    "plan": "plan",
}
_LEFT = "What unit prices cannot carry"
_NOISE = Decimal("0.000001")  # what sums of parts of cents differ by is less
_DIGITS = 6  # decimals of a cent that floats tell alike whatever the order of their sums


class _Paid(NamedTuple):
    """A pay item: what it comes to (cents) and its quantity, of each area."""

    section: str
    title: str
    unit: str
    cents: NDArray[np.float64]
    quantity: NDArray[np.float64]
    is_extra: bool = False


def schedule_of_prices(
    ground: Ground,
    takeoff: Takeoff,
    borne: pd.DataFrame,
    lines: pd.DataFrame,
    loads: pd.DataFrame,
    areas: pd.DataFrame,
    products: Mapping[str, Product],
    decimals: int,
    system: str,
) -> pd.DataFrame:
    """`COLUMNS`, scope by scope. ``lines`` and ``loads`` as `shares.of_areas` takes them, ``areas``
    as it gives them (cents); quantities in the units of ``system`` ("us" or "metric")."""
    paid = _paid(ground, takeoff, borne, lines, loads, products, system)
    price = areas["price"].to_numpy(np.int64)
    rows = [
        (scope, *row)
        for scope, own in _scopes(ground.areas)
        for row in _rows(paid, own, int(price[own].sum()), decimals)
    ]
    return pd.DataFrame(rows, columns=COLUMNS)


def _scopes(land: pd.DataFrame) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    """Name and areas of each: the bid, then kind by kind, each of which holds all areas."""
    yield "bid", np.ones(len(land), dtype=bool)
    for kind, column in _KINDS.items():
        given = land[column].astype(str) if column in land else pd.Series(dtype=object)
        if not given.ne("").any():
            continue
        named = given.replace("", "not given").to_numpy()
        for name in dict.fromkeys(named):
            yield f"{kind} {name}", named == name


def _paid(
    ground: Ground,
    takeoff: Takeoff,
    borne: pd.DataFrame,
    lines: pd.DataFrame,
    loads: pd.DataFrame,
    products: Mapping[str, Product],
    system: str,
) -> list[_Paid]:
    """The bid's pay items in their order; those that no line is paid under are left out."""
    price, extras = _by_area(ground, borne, lines, loads)
    net = takeoff.areas
    laid = ground.areas["product"]
    found = []
    for key, item in PAY_ITEMS.items():
        if key not in price:
            continue
        unit = item.shown[0 if system == "us" else 1]
        size = 1.0 if item.unit == "each" else units.unit_factor(unit)[0]
        quantity = np.asarray(item.quantity(net) / size, np.float64)
        if key != "turf":
            found.append(_Paid(item.section, item.title, unit, price[key], quantity))
            continue
        for name in dict.fromkeys(laid):
            own = laid.eq(name).to_numpy(np.float64)
            title = f"{products[name].title}, laid, joined and fastened"
            found.append(_Paid(item.section, title, unit, price[key] * own, quantity * own))
    return [*found, *extras]


def _by_area(
    ground: Ground, borne: pd.DataFrame, lines: pd.DataFrame, loads: pd.DataFrame
) -> tuple[dict[str, NDArray[np.float64]], list[_Paid]]:
    """What each area pays (cents) under each pay item, by key; and the bid's extras, each of which
    is a pay item of its own."""
    price: dict[str, NDArray[np.float64]] = {}
    extras: dict[tuple[str, str, str], _Paid] = {}
    told = records(lines, _Line)
    cents = loads["price"].to_numpy(float)
    count = len(ground.areas)
    for rows, own, part in shares.parts(ground, borne, lines):
        for place, at in enumerate(np.flatnonzero(own)):
            line = told[at]
            nothing = np.zeros(count)
            if line.key not in ITEMS:
                rises = line.key == ESCALATION
                named = (line.section, line.description, "phase" if rises else line.unit)
                one = extras.setdefault(
                    named, _Paid(*named, nothing, nothing.copy(), is_extra=True)
                )
                one.cents[rows] += part[:, place] * cents[at]
                one.quantity[rows] += part[:, place] * (1.0 if rises else float(line.quantity))
            else:
                paid = price.setdefault(ITEMS[line.key].pay, nothing)
                paid[rows] += part[:, place] * cents[at]
    return price, list(extras.values())


class _Line(NamedTuple):
    """What of a price line says what it is paid under."""

    key: str
    section: str
    description: str
    unit: str
    quantity: Decimal


def _rows(
    paid: list[_Paid], own: NDArray[np.bool_], price: int, decimals: int
) -> list[tuple[object, ...]]:
    """The rows of a scope, without its name: they add up to ``price``, cents."""
    quantities = [hundredths(float(one.quantity[own].sum())) for one in paid]
    due = [_exact(float(one.cents[own].sum())) for one in paid]
    left = (decimal_of(price) - sum(due, Decimal(0))).quantize(_NOISE)
    unit_price = Decimal(1).scaleb(-decimals)
    priced: dict[int, tuple[Decimal, Decimal]] = {}
    for at in _carried_through(paid, quantities):
        wanted = (due[at] + left).quantize(_NOISE)
        if quantities[at] > 0 and due[at] > 0:
            each = max(wanted / quantities[at], Decimal(0)).quantize(unit_price, ROUND_HALF_UP)
            priced[at] = each, units.cents(quantities[at] * each)
            left = wanted - priced[at][1]
        else:
            left = wanted
    rows: list[tuple[object, ...]] = [
        (str(at + 1), one.section, one.title, one.unit, quantities[at], *priced[at])
        for at, one in enumerate(paid)
        if at in priced
    ]
    left = units.cents(left)
    if left:
        rows.append(("", GENERAL_SECTION, _LEFT, "lump", Decimal(1), left, left))
    return rows


def _carried_through(paid: list[_Paid], quantities: list[Decimal]) -> list[int]:
    """The pay items in the order that what unit prices miss is carried on."""
    extras = [at for at, one in enumerate(paid) if one.is_extra]
    measured = [at for at, one in enumerate(paid) if not one.is_extra]
    return [*extras, *sorted(measured, key=lambda at: (-quantities[at], at))]


def _exact(cents: float) -> Decimal:
    """Money of a sum of floats."""
    return Decimal(str(round(cents, _DIGITS))).scaleb(-2)
