"""Sections to purchases: one dimension. Whole rolls, or lengths off a roll billed to a step."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import Counter

from geoturf.cuts.job import Bought, Job, Section, used


def pack(job: Job, sections: list[Section]) -> list[Bought]:
    """Sections on as few and as cheap purchases as found."""
    groups = (
        fill_exact(job, [h for h, _ in sections])
        if job.market.by_length
        else best_fit(job.longest, [h for h, _ in sections])
    )
    waiting: dict[int, list[Section]] = {}
    for section in sorted(sections):
        waiting.setdefault(section[0], []).append(section)
    return [tuple(waiting[h].pop() for h in group) for group in groups]


def best_fit(roll: int, lengths: list[int]) -> list[list[int]]:
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
    return rolls


_LOOK_AHEAD = 200  # lengths looked at for one exact fill


def fill_exact(job: Job, lengths: list[int]) -> list[list[int]]:
    """Lengths in groups of at most a roll, each group summing to a whole number of billing steps where that can be
    found: what is billed beyond the cuts is then lost in the last group only."""
    bill = job.market.billing_m / job.step_m
    marks = {round(k * bill) for k in range(1, int(job.longest / bill + 1e-6) + 1) if _whole(k * bill)}
    if not marks:
        return best_fit(job.longest, lengths)
    left, groups = sorted(lengths, reverse=True), []
    while left:
        group = _subset(left[:_LOOK_AHEAD], marks, job.longest)
        for length in group:
            left.remove(length)
        groups.append(group)
    return groups


def _whole(value: float) -> bool:
    return abs(value - round(value)) < 1e-6


def _subset(lengths: list[int], marks: set[int], most: int) -> list[int]:
    """A subset that contains the first (longest) length and sums to the greatest mark within ``most``; to the greatest
    sum where no mark is met."""
    mask = (1 << (most + 1)) - 1
    reached = [1 << lengths[0]]
    for length in lengths[1:]:
        reached.append((reached[-1] | reached[-1] << length) & mask)
    sums = reached[-1]
    if sum(lengths) <= most:
        return list(lengths)
    total = next((mark for mark in sorted(marks, reverse=True) if sums >> mark & 1), sums.bit_length() - 1)
    chosen = []
    for k in range(len(lengths) - 1, 0, -1):
        if not reached[k - 1] >> total & 1:
            chosen.append(lengths[k])
            total -= lengths[k]
    return [lengths[0], *reversed(chosen)]


def cost(job: Job, bought: Counter[Bought]) -> float:
    """What the purchases cost, in money."""
    return sum(n * job.purchase(used(sections))[1] for sections, n in bought.items())


def fullest(room: int, sections: list[Section], value: list[int]) -> list[Section]:
    """The sections of most value that fit in ``room`` one after the other (0/1 knapsack)."""
    best: dict[int, tuple[int, tuple[int, ...]]] = {0: (0, ())}
    for k, (length, _) in enumerate(sections):
        for taken, (worth, chosen) in list(best.items()):
            total = taken + length
            if total <= room and worth + value[k] > best.get(total, (-1, ()))[0]:
                best[total] = (worth + value[k], (*chosen, k))
    _, chosen = max(best.values(), key=lambda entry: entry[0])
    return [sections[k] for k in chosen]
