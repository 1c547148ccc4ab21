"""Sections by linear programme: column generation, its bound, and a plan by diving.

    least sum_s h_s x_s   with   sum_s a_is x_s >= d_i   over all sections s (length h_s, a_is pieces of size i)

`pricing` gives the best section of each length at the duals; what no section beats bounds the programme from below (Farley
1990). To dive, sections the programme uses almost wholly are taken, and the rest is solved again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from geoturf.cuts import pricing
from geoturf.cuts.job import Job, Section, count, relabelled
from geoturf.cuts.master import Master
from geoturf.cuts.sections import tidy

_GAIN = 1e-6  # of a section's length: a column that gains less is not worth adding
_CLOSE = 1e-5  # programme and bound this close are taken for equal


@dataclass(frozen=True, slots=True)
class Pace:
    """How hard the programme is worked: ``columns`` added a round, one in ``stride`` lengths looked at in most rounds, and
    ``rounds`` of column generation."""

    columns: int
    stride: int
    rounds: int


THOROUGH, BRISK = Pace(32, 12, 60), Pace(8, 24, 20)


class Lanes:
    """What lanes of a job are made of, narrowest first: ``kind`` of each leader, as many of a size as lie side by side, and
    things that follow: ``batch`` pieces of size ``of``, in batches that sum up to any number there is. What is in the first
    ``row[c]`` batches may follow leader c: narrower sizes, and all of its own but itself."""

    def __init__(self, job: Job):
        self.job = job
        kind, row, of, batch = [], [], [], []
        for size in np.lexsort((job.size[:, 0], job.size[:, 1])).tolist():
            long, wide = job.size[size].tolist()
            end_to_end = min(int(job.demand[size]), job.longest // long)
            batches = [*_batches(end_to_end - 1), 1]
            of += [size] * len(batches)
            batch += batches
            side_by_side = min(int(job.demand[size]), job.width // wide)
            kind += [size] * side_by_side
            row += [len(of) - 1] * side_by_side
        self.kind, self.row, self.of, self.batch = (np.array(column, np.int64) for column in (kind, row, of, batch))
        self.length, self.width = (np.ascontiguousarray(job.size[self.kind, side]) for side in (0, 1))
        self.batch_length = job.size[self.of, 0] * self.batch
        fresh = np.append(True, np.diff(self.of) != 0)  # batches of a size lie together
        self.sizes, self.distinct = self.of[fresh], np.append(0, np.cumsum(fresh))  # sizes in the first so many batches

    def price(self, value: np.ndarray, heights: np.ndarray) -> Priced:
        """The best sections of these lengths where a piece of size i is worth ``value[i]``."""
        job = self.job
        follow = pricing.knapsacks(self.batch_length, value[self.of] * self.batch, job.longest)
        worth = value[self.kind]
        led = pricing.lead(self.length, self.width, worth, follow, self.row, job.width, heights)
        return Priced(self, value, worth, follow, heights, led)


def _batches(count: int) -> list[int]:
    """Whole numbers, parts of which sum up to anything from 0 to ``count``: 1, 2, 4 … and a rest."""
    out, unit = [], 1
    while count > 0:
        out.append(min(unit, count))
        count -= out[-1]
        unit *= 2
    return out


@dataclass(frozen=True)
class Priced:
    """Sections of ``heights`` at the ``value`` of each size, ``worth`` of each leader; ``led``: float (heights, leaders)."""

    lanes: Lanes
    value: np.ndarray
    worth: np.ndarray
    follow: np.ndarray
    heights: np.ndarray
    led: np.ndarray

    def counts(self, k: int) -> np.ndarray:
        """Pieces of each size in the best section of the k-th length, some perhaps more than there are."""
        kinds = len(self.lanes.job.demand)
        lanes = self._lanes(k, np.full(kinds, np.iinfo(np.int64).max))
        return np.bincount([size for lane in lanes for size in lane], minlength=kinds)

    def section(self, k: int) -> Section:
        """The best section of the k-th length; a piece that would be needed once too often is left out."""
        job = self.lanes.job
        return tidy(job, self._lanes(k, job.demand.copy()))

    def _lanes(self, k: int, left: np.ndarray) -> list[tuple[int, ...]]:
        """Sizes lane by lane of the best section of the k-th length, as far as there are pieces ``left`` (taken off)."""
        its = self.lanes
        h, first = int(self.heights[k]), int(np.argmax(self.led[k]))
        leaders = pricing.leaders(first, h, its.length, its.width, self.worth, self.follow, its.row, its.job.width)
        kinds = its.kind[leaders]
        np.subtract.at(left, kinds, 1)
        sizes = (its.sizes, its.distinct, its.job.size[:, 0])
        batches = (its.of, its.batch, its.batch_length)
        following, many = pricing.lanes(
            leaders, h, self.follow, self.value, left, (its.row, its.length), batches, sizes
        )
        ends = np.cumsum(many).tolist()
        flat = following.tolist()
        starts = [0, *ends[:-1]]
        return [(kind, *flat[a:b]) for kind, a, b in zip(kinds.tolist(), starts, ends, strict=True)]


class Programme:
    """The master programme of a job. ``columns``: its sections; ``bound``: steps that no plan is under."""

    def __init__(self, job: Job, start: Iterable[Section], pace: Pace):
        self.pace = pace
        self.job, self.lanes, self.master = job, Lanes(job), Master(job.demand)
        self.columns: list[Section] = []
        self.known: set[Section] = set()
        self.bound = 0.0
        self.add([tidy(job, [(k,)]) for k in range(len(job.demand))])
        self.add(start)

    def add(self, sections: Iterable[Section]) -> int:
        """Adds what is not yet there and says how many that was."""
        fresh = [s for s in dict.fromkeys(sections) if s not in self.known]
        for section in fresh:
            self.master.add(section[0], count([section], len(self.job.demand)))
        self.columns += fresh
        self.known.update(fresh)
        return len(fresh)

    def generate(self, rounds: int) -> np.ndarray:
        """Adds sections until none gains or ``rounds`` are over. Gives the use of each."""
        self._grow(rounds, self._add_whole)
        return self.master.solve()[1]

    def prove(self, rounds: int) -> None:
        """Raises the bound: sections that use a piece once too often are let in as well, so that nothing is left for the
        bound to allow for. Such a programme is of no use for diving."""
        self._grow(rounds, self._add_loose)

    def _grow(self, rounds: int, add: Callable[[Priced, np.ndarray], int]) -> None:
        """Most rounds look at one in ``pace.stride`` lengths only; every eighth, and one in which those gain nothing, at all."""
        every = np.arange(int(self.job.size[:, 0].min()), self.job.longest + 1)
        stride = self.pace.stride
        for k in range(rounds):
            objective, _, value = self.master.solve()
            added = 0
            for heights in (every[k % stride :: stride], every) if k % 8 < 7 else (every,):
                priced = self.lanes.price(value, heights)
                ratio = priced.led.max(axis=1) / heights
                if len(heights) == len(every):
                    self.bound = max(self.bound, float(value @ self.job.demand) / max(1.0, float(ratio.max())))
                best = np.argsort(-ratio, kind="stable")[: self.pace.columns]
                added = add(priced, best[ratio[best] > 1 + _GAIN])
                if added:
                    break
            if not added or self.bound >= objective * (1 - _CLOSE):
                break

    def _add_whole(self, priced: Priced, best: np.ndarray) -> int:
        return self.add([priced.section(k) for k in best.tolist()])

    def _add_loose(self, priced: Priced, best: np.ndarray) -> int:
        for k in best.tolist():
            self.master.add(priced.heights[k], priced.counts(k))
        return len(best)


def relax(job: Job, start: list[Section], pace: Pace = THOROUGH) -> tuple[list[Section], int]:
    """Sections worth having, begun from those of a plan known, and the steps no plan is under."""
    master = Programme(job, start, pace)
    master.generate(pace.rounds)
    columns = list(master.columns)
    master.prove(pace.rounds)
    return columns, math.ceil(master.bound * (1 - 1e-12) - 1e-6)


def dive(job: Job, columns: list[Section], take: float, pace: Pace = THOROUGH) -> list[Section]:
    """Sections for the job, begun from ``columns``. Those used more than ``take`` are taken each time."""
    taken: list[Section] = []
    left = job.demand.copy()
    while left.any():
        part, rows = job.only(left)
        place = np.full(len(left), -1)
        place[rows] = np.arange(len(rows))
        master = Programme(part, relabelled([s for s in columns if _fits(s, left)], place), pace)
        use = master.generate(pace.rounds // 5)
        columns = list(relabelled(master.columns, rows))
        for k in _chosen(use, take):
            section = columns[k]
            for _ in range(max(1, int(use[k] + 1 - take))):
                if _fits(section, left):
                    taken.append(section)
                    left = left - count([section], len(left))
    return taken


def _chosen(use: np.ndarray, take: float) -> np.ndarray:
    """Columns to take: those used more than ``take``, and at least the twentieth part of what is used, most used first."""
    order = np.argsort(-np.where(use > take, 1.0, use), kind="stable")
    return order[: max(1, int((use > take).sum()), int(use.sum() / 20))]


def _fits(section: Section, left: np.ndarray) -> bool:
    return bool((count([section], len(left)) <= left).all())
