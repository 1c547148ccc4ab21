"""Where seams may go: the candidates of a coarse search, those near the seams it found, and the
strips in the end. The compiled part of `geoturf.layout.seams`; conventions as in
`geoturf.layout.kernel`."""

from __future__ import annotations

import numpy as np

from geoturf.compiled import Floats, Ints, inlined, inner, int64, jit
from geoturf.layout.kernel import ASIDE, TOLERANCE_M, band, distinct, sort, turf_on

# shapes with more get no candidates at their vertices: the grid is as good, and time stays bounded
MAX_VERTICES = 80
MAX_CUTS = 20_000
SAME_M = 1e-7  # cuts this close are one


@jit
def rough(
    vs: Floats, low: float, high: float, offsets: Floats, least: float, usable: float
) -> Floats:
    """Candidates of a coarse search between ``low`` and ``high``: ``offsets`` and their repeats a
    ``usable`` width apart from either end, the shape's ``vs``, and repeats of ``least`` where that
    is not 0. Gives sorted cuts, the ends first and last."""
    span = high - low
    turns = int(span / usable) + 1
    stride = _stride(len(offsets), span, usable)
    many = int(span / least) + 1 if least > 0 else 0
    values = np.empty(2 * turns * len(offsets) + 2 * many + len(vs))
    count = int64(0)
    for k in range(turns):
        for m in range(0, len(offsets), stride):
            step = k * usable + offsets[m]
            values[count] = low + step
            values[count + 1] = high - step
            count += 2
    for k in range(many):
        values[count] = low + k * least
        values[count + 1] = high - k * least
        count += 2
    if len(vs) <= MAX_VERTICES:
        for v in vs:
            values[count] = v
            count += 1
    return _tidy(values, count, low, high)


@jit
def strips(
    cuts: Floats, offsets: Ints, lo: Floats, hi: Floats, before: Ints, ends: float
) -> tuple[Floats, Ints, Floats]:
    """The strips of a search, over turf: lines (k, 2), v from, v to of each; how many intervals
    each has (k,); and these (n, 2) along the pile."""
    count = 0
    j = len(cuts) - 1
    while j > 0:
        count += offsets[j] > offsets[before[j]]
        j = before[j]
    lines = np.empty((count, 2))
    sizes = np.empty(count, np.int64)
    spans = np.empty((len(lo), 2))
    held = len(lo)
    k = count
    j = len(cuts) - 1
    while j > 0:
        i = before[j]
        if offsets[j] > offsets[i]:
            k -= 1
            found = band(offsets, lo, hi, i, j, ends)
            lines[k, 0], lines[k, 1], sizes[k] = cuts[i], cuts[j], found.shape[1]
            held -= found.shape[1]  # filled from the end, as the strips are found
            for p in range(found.shape[1]):
                spans[held + p, 0], spans[held + p, 1] = found[0, p], found[1, p]
        j = i
    return lines, sizes, spans[held:]


@jit
def seams(lines: Floats, edges: Floats) -> Floats:
    """Stretches v, u from, u to (n, 3) of turf on both sides of the ``lines`` (k, 2) between
    strips."""
    out = np.empty((len(lines) * (len(edges) // 2 + 1), 3))
    count = 0
    found = np.empty(len(edges) + 1)
    for k in range(len(lines) - 1):
        v = lines[k, 1]
        if abs(lines[k + 1, 0] - v) < TOLERANCE_M:
            for p in range(0, turf_on(edges, v, found), 2):
                out[count, 0], out[count, 1], out[count, 2] = v, found[p], found[p + 1]
                count += 1
    return out[:count]


@jit
def odd(pieces: Floats, seams: Floats, usable: float) -> int:
    """How many strips of the pieces (n, 4) are narrower than ``usable`` and have ``seams`` (m, 3)
    along most of both sides, and how many pairs of strips narrower than that lie along each other;
    pieces between the same lines are one strip."""
    n = len(pieces)
    strips = int64(0)
    count = int64(0)
    lines = np.empty((n, 2))
    beside = np.zeros((n, 2), np.bool_)
    below_it = np.empty(len(seams), np.int64)
    above_it = np.empty(len(seams), np.int64)
    for k in range(n):
        v0 = pieces[k, 2]
        v1 = pieces[k, 3]
        if v1 - v0 >= usable - TOLERANCE_M:
            continue
        known = False
        for s in range(strips):
            known = known or (lines[s, 0] == v0 and lines[s, 1] == v1)
        if known:
            continue
        length = below = above = 0.0
        few = _on_line(seams, v0, below_it)
        many = _on_line(seams, v1, above_it)
        for p in range(k, n):
            if pieces[p, 2] == v0 and pieces[p, 3] == v1:
                length += pieces[p, 1] - pieces[p, 0]
                below += _along(seams, below_it, few, pieces[p, 0], pieces[p, 1])
                above += _along(seams, above_it, many, pieces[p, 0], pieces[p, 1])
        lines[strips, 0] = v0
        lines[strips, 1] = v1
        beside[strips, 0] = below > ASIDE * length
        beside[strips, 1] = above > ASIDE * length
        strips += 1
    for s in range(strips):
        if beside[s, 0] and beside[s, 1]:
            count += 1
        for t in range(strips):
            meets = abs(lines[s, 1] - lines[t, 0]) < SAME_M
            if meets and beside[s, 1] and beside[t, 0]:
                count += 1
    return count


@inner
def _on_line(seams: Floats, v: float, rows: Ints) -> int:
    """The rows of ``seams`` (m, 3) on the line at ``v``, by u, into ``rows``; gives how many."""
    count = int64(0)
    rising = True
    for s in range(len(seams)):
        if abs(seams[s, 0] - v) < SAME_M:
            rising = rising and (count == 0 or seams[s, 1] >= seams[rows[count - 1], 1])
            rows[count] = s
            count += 1
    if not rising:
        keys = np.empty(len(seams))
        for s in range(len(seams)):
            keys[s] = seams[s, 1]
        sort(keys, rows[:count])
    return count


@inner
def _along(seams: Floats, rows: Ints, count: int, u0: float, u1: float) -> float:
    """Length of the ``count`` seams at ``rows``, which lie on a line and rise, between ``u0`` and
    ``u1``."""
    first = int64(0)
    last = count
    while first < last:
        middle = (first + last) // 2
        if seams[rows[middle], 2] <= u0:
            first = middle + 1
        else:
            last = middle
    total = 0.0
    while first < count and seams[rows[first], 1] < u1:
        total += max(0.0, min(u1, seams[rows[first], 2]) - max(u0, seams[rows[first], 1]))
        first += 1
    return total


@inlined
def _about(cuts: Floats, offsets: Ints, before: Ints) -> Floats:
    """Where the seams of a search lie, and the first and last turf; not sorted, some twice."""
    out = np.empty(2 * len(cuts))
    count = 0
    j = len(cuts) - 1
    while j > 0:
        i = before[j]
        if offsets[j] > offsets[i]:
            out[count], out[count + 1] = cuts[i], cuts[j]
            count += 2
        j = i
    return out[:count]


@jit
def near(
    vs: Floats,
    low: float,
    high: float,
    cuts: Floats,
    offsets: Ints,
    before: Ints,
    first: int,
    many: int,
    grid: float,
    window: float,
    usable: float,
) -> Floats:
    """Candidates within ``window`` of where the seams of a search lie (``cuts``, ``offsets`` of
    their slabs, ``before``), and these: ``many`` places from ``first`` on of a ``grid`` that begins
    anew every ``usable`` width from either end, and the shape's ``vs`` repeated so. Sorted, the
    ends first and last."""
    about = _about(cuts, offsets, before)
    span = high - low
    free = len(vs) <= MAX_VERTICES
    turns = int(span / usable) + 1
    repeats = int((vs[-1] - vs[0]) / usable) + 1
    stride = _stride(many, span, usable)
    reach = int(window / (grid * stride)) + 2
    values = np.empty(len(about) * (8 * reach + 5 + (len(vs) if free else 0)))
    count = int64(0)
    for v in about:
        values[count] = v
        count += 1
        for side in range(2):
            off = v - low if side == 0 else high - v
            turn = int(off / usable)
            for k in range(max(0, turn - 1), min(turns, turn + 2)):
                at = int(((off - k * usable) / grid - first) / stride)
                for m in range(max(0, at - reach), min((many - 1) // stride, at + reach) + 1):
                    step = k * usable + (first + m * stride) * grid
                    value = low + step if side == 0 else high - step
                    if abs(value - v) < window:
                        values[count] = value
                        count += 1
        if free:
            for vertex in vs:
                turn = np.rint((v - vertex) / usable)
                value = vertex + turn * usable
                if abs(turn) <= repeats and abs(value - v) < window:
                    values[count] = value
                    count += 1
    return _tidy(values, count, low, high)


@inner
def _stride(many: int, span: float, usable: float) -> int:
    """Every how manieth of offsets is taken, so that cuts stay few."""
    stride = 1
    left = many
    while left > 3 and 2 * span / usable * left > MAX_CUTS:
        stride = 2 * stride
        left = (left + 1) // 2
    return stride


@inner
def _tidy(values: Floats, count: int, low: float, high: float) -> Floats:
    """The first ``count`` values sorted; of those that nearly coincide one stays, the ends ``low``
    and ``high`` always."""
    inner = np.empty(count + 2)
    kept = 2
    inner[0] = low
    inner[1] = high
    for k in range(count):
        if low + SAME_M < values[k] < high - SAME_M:
            inner[kept] = values[k]
            kept += 1
    return distinct(inner[:kept], SAME_M)
