"""Which fund pays for what of a choice."""

from __future__ import annotations

from typing import Any

import highspy
import numpy as np

from geoturf import highs
from geoturf.water.asked import payers
from geoturf.water.view import View


def paid(view: View, cost: np.ndarray, chosen: np.ndarray) -> list[dict[str, Any]]:
    """What each fund of the bid pays of a choice: fund, amount, spent, left; empty without funds.
    Of the ways to pay, one that takes the funds first that the bid names first. ``cost``: (n,
    k)."""
    funds = view.rules.funds
    if not funds:
        return []
    amounts = np.array([float(fund.amount.amount) for fund in funds.values()])
    at = np.flatnonzero(chosen >= 0)
    picked = at, chosen[at]
    spent = _spread(cost[picked], payers(view.lawns, view.rules)[picked], amounts)
    rows = zip(funds, amounts.tolist(), spent.tolist(), strict=True)
    return [
        {
            "fund": n,
            "amount": a,
            "spent": s,
            "left": a - s,
        }
        for n, a, s in rows
    ]


def _spread(cost: np.ndarray, pays: np.ndarray, amounts: np.ndarray) -> np.ndarray:
    """What each fund spends, (funds,), on items of ``cost`` (m,) that ``pays`` (m, funds) says it
    may pay for: a transport problem over the kinds of items."""
    kinds, kind = np.unique(pays, axis=0, return_inverse=True)
    due = np.bincount(kind.ravel(), weights=cost, minlength=len(kinds))
    at_kind, fund = np.nonzero(kinds)
    if not len(fund):
        return np.zeros(len(amounts))
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = len(fund), len(kinds) + len(amounts)
    model.col_cost_ = fund.astype(float)  # earlier funds first
    model.col_lower_ = np.zeros(len(fund))
    model.col_upper_ = np.full(len(fund), highspy.kHighsInf)
    model.row_lower_ = np.concatenate([due, np.zeros(len(amounts))])
    model.row_upper_ = np.concatenate([due, amounts + _A_CENT])
    model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    model.a_matrix_.start_ = np.arange(0, 2 * len(fund) + 1, 2).astype(np.int32)
    rows = np.stack([at_kind, len(kinds) + fund], axis=1)
    model.a_matrix_.index_ = rows.ravel().astype(np.int32)
    model.a_matrix_.value_ = np.ones(2 * len(fund))
    solver = highs.solver()
    solver.passModel(model)
    solver.run()
    flow = np.array(solver.getSolution().col_value)
    return np.round(np.bincount(fund, weights=flow, minlength=len(amounts)), 2)


_A_CENT = 0.01  # what the choice may be off by
