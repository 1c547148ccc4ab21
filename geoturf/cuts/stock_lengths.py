"""Lengths cut from stocked lengths: the cutting-stock problem in one dimension (Gilmore and Gomory 1961).

Column generation with demand-bounded knapsacks, then diving: patterns the programme uses whole are taken, then the one it
uses most, and the rest is solved again. What is left at the end goes by best fit; the cheapest of all tries is kept.
"""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections import Counter
from dataclasses import dataclass

import numpy as np

from geoturf.cuts import pricing
from geoturf.cuts.master import Master

Pattern = tuple[int, ...]  # lengths, longest first

_ROUNDS = 400
_GAIN = 1e-7


@dataclass(frozen=True)
class Stock:
    """Stocked lengths, longest first, and what each costs."""

    lengths: tuple[int, ...]
    costs: tuple[float, ...]

    def cost(self, used: int) -> float:
        return min(cost for length, cost in zip(self.lengths, self.costs, strict=True) if length >= used)

    def total(self, patterns: list[Pattern]) -> float:
        return sum(self.cost(sum(pattern)) * n for pattern, n in Counter(patterns).items())


def cut(stock: Stock, lengths: list[int], good: list[Pattern], enough: float) -> tuple[list[Pattern], float]:
    """Patterns for the lengths, no dearer than ``good``, and the least any patterns cost. Stops when ``enough`` is met."""
    left = Counter(lengths)
    columns, taken, bound = set(good), [], -math.inf
    best = good
    while left and bound < stock.total(best) - 1e-6 and stock.total(best) > enough + 1e-6:
        found, use, objective, least = _programme(stock, left, columns)
        bound = max(bound, least) if not taken else bound
        columns |= set(found)
        if stock.total(taken) + objective > stock.total(best) - 1e-6 and taken:
            break
        for pattern in _take(found, use, left):
            taken.append(pattern)
            left -= Counter(pattern)
        trial = taken + best_fit(stock.lengths[0], list(left.elements()))
        if stock.total(trial) < stock.total(best) - 1e-9:
            best = trial
    return best, bound


def _take(patterns: list[Pattern], use: np.ndarray, left: Counter[int]) -> list[Pattern]:
    """Patterns the programme uses whole, as often as it does; else the one it uses most."""
    out, rest = [], Counter(left)
    order = np.argsort(-(use - np.floor(use + 1e-6)), kind="stable")
    for j in [*np.flatnonzero(use > 1 - 1e-6), *(() if (use > 1 - 1e-6).any() else order)]:
        wanted = Counter(patterns[j])
        for _ in range(max(1, math.floor(use[j] + 1e-6))):
            if all(rest[length] >= n for length, n in wanted.items()):
                out.append(patterns[j])
                rest -= wanted
        if out and use[j] < 1 - 1e-6:
            break
    return out


def _programme(
    stock: Stock, left: Counter[int], columns: set[Pattern]
) -> tuple[list[Pattern], np.ndarray, float, float]:
    """Patterns, their use, the objective and the bound of the linear programme for these demands."""
    lengths = np.array(sorted(left, reverse=True))
    demand = np.array([left[int(length)] for length in lengths])
    row = {int(length): k for k, length in enumerate(lengths)}
    fits = np.minimum(demand, stock.lengths[0] // lengths)
    copies = np.repeat(np.arange(len(lengths)), fits)
    master, patterns = Master(demand), []

    def add(pattern: Pattern) -> None:
        master.add(stock.cost(sum(pattern)), np.bincount([row[h] for h in pattern], minlength=len(lengths)))
        patterns.append(pattern)

    for length in lengths.tolist():
        add((length,))
    for pattern in sorted(columns - set(patterns)):
        wanted = Counter(pattern)
        if all(left[length] >= n for length, n in wanted.items()):
            add(pattern)
    known, least = set(patterns), -math.inf
    for _ in range(_ROUNDS):
        objective, use, value = master.solve()
        table = pricing.knapsacks(lengths[copies], value[copies], stock.lengths[0])
        worth = [table[-1, length] / cost for length, cost in zip(stock.lengths, stock.costs, strict=True)]
        least = max(least, objective / max(1.0, *worth))
        fresh = {
            _pattern(table, lengths[copies], room)
            for room, w in zip(stock.lengths, worth, strict=True)
            if w > 1 + _GAIN
        }
        fresh -= known
        if not fresh:
            break
        for pattern in sorted(fresh):
            add(pattern)
        known |= fresh
    objective, use, _ = master.solve()
    return patterns, use, objective, least


def _pattern(table: np.ndarray, lengths: np.ndarray, room: int) -> Pattern:
    out = []
    for k in range(len(lengths), 0, -1):
        if table[k, room] > table[k - 1, room]:
            out.append(int(lengths[k - 1]))
            room -= out[-1]
    return tuple(sorted(out, reverse=True))


def best_fit(roll: int, lengths: list[int]) -> list[Pattern]:
    """Best fit decreasing: each length to the fullest roll that still takes it."""
    rolls: list[list[int]] = []
    rooms: list[tuple[int, int]] = []  # (free length, roll), sorted
    for length in sorted(lengths, reverse=True):
        at = bisect_left(rooms, (length, -1))
        if at < len(rooms):
            room, roll_at = rooms.pop(at)
        else:
            room, roll_at = roll, len(rolls)
            rolls.append([])
        rolls[roll_at].append(length)
        insort(rooms, (room - length, roll_at))
    return [tuple(pattern) for pattern in rolls]


def fill(roll: int, lengths: list[int], look: int = 200) -> list[Pattern]:
    """Roll by roll: the longest left, with the lengths that fill the roll best."""
    left, groups = sorted(lengths, reverse=True), []
    while left:
        group = subset(left[:look], {roll}, roll)
        for length in group:
            left.remove(length)
        groups.append(tuple(group))
    return groups


def subset(lengths: list[int], marks: set[int], most: int) -> list[int]:
    """A subset that contains the first length and sums to the greatest mark within ``most``; to the greatest sum where no
    mark is met."""
    if sum(lengths) <= most:
        return list(lengths)
    mask = (1 << (most + 1)) - 1
    reached = [1 << lengths[0]]
    for length in lengths[1:]:
        reached.append((reached[-1] | reached[-1] << length) & mask)
    sums = reached[-1]
    total = next((mark for mark in sorted(marks, reverse=True) if sums >> mark & 1), sums.bit_length() - 1)
    chosen = []
    for k in range(len(lengths) - 1, 0, -1):
        if not reached[k - 1] >> total & 1:
            chosen.append(lengths[k])
            total -= lengths[k]
    return [lengths[0], *reversed(chosen)]
