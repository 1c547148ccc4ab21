"""Branch and bound over the bearings of the pile, for `geoturf.layout.bound`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple, TypeAlias

import numpy as np

from geoturf.compiled import Flags, Floats, Ints
from geoturf.layout.kernel import views

SPANS = 12  # of the half turn, to start with
HALVED = 8  # spans at a time: enough that calls cost little, few enough that the lowest come first
CLOSE = 3e-4  # of the area: how near to the least the bound is brought
# half a span from which on waste is looked at, and the least is looked for
COARSE_DEG = 5.0
FINE_DEG = 0.12


class Views(NamedTuple):
    """A shape at several ``bearings`` (degrees) as `geoturf.layout.kernel.views` gives it."""

    bearings: Floats
    edges: Floats
    vs: Floats
    at: Ints


# what pieces take (m2) beyond the lengthened shape, at bearings turned by up to so much (radians):
# of those wanted, 0 for the others
Lost: TypeAlias = Callable[[Views, Floats, Flags], Floats]


@dataclass(frozen=True)
class Halving:
    """What pieces of a shape take (m2): ``edges`` x0, y0, x1, y1 in ``parts`` parts, and ``area``
    (m2). ``border``: no less than the border's length once it is lengthened; ``ends``: both end
    allowances; ``lost``: what is wasted, None where nothing is told of it; ``snap`` as for
    `kernel.turn`."""

    edges: np.ndarray
    parts: int
    border: float
    area: float
    ends: float
    lost: Lost | None
    snap: float

    def least(self, begin: float, guesses: np.ndarray, tries: int) -> float:
        """No more than the least over all bearings (degrees). ``begin``: where the first span
        begins; ``guesses``: where the least may well be; ``tries``: bearings at most."""
        least = float(self.told(guesses).min())
        half = np.full(SPANS, 90.0 / SPANS)
        middle = begin + (2 * np.arange(SPANS) + 1) * half
        known = np.zeros(SPANS)
        known, least = self._promised(middle, half, known, least)
        while tries > 1 and len(low := np.flatnonzero(known < least - CLOSE * self.area)):
            low = low[np.argsort(known[low], kind="stable")[: min(HALVED, tries // 2)]]
            tries -= 2 * len(low)
            half[low] *= 0.5
            both = np.concatenate([middle[low] - half[low], middle[low] + half[low]])
            found, least = self._promised(
                both, np.tile(half[low], 2), np.tile(known[low], 2), least
            )
            middle[low], known[low] = both[: len(low)], found[: len(low)]
            middle = np.append(middle, both[len(low) :])
            known = np.append(known, found[len(low) :])
            half = np.append(half, half[low])
        return float(known.min())

    def told(self, bearings: np.ndarray) -> np.ndarray:
        """What can be told of each of these bearings (k,), by itself."""
        view, area = self._views(bearings)
        none = np.zeros(len(area))
        every = np.ones(len(area), bool)
        if self.lost is None:
            return area
        return area + self.lost(view, none, every)

    def _promised(
        self, middle: np.ndarray, half: np.ndarray, known: np.ndarray, least: float
    ) -> tuple[np.ndarray, float]:
        """No more than what pieces take at any bearing within ``half`` (degrees) of each
        ``middle``; ``known``: what they take at least by what was told of wider spans. Waste is
        looked at where it may matter. And the ``least`` of what is taken at bearings tried, as
        far as is known."""
        view, area = self._views(middle)
        turn = np.radians(half)
        r = 0.5 * self.ends * turn
        sure = area - r * self.border - np.pi * r * r * self.parts
        if self.lost is None:
            return np.maximum(sure, known), min(least, float(area.min()))
        wanted = (half < COARSE_DEG) & (sure < least)
        if wanted.any():
            lost = self.lost(view, turn, wanted)
            sure += lost
            wanted &= (half < FINE_DEG) & (np.maximum(area + lost, known) < least)
            if wanted.any():
                here = area + self.lost(view, np.zeros(len(turn)), wanted)
                least = min(
                    least, float(np.maximum(here, known)[wanted].min())
                )  # a span about it may have told more
        return np.maximum(sure, known), least

    def _views(self, bearings: np.ndarray) -> tuple[Views, Floats]:
        """The shape at those bearings, degrees (k,), and its area once lengthened."""
        angle = np.radians(bearings)
        edges, vs, at, area = views(self.edges, np.sin(angle), np.cos(angle), self.snap, self.ends)
        return Views(bearings, edges, vs, at), area
