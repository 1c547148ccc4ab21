"""The pile bearings of areas that are seen together: one for all, or, where lots stand in a row
along a street that bends, one a lot, all within some degrees of one bearing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from geoturf.layout import bearing
from geoturf.layout.roll import BALANCED, Roll
from geoturf.layout.seams import sought
from geoturf.layout.shape import Shape

SAME_DEG = 0.01  # lots of a plan whose bearings differ by no more lean alike, as the first does


@dataclass(frozen=True)
class Seen:
    """How shapes that are seen together lean: those of equal ``lots`` one way, all within
    ``turn_deg`` of one bearing."""

    turn_deg: float
    lots: tuple[str, ...]


def bearings(shapes: Sequence[Shape], rolls: Sequence[Sequence[Roll]], seen: Seen) -> list[float]:
    """The bearing (degrees) of each shape, of least cost for all: about each of those worth trying
    for most of the ground, lots choose as suits them best."""
    some = _Together(shapes, rolls, seen)
    wanted = [
        (at, shape.area_m2) for shape, own in zip(shapes, some.own, strict=True) for at in own
    ]
    about = bearing.popular(*np.transpose(wanted))
    found = [some.leaning(float(at)) for at in about]
    return min(found, key=some.cost)


@dataclass
class _Together:
    """Shapes, what they are laid from, and how they may lean; what they cost where it is known."""

    shapes: Sequence[Shape]
    rolls: Sequence[Sequence[Roll]]
    seen: Seen
    known: dict[tuple[int, float], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        pairs = zip(self.shapes, self.rolls, strict=True)
        self.own = [bearing.worth_trying(shape, stock) for shape, stock in pairs]

    def leaning(self, about_deg: float) -> list[float]:
        """The bearing of each shape, all about one."""
        if not self.seen.turn_deg:
            return [about_deg] * len(self.shapes)
        lots: dict[str, list[int]] = {}
        for row, lot in enumerate(self.seen.lots):
            lots.setdefault(lot, []).append(row)
        out = [about_deg] * len(self.shapes)
        for rows in lots.values():
            tried = [about_deg, *self._near(about_deg, rows)]
            costs = [sum(self._least(row, at) for row in rows) for at in tried]
            best = tried[int(np.argmin(costs))]
            for row in rows:
                out[row] = best
        return out

    def _near(self, about_deg: float, rows: Sequence[int]) -> list[float]:
        """What suits a lot's shapes, as near as their view allows."""
        own = np.array([at for row in rows for at in self.own[row]])
        off = (own - about_deg + 90) % 180 - 90
        near = off[np.abs(off) <= self.seen.turn_deg - SAME_DEG]
        return [float(about_deg + one) for one in near]

    def cost(self, leaning: Sequence[float]) -> float:
        """Of all."""
        return sum(self._least(row, at) for row, at in enumerate(leaning))

    def _least(self, row: int, at: float) -> float:
        key = row, round(at % 180, 9)
        if key not in self.known:
            self.known[key] = _least(self.shapes[row], self.rolls[row], key[1])
        return self.known[key]


def _least(shape: Shape, rolls: Sequence[Roll], at: float) -> float:
    found = [sought(shape, at, roll, models=(BALANCED,)) for roll in rolls]
    return float(min(r.worth * one.cost[BALANCED] for r, one in zip(rolls, found, strict=True)))
