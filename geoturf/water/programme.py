"""The integer programme of the choice, solved with HiGHS and proved.

Maximise the value of the conversions picked, at most one an area, within a budget and side constraints (a
multiple-choice knapsack).

How it is proved. The linear relaxation gives a bound no choice beats, and prices for budget and side constraints. At
those prices every option (one conversion of an area, or none) has a loss against the area's best option, and a choice
that takes an option of loss d is worth at most the bound less d. So (1) an integer programme over the few areas whose
options are nearly tied finds a good choice; (2) if that is not yet within the gap of the bound, every option whose loss
is more than what is missing is struck out for good, and the rest is solved exactly. Work is bounded by counts of
branch-and-bound nodes, never by time, on one thread: same input, same choice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import highspy
import numpy as np

NONE = -1
_CORES = (60, 240, 960)  # areas with nearly tied options
_NODES = 2000


@dataclass(frozen=True)
class Side:
    """A side constraint: lower <= sum of ``weight`` over the options picked <= upper. ``weight``: (n, k)."""

    name: str
    weight: np.ndarray
    lower: float
    upper: float


@dataclass(frozen=True)
class Programme:
    """n areas, k conversions. ``value``, ``cost``: (n, k). ``allowed``: bool (n, k). ``required``: bool (n,), must
    convert."""

    value: np.ndarray
    cost: np.ndarray
    allowed: np.ndarray
    required: np.ndarray
    sides: tuple[Side, ...] = ()


@dataclass(frozen=True)
class Pick:
    """``chosen``: (n,) number of the conversion, -1 for none. ``bound``: no choice is worth more. ``gap``: (bound -
    value) / value.
    ``cut_off``: what one more unit of budget is worth, by the relaxation. ``nodes``: branch-and-bound nodes spent."""

    chosen: np.ndarray
    value: float
    cost: float
    bound: float
    gap: float
    cut_off: float
    nodes: int


@dataclass(frozen=True)
class _Relaxed:
    """``bound``; ``loss``: (options,) of picking each; ``loss_of_none``: (n,), inf where the area must convert."""

    bound: float
    loss: np.ndarray
    loss_of_none: np.ndarray
    cut_off: float


class Chooser:
    """Solves one programme for any number of budgets; the relaxation is kept warm between them."""

    def __init__(self, programme: Programme):
        self.programme = programme
        self.area, self.conversion = np.nonzero(programme.allowed)
        self.value = programme.value[self.area, self.conversion]
        self.cost = programme.cost[self.area, self.conversion]
        self.n = len(programme.required)
        self.rows, self.first = np.unique(
            self.area, return_index=True
        )  # areas with an option: a row of the relaxation each
        self.unit = max(1e-9, float(np.abs(self.cost).mean())) if len(self.cost) else 1.0  # keeps the rows of one size
        self.worth = max(1e-12, float(np.abs(self.value).mean())) if len(self.value) else 1.0
        self.relaxation = _solver()
        if len(self.area):
            every = np.arange(len(self.area))
            self.relaxation.passModel(self._model(every, programme.required, np.inf, every[:0], whole=False))

    def pick(self, budget: float, gap: float) -> Pick | None:
        """The best choice within ``budget`` (inf: no limit), to a relative ``gap`` if the node count allows; None where
        there is none."""
        if self.programme.required[np.setdiff1d(np.arange(self.n), self.rows)].any():
            return None
        if len(self.area) == 0:
            empty = np.full(self.n, NONE)
            return None if not self._fits(empty) else Pick(empty, 0, 0, 0, 0, 0, 0)
        if not np.isfinite(budget):
            budget = float(np.maximum(self.cost, 0).sum()) + 1.0
        allowance, attempt = budget, None
        for _ in range(
            3
        ):  # rounding a solution of the solver may pass the budget by less than a cent: take that off and repeat
            attempt = self._pick(allowance, gap)
            if attempt is None or attempt.cost <= budget + 0.005:
                return attempt
            allowance = budget - 2 * (attempt.cost - budget)
        return attempt

    def _pick(self, budget: float, gap: float) -> Pick | None:
        relaxed = self._relax(budget)
        if relaxed is None:
            return None
        best, bound, nodes, whole = None, relaxed.bound, 0, False
        for areas in _CORES:  # (1) a few nearly tied areas, more of them while that is not enough
            if whole or (best is not None and self._missing(best, bound, gap) <= 0):
                break
            keep, none, whole = self._core(relaxed, areas)
            found, core_bound, spent = self._solve(keep, none, budget, gap / 2)
            best, nodes = self._better(best, found), nodes + spent
            bound = min(bound, core_bound) if whole else bound
        if best is None:
            return None
        missing = self._missing(best, bound, gap)
        if missing > 0 and not whole:  # (2) all that could still be better
            slack = missing + 1e-9 * abs(bound)
            keep, none = relaxed.loss <= slack, relaxed.loss_of_none <= slack
            found, core_bound, spent = self._solve(keep, none, budget, gap / 2)
            best, nodes = self._better(best, found), nodes + spent
            bound = min(bound, max(core_bound, self._worth_of(best)))
        return self._told(best, max(bound, self._worth_of(best)), relaxed.cut_off, nodes)

    def _missing(self, options: np.ndarray, bound: float, gap: float) -> float:
        """What the bound has over these options, where that is more than the gap allows; else 0."""
        missing = bound - self._worth_of(options)
        return missing if missing > gap * abs(self._worth_of(options)) else 0.0

    def _better(self, one: np.ndarray | None, other: np.ndarray | None) -> np.ndarray | None:
        if one is None or other is None:
            return other if one is None else one
        return max((one, other), key=self._worth_of)

    def _told(self, options: np.ndarray, bound: float, cut_off: float, nodes: int) -> Pick:
        chosen = np.full(self.n, NONE)
        chosen[self.area[options]] = self.conversion[options]
        value, cost = self._worth_of(options), float(self.cost[options].sum())
        gap = (bound - value) / abs(value) if value else float(bound > 1e-9)
        return Pick(chosen, value, cost, bound, max(0.0, gap), cut_off, nodes)

    def _worth_of(self, options: np.ndarray) -> float:
        return float(self.value[options].sum())

    def _fits(self, chosen: np.ndarray) -> bool:
        taken = chosen >= 0
        rows = np.flatnonzero(taken)
        return all(
            side.lower - 1e-9 <= side.weight[rows, chosen[rows]].sum() <= side.upper + 1e-9
            for side in self.programme.sides
        )

    # --- the relaxation ---------------------------------------------------------------------------------------------

    def _relax(self, budget: float) -> _Relaxed | None:
        solver, budget_row = self.relaxation, len(self.rows)
        solver.changeRowBounds(budget_row, -highspy.kHighsInf, budget / self.unit)
        solver.setBasis(self._start(budget))
        solver.run()
        if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            return None
        solution = solver.getSolution()
        loss = np.maximum(0.0, np.array(solution.col_dual)) * self.worth
        dual = np.array(solution.row_dual)
        loss_of_none = np.zeros(self.n)
        loss_of_none[self.rows] = np.maximum(0.0, -dual[:budget_row]) * self.worth
        loss_of_none[self.programme.required] = np.inf
        bound = -solver.getInfo().objective_function_value * self.worth
        return _Relaxed(bound, loss, loss_of_none, max(0.0, -dual[budget_row]) * self.worth / self.unit)

    def _start(self, budget: float) -> highspy.HighsBasis:
        """The basis that is optimal where no side constraint binds, so that the simplex method only mends what they ask
        for."""
        high, low, price = _split(self._best_at, budget)
        status = highspy.HighsBasisStatus
        options = np.full(len(self.area), status.kLower, dtype=object)
        rows = np.full(len(self.rows) + 1 + len(self.programme.sides), status.kBasic, dtype=object)
        if price > 0:
            rows[len(self.rows)] = status.kUpper
        chosen, critical = _fill_up(high, low, np.append(self.cost, 0.0), budget) if price > 0 else (low, NONE)
        taken = chosen >= 0
        options[chosen[taken]] = status.kBasic
        rows[: len(self.rows)][taken] = status.kUpper
        if critical >= 0:  # this area is divided between two options, or an option and none
            both = [option for option in (high[critical], low[critical]) if option >= 0]
            options[both] = status.kBasic
            rows[critical] = status.kUpper if len(both) == 2 else status.kBasic
        basis = highspy.HighsBasis()
        basis.col_status, basis.row_status = options.tolist(), rows.tolist()
        basis.valid = True
        return basis

    def _best_at(self, price: float) -> tuple[np.ndarray, float]:
        """At a price of budget, the best option of each area in ``rows`` (-1: none; the cheaper of equals), and their
        cost."""
        gain = self.value - price * self.cost
        order = np.lexsort((self.cost, -gain, self.area))
        best = order[self.first]
        none = (gain[best] <= 0) & ~self.programme.required[self.rows]
        return np.where(none, NONE, best), float(self.cost[best][~none].sum())

    def _core(self, relaxed: _Relaxed, areas: int) -> tuple[np.ndarray, np.ndarray, bool]:
        """Options to keep (one bool an option, one an area for none) so that ``areas`` areas keep a choice and the
        others their best; and whether that is everything. Areas are nearly tied whose second-best option loses least
        for the cost it moves."""
        at = np.concatenate([self.area, np.arange(self.n)])
        loss = np.concatenate([relaxed.loss, relaxed.loss_of_none])
        cost = np.concatenate([self.cost, np.zeros(self.n)])
        order = np.lexsort((loss, at))
        first = order[np.searchsorted(at[order], np.arange(self.n))]
        place = np.searchsorted(at[order], np.arange(self.n)) + 1
        second = order[np.minimum(place, len(order) - 1)]
        tie = np.where(
            at[second] == np.arange(self.n), loss[second] / np.maximum(np.abs(cost[second] - cost[first]), 1e-9), np.inf
        )
        chosen = np.argsort(tie, kind="stable")[:areas]
        open_area = np.zeros(self.n, dtype=bool)
        open_area[chosen] = True
        keep = open_area[at]
        keep[first] = True
        return keep[: len(self.area)], keep[len(self.area) :], bool(open_area.all())

    # --- integer programmes -----------------------------------------------------------------------------------------

    def _solve(
        self, keep: np.ndarray, none: np.ndarray, budget: float, gap: float
    ) -> tuple[np.ndarray | None, float, int]:
        """Best choice among the options kept (``none``: (n,), the areas that may also take none): option numbers (None
        if there is no choice), bound, nodes."""
        must = self.programme.required | ~none
        alone = np.bincount(self.area[keep], minlength=self.n) == 1
        settled = keep & (must & alone)[self.area]  # the only option left of an area that must take one
        open_options = np.flatnonzero(keep & ~settled)
        solver = _solver()
        solver.setOptionValue("mip_rel_gap", gap)
        solver.setOptionValue("mip_abs_gap", 0.0)
        solver.setOptionValue("mip_max_nodes", _NODES)
        solver.passModel(self._model(open_options, must, budget, np.flatnonzero(settled), whole=True))
        solver.run()
        info = solver.getInfo()
        if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
            return None, np.inf, max(0, info.mip_node_count)
        taken = open_options[np.array(solver.getSolution().col_value) > 0.5]
        options = np.sort(np.concatenate([taken, np.flatnonzero(settled)]))
        return options, -info.mip_dual_bound * self.worth, max(0, info.mip_node_count)

    def _model(
        self, options: np.ndarray, must: np.ndarray, budget: float, settled: np.ndarray, whole: bool
    ) -> highspy.HighsLp:
        """Columns: ``options``. Rows: one an area among them, the budget, the side constraints, less what the
        ``settled`` options take. Minimises minus the value."""
        area = self.area[options]
        present, row = np.unique(area, return_inverse=True)
        rows, cols, entries = [row], [np.arange(len(options))], [np.ones(len(options))]
        lower, upper = [must[present].astype(float)], [np.ones(len(present))]
        for number, (weight, low, high) in enumerate(self._weighted(budget)):
            at = np.flatnonzero(weight[options])
            rows.append(np.full(len(at), len(present) + number))
            cols.append(at)
            entries.append(weight[options][at])
            lower.append(np.array([low - weight[settled].sum()]))
            upper.append(np.array([high - weight[settled].sum()]))
        model = highspy.HighsLp()
        model.num_col_, model.num_row_ = len(options), len(present) + number + 1
        model.col_cost_ = -self.value[options] / self.worth
        model.offset_ = -self.value[settled].sum() / self.worth
        model.col_lower_ = np.zeros(len(options))
        # in the relaxation the area's own row bounds an option, so that the row's dual is the loss of taking none
        model.col_upper_ = np.full(len(options), 1.0 if whole else highspy.kHighsInf)
        model.row_lower_ = np.nan_to_num(np.concatenate(lower), neginf=-highspy.kHighsInf)
        model.row_upper_ = np.nan_to_num(np.concatenate(upper), posinf=highspy.kHighsInf)
        _fill(model, np.concatenate(rows), np.concatenate(cols), np.concatenate(entries))
        if whole:
            model.integrality_ = [highspy.HighsVarType.kInteger] * len(options)
        return model

    def _weighted(self, budget: float) -> list[tuple[np.ndarray, float, float]]:
        """Budget and side constraints as (weight of every option, lower, upper), brought to one size."""
        weighted = [(self.cost / self.unit, -np.inf, budget / self.unit)]
        for side in self.programme.sides:
            weight = side.weight[self.area, self.conversion]
            size = max(1e-9, float(np.abs(weight).mean()))
            weighted.append((weight / size, side.lower / size, side.upper / size))
        return weighted


def _fill(model: highspy.HighsLp, rows: np.ndarray, cols: np.ndarray, entries: np.ndarray) -> None:
    order = np.lexsort((rows, cols))
    model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    model.a_matrix_.start_ = np.searchsorted(cols[order], np.arange(model.num_col_ + 1)).astype(np.int32)
    model.a_matrix_.index_ = rows[order].astype(np.int32)
    model.a_matrix_.value_ = entries[order]


def _solver() -> highspy.Highs:
    solver = highspy.Highs()
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("threads", 1)
    solver.setOptionValue("random_seed", 0)
    solver.setOptionValue("mip_feasibility_tolerance", 1e-8)
    return solver


def _split(best_at: Callable[[float], tuple[np.ndarray, float]], budget: float) -> tuple[np.ndarray, np.ndarray, float]:
    """The price of budget at which the best options just cost the budget: the options a hair below it (too dear
    together), those a hair above it (within the budget), and the price; 0 where the budget does not bind."""
    best, cost = best_at(0.0)
    if cost <= budget:
        return best, best, 0.0
    low, high = 0.0, 1.0
    dear, cheap = best, best
    for _ in range(60):  # a price at which the budget is kept
        cheap, cost = best_at(high)
        if cost <= budget:
            break
        low, dear, high = high, cheap, high * 4
    for _ in range(60):
        middle = (low + high) / 2
        if not low < middle < high or (dear != cheap).sum() <= 1:
            break
        best, cost = best_at(middle)
        low, high, dear, cheap = (middle, high, best, cheap) if cost > budget else (low, middle, dear, best)
    return dear, cheap, high


def _fill_up(dear: np.ndarray, cheap: np.ndarray, cost: np.ndarray, budget: float) -> tuple[np.ndarray, int]:
    """From ``cheap`` towards ``dear``, area by area, as far as the budget goes: the options, and the area where it runs
    out."""
    rise = np.cumsum(cost[dear] - cost[cheap]) + cost[cheap].sum()  # option -1 costs the zero at the end of ``cost``
    within = rise <= budget
    over = np.flatnonzero(~within)
    critical = int(over[0]) if len(over) else NONE
    return np.where(np.arange(len(dear)) < (critical if critical >= 0 else len(dear)), dear, cheap), critical


def _finite_max(values: np.ndarray) -> float:
    finite = values[np.isfinite(values)]
    return float(finite.max(initial=0.0))
