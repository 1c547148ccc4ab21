"""Price: unit costs on what is bought, the build-up in its order, shared out to the cent.

Money is whole cents inside and Decimal outside. Every amount is rounded once, where it arises; shares of it (overhead on
lines, lines on areas) are handed out by largest remainder, so that every column and every row adds up to the cent.

    lines      quantity x unit price, a line an item and phase
    build-up   waste, contingency, sales tax, overhead, profit, bond, in that order, each on the subtotal it names
    loads      each step of the build-up shared among the lines it is reckoned on
    areas      each line shared among the areas of its phase by net quantity
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import numpy as np
import pandas as pd

from geoturf import data, units
from geoturf.errors import BidError
from geoturf.model import CutPlan, Finding, Ground, Price, Takeoff
from geoturf.rules import PriceRules, Product
from geoturf.rules.items import GENERAL_SECTION, GOES_WITH, ITEMS

#: steps of the build-up: name, the rule that is its rate, what it is reckoned on (in words), whether on materials only
STEPS = (
    ("waste", "waste", "materials"),
    ("contingency", "contingency", "direct cost and waste"),
    ("sales tax", "sales_tax", "materials and waste"),
    ("overhead", "overhead", "cost"),
    ("profit", "profit", "cost and overhead"),
    ("bond", "bond", "cost, overhead and profit"),
    ("minimum charge", "", "the least price, less all that"),
)
_COST_STEPS = ("waste", "contingency", "sales tax")


def price(
    ground: Ground, plan: CutPlan, takeoff: Takeoff, products: Mapping[str, Product], rules: PriceRules, currency: str
) -> Price:
    """The priced bid. Raises `BidError` where a unit cost is in another currency than ``currency``."""
    items = takeoff.items[takeoff.items["scope_kind"] == "pool"]
    costs = dict(rules.costs)
    _refuse_other_currencies(items, costs, products, rules, currency)
    lines = _lines(items, costs, products)
    steps = _build_up(lines, rules)
    loads = _loads(lines, steps)
    areas = _areas(ground, takeoff, lines, loads)
    return Price(
        lines=_with_general_lines(lines, steps),
        sites=_sites(ground, areas),
        totals=_totals(lines, steps),
        schedule=_schedule(lines, loads),
        areas=areas.map(_decimal),
        build_up=_as_table(lines, steps),
        phases=_phases(ground, areas),
        alternates=_alternates(takeoff, items, products, rules, _price_cents(lines, steps)),
    )


# ------------------------------------------------------------------------------------------------ money


def _cents(amount: Decimal) -> int:
    return int((amount * 100).quantize(Decimal(1), rounding=ROUND_HALF_UP))


def _decimal(cents: Any) -> Decimal:
    return Decimal(int(cents)).scaleb(-2)


def _part(cents: int, rate: float) -> int:
    """``rate`` of an amount, rounded to the cent."""
    return _cents(_decimal(cents) * Decimal(str(rate)))


def shared(cents: int, weights: np.ndarray) -> np.ndarray:
    """``cents`` (int) handed out by ``weights`` (n,), >= 0: whole cents that add up exactly, by largest remainder; ties go to
    the first. By equal parts where all weights are zero."""
    if not len(weights):
        return np.zeros(0, np.int64)
    weights = np.asarray(weights, float)
    total = weights.sum()
    exact = cents * (weights / total if total > 0 else np.full(len(weights), 1 / len(weights)))
    parts = np.floor(exact).astype(np.int64)
    missing = int(cents - parts.sum())
    parts[np.argsort(parts - exact, kind="stable")[:missing]] += 1
    return parts


# ------------------------------------------------------------------------------------------------ lines


def _refuse_other_currencies(
    items: pd.DataFrame, costs: Mapping[str, Any], products: Mapping[str, Product], rules: PriceRules, currency: str
) -> None:
    used = {f"price.costs.{key}": costs[key] for key in items["price_key"].unique() if costs.get(key) is not None}
    for name in items.loc[items["key"] == "turf", "product"].unique():
        used[f"products.{name}.price"] = products[name].price
        used |= {f"products.{name}.more_rolls.price": roll.price for roll in products[name].more_rolls}
    if rules.minimum is not None:
        used["price.minimum"] = rules.minimum
    used |= {f"price.alternates.costs.{key}": money for one in rules.alternates for key, money in one.costs.items()}
    wrong = {name: money for name, money in used.items() if money.currency != currency}
    if wrong:
        raise BidError(
            Finding(
                "error", "currency", f"{name} is {money}, but the bid's currency is {currency}; give it in {currency}"
            )
            for name, money in wrong.items()
        )


def _lines(items: pd.DataFrame, costs: Mapping[str, Any], products: Mapping[str, Product]) -> pd.DataFrame:
    """One line an item and phase that has a unit cost; ``cents`` its amount."""
    rows = []
    for row in items.itertuples():
        money = _turf_money(products[row.product], row.width_m) if row.key == "turf" else costs.get(row.price_key)
        if money is not None:
            rows.append(_line(row, money, products))
    columns = [
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
        "row",
    ]
    return pd.DataFrame(rows, columns=columns)


def _line(row: Any, money: units.Money, products: Mapping[str, Product]) -> dict[str, Any]:
    quantity = _quantity(row, money, products)
    return {
        "section": row.section, "phase": row.phase, "key": row.key, "kind": ITEMS[row.key].kind, "product": row.product,
        "description": row.item, "quantity": quantity, "unit": money.unit, "unit_price": money.amount,
        "cents": _cents(quantity * money.amount), "row": row.Index,
    }  # fmt: skip


def _quantity(row: Any, money: units.Money, products: Mapping[str, Product]) -> Decimal:
    """What is bought, in the unit of its price: a count of packages, or a measure to a hundredth."""
    bought = row.order * row.order_size
    if money.unit == row.order_unit or (money.dimension is None and row.key != "turf"):
        return Decimal(int(row.order))
    if row.key == "turf" and money.dimension is None:  # per roll, of turf sold by length
        bought /= row.width_m * products[row.product].roll_lengths[0]
    elif row.key == "turf" and money.dimension == (1, 0, 0):
        bought /= row.width_m
    return Decimal(str(bought / money.si)).quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)


def _turf_money(product: Product, width_m: float) -> units.Money:
    """The price of the stocked width a roll is of."""
    sizes = [(product.roll_width_m, product.price), *((roll.roll_width_m, roll.price) for roll in product.more_rolls)]
    return min(sizes, key=lambda size: abs(size[0] - width_m))[1]


# ------------------------------------------------------------------------------------------------ build-up


@dataclass(frozen=True, slots=True)
class _Step:
    name: str
    on: str
    rate: float
    base: int
    cents: int


def _build_up(lines: pd.DataFrame, rules: PriceRules) -> list[_Step]:
    direct = int(lines["cents"].sum())
    materials = int(lines.loc[lines["kind"] == "material", "cents"].sum())
    steps: list[_Step] = []
    done: dict[str, int] = {}
    for name, key, on in STEPS:
        waste, so_far = done.get("waste", 0), direct + sum(done.values())
        base = {"waste": materials, "contingency": direct + waste, "sales tax": materials + waste}.get(name, so_far)
        rate = getattr(rules, key) if key else 0.0
        cents = _part(base, rate)
        if name == "minimum charge":
            base = _cents(rules.minimum.amount) if rules.minimum is not None else 0
            cents = max(0, base - so_far)
        steps.append(_Step(name, on, rate, base, cents))
        done[name] = cents
    return steps


def _price_cents(lines: pd.DataFrame, steps: list[_Step]) -> int:
    return int(lines["cents"].sum()) + sum(step.cents for step in steps)


def _totals(lines: pd.DataFrame, steps: list[_Step]) -> dict[str, Decimal]:
    """Direct cost by kind, its sum, each step, the cost (before overhead) and the price."""
    kinds = {"material": "materials", "labour": "labour", "plant": "plant", "service": "services"}
    totals = {word: int(lines.loc[lines["kind"] == kind, "cents"].sum()) for kind, word in kinds.items()}
    totals["direct cost"] = int(lines["cents"].sum())
    for step in steps:
        if step.name == "overhead":
            totals["cost"] = totals["direct cost"] + sum(totals[name] for name in _COST_STEPS)
        totals[step.name] = step.cents
    totals["price"] = _price_cents(lines, steps)
    return {name: _decimal(cents) for name, cents in totals.items()}


def _as_table(lines: pd.DataFrame, steps: list[_Step]) -> pd.DataFrame:
    """step, on (in words), base, rate (fraction), amount, subtotal (all up to here)."""
    subtotal = int(lines["cents"].sum()) + np.cumsum([step.cents for step in steps])
    return pd.DataFrame(
        {
            "step": [s.name for s in steps], "on": [s.on for s in steps], "base": [_decimal(s.base) for s in steps],
            "rate": [s.rate for s in steps], "amount": [_decimal(s.cents) for s in steps],
            "subtotal": [_decimal(cents) for cents in subtotal],
        }
    )  # fmt: skip


def _loads(lines: pd.DataFrame, steps: list[_Step]) -> pd.DataFrame:
    """Lines-aligned cents: amount, each step's share by what it is reckoned on, cost and price (sums along the row)."""
    loads = pd.DataFrame({"amount": lines["cents"].to_numpy(np.int64)})
    material = lines["kind"].eq("material").to_numpy()
    for step in steps:
        weights = loads.sum(axis=1).to_numpy()
        if step.name in ("waste", "sales tax"):
            weights = material * (loads["amount"] + loads.get("waste", 0)).to_numpy()
        loads[step.name] = shared(step.cents, weights)
    loads["cost"] = loads[["amount", *_COST_STEPS]].sum(axis=1)
    loads["price"] = loads[["amount", *(step.name for step in steps)]].sum(axis=1)
    return loads


def _with_general_lines(lines: pd.DataFrame, steps: list[_Step]) -> pd.DataFrame:
    """The lines as printed: those of the work, then each step of the build-up, so that the column adds up to the price."""
    general = [
        {
            "section": GENERAL_SECTION, "phase": "", "key": step.name, "kind": "general", "product": "",
            "description": step.name.capitalize() + (f", {100 * step.rate:g} % of {step.on}" if step.rate else ""),
            "quantity": Decimal(1), "unit": "lump", "unit_price": _decimal(step.cents), "cents": step.cents, "row": -1,
        }
        for step in steps
        if step.cents
    ]  # fmt: skip
    printed = pd.concat([lines, pd.DataFrame(general, columns=lines.columns)], ignore_index=True)
    printed.insert(0, "line", np.arange(1, len(printed) + 1))
    printed["amount"] = [_decimal(cents) for cents in printed.pop("cents")]
    return printed


# ------------------------------------------------------------------------------------------------ shares


def _areas(ground: Ground, takeoff: Takeoff, lines: pd.DataFrame, loads: pd.DataFrame) -> pd.DataFrame:
    """Areas-aligned cents: cost, price. Each line goes to the areas of its phase by their net quantity of its item."""
    out = pd.DataFrame(0, index=ground.areas.index, columns=["cost", "price"], dtype=np.int64)
    phase, product = ground.areas["phase"].astype(str), ground.areas["product"]
    surface = ground.areas["surface_area_m2"].to_numpy()
    rows_of = {name: np.flatnonzero(phase == name) for name in phase.unique()}
    for line, load in zip(lines.itertuples(), loads.itertuples(), strict=True):
        rows = rows_of[line.phase]
        weights = takeoff.areas[line.key].to_numpy()[rows]
        if line.key == "turf":
            weights = weights * (product.to_numpy()[rows] == line.product)
        if not weights.sum() > 0:
            weights = surface[rows]
        cost = shared(load.cost, weights)
        out.iloc[rows, 0] += cost
        out.iloc[rows, 1] += cost + shared(load.price - load.cost, weights)
    return out


def _sites(ground: Ground, areas: pd.DataFrame) -> pd.DataFrame:
    sums = areas.groupby(ground.areas["site"], sort=False).sum().map(_decimal)
    return sums.rename_axis("site").reset_index()


def _phases(ground: Ground, areas: pd.DataFrame) -> pd.DataFrame:
    """phase, sites, areas, surface_area_m2, cost, price, price_per_ft2, price_per_m2."""
    land = ground.areas.assign(**areas).groupby("phase", sort=False)
    out = land.agg(
        sites=("site", "nunique"), areas=("site", "size"), surface_area_m2=("surface_area_m2", "sum"),
        cost=("cost", "sum"), price=("price", "sum"),
    ).reset_index()  # fmt: skip
    for unit, size in (("ft2", units.FT2_M2), ("m2", 1.0)):
        per = out["price"] / (out["surface_area_m2"] / size).where(out["surface_area_m2"] > 0)
        out[f"price_per_{unit}"] = [units.cents(value / 100) if np.isfinite(value) else Decimal(0) for value in per]
    out[["cost", "price"]] = out[["cost", "price"]].map(_decimal)
    return out


def _schedule(lines: pd.DataFrame, loads: pd.DataFrame) -> pd.DataFrame:
    """Schedule of values: phase, section, title, amount, each step, price; adds up down and across."""
    titles = {row["value"]: row["title"] for row in data.table("masterformat")}
    columns = [c for c in loads.columns if c != "cost"]
    keys = [lines["phase"], lines["section"]]
    table = loads[columns].groupby(keys, sort=False).sum().map(_decimal).reset_index()
    order = table.groupby("phase", sort=False)[
        "section"
    ].rank()  # sections ascending within a phase, phases as they come
    phases = {name: place for place, name in enumerate(table["phase"].unique())}
    table = table.assign(p=table["phase"].map(phases), s=order).sort_values(["p", "s"], kind="stable")
    table.insert(2, "title", table["section"].map(titles))
    return table.drop(columns=["p", "s"]).reset_index(drop=True)


# ------------------------------------------------------------------------------------------------ alternates


def _with_work(keys: tuple[str, ...]) -> list[str]:
    return [*keys, *(other for key in keys for other in GOES_WITH.get(key, ()))]


def _alternates(
    takeoff: Takeoff, items: pd.DataFrame, products: Mapping[str, Product], rules: PriceRules, base: int
) -> pd.DataFrame:
    """alternate, price, difference to the bid: the whole build-up again with something else."""
    rows = []
    options = takeoff.items[takeoff.items["scope_kind"] == "option"]
    for one in rules.alternates:
        taken = pd.concat(
            [items[~items["key"].isin(_with_work(one.leave_out))], options[options["key"].isin(_with_work(one.add))]]
        )
        instead = {name: products[one.products.get(name, name)] for name in products}
        lines = _lines(taken, dict(rules.costs) | one.costs, instead)
        cents = _price_cents(lines, _build_up(lines, rules))
        rows.append({"alternate": one.title, "price": _decimal(cents), "difference": _decimal(cents - base)})
    return pd.DataFrame(rows, columns=["alternate", "price", "difference"])
