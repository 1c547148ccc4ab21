"""The compiled part: a polygon cut in bands, and the cheapest way to set seams.

All in pile coordinates (metres): u along the pile, v across it. ``edges`` is a float array (n, 4) of u0, v0, u1, v1, sorted by
its lower v, without edges of constant v; holes and further parts are simply more edges (even-odd rule).

Kept small and plain on purpose (loops, no array expressions): it compiles in a few seconds, once a machine; numba keeps the
result beside this file, or in the user's cache folder where that cannot be written.
"""

from __future__ import annotations

from functools import partial

import numba
import numpy as np

ALONE = 0  # the price model of a strip cut alone, its lanes side by side; the others are tables of shares
TOLERANCE_M = 1e-6  # a band this much wider than the roll still fits it


def _compiled(function, **options):
    """Compiled when first called, and kept where something can be written."""
    try:
        return numba.njit(cache=True, nogil=True, **options)(function)
    except RuntimeError:  # numba found nowhere to keep it
        return numba.njit(nogil=True, **options)(function)


_jit = _compiled
_inline = partial(_compiled, inline="always")


@_jit
def _sort(keys, order):
    """Put the indices ``order`` in the order of ``keys`` (equal ones by index): Shell's sort, small and quick to compile."""
    n = len(order)
    gap = n // 2
    while gap > 0:
        for k in range(gap, n):
            at, j = order[k], k
            while j >= gap and (
                keys[order[j - gap]] > keys[at] or (keys[order[j - gap]] == keys[at] and order[j - gap] > at)
            ):
                order[j] = order[j - gap]
                j -= gap
            order[j] = at
        gap //= 2


@_jit
def turn(edges, sine, cosine, snap):
    """Edges x0, y0, x1, y1 in pile coordinates at the bearing of that sine and cosine, v on multiples of ``snap``: as this module
    takes them, and the sorted v's of all their ends."""
    n = len(edges)
    out, ends, lower = np.empty((n, 4)), np.empty(2 * n), np.empty(n)
    count = 0
    for e in range(n):
        x0, y0, x1, y1 = edges[e]
        v0 = np.round((x0 * cosine - y0 * sine) / snap) * snap
        v1 = np.round((x1 * cosine - y1 * sine) / snap) * snap
        ends[2 * e], ends[2 * e + 1] = v0, v1
        if v0 == v1:
            continue
        u0, u1 = x0 * sine + y0 * cosine, x1 * sine + y1 * cosine
        if v0 > v1:
            u0, v0, u1, v1 = u1, v1, u0, v0
        out[count, 0], out[count, 1], out[count, 2], out[count, 3] = u0, v0, u1, v1
        lower[count] = v0
        count += 1
    order = np.arange(count)
    _sort(lower, order)
    rising = np.empty((count, 4))
    for k in range(count):
        for e in range(4):
            rising[k, e] = out[order[k], e]
    order = np.arange(2 * n)
    _sort(ends, order)
    vs = np.empty(2 * n)
    distinct = 0
    for k in order:
        if distinct == 0 or ends[k] > vs[distinct - 1]:
            vs[distinct] = ends[k]
            distinct += 1
    return rising, vs[:distinct]


@_jit
def _add(lo, hi, count, a, b, gap):
    """Add interval [a, b] to the ``count`` sorted intervals in lo, hi; those no further apart than ``gap`` become one."""
    first = 0
    while first < count and hi[first] + gap < a:
        first += 1
    last = first
    while last < count and lo[last] <= b + gap:
        a = min(a, lo[last])
        b = max(b, hi[last])
        last += 1
    if last == first:
        for k in range(count, first, -1):
            lo[k] = lo[k - 1]
            hi[k] = hi[k - 1]
    elif last > first + 1:
        for k in range(last, count):
            lo[k - last + first + 1] = lo[k]
            hi[k - last + first + 1] = hi[k]
    lo[first] = a
    hi[first] = b
    return count + 1 - (last - first)


@_inline
def _inside(lo, hi, count, a, b):
    """Whether one of the intervals holds [a, b]."""
    for k in range(count):  # noqa: SIM110 - any() over a generator does not compile
        if lo[k] <= a and b <= hi[k]:
            return True
    return False


@_jit
def _at(edges, e, v):
    """u of edge ``e`` at ``v``, never outside the edge."""
    u0, v0, u1, v1 = edges[e]
    u = u0 + (v - v0) / (v1 - v0) * (u1 - u0)
    return min(max(u, min(u0, u1)), max(u0, u1))


@_jit
def _cross(edges, active, count, v, order):
    """The ``count`` active edges, sorted by u at ``v`` (insertion: nearly sorted from slab to slab)."""
    for k in range(count):
        order[k] = _at(edges, active[k], v)
    for k in range(1, count):
        key, edge, j = order[k], active[k], k - 1
        while j >= 0 and order[j] > key:
            order[j + 1], active[j + 1] = order[j], active[j]
            j -= 1
        order[j + 1], active[j + 1] = key, edge


@_jit
def _overlap(below, n_below, above, n_above):
    """Length common to two sorted lists of intervals, each flat: start, end, start, end …"""
    total, i, j = 0.0, 0, 0
    while i + 1 < n_below and j + 1 < n_above:
        total += max(0.0, min(below[i + 1], above[j + 1]) - max(below[i], above[j]))
        if below[i + 1] < above[j + 1]:
            i += 2
        else:
            j += 2
    return total


@_jit
def slabs(edges, vs, cuts, gap):
    """What each slab between two cuts takes along the pile.

    ``vs``: sorted v's of all vertices; ``cuts``: sorted, from the first v (or below) to the last (or above). Gives offsets
    (cuts), lo and hi of the slabs' intervals (trapezoids' extents united, gaps up to ``gap`` closed), and for each cut the
    length of turf on both its sides: the seam it would be. A border edge lying on the cut makes no seam.
    """
    n, m = len(edges), len(cuts)
    active = np.empty(n, np.int64)
    order, below, above = np.empty(n), np.empty(n), np.empty(n)
    lo, hi = np.empty(n), np.empty(n)
    offsets, seams = np.zeros(m, np.int64), np.zeros(m)
    out_lo, out_hi = np.empty(4 * (n + m)), np.empty(4 * (n + m))
    count = taken = spans = filled = n_below = at = 0
    low = cuts[0]
    while at < len(vs) and vs[at] <= low:
        at += 1
    for c in range(1, m):
        fresh, spans = True, 0
        while low < cuts[c]:
            high = cuts[c]
            if at < len(vs) and vs[at] < high:
                high = vs[at]
                at += 1
            elif at < len(vs) and vs[at] == high:
                at += 1
            kept = 0
            for k in range(count):
                if edges[active[k], 3] > low:
                    active[kept] = active[k]
                    kept += 1
            count = kept
            while taken < n and edges[taken, 1] < high:
                if edges[taken, 3] > low:
                    active[count] = taken
                    count += 1
                taken += 1
            _cross(edges, active, count, 0.5 * (low + high), order)
            for k in range(count):
                above[k] = _at(edges, active[k], low)
            if fresh:
                seams[c - 1] = _overlap(below, n_below, above, count)
                fresh = False
            for k in range(count):
                below[k] = _at(edges, active[k], high)
            n_below = count
            for k in range(0, count - 1, 2):
                spans = _add(lo, hi, spans, min(above[k], below[k]), max(above[k + 1], below[k + 1]), gap)
            low = high
        if filled + spans > len(out_lo):
            out_lo, out_hi = _longer(out_lo, filled, spans), _longer(out_hi, filled, spans)
        for k in range(spans):
            out_lo[filled] = lo[k]
            out_hi[filled] = hi[k]
            filled += 1
        offsets[c] = filled
    return offsets, out_lo[:filled], out_hi[:filled], seams


@_jit
def _longer(values, filled, more):
    out = np.empty(2 * len(values) + more)
    out[:filled] = values[:filled]
    return out


@_jit
def band(offsets, lo, hi, i, j, gap):
    """Intervals of the band from cut ``i`` to cut ``j``: (2, k), from and to."""
    size = offsets[j] - offsets[i]
    a, b = np.empty(size + 1), np.empty(size + 1)
    count = 0
    for k in range(offsets[i], offsets[j]):
        count = _add(a, b, count, lo[k], hi[k], gap)
    out = np.empty((2, count))
    for k in range(count):
        out[0, k] = a[k]
        out[1, k] = b[k]
    return out


@_inline
def _steps(value, roll):
    """Whole cut steps that hold ``value``."""
    return np.ceil(value * roll[9] - 1e-6)


@_jit
def lanes_of(v, roll):
    """How many strips laid ``v`` wide lie side by side in one section."""
    if v > roll[1] - TOLERANCE_M:
        return 1
    return max(1, int((roll[1] + 1e-9) / (_steps(v + roll[4], roll) * roll[3])))


@_jit
def gang(length, v, lanes, roll):
    """One strip cut alone at its least price, in up to ``lanes`` side by side in a section, sections after one another. Gives
    that price (m2 of turf), lanes and sections."""
    full, joint = roll[0] * roll[3], roll[7] + v * roll[6]
    best, side, runs = np.inf, 1, 1
    for n in range(1, lanes + 1):
        t = 1.0
        if length > n * roll[8]:
            t = np.ceil(length / n / roll[8] - 1e-6)
        price = full * t * _steps(length / (n * t) + roll[2], roll) + (n * t - 1) * joint
        if price < best - 1e-12:
            best, side, runs = price, n, int(t)
        elif price > best + 2 * full:  # convex but for the rounding
            break
    return best, side, runs


@_inline
def lengths(lo, hi, count, roll):
    """Cut steps of length that the ``count`` intervals take, allowances in, and how many cross seams."""
    steps = joints = 0.0
    for k in range(count):
        length = hi[k] - lo[k]
        if length > roll[8]:
            runs = np.ceil(length / roll[8] - 1e-6)
            steps += runs * _steps(length / runs + roll[2], roll)
            joints += runs - 1
        else:
            steps += _steps(length + roll[2], roll)
    return steps, joints


@_inline
def price(lo, hi, count, steps, joints, v, roll, shares, first, last, out):
    """Price (m2 of turf) of a band ``v`` wide, its pieces the ``count`` intervals, which take ``steps`` and ``joints``
    (`lengths`), by models first .. last - 1, into ``out``."""
    whole = shares.shape[1] - 1
    at = whole if v > roll[1] - TOLERANCE_M else min(whole, int(_steps(v + roll[4], roll)))
    total, seams = roll[0] * roll[3] * steps, joints * (roll[7] + v * roll[6])
    for q in range(first, last):
        out[q] = shares[q, at] * total + seams
    if first == ALONE and at <= whole // 2:
        lanes = lanes_of(v, roll)
        if lanes > 1:
            out[ALONE] = 0.0
            for k in range(count):
                out[ALONE] += gang(hi[k] - lo[k], v, lanes, roll)[0]


@_jit
def search(cuts, offsets, lo, hi, seams, roll, shares, first, last):
    """Cheapest seams by price models ``first`` .. ``last`` - 1, as a shortest path over the cuts.

    ``roll``: width, usable width, both end allowances, step, side allowance, least piece width, seam price (m2/m), price of a
    cross seam (m2), longest laid length, steps a metre. ``shares`` (models, steps + 1): what a piece so many steps wide takes
    of the roll's width, by each model, the last of the usable width; model `ALONE` gangs instead. Gives cost (models, cuts)
    and the cut before (models, cuts).
    """
    m, size, models = len(cuts), len(lo) + 1, len(shares)
    cost, before = np.full((models, m), np.inf), np.full((models, m), -1)
    cost[:, 0] = 0.0
    a, b, prices = np.empty(size), np.empty(size), np.empty(models)
    least = min(roll[5], cuts[m - 1] - cuts[0]) - TOLERANCE_M
    for i in range(m - 1):
        if offsets[i + 1] == offsets[i]:  # no turf: nothing to lay, however wide
            for q in range(first, last):
                if cost[q, i] < cost[q, i + 1]:
                    cost[q, i + 1] = cost[q, i]
                    before[q, i + 1] = i
        count, steps, joints = 0, 0.0, 0.0
        for j in range(i + 1, m):
            v = cuts[j] - cuts[i]
            if v > roll[1] + TOLERANCE_M:
                break
            more = False
            for k in range(offsets[j - 1], offsets[j]):
                if not _inside(a, b, count, lo[k], hi[k]):
                    count = _add(a, b, count, lo[k], hi[k], roll[2])
                    more = True
            if more:
                steps, joints = lengths(a, b, count, roll)
            if v < least or count == 0:
                continue
            price(a, b, count, steps, joints, v, roll, shares, first, last, prices)
            for q in range(first, last):
                c = cost[q, i] + prices[q] + seams[j] * roll[6]
                if c < cost[q, j] - 1e-12:
                    cost[q, j] = c
                    before[q, j] = i
    return cost, before


@_jit
def turf_on(edges, v, out):
    """Stretches of turf on both sides of the line at ``v``, into ``out`` flat: from, to, from, to … Gives how many numbers."""
    n = len(edges)
    below, above = np.empty(n + 1), np.empty(n + 1)
    active, hair = np.empty(n, np.int64), 2 * TOLERANCE_M
    n_below = _chords(edges, v - hair, active, below)
    n_above = _chords(edges, v + hair, active, above)
    i = j = count = 0
    while i + 1 < n_below and j + 1 < n_above:
        a, b = max(below[i], above[j]), min(below[i + 1], above[j + 1])
        if b - a > TOLERANCE_M:
            out[count] = a
            out[count + 1] = b
            count += 2
        if below[i + 1] < above[j + 1]:
            i += 2
        else:
            j += 2
    return count


@_jit
def _chords(edges, v, active, out):
    """Where the edges cross the line at ``v``, sorted, into ``out``; gives how many."""
    count = 0
    for e in range(len(edges)):
        if edges[e, 1] >= v:
            break
        if edges[e, 3] >= v:
            active[count] = e
            count += 1
    _cross(edges, active, count, v, out)
    return count


@_jit
def _mean_of_least(a, b, most):
    """Mean of min(x, most) where x goes evenly from ``a`` to ``b``."""
    low, high = max(0.0, min(a, b)), max(0.0, a, b)
    if high <= most:
        return 0.5 * (low + high)
    if low >= most:
        return most
    part = (most - low) / (high - low)
    return part * 0.5 * (low + most) + (1.0 - part) * most


@_jit
def rows(edges, vs, ends):
    """Integral over v, where there is turf, of chords + ``ends`` + sum over gaps of min(gap, ``ends``): the area of the shape
    lengthened by half of ``ends`` both ways along the pile (`geoturf.layout.bound`)."""
    n = len(edges)
    active, order = np.empty(n, np.int64), np.empty(n)
    total, count, taken = 0.0, 0, 0
    for s in range(len(vs) - 1):
        low, high = vs[s], vs[s + 1]
        kept = 0
        for k in range(count):
            if edges[active[k], 3] > low:
                active[kept] = active[k]
                kept += 1
        count = kept
        while taken < n and edges[taken, 1] < high:
            active[count] = taken
            count += 1
            taken += 1
        if count < 2:
            continue
        _cross(edges, active, count, 0.5 * (low + high), order)
        length, right_low, right_high = ends, 0.0, 0.0
        for k in range(0, count - 1, 2):
            left_low, left_high = _at(edges, active[k], low), _at(edges, active[k], high)
            if k:
                length += _mean_of_least(left_low - right_low, left_high - right_high, ends)
            right_low, right_high = _at(edges, active[k + 1], low), _at(edges, active[k + 1], high)
            length += max(0.0, 0.5 * (right_low - left_low + right_high - left_high))
        total += length * (high - low)
    return total
