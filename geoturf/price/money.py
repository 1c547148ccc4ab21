"""Whole cents inside, Decimal outside; an amount is rounded once, where it arises, and shares of it add up."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import numpy as np


def cents_of(amount: Decimal) -> int:
    """An amount in whole cents, halves up."""
    return int((amount * 100).quantize(Decimal(1), rounding=ROUND_HALF_UP))


def decimal_of(cents: Any) -> Decimal:
    return Decimal(int(cents)).scaleb(-2)


def part_of(cents: int, rate: float) -> int:
    """``rate`` of an amount, in whole cents."""
    return cents_of(decimal_of(cents) * Decimal(str(rate)))


def shared(cents: int, weights: np.ndarray) -> np.ndarray:
    """``cents`` handed out by ``weights`` (n,), >= 0: whole cents that add up exactly, by largest remainder (Hamilton's
    apportionment); ties go to the first. In equal parts where all weights are zero."""
    if not len(weights):
        return np.zeros(0, np.int64)
    weights = np.asarray(weights, float)
    total = weights.sum()
    exact = cents * (weights / total if total > 0 else np.full(len(weights), 1 / len(weights)))
    parts = np.floor(exact).astype(np.int64)
    missing = int(cents - parts.sum())
    parts[np.argsort(parts - exact, kind="stable")[:missing]] += 1
    return parts
