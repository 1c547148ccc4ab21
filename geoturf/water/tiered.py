"""The choice where a bill of rising blocks ties the areas of an account together.

What is saved comes off the dearest block first, so two areas of one site save less together than each alone. The bill
is convex in use, so it needs no whole numbers of its own: one continuous column a block of a month, which the cheapest
fill first. One integer programme over everything, to the gap asked for or the node count, whichever comes first; its
own bound is the proof.
"""

from __future__ import annotations

import highspy
import numpy as np

from geoturf.water import highs
from geoturf.water.problem import NONE, Pick, Programme, Tariff, told
from geoturf.water.relaxation import Options

_NODES = 4000


def rising(prices: np.ndarray) -> bool:
    """Whether each block costs more than the one before it."""
    return bool((np.diff(prices) > 0).all())


def pick(programme: Programme, options: Options, budget: float, gap: float) -> Pick | None:
    """The best choice within ``budget``; None where there is none."""
    tariff = programme.tariff
    model = _model(options, tariff, budget)
    relaxed = highs.solver()
    relaxed.passModel(model)
    relaxed.run()
    if relaxed.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return None
    budget_row = len(np.unique(options.area))
    cut_off = max(0.0, -relaxed.getSolution().row_dual[budget_row]) * options.value_unit / options.cost_unit

    n_options = len(options.area)
    whole, real = highspy.HighsVarType.kInteger, highspy.HighsVarType.kContinuous
    model.integrality_ = [whole] * n_options + [real] * (model.num_col_ - n_options)
    model.col_upper_ = np.concatenate([np.ones(n_options), np.array(model.col_upper_)[n_options:]])
    solver = highs.solver()
    for option, value in (("mip_rel_gap", gap / 2), ("mip_abs_gap", 0.0), ("mip_max_nodes", _NODES)):
        solver.setOptionValue(option, value)
    solver.passModel(model)
    solver.run()
    info = solver.getInfo()
    if info.primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return None
    taken = np.flatnonzero(np.array(solver.getSolution().col_value)[:n_options] > 0.5)
    chosen = np.full(options.n, NONE)
    chosen[options.area[taken]] = options.conversion[taken]
    value = float(options.value[taken].sum()) + bill_fall(tariff, chosen)
    bound = -info.mip_dual_bound * options.value_unit
    return told(chosen, value, float(options.cost[taken].sum()), bound, cut_off, max(0, info.mip_node_count))


def bill_fall(tariff: Tariff, chosen: np.ndarray) -> float:
    """What the bill falls by, account by account."""
    at = np.flatnonzero(chosen >= 0)
    after = tariff.before_m3.copy()
    np.subtract.at(after, tariff.account[at], tariff.saved_m3[at, chosen[at]])
    return float(_bill(tariff, tariff.before_m3) - _bill(tariff, after))


def _bill(tariff: Tariff, volume_m3: np.ndarray) -> float:
    widths = np.append(np.diff(tariff.starts), np.inf)
    return sum(
        float(price * np.clip(volume_m3 - start, 0.0, width).sum())
        for start, width, price in zip(tariff.starts, widths, tariff.prices, strict=True)
    )


def _model(options: Options, tariff: Tariff, budget: float) -> highspy.HighsLp:
    """The relaxation: the options' rows and columns, and for every account and month a row (what is used still and what
    is saved is at least what was used) with one column a block."""
    every = np.arange(len(options.area))
    model = highs.model(options, every, options.required, budget, every[:0], whole=False)
    months = np.flatnonzero(tariff.before_m3.ravel() > 0)  # account x month
    widths = np.append(np.diff(tariff.starts), highspy.kHighsInf)
    unit = max(1e-9, float(tariff.before_m3.ravel()[months].mean())) if len(months) else 1.0
    account = np.repeat(tariff.account[options.area], 12) * 12 + np.tile(np.arange(12), len(every))
    saved = tariff.saved_m3[options.area, options.conversion].ravel() / unit
    row_of = np.full(tariff.before_m3.size, NONE)
    row_of[months] = np.arange(len(months))
    kept = (row_of[account] >= 0) & (saved != 0)
    blocks, rows = len(widths), model.num_row_
    new_columns = np.arange(len(months) * blocks)
    highs.extend(
        model,
        rows=np.concatenate([row_of[account[kept]], np.repeat(np.arange(len(months)), blocks)]) + rows,
        cols=np.concatenate([np.repeat(every, 12)[kept], new_columns + len(every)]),
        entries=np.concatenate([saved[kept], np.ones(len(new_columns))]),
        cost=np.tile(tariff.prices * unit, len(months)) / options.value_unit,
        upper=np.tile(np.where(np.isinf(widths), widths, widths / unit), len(months)),
        row_lower=tariff.before_m3.ravel()[months] / unit,
    )
    model.offset_ -= _bill(tariff, tariff.before_m3) / options.value_unit  # so that a gap is one of the whole value
    return model
