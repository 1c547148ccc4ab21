"""The compiled part of cutting a shape in parts that are laid by themselves (`geoturf.layout.arms`).

Conventions as in `geoturf.layout.kernel`. ``spans``: offsets, lo and hi of `kernel.slabs` for the shape cut at its own ``vs``.
"""

from __future__ import annotations

import numpy as np

from geoturf.compiled import jit
from geoturf.layout.kernel import TOLERANCE_M, search, slabs, sort, u_at


@jit
def between(edges, vs, spans, i, j):
    """The shape between ``vs[i]`` and ``vs[j]``: its edges (k, 4) clipped, sorted by lower v, and the connected part that each
    borders (k,), numbered from 0. Intervals of neighbouring slabs are connected where they overlap."""
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
        out[count, 0], out[count, 1], out[count, 2], out[count, 3] = u_at(edges, e, v0), v0, u_at(edges, e, v1), v1
        part[count], low[count] = root[nearest - first], v0
        count += 1
    order = np.arange(count)
    sort(low, order)
    return out[order], _numbered(part[order])


@jit
def _rename(names, old, new):
    for k in range(len(names)):
        if names[k] == old:
            names[k] = new


@jit
def _numbered(names):
    """The same names as 0, 1, 2 … in order of appearance."""
    known, count = np.full(names.max() + 1, -1), 0
    out = np.empty(len(names), np.int64)
    for k in range(len(names)):
        if known[names[k]] < 0:
            known[names[k]] = count
            count += 1
        out[k] = known[names[k]]
    return out


@jit
def apart(edges, part, low, high, roll):
    """Parts that may be laid by themselves: those whose boxes meet become one. ``low``, ``high``: what they lie between; a part
    narrower than the least piece is laid that wide within them. Gives the part of each edge and lo, hi (parts,) of v."""
    while True:
        count = part.max() + 1
        box = np.empty((count, 4))
        box[:, 0] = box[:, 2] = np.inf
        box[:, 1] = box[:, 3] = -np.inf
        for e in range(len(edges)):
            p = part[e]
            box[p, 0] = min(box[p, 0], edges[e, 0], edges[e, 2])
            box[p, 1] = max(box[p, 1], edges[e, 0], edges[e, 2])
            box[p, 2] = min(box[p, 2], edges[e, 1])
            box[p, 3] = max(box[p, 3], edges[e, 3])
        usable, least = roll[1], roll[5]
        for p in range(count):
            span = box[p, 3] - box[p, 2]
            more = 0.5 * (max(1.0, np.ceil(span / usable - 1e-6)) * least - span)
            if more > 0:
                shift = max(0.0, low - (box[p, 2] - more)) - max(0.0, box[p, 3] + more - high)
                box[p, 2] += shift - more
                box[p, 3] += shift + more
        met = False
        for p in range(count):
            for q in range(p):
                a, b = box[p], box[q]
                if a[0] < b[1] and b[0] < a[1] and a[2] < b[3] and b[2] < a[3]:
                    met = True
                    _rename(part, p, q)
                    break
            if met:
                break
        if not met:
            return part, box[:, 2].copy(), box[:, 3].copy()
        part = _numbered(part)


@jit
def ends_of(edges):
    """The sorted distinct v's at which edges end."""
    n = len(edges)
    every, order = np.empty(2 * n), np.arange(2 * n)
    for e in range(n):
        every[2 * e], every[2 * e + 1] = edges[e, 1], edges[e, 3]
    sort(every, order)
    return _distinct(every[order], 0.0)


@jit
def _distinct(ordered, apart_m):
    out, count = np.empty(len(ordered)), 0
    for v in ordered:
        if count == 0 or v > out[count - 1] + apart_m:
            out[count] = v
            count += 1
    return out[:count]


@jit
def least(edges, low, high, steps, roll, share):
    """What a shape laid between ``low`` and ``high`` costs (m2 of turf), its seams at its vertices or ``steps`` and whole roll
    widths from either end."""
    vs, usable = ends_of(edges), roll[1]
    turns = int((high - low) / usable) + 1
    cuts = np.empty(2 + len(vs) + 2 * turns * len(steps))
    cuts[0], cuts[1] = low, high
    count = 2
    for v in vs:
        cuts[count] = v
        count += 1
    for k in range(turns):
        for step in steps:
            cuts[count], cuts[count + 1] = low + k * usable + step, high - k * usable - step
            count += 2
    kept = 0
    for k in range(count):
        if k < 2 or low + 1e-4 < cuts[k] < high - 1e-4:
            cuts[kept] = cuts[k]
            kept += 1
    order = np.arange(kept)
    sort(cuts, order)
    cuts = _distinct(cuts[:kept][order], 1e-7)
    offsets, lo, hi, seams = slabs(edges, vs, cuts, roll[2])
    return search(cuts, offsets, lo, hi, seams, roll, share)[0][-1]


@jit
def best_two(edges, vs, spans, at, before, behind, steps, roll, share, worth_less_than):
    """The two cuts of ``at`` (rows of ``vs``, the shape's ends among them) that cost least with what lies between laid part by
    part: their places in ``at``, or -1, -1 where none cost less than ``worth_less_than``. ``before``, ``behind``: what all up
    to each cut costs from either end, the seam there in."""
    best, first, second, m = worth_less_than, -1, -1, len(at)
    for a in range(m):
        for b in range(a + 1, m):
            cost = before[a] + behind[b]
            if vs[at[b]] - vs[at[a]] < roll[5] - TOLERANCE_M or cost >= best:
                continue
            low, high = vs[at[a]] if a > 0 else -np.inf, vs[at[b]] if b < m - 1 else np.inf
            clipped, part = between(edges, vs, spans, at[a], at[b])
            part, lows, highs = apart(clipped, part, low, high, roll)
            if len(lows) < 2:
                continue
            for p in range(len(lows)):
                if cost < best:
                    cost += least(clipped[part == p], lows[p], highs[p], steps, roll, share)
            if cost < best:
                best, first, second = cost, a, b
    return first, second
