"""The linear relaxation of the choice: a bound, the price of the budget, and what each option
loses at these prices.

Without side constraints the relaxation is solved by one number, the price of budget at which every
area's best option together just cost the budget. That gives the basis HiGHS starts from, so that
its simplex method only mends what side constraints ask for: a curve of budgets is then many short
solves.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import highspy
import numpy as np

from geoturf.water import highs
from geoturf.water.knapsack import NONE


@dataclass(frozen=True)
class Options:
    """All options of n areas: ``area``, ``conversion``, ``value``, ``cost``: (N,), sorted by area.
    ``required``: bool (n,).
    ``sides``: (weight (N,), lower, upper) each."""

    area: np.ndarray
    conversion: np.ndarray
    value: np.ndarray
    cost: np.ndarray
    required: np.ndarray
    sides: tuple[tuple[np.ndarray, float, float], ...]

    @property
    def n(self) -> int:
        return len(self.required)

    @cached_property
    def value_unit(self) -> float:
        """A usual value, which values are divided by for the solver; likewise ``cost_unit``."""
        return _usual(self.value)

    @cached_property
    def cost_unit(self) -> float:
        return _usual(self.cost)

    def weighted(self, budget: float) -> list[tuple[np.ndarray, float, float]]:
        """Budget and side constraints as (weight of every option, lower, upper), brought to one
        size."""
        rows = [(self.cost / self.cost_unit, -np.inf, budget / self.cost_unit)]
        for weight, lower, upper in self.sides:
            size = _usual(weight)
            rows.append((weight / size, lower / size, upper / size))
        return rows

    def chosen(self, options: np.ndarray) -> np.ndarray:
        """The conversion of each area that ``options`` take, (n,)."""
        conversion = np.full(self.n, NONE)
        conversion[self.area[options]] = self.conversion[options]
        return conversion

    def fits(self, options: np.ndarray) -> bool:
        """Whether a choice keeps the side constraints and converts what it must."""
        taken = np.zeros(self.n, dtype=bool)
        taken[self.area[options]] = True
        if not taken[self.required].all():
            return False
        sums = [float(weight[options].sum()) for weight, _, _ in self.sides]
        limits = [(lower, upper) for _, lower, upper in self.sides]
        return all(_within(total, *limit) for total, limit in zip(sums, limits, strict=True))


def _usual(values: np.ndarray) -> float:
    """The mean size, 1 where all are as good as zero."""
    size = float(np.abs(values).mean())
    return size if size > 1e-9 else 1.0


def _within(total: float, lower: float, upper: float) -> bool:
    low = lower
    if np.isfinite(lower):
        low = lower - 1e-9 * abs(lower)
    high = upper
    if np.isfinite(upper):
        high = upper + 1e-9 * abs(upper)
    return low <= total <= high


@dataclass(frozen=True)
class Relaxed:
    """``bound``; ``loss``: (N,) of picking each option; ``loss_of_none``: (n,), inf where the area
    must convert; ``start``: (n,) option of each area (-1: none) that together keep the budget."""

    bound: float
    loss: np.ndarray
    loss_of_none: np.ndarray
    cut_off: float
    start: np.ndarray

    def options_and_none(self, options: Options) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Area, loss and cost of every option and then of none for every area, (N + n,)."""
        at = np.concatenate([options.area, np.arange(options.n)])
        loss = np.concatenate([self.loss, self.loss_of_none])
        return at, loss, np.concatenate([options.cost, np.zeros(options.n)])


_HALVINGS = 60


class Relaxation:
    """The relaxation of one set of options, for any number of budgets. There must be an option."""

    def __init__(self, options: Options):
        self.options = options
        self.rows = np.unique(options.area)  # areas with an option: a row of the relaxation each
        self.table = _table(options, self.rows)
        every = np.arange(len(options.area))
        model = highs.model(options, every, options.required, np.inf, every[:0], whole=False)
        self.solver = highs.solver()
        self.solver.passModel(model)

    def solve(self, budget: float) -> Relaxed | None:
        """The relaxation for ``budget``; None where even that has no solution."""
        options = self.options
        solver = self.solver
        budget_row = len(self.rows)
        basis, picked = self._start(budget)
        solver.changeRowBounds(budget_row, -highspy.kHighsInf, budget / options.cost_unit)
        solver.setBasis(basis)
        solver.run()
        if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        solution = solver.getSolution()
        unit = options.value_unit
        dual = np.array(solution.row_dual)
        loss_of_none = np.zeros(options.n)
        loss_of_none[self.rows] = np.maximum(0.0, -dual[:budget_row]) * unit
        loss_of_none[options.required] = np.inf
        start = np.full(options.n, NONE)
        start[self.rows] = picked
        return Relaxed(
            bound=-solver.getInfo().objective_function_value * unit,
            loss=np.maximum(0.0, np.array(solution.col_dual)) * unit,
            loss_of_none=loss_of_none,
            cut_off=float(max(0.0, -dual[budget_row])) * unit / options.cost_unit,
            start=start,
        )

    def _start(self, budget: float) -> tuple[highspy.HighsBasis, np.ndarray]:
        """The basis that is optimal where no side constraint binds, and the options (one an area in
        ``rows``) it rounds to."""
        dear, cheap, price = self.split(budget)
        picked = cheap
        critical = NONE
        if price > 0:
            cost = np.append(self.options.cost, 0.0)
            picked, critical = _fill_up(dear, cheap, cost, budget)
        return self._basis(picked, dear, cheap, critical), picked

    def _basis(
        self,
        picked: np.ndarray,
        dear: np.ndarray,
        cheap: np.ndarray,
        critical: int,
    ) -> highspy.HighsBasis:
        """Options ``picked`` are basic; the area numbered ``critical`` (-1: none) is divided
        between its ``dear`` and ``cheap`` option, or an option and none, and then the budget
        binds."""
        status = highspy.HighsBasisStatus
        budget_row = len(self.rows)
        columns = np.full(len(self.options.area), status.kLower, dtype=object)
        rows = np.full(budget_row + 1 + len(self.options.sides), status.kBasic, dtype=object)
        taken = picked >= 0
        columns[picked[taken]] = status.kBasic
        rows[:budget_row][taken] = status.kUpper
        if critical >= 0:
            both = [option for option in (dear[critical], cheap[critical]) if option >= 0]
            columns[both] = status.kBasic
            rows[critical] = status.kUpper if len(both) == 2 else status.kBasic
            rows[budget_row] = status.kUpper
        basis = highspy.HighsBasis()
        basis.col_status = columns.tolist()
        basis.row_status = rows.tolist()
        basis.valid = True
        return basis

    def split(self, budget: float) -> tuple[np.ndarray, np.ndarray, float]:
        """The price of budget at which the best options just cost the budget: the options a hair
        below it (too dear together), those a hair above it (within the budget), and the price; 0
        where the budget does not bind.

        An area that is best off with one option at two prices is so at all between: gains are lines
        in the price, the best of them convex. So only areas that change are looked at again."""
        dear = self.table.best_at(0.0)
        if self._cost_of(dear) <= budget:
            return dear, dear, 0.0
        low = 0.0
        high = 1.0
        cheap = dear
        for _ in range(_HALVINGS):  # a price at which the budget is kept
            cheap = self.table.best_at(high)
            if self._cost_of(cheap) <= budget:
                break
            low = high
            dear = cheap
            high *= 4
        moving = np.flatnonzero(dear != cheap)
        table = self.table.of(moving)
        of_others = self._cost_of(cheap) - self._cost_of(cheap[moving])
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            if not low < middle < high or len(moving) <= 1:
                break
            best = table.best_at(middle)
            if of_others + self._cost_of(best) > budget:
                low = middle
                dear[moving] = best
            else:
                high = middle
                cheap[moving] = best
            still = dear[moving] != cheap[moving]
            of_others += self._cost_of(best[~still])
            moving = moving[still]
            table = table.of(still)
        return dear, cheap, high

    def _cost_of(self, best: np.ndarray) -> float:
        return float(self.options.cost[best[best >= 0]].sum())


class Table(NamedTuple):
    """Options of m areas, the cheapest of each first (so that the first of equals is the cheaper):
    ``option`` (number), ``value`` and ``cost``, (most options of an area, m), filled up with
    options worth minus infinity; ``required``: bool (m,)."""

    option: np.ndarray
    value: np.ndarray
    cost: np.ndarray
    required: np.ndarray

    def of(self, areas: np.ndarray) -> Table:
        """Some of the areas alone: their places, or which they are, bool (m,)."""
        if areas.dtype == bool and areas.all():
            return self
        return Table(*(column[..., areas] for column in self))

    def best_at(self, price: float) -> np.ndarray:
        """At a price of budget, the best option of each area (-1: none; the cheaper of equals)."""
        best = self.option[0]
        most = self.value[0] - price * self.cost[0]
        for option, value, cost in zip(
            self.option[1:], self.value[1:], self.cost[1:], strict=True
        ):  # an option at a time: columns are long, and few
            gain = value - price * cost
            best = np.where(gain > most, option, best)
            most = np.maximum(most, gain)
        return np.where((most <= 0) & ~self.required, NONE, best)


def _table(options: Options, rows: np.ndarray) -> Table:
    """The options of the areas ``rows``."""
    cheapest_first = np.lexsort((options.cost, options.area))
    row = np.searchsorted(rows, options.area[cheapest_first])
    place = np.arange(len(row)) - np.searchsorted(row, row)
    shape = int(place.max()) + 1, len(rows)
    option = np.full(shape, NONE)
    value = np.full(shape, -np.inf)
    cost = np.zeros(shape)
    option[place, row] = cheapest_first
    value[place, row] = options.value[cheapest_first]
    cost[place, row] = options.cost[cheapest_first]
    return Table(option, value, cost, options.required[rows])


def _fill_up(
    dear: np.ndarray,
    cheap: np.ndarray,
    cost: np.ndarray,
    budget: float,
) -> tuple[np.ndarray, int]:
    """From ``cheap`` towards ``dear``, area by area, as far as the budget goes: the options, and
    the area where it runs out (-1: nowhere). Option -1 costs the zero at the end of ``cost``."""
    rise = np.cumsum(cost[dear] - cost[cheap]) + cost[cheap].sum()
    over = np.flatnonzero(rise > budget)
    if not len(over):
        return dear, NONE
    critical = int(over[0])
    before = np.arange(len(dear)) < critical
    return np.where(before, dear, cheap), critical
