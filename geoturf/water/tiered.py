"""The choice where a bill of rising blocks, or a rebate's cap, ties the areas of an account
together.

What is saved comes off the dearest block first, so two areas of one site save less together than
each alone. The bill is convex in use, so it needs no whole numbers of its own: one continuous
column a block of a month, which the cheapest fill first. A capped rebate is concave in what is
converted, likewise: one column an account, at most the sum of its areas' rebates. One integer
programme over everything, to the gap asked for or the node count, whichever comes first; its own
bound is the proof.
"""

from __future__ import annotations

import highspy
import numpy as np

from geoturf.water import highs
from geoturf.water.knapsack import NONE, Caps, Pick, Tariff, proved
from geoturf.water.relaxation import Options

_NODES = 4000
_MONTHS = 12


def pick(
    tariff: Tariff | None,
    caps: Caps | None,
    options: Options,
    budget: float,
    gap: float,
) -> Pick | None:
    """The best choice within ``budget``; None where there is none."""
    every = np.arange(len(options.area))
    model = highs.model(options, every, options.required, budget, every[:0], whole=False)
    if tariff is not None:
        _share_bill(model, options, tariff)
    if caps is not None:
        _share_rebates(model, options, caps)
    relaxed = highs.solver()
    relaxed.passModel(model)
    relaxed.run()
    if relaxed.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return None
    budget_row = len(np.unique(options.area))
    dual = -relaxed.getSolution().row_dual[budget_row]
    cut_off = max(0.0, dual) * options.value_unit / options.cost_unit

    _make_whole(model, len(options.area))
    solver = highs.whole_solver(gap / 2, _NODES)
    solver.passModel(model)
    solver.run()
    info = solver.getInfo()
    if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return None
    columns = np.array(solver.getSolution().col_value)
    taken = np.flatnonzero(columns[: len(options.area)] > 0.5)
    chosen = options.chosen(taken)
    value = float(options.value[taken].sum()) + shared(tariff, caps, chosen)
    cost = float(options.cost[taken].sum())
    bound = -info.mip_dual_bound * options.value_unit
    return proved(chosen, value, cost, bound, cut_off, max(0, info.mip_node_count))


def _make_whole(model: highspy.HighsLp, options: int) -> None:
    """Lets the first ``options`` columns be 0 or 1 only; those of the blocks stay continuous."""
    whole = highspy.HighsVarType.kInteger
    real = highspy.HighsVarType.kContinuous
    model.integrality_ = [whole] * options + [real] * (model.num_col_ - options)
    model.col_upper_ = np.concatenate([np.ones(options), np.array(model.col_upper_)[options:]])


def shared(tariff: Tariff | None, caps: Caps | None, chosen: np.ndarray) -> float:
    """What a choice is worth beside its options: the fall of the bill, and rebates."""
    fall = 0.0 if tariff is None else bill_fall(tariff, chosen)
    if caps is None:
        return fall
    return fall + caps.paid(chosen)


def bill_fall(tariff: Tariff, chosen: np.ndarray) -> float:
    """What the bill falls by, account by account."""
    at = np.flatnonzero(chosen >= 0)
    after = tariff.before_m3.copy()
    np.subtract.at(after, tariff.account[at], tariff.saved_m3[at, chosen[at]])
    return _bill(tariff, tariff.before_m3) - _bill(tariff, after)


def _bill(tariff: Tariff, volume_m3: np.ndarray) -> float:
    over = volume_m3[:, :, None] - tariff.starts[:, None, :]
    in_block = np.clip(over, 0.0, tariff.widths[:, None, :])
    return float((in_block.sum(axis=1) * tariff.prices).sum())


def _share_rebates(model: highspy.HighsLp, options: Options, caps: Caps) -> None:
    """One column for each capped conversion and account: what it is paid, at most its cap and the
    sum of its areas' rebates; and a row for what all accounts get together."""
    rebate = caps.rebate[options.area, options.conversion]
    at = np.flatnonzero(rebate > 0)
    pairs = np.stack([options.conversion[at], caps.account[options.area[at]]], axis=1)
    payee, own = np.unique(pairs, axis=0, return_inverse=True)
    conversions, of_all = np.unique(payee[:, 0], return_inverse=True)
    unit = options.value_unit
    first_row = model.num_row_
    first_col = model.num_col_
    n = len(payee)
    payees = np.arange(n)
    highs.extend(
        model,
        rows=np.concatenate([own.ravel(), payees, n + of_all.ravel()]) + first_row,
        cols=np.concatenate([at, payees + first_col, payees + first_col]),
        entries=np.concatenate([rebate[at] / unit, -np.ones(n), -np.ones(n)]),
        cost=-np.ones(n),
        upper=caps.each[payee[:, 0]] / unit,
        row_lower=np.concatenate([np.zeros(n), -caps.every[conversions] / unit]),
    )


def _share_bill(model: highspy.HighsLp, options: Options, tariff: Tariff) -> None:
    """Adds for every account and month a row (what is used still and what is saved is at least
    what was used) with one column a block."""
    every = np.arange(len(options.area))
    before = tariff.before_m3.ravel()
    months = np.flatnonzero(before > 0)  # account x month
    unit = 1.0
    if len(months):
        unit = max(1e-9, float(before[months].mean()))
    month, option, saved = _savings(options, tariff, months)
    account = months // _MONTHS
    widths = tariff.widths[account].ravel()
    blocks = tariff.starts.shape[1]
    first_row = model.num_row_
    block_columns = np.arange(len(months) * blocks)
    block_rows = np.repeat(np.arange(len(months)), blocks)
    highs.extend(
        model,
        rows=np.concatenate([month, block_rows]) + first_row,
        cols=np.concatenate([option, block_columns + len(every)]),
        entries=np.concatenate([saved / unit, np.ones(len(block_columns))]),
        cost=tariff.prices[account].ravel() * unit / options.value_unit,
        upper=np.where(np.isinf(widths), highspy.kHighsInf, widths / unit),
        row_lower=before[months] / unit,
    )
    # so that a gap is one of the whole value
    model.offset_ -= _bill(tariff, tariff.before_m3) / options.value_unit


def _savings(
    options: Options,
    tariff: Tariff,
    months: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What options save in the ``months`` (numbers of account x month) that are tied: place in
    ``months``, number of the option, m3, where any is saved."""
    of_year = np.arange(_MONTHS)
    account = tariff.account[options.area]
    number = (account[:, None] * _MONTHS + of_year).ravel()
    place = np.full(tariff.before_m3.size, NONE)
    place[months] = np.arange(len(months))
    saved = tariff.saved_m3[options.area, options.conversion].ravel()
    option = np.repeat(np.arange(len(options.area)), _MONTHS)
    kept = (place[number] >= 0) & (saved != 0)
    return place[number[kept]], option[kept], saved[kept]
