"""What an order's size does to its price: breaks by quantity, plant hired by the day and the week,
the least an order is charged."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal

import pandas as pd

from geoturf.price.money import cents_of, decimal_of
from geoturf.rules import PriceRules, Product
from geoturf.rules.base import Break
from geoturf.rules.items import ITEMS
from geoturf.units import Money


def reached(money: Money, breaks: Iterable[Break], quantity: Decimal) -> Money:
    """The unit price of a ``quantity``: that of the last break which it reaches, for all of it."""
    for one in breaks:
        if quantity >= Decimal(str(one.at_least)):
            money = one.price
    return money


def hired(days: int, day: Money, week: Money, days_a_week: int) -> tuple[int, int]:
    """The cheapest (weeks, days) of hire that cover some ``days`` of work, the fewest weeks of
    equals; ``days_a_week``: days of work that a week's hire covers."""
    if week.amount >= days_a_week * day.amount:
        return 0, days
    weeks, rest = divmod(days, days_a_week)
    if rest * day.amount > week.amount:
        return (weeks + 1, 0)
    return (weeks, rest)


def least_lines(
    lines: pd.DataFrame, rules: PriceRules, products: Mapping[str, Product]
) -> pd.DataFrame:
    """A line for each least order and phase: what the phase's ``lines`` of that unit cost, or of
    that turf, fall short of it, 0 where they do not."""
    made = []
    for of, least in _leasts(lines, rules, products):
        for _, own in lines[of].groupby("phase", sort=False):
            first = own.iloc[0]
            short = max(0, cents_of(least.amount) - int(own["cents"].sum()))
            title = f"Least order of {least}: {first['description']}"
            made.append(
                first.to_dict()
                | {
                    "description": title,
                    "quantity": Decimal(1),
                    "unit": "lump",
                    "row": -1,
                }
                | {
                    "unit_price": decimal_of(short),
                    "cents": short,
                    "per_order": 1.0,
                }
            )
    return pd.DataFrame(made, columns=lines.columns).astype({"per_order": float})


def _leasts(
    lines: pd.DataFrame, rules: PriceRules, products: Mapping[str, Product]
) -> Iterator[tuple[pd.Series, Money]]:
    """Which lines each least order is of, and what it is."""
    cost = lines["key"].map(lambda key: ITEMS[key].cost)
    for key, least in rules.least.items():
        yield cost == key, least
    for name, turf in products.items():
        if turf.least_charge is not None:
            yield (lines["key"] == "turf") & (lines["product"] == name), turf.least_charge
