"""Pieces to sections, quickly: longest first, each to the place it fills best.

Sorted by falling length, a piece never makes a section longer: it goes on the end of a shorter
lane, beside the lanes of an open section, or opens a section of its own length. Of the places it
fits, it takes the one that wastes least width.
"""

from __future__ import annotations

import numpy as np

from geoturf.compiled import Ints, jit
from geoturf.cuts.job import Job, Section


@jit
def best_fit(length: Ints, width: Ints, roll_width: int) -> tuple[Ints, Ints, int]:
    """Sections for pieces sorted by falling length (int arrays (n,), grid steps).

    Returns section (n,), lane (n,) of each piece and the total length of the sections. Sections are
    looked up by their free width, lanes by their width: of each the newest (the shortest section,
    the emptiest lane) is tried.
    """
    n = len(length)
    section = np.empty(n, np.int64)
    lane = np.empty(n, np.int64)
    newest = np.full(roll_width + 1, -1, np.int64)  # by free width: the newest section that has it
    older = np.full(n, -1, np.int64)  # section -> the one before it of the same free width
    tall = np.empty(n, np.int64)  # section -> its length
    room = np.zeros(roll_width + 1, np.int64)  # by lane width: free length of the lane with most
    roomy = np.full(roll_width + 1, -1, np.int64)  # and that lane
    home = np.empty(n, np.int64)  # lane -> its section
    sections = 0
    lanes = 0
    total = 0
    for i in range(n):
        wide = width[i]
        long = length[i]
        free = wide
        while free <= roll_width and newest[free] < 0:
            free += 1
        slot = wide
        while slot <= roll_width and slot <= free and room[slot] < long:
            slot += 1
        if slot <= roll_width and slot - wide <= free - wide:
            at = roomy[slot]
            section[i] = home[at]
            lane[i] = at
            room[slot] -= long
            continue
        if free <= roll_width:
            s = newest[free]
            newest[free] = older[s]
        else:
            s = sections
            free = roll_width
            tall[s] = long
            total += long
            sections += 1
        rest = free - wide
        older[s] = newest[rest]
        newest[rest] = s
        section[i] = s
        lane[i] = lanes
        home[lanes] = s
        if tall[s] - long > room[wide]:
            room[wide] = tall[s] - long
            roomy[wide] = lanes
        lanes += 1
    return section, lane, total


def expanded(job: Job) -> np.ndarray:
    """Size of each single piece, longest first."""
    return np.repeat(np.arange(len(job.demand)), job.demand)


def quick(job: Job) -> list[Section]:
    """Sections for every piece of the job, by `best_fit`."""
    kind = expanded(job)
    if not len(kind):
        return []
    length = job.size[kind, 0].copy()
    width = job.size[kind, 1].copy()
    section, lane, _ = best_fit(length, width, job.width)
    return gathered(job, kind, section, lane)


def gathered(job: Job, kind: np.ndarray, section: np.ndarray, lane: np.ndarray) -> list[Section]:
    """Sections as tuples from each piece's size, section and lane numbers."""
    lanes: dict[tuple[int, int], list[int]] = {}
    for size, s, k in zip(kind.tolist(), section.tolist(), lane.tolist(), strict=True):
        lanes.setdefault((s, k), []).append(size)
    made: dict[int, list[tuple[int, ...]]] = {}
    for (s, _), sizes in lanes.items():
        made.setdefault(s, []).append(tuple(sizes))
    return [tidy(job, made[s]) for s in sorted(made)]


def tidy(job: Job, lanes: list[tuple[int, ...]]) -> Section:
    """The one way a section of these lanes is written: lanes and sizes in order, so that equal
    sections are equal."""
    size = job.size
    made = tuple(
        sorted((int(max(size[k, 1] for k in lane)), tuple(sorted(lane))) for lane in lanes)
    )
    return max(int(sum(size[k, 0] for k in lane)) for lane in lanes), made[::-1]
