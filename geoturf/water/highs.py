"""Models as HiGHS takes them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import highspy
import numpy as np
from numpy.typing import ArrayLike

from geoturf import highs

if TYPE_CHECKING:
    from geoturf.water.relaxation import Options


def solver() -> highspy.Highs:
    """A solver for yes-or-no choices: tight enough that a budget is not overspent."""
    return highs.solver(mip_feasibility_tolerance=1e-8)


def whole_solver(gap: float, nodes: int) -> highspy.Highs:
    """A solver of integer programmes, to the relative ``gap`` or so many branch-and-bound
    ``nodes``."""
    made = solver()
    for option, value in (("mip_rel_gap", gap), ("mip_abs_gap", 0.0), ("mip_max_nodes", nodes)):
        made.setOptionValue(option, value)
    return made


def model(
    options: Options,
    columns: np.ndarray,
    must: np.ndarray,
    budget: float,
    settled: np.ndarray,
    whole: bool,
) -> highspy.HighsLp:
    """Columns: the options numbered ``columns``. Rows: one an area among them (``must``: (n,),
    which take one), the budget, the side constraints, each less what the ``settled`` options take.
    Minimises minus the value."""
    present, row = np.unique(options.area[columns], return_inverse=True)
    rows = [row]
    cols = [np.arange(len(columns))]
    entries = [np.ones(len(columns))]
    lower = [must[present].astype(float)]
    upper = [np.ones(len(present))]
    weighted = options.weighted(budget)
    for number, (weight, low, high) in enumerate(weighted):
        at = np.flatnonzero(weight[columns])
        rows.append(np.full(len(at), len(present) + number))
        cols.append(at)
        entries.append(weight[columns][at])
        taken = weight[settled].sum()
        lower.append(np.array([low - taken]))
        upper.append(np.array([high - taken]))
    made = highspy.HighsLp()
    made.num_col_ = len(columns)
    made.num_row_ = len(present) + len(weighted)
    made.col_cost_ = -options.value[columns] / options.value_unit
    made.offset_ = -options.value[settled].sum() / options.value_unit
    made.col_lower_ = np.zeros(len(columns))
    # in the relaxation the area's own row bounds an option: its dual is the loss of taking none
    made.col_upper_ = np.full(len(columns), 1.0 if whole else highspy.kHighsInf)
    made.row_lower_ = np.nan_to_num(np.concatenate(lower), neginf=-highspy.kHighsInf)
    made.row_upper_ = np.nan_to_num(np.concatenate(upper), posinf=highspy.kHighsInf)
    _fill(made, np.concatenate(rows), np.concatenate(cols), np.concatenate(entries))
    if whole:
        made.integrality_ = [highspy.HighsVarType.kInteger] * len(columns)
    return made


def _fill(made: highspy.HighsLp, rows: np.ndarray, cols: np.ndarray, entries: np.ndarray) -> None:
    order = np.argsort(cols * made.num_row_ + rows)
    made.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    start = np.searchsorted(cols[order], np.arange(made.num_col_ + 1))
    made.a_matrix_.start_ = start.astype(np.int32)
    made.a_matrix_.index_ = rows[order].astype(np.int32)
    made.a_matrix_.value_ = entries[order]


def extend(
    made: highspy.HighsLp,
    rows: np.ndarray,
    cols: np.ndarray,
    entries: np.ndarray,
    cost: np.ndarray,
    upper: np.ndarray,
    row_lower: np.ndarray,
) -> None:
    """Adds columns (``cost``, 0 to ``upper``) and rows (at least ``row_lower``) with their
    entries, numbered on from what is there."""
    old = made.a_matrix_
    old_cols = np.repeat(np.arange(made.num_col_), np.diff(np.array(old.start_)))
    all_rows = np.concatenate([np.array(old.index_), rows])
    all_cols = np.concatenate([old_cols, cols])
    all_entries = np.concatenate([np.array(old.value_), entries])
    made.num_col_ += len(cost)
    made.num_row_ += len(row_lower)
    made.col_cost_ = _joined(made.col_cost_, cost)
    made.col_lower_ = _joined(made.col_lower_, np.zeros(len(cost)))
    made.col_upper_ = _joined(made.col_upper_, upper)
    made.row_lower_ = _joined(made.row_lower_, row_lower)
    made.row_upper_ = _joined(made.row_upper_, np.full(len(row_lower), highspy.kHighsInf))
    _fill(made, all_rows, all_cols, all_entries)


def _joined(there: ArrayLike, more: np.ndarray) -> np.ndarray:
    return np.concatenate([np.array(there), more])
