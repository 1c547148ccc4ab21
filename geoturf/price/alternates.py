"""What the bid would be with something else, or without sharing."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import pandas as pd

from geoturf.errors import BidError
from geoturf.model import Finding, Takeoff
from geoturf.price.build_up import build_up, price_cents
from geoturf.price.lines import work_lines
from geoturf.price.money import decimal_of
from geoturf.rules import PriceRules, Product
from geoturf.rules.items import GOES_WITH


def alternates(
    takeoff: Takeoff, extras: pd.DataFrame, products: Mapping[str, Product], rules: PriceRules, base: int
) -> pd.DataFrame:
    """alternate, price, difference to the bid's ``base`` (cents): the whole build-up again for each."""
    _refuse_unknown(products, rules)
    kind = takeoff.items["scope_kind"]
    items, options = takeoff.items[kind == "pool"], takeoff.items[kind == "option"]
    rows = []
    for one in rules.alternates:
        kept = items[~items["key"].isin(_with_work(one.leave_out))]
        added = options[options["key"].isin(_with_work(one.add))]
        instead = {name: products[one.products.get(name, name)] for name in products}
        cents = _again(pd.concat([kept, added]), dict(rules.costs) | one.costs, instead, extras, rules)
        rows.append((one.title, decimal_of(cents), decimal_of(cents - base)))
    return pd.DataFrame(rows, columns=["alternate", "price", "difference"])


def lot_by_lot(takeoff: Takeoff, extras: pd.DataFrame, products: Mapping[str, Product], rules: PriceRules) -> Decimal:
    """What the bid would be were every lot bought alone: rounded up lot by lot, turf cut lot by lot by the plain rule."""
    items = takeoff.items[takeoff.items["scope_kind"] == "pool"]
    alone = items.assign(order=items["order_by_site"])
    return decimal_of(_again(alone, dict(rules.costs), products, extras, rules))


def _again(
    items: pd.DataFrame,
    costs: Mapping[str, Any],
    products: Mapping[str, Product],
    extras: pd.DataFrame,
    rules: PriceRules,
) -> int:
    """The price in cents of other items or costs."""
    lines = pd.concat([work_lines(items, costs, products), extras], ignore_index=True)
    return price_cents(lines, build_up(lines, rules))


def _with_work(keys: tuple[str, ...]) -> list[str]:
    """Items, and the work that comes and goes with them."""
    return [*keys, *(other for key in keys for other in GOES_WITH.get(key, ()))]


def _refuse_unknown(products: Mapping[str, Product], rules: PriceRules) -> None:
    """Raises `BidError` where an alternate names a product that is not there, or one that its cut plan does not fit."""
    faults = []
    for one in rules.alternates:
        for old, new in one.products.items():
            where = f"alternate '{one.title}'"
            unknown = [name for name in (old, new) if name not in products]
            if unknown:
                faults.append(f"{where}: '{unknown[0]}' is not one of [products] ({', '.join(products)})")
            elif abs(products[old].roll_width_m - products[new].roll_width_m) > 1e-6:
                faults.append(
                    f"{where}: rolls of '{new}' are of another width than those of '{old}'; make it a bid of its own"
                )
    if faults:
        raise BidError(Finding("error", "alternate", fault) for fault in faults)
