"""The multiple-choice knapsack of the choice, solved with HiGHS and proved.

Maximise the value of the conversions picked, at most one an area, within a budget and side
constraints.

How it is proved. The linear relaxation (`relaxation.py`) gives a bound no choice beats, and prices
for budget and side constraints. At those prices every option (one conversion of an area, or none)
has a loss against the area's best option, and a choice that takes an option of loss d is worth at
most the bound less d. So

1. the relaxation is rounded, and what is left of the budget put to use (`rounding.py`);
2. if that is not within the gap of the bound, an integer programme over the few areas whose options
   are nearly tied does better;
3. if that is not either, every option whose loss is more than what is missing is struck out for
   good, and the rest solved.

Where a tiered bill or a rebate's cap ties areas together, `tiered.py` solves one programme of
everything instead. Work is bounded by counts of branch-and-bound nodes, never by time, on one
thread: same input, same choice.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import NamedTuple

import highspy
import numpy as np

from geoturf.water import highs, tiered
from geoturf.water.knapsack import NONE, Knapsack, Pick, proved
from geoturf.water.relaxation import Options, Relaxation, Relaxed
from geoturf.water.rounding import rounded

_CORES = (60, 240, 960)  # areas with nearly tied options, one programme after another
_NODES = 2000
_TRIES = 3
_HALF_A_CENT = 0.005


class Core(NamedTuple):
    """A part of the knapsack: ``keep`` (N,), the options in it, and ``none`` (n,), areas that may
    also take none, both bool; ``whole`` where nothing is left out."""

    keep: np.ndarray
    none: np.ndarray
    whole: bool


class Solved(NamedTuple):
    """A core's answer: ``found``, its best choice as sorted option numbers (none where there is no
    choice), ``bound`` and branch-and-bound ``nodes``."""

    found: tuple[np.ndarray, ...]
    bound: float
    nodes: int


class Chooser:
    """Solves one knapsack for any number of budgets."""

    def __init__(self, knapsack: Knapsack):
        self.knapsack = knapsack
        self.options = _options(knapsack)

    @cached_property
    def relaxation(self) -> Relaxation:
        """There must be an option."""
        return Relaxation(self.options)

    def pick(self, budget: float, gap: float) -> Pick | None:
        """The best choice within ``budget`` (inf: no limit), to a relative ``gap`` if the node
        count allows; None where there is none."""
        options = self.options
        without = np.bincount(options.area, minlength=options.n) == 0
        if options.required[without].any():
            return None
        if not len(options.area):
            nothing = Pick(np.full(options.n, NONE), 0, 0, 0, 0, 0, 0)
            if options.fits(np.zeros(0, int)):
                return nothing
            return None
        if not np.isfinite(budget):
            budget = float(options.cost.sum()) + 1.0
        return self._within(budget, gap)

    def _within(self, budget: float, gap: float) -> Pick | None:
        """A whole solution may pass the budget by a cent of the solver's tolerance: take that off
        and try again."""
        allowance = budget
        for _ in range(_TRIES):
            pick = self._tried(allowance, gap)
            if pick is None or pick.cost <= budget + _HALF_A_CENT:
                return pick
            allowance = budget - 2 * (pick.cost - budget)
        return None

    def _tried(self, budget: float, gap: float) -> Pick | None:
        tariff = self.knapsack.tariff
        caps = self.knapsack.caps
        if tariff is not None or caps is not None:
            return tiered.pick(tariff, caps, self.options, budget, gap)
        relaxed = self.relaxation.solve(budget)
        if relaxed is None:
            return None
        return self._searched(relaxed, budget, gap)

    def _searched(self, relaxed: Relaxed, budget: float, gap: float) -> Pick | None:
        """Roundings and cores, until one is within the gap of the bound."""
        found = rounded(self.options, relaxed, budget)
        bound = relaxed.bound
        nodes = 0
        cores = self._cores(relaxed)
        while self._missing(found, bound, gap) > 0:
            core = next(cores, None)
            if core is None:
                break
            solved = self._solve(core, budget, gap / 2)
            nodes += solved.nodes
            found += solved.found
            if core.whole:  # its own bound counts, and no further core can help
                bound = min(bound, solved.bound)
                return self._proved(found, bound, relaxed.cut_off, nodes)
        missing = self._missing(found, bound, gap)
        if missing > 0:
            solved = self._solve(_not_worse(relaxed, missing), budget, gap / 2)
            nodes += solved.nodes
            found += solved.found
            if found:  # what was struck out is worth no more than the best found
                bound = min(bound, max(solved.bound, self._worth(self._best(found))))
        return self._proved(found, bound, relaxed.cut_off, nodes)

    def _proved(
        self,
        found: Sequence[np.ndarray],
        bound: float,
        cut_off: float,
        nodes: int,
    ) -> Pick | None:
        """The best of what was found; None where nothing was."""
        if not found:
            return None
        best = self._best(found)
        options = self.options
        cost = float(options.cost[best].sum())
        return proved(options.chosen(best), self._worth(best), cost, bound, cut_off, nodes)

    def _best(self, found: Sequence[np.ndarray]) -> np.ndarray:
        return max(found, key=self._worth)

    def _worth(self, options: np.ndarray) -> float:
        return float(self.options.value[options].sum())

    def _missing(self, found: Sequence[np.ndarray], bound: float, gap: float) -> float:
        """What the bound has over the best found, where that is more than the gap allows; else
        0."""
        if not found:
            return np.inf
        worth = self._worth(self._best(found))
        missing = bound - worth
        if missing > gap * abs(worth) + 1e-9:
            return missing
        return 0.0

    def _cores(self, relaxed: Relaxed) -> Iterator[Core]:
        """Ever larger cores: an area's best option always, all options of the areas most nearly
        tied."""
        n = self.options.n
        at, loss, cost = relaxed.options_and_none(self.options)
        order = np.lexsort((loss, at))
        start = np.searchsorted(at[order], np.arange(n))
        first = order[start]
        second = order[np.minimum(start + 1, len(order) - 1)]
        moved = np.maximum(np.abs(cost[second] - cost[first]), 1e-9)
        # nearly tied: the second-best option loses little for the cost it moves
        tie = np.where(at[second] == np.arange(n), loss[second] / moved, np.inf)
        nearest = np.argsort(tie, kind="stable")
        last = len(loss) - n  # behind it stand the areas' nones
        for areas in _CORES:
            is_open = np.zeros(n, dtype=bool)
            is_open[nearest[:areas]] = True
            keep = is_open[at]
            keep[first] = True
            whole = bool(is_open.all())
            yield Core(keep[:last], keep[last:], whole)
            if whole:
                return

    def _solve(self, core: Core, budget: float, gap: float) -> Solved:
        """Best choice among the options of ``core``."""
        options = self.options
        keep = core.keep
        must = options.required | ~core.none
        alone = np.bincount(options.area[keep], minlength=options.n) == 1
        # the only option of an area that must take one
        settled = keep & (must & alone)[options.area]
        undecided = np.flatnonzero(keep & ~settled)
        taken_anyway = np.flatnonzero(settled)
        model = highs.model(options, undecided, must, budget, taken_anyway, whole=True)
        solver = highs.whole_solver(gap, _NODES)
        solver.passModel(model)
        solver.run()
        info = solver.getInfo()
        nodes = max(0, info.mip_node_count)
        if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            return Solved((), np.inf, nodes)
        taken = undecided[np.array(solver.getSolution().col_value) > 0.5]
        found = np.sort(np.concatenate([taken, taken_anyway]))
        return Solved((found,), -info.mip_dual_bound * options.value_unit, nodes)


def _options(knapsack: Knapsack) -> Options:
    area, conversion = np.nonzero(knapsack.allowed)
    sides = [(side.weight[area, conversion], side.lower, side.upper) for side in knapsack.sides]
    return Options(
        area,
        conversion,
        knapsack.value[area, conversion],
        knapsack.cost[area, conversion],
        knapsack.required,
        tuple(sides),
    )


def _not_worse(relaxed: Relaxed, missing: float) -> Core:
    """All that could still be better than what has ``missing`` to the bound."""
    slack = missing + 1e-9 * abs(relaxed.bound)
    return Core(relaxed.loss <= slack, relaxed.loss_of_none <= slack, whole=False)
