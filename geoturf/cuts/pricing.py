"""The best section and the best fill at given prices: what column generation asks again and again,
and what its bounds rest on.

Every size has a value. In a lane sizes lie end to end behind the widest, which leads it; in a
section lanes lie side by side. Both are knapsacks: `geoturf.knapsack.once` by length gives what may
follow a leader, `lead` by width the best section of each length. A piece leads one lane of a
section at most, but may follow in several, so the values are never below those of real sections:
duals divided by them bound every plan of three cuts from below (Farley 1990).
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from geoturf.compiled import Floats, Ints, fast, fast_inner, inlined, uint64
from geoturf.knapsack import add, once


@fast
def lead(
    length: Ints, width: Ints, value: Floats, follow: Floats, row: Ints, across: int, heights: Ints
) -> Floats:
    """Values (len(heights), n) of sections by length and by the leader of their widest lane; -1
    where it is longer.

    Leaders (n,), narrowest first; ``follow[row[c], r]``: most value of what may follow leader c in
    r steps of its lane."""
    n = len(length)
    led = np.full((len(heights), n), -1.0)
    beside = np.zeros(across + 1)
    widened = np.zeros(across + 1)
    for k in range(len(heights)):
        h = heights[k]
        for r in range(across + 1):
            beside[r] = 0.0
        for c in range(n):
            if length[c] > h:
                continue
            worth = value[c] + follow[row[c], h - length[c]]
            led[k, c] = worth + beside[across - width[c]]
            if c + 1 < n:
                # what is looked at from now on lies beside a lane at least as wide as the next
                _widen(beside, widened, width[c], worth, across - width[c + 1])
    return led


@inlined
def _widen(beside: Floats, widened: Floats, width: int, worth: float, most: int) -> None:
    """One more lane, worth so much, in the best that lies in r steps of width, for r up to
    ``most``. ``widened`` is room to work in."""
    if width <= most:
        first = uint64(width)
        end = uint64(most + 1)
        for r in range(end - first):
            widened[r] = beside[r] + worth
        for r in range(end - first):
            beside[r + first] = max(beside[r + first], widened[r])


@fast
def compose(
    picks: Ints,
    heights: Ints,
    leader: tuple[Ints, Ints, Floats, Ints],
    follow: Floats,
    job: tuple[int, Ints, Floats],
    batches: tuple[Ints, Ints, Ints],
    sizes: tuple[Ints, Ints, Ints],
    whole: bool,
) -> tuple[Ints, Ints, Ints, Ints, Floats]:
    """The best sections of some lengths led by some leaders, as `lead` found them: the sizes of
    all, lane after lane; the lane each is in; where each section ends; its length and value.

    ``picks`` (m, 2): row of ``heights`` and leader, in order of rows; ``leader``: length, width and
    value of each leader and its row of ``follow``; ``job``: usable width, demand and value of each
    size; ``batches``: size, count and length of each batch; ``sizes``: the sizes narrowest first,
    how many of them are in the first so many batches, and the length of every size. With ``whole``
    a lane whose best followers are not there so often gets the best of those that are left."""
    length, width, worth, row = leader
    across, demand, value = job
    order, distinct, size_length = sizes
    out = np.empty(256 * len(picks), np.int64)
    lane = np.empty(256 * len(picks), np.int64)
    ends = np.zeros(len(picks), np.int64)
    tall = np.zeros(len(picks), np.int64)
    total = np.zeros(len(picks))
    best = np.zeros((len(length) + 1, across + 1))
    chosen = np.empty(len(length), np.int64)
    left = demand.copy()
    filled = 0
    known = -1
    for p in range(len(picks)):
        h = heights[picks[p, 0]]
        if picks[p, 0] != known:
            known = picks[p, 0]
            _beside(best, h, length, width, worth, follow, row)
        lanes = _leaders(best, picks[p, 1], width, across, chosen)
        begin = filled
        if filled + lanes * (h + 1) > len(out):
            out = _longer(out, lanes * (h + 1))
            lane = _longer(lane, lanes * (h + 1))
        for k in range(lanes):
            left[batches[0][row[chosen[k]]]] -= 1
        for k in range(lanes):
            start = filled
            at = row[chosen[k]]
            room = h - length[chosen[k]]
            out[start] = batches[0][at]
            filled, short = _followers(follow, at, room, left, batches, out, start + 1)
            if whole and short:  # what follows best is not there so often: the best of what is
                for j in range(start + 1, filled):
                    left[out[j]] += 1
                filled = _fill(
                    order[: distinct[at]], size_length, value, left, room, out, start + 1
                )
            long = 0
            for j in range(start, filled):
                long += size_length[out[j]]
                total[p] += value[out[j]]
                lane[j] = k
            tall[p] = max(tall[p], long)
        for j in range(begin, filled):
            left[out[j]] += 1
        ends[p] = filled
    return out[:filled], lane[:filled], ends, tall, total


@inlined
def _beside(
    best: Floats, h: int, length: Ints, width: Ints, worth: Floats, follow: Floats, row: Ints
) -> None:
    """Fills best[c, r]: most value of lanes of length ``h`` led by the first c leaders that fit in
    a width of r."""
    for c in range(len(length)):
        if length[c] <= h:
            add(best[c], best[c + 1], width[c], worth[c] + follow[row[c], h - length[c]])
        else:
            for r in range(best.shape[1]):
                best[c + 1, r] = best[c, r]


@inlined
def _leaders(best: Floats, first: int, width: Ints, across: int, chosen: Ints) -> int:
    """Writes the leaders of the best section whose widest lane ``first`` leads; gives how many they
    are."""
    chosen[0], n, x = first, 1, across - width[first]
    for c in range(first - 1, -1, -1):
        if best[c + 1, x] > best[c, x]:
            chosen[n] = c
            n += 1
            x -= width[c]
    return n


@inlined
def _followers(
    follow: Floats,
    row: int,
    room: int,
    left: Ints,
    batches: tuple[Ints, Ints, Ints],
    out: Ints,
    filled: int,
) -> tuple[int, bool]:
    """Writes what follows best in ``room`` into ``out`` from ``filled``, taken off what is
    ``left``; gives where it ends and whether some of it is there less often."""
    size, count, length = batches
    short = False
    for at in range(row - 1, -1, -1):
        if follow[at + 1, room] > follow[at, room]:
            room -= length[at]
            left[size[at]] -= count[at]
            short = short or left[size[at]] < 0
            for _ in range(count[at]):
                out[filled] = size[at]
                filled += 1
    return filled, short


@fast_inner
def _longer(some: Ints, more: int) -> Ints:
    """A copy with room for twice as many and ``more``."""
    out = np.empty(2 * len(some) + more, np.int64)
    for k in range(len(some)):
        out[k] = some[k]
    return out


@fast_inner
def _fill(
    order: Ints, length: Ints, value: Floats, left: Ints, room: int, out: Ints, filled: int
) -> int:
    """Writes into ``out`` from ``filled`` the best fill of ``room`` steps by pieces left of these
    sizes; takes them off."""
    copies = np.zeros(len(order), np.int64)
    total = 0
    for c in range(len(order)):
        size = order[c]
        if value[size] > 0 and left[size] > 0:
            copies[c] = min(left[size], room // length[size])
            total += copies[c]
    best = np.zeros((total + 1, room + 1))
    row = 0
    for c in range(len(order) - 1, -1, -1):
        for _ in range(copies[c]):
            add(best[row], best[row + 1], length[order[c]], value[order[c]])
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


def fills(
    size: np.ndarray, value: np.ndarray, rooms: np.ndarray, costs: np.ndarray, most: int
) -> tuple[list[tuple[int, ...]], np.ndarray]:
    """Sizes, longest first, of fills that are worth more than their room costs: the best whose
    longest is each thing, ``most`` at most; and the most that fits in r steps, by r up to the
    largest room. Things (n,) by rising size, each once."""
    table = once(size, value, int(rooms.max()))
    rest = rooms[:, None] - size
    worth = value + table[np.arange(len(size)), np.maximum(rest, 0)]
    ratio = np.where(rest >= 0, worth / costs[:, None], 0.0)
    room = np.argmax(ratio, axis=0)
    ratio = ratio[room, np.arange(len(size))]
    longest = np.argsort(-ratio, kind="stable")
    longest = longest[ratio[longest] > 1 + _GAIN]
    longest = longest[: 2 * most]
    flat, ends = _fills(table, size, longest, rest[room[longest], longest])
    sizes = flat.tolist()
    ends = ends.tolist()
    found = dict.fromkeys(tuple(sizes[a:b]) for a, b in pairwise([0, *ends]))
    return list(found)[:most], table[-1]


@fast
def _fills(table: Floats, size: Ints, longest: Ints, rooms: Ints) -> tuple[Ints, Ints]:
    """The sizes of some fills, one after the other, and where each ends: of the thing that is its
    longest, and the best fill of the room beside that by the things before, longest first."""
    most = 0
    for k in range(len(longest)):
        most += longest[k] + 1
    out = np.empty(most, np.int64)
    ends = np.empty(len(longest), np.int64)
    filled = 0
    for k in range(len(longest)):
        out[filled], room = size[longest[k]], rooms[k]
        filled += 1
        for c in range(longest[k], 0, -1):
            if table[c, room] > table[c - 1, room]:
                out[filled] = size[c - 1]
                room -= size[c - 1]
                filled += 1
        ends[k] = filled
    return out[:filled], ends


_GAIN = 1e-7  # of its cost: a fill worth so little more is not worth having
