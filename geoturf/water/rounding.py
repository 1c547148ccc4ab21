"""From the relaxation to a whole choice: its rounding, and then the best exchanges of one or two areas while any
helps."""

from __future__ import annotations

import numpy as np

from geoturf.water.problem import NONE
from geoturf.water.relaxation import Options, Relaxed

_MOVES = 400  # exchanges tried in pairs
_ROUNDS = 12


def rounded(options: Options, relaxed: Relaxed, budget: float) -> np.ndarray | None:
    """Option numbers of a choice within ``budget``, sorted; None where the rounding breaks a side constraint."""
    cost, value = np.append(options.cost, 0.0), np.append(options.value, 0.0)  # option -1 is none
    current = relaxed.start.copy()
    if cost[current].sum() > budget or not options.fits(current[current >= 0]):
        return None
    for _ in range(_ROUNDS):
        if not _exchange(options, relaxed, current, budget - cost[current].sum(), cost, value):
            break
    return np.sort(current[current >= 0])


def _exchange(
    options: Options, relaxed: Relaxed, current: np.ndarray, left: float, cost: np.ndarray, value: np.ndarray
) -> bool:
    """Makes the one or two exchanges of an area's option that together gain most for at most ``left``; False if none
    gains."""
    at, loss, _ = relaxed.options_and_none(options)
    option = np.append(np.arange(len(options.area)), np.full(options.n, NONE))
    more, gain = cost[option] - cost[current[at]], value[option] - value[current[at]]
    moved = (option != current[at]) & np.isfinite(loss)
    # least loss for the cost moved: those are nearly free to exchange
    near = np.flatnonzero(moved)[
        np.argsort(loss[moved] / np.maximum(np.abs(more[moved]), 1e-9), kind="stable")[:_MOVES]
    ]
    if not len(near):
        return False
    more, gain, where = (
        np.append(more[near], 0.0),
        np.append(gain[near], 0.0),
        np.append(at[near], NONE),
    )  # the last: no move
    together = gain[:, None] + gain[None, :]
    bad = (more[:, None] + more[None, :] > left) | (where[:, None] == where[None, :])
    for weight, lower, upper in options.sides:
        weight = np.append(weight, 0.0)
        shift = np.append((weight[option] - weight[current[at]])[near], 0.0)
        total = weight[current].sum() + shift[:, None] + shift[None, :]
        bad |= (total < lower) | (total > upper)
    together[bad] = -np.inf
    one, other = np.unravel_index(int(together.argmax()), together.shape)
    if together[one, other] <= 1e-9 * max(1.0, abs(relaxed.bound)):
        return False
    for k in (one, other):
        if k < len(near):
            current[where[k]] = option[near[k]]
    return True
