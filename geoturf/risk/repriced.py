"""The price with other figures, by the same roundings as a run: packages whole, amounts in
cents."""

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
from geoturf.rules import MaterialRules, PriceRules, Product
from geoturf.rules.base import Break, key_of
from geoturf.rules.item import Work, takes_time
from geoturf.rules.items import ITEMS, work_of
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


class Terms(NamedTuple):
    """What holds under a price book, "" for the bid's own: its prices, its rules of the work, and
    the production rates that it gives itself."""

    price: PriceRules
    work: MaterialRules
    rates: frozenset[str]


class Repriced:
    """Prices of one bid with some of its figures changed. A figure holds where a price book gives
    none of its own; layout, cut plan, loads and trucks stay as they are."""

    def __init__(
        self,
        land: pd.DataFrame,
        takeoff: Takeoff,
        price: Price,
        rules: MaterialRules,
        ranged: Sequence[Figure],
        terms: Mapping[str, Terms],
        products: Mapping[str, Product],
    ):
        priced = takeoff.items[takeoff.items["scope_kind"] == "pool"]
        self.bought = dict(zip(priced.index.tolist(), records(priced, _Bought), strict=True))
        self.price = price
        self.rules = rules
        self.own = {one.name: one.own for one in ranged}
        self.terms = terms
        self.products = products
        self.nets = _nets(takeoff.items, rules.pool)
        under = dict(zip(price.lines["phase"], price.lines["book"], strict=True))
        of_phase = {phase: terms[book].work for phase, book in under.items()}
        self.parts = _parts(land, takeoff, self.nets, of_phase)

    def priced(self, drawn: Drawn) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Cost without contingency, and price, of each draw; figures not drawn are the bid's."""
        cost: Column = 0.0
        price: Column = 0.0
        work = self.price.lines[self.price.lines["kind"] != "general"]
        for book, lines in work.groupby("book", sort=False):
            of_book = self.price.build_up[self.price.build_up["book"] == book]
            amounts = self._amounts(list(records(lines, _Line)), drawn)
            bare, asked = self._built_up(amounts, list(records(of_book, _Step)), drawn)
            cost = cost + bare
            price = price + asked
        count = len(next(iter(drawn.values()))) if drawn else 1
        return _wide(cost, count) / 100, _wide(price, count) / 100

    def _amounts(self, lines: list[_Line], drawn: Drawn) -> dict[str, Column]:
        """Direct cost by kind, in cents."""
        phases: dict[str, Column] = {}
        hours: dict[str, Column] = {}
        kinds: dict[str, Column] = {}
        ordered: dict[tuple[str, str], Column] = {}  # by phase and unit cost, or turf
        for line in lines:
            if line.row >= 0:
                cents = self._work(line, drawn, hours)
                order = line.phase, ITEMS[line.key].cost or line.product
                ordered[order] = ordered.get(order, 0.0) + cents
            elif line.key in ITEMS:
                due = ordered[line.phase, ITEMS[line.key].cost or line.product]
                cents = np.maximum(0.0, self._least(line) - due)
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
            spent = self._spent(line, slower)
            hours[line.phase] = hours.get(line.phase, 0.0) + spent
        unit_price = self._unit_price(line, drawn)
        allowance = drawn.get(f"allowances.{line.key}")
        if ITEMS[line.key].cost in self.terms[line.book].price.hire:
            return self._hire(line, slower, unit_price)
        if allowance is None and slower is None:
            quantity: Column = float(line.quantity)
        else:
            quantity = _hundredths(self._order(line, slower, allowance) * line.per_order)
        price = self._base(line) if unit_price is None else unit_price
        for one in self._breaks(line):
            price = np.where(quantity >= one.at_least, float(one.price.amount), price)
        return _cents(quantity * price)

    def _hire(self, line: _Line, slower: list[Column] | None, day: Column | None) -> Column:
        """The cheapest mix of days and weeks, all of it on the line of days."""
        if line.unit == "week":
            return 0.0
        terms = self.terms[line.book].price
        week = float(terms.hire[ITEMS[line.key].cost].amount)
        covers = terms.hire_days
        each = self._base(line) if day is None else day
        order = self._order(line, slower, None)
        rest = order % covers
        mixed = (order // covers) * week + np.minimum(rest * each, week)
        return _cents(np.where(week >= covers * each, order * each, mixed))

    def _order(
        self, line: _Line, slower: list[Column] | None, allowance: NDArray[np.float64] | None
    ) -> Column:
        row = self.bought[line.row]
        if line.key == "turf":
            more: Column = 0.0 if allowance is None else allowance
            return float(row.order) * (1 + more)
        over: Column = row.allowance if allowance is None else allowance
        whole: Column = 0.0
        for net in self._nets_of(line, slower):
            whole = whole + whole_steps(net * (1 + over), row.order_size)
        return whole

    def _spent(self, line: _Line, slower: list[Column] | None) -> Column:
        return sum(self._nets_of(line, slower), 0.0)

    def _nets_of(self, line: _Line, slower: list[Column] | None) -> list[Column]:
        nets: list[Column] = list(self.nets[line.row].values())
        if slower is None:
            return nets
        return [net * by for net, by in zip(nets, slower, strict=True)]

    def _slower(self, line: _Line, drawn: Drawn) -> list[Column] | None:
        """By what each net of a line, which is hours, is multiplied; None where no rate of it is
        drawn."""
        factors = {one.rate: self._factor(line, one.rate, drawn) for one in work_of(line.key)}
        if all(factor is None for factor in factors.values()):
            return None
        slower: list[Column] = []
        for parts in self.parts[line.row]:
            by: Column = 0.0
            for rate, part in parts.items():
                factor = factors[rate]
                by = by + (part if factor is None else part * factor)
            slower.append(by)
        return slower

    def _factor(self, line: _Line, rate: str, drawn: Drawn) -> NDArray[np.float64] | None:
        """By what the hours by a production rate are multiplied; None where it is not drawn."""
        key = key_of(rate)
        name = f"rates.{key}"
        if name not in drawn or key in self.terms[line.book].rates:
            return None
        timed = takes_time(rate)
        if timed:
            return drawn[name] / self.own[name]
        return self.own[name] / drawn[name]

    def _unit_price(self, line: _Line, drawn: Drawn) -> NDArray[np.float64] | None:
        name = f"turf.{line.product}" if line.key == "turf" else f"costs.{ITEMS[line.key].cost}"
        is_own = name in drawn and self._base(line) == self.own[name]
        return drawn[name] if is_own else None

    def _base(self, line: _Line) -> float:
        """The unit price of a line below its price breaks."""
        if line.key != "turf":
            own = dict(self.terms[line.book].price.costs)[ITEMS[line.key].cost]
            return float(own.amount)
        return float(
            self.products[line.product].price.amount if self._breaks(line) else line.unit_price
        )

    def _least(self, line: _Line) -> float:
        """The least that a phase's order of a unit cost, or of a turf, is charged; cents."""
        turf = self.products[line.product].least_charge if line.key == "turf" else None
        money = turf or self.terms[line.book].price.least[ITEMS[line.key].cost]
        return round(100 * float(money.amount))

    def _breaks(self, line: _Line) -> tuple[Break, ...]:
        """The price breaks of a line; of turf, of its own width, which its price tells."""
        if line.key != "turf":
            return self.terms[line.book].price.breaks.get(ITEMS[line.key].cost, ())
        turf = self.products[line.product]
        prices = {turf.price.amount, *(one.price.amount for one in turf.breaks)}
        if line.unit_price in prices:
            return turf.breaks
        return ()

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


def _nets(items: pd.DataFrame, pool: str) -> dict[int, dict[str, float]]:
    """What is rounded up to packages by itself, of each priced row: its net, by "", or by site that
    of each where sites are pools."""
    priced = items[items["scope_kind"] == "pool"]
    rows = zip(priced.index.tolist(), priced["phase"], priced["key"], priced["net"], strict=True)
    alone = items[items["scope_kind"] == "site"] if pool == "site" else items.iloc[:0]
    by = {
        name: dict(zip(own["site"], own["net"].tolist(), strict=True))
        for name, own in alone.groupby(["phase", "key"])
    }
    return {at: by.get((phase, key), {"": net}) for at, phase, key, net in rows}


def _parts(
    land: pd.DataFrame,
    takeoff: Takeoff,
    nets: Mapping[int, Mapping[str, float]],
    rules: Mapping[str, MaterialRules],
) -> dict[int, list[dict[str, float]]]:
    """What part of each net, which is hours, each production rate has, by field of `Rates`;
    ``rules`` of each phase."""
    q = takeoff.areas
    phase = land["phase"].astype(str)
    site = land["site"].astype(str)
    rows = takeoff.items.loc[list(nets)]
    found: dict[int, list[dict[str, float]]] = {}
    for at, own, key in zip(rows.index.tolist(), rows["phase"], rows["key"], strict=True):
        work = work_of(key)
        if len(work) < 2:
            found[at] = [{one.rate: 1.0 for one in work}] * len(nets[at])
            continue
        found[at] = [
            _parted(q[phase.eq(own) & (site.eq(name) if name else True)], work, rules[own])
            for name in nets[at]
        ]
    return found


def _parted(q: pd.DataFrame, work: tuple[Work, ...], rules: MaterialRules) -> dict[str, float]:
    hours = {one.rate: float(one(q, rules).sum()) for one in work}
    return {rate: own / sum(hours.values()) for rate, own in hours.items()}


def _wide(value: Column, count: int) -> NDArray[np.float64]:
    """A value for each draw."""
    return np.broadcast_to(np.asarray(value, float), count)


def _cents(money: Column) -> Column:
    return np.floor(money * 100 + (0.5 + _HAIR))


def _hundredths(value: Column) -> Column:
    return np.floor(np.round(value, 9) * 100 + (0.5 + _HAIR)) / 100
