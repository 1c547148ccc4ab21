"""The best section and the best roll at given prices: what column generation asks again and again, and what its bound rests on.

Every size has a value. In a lane sizes lie end to end, the widest of them leading it; in a section lanes lie side by side, the
widest leading it; on a roll sections follow each other. All three are knapsacks:

    stacked[c, r]   most value end to end in r steps of a lane, of the copies 0..c-1 (narrowest first)
    led(c, h)       most value of a section of length h whose widest lane is led by copy c
    roll[r]         most value of a stretch of r steps, each copy leading one section at most

A copy leads once but may follow in several lanes, so the values are never below those of real plans: duals divided by them
bound every plan of three cuts from below (Farley 1990). Without stacking a section is exact.
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
    """Table (n + 1, room + 1): most value of the first copies that fit in r steps."""
    best = np.zeros((len(size) + 1, room + 1))
    for c in range(len(size)):
        _add(best[c], best[c + 1], size[c], value[c])
    return best


@_jit
def lead(length, width, value, stacked, across, heights):
    """Values (len(heights), n) of sections by length and leading copy; -1 where the copy is longer. Copies narrowest first;
    ``stacked``: their `knapsacks` by length."""
    n = len(length)
    led = np.full((len(heights), n), -1.0)
    for k in range(len(heights)):
        h = heights[k]
        beside, spare = np.zeros(across + 1), np.zeros(across + 1)
        for c in range(n):
            if length[c] > h:
                continue
            worth = value[c] + stacked[c, h - length[c]]
            led[k, c] = worth + beside[across - width[c]]
            _add(beside, spare, width[c], worth)
            beside, spare = spare, beside
    return led


@_jit
def lanes_of(lead_copy, h, length, width, value, stacked, across):
    """The copies that lead the lanes of the best section of length ``h`` led by a copy, as `lead` found it."""
    best = np.zeros((lead_copy + 1, across + 1))
    for c in range(lead_copy):
        if length[c] <= h:
            _add(best[c], best[c + 1], width[c], value[c] + stacked[c, h - length[c]])
        else:
            best[c + 1] = best[c]
    leads, x = [lead_copy], across - width[lead_copy]
    for c in range(lead_copy - 1, -1, -1):
        if best[c + 1, x] > best[c, x]:
            leads.append(c)
            x -= width[c]
    return leads


@_jit
def fill_roll(led, heights, room):
    """Most value of a roll of ``room`` steps, each copy leading one section at most (heights ascending)."""
    best, spare = np.zeros(room + 1), np.zeros(room + 1)
    for c in range(led.shape[1]):
        spare[:] = best
        for k in range(len(heights)):
            h, worth = heights[k], led[k, c]
            if worth > 0.0:
                for r in range(h, room + 1):
                    spare[r] = max(spare[r], best[r - h] + worth)
        best, spare = spare, best
    return best[room]


@_jit
def fill_roll_freely(worth, heights, room):
    """Most value of a roll of ``room`` steps, any section as often as one likes (heights ascending)."""
    best = np.zeros(room + 1)
    for r in range(1, room + 1):
        best[r] = best[r - 1]
        for k in range(len(heights)):
            h = heights[k]
            if h > r:
                break
            best[r] = max(best[r], best[r - h] + worth[k])
    return best[room]
