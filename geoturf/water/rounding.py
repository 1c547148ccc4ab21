"""From the relaxation to a whole choice: its rounding, and then the best exchanges of one or two
areas while any helps."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from geoturf.water.knapsack import NONE
from geoturf.water.relaxation import Options, Relaxed

_MOVES = 400  # exchanges tried in pairs
_ROUNDS = 12


class Moves(NamedTuple):
    """Exchanges of an area's option, the last of them no move: ``area``, the ``option`` it takes
    (-1: none), the one it gives up (``given``), and what is gained in ``cost`` and ``value``, (m,)
    each."""

    area: np.ndarray
    option: np.ndarray
    given: np.ndarray
    cost: np.ndarray
    value: np.ndarray


def rounded(options: Options, relaxed: Relaxed, budget: float) -> tuple[np.ndarray, ...]:
    """Option numbers of a choice within ``budget``, sorted; empty where the rounding breaks a side
    constraint."""
    current = relaxed.start.copy()
    cost = _with_none(options.cost)
    if cost[current].sum() > budget or not options.fits(current[current >= 0]):
        return ()
    least = 1e-9 * max(1.0, abs(relaxed.bound))
    for _ in range(_ROUNDS):
        moves = _moves(options, relaxed, current)
        together = _gains(options, moves, current, budget - cost[current].sum())
        one, other = np.unravel_index(int(together.argmax()), together.shape)
        if together[one, other] <= least:
            break
        for move in (one, other):
            if moves.area[move] != NONE:
                current[moves.area[move]] = moves.option[move]
    return (np.sort(current[current >= 0]),)


def _with_none(values: np.ndarray) -> np.ndarray:
    """Values of the options, and 0 at the end for option -1, which is none."""
    return np.append(values, 0.0)


def _moves(options: Options, relaxed: Relaxed, current: np.ndarray) -> Moves:
    """The exchanges that lose least for the cost they move: those are nearly free."""
    area, loss, _ = relaxed.options_and_none(options)
    option = np.append(np.arange(len(options.area)), np.full(options.n, NONE))
    given = current[area]
    cost = _with_none(options.cost)
    value = _with_none(options.value)
    more = cost[option] - cost[given]
    gain = value[option] - value[given]
    moved = np.flatnonzero((option != given) & np.isfinite(loss))
    dearness = loss[moved] / np.maximum(np.abs(more[moved]), 1e-9)
    near = moved[_least(dearness, _MOVES)]
    return Moves(
        np.append(area[near], NONE),
        np.append(option[near], NONE),
        np.append(given[near], NONE),
        np.append(more[near], 0.0),
        np.append(gain[near], 0.0),
    )


def _least(values: np.ndarray, count: int) -> np.ndarray:
    """Where the ``count`` least values stand, least first; of equals the first."""
    rows = np.arange(len(values))
    if len(values) > count:
        rows = np.flatnonzero(values <= np.partition(values, count - 1)[count - 1])
    return rows[np.argsort(values[rows], kind="stable")[:count]]


def _gains(options: Options, moves: Moves, current: np.ndarray, left: float) -> np.ndarray:
    """What every two exchanges gain together, (m, m); minus infinity where they cost more than
    ``left``, are of one area, or break a side constraint."""
    same = moves.area[:, None] == moves.area[None, :]
    bad = same | (_pairs(moves.cost) > left)
    for weight, lower, upper in options.sides:
        held = _with_none(weight)
        shift = held[moves.option] - held[moves.given]
        total = held[current].sum() + shift[:, None] + shift[None, :]
        bad |= (total < lower) | (total > upper)
    together = _pairs(moves.value)
    together[bad] = -np.inf
    return together


def _pairs(values: np.ndarray) -> np.ndarray:
    """Sums of every two of ``values`` (m,), shape (m, m)."""
    sums: np.ndarray = np.add.outer(values, values)
    return sums
