"""What items are bought by: package sizes, allowances, whole packages."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from geoturf import units
from geoturf.rules import MaterialRules
from geoturf.rules.items import ITEMS

_MEASURES = ("ton", "t", "lb", "kg", "yd^3", "m^3", "ft^2", "m^2", "ft", "m", "in", "cm", "mm", "h")


class Package(NamedTuple):
    """What an item is bought by: SI units a package or step, and what is bought over net, as a
    fraction."""

    size: float
    allowance: float


def packages(rules: MaterialRules) -> dict[str, Package]:
    """The package of every item, by key."""
    return {key: Package(item.size(rules), item.allowance(rules)) for key, item in ITEMS.items()}


def measure_named(size: float, dimension: tuple[int, int, int] | None) -> str:
    """The word for a purchase unit without a package: ``ton``, ``yd^3``; ``lot`` for odd sizes."""
    for name in _MEASURES:
        factor, found = units.unit_factor(name)
        if found == dimension and abs(size / factor - 1) < 1e-9:
            return name
    return "lot"


def whole(packages: ArrayLike) -> NDArray[np.int64]:
    """Rounded up; a millionth of a package over does not buy another one."""
    return units.whole_steps(packages).astype(np.int64)
