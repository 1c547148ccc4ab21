"""Strips that an area is likely to be laid in, sought coarsely: the compiled part of
`geoturf.layout.estimate`.

At each of a few bearings the area is cut across the pile into cells, an eighth of a roll's usable
width or less. What turf has along the pile is known of each cell from three lines in it; of cells
together it is their union, and pieces cover it. A shortest path over the cells gives the strips:
turf as its share of the roll's width, seams by their weight. Conventions as in
`geoturf.layout.kernel`.
"""

from __future__ import annotations

import numpy as np

from geoturf.compiled import Floats, Ints, inner, int64, jit
from geoturf.layout.sizes import RollSizes

BINS, NEAR, TOPS = 90, 3, 3  # directions told apart, taken as one, and looked at
SHORT, CLEAR = 0.04, 0.6  # parts of the border: directions that count; outlines with clear ones
CELLS, MOST = 8, 400  # in a usable width; in an area, about
INSET = 1e-3  # of a cell, how far within it its first and last lines are
NO = 1e300
# what is told of an area
TURF, SEAM, CROSS, SEAMS, CROSSES, PIECES, REST, NARROWS, COST, BEARING, LAST = range(11)
KEPT = 11
LENGTHS = 32  # classes of pieces, by their part of the longest roll
LEAN = 0.05  # what turf beside a narrow piece is charged, of its price: pools use most of it


@jit
def likely(edges: Floats, parts: Ints, areas: Ints, stated: Floats, roll: RollSizes) -> Floats:
    """What is told of each area (n, `KEPT`), m and m2: turf, seams along and across and how many,
    pieces, turf beside the narrow ones and how many these are, cost, the bearing (degrees).
    ``edges`` (m, 4): x0, y0, x1, y1; part p has those from ``parts[p]`` on, area k the parts from
    ``areas[k]`` on; ``stated``: bearings, NaN where free."""
    out = np.zeros((len(areas) - 1, KEPT))
    tries = np.empty(4 * TOPS + 8)
    one = np.zeros(KEPT)
    for k in range(len(areas) - 1):
        own = edges[parts[areas[k]] : parts[areas[k + 1]]]
        many = _bearings(own, stated[k], tries)
        out[k, COST] = NO
        for m in range(many):
            one[:] = 0.0
            for p in range(areas[k], areas[k + 1]):
                _part(edges[parts[p] : parts[p + 1]], tries[m], roll, one)
                if one[COST] >= out[k, COST]:
                    break
            if one[COST] < out[k, COST]:
                out[k] = one
                out[k, BEARING] = tries[m]
    return out


@inner
def _bearings(edges: Floats, stated: float, out: Floats) -> int:
    """Bearings worth a look (degrees) into ``out``, and how many: the directions that have most of
    the border, some more where they have little of it, and those across."""
    if not np.isnan(stated):
        out[0] = stated % 180
        return 1
    sums = np.zeros(BINS)
    turns = np.zeros(BINS)
    border = 0.0
    for k in range(len(edges)):
        dx = edges[k, 2] - edges[k, 0]
        dy = edges[k, 3] - edges[k, 1]
        long = np.hypot(dx, dy)
        facing = np.degrees(np.arctan2(dx, dy)) % 90
        at = min(int(facing), BINS - 1)
        sums[at] += long
        turns[at] += long * facing
        border += long
    count = 0
    clear = 0.0
    for _ in range(TOPS):
        best = int(np.argmax(sums))
        if sums[best] < SHORT * border:
            break
        out[count] = turns[best] / sums[best]
        count += 1
        for off in range(-NEAR, NEAR + 1):
            at = (best + off) % BINS
            clear += sums[at]
            sums[at] = 0.0
    if count == 0:
        out[0] = 0.0
        count = 1
    if clear < CLEAR * border:
        out[count], out[count + 1] = out[0] + 30.0, out[0] + 60.0
        count += 2
    for k in range(count):
        out[count + k] = (out[k] + 90) % 180
    return 2 * count


@inner
def _part(edges: Floats, bearing: float, roll: RollSizes, out: Floats) -> None:
    """Adds what the likely strips of one part take at a bearing to ``out``."""
    s = np.sin(np.radians(bearing))
    c = np.cos(np.radians(bearing))
    low = NO
    high = -NO
    for k in range(len(edges)):
        v = edges[k, 0] * c - edges[k, 1] * s
        low = min(low, v)
        high = max(high, v)
    span = high - low
    if span <= 1e-9:
        return
    per = int64(max(1, min(CELLS, int(MOST * roll.usable / span))))
    n = int64(max(1, np.ceil(span * per / roll.usable - 1e-6)))
    d = span / n
    lines = np.empty(3 * n)
    for k in range(n):
        lines[3 * k] = low + (k + INSET) * d
        lines[3 * k + 1] = low + (k + 0.5) * d
        lines[3 * k + 2] = low + (k + 1 - INSET) * d
    starts = np.zeros(3 * n + 1, np.int64)
    crossed = _crossed(edges, s, c, lines, starts)
    most = int64(1)
    for k in range(n):
        most = max(most, (starts[3 * k + 3] - starts[3 * k]) // 2 + 1)
    cells = np.empty((n, most, 2))
    many = np.zeros(n, np.int64)
    inside = np.zeros(3 * n)
    _cells(crossed, starts, cells, many, inside)
    told = np.zeros((n + 1, KEPT))
    _strips(cells, many, inside, starts, d, per, roll, told)
    for q in range(KEPT):
        out[q] += told[n, q]


@inner
def _crossed(edges: Floats, s: float, c: float, lines: Floats, starts: Ints) -> Floats:
    """Where the border crosses each of the ``lines`` (v, ascending), sorted along the pile; those
    of line i stand from ``starts[i]`` on."""
    n = len(lines)
    for k in range(len(edges)):
        v0 = edges[k, 0] * c - edges[k, 1] * s
        v1 = edges[k, 2] * c - edges[k, 3] * s
        i = np.searchsorted(lines, min(v0, v1), side="right")
        high = max(v0, v1)
        while i < n and lines[i] <= high:
            starts[i + 1] += 1
            i += 1
    for i in range(n):
        starts[i + 1] += starts[i]
    at = starts[:-1].copy()
    out = np.empty(starts[n])
    for k in range(len(edges)):
        v0 = edges[k, 0] * c - edges[k, 1] * s
        v1 = edges[k, 2] * c - edges[k, 3] * s
        u0 = edges[k, 0] * s + edges[k, 1] * c
        u1 = edges[k, 2] * s + edges[k, 3] * c
        i = np.searchsorted(lines, min(v0, v1), side="right")
        high = max(v0, v1)
        while i < n and lines[i] <= high:
            u = u0 + (lines[i] - v0) * (u1 - u0) / (v1 - v0)
            p = at[i]
            while p > starts[i] and out[p - 1] > u:  # sorted as they come: they are few
                out[p] = out[p - 1]
                p -= 1
            out[p] = u
            at[i] += 1
            i += 1
    return out


@inner
def _cells(crossed: Floats, starts: Ints, cells: Floats, many: Ints, inside: Floats) -> None:
    """The union of what each cell's lines have of the area, and what each line has (m)."""
    most = cells.shape[1]
    sofar = np.empty((most, 2))
    line = np.empty((most, 2))
    for k in range(len(cells)):
        count = int64(0)
        for row in range(3 * k, 3 * k + 3):
            first = starts[row]
            held = (starts[row + 1] - first) // 2
            for p in range(held):
                line[p, 0], line[p, 1] = crossed[first + 2 * p], crossed[first + 2 * p + 1]
                inside[row] += line[p, 1] - line[p, 0]
            sofar[:count] = cells[k, :count]
            count = _union(sofar, count, line, held, cells[k])
        many[k] = count


@inner
def _union(one: Floats, ones: int, two: Floats, twos: int, out: Floats) -> int:
    """The union of two sorted lists of intervals into ``out``; gives how many."""
    i = int64(0)
    j = int64(0)
    count = int64(0)
    while i < ones or j < twos:
        if j >= twos or (i < ones and one[i, 0] <= two[j, 0]):
            lo = one[i, 0]
            hi = one[i, 1]
            i += 1
        else:
            lo = two[j, 0]
            hi = two[j, 1]
            j += 1
        if count > 0 and lo <= out[count - 1, 1]:
            out[count - 1, 1] = max(out[count - 1, 1], hi)
        else:
            out[count, 0] = lo
            out[count, 1] = hi
            count += 1
    return count


@inner
def _strips(
    cells: Floats,
    many: Ints,
    inside: Floats,
    starts: Ints,
    d: float,
    per: int,
    roll: RollSizes,
    told: Floats,
) -> None:
    """Least cost up to each line between cells (d wide), and what it is of, into ``told``. Strips
    are of ``per`` cells at most; narrow ones lie at a border, where there is a choice."""
    n = len(cells)
    most = cells.shape[1]
    least = roll.least_width if n * d > roll.least_width else 0.0
    sofar = np.empty((per * most + 1, 2))
    other = np.empty((per * most + 1, 2))
    one = np.zeros(KEPT)
    for j in range(1, n + 1):
        told[j, COST], count = NO, int64(0)
        for i in range(j - 1, max(j - per, 0) - 1, -1):
            count = _union(sofar, count, cells[i], many[i], other)
            sofar, other = other, sofar
            wide = (j - i) * d
            inner_one = wide < roll.narrow and i > 0 and j < n
            if wide < least - 1e-9 or inner_one or told[i, COST] >= NO:
                continue
            _strip(sofar, count, cells, many, i, j, d, roll, one)
            if i > 0:
                below = 3 * i - 1
                above = 3 * i
                one[SEAM] = min(inside[below], inside[above])
                ends = min(starts[below + 1] - starts[below], starts[above + 1] - starts[above])
                one[SEAMS] = ends // 2
                one[COST] += roll.seam * one[SEAM]
            odd = 1.0 if j - i < per else 0.0
            if odd > 0 and i > 0 and j < n:
                one[COST] += roll.odd
            if odd > 0 and i > 0 and told[i, LAST] > 0:
                one[COST] += roll.odd
            if told[i, COST] + one[COST] < told[j, COST]:
                told[j] = told[i] + one
                told[j, LAST] = odd


@inner
def _strip(
    spans: Floats,
    count: int,
    cells: Floats,
    many: Ints,
    i: int,
    j: int,
    d: float,
    roll: RollSizes,
    out: Floats,
) -> None:
    """What a strip from cell i to cell j takes that covers ``spans`` along the pile, gaps too short
    to save anything closed. Each piece is as wide as turf is there."""
    out[:] = 0.0
    p = int64(0)
    while p < count:
        lo = spans[p, 0]
        hi = spans[p, 1]
        p += 1
        while p < count and spans[p, 0] - hi <= roll.ends:
            hi = spans[p, 1]
            p += 1
        wide = (j - i) * d
        if count > 1:
            wide = max(roll.least_width, _wide(cells, many, i, j, lo, hi) * d)
        cut = min(roll.usable, wide + roll.side)
        pieces = max(1.0, np.ceil((hi - lo) / roll.longest - 1e-9))
        taken = roll.width / roll.usable * (hi - lo + pieces * roll.ends)
        out[TURF] += cut * taken
        if cut < roll.usable - 1e-9:
            out[REST] += (roll.usable - cut) * taken
            out[NARROWS] += pieces
        out[PIECES] += pieces
        out[CROSSES] += pieces - 1
        out[CROSS] += (pieces - 1) * wide
    crossing = roll.seam * out[CROSS] + roll.cross * out[CROSSES]
    out[COST] = out[TURF] + LEAN * out[REST] + crossing


@inner
def _wide(cells: Floats, many: Ints, i: int, j: int, lo: float, hi: float) -> int:
    """How many cells, of i to j, there are from the first to the last with turf from ``lo`` to
    ``hi``."""
    first = j
    last = i
    for k in range(i, j):
        for p in range(many[k]):
            if cells[k, p, 1] >= lo and cells[k, p, 0] <= hi:
                first = min(first, k)
                last = max(last, k)
    return last - first + 1


@jit
def lengths(edges: Floats, parts: Ints, areas: Ints, bearings: Floats, roll: RollSizes) -> Floats:
    """How many pieces as wide as is usable each area comes to (n, `LENGTHS`) by their part of the
    longest roll, at its bearing: what lines an eighth of a strip apart have of it, in equal pieces
    where that is longer than a roll. ``edges``, ``parts``, ``areas`` as `likely` takes them."""
    out = np.zeros((len(areas) - 1, LENGTHS))
    for k in range(len(out)):
        for p in range(areas[k], areas[k + 1]):
            _lengths(edges[parts[p] : parts[p + 1]], bearings[k], roll, out[k])
    return out


@inner
def _lengths(edges: Floats, bearing: float, roll: RollSizes, out: Floats) -> None:
    """Adds the pieces of one part to ``out``."""
    s = np.sin(np.radians(bearing))
    c = np.cos(np.radians(bearing))
    low = NO
    high = -NO
    for k in range(len(edges)):
        v = edges[k, 0] * c - edges[k, 1] * s
        low = min(low, v)
        high = max(high, v)
    n = int64(max(1, np.ceil((high - low) * CELLS / roll.usable)))
    d = (high - low) / n
    starts = np.zeros(n + 1, np.int64)
    lines = np.empty(n)
    for i in range(n):
        lines[i] = low + (i + 0.5) * d
    crossed = _crossed(edges, s, c, lines, starts)
    longest = roll.longest + roll.ends
    for i in range(n):
        for p in range(starts[i], starts[i + 1] - 1, 2):
            long = crossed[p + 1] - crossed[p]
            pieces = max(1.0, np.ceil(long / roll.longest - 1e-9))
            part = (long / pieces + roll.ends) / longest
            at = int64(min(LENGTHS - 1, max(0.0, np.ceil(LENGTHS * part) - 1)))
            out[at] += pieces * d / roll.usable


@jit
def least_widths(points: Floats, rings: Ints) -> Floats:
    """The least width (m) of each convex ring of ``points`` (n, 2), closed; those of ring k stand
    from ``rings[k]`` on. It is met across one of the sides."""
    out = np.zeros(len(rings) - 1)
    for k in range(len(out)):
        first = rings[k]
        last = rings[k + 1] - 1
        least = NO
        for i in range(first, last):
            dx = points[i + 1, 0] - points[i, 0]
            dy = points[i + 1, 1] - points[i, 1]
            side = np.hypot(dx, dy)
            most = 0.0
            for j in range(first, last):
                off = dx * (points[j, 1] - points[i, 1]) - dy * (points[j, 0] - points[i, 0])
                most = max(most, abs(off))
            if side > 0:
                least = min(least, most / side)
        out[k] = least if least < NO else 0.0
    return out
