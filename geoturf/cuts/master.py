"""The linear programme that column generation grows: least cost of columns that cover every
demand."""

from __future__ import annotations

import highspy
import numpy as np
from numpy.typing import ArrayLike

from geoturf import highs


class UnsolvedError(RuntimeError):
    """The solver gave up on a programme that has a solution: the plan known so far has to do."""


class Master:
    """min sum_j c_j x_j with sum_j a_ij x_j >= d_i, x >= 0. One HiGHS object, solved again as
    columns come; never used for anything else, since an object that has changed its kind of problem
    was seen to report wrong objectives. New columns leave the last basis feasible, so the primal
    simplex goes on from there. The solver counts costs in ``unit``: its tolerance is absolute, and
    finer than it need be takes many times as long."""

    def __init__(self, demand: np.ndarray, unit: float = 1.0):
        self.demand, self.cost, self.unit = np.zeros(0), np.zeros(0), unit
        self.solver = highs.solver(presolve="off", simplex_strategy=_PRIMAL)
        self.need(demand)

    def need(self, demand: np.ndarray) -> None:
        """Rows that no column covers yet."""
        for needed in np.asarray(demand, float).tolist():
            self.solver.addRow(needed, highspy.kHighsInf, 0, [], [])
        self.demand = np.append(self.demand, demand)

    def add(self, cost: ArrayLike, counts: np.ndarray) -> None:
        """Columns that cost ``cost`` (n,) and cover ``counts`` (n, k) of each demand."""
        column, row = np.nonzero(counts)
        start = np.searchsorted(column, np.arange(len(counts)))
        lower = np.zeros(len(counts))
        upper = np.full(len(counts), highspy.kHighsInf)
        cover = counts[column, row].astype(float)
        costs = np.asarray(cost, float)
        self.solver.addCols(
            len(counts),
            costs / self.unit,
            lower,
            upper,
            len(row),
            start.astype(np.int32),
            row.astype(np.int32),
            cover,
        )
        self.cost = np.append(self.cost, costs)

    def basis(self) -> Basis:
        """Which columns and rows are basic, and where the others stand, since it was last
        solved."""
        basis = self.solver.getBasis()
        return list(basis.col_status), list(basis.row_status)

    def begin(self, basis: Basis) -> None:
        """Goes on from the `basis` of another programme of these columns and demands."""
        start = highspy.HighsBasis()
        start.col_status, start.row_status = basis
        start.valid = True
        self.solver.setBasis(start)

    def want(self, demand: np.ndarray, use: np.ndarray) -> np.ndarray:
        """Demands changed, and of the columns only those to ``use`` (n,) of any more: the dual
        simplex goes on from the last basis. Gives the columns kept: the others, and such as are not
        to be used but in the basis, which stay at nothing."""
        changed = np.flatnonzero(demand != self.demand).astype(np.int32)
        self.demand = np.asarray(demand, float)
        most = np.full(len(changed), highspy.kHighsInf)
        self.solver.changeRowsBounds(  # type: ignore[attr-defined]  # its stubs leave it out
            len(changed), changed, self.demand[changed], most
        )
        basic = self._basic()
        stuck = np.flatnonzero(~use & basic).astype(np.int32)
        self.solver.changeColsBounds(len(stuck), stuck, np.zeros(len(stuck)), np.zeros(len(stuck)))
        self.solver.setOptionValue("simplex_strategy", _DUAL)
        return self._kept(use | basic)

    def trim(self, away: np.ndarray) -> np.ndarray:
        """Without those of the columns ``away`` (n,) that are not in the basis. Gives the columns
        kept."""
        return self._kept(~away | self._basic())

    def _basic(self) -> np.ndarray:
        """Which columns are in the basis."""
        return np.array([one == highspy.HighsBasisStatus.kBasic for one in self.basis()[0]])

    def _kept(self, these: np.ndarray) -> np.ndarray:
        """Columns outside the basis go but for ``these``; the rows of those that stay."""
        gone = np.flatnonzero(~these).astype(np.int32)
        self.solver.deleteCols(len(gone), gone)
        self.cost = self.cost[these]
        return np.flatnonzero(these)

    def solve(self) -> tuple[float, np.ndarray, np.ndarray]:
        """Objective (computed from the columns), use of each column, value (dual, >= 0) of each
        demand."""
        self.solver.run()
        if self.solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
            raise UnsolvedError(f"the linear programme ended as {self.solver.getModelStatus()}")
        self.solver.setOptionValue("simplex_strategy", _PRIMAL)
        solution = self.solver.getSolution()
        use = np.array(solution.col_value)
        value = np.maximum(0.0, np.array(solution.row_dual)) * self.unit
        return float(use @ self.cost), use, value


Basis = tuple[
    list[highspy.HighsBasisStatus], list[highspy.HighsBasisStatus]
]  # of columns and of rows
_DUAL, _PRIMAL = 1, 4  # HiGHS' names for them
