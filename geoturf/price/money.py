"""Whole cents inside, Decimal outside; an amount is rounded once, where it arises, and shares of it
add up."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray


def cents_of(amount: Decimal) -> int:
    """An amount in whole cents, halves up."""
    return int((amount * 100).quantize(Decimal(1), rounding=ROUND_HALF_UP))


def decimal_of(cents: Any) -> Decimal:
    return Decimal(int(cents)).scaleb(-2)


#: exact halves of a cent, which a float may miss to either side, go up: far above what floats lose,
#: far below a cent
HALF_UP = 1e-4


def shared(cents: int, weights: ArrayLike) -> NDArray[np.int64]:
    """``cents`` handed out by ``weights`` (n,), >= 0, in equal parts where all are zero: whole
    cents that add up exactly.

    Each part is the exact share of all up to it, rounded, less that of all before it. So a part is
    its exact share rounded up or down, and is known without ranking all of them, as a spreadsheet
    must know it."""
    running = np.cumsum(np.asarray(weights, float))
    if not len(running):
        return np.zeros(0, np.int64)
    if not running[-1] > 0:
        running = np.arange(1.0, len(running) + 1)
    up_to = np.floor(cents * (running / running[-1]) + (0.5 + HALF_UP))
    parts: NDArray[np.float64] = np.diff(up_to, prepend=0.0)
    return parts.astype(np.int64)
