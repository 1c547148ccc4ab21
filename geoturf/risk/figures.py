"""What has a range, and its draws: triangular between low and high, its peak at the likely
value."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geoturf.rules import Ranges
from geoturf.rules.ranges import number, rate_field
from geoturf.units import Money

Drawn = dict[str, NDArray[np.float64]]

_TABLES = ("costs", "turf", "rates", "allowances", "build_up")


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure with a range: money in its own unit, rates in SI, all else fractions; ``own``: the
    bid's value."""

    table: str
    key: str
    low: float
    likely: float
    high: float
    own: float
    unit: str

    @property
    def name(self) -> str:
        return f"{self.table}.{self.key}"


def figures(ranges: Ranges, own: Mapping[str, Mapping[str, Any]]) -> list[Figure]:
    """Every figure with a range; where only its ends are given, the bid's own value is likely."""
    found = []
    for table in _TABLES:
        for key, ends in getattr(ranges, table).items():
            value = own[table][key]
            low, *between, high = map(number, ends)
            likely = between[0] if between else number(value)
            found.append(
                Figure(table, key, low, likely, high, number(value), _unit(table, key, value))
            )
    return found


def _unit(table: str, key: str, value: Any) -> str:
    """Of money its own, of a production rate the SI unit that its field's name tells, else none."""
    if isinstance(value, Money):
        return f"{value.currency}/{value.unit}"
    field = rate_field(key) if table == "rates" else ""
    if not field.endswith("_h"):
        return ""
    if "_per_h" in field:
        return f"{field.removeprefix(key + '_').removesuffix('_per_h')}/h"
    return "h"


def draws(ranged: Sequence[Figure], count: int, seed: int) -> Drawn:
    """``count`` draws of every figure. A figure's draws hang on its name and the seed alone, so
    that another range given leaves them as they are."""
    return {one.name: triangular(one, _random(one.name, seed).random(count)) for one in ranged}


def triangular(one: Figure, chance: NDArray[np.float64]) -> NDArray[np.float64]:
    """The value that a triangular distribution stays below with a ``chance``."""
    width = one.high - one.low
    rise = one.likely - one.low
    fall = one.high - one.likely
    below = chance * width <= rise
    up = one.low + np.sqrt(np.maximum(chance * width * rise, 0))
    down = one.high - np.sqrt(np.maximum((1 - chance) * width * fall, 0))
    return np.where(below, up, down)


def normal(name: str, count: int, seed: int) -> NDArray[np.float64]:
    return _random(name, seed).standard_normal(count)


def _random(name: str, seed: int) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64([seed, zlib.crc32(name.encode())]))
