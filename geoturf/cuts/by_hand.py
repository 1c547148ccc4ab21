"""What a careful estimator would order by hand: each area alone, the better of the layouts drawn by
hand, strips off full-width lengths, and what is left beside a narrow strip used once more in the
same area where another narrow strip fits it."""

from __future__ import annotations

from collections.abc import Sequence

from geoturf.cuts.market import Market
from geoturf.cuts.stock_lengths import best_fit
from geoturf.model import Layout
from geoturf.units import round_up

_UNIT_M = 1e-6


def bought_m2(layouts: Sequence[Layout], market: Market, least_m: float) -> float:
    """Turf bought for one area, by the better of its ``layouts``. ``least_m``: rests narrower than
    this are thrown away."""
    return min(_bought_m2(_lengths(layout, least_m), market) for layout in layouts)


def _lengths(layout: Layout, least_m: float) -> list[float]:
    """Lengths of roll to buy (m), the longest first: one a strip, but none for a strip that an
    earlier one's rest holds."""
    lengths: list[float] = []
    rests: list[tuple[float, float]] = []  # width, length
    for length, width in sorted(layout.cut.reshape(-1, 2).tolist(), reverse=True):
        fitting = [
            rest for rest in rests if rest[0] >= width - _UNIT_M and rest[1] >= length - _UNIT_M
        ]
        if fitting:
            rests.remove(min(fitting))
            continue
        lengths.append(length)
        if layout.width_m - width > max(least_m - _UNIT_M, _UNIT_M):
            rests.append((layout.width_m - width, length))
    return lengths


def _bought_m2(lengths: list[float], market: Market) -> float:
    """The lengths billed together, or packed on the area's own whole rolls."""
    if not lengths:
        return 0.0
    if market.by_length:
        return round_up(sum(lengths), market.billing_m) * market.billing_m * market.roll_width_m
    roll = market.lengths_m[0]
    rolls = 0
    rest = []
    for length in lengths:  # a strip longer than a roll takes whole ones and a rest
        whole = max(0, round_up(length, roll) - 1)
        rolls += whole
        rest.append(round((length - whole * roll) / _UNIT_M))
    rolls += len(best_fit(round(roll / _UNIT_M), rest))
    return rolls * roll * market.roll_width_m
