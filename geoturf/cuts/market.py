"""What turf can be bought: stocked rolls with their prices, whole or by length."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geoturf.rules import CutRules, Product
from geoturf.units import FOOT_M, INCH_M, MILLIONTH, round_up, whole_steps

_USUAL_M: tuple[float, ...] = (FOOT_M, *(INCH_M / 2**k for k in range(7)), 0.1, 0.01, 0.005, 0.001)
_UNIT_M = 1e-9  # stocked lengths are whole numbers of it, whatever they were written in
_NOISE_M = 3e-7
_TABLE = 4_000_000  # sums looked at one by one, at most


@dataclass(frozen=True)
class Market:
    """Turf of one product and roll width. ``lengths_m``: stocked roll lengths, longest first;
    ``prices``: of whole rolls of these lengths, in money; ``billing_m``: what a length off a roll
    is rounded up to, 0 where whole rolls are sold."""

    roll_width_m: float
    lengths_m: tuple[float, ...]
    prices: tuple[float, ...]
    billing_m: float

    @property
    def by_length(self) -> bool:
        return self.billing_m > 0

    @property
    def rates(self) -> list[float]:
        """Money a metre of each stocked length."""
        return [price / length for price, length in zip(self.prices, self.lengths_m, strict=True)]

    @property
    def cheapest(self) -> float:
        return min(self.rates)

    @property
    def one_rate(self) -> bool:
        """Whether a metre costs the same in every length, so that the cheapest plan is also the
        shortest."""
        return max(self.rates) - min(self.rates) <= 1e-9 * max(self.rates)

    def purchase(self, used_m: float) -> tuple[float, float]:
        """Cheapest purchase, (length in m, price), that holds ``used_m``, at most the longest
        roll."""
        offers = list(zip(self.prices, self.lengths_m, strict=True))
        if not self.by_length:
            price, length_m = min(offer for offer in offers if offer[1] >= used_m - 1e-9)
            return length_m, price
        price, length_m = offers[0]
        billed_m = min(round_up(used_m, self.billing_m) * self.billing_m, length_m)
        return billed_m, billed_m * price / length_m

    def least_m(self, need_m: float) -> float:
        """Least total length that can be bought where at least ``need_m`` is needed."""
        if not self.by_length:
            return _least_sum(need_m, sorted(self.lengths_m))
        times = self.lengths_m[0] / self.billing_m
        if abs(times - round(times)) > MILLIONTH:  # a whole roll is billed as it is
            return need_m
        return round_up(need_m, self.billing_m) * self.billing_m


def markets(product: Product, rules: CutRules) -> dict[float, Market]:
    """By roll width (m, rounded to a nanometre): everything of that width that is stocked."""
    by_length = product.sold_by == "length"
    offers: dict[float, dict[float, float]] = {}
    for size in product.widths:
        for length in size.roll_lengths:
            price = size.roll_price(length, by_length)
            price = price or size.roll_width_m * length  # free turf is still not wasted
            known = offers.setdefault(width_key(size.roll_width_m), {})
            known[length] = min(price, known.get(length, price))
    billing = rules.billing_step_m if by_length else 0.0
    out = {}
    for width, prices in offers.items():
        lengths = tuple(sorted(prices, reverse=True))
        out[width] = Market(width, lengths, tuple(prices[length] for length in lengths), billing)
    return out


def width_key(roll_width_m: float) -> float:
    return round(roll_width_m, 9)


def _least_sum(need_m: float, lengths_m: list[float]) -> float:
    """Least sum of stocked lengths (shortest first), each as often as one likes, that is at least
    ``need_m``."""
    lengths = [round(length / _UNIT_M) for length in lengths_m]
    divisor = math.gcd(*lengths)
    lengths = [length // divisor for length in lengths]
    need = max(0, math.ceil((need_m - _NOISE_M) / _UNIT_M / divisor))
    if (
        len(lengths) > 1 and need < lengths[-1] ** 2 <= _TABLE
    ):  # from the square on every sum can be made (Schur)
        reached = np.zeros(need + lengths[-1] + 1, bool)
        reached[0] = True
        for total in range(lengths[0], len(reached)):
            reached[total] = any(reached[total - length] for length in lengths if length <= total)
        need += int(np.argmax(reached[need:]))
    elif len(lengths) == 1:
        return need * lengths_m[0]
    return need * divisor * _UNIT_M


def grid_step(values_m: np.ndarray, cut_step_m: float) -> float:
    """The step in which sizes to cut are counted: the coarsest usual one (foot, inch and its
    halves, decimetre to millimetre) made of whole cut steps that all values are whole multiples of;
    else the cut step, which every size is cut to."""
    counts = np.rint(np.asarray(values_m, float) / cut_step_m).astype(np.int64)
    for step in _USUAL_M:
        times = round(step / cut_step_m)
        if times and abs(times * cut_step_m - step) < _UNIT_M and not np.any(counts % times):
            return step
    return cut_step_m


def to_steps(values_m: np.ndarray, step_m: float) -> np.ndarray:
    """Whole steps that cover each value, int64."""
    return whole_steps(values_m, step_m).astype(np.int64)
