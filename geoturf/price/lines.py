"""Price lines: what is bought times what it costs, a line an item and phase."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import ROUND_HALF_UP, Decimal
from typing import NamedTuple

import numpy as np
import pandas as pd

from geoturf import units
from geoturf.model import Takeoff
from geoturf.price.build_up import Step
from geoturf.price.money import cents_of, decimal_of, shared
from geoturf.price.ordered import hired, reached
from geoturf.records import records
from geoturf.rules import PriceRules, Product
from geoturf.rules.base import Break
from geoturf.rules.items import GENERAL_SECTION, ITEMS
from geoturf.rules.product import StockedWidth

#: key of the lines of what else the bid carries
EXTRA = "extra"
#: ends the title of what is hired by the week
HIRED = "by the week"
#: key of the lines of what prices rise by
ESCALATION = "escalation"

# ``weigh``: the column of `Takeoff.areas` by which a line is shared among areas; ``row``: its row
# of `Takeoff.items`, -1 if none; ``per_order``: quantity a purchase unit of that row
COLUMNS = [
    "section",
    "phase",
    "key",
    "kind",
    "product",
    "description",
    "quantity",
    "unit",
    "unit_price",
    "cents",
    "weigh",
    "row",
    "per_order",
]


def work_lines(
    items: pd.DataFrame, rules: PriceRules, products: Mapping[str, Product]
) -> pd.DataFrame:
    """One line for each takeoff row that has a unit cost, with `COLUMNS`; ``cents`` its amount. Two
    for plant that is hired by the week too."""
    costs: dict[str, units.Money | None] = dict(rules.costs)
    lines = []
    for at, row in zip(items.index, records(items, _Bought), strict=True):
        money = _money(row, costs, products)
        if money is not None:
            per_order = _per_order(row, money, products)
            quantity = _quantity(row.order, per_order)
            of = (row.section, row.phase, row.key, ITEMS[row.key].kind, row.product)
            borne = (row.key, at, per_order or 1.0)
            for title, count, price in _charged(row, quantity, money, rules, products):
                lines.append((*of, title, *_amount(count, price), *borne))
    return pd.DataFrame(lines, columns=COLUMNS)


class _Bought(NamedTuple):
    """What of a takeoff row is priced; ``order_size`` in SI units, ``width_m`` of turf."""

    section: str
    phase: str
    key: str
    product: str
    item: str
    order: int
    order_unit: str
    order_size: float
    width_m: float
    price_key: str


def _money(
    row: _Bought, costs: Mapping[str, units.Money | None], products: Mapping[str, Product]
) -> units.Money | None:
    """The unit cost of a row; None where the bid has none for it."""
    if row.key == "turf":
        return _width_of(products[row.product], row.width_m).price
    return costs.get(row.price_key)


def _charged(
    row: _Bought,
    quantity: Decimal,
    money: units.Money,
    rules: PriceRules,
    products: Mapping[str, Product],
) -> Iterator[tuple[str, Decimal, units.Money]]:
    """Title, quantity and unit price of each line of a row."""
    week = rules.hire.get(row.price_key)
    if week is None:
        yield row.item, quantity, reached(money, _breaks(row, rules, products), quantity)
        return
    weeks, days = hired(row.order, money, week, rules.hire_days)
    yield row.item, Decimal(days), money
    yield f"{row.item}, {HIRED}", Decimal(weeks), week


def _breaks(row: _Bought, rules: PriceRules, products: Mapping[str, Product]) -> tuple[Break, ...]:
    """The price breaks of a row; of turf, of the product's own width."""
    if row.key != "turf":
        return rules.breaks.get(row.price_key, ())
    product = products[row.product]
    own = _width_of(product, row.width_m) == product.widths[0]
    return product.breaks if own else ()


def _quantity(order: int, per_order: float | None) -> Decimal:
    """Packages counted, or what they measure."""
    if per_order is None:
        return Decimal(order)
    return hundredths(order * per_order)


def _amount(quantity: Decimal, money: units.Money) -> tuple[Decimal, str, Decimal, int]:
    return quantity, money.unit, money.amount, cents_of(quantity * money.amount)


def _per_order(row: _Bought, money: units.Money, products: Mapping[str, Product]) -> float | None:
    """What a purchase unit is in the unit of its price, where that is a measure; None where
    packages are counted."""
    if money.unit == row.order_unit or (money.dimension is None and row.key != "turf"):
        return None
    if row.key != "turf":
        return row.order_size / money.si
    return row.order_size / _width_of(products[row.product], row.width_m).unit_m2 / money.si


def hundredths(value: float) -> Decimal:
    """To two decimals. Halves up, those too that a float misses by its last digits."""
    return Decimal(str(round(float(value), 9))).quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)


def _width_of(product: Product, width_m: float) -> StockedWidth:
    """The stocked width a roll is of."""
    return min(product.widths, key=lambda size: abs(size.roll_width_m - width_m))


def extra_lines(takeoff: Takeoff, rules: PriceRules, phases: list[str]) -> pd.DataFrame:
    """A line an extra of the bid and one of the ``phases``; a lump sum is shared among them by
    surface."""
    counts = takeoff.counts.loc[phases] if takeoff.counts is not None else pd.DataFrame()
    lumps = [shared(cents_of(extra.price.amount), counts["surface_m2"]) for extra in rules.extras]
    lines = []
    for nth, counted in enumerate(records(counts.rename_axis("phase").reset_index(), _Counts)):
        for extra, lump in zip(rules.extras, lumps, strict=True):
            told = (extra.section, counted.phase, EXTRA, extra.kind, "", extra.title)
            weigh = "sites" if extra.price.unit == "site" else "surface"
            if extra.price.unit in ("lump", "each"):
                cents = int(lump[nth])
                amount = (Decimal(1), "lump", decimal_of(cents), cents)
            else:
                amount = _amount(_counted(extra.price, counted), extra.price)
            lines.append((*told, *amount, weigh, -1, 1.0))
    return pd.DataFrame(lines, columns=COLUMNS).astype({"per_order": float})


def escalation_lines(lines: pd.DataFrame, rules: PriceRules) -> pd.DataFrame:
    """A line a phase that starts later than the day the unit costs are of: a percentage of the
    phase's other ``lines``."""
    made = []
    rise = rules.escalation
    for phase, direct in lines.groupby("phase", sort=False)["cents"].sum().items():
        if rise is None or (start := rise.starts.get(str(phase))) is None:
            continue
        days = (start - rise.prices_of).days
        percent = Decimal(str(100 * rise.rate)) * days / _YEAR_DAYS
        title = f"Escalation to {start}, {100 * rise.rate:g} % a year"
        told = (GENERAL_SECTION, phase, ESCALATION, "service", "", title)
        quantity = percent.quantize(_PERCENT, ROUND_HALF_UP)
        each = decimal_of(direct) / 100
        made.append((*told, quantity, "%", each, cents_of(quantity * each), "surface", -1, 1.0))
    return pd.DataFrame(made, columns=COLUMNS).astype({"per_order": float})


_YEAR_DAYS = 365
_PERCENT = Decimal("0.0001")


class _Counts(NamedTuple):
    """A row of `geoturf.model.Takeoff.counts`."""

    phase: str
    sites: int
    surface_m2: float
    loads: int
    rolls: int
    crew_h: float
    crew_days: int
    freight_kg: float
    trucks: int


def _counted(money: units.Money, counts: _Counts) -> Decimal:
    """How many of the units that an extra is priced by a phase has."""
    whole = {
        "site": counts.sites,
        "phase": 1,
        "load": counts.loads,
        "truck": counts.trucks,
        "roll": counts.rolls,
        "day": counts.crew_days,
    }
    if money.unit in whole:
        return Decimal(whole[money.unit])
    measure = {
        (0, 0, 1): counts.crew_h,
        (0, 1, 0): counts.freight_kg,
        (2, 0, 0): counts.surface_m2,
    }
    return hundredths(measure[money.dimension or (2, 0, 0)] / money.si)


def printed_lines(lines: pd.DataFrame, steps: list[Step]) -> pd.DataFrame:
    """The lines as printed: those of the work, then each step of the build-up, so that the column
    adds up to the price."""
    general = [
        (GENERAL_SECTION, "", step.name, "general", "", step.title(), Decimal(1), "lump", decimal_of(step.cents), step.cents, "",
         -1, 1.0, step.book)
        for step in steps
        if step.cents
    ]  # fmt: skip
    steps_too = [pd.DataFrame(general, columns=[*COLUMNS, "book"])] if general else []
    printed = pd.concat([lines, *steps_too], ignore_index=True)
    printed["share"] = printed["share"].fillna("")
    printed.insert(0, "line", np.arange(1, len(printed) + 1))
    amounts = [decimal_of(cents) for cents in printed.pop("cents")]
    printed["amount"] = pd.Series(amounts, dtype=object)
    return printed.drop(columns="weigh")
