"""The best section and the best fill at given prices: what column generation asks again and again, and what its bounds
rest on.

Every size has a value. In a lane sizes lie end to end behind the widest, which leads it; in a section lanes lie side by side.
Both are knapsacks: `knapsacks` by length gives what may follow a leader, `lead` by width the best section of each length.
A piece leads one lane of a section at most, but may follow in several, so the values are never below those of real
sections: duals divided by them bound every plan of three cuts from below (Farley 1990).
"""

from __future__ import annotations

import numba
import numpy as np

_jit = numba.njit(cache=True, nogil=True, fastmath=True)  # no NaN and no infinity here; lets the loops run in vectors


@_jit
def _add(before, after, size, worth):
    """after[r] = the better of before[r] and before[r - size] + worth."""
    room = len(before)
    for r in range(min(size, room)):
        after[r] = before[r]
    for r in range(size, room):
        after[r] = max(before[r], before[r - size] + worth)


@_jit
def knapsacks(size, value, room):
    """Table (n + 1, room + 1): most value of the first things, each once, that fit in r steps."""
    best = np.zeros((len(size) + 1, room + 1))
    for c in range(len(size)):
        _add(best[c], best[c + 1], size[c], value[c])
    return best


@_jit
def lead(length, width, value, follow, row, across, heights):
    """Values (len(heights), n) of sections by length and by the leader of their widest lane; -1 where it is longer.

    Leaders (n,), narrowest first; ``follow[row[c], r]``: most value of what may follow leader c in r steps of its lane."""
    n = len(length)
    led = np.full((len(heights), n), -1.0)
    for k in range(len(heights)):
        h = heights[k]
        beside, spare = np.zeros(across + 1), np.zeros(across + 1)
        for c in range(n):
            if length[c] > h:
                continue
            worth = value[c] + follow[row[c], h - length[c]]
            led[k, c] = worth + beside[across - width[c]]
            _add(beside, spare, width[c], worth)
            beside, spare = spare, beside
    return led


@_jit
def leaders(first, h, length, width, value, follow, row, across):
    """The leaders of the lanes of the best section of length ``h`` whose widest lane ``first`` leads, as `lead` found it."""
    best = np.zeros((first + 1, across + 1))
    for c in range(first):
        if length[c] <= h:
            _add(best[c], best[c + 1], width[c], value[c] + follow[row[c], h - length[c]])
        else:
            best[c + 1] = best[c]
    found, n, x = np.empty(first + 1, np.int64), 1, across - width[first]
    found[0] = first
    for c in range(first - 1, -1, -1):
        if best[c + 1, x] > best[c, x]:
            found[n] = c
            n += 1
            x -= width[c]
    return found[:n]


@_jit
def lanes(led, h, follow, value, left, leader, batches, sizes):
    """Sizes lane by lane of a section of length ``h`` whose lanes ``led`` lead (their own pieces are already off ``left``), as
    far as there are pieces ``left`` (taken off): sizes of all followers, and how many each lane has.

    ``leader``: row and length of each leader; ``batches``: size, count and length of each batch; ``sizes``: the sizes narrowest
    first, how many of them are in the first so many batches, and the length of every size."""
    row_of, length_of = leader
    of, count, batch_length = batches
    order, distinct, size_length = sizes
    out, many, filled = np.empty(len(led) * (h + 1), np.int64), np.zeros(len(led), np.int64), 0
    for k in range(len(led)):
        row, room, first = row_of[led[k]], h - length_of[led[k]], filled
        short = False
        for at in range(row - 1, -1, -1):
            if follow[at + 1, room] > follow[at, room]:
                room -= batch_length[at]
                left[of[at]] -= count[at]
                short = short or left[of[at]] < 0
                for _ in range(count[at]):
                    out[filled] = of[at]
                    filled += 1
        if short:  # what follows best is not there so often: the best of what is
            for j in range(first, filled):
                left[out[j]] += 1
            filled = _fill(order[: distinct[row]], size_length, value, left, h - length_of[led[k]], out, first)
        many[k] = filled - first
    return out[:filled], many


@_jit
def _fill(order, length, value, left, room, out, filled):
    """Writes into ``out`` from ``filled`` the best fill of ``room`` steps by pieces left of these sizes; takes them off."""
    copies, total = np.zeros(len(order), np.int64), 0
    for c in range(len(order)):
        size = order[c]
        if value[size] > 0 and left[size] > 0:
            copies[c] = min(left[size], room // length[size])
            total += copies[c]
    best = np.zeros((total + 1, room + 1))
    row = 0
    for c in range(len(order) - 1, -1, -1):
        for _ in range(copies[c]):
            _add(best[row], best[row + 1], length[order[c]], value[order[c]])
            row += 1
    for c in range(len(order)):
        for _ in range(copies[c]):
            if best[row, room] > best[row - 1, room]:
                out[filled] = order[c]
                filled += 1
                left[order[c]] -= 1
                room -= length[order[c]]
            row -= 1
    return filled
