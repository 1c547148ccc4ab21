"""The compiled part: a polygon cut in bands, and the cheapest way to set seams.

All in pile coordinates (metres): u along the pile, v across it. ``edges`` is a float array (n, 4)
of u0, v0, u1, v1, sorted by its lower v, without edges of constant v; holes and further parts are
simply more edges (even-odd rule).

Kept small and plain on purpose (loops, no array expressions): it compiles in a few seconds, once a
machine; numba keeps the result beside this file, or in the user's cache folder where that cannot be
written. Counts that are handed on begin as ``int64(0)``: a plain 0 is a type of its own to the
compiler, and what they are handed to would be compiled for that as well.
"""

from __future__ import annotations

import numpy as np

from geoturf.compiled import Floats, Ints, inlined, inner, int64, jit
from geoturf.layout.sizes import RollSizes

HAIR = 1e-6  # m2: what rounding may hide
NOISE = 1e-6  # of a cut step: what float arithmetic may have added to whole ones
TOLERANCE_M = 1e-6  # a band this much wider than the roll still fits it
# m2 of turf that a piece the rules would not have is charged: it is laid only where none can be
# without
SHUNNED = 100.0
ASIDE = 0.5  # of a strip's length at most is seam along a side that counts as a border of turf
#: ways to end at a cut: in a strip that is odd or narrow, with turf beyond, or (0) in another
ODD = 1
NARROW = 2
WAYS = 3
# times what it costs, a cross seam saves at least where a roll reaches: `geoturf.rules.CROSS_WORTH`
WORTH = 2.0
CLEAR_M, UNCLEAR_M = (
    0.3,
    0.01,
)  # a seam nearer to a corner, counted across, is reckoned so much longer


@jit
def sort(keys: Floats, order: Ints) -> None:
    """Put the indices ``order`` in the order of ``keys`` (equal ones by index): Shell's sort, small
    and quick to compile."""
    n = len(order)
    gap = n // 2
    while gap > 0:
        for k in range(gap, n):
            at = order[k]
            j = k
            while j >= gap and (
                keys[order[j - gap]] > keys[at]
                or (keys[order[j - gap]] == keys[at] and order[j - gap] > at)
            ):
                order[j] = order[j - gap]
                j -= gap
            order[j] = at
        gap //= 2


@jit
def distinct(values: Floats, apart: float) -> Floats:
    """The values sorted; of those no further apart than ``apart`` one stays."""
    out = values.copy()
    kept = 0
    gap = len(out) // 2
    while gap > 0:  # as `sort`, without the indices
        for k in range(gap, len(out)):
            value = out[k]
            j = k
            while j >= gap and out[j - gap] > value:
                out[j] = out[j - gap]
                j -= gap
            out[j] = value
        gap //= 2
    for k in range(len(out)):
        if kept == 0 or out[k] > out[kept - 1] + apart:
            out[kept] = out[k]
            kept += 1
    return out[:kept]


@jit
def turn(edges: Floats, sine: float, cosine: float, snap: float) -> tuple[Floats, Floats]:
    """Edges x0, y0, x1, y1 of closed rings in pile coordinates at the bearing of that sine and
    cosine, v on multiples of ``snap``: as this module takes them, and the sorted v's of all
    vertices."""
    n = len(edges)
    out = np.empty((n, 4))
    starts = np.empty(n)
    lower = np.empty(n)
    count = 0
    for e in range(n):
        x0 = edges[e, 0]
        y0 = edges[e, 1]
        x1 = edges[e, 2]
        y1 = edges[e, 3]
        v0 = np.rint((x0 * cosine - y0 * sine) / snap) * snap
        v1 = np.rint((x1 * cosine - y1 * sine) / snap) * snap
        starts[e] = v0  # each vertex is where an edge starts
        if v0 == v1:
            continue
        u0 = x0 * sine + y0 * cosine
        u1 = x1 * sine + y1 * cosine
        if v0 > v1:
            u0, v0, u1, v1 = u1, v1, u0, v0
        out[count, 0] = u0
        out[count, 1] = v0
        out[count, 2] = u1
        out[count, 3] = v1
        lower[count] = v0
        count += 1
    order = np.arange(count)
    sort(lower, order)
    rising = np.empty((count, 4))
    for k in range(count):
        for e in range(4):
            rising[k, e] = out[order[k], e]
    return rising, distinct(starts, 0.0)


@jit
def _add(lo: Floats, hi: Floats, count: int, a: float, b: float, gap: float) -> int:
    """Add interval [a, b] to the ``count`` sorted intervals in lo, hi; those no further apart than
    ``gap`` become one."""
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


@inlined
def u_at(edges: Floats, e: int, v: float) -> float:
    """u of edge ``e`` at ``v``, never outside the edge."""
    u0, v0, u1, v1 = (
        edges[e, 0],
        edges[e, 1],
        edges[e, 2],
        edges[e, 3],
    )  # a row of it would be counted as an array
    u = u0 + (v - v0) / (v1 - v0) * (u1 - u0)
    inside: float = min(max(u, min(u0, u1)), max(u0, u1))
    return inside


@inner
def crossings(edges: Floats, active: Ints, count: int, v: float, order: Floats, gap: int) -> None:
    """The ``count`` active edges, sorted by u at ``v``: Shell's sort from ``gap`` on; by 1 where they
    are nearly sorted, as from slab to slab."""
    for k in range(count):
        order[k] = u_at(edges, active[k], v)
    while gap > 0:
        for k in range(gap, count):
            key = order[k]
            edge = active[k]
            j = k
            while j >= gap and order[j - gap] > key:
                order[j], active[j] = order[j - gap], active[j - gap]
                j -= gap
            order[j] = key
            active[j] = edge
        gap //= 2


@jit
def met(
    edges: Floats, active: Ints, count: int, taken: int, low: float, high: float
) -> tuple[int, int]:
    """The ``active`` edges from one slab of the vertices' v's to the next, low to high: those that
    end at ``low`` go, those that begin there come. Gives how many they are and how many edges came
    so far."""
    kept = 0
    for k in range(count):
        if edges[active[k], 3] > low:
            active[kept] = active[k]
            kept += 1
    while taken < len(edges) and edges[taken, 1] < high:
        active[kept] = taken
        kept += 1
        taken += 1
    return kept, taken


@inlined
def _overlap(below: Floats, n_below: int, above: Floats, n_above: int) -> float:
    """Length common to two sorted lists of intervals, each flat: start, end, start, end …"""
    total = 0.0
    i = 0
    j = 0
    while i + 1 < n_below and j + 1 < n_above:
        total += max(0.0, min(below[i + 1], above[j + 1]) - max(below[i], above[j]))
        if below[i + 1] < above[j + 1]:
            i += 2
        else:
            j += 2
    return total


@jit
def slabs(
    edges: Floats, vs: Floats, cuts: Floats, gap: float
) -> tuple[Ints, Floats, Floats, Floats]:
    """What each slab between two cuts takes along the pile.

    ``vs``: sorted v's of all vertices; ``cuts``: sorted, from the first v (or below) to the last
    (or above). Gives offsets (cuts), lo and hi of the slabs' intervals (trapezoids' extents united,
    gaps up to ``gap`` closed), and for each cut the length of turf on both its sides: the seam it
    would be. A border edge lying on the cut makes no seam; a seam that passes a corner closely is
    reckoned `UNCLEAR_M` longer, so that of seams that cost the same the clear one is taken.
    """
    n = len(edges)
    m = len(cuts)
    active = np.empty(n, np.int64)
    order = np.empty(n)
    below = np.empty(n)
    above = np.empty(n)
    lo = np.empty(n)
    hi = np.empty(n)
    offsets = np.zeros(m, np.int64)
    seams = np.zeros(m)
    out_lo = np.empty(4 * (n + m))
    out_hi = np.empty(4 * (n + m))
    count = taken = spans = filled = n_below = at = int64(0)
    low = cuts[0]
    while at < len(vs) and vs[at] <= low:
        at += 1
    for c in range(1, m):
        fresh = True
        spans = int64(0)
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
            crossings(edges, active, count, 0.5 * (low + high), order, int64(1))
            for k in range(count):
                above[k] = u_at(edges, active[k], low)
            if fresh:
                seams[c - 1] = _overlap(below, n_below, above, count)
                fresh = False
            for k in range(count):
                below[k] = u_at(edges, active[k], high)
            n_below = count
            for k in range(0, count - 1, 2):
                spans = _add(
                    lo, hi, spans, min(above[k], below[k]), max(above[k + 1], below[k + 1]), gap
                )
            low = high
        if filled + spans > len(out_lo):
            out_lo = _longer(out_lo, filled, spans)
            out_hi = _longer(out_hi, filled, spans)
        for k in range(spans):
            out_lo[filled] = lo[k]
            out_hi[filled] = hi[k]
            filled += 1
        offsets[c] = filled
    _keep_clear(seams, cuts, vs)
    return offsets, out_lo[:filled], out_hi[:filled], seams


@jit
def projected(
    edges: Floats, level: Floats, cuts: Floats, gap: float
) -> tuple[Ints, Floats, Floats]:
    """What each strip between two cuts takes along the pile, as `slabs` gives it: offsets (cuts), lo
    and hi of the intervals, gaps up to ``gap`` closed.

    ``level`` (n, 3): v, u from, u to of the edges of constant v, by v. A line across a strip that
    meets its turf meets that turf's border: an edge, or a stretch of one of the two cuts. So what a
    strip takes is what its edges and its cuts take, each looked at once. `slabs` goes from vertex to
    vertex, and at each through all that is met there.
    """
    n = len(edges)
    m = len(cuts)
    active = np.empty(n, np.int64)
    crossed = np.empty(n)
    lo = np.empty(2 * n + len(level) + 2)
    hi = np.empty(2 * n + len(level) + 2)
    offsets = np.zeros(m, np.int64)
    out_lo = np.empty(n + m)
    out_hi = np.empty(n + m)
    count = taken = filled = at = int64(0)
    for c in range(1, m):
        low = cuts[c - 1]
        high = cuts[c]
        count, taken = met(edges, active, count, taken, low, high)
        many = int64(0)
        for k in range(count):
            a = u_at(edges, active[k], max(low, edges[active[k], 1]))
            b = u_at(edges, active[k], min(high, edges[active[k], 3]))
            lo[many] = min(a, b)
            hi[many] = max(a, b)
            many += 1
        while at < len(level) and level[at, 0] <= low:
            at += 1
        while at < len(level) and level[at, 0] < high:
            lo[many] = level[at, 1]
            hi[many] = level[at, 2]
            many += 1
            at += 1
        for end in range(2):
            met_there = int64(0)
            for k in range(count):
                there = edges[active[k], 1] <= low if end == 0 else edges[active[k], 3] >= high
                if there:
                    crossed[met_there] = u_at(edges, active[k], low if end == 0 else high)
                    met_there += 1
            ends = distinct(crossed[:met_there], -1.0)
            for k in range(0, len(ends) - 1, 2):
                lo[many] = ends[k]
                hi[many] = ends[k + 1]
                many += 1
        order = np.arange(many)
        sort(lo[:many], order)
        if filled + many > len(out_lo):
            out_lo = _longer(out_lo, filled, many)
            out_hi = _longer(out_hi, filled, many)
        first = filled
        for k in range(many):
            begin = lo[order[k]]
            end_u = hi[order[k]]
            if filled > first and begin <= out_hi[filled - 1] + gap:
                out_hi[filled - 1] = max(out_hi[filled - 1], end_u)
            else:
                out_lo[filled] = begin
                out_hi[filled] = end_u
                filled += 1
        offsets[c] = filled
    return offsets, out_lo[:filled], out_hi[:filled]


@inner
def _keep_clear(seams: Floats, cuts: Floats, vs: Floats) -> None:
    """Makes seams nearer than `CLEAR_M` to a corner, at ``vs``, `UNCLEAR_M` longer."""
    at = 0
    for c in range(len(cuts)):
        while at < len(vs) and vs[at] <= cuts[c] - CLEAR_M:
            at += 1
        if seams[c] > 0 and at < len(vs) and vs[at] < cuts[c] + CLEAR_M:
            seams[c] += UNCLEAR_M


@jit
def _longer(values: Floats, filled: int, more: int) -> Floats:
    """A copy of the first ``filled`` values with room for twice as many as there were and
    ``more``."""
    out = np.empty(2 * len(values) + more)
    for k in range(filled):  # a slice assigned takes seconds to compile
        out[k] = values[k]
    return out


@inlined
def band(offsets: Ints, lo: Floats, hi: Floats, i: int, j: int, gap: float) -> Floats:
    """Intervals of the band from cut ``i`` to cut ``j``: (2, k), from and to."""
    size = offsets[j] - offsets[i]
    a = np.empty(size + 1)
    b = np.empty(size + 1)
    count = int64(0)
    for k in range(offsets[i], offsets[j]):
        count = _add(a, b, count, lo[k], hi[k], gap)
    out = np.empty((2, count))
    for k in range(count):
        out[0, k] = a[k]
        out[1, k] = b[k]
    return out


@inner
def _steps(value: float, a_metre: float) -> float:
    """Whole cut steps that hold ``value``."""
    whole: float = np.ceil(value * a_metre - NOISE)
    return whole


@inner
def _runs(length: float, longest: float, a_metre: float) -> float:
    """How many pieces ``length`` is laid in, none longer than ``longest`` by more than `_steps`
    spares."""
    pieces: float = max(1.0, np.ceil((length * a_metre - 0.5 * NOISE) / (longest * a_metre)))
    return pieces


@jit
def lanes_of(v: float, roll: RollSizes) -> int:
    """How many strips laid ``v`` wide lie side by side in one section."""
    if v > roll.usable - TOLERANCE_M:
        return 1
    return max(1, int((roll.usable + 1e-9) / (_steps(v + roll.side, roll.a_metre) * roll.step)))


@inlined
def gang(length: float, lanes: int, joint: float, roll: RollSizes) -> tuple[float, int, int]:
    """One strip cut alone at its least price, in up to ``lanes`` side by side in a section,
    sections after one another, each joint at the price ``joint``, no length under the least. Gives
    that price (m2 of turf), lanes and sections."""
    least = roll.least_length - TOLERANCE_M
    return _gang(
        length, lanes, joint, roll.width * roll.step, roll.ends, least, roll.longest, roll.a_metre
    )


@inner
def _gang(
    length: float,
    lanes: int,
    joint: float,
    full: float,
    ends: float,
    least: float,
    longest: float,
    a_metre: float,
) -> tuple[float, int, int]:
    """`gang` by numbers: ``full`` (m2 of turf a step of roll), both end allowances, the least and
    the longest laid length (m), steps a metre."""
    best = np.inf
    side = 1
    runs = 1
    for n in range(1, lanes + 1):
        t = _runs(length / n, longest, a_metre)
        if n > 1 and length < n * t * least:
            continue
        price = full * t * _steps(length / (n * t) + ends, a_metre) + (n * t - 1) * joint
        if price < best - 1e-12:
            best = price
            side = n
            runs = int(t)
        elif price > best + 2 * full:  # convex but for the rounding
            break
    return best, side, runs


@jit
def divisions(
    lines: Floats, sizes: Ints, spans: Floats, roll: RollSizes, ganged: bool
) -> tuple[Ints, Ints]:
    """How strips (``lines`` (k, 2), ``sizes`` and ``spans`` of their intervals as
    `geoturf.layout.seams.Strips` has them) are divided by cross seams: for each interval lanes side
    by side, and sections. ``ganged``: wherever that is cheaper for it by itself; otherwise only
    those longer than a roll."""
    side = np.ones(len(spans), np.int64)
    runs = np.ones(len(spans), np.int64)
    p = 0
    for k in range(len(lines)):
        v = lines[k, 1] - lines[k, 0]
        lanes = lanes_of(v, roll) if ganged else 1
        joint = WORTH * (roll.cross + v * roll.seam)
        for _ in range(sizes[k]):
            length = spans[p, 1] - spans[p, 0]
            if lanes > 1 or length > roll.longest:
                _, side[p], runs[p] = gang(length, lanes, joint, roll)
            p += 1
    return side, runs


@jit
def searches(
    cuts: Floats,
    offsets: Ints,
    lo: Floats,
    hi: Floats,
    seams: Floats,
    roll: RollSizes,
    shares: Floats,
    alone: int,
    full_strips: int,
) -> tuple[Floats, Ints]:
    """Cheapest seams by each price model, as shortest paths over the cuts: one pass, since what a
    band takes is the same for all.

    ``shares`` (models, steps + 1): what a piece so many cut steps wide takes of the roll's width,
    the last of the usable width. ``alone``: the row, if any, by which strips are cut alone, each at
    its least price (`gang`), and ``full_strips`` that by which odd strips weigh; -1 for none.

    An odd strip is narrower than the roll: it weighs once where turf lies along most of both its
    sides, and once where the strip before it is odd, too. A narrow one lies along a border of turf,
    not beside another narrow one; no piece is shorter than the least. What cannot be laid so is
    charged `SHUNNED` each. So the paths to a cut are told apart by whether they end in an odd or a
    narrow strip with turf on its other side.

    Gives cost (models, cuts) and, for the cuts on the cheapest path to the last, the cut before
    (models, cuts); -1 for others.
    """
    # numbers, not the array, in the loop
    usable = roll.usable
    ends = roll.ends
    step = roll.step
    side = roll.side
    seam = roll.seam
    cross = roll.cross
    longest = roll.longest
    a_metre = roll.a_metre
    short = roll.least_length - TOLERANCE_M
    narrow = roll.narrow - TOLERANCE_M
    odd = roll.odd
    odd_under = usable - TOLERANCE_M
    m = len(cuts)
    full = roll.width * step
    models = len(shares)
    whole = shares.shape[1] - 1
    cost = np.full((models, WAYS, m), np.inf)
    before = np.full((models, WAYS, m), -1)
    for k in range(models):
        cost[k, 0, 0] = 0.0
    turf = full * a_metre
    (lanes, shared) = _side_by_side(whole, usable, step)
    a = np.empty(len(lo) + 1)
    b = np.empty(len(lo) + 1)
    least = min(roll.least_width, cuts[m - 1] - cuts[0]) - TOLERANCE_M
    plain = np.empty(models, np.int64)
    so_far = np.empty(models)
    for i in range(m - 1):
        for k in range(models):  # what strips to which nothing is added begin at
            plain[k] = _cheapest(cost, k, i, 0.0, 0.0)
            so_far[k] = cost[k, plain[k], i]
        if offsets[i + 1] == offsets[i]:  # no turf: nothing to lay, however wide
            for k in range(models):
                if so_far[k] < cost[k, 0, i + 1]:
                    cost[k, 0, i + 1], before[k, 0, i + 1] = so_far[k], WAYS * i + plain[k]
        if so_far[0] == np.inf:
            continue  # too near the first cut to end a strip, by any model
        count = int64(0)
        steps = 0.0
        joints = 0.0
        length = 0.0
        shunned = 0.0
        for j in range(i + 1, m):
            v = cuts[j] - cuts[i]
            if v > usable + TOLERANCE_M:
                break
            grown = False
            for k in range(offsets[j - 1], offsets[j]):
                if count == 1 and lo[k] <= b[0] + ends and hi[k] + ends >= a[0]:  # most often
                    if lo[k] < a[0]:
                        a[0] = lo[k]
                        grown = True
                    if hi[k] > b[0]:
                        b[0] = hi[k]
                        grown = True
                    continue
                inside = False
                for p in range(count):
                    if a[p] <= lo[k] and hi[k] <= b[p]:
                        inside = True
                        break
                if not inside:
                    count = _add(a, b, count, lo[k], hi[k], ends)
                    grown = True
            if grown:
                steps, joints = _lengths(a, b, count, ends, longest, a_metre)
                length = shunned = 0.0
                for p in range(count):
                    length += b[p] - a[p]
                    if b[p] - a[p] < short:
                        shunned += SHUNNED
            if v < least or count == 0:
                continue
            below = seams[i] > ASIDE * length
            above = seams[j] > ASIDE * length
            by_narrow = SHUNNED if v < narrow and below else 0.0
            by_odd = odd if v < odd_under and below else 0.0
            extra = shunned + (by_narrow if above else 0.0)
            across = _steps(v + side, a_metre)
            joint = cross + v * seam
            at = whole if v > usable - TOLERANCE_M else min(whole, int(across))
            for k in range(models):
                whole_strips = k == full_strips
                after_odd = by_odd if whole_strips else 0.0
                after_narrow = after_odd + by_narrow
                last = plain[k]
                price = seams[j] * seam + so_far[k] + extra
                if after_narrow > 0:
                    last = _cheapest(cost, k, i, after_odd, after_narrow)
                    price = seams[j] * seam + cost[k, last, i] + extra
                    if last:
                        price += after_odd if last == ODD else after_narrow
                now = 0
                if above and v < narrow:
                    now = NARROW
                elif above and whole_strips and v < odd_under:
                    now = ODD
                if above:
                    price += after_odd
                if k != alone:
                    price += shares[k, at] * full * steps + joints * joint
                elif lanes[at] < 2:
                    price += full * steps + joints * joint
                else:  # in n lanes an interval takes no less than turf (length / n + ends) + (n - 1) joints
                    dear = WORTH * joint
                    sure = 0.0
                    n = lanes[at]
                    enough = cost[k, now, j] - price
                    for p in range(count):
                        one = turf * (b[p] - a[p])
                        sure += (
                            one * shared[at] + n * dear
                            if one > dear * n * n
                            else 2 * np.sqrt(one * dear)
                        )
                    if sure + count * (turf * ends - dear) - HAIR < enough:
                        for p in range(count):
                            one = b[p] - a[p]
                            price += _gang(one, int(n), dear, full, ends, short, longest, a_metre)[
                                0
                            ]
                    else:
                        price = np.inf
                if price < cost[k, now, j] - 1e-12:
                    cost[k, now, j] = price
                    before[k, now, j] = WAYS * i + last
    return _traced(cost, before)


@inlined
def _cheapest(cost: Floats, k: int, i: int, after_odd: float, after_narrow: float) -> int:
    """The way to end at cut ``i`` that costs least by model ``k``, with what the strip beyond adds
    to it."""
    last = 0
    least = cost[k, 0, i]
    if cost[k, ODD, i] + after_odd < least:
        last = ODD
        least = cost[k, ODD, i] + after_odd
    if cost[k, NARROW, i] + after_narrow < least:
        last = NARROW
    return last


@inlined
def _traced(cost: Floats, before: Ints) -> tuple[Floats, Ints]:
    """The least cost of each cut (models, cuts) over all ways to end there, and the cheapest path
    to the last cut: for each cut on it the one before; -1 for others."""
    models = cost.shape[0]
    m = cost.shape[2]
    least = np.empty((models, m))
    path = np.full((models, m), -1)
    for k in range(models):
        for j in range(m):
            least[k, j] = cost[k, _cheapest(cost, k, j, 0.0, 0.0), j]
        at = WAYS * (m - 1) + _cheapest(cost, k, m - 1, 0.0, 0.0)
        while at >= WAYS:
            back = before[k, at % WAYS, at // WAYS]
            path[k, at // WAYS] = back // WAYS
            at = back
    return least, path


@inlined
def _side_by_side(whole: int, usable: float, step: float) -> tuple[Floats, Floats]:
    """How many strips so many steps wide, up to ``whole``, lie side by side in a section, and one
    over that."""
    lanes = np.ones(whole + 1)
    shared = np.ones(whole + 1)
    for k in range(1, whole):
        lanes[k] = max(1.0, np.floor((usable + 1e-9) / (k * step)))
        shared[k] = 1 / lanes[k]
    return lanes, shared


@inlined
def _lengths(
    a: Floats, b: Floats, count: int, ends: float, longest: float, a_metre: float
) -> tuple[float, float]:
    """Cut steps the intervals a, b take along the roll, no piece longer than ``longest``, and
    joints between pieces."""
    steps = joints = 0.0
    for p in range(count):
        if b[p] - a[p] <= longest:
            steps += _steps(b[p] - a[p] + ends, a_metre)
        else:
            runs = _runs(b[p] - a[p], longest, a_metre)
            steps += runs * _steps((b[p] - a[p]) / runs + ends, a_metre)
            joints += runs - 1
    return steps, joints


@jit
def turf_on(edges: Floats, v: float, out: Floats) -> int:
    """Stretches of turf on both sides of the line at ``v``, into ``out`` flat: from, to, from, to …
    Gives how many numbers."""
    n = len(edges)
    below = np.empty(n + 1)
    above = np.empty(n + 1)
    active = np.empty(n, np.int64)
    hair = 2 * TOLERANCE_M
    n_below = _chords(edges, v - hair, active, below)
    n_above = _chords(edges, v + hair, active, above)
    i = j = count = 0
    while i + 1 < n_below and j + 1 < n_above:
        a = max(below[i], above[j])
        b = min(below[i + 1], above[j + 1])
        if b - a > TOLERANCE_M:
            out[count] = a
            out[count + 1] = b
            count += 2
        if below[i + 1] < above[j + 1]:
            i += 2
        else:
            j += 2
    return count


@inner
def _chords(edges: Floats, v: float, active: Ints, out: Floats) -> int:
    """Where the edges cross the line at ``v``, sorted, into ``out``; gives how many."""
    count = int64(0)
    for e in range(len(edges)):
        if edges[e, 1] >= v:
            break
        if edges[e, 3] >= v:
            active[count] = e
            count += 1
    crossings(edges, active, count, v, out, count // 2)
    return count


@inlined
def _mean_of_least(a: float, b: float, most: float) -> float:
    """Mean of min(x, most) where x goes evenly from ``a`` to ``b``."""
    low = max(0.0, min(a, b))
    high = max(0.0, a, b)
    if high <= most:
        return 0.5 * (low + high)
    if low >= most:
        return most
    part = (most - low) / (high - low)
    return part * 0.5 * (low + most) + (1.0 - part) * most


@jit
def rows(edges: Floats, vs: Floats, ends: float) -> float:
    """Integral over v, where there is turf, of chords + ``ends`` + sum over gaps of min(gap,
    ``ends``): the area of the shape lengthened by half of ``ends`` both ways along the pile
    (`geoturf.layout.bound`)."""
    n = len(edges)
    active = np.empty(n, np.int64)
    order = np.empty(n)
    at_low = np.empty(n)
    at_high = np.empty(n)
    total = 0.0
    count = int64(0)
    taken = int64(0)
    for s in range(len(vs) - 1):
        low = vs[s]
        high = vs[s + 1]
        count, taken = met(edges, active, count, taken, low, high)
        if count < 2:
            continue
        crossings(edges, active, count, 0.5 * (low + high), order, int64(1))
        for k in range(count):
            at_low[k], at_high[k] = u_at(edges, active[k], low), u_at(edges, active[k], high)
        length = ends
        for k in range(0, count - 1, 2):
            if k:
                length += _mean_of_least(
                    at_low[k] - at_low[k - 1], at_high[k] - at_high[k - 1], ends
                )
            length += max(0.0, 0.5 * (at_low[k + 1] - at_low[k] + at_high[k + 1] - at_high[k]))
        total += length * (high - low)
    return total


@jit
def views(
    edges: Floats, sines: Floats, cosines: Floats, snap: float, ends: float
) -> tuple[Floats, Floats, Ints, Floats]:
    """A shape at several bearings, one after the other: its edges, its v's (`turn`), where each
    bearing's begin in both (k + 1, 2), and the area of the shape lengthened (`rows`)."""
    many = len(sines)
    n = len(edges)
    at = np.empty((many + 1, 2), np.int64)
    area = np.empty(many)
    at[0, 0] = 0
    at[0, 1] = 0
    out = np.empty((many * n, 4))
    lines = np.empty(many * n)
    for b in range(many):
        view, vs = turn(edges, sines[b], cosines[b], snap)
        area[b] = rows(view, vs, ends)
        at[b + 1, 0], at[b + 1, 1] = at[b, 0] + len(view), at[b, 1] + len(vs)
        for k in range(len(view)):
            for column in range(4):
                out[at[b, 0] + k, column] = view[k, column]
        for k in range(len(vs)):
            lines[at[b, 1] + k] = vs[k]
    return out, lines, at, area
