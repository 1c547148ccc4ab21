"""What is to be cut from what, in whole steps of one grid.

A `Job` is the pieces of one pool that are cut from rolls of one width. Pieces are whole multiples
of the grid step, so a roll cut down to whole steps holds exactly the same plans.

    lane      a strip of a section cut lengthwise, sizes end to end in it: (width, sizes), sizes
              being rows of ``Job.size``
    section   a stretch of roll cut across its full usable width: (length, lanes)
    bought    sections one after the other on one roll, one length off a roll or one left-over of
              the stock
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np

from geoturf.cuts.market import Market

Lane = tuple[int, tuple[int, ...]]
Section = tuple[int, tuple[Lane, ...]]
Bought = tuple[Section, ...]


@dataclass(frozen=True)
class Job:
    """``width``: usable roll width, ``rolls``: stocked lengths, longest first, in grid steps of
    ``step_m`` metres. ``size``: int array (k, 2) of distinct lengths and widths in steps, longest
    first, then widest; ``demand``: int array (k,), how many of each. ``left_overs``: (length,
    width) in steps of stock at hand. ``slant``: int array (k, 3) of middle, start and end
    (`geoturf.cuts.slanted`), zeros for pieces narrower than the roll; None where all is cut square.
    ``effort``: of `geoturf.rules.CutRules`; ``turns``: parts of large jobs cut again, 0 where the
    first plan does."""

    step_m: float
    width: int
    rolls: tuple[int, ...]
    market: Market
    size: np.ndarray
    demand: np.ndarray
    left_overs: tuple[tuple[int, int], ...] = ()
    slant: np.ndarray | None = None
    effort: str = "normal"
    turns: int = 4

    @property
    def thorough(self) -> bool:
        """Whether large jobs are worked on as hard as small ones."""
        return self.effort == "thorough"

    @property
    def content(self) -> Hashable:
        """All that a job says but its effort: jobs of equal content are one job."""
        slant = b"" if self.slant is None else self.slant.tobytes()
        pieces = (self.size.tobytes(), self.demand.tobytes(), slant)
        rolls = (self.step_m, self.width, self.rolls, self.market)
        return (*rolls, *pieces, self.left_overs, self.turns)

    @property
    def longest(self) -> int:
        return self.rolls[0]

    def purchase(self, used: int) -> tuple[float, float]:
        """Cheapest purchase, (length in m, price), that holds ``used`` steps, 0 < used <=
        ``longest``."""
        known = self._purchases
        if used not in known:
            known[used] = self.market.purchase(used * self.step_m)
        return known[used]

    @cached_property
    def _purchases(self) -> dict[int, tuple[float, float]]:
        return {}

    def leaning(self, weight: float) -> Callable[[int], float]:
        """What a purchase costs by the steps used of it, less up to ``weight`` of that for a long
        left-over: of plans that cost the same, the one whose left-overs are on one roll costs
        least."""

        @cache
        def cost(steps: int) -> float:
            length_m, price = self.purchase(steps)
            return price * (1 - weight * (1 - steps * self.step_m / length_m) ** 2)

        return cost

    def least_m(self, steps: float) -> float:
        """Least total length in metres that can be bought where at least ``steps`` are needed."""
        return self.market.least_m(steps * self.step_m)

    @property
    def slants(self) -> np.ndarray:
        """Chalk lines of each size, int (k, 3) as in ``slant``; zeros where all is cut square."""
        if self.slant is None:
            return np.zeros((len(self.size), 3), np.int64)
        return self.slant

    def outline(self, size: int) -> tuple[int, int, int]:
        """Middle, start and end of a full-width size, cut along its chalk lines."""
        middle, start, end = self.slants[size].tolist()
        if middle:
            return (middle, start, end)
        return (int(self.size[size, 0]), 0, 0)

    def only(self, demand: np.ndarray) -> tuple[Job, np.ndarray]:
        """The job of these pieces of each size (k,) without stock, and the rows of its sizes in
        this one."""
        rows = np.flatnonzero(demand > 0)
        slant = None if self.slant is None else self.slant[rows]
        return replace(
            self, size=self.size[rows], demand=demand[rows], left_overs=(), slant=slant
        ), rows


def is_chain(job: Job, section: Section) -> bool:
    """Whether a section holds pieces nested along chalk lines: full-width pieces one after the
    other."""
    lanes = section[1]
    return (
        job.slant is not None
        and len(lanes) == 1
        and lanes[0][0] == job.width
        and len(lanes[0][1]) > 1
    )


def undercut(bought: float, bound: float) -> bool:
    """Whether less is bought than a bound says (both in m, or both in m2), by more than the dust
    that sums of floats gather: a micrometre, or a billionth of what is bought where that is
    more."""
    return not bound <= bought + max(1e-6, 1e-9 * bought)  # so that what is no number is told


def used(bought: Bought) -> int:
    """Steps of roll that sections take."""
    return sum(length for length, _ in bought)


def count(sections: Bought | list[Section], kinds: int) -> np.ndarray:
    """How many pieces of each size are in the sections."""
    sizes = [k for _, lanes in sections for _, lane in lanes for k in lane]
    return np.bincount(np.array(sizes, np.int64), minlength=kinds)


def relabelled(sections: Bought | list[Section], rows: np.ndarray) -> Bought:
    """The sections with their sizes named by their rows elsewhere."""
    return renamed([tuple(sections)], rows)[0]


def renamed(every: Iterable[Bought], rows: np.ndarray) -> list[Bought]:
    """`relabelled` for purchases, of which many are alike."""
    name = rows.tolist().__getitem__
    known: dict[Bought, Bought] = {}
    out = []
    for bought in every:
        if bought not in known:
            known[bought] = tuple(
                (length, tuple([(width, tuple(map(name, lane))) for width, lane in lanes]))
                for length, lanes in bought
            )
        out.append(known[bought])
    return out
