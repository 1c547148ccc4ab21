"""The price with other figures, by the same roundings as a run: packages whole, amounts in cents."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from geoturf.model import Price, Takeoff
from geoturf.records import records
from geoturf.risk.figures import Drawn, Figure
from geoturf.rules import MaterialRules
from geoturf.rules.items import ITEMS, task_of
from geoturf.units import whole_steps

Column = NDArray[np.float64] | float
_HAIR = 1e-4  # of a cent: halves that a float misses by its last digits go up


class _Line(NamedTuple):
    """What of a price line is reckoned again."""

    phase: str
    key: str
    kind: str
    product: str
    quantity: Decimal
    unit: str
    unit_price: Decimal
    amount: Decimal
    row: int
    per_order: float
    book: str


class _Bought(NamedTuple):
    """What of a takeoff row is rounded up again."""

    allowance: float
    order: float
    order_size: float


class _Step(NamedTuple):
    step: str
    base: Decimal
    rate: float
    scale: tuple[tuple[Decimal, float], ...]
    kinds: tuple[str, ...]


class Repriced:
    """Prices of one bid with some of its figures changed. A figure holds where a price book gives
    none of its own; layout, cut plan, loads and trucks stay as they are."""

    def __init__(
        self,
        takeoff: Takeoff,
        price: Price,
        rules: MaterialRules,
        ranged: Sequence[Figure],
        book_rates: Mapping[str, frozenset[str]],
    ):
        priced = takeoff.items[takeoff.items["scope_kind"] == "pool"]
        self.bought = dict(zip(priced.index.tolist(), records(priced, _Bought), strict=True))
        self.price, self.rules = price, rules
        self.own = {one.name: one.own for one in ranged}
        self.book_rates = book_rates
        self.nets = _nets(takeoff.items, rules.pool)

    def priced(self, drawn: Drawn) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Cost without contingency, and price, of each draw; figures not drawn are the bid's."""
        cost: Column = 0.0
        price: Column = 0.0
        work = self.price.lines[self.price.lines["kind"] != "general"]
        for book, lines in work.groupby("book", sort=False):
            of_book = self.price.build_up[self.price.build_up["book"] == book]
            amounts = self._amounts(list(records(lines, _Line)), drawn)
            bare, asked = self._built_up(amounts, list(records(of_book, _Step)), drawn)
            cost, price = cost + bare, price + asked
        count = len(next(iter(drawn.values()))) if drawn else 1
        return _wide(cost, count) / 100, _wide(price, count) / 100

    def _amounts(self, lines: list[_Line], drawn: Drawn) -> dict[str, Column]:
        """Direct cost by kind, in cents."""
        phases: dict[str, Column] = {}
        hours: dict[str, Column] = {}
        kinds: dict[str, Column] = {}
        for line in lines:
            if line.row >= 0:
                cents = self._work(line, drawn, hours)
            elif line.unit == "%":
                cents = _cents(float(line.quantity) * phases[line.phase] / 1e4)
            else:
                cents = self._extra(line, hours)
            phases[line.phase] = phases.get(line.phase, 0.0) + cents
            kinds[line.kind] = kinds.get(line.kind, 0.0) + cents
        return kinds

    def _work(self, line: _Line, drawn: Drawn, hours: dict[str, Column]) -> Column:
        """The cents of an item: order = net x (1 + allowance) / package, rounded up."""
        slower = self._slower(line, drawn)
        if line.kind == "labour":
            spent = sum(self.nets[line.row]) * slower
            hours[line.phase] = hours.get(line.phase, 0.0) + spent
        unit_price = self._unit_price(line, drawn)
        own = float(line.unit_price)
        allowance = drawn.get(f"allowances.{line.key}")
        if allowance is None and isinstance(slower, float):
            quantity: Column = float(line.quantity)
        else:
            quantity = _hundredths(self._order(line, slower, allowance) * line.per_order)
        return _cents(quantity * (own if unit_price is None else unit_price))

    def _order(self, line: _Line, slower: Column, allowance: NDArray[np.float64] | None) -> Column:
        row = self.bought[line.row]
        if line.key == "turf":
            more: Column = 0.0 if allowance is None else allowance
            return float(row.order) * (1 + more)
        over: Column = row.allowance if allowance is None else allowance
        whole: Column = 0.0
        for net in self.nets[line.row]:
            whole = whole + whole_steps(net * slower * (1 + over), row.order_size)
        return whole

    def _slower(self, line: _Line, drawn: Drawn) -> Column:
        """By what the hours of a line are multiplied."""
        rate = task_of(line.key)
        name = f"rates.{rate}"
        if name not in drawn or rate in self.book_rates.get(line.book, ()):
            return 1.0
        timed = ITEMS[line.key].rate.endswith("_h") and "_per_" not in ITEMS[line.key].rate
        return drawn[name] / self.own[name] if timed else self.own[name] / drawn[name]

    def _unit_price(self, line: _Line, drawn: Drawn) -> NDArray[np.float64] | None:
        name = f"turf.{line.product}" if line.key == "turf" else f"costs.{ITEMS[line.key].cost}"
        is_own = name in drawn and float(line.unit_price) == self.own[name]
        return drawn[name] if is_own else None

    def _extra(self, line: _Line, hours: dict[str, Column]) -> Column:
        """What is paid by the crew-hour or crew day follows the hours; other extras stay."""
        spent = hours.get(line.phase, 0.0)
        if isinstance(spent, float) or line.unit not in ("h", "day"):
            return round(100 * float(line.amount))
        days = whole_steps(spent, self.rules.hours_a_day_h)
        return _cents((_hundredths(spent) if line.unit == "h" else days) * float(line.unit_price))

    def _built_up(
        self, kinds: dict[str, Column], steps: list[_Step], drawn: Drawn
    ) -> tuple[Column, Column]:
        """Cost without contingency, and price, in cents: each step on what it is on."""
        so_far: Column = sum(kinds.values(), 0.0)
        waste: Column = 0.0
        contingency: Column = 0.0
        bare: Column = 0.0
        for step in steps:
            of = sum((kinds.get(kind, 0.0) for kind in step.kinds), 0.0) + waste
            base = of if step.kinds else so_far
            due = self._due(step, base, so_far, drawn)
            so_far = so_far + due
            waste = due if step.step == "waste" else waste
            contingency = due if step.step == "contingency" else contingency
            bare = so_far - contingency if step.step == "sales tax" else bare
        return bare, so_far

    def _due(self, step: _Step, base: Column, so_far: Column, drawn: Drawn) -> Column:
        if step.step == "minimum charge":
            return np.maximum(0.0, round(100 * float(step.base)) - so_far)
        name = f"build_up.{step.step.replace(' ', '_')}"
        rate = drawn[name] if name in drawn and step.rate == self.own[name] else step.rate
        due: Column = 0.0
        below = 0.0
        for end, part in step.scale:
            ends = 100 * float(end)
            due = due + np.clip(base - below, 0.0, ends - below) * part
            below = ends
        return _cents((due + np.maximum(base - below, 0.0) * rate) / 100)


def _nets(items: pd.DataFrame, pool: str) -> dict[int, list[float]]:
    """What is rounded up to packages by itself, of each priced row: its net, or that of each site
    where sites are pools."""
    priced = items[items["scope_kind"] == "pool"]
    if pool != "site":
        return dict(
            zip(priced.index.tolist(), ([net] for net in priced["net"].tolist()), strict=True)
        )
    alone = items[items["scope_kind"] == "site"].groupby(["phase", "key"])["net"]
    by = {name: nets.tolist() for name, nets in alone}
    named = zip(priced.index.tolist(), priced["phase"], priced["key"], priced["net"], strict=True)
    return {at: by.get((phase, key), [net]) for at, phase, key, net in named}


def _wide(value: Column, count: int) -> NDArray[np.float64]:
    """A value for each draw."""
    return np.broadcast_to(np.asarray(value, float), count)


def _cents(money: Column) -> Column:
    return np.floor(money * 100 + (0.5 + _HAIR))


def _hundredths(value: Column) -> Column:
    return np.floor(np.round(value, 9) * 100 + (0.5 + _HAIR)) / 100
