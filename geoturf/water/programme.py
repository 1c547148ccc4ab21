"""The integer programme of the choice, solved with HiGHS and proved.

Maximise the value of the conversions picked, at most one an area, within a budget and side constraints (a
multiple-choice knapsack).

How it is proved. The linear relaxation (`relaxation.py`) gives a bound no choice beats, and prices for budget and side
constraints. At those prices every option (one conversion of an area, or none) has a loss against the area's best
option, and a choice that takes an option of loss d is worth at most the bound less d. So

1. the relaxation is rounded, and what is left of the budget put to use (`rounding.py`); 2. if that is not within the
gap of the bound, an integer programme over the few areas whose options are nearly tied does better; 3. if that is not
either, every option whose loss is more than what is missing is struck out for good, and the rest solved.

Where a tiered bill ties areas together, `tiered.py` solves one programme of everything instead. Work is bounded by
counts of branch-and-bound nodes, never by time, on one thread: same input, same choice.
"""

from __future__ import annotations

from collections.abc import Iterator

import highspy
import numpy as np

from geoturf.water import highs, tiered
from geoturf.water.problem import NONE, Pick, Programme, told
from geoturf.water.relaxation import Options, Relaxation, Relaxed
from geoturf.water.rounding import rounded

_CORES = (60, 240, 960)  # areas with nearly tied options, one programme after another
_NODES = 2000


class Chooser:
    """Solves one programme for any number of budgets."""

    def __init__(self, programme: Programme):
        area, conversion = np.nonzero(programme.allowed)
        self.options = Options(
            area,
            conversion,
            programme.value[area, conversion],
            programme.cost[area, conversion],
            programme.required,
            tuple((side.weight[area, conversion], side.lower, side.upper) for side in programme.sides),
        )
        self.programme = programme
        self.relaxation = Relaxation(self.options) if len(area) else None

    def pick(self, budget: float, gap: float) -> Pick | None:
        """The best choice within ``budget`` (inf: no limit), to a relative ``gap`` if the node count allows; None where
        there is none."""
        options = self.options
        if options.required[np.setdiff1d(np.arange(options.n), options.area)].any():
            return None
        if self.relaxation is None:
            return Pick(np.full(options.n, NONE), 0, 0, 0, 0, 0, 0) if options.fits(np.zeros(0, int)) else None
        if not np.isfinite(budget):
            budget = float(options.cost.sum()) + 1.0
        allowance, pick = budget, None
        for _ in range(
            3
        ):  # a whole solution may pass the budget by a cent of the solver's tolerance: take that off, repeat
            if self.programme.tariff is not None:
                pick = tiered.pick(self.programme, options, allowance, gap)
            else:
                pick = self._pick(allowance, gap)
            if pick is None or pick.cost <= budget + 0.005:
                return pick
            allowance = budget - 2 * (pick.cost - budget)
        return None

    def _pick(self, budget: float, gap: float) -> Pick | None:
        relaxed = self.relaxation.solve(budget)
        if relaxed is None:
            return None
        best, bound, nodes = rounded(self.options, relaxed, budget), relaxed.bound, 0
        for keep, none, whole in self._programmes(relaxed):
            if best is not None and self._missing(best, bound, gap) <= 0:
                break
            found, found_bound, spent = self._solve(keep, none, budget, gap / 2)
            nodes += spent
            best = found if best is None else max((best, found), key=self._worth) if found is not None else best
            if whole:  # nothing was left out: the programme's own bound counts, and no further one can help
                bound = min(bound, found_bound)
                return None if best is None else self._told(best, bound, relaxed.cut_off, nodes)
        missing = self._missing(best, bound, gap) if best is not None else np.inf
        if missing > 0:  # all that could still be better
            slack = missing + 1e-9 * abs(bound)
            found, found_bound, spent = self._solve(
                relaxed.loss <= slack, relaxed.loss_of_none <= slack, budget, gap / 2
            )
            nodes += spent
            best = found if best is None else max((best, found), key=self._worth) if found is not None else best
            if best is None:
                return None
            bound = min(bound, max(found_bound, self._worth(best)))
        return self._told(best, bound, relaxed.cut_off, nodes)

    def _told(self, best: np.ndarray, bound: float, cut_off: float, nodes: int) -> Pick:
        chosen = np.full(self.options.n, NONE)
        chosen[self.options.area[best]] = self.options.conversion[best]
        return told(chosen, self._worth(best), float(self.options.cost[best].sum()), bound, cut_off, nodes)

    def _worth(self, options: np.ndarray) -> float:
        return float(self.options.value[options].sum())

    def _missing(self, options: np.ndarray, bound: float, gap: float) -> float:
        """What the bound has over these options, where that is more than the gap allows; else 0."""
        missing = bound - self._worth(options)
        return missing if missing > gap * abs(self._worth(options)) + 1e-9 else 0.0

    def _programmes(self, relaxed: Relaxed) -> Iterator[tuple[np.ndarray, np.ndarray, bool]]:
        """Ever larger cores: options to keep, areas that may take none, and whether that is everything."""
        at, loss, cost = relaxed.options_and_none(self.options)
        order = np.lexsort((loss, at))
        start = np.searchsorted(at[order], np.arange(self.options.n))
        first = order[start]
        second = order[np.minimum(start + 1, len(order) - 1)]
        moved = np.maximum(np.abs(cost[second] - cost[first]), 1e-9)
        # nearly tied: the second-best option loses little for the cost it moves
        tie = np.where(at[second] == np.arange(self.options.n), loss[second] / moved, np.inf)
        nearest = np.argsort(tie, kind="stable")
        for areas in _CORES:
            is_open = np.zeros(self.options.n, dtype=bool)
            is_open[nearest[:areas]] = True
            keep = is_open[at]
            keep[first] = True
            whole = bool(is_open.all())
            yield keep[: len(loss) - self.options.n], keep[len(loss) - self.options.n :], whole
            if whole:
                return

    def _solve(
        self, keep: np.ndarray, none: np.ndarray, budget: float, gap: float
    ) -> tuple[np.ndarray | None, float, int]:
        """Best choice among the options kept; ``none``: (n,), areas that may also take none. Gives option numbers (None
        if there is no choice), bound, nodes."""
        options = self.options
        must = options.required | ~none
        alone = np.bincount(options.area[keep], minlength=options.n) == 1
        settled = keep & (must & alone)[options.area]  # the only option left of an area that must take one
        undecided = np.flatnonzero(keep & ~settled)
        solver = highs.solver()
        solver.setOptionValue("mip_rel_gap", gap)
        solver.setOptionValue("mip_abs_gap", 0.0)
        solver.setOptionValue("mip_max_nodes", _NODES)
        solver.passModel(highs.model(options, undecided, must, budget, np.flatnonzero(settled), whole=True))
        solver.run()
        info = solver.getInfo()
        if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            return None, np.inf, max(0, info.mip_node_count)
        taken = undecided[np.array(solver.getSolution().col_value) > 0.5]
        found = np.sort(np.concatenate([taken, np.flatnonzero(settled)]))
        return found, -info.mip_dual_bound * options.value_unit, max(0, info.mip_node_count)
