"""Pieces with slanted ends, nested end to end on the roll.

A strip that ends on a slanted border wastes a triangle when it is cut square. Cut along a chalk
line instead, the next piece whose end has a like slant takes that triangle up. Pieces are
translated only, and every cut is one straight line from edge to edge, so the roll still comes apart
piece after piece with a knife.

A full-width piece is told by three whole numbers of steps: ``middle``, its length along the roll's
middle line, and ``start`` and ``end``, how much further along its start and end lines lie at the
right edge than at the left (even numbers; 0 is a square cut). Piece j follows piece i at a distance
of |end_i - start_j| / 2 along the middle line: their lines then meet at one edge. A purchase begins
and ends square, which takes |start| / 2 before its first piece and |end| / 2 behind its last. So
one following the other saves min(|end_i|, |start_j|) where both slant the same way, and nothing
otherwise.

Without a limit on length the greatest saving is a matching on a line: ends and starts of one sign,
each sorted, met in order (exchange: for a >= b and c >= d, min(a, c) + min(b, d) >= min(a, d) +
min(b, c)). What a matching may not do here is close a circle or outgrow the roll; the next start is
taken then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from heapq import heapify, heappop, heappush

import numpy as np
import shapely

from geoturf.rules import STEEPEST
from geoturf.units import whole_steps

_LOOK = 60  # starts tried for one end


def cut_lines(
    shape: shapely.Geometry, pieces: np.ndarray, allowance_m: float, width_m: float, step_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """The chalk lines that waste least turf, for pieces as wide as the roll.

    ``shape``: the area in pile coordinates (u, v); ``pieces``: float array (n, 4) of u0, u1, v0,
    v1. Returns an int array (n, 3) of ``middle``, ``start``, ``end`` in steps, allowances in, and
    the u (m) at which each piece's start line meets its left edge (n,).
    """
    u0, u1, v0, v1 = pieces.T
    grass = shapely.intersection(shape, shapely.box(u0, v0, u1, v1))
    points, owner = shapely.get_coordinates(grass, return_index=True)
    out = np.zeros((len(pieces), 3), np.int64)
    left = np.zeros(len(pieces))
    for k in range(len(pieces)):
        mine = points[owner == k]
        across = (mine[:, 1] - v0[k]) / width_m - 0.5
        start, near = _line(mine[:, 0], across, width_m, step_m)
        end, far = _line(-mine[:, 0], across, width_m, step_m)
        if (
            -far - near + 2 * allowance_m < abs(start + end) * step_m / 2
        ):  # the lines would cross on the piece
            start = end = 0
            near = float(mine[:, 0].min())
            far = float((-mine[:, 0]).min())
        middle = -far - near + 2 * allowance_m
        out[k] = whole_steps(middle, step_m), start, -end
        left[k] = near - allowance_m - start * step_m / 2
    return out, left


def _line(u: np.ndarray, across: np.ndarray, width_m: float, step_m: float) -> tuple[int, float]:
    """The line below all points (u, across) that is highest in the middle (across 0): its slant in
    steps and that height.

    The height is concave in the slant, so the best of the even slants is the best there is to a
    step; a slant must win a step.
    """
    reach = int(STEEPEST * width_m / step_m / 2)
    slants = 2 * np.arange(-reach, reach + 1)
    heights = (u[:, None] - across[:, None] * slants * step_m).min(axis=0)
    best = int(np.lexsort((np.abs(slants), -np.round(heights, 9)))[0])
    if heights[best] < heights[reach] + step_m:
        best = reach
    return int(slants[best]), float(heights[best])


def square_length(middle: int, start: int, end: int) -> int:
    """Steps of roll a piece takes alone, between square cuts."""
    return middle + (abs(start) + abs(end)) // 2


def starts(chain: Sequence[tuple[int, int, int]]) -> list[int]:
    """Where on the roll each piece's start line meets the left edge, for pieces nested one after
    the other."""
    at = 0
    out = []
    before = 0
    for middle, start, end in chain:
        at += abs(before - start) // 2
        out.append(at - start // 2)
        at += middle
        before = end
    return out


def span(chain: Sequence[tuple[int, int, int]]) -> int:
    """Steps of roll that nested pieces take, between square cuts."""
    slants = [0, *(slant for _, start, end in chain for slant in (start, end)), 0]
    gaps = sum(abs(slants[k] - slants[k + 1]) // 2 for k in range(0, len(slants), 2))
    return sum(middle for middle, _, _ in chain) + gaps


def chains(pieces: Sequence[tuple[int, int, int]], longest: int) -> list[list[int]]:
    """Rows of ``pieces`` in the order in which they follow each other, no chain longer than
    ``longest`` steps.

    The join that saves most comes first, so that on an endless roll the saving is at least a third
    of the best (greedy on three matroids: one follower, one before, no circle), and all of it where
    no circle is met.
    """
    n = len(pieces)
    first = list(range(n))
    last = list(range(n))
    follower = [-1] * n
    length = [square_length(*piece) for piece in pieces]
    starts_of = {sign: _by_slant(pieces, sign) for sign in (1, -1)}
    followed = [False] * n
    # every end waits with the start it could meet next; starts come by falling slant, so an end's
    # saving only falls
    ends = [
        _Wait(pieces, i, starts_of[1 if end > 0 else -1], 0)
        for i, (_, _, end) in enumerate(pieces)
        if end
    ]
    waiting = [wait.entry() for wait in ends if wait.row < len(wait.line)]
    heapify(waiting)
    while waiting:
        _, i, tries, wait = heappop(waiting)
        j = wait.line[wait.row]
        if (
            followed[j]
            or first[i] == j
            or length[first[i]] + length[j] - _saved(pieces, i, j) > longest
        ):
            tries += not followed[j]
            later = wait.after(followed)
            if later.row < len(later.line) and tries < _LOOK:
                heappush(waiting, later.entry(tries))
            continue
        head = first[i]
        tail = last[j]
        length[head] += length[j] - _saved(pieces, i, j)
        follower[i] = j
        first[tail] = head
        last[head] = tail
        followed[j] = True
    return [_run(i, follower) for i in range(n) if not followed[i]]


def _by_slant(pieces: Sequence[tuple[int, int, int]], sign: int) -> list[int]:
    """Pieces that start with a slant of this sign, greatest first."""
    return sorted(
        (j for j, p in enumerate(pieces) if sign * p[1] > 0), key=lambda j: (-abs(pieces[j][1]), j)
    )


def _saved(pieces: Sequence[tuple[int, int, int]], i: int, j: int) -> int:
    """Steps saved where j follows i and both slant the same way."""
    return min(abs(pieces[i][2]), abs(pieces[j][1]))


@dataclass(frozen=True, slots=True)
class _Wait:
    """The end of piece ``i`` and the row of ``line`` it could meet next."""

    pieces: Sequence[tuple[int, int, int]]
    i: int
    line: list[int]
    row: int

    def entry(self, tries: int = 0) -> tuple[int, int, int, _Wait]:
        return -_saved(self.pieces, self.i, self.line[self.row]), self.i, tries, self

    def after(self, followed: list[bool]) -> _Wait:
        row = self.row + 1
        while row < len(self.line) and followed[self.line[row]]:
            row += 1
        return replace(self, row=row)


def _run(i: int, follower: list[int]) -> list[int]:
    chain = [i]
    while follower[chain[-1]] >= 0:
        chain.append(follower[chain[-1]])
    return chain
