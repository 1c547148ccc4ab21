"""The compiled part: a polygon cut in bands, and the cheapest way to set seams.

All in pile coordinates (metres): u along the pile, v across it. ``edges`` is a float array (n, 4) of u0, v0, u1, v1, sorted by
its lower v, without edges of constant v; holes and further parts are simply more edges (even-odd rule).

Kept small and plain on purpose (loops, no array expressions): it compiles in a few seconds, once a machine; numba keeps the
result beside this file, or in the user's cache folder where that cannot be written.
"""

from __future__ import annotations

import math

import numba
import numpy as np

ALONE = 0  # the price model of a strip cut alone, its lanes side by side; the others are tables of shares
TOLERANCE_M = 1e-6  # a band this much wider than the roll still fits it

_jit = numba.njit(cache=True, nogil=True)


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


@_jit
def _up(value, step):
    return math.ceil(value / step - 1e-6) * step


@_jit
def cut_width(v, roll):
    """Width to cut for a piece laid ``v`` wide."""
    usable = roll[1]
    return usable if v > usable - TOLERANCE_M else min(usable, _up(v + roll[4], roll[3]))


@_jit
def lanes_of(v, roll):
    """How many strips ``v`` wide lie side by side in one section."""
    return int((roll[1] + 1e-9) / max(cut_width(v, roll), TOLERANCE_M))


@_jit
def gang(length, v, roll):
    """One strip cut alone at its least price: lanes side by side in a section, sections after one another. Gives that price
    (m2 of turf), lanes and sections."""
    width, ends, step, seam, cross, longest = roll[0], roll[2], roll[3], roll[6], roll[7], roll[8]
    best, lanes, runs = np.inf, 1, 1
    for n in range(1, lanes_of(v, roll) + 1):
        t = max(1, math.ceil(length / n / longest - 1e-6))
        price = width * t * _up(length / (n * t) + ends, step) + (n * t - 1) * (cross + v * seam)
        if price < best - 1e-12:
            best, lanes, runs = price, n, t
        elif price > best + 2 * width * step:  # convex but for the rounding
            break
    return best, lanes, runs


@_jit
def price(lo, hi, count, v, roll, shares, first, last, out):
    """Price (m2 of turf) of a band ``v`` wide, its pieces the ``count`` intervals, by models first .. last - 1, into ``out``."""
    width, ends, step = roll[0], roll[2], roll[3]
    across = cut_width(v, roll)
    at = math.ceil(across / step - 1e-6)
    ganged = first <= ALONE < last and lanes_of(v, roll) > 1
    total = joints = alone = 0.0
    for k in range(count):
        length = hi[k] - lo[k]
        cut, seam = _up(length + ends, step), 0.0
        if length > roll[8]:
            runs = math.ceil(length / roll[8] - 1e-6)
            cut = runs * _up(length / runs + ends, step)
            seam = (runs - 1) * (roll[7] + v * roll[6])
        total += width * cut
        joints += seam
        alone += gang(length, v, roll)[0] if ganged else width * cut + seam
    for q in range(first, last):
        out[q] = shares[q, at] * total + joints
    if first <= ALONE < last:
        out[ALONE] = alone


@_jit
def search(cuts, offsets, lo, hi, seams, roll, shares, first, last):
    """Cheapest seams by price models ``first`` .. ``last`` - 1, as a shortest path over the cuts.

    ``roll``: width, usable width, both end allowances, step, side allowance, least piece width, seam price (m2/m), price of a
    cross seam (m2), longest laid length. ``shares`` (models, steps + 2): what a piece so many steps wide takes of the roll's
    width, by each model; model `ALONE` gangs instead. Gives cost (models, cuts) and the cut before (models, cuts).
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
            continue
        count = 0
        for j in range(i + 1, m):
            v = cuts[j] - cuts[i]
            if v > roll[1] + TOLERANCE_M:
                break
            for k in range(offsets[j - 1], offsets[j]):
                count = _add(a, b, count, lo[k], hi[k], roll[2])
            if v < least:
                continue
            price(a, b, count, v, roll, shares, first, last, prices)
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
