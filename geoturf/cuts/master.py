"""The linear programme that column generation grows: least cost of columns that cover every demand."""

from __future__ import annotations

import highspy
import numpy as np

from geoturf import highs


class UnsolvedError(RuntimeError):
    """The solver gave up on a programme that has a solution: the plan known so far has to do."""


class Master:
    """min sum_j c_j x_j with sum_j a_ij x_j >= d_i, x >= 0. One HiGHS object, solved again as columns come; never used for
    anything else, since an object that has changed its kind of problem was seen to report wrong objectives."""

    def __init__(self, demand: np.ndarray):
        self.demand = np.asarray(demand, float)
        self.costs: list[float] = []
        self.solver = highs.solver(presolve="off")
        for needed in self.demand.tolist():
            self.solver.addRow(needed, highspy.kHighsInf, 0, [], [])

    def add(self, cost: float, counts: np.ndarray) -> None:
        """A column that costs ``cost`` and covers ``counts`` (k,) of each demand."""
        rows = np.flatnonzero(counts)
        self.solver.addCol(
            float(cost), 0.0, highspy.kHighsInf, len(rows), rows.astype(np.int32), counts[rows].astype(float)
        )
        self.costs.append(float(cost))

    def solve(self) -> tuple[float, np.ndarray, np.ndarray]:
        """Objective (computed from the columns), use of each column, value (dual, >= 0) of each demand."""
        self.solver.run()
        if self.solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            raise UnsolvedError(f"the linear programme ended as {self.solver.getModelStatus()}")
        solution = self.solver.getSolution()
        use, value = np.array(solution.col_value), np.maximum(0.0, np.array(solution.row_dual))
        return float(use @ np.array(self.costs)), use, value
