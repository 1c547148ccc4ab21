"""Both levels in one linear programme: pieces to sections and sections to purchases.

    least sum_p c_p z_p   with   sum_s a_is x_s >= d_i                                        for every size i
                                 sum_p b_hp z_p + y_h' - y_h >= sum of x_s of length h        for every length h

over sections s, purchases p (b_hp slots of length h, cost c_p) and slots y_h' of the next longer
length that are given to h. The value of a length's row is what a section so long ought to cost.
Where it is long enough to leave room for nothing else on its roll, or where a foot more is billed,
that is more than its own length.

The most that lengths of these values are worth in h steps is a superadditive function of h that no
purchase exceeds, so sections priced by it bound every plan from below, whatever the values were
(`dual` says more of such functions).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np

from geoturf.cuts import pricing
from geoturf.cuts.job import Job, Section
from geoturf.cuts.master import Master
from geoturf.cuts.program import COLUMNS, Lanes, contents, stride
from geoturf.cuts.sections import tidy
from geoturf.cuts.stock_lengths import Pattern, Stock

_PLAIN = 1e-3  # part of a cost that goes by length alone, so that nothing costs nothing
_PATTERNS = 50  # purchases added a round


class Levels:
    """The programme of a job, begun from sections known and from purchases of their lengths.
    ``sections``: those it has now."""

    def __init__(
        self, job: Job, stock: Stock, sections: Sequence[Section], patterns: Iterable[Pattern]
    ):
        self.job, self.stock, self.lanes = job, stock, Lanes(job)
        self.master = Master(job.demand)
        self.row: dict[int, int] = {}
        self.sections: list[Section] = []
        self.patterns: set[Pattern] = set()
        self._add_sections(sections)
        self._add_patterns(sorted(patterns))

    def solve(self, rounds: int) -> np.ndarray:
        """Grows the programme until nothing gains or ``rounds`` are over. Gives what a section
        ought to cost by its length in steps, float (longest + 1,), in the unit of the stock's
        costs."""
        kinds = len(self.job.demand)
        apart = stride(self.job)
        for k in range(rounds):
            _, _, value = self.master.solve()
            patterns, cost = self._purchases(value[kinds:])
            heights = np.arange(
                int(self.job.size[:, 0].min()) + k % apart, self.job.longest + 1, apart
            )
            best = self.lanes.price(value[:kinds], heights, cost).best(COLUMNS, True)
            added = self._add_sections([tidy(self.job, lanes) for lanes in best])
            if not self._add_patterns(patterns) and not added:
                break
        return cost

    def _purchases(self, value: np.ndarray) -> tuple[list[Pattern], np.ndarray]:
        """Purchases that gain most at these values of the lengths, and what the values come to as
        costs by length."""
        lengths = np.array(sorted(self.row))
        longest = self.job.longest
        copies = np.repeat(np.arange(len(lengths)), longest // lengths)
        worth = value[[self.row[length] - len(self.job.demand) for length in lengths.tolist()]]
        rooms = np.array(self.stock.lengths)
        costs = np.array(self.stock.costs)
        patterns, table = pricing.fills(lengths[copies], worth[copies], rooms, costs, _PATTERNS)
        plain = np.arange(longest + 1) * float((costs / rooms).min())
        return patterns, (1 - _PLAIN) * table / max(
            1.0, float((table[rooms] / costs).max())
        ) + _PLAIN * plain

    def _add_sections(self, sections: Sequence[Section]) -> int:
        known = set(self.sections)
        fresh = [section for section in dict.fromkeys(sections) if section not in known]
        if fresh:
            self._add_lengths(sorted({length for length, _ in fresh} - set(self.row), reverse=True))
            counts = np.zeros((len(fresh), len(self.master.demand)))
            counts[:, : len(self.job.demand)] = contents(fresh, len(self.job.demand))
            counts[np.arange(len(fresh)), [self.row[length] for length, _ in fresh]] = -1
            self.master.add(np.zeros(len(fresh)), counts)
            self.sections += fresh
        return len(fresh)

    def _add_lengths(self, lengths: list[int]) -> None:
        """A row for each, a purchase of each alone, and slots of each given to the next shorter."""
        if not lengths:
            return
        self.row |= {length: len(self.master.demand) + k for k, length in enumerate(lengths)}
        self.master.need(np.zeros(len(lengths)))
        ordered = sorted(self.row, reverse=True)
        pairs = [pair for pair in pairwise(ordered) if not set(lengths).isdisjoint(pair)]
        counts = np.zeros((len(pairs), len(self.master.demand)))
        for k, (longer, shorter) in enumerate(pairs):
            counts[k, self.row[longer]] = -1
            counts[k, self.row[shorter]] = 1
        if pairs:
            self.master.add(np.zeros(len(pairs)), counts)
        self._add_patterns([(length,) for length in lengths])

    def _add_patterns(self, patterns: Iterable[Pattern]) -> int:
        fresh = [
            some
            for some in dict.fromkeys(patterns)
            if some not in self.patterns and self.row.keys() >= set(some)
        ]
        if fresh:
            counts = np.zeros((len(fresh), len(self.master.demand)))
            for k, pattern in enumerate(fresh):
                np.add.at(counts[k], [self.row[length] for length in pattern], 1)
            self.master.add([self.stock.cost(sum(pattern)) for pattern in fresh], counts)
            self.patterns.update(fresh)
        return len(fresh)
