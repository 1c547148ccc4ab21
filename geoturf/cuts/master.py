"""The linear programme that column generation grows: least cost of columns that cover every demand."""

from __future__ import annotations

import highspy
import numpy as np

from geoturf import highs


class UnsolvedError(RuntimeError):
    """The solver gave up on a programme that has a solution: the plan known so far has to do."""


class Master:
    """min sum_j c_j x_j with sum_j a_ij x_j >= d_i, x >= 0. One HiGHS object, solved again as columns come; never used for
    anything else, since an object that has changed its kind of problem was seen to report wrong objectives. New columns leave
    the last basis feasible, so the primal simplex goes on from there. The solver counts costs in ``unit``: its tolerance is
    absolute, and finer than it need be takes many times as long."""

    def __init__(self, demand: np.ndarray, unit: float = 1.0):
        self.demand, self.cost, self.unit = np.zeros(0), np.zeros(0), unit
        self.solver = highs.solver(presolve="off", simplex_strategy=_PRIMAL)
        self.need(demand)

    def need(self, demand: np.ndarray) -> None:
        """Rows that no column covers yet."""
        for needed in np.asarray(demand, float).tolist():
            self.solver.addRow(needed, highspy.kHighsInf, 0, [], [])
        self.demand = np.append(self.demand, demand)

    def add(self, cost: np.ndarray, counts: np.ndarray) -> None:
        """Columns that cost ``cost`` (n,) and cover ``counts`` (n, k) of each demand."""
        column, row = np.nonzero(counts)
        start = np.searchsorted(column, np.arange(len(counts)))
        lower, upper = np.zeros(len(counts)), np.full(len(counts), highspy.kHighsInf)
        cover = counts[column, row].astype(float)
        cost = np.asarray(cost, float)
        self.solver.addCols(
            len(counts), cost / self.unit, lower, upper, len(row), start.astype(np.int32), row.astype(np.int32), cover
        )
        self.cost = np.append(self.cost, cost)

    def solve(self) -> tuple[float, np.ndarray, np.ndarray]:
        """Objective (computed from the columns), use of each column, value (dual, >= 0) of each demand."""
        self.solver.run()
        if self.solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            raise UnsolvedError(f"the linear programme ended as {self.solver.getModelStatus()}")
        solution = self.solver.getSolution()
        use, value = np.array(solution.col_value), np.maximum(0.0, np.array(solution.row_dual)) * self.unit
        return float(use @ self.cost), use, value


_PRIMAL = 4  # HiGHS' name for it
