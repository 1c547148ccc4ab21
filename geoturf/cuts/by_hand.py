"""What a person would order: every strip a full-width length, each area for itself, no sharing."""

from __future__ import annotations

from geoturf.cuts.market import Market
from geoturf.cuts.stock_lengths import best_fit
from geoturf.model import Layout
from geoturf.units import round_up

_UNIT_M = 1e-6


def bought_m2(layout: Layout, market: Market) -> float:
    """Turf bought for one area: the strips' lengths billed together, or packed on the area's own whole rolls."""
    lengths = layout.cut.reshape(-1, 2)[:, 0]
    if not len(lengths):
        return 0.0
    if market.by_length:
        return round_up(float(lengths.sum()), market.billing_m) * market.billing_m * market.roll_width_m
    roll = market.lengths_m[0]
    rolls, rest = 0, []
    for length in lengths:  # a strip longer than a roll takes whole ones and a rest
        whole = max(0, round_up(float(length), roll) - 1)
        rolls += whole
        rest.append(round((float(length) - whole * roll) / _UNIT_M))
    rolls += len(best_fit(round(roll / _UNIT_M), rest))
    return rolls * roll * market.roll_width_m
