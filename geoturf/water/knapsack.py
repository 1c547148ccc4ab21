"""The choice as a multiple-choice knapsack: what is asked, and the answer with its proof."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

NONE = -1


@dataclass(frozen=True)
class Side:
    """A side constraint: lower <= sum of ``weight`` over the options picked <= upper. ``weight``:
    (n, k)."""

    name: str
    weight: np.ndarray
    lower: float
    upper: float


@dataclass(frozen=True)
class Tariff:
    """A bill of rising blocks, which ties the areas of an account together: what the value of a
    choice gains beside its options'.

    ``account``: (n,) number of each area's account. ``before_m3``: (accounts, 12). ``saved_m3``:
    (n, k, 12). ``starts``: (accounts, blocks) m3 a month, 0 first, infinity where an account has
    fewer blocks; ``prices``: (accounts, blocks) value of a m3 in each block, rising."""

    account: np.ndarray
    before_m3: np.ndarray
    saved_m3: np.ndarray
    starts: np.ndarray
    prices: np.ndarray

    @property
    def widths(self) -> np.ndarray:
        """Of each block, (accounts, blocks): the last has no end, and one too many no width."""
        ends = np.column_stack([self.starts[:, 1:], np.full(len(self.starts), np.inf)])
        there = np.isfinite(self.starts)
        return np.where(there, ends - np.where(there, self.starts, 0.0), 0.0)


@dataclass(frozen=True)
class Caps:
    """Rebates that areas share: what the value of a choice gains beside its options'. ``account``:
    (n,). ``rebate``: (n, k), 0 of what shares no cap. ``each``, ``every``: (k,), most for an
    account, and for all together."""

    account: np.ndarray
    rebate: np.ndarray
    each: np.ndarray
    every: np.ndarray

    def paid(self, chosen: np.ndarray) -> float:
        """What is paid for a choice, (n,)."""
        total = 0.0
        for j in range(len(self.each)):
            own = np.where(chosen == j, self.rebate[:, j], 0.0)
            of_account = np.bincount(self.account, weights=own)
            total += min(float(np.minimum(of_account, self.each[j]).sum()), float(self.every[j]))
        return total


@dataclass(frozen=True)
class Knapsack:
    """n areas, k conversions, of which each area takes one or none. ``value``, ``cost`` (>= 0): (n,
    k). ``allowed``: bool (n, k). ``required``: bool (n,), must convert. Value of a choice: the sum
    of its options' and, with a ``tariff``, what the bill falls by, with ``caps``, the rebates
    paid."""

    value: np.ndarray
    cost: np.ndarray
    allowed: np.ndarray
    required: np.ndarray
    sides: tuple[Side, ...] = ()
    tariff: Tariff | None = None
    caps: Caps | None = None


@dataclass(frozen=True)
class Pick:
    """``chosen``: (n,) number of the conversion, -1 for none. ``bound``: no choice is worth more.
    ``gap``: (bound - value) / value. ``cut_off``: what one more unit of budget is worth, by the
    relaxation. ``nodes``: branch-and-bound nodes spent."""

    chosen: np.ndarray
    value: float
    cost: float
    bound: float
    gap: float
    cut_off: float
    nodes: int


def proved(
    chosen: np.ndarray,
    value: float,
    cost: float,
    bound: float,
    cut_off: float,
    nodes: int,
) -> Pick:
    """A `Pick` with its gap."""
    bound = max(bound, value) + 0.0  # no minus zero
    missing = bound - value
    nothing = 1e-3  # a litre, or a tenth of a cent
    gap = missing / abs(value) if abs(value) > nothing else float(missing > nothing)
    return Pick(chosen, value, cost, bound, gap, cut_off, nodes)
