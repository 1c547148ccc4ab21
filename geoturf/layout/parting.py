"""The compiled part of cutting a shape in parts that are laid by themselves
(`geoturf.layout.arms`).

Conventions as in `geoturf.layout.kernel`. ``spans``: offsets, lo and hi of `kernel.slabs` for the
shape cut at its own ``vs``.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np

from geoturf.compiled import Floats, Ints, inlined, inner, int64, jit
from geoturf.layout.kernel import distinct, rows, searches, slabs, sort, u_at
from geoturf.layout.placing import rough
from geoturf.layout.sizes import RollSizes

SNAP_M = 1e-6  # v's are kept on this grid
LEAST = 0.97  # of the turf that any rectangles take, strips cost at least at the prices of a pool

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
    out = np.empty((len(edges), 4))
    part = np.empty(len(edges), np.int64)
    low = np.empty(len(edges))
    count = 0
    for e in range(len(edges)):
        v0 = max(edges[e, 1], vs[i])
        v1 = min(edges[e, 3], vs[j])
        if v0 >= v1:
            continue
        s = i
        while vs[s + 1] <= v0:
            s += 1
        u = u_at(edges, e, 0.5 * (v0 + min(v1, vs[s + 1])))
        nearest = offsets[s]
        least = np.inf
        for a in range(offsets[s], offsets[s + 1]):
            off = max(lo[a] - u, u - hi[a])
            if off < least:
                nearest = a
                least = off
        out[count, 0], out[count, 1], out[count, 2], out[count, 3] = (
            u_at(edges, e, v0),
            v0,
            u_at(edges, e, v1),
            v1,
        )
        part[count] = root[nearest - first]
        low[count] = v0
        count += 1
    order = np.arange(count)
    sort(low, order)
    clipped = np.empty((count, 4))
    names = np.empty(count, np.int64)
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
    out = np.empty(len(names), np.int64)
    count = 0
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
def separate(
    edges: Floats, part: Ints, low: float, high: float, roll: RollSizes
) -> tuple[Ints, Floats, Floats]:
    """Parts that may be laid by themselves: those whose boxes meet become one. ``low``, ``high``:
    what they lie between; a part narrower than the least piece is laid that wide within them. Gives
    the part of each edge and lo, hi (parts,) of v."""
    usable = roll.usable
    least = roll.least_width
    while True:
        count = 0
        for p in part:
            count = max(count, p + 1)
        left = np.empty(count)
        right = np.empty(count)
        lows = np.empty(count)
        highs = np.empty(count)
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
    edges: Floats, low: float, high: float, steps: Floats, roll: RollSizes, shares: Floats
) -> float:
    """What a shape laid between ``low`` and ``high`` costs (m2 of turf), its seams at its vertices
    or ``steps`` and whole roll widths from either end."""
    vs = ends_of(edges)
    cuts = rough(vs, low, high, steps, 0.0, roll.usable)
    offsets, lo, hi, seams = slabs(edges, vs, cuts, roll.ends)
    price: float = searches(cuts, offsets, lo, hi, seams, roll, shares, int64(-1), int64(-1))[0][
        0, -1
    ]
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
    roll: RollSizes,
    shares: Floats,
    cost: float,
) -> tuple[int, int]:
    """The two of the rows ``at`` of ``vs`` to cut a shape at, so that what lies between falls in
    parts and all costs least, and less than ``cost``: places in ``at``, or -1 twice. ``before``,
    ``behind``: what all up to each cut costs from either end; ``steps`` as for `least`."""
    first = -1
    second = -1
    last = len(at) - 1
    for a in range(last):
        for b in range(a + 1, last + 1):
            total = before[a] + behind[b]
            if total >= cost or vs[at[b]] - vs[at[a]] < roll.least_width:
                continue
            low = vs[at[a]] if a else -np.inf
            high = vs[at[b]] if b < last else np.inf
            part_edges, part = between(edges, vs, spans, at[a], at[b])
            part, lows, highs = separate(part_edges, part, low, high, roll)
            if len(lows) < 2:
                continue
            for p in range(len(lows)):
                if total < cost:
                    total += least(
                        _of_part(part_edges, part, p), lows[p], highs[p], steps, roll, shares
                    )
            if total < cost:
                cost = total
                first = a
                second = b
    return first, second


@inlined
def _of_part(edges: Floats, part: Ints, p: int) -> Floats:
    """The edges (k, 4) of part ``p``; ``part`` (n,) is that of each."""
    out = np.empty((len(edges), 4))
    count = 0
    for e in range(len(edges)):
        if part[e] == p:
            for column in range(4):
                out[count, column] = edges[e, column]
            count += 1
    return out[:count]


@jit
def clipped(edges: Floats, left: float, right: float) -> Floats:
    """The shape between the lines across at u = ``left`` and ``right``: its edges (k, 4), sorted by
    lower v. Border beyond a line is moved onto it; where an even number of edges come to lie on
    each other there is no turf between."""
    n = len(edges)
    out = np.empty((5 * n, 4))
    lower = np.empty(5 * n)
    count = 0
    ends = np.empty((2, 6 * n))
    many = np.zeros(2, np.int64)
    for e in range(n):
        u0 = edges[e, 0]
        v0 = edges[e, 1]
        u1 = edges[e, 2]
        v1 = edges[e, 3]
        first, second = (left, right) if u0 < u1 else (right, left)
        from_u = u0
        from_v = v0
        for k in range(3):
            to_u = u1
            to_v = v1
            if k < 2:
                line = first if k == 0 else second
                if not min(u0, u1) < line < max(u0, u1):
                    continue
                v = v0 + (line - u0) / (u1 - u0) * (v1 - v0)
                to_u = line
                to_v = min(max(np.rint(v / SNAP_M) * SNAP_M, from_v), v1)
            middle = 0.5 * (from_u + to_u)
            if from_v < to_v and left < middle < right:
                out[count, 0] = from_u
                out[count, 1] = from_v
                out[count, 2] = to_u
                out[count, 3] = to_v
                lower[count] = from_v
                count += 1
            elif from_v < to_v:
                side = 0 if middle <= left else 1
                ends[side, many[side]] = from_v
                ends[side, many[side] + 1] = to_v
                many[side] += 2
            from_u = to_u
            from_v = to_v
    for side in range(2):
        line = left if side == 0 else right
        values = np.empty(many[side])
        for k in range(many[side]):
            values[k] = ends[side, k]
        values = distinct(values, -1.0)
        for k in range(0, len(values) - 1, 2):
            if values[k] < values[k + 1]:
                out[count, 0], out[count, 1], out[count, 2], out[count, 3] = (
                    line,
                    values[k],
                    line,
                    values[k + 1],
                )
                lower[count] = values[k]
                count += 1
    order = np.arange(count)
    sort(lower[:count], order)
    rising = np.empty((count, 4))
    for k in range(count):
        for column in range(4):
            rising[k, column] = out[order[k], column]
    return rising


@jit
def joints(edges: Floats, lines: Floats, touch: float) -> Floats:
    """Stretches (n, 3), u, v from, v to, of the ``lines`` across (u, rising) with turf on both
    sides, longer than ``touch``."""
    out = np.empty((len(lines) * (len(edges) + 1), 3))
    count = 0
    for u in lines:
        first = count
        before = clipped(edges, -np.inf, u)
        behind = clipped(edges, u, np.inf)
        for i in range(len(before)):
            for j in range(len(behind)):
                low = max(before[i, 1], behind[j, 1])
                high = min(before[i, 3], behind[j, 3])
                here = before[i, 0] == before[i, 2] == u and behind[j, 0] == behind[j, 2] == u
                if here and low < high:
                    if (
                        count > first and low <= out[count - 1, 2]
                    ):  # goes on where the last one ends
                        count -= 1
                        low = out[count, 1]
                    out[count, 0] = u
                    out[count, 1] = low
                    out[count, 2] = high
                    count += 1
        kept = first
        for k in range(first, count):
            if out[k, 2] - out[k, 1] > touch:
                out[kept, 0], out[kept, 1], out[kept, 2] = out[k, 0], out[k, 1], out[k, 2]
                kept += 1
        count = kept
    return out[:count]


@jit
def parts_of(edges: Floats, roll: RollSizes) -> tuple[Ints, Floats, Floats]:
    """The parts of a shape that may be laid by themselves, as `separate` gives them."""
    vs = ends_of(edges)
    offsets, lo, hi, _ = slabs(edges, vs, vs, roll.ends)
    _, part = between(edges, vs, (offsets, lo, hi), 0, len(vs) - 1)
    return separate(edges, part, -np.inf, np.inf, roll)


@jit
def seams_beyond(across: Floats, at: Floats, low: float, high: float, usable: float) -> Floats:
    """Seam (m) that turf between v = ``low`` and ``high`` takes at the least beyond each of the
    lines ``at`` (u, rising): where a line across has h of turf in one stretch, ceil(h / ``usable``)
    - 1 seams cross it. ``across``: edges v0, u0, v1, u1, sorted by lower u."""
    n = len(across)
    us = ends_of(across)
    out = np.zeros(len(at))
    first = np.empty(n)
    last = np.empty(n)
    order = np.empty(n, np.int64)
    middle = np.empty(n)
    for k in range(len(us) - 1):
        count = 0
        seams = 0.0
        thick = us[k + 1] - us[k]
        for e in range(n):
            if across[e, 1] > us[k]:
                break
            if across[e, 3] >= us[k + 1]:
                first[count] = u_at(across, e, us[k])
                last[count] = u_at(across, e, us[k + 1])
                middle[count] = 0.5 * (first[count] + last[count])
                order[count] = count
                count += 1
        sort(middle[:count], order[:count])
        for p in range(0, count - 1, 2):
            a = order[p]
            b = order[p + 1]
            if low < 0.5 * (middle[a] + middle[b]) < high:
                h = min(first[b] - first[a], last[b] - last[a])
                seams += max(0.0, np.ceil(h / usable - 1e-6) - 1.0)
        for m in range(len(at)):
            out[m] += seams * max(0.0, min(thick, us[k + 1] - at[m]))
    return out


@jit
def best_across(
    edges: Floats,
    at: Floats,
    joints: Floats,
    beyond: Floats,
    steps: Floats,
    roll: RollSizes,
    shares: Floats,
    cost: float,
) -> Ints:
    """The lines across, rows of ``at`` (u, rising, the shape's ends first and last), at which to
    cut a shape so that its blocks, and ``joints`` at the lines, cost least (m2 of turf), and less
    than ``cost``; ends in. Nothing where it is best in one. ``beyond`` as from `seams_beyond`;
    ``steps`` as for `least`."""
    n = len(at)
    ahead = np.zeros(n)
    full = LEAST * roll.width / roll.usable
    for k in range(n - 1):  # what lies behind each line takes at least so much
        rest = clipped(edges, at[k], np.inf)
        turf = rows(rest, ends_of(rest), roll.ends) if len(rest) > 1 else 0.0
        ahead[k] = full * turf + roll.seam * beyond[k]
    best = np.full(n, np.inf)
    before = np.full(n, -1)
    best[0] = 0.0
    for j in range(1, n):
        for i in range(j - 1, -1, -1):
            if i == 0 and j == n - 1:
                continue
            total = best[i] + joints[j]
            sure = max(0.0, ahead[i] - ahead[j])
            if total + sure >= best[j] or total + sure + ahead[j] >= cost:
                continue
            block = clipped(edges, at[i], at[j])
            if len(block) < 2:
                continue
            part, lows, highs = parts_of(block, roll)
            for p in range(len(lows)):
                if total + ahead[j] < cost and total < best[j]:
                    total += least(_of_part(block, part, p), lows[p], highs[p], steps, roll, shares)
            if total + ahead[j] < cost and total < best[j] - 1e-9:
                best[j] = total
                before[j] = i
    if not best[n - 1] < cost:
        return np.empty(0, np.int64)
    count = 1
    k = n - 1
    while k > 0:
        k = before[k]
        count += 1
    out = np.empty(count, np.int64)
    k = n - 1
    for place in range(count - 1, -1, -1):
        out[place] = k
        k = before[k]
    return out
