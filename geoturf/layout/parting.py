"""The compiled part of cutting a shape in parts that are laid by themselves
(`geoturf.layout.arms`).

Conventions as in `geoturf.layout.kernel`. ``spans``: offsets, lo and hi of `kernel.slabs` for the
shape cut at its own ``vs``.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np

from geoturf.compiled import Floats, Ints, inlined, inner, int64, jit
from geoturf.layout.kernel import distinct, searches, slabs, sort, u_at
from geoturf.layout.placing import rough

Spans: TypeAlias = tuple[Ints, Floats, Floats]  # offsets, lo, hi


@jit
def between(edges: Floats, vs: Floats, spans: Spans, i: int, j: int) -> tuple[Floats, Ints]:
    """The shape between ``vs[i]`` and ``vs[j]``: its edges (k, 4) clipped, sorted by lower v, and
    the connected part that each borders (k,), numbered from 0. Intervals of neighbouring slabs are
    connected where they overlap."""
    offsets, lo, hi = spans
    first = offsets[i]
    root = np.arange(offsets[j] - first)
    for s in range(i, j - 1):
        for a in range(offsets[s], offsets[s + 1]):
            for b in range(offsets[s + 1], offsets[s + 2]):
                if lo[a] < hi[b] and lo[b] < hi[a]:
                    _rename(root, root[b - first], root[a - first])
    out, part, low = np.empty((len(edges), 4)), np.empty(len(edges), np.int64), np.empty(len(edges))
    count = 0
    for e in range(len(edges)):
        v0, v1 = max(edges[e, 1], vs[i]), min(edges[e, 3], vs[j])
        if v0 >= v1:
            continue
        s = i
        while vs[s + 1] <= v0:
            s += 1
        u, nearest, least = u_at(edges, e, 0.5 * (v0 + min(v1, vs[s + 1]))), offsets[s], np.inf
        for a in range(offsets[s], offsets[s + 1]):
            off = max(lo[a] - u, u - hi[a])
            if off < least:
                nearest, least = a, off
        out[count, 0], out[count, 1], out[count, 2], out[count, 3] = (
            u_at(edges, e, v0),
            v0,
            u_at(edges, e, v1),
            v1,
        )
        part[count], low[count] = root[nearest - first], v0
        count += 1
    order = np.arange(count)
    sort(low, order)
    clipped, names = np.empty((count, 4)), np.empty(count, np.int64)
    for k in range(count):  # slices and lists of indices take seconds to compile
        names[k] = part[order[k]]
        for column in range(4):
            clipped[k, column] = out[order[k], column]
    return clipped, _numbered(names)


@inner
def _rename(names: Ints, old: int, new: int) -> None:
    """Calls ``old`` among the names (n,) ``new``."""
    for k in range(len(names)):
        if names[k] == old:
            names[k] = new


@inner
def _numbered(names: Ints) -> Ints:
    """The same names as 0, 1, 2 … in order of appearance."""
    out, count = np.empty(len(names), np.int64), 0
    for k in range(len(names)):
        out[k] = -1
        for m in range(k):
            if names[m] == names[k]:
                out[k] = out[m]
                break
        if out[k] < 0:
            out[k] = count
            count += 1
    return out


@jit
def apart(
    edges: Floats, part: Ints, low: float, high: float, roll: Floats
) -> tuple[Ints, Floats, Floats]:
    """Parts that may be laid by themselves: those whose boxes meet become one. ``low``, ``high``:
    what they lie between; a part narrower than the least piece is laid that wide within them. Gives
    the part of each edge and lo, hi (parts,) of v."""
    usable, least = roll[1], roll[5]
    while True:
        count = 0
        for p in part:
            count = max(count, p + 1)
        left, right, lows, highs = (
            np.empty(count),
            np.empty(count),
            np.empty(count),
            np.empty(count),
        )
        for p in range(count):
            left[p] = lows[p] = np.inf
            right[p] = highs[p] = -np.inf
        for e in range(len(edges)):
            p = part[e]
            left[p], right[p] = (
                min(left[p], edges[e, 0], edges[e, 2]),
                max(right[p], edges[e, 0], edges[e, 2]),
            )
            lows[p], highs[p] = min(lows[p], edges[e, 1]), max(highs[p], edges[e, 3])
        met = False
        for p in range(count):
            span = highs[p] - lows[p]
            more = 0.5 * (max(1.0, np.ceil(span / usable - 1e-6)) * least - span)
            if more > 0:
                shift = max(0.0, low - (lows[p] - more)) - max(0.0, highs[p] + more - high)
                lows[p] += shift - more
                highs[p] += shift + more
            for q in range(p):
                beside = left[p] < right[q] and left[q] < right[p]
                if beside and lows[p] < highs[q] and lows[q] < highs[p] and not met:
                    met = True
                    _rename(part, p, q)
        if not met:
            return part, lows, highs
        part = _numbered(part)


@jit
def ends_of(edges: Floats) -> Floats:
    """The sorted distinct v's at which edges end."""
    n = len(edges)
    ends = np.empty(2 * n)
    for e in range(n):
        ends[2 * e], ends[2 * e + 1] = edges[e, 1], edges[e, 3]
    return distinct(ends, 0.0)


@jit
def least(
    edges: Floats, low: float, high: float, steps: Floats, roll: Floats, shares: Floats
) -> float:
    """What a shape laid between ``low`` and ``high`` costs (m2 of turf), its seams at its vertices
    or ``steps`` and whole roll widths from either end."""
    vs = ends_of(edges)
    cuts = rough(vs, low, high, steps, 0.0, roll[1])
    offsets, lo, hi, seams = slabs(edges, vs, cuts, roll[2])
    price: float = searches(cuts, offsets, lo, hi, seams, roll, shares, int64(-1))[0][0, -1]
    return price


@jit
def best_two(
    edges: Floats,
    vs: Floats,
    spans: Spans,
    at: Ints,
    before: Floats,
    behind: Floats,
    steps: Floats,
    roll: Floats,
    shares: Floats,
    cost: float,
) -> tuple[int, int]:
    """The two of the rows ``at`` of ``vs`` to cut a shape at, so that what lies between falls in
    parts and all costs least, and less than ``cost``: places in ``at``, or -1 twice. ``before``,
    ``behind``: what all up to each cut costs from either end; ``steps`` as for `least`."""
    first, second, last = -1, -1, len(at) - 1
    for a in range(last):
        for b in range(a + 1, last + 1):
            total = before[a] + behind[b]
            if total >= cost or vs[at[b]] - vs[at[a]] < roll[5]:
                continue
            low, high = vs[at[a]] if a else -np.inf, vs[at[b]] if b < last else np.inf
            part_edges, part = between(edges, vs, spans, at[a], at[b])
            part, lows, highs = apart(part_edges, part, low, high, roll)
            if len(lows) < 2:
                continue
            for p in range(len(lows)):
                if total < cost:
                    total += least(
                        _of_part(part_edges, part, p), lows[p], highs[p], steps, roll, shares
                    )
            if total < cost:
                cost, first, second = total, a, b
    return first, second


@inlined
def _of_part(edges: Floats, part: Ints, p: int) -> Floats:
    """The edges (k, 4) of part ``p``; ``part`` (n,) is that of each."""
    out, count = np.empty((len(edges), 4)), 0
    for e in range(len(edges)):
        if part[e] == p:
            for column in range(4):
                out[count, column] = edges[e, column]
            count += 1
    return out[:count]
