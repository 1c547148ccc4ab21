"""Knapsacks in whole steps: the most that things are worth together where only so much fits.

Two problems, each with its own recursion. `once`: of things of which each is there once; the table
keeps a row a thing, since cut plans ask what the first so many of them are worth (what may follow a
leader in its lane). `again`: of things of which each may be taken as often as it fits; one row is
enough, and what was last put in tells how it is filled. Each thing written out as often as it fits
makes the first of the second (`tests/test_knapsack.py` does), with a row a copy and another of the
fillings that are worth the same.
"""

from __future__ import annotations

import numpy as np

from geoturf.compiled import Floats, Ints, fast, fast_inner, jit, uint64

HAIR = 1e-12  # of value: no more is nothing


@fast_inner
def add(before: Floats, after: Floats, size: int, worth: float) -> None:
    """after[r] = the better of before[r] and before[r - size] + worth."""
    first = uint64(size)
    room = uint64(len(before))
    for r in range(min(first, room)):
        after[r] = before[r]
    if first < room:
        for r in range(room - first):
            after[r + first] = max(before[r + first], before[r] + worth)


@fast
def once(size: Ints, value: Floats, room: int) -> Floats:
    """Table (n + 1, room + 1): most value of the first things, each once, that fit in r steps."""
    best = np.zeros((len(size) + 1, room + 1))
    for c in range(len(size)):
        add(best[c], best[c + 1], size[c], value[c])
    return best


@jit
def again(size: Ints, value: Floats, room: int) -> tuple[Floats, Ints]:
    """By steps of room up to ``room``: the most value of things that fit, each as often as it does,
    and the thing last put in; -1 where the last step is left free. A thing worth no more than
    ``HAIR`` over that is not put in."""
    best = np.zeros(room + 1)
    last = np.full(room + 1, -1)
    for r in range(1, room + 1):
        best[r] = best[r - 1]
        most = -np.inf
        thing = -1
        for c in range(len(size)):
            if size[c] <= r and best[r - size[c]] + value[c] > most:
                most = best[r - size[c]] + value[c]
                thing = c
        if thing >= 0 and most > best[r] + HAIR:
            best[r] = most
            last[r] = thing
    return best, last
