"""The best plan for up to 14 pieces, by dynamic programming over all subsets.

    lanes     every way to lay a subset out in lanes of one section that no other way beats in both
              width and length
    sections  the least total length of sections for a subset
    bought    the least price of purchases for a subset

Each step splits off the part that holds the subset's first piece, so a partition is met once: 3^n /
2 splits. Layouts that waste as much as the best plan known leaves to spare are dropped: no better
plan can contain them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from geoturf.compiled import Floats, Ints, jit
from geoturf.cuts.job import Bought, Job, Section
from geoturf.cuts.sections import tidy

MOST = 14


@jit
def _sums(length: Ints, width: Ints) -> tuple[Ints, Ints, Ints]:
    """By subset: lengths end to end, widest width, area."""
    n = len(length)
    long = np.zeros(1 << n, np.int64)
    wide = np.zeros(1 << n, np.int64)
    area = np.zeros(1 << n, np.int64)
    for k in range(n):
        for s in range(1 << k):
            t = s | 1 << k
            long[t] = long[s] + length[k]
            wide[t] = max(wide[s], width[k])
            area[t] = area[s] + length[k] * width[k]
    return long, wide, area


@jit
def _lanes(
    long: Ints, wide: Ints, area: Ints, across: int, room: int, spare: int, most: int
) -> tuple[Ints, Ints, bool]:
    """Ways to lay each subset out in one section: rows start[s] .. start[s + 1] of (width, length,
    lane split off, row of the rest). Ways that waste ``spare`` or more are left out. The first row
    of a subset has the least length."""
    subsets = len(long)
    start = np.zeros(subsets + 1, np.int64)
    ways = np.zeros((most, 4), np.int64)
    start[1] = 1
    found = 1
    for s in range(1, subsets):
        begin = found
        low = s & -s
        rest = s ^ low
        other = rest
        while True:  # other: what is not in the first piece's lane
            lane = s ^ other
            w = wide[lane]
            h = long[lane]
            if w <= across and h <= room and w * h - area[lane] < spare:
                for k in range(start[other], start[other + 1]):
                    total = ways[k, 0] + w
                    tall = max(ways[k, 1], h)
                    if total > across or total * tall - area[s] >= spare:
                        continue
                    beaten = False
                    for q in range(begin, found):
                        if ways[q, 0] <= total and ways[q, 1] <= tall:
                            beaten = True
                            break
                    if beaten:
                        continue
                    kept = begin
                    for q in range(begin, found):
                        if not (ways[q, 0] >= total and ways[q, 1] >= tall):
                            for c in range(4):
                                ways[kept, c] = ways[q, c]
                            kept += 1
                    if kept >= most:
                        return start, ways, False
                    ways[kept, 0] = total
                    ways[kept, 1] = tall
                    ways[kept, 2] = lane
                    ways[kept, 3] = k
                    found = kept + 1
            if other == 0:
                break
            other = (other - 1) & rest
        for q in range(begin + 1, found):  # least length first
            if ways[q, 1] < ways[begin, 1]:
                for c in range(4):
                    ways[begin, c], ways[q, c] = ways[q, c], ways[begin, c]
        start[s + 1] = found
    return start, ways, True


@jit
def _least(cost: Floats) -> tuple[Floats, Ints]:
    """Least cost of a partition of each subset into subsets of finite ``cost``, and the part that
    holds its first piece."""
    subsets = len(cost)
    best = np.full(subsets, np.inf)
    part = np.zeros(subsets, np.int64)
    best[0] = 0.0
    for s in range(1, subsets):
        rest = s & (s - 1)
        other = rest
        while True:
            price = cost[s ^ other] + best[other]
            if price < best[s]:
                best[s] = price
                part[s] = s ^ other
            if other == 0:
                break
            other = (other - 1) & rest
    return best, part


@dataclass(frozen=True)
class _Ways:
    """Best sections for subsets of the narrow pieces. Bit p of a subset is piece p; ``kind`` gives
    its size. ``total``: least length of sections by subset, ``part`` the section split off; rows
    ``start`` on of ``ways`` lay it out."""

    job: Job
    kind: np.ndarray
    total: np.ndarray
    part: np.ndarray
    start: np.ndarray
    ways: np.ndarray

    def sections(self, subset: int) -> list[Section]:
        return [self._section(part) for part in _parts(self.part, subset)]

    def _section(self, subset: int) -> Section:
        lanes = []
        row = int(self.start[subset])
        while subset:
            lane = int(self.ways[row, 2])
            row = int(self.ways[row, 3])
            lanes.append(tuple(int(k) for p, k in enumerate(self.kind) if lane >> p & 1))
            subset ^= lane
        return tidy(self.job, lanes)


def narrow(job: Job) -> np.ndarray:
    """Sizes (k,) that leave room for another beside them. The others have sections of their own."""
    fits: np.ndarray = job.size[:, 1] + job.size[:, 1].min() <= job.width
    return fits


def shorter(job: Job, total: int) -> list[Section] | None:
    """Sections of least total length where it is under ``total``; None where none is. Exact for up
    to `MOST` narrow pieces."""
    alone = np.repeat(np.flatnonzero(~narrow(job)), job.demand[~narrow(job)])
    found = _sections(job, job.width * total)
    if found is None or not found.total[-1] + job.size[alone, 0].sum() < total:
        return None
    return found.sections(len(found.total) - 1) + [tidy(job, [(int(k),)]) for k in alone]


def cheaper(job: Job, cost: Callable[[int], float], known: float, room: int) -> list[Bought] | None:
    """The plan of least cost where that is under ``known``, the cost of a plan known; None where
    none is. ``cost`` is that of a purchase by the steps used of it, ``room`` the steps of roll a
    better plan uses at most. Exact for up to `MOST` pieces."""
    found = _sections(job, job.width * room)
    if found is None:
        return None
    alone = np.repeat(np.flatnonzero(~narrow(job)), job.demand[~narrow(job)])
    longs, _, _ = _sums(job.size[alone, 0], job.size[alone, 1])
    total = (found.total[None, :] + longs[:, None]).reshape(-1)  # wide pieces are the higher bits
    steps, at = np.unique(total, return_inverse=True)
    price = np.array([cost(int(s)) if 0 < s <= job.longest else np.inf for s in steps])[at]
    best, bought = _least(price)
    if not best[-1] < known - 1e-9 * max(1.0, abs(known)):
        return None
    low = len(found.total) - 1
    out = []
    for part in _parts(bought, len(best) - 1):
        wide = [
            tidy(job, [(int(k),)]) for p, k in enumerate(alone) if part >> len(found.kind) >> p & 1
        ]
        out.append(tuple(sorted(found.sections(part & low) + wide, reverse=True)))
    return out


def _sections(job: Job, room: int) -> _Ways | None:
    """Least total length by subset of the narrow pieces; None where all pieces fill ``room``, the
    area a better plan takes at most."""
    spare = room - int(job.demand @ job.size.prod(axis=1)) + 1
    if spare <= 0:
        return None
    kind = np.repeat(np.flatnonzero(narrow(job)), job.demand[narrow(job)])
    long, wide, area = _sums(job.size[kind, 0], job.size[kind, 1])
    most = 4 << len(kind)
    start, ways, whole = _lanes(long, wide, area, job.width, job.longest, spare, most)
    while not whole:
        most *= 4
        start, ways, whole = _lanes(long, wide, area, job.width, job.longest, spare, most)
    height = np.where(start[1:] == start[:-1], np.inf, ways[np.minimum(start[:-1], most - 1), 1])
    height[0] = np.inf
    return _Ways(job, kind, *_least(height), start, ways)


def _parts(part: np.ndarray, subset: int) -> list[int]:
    """The parts a best partition of the subset is made of."""
    out = []
    while subset:
        out.append(int(part[subset]))
        subset ^= out[-1]
    return out
