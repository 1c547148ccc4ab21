"""What strips waste on slanted borders, whatever the layout: the compiled part of `geoturf.layout.bound`.

Let the pile run along u. A *strip* is a rectangle no wider than w, laid of one piece or of several one after the other, as wide
as it. Strips don't overlap on turf, and each stretch of turf along the pile (a *chord*) lies in one strip: seams run along the
pile, cross seams from seam to seam. Strips may be of any width, lie in any order, and be cut from shared rolls.

On a line along the pile strips, allowances in, come to the lengthened area's share at least. They come to more by what they
reach past the ends of chords; past an end with other turf beyond a gap g by (g - 2e) / 2 at most, since beyond a strip that
goes on to that turf takes g where the share is 2e, which serves the ends on both sides. Call that room G.

An *arm* of the area is a run of lines across (v from, v to) and on each of them one chord, in a region that neither parts nor
joins and lies three times both allowances (2e) from any other turf on these lines. It is made of *stretches*, in each of which
the chord runs from one straight border edge to another. Neighbouring chords overlap, and so lie in one strip wherever the strip
has both lines. So strips share an arm out in intervals. A line is *joint* if its strip holds other turf on it, too: it reaches
past the chord by G or more.

1. On a stretch whose edges have slopes s and t (du/dv) a strip with m lines that are not joint reaches past their chords by
   (|s| + |t|) m^2 / 2 at least, since it must reach past the furthest. Where ends may be slanted by up to du/dv = S, a slope
   counts by what it exceeds S. Joint lines, O in all, cost G each.
2. If P strips have lines in the arm that are not joint, and p_k in stretch k, then sum p_k <= P + stretches - 1.
3. Strips have widths h within the arm, sum h <= H, and P w >= H - O: H the arm's height.
4. A strip with h < w - a, a the side allowance, takes a (chord + 2e) more: it is cut a wider than it is laid, or laid past the
   end of the area (by S a^2 less where ends may be slanted, since they may close in on what is added). Not so, perhaps, the
   one that passes either end of the arm, if the area goes on there. A strip within two arms holds turf of both on all of its
   lines: they are joint, and it counts in neither.

Hence what is bought exceeds the lengthened area by W/w times the least, over P, p_k, O_k and the number F of strips with
h >= w - a, F (w - a) <= H, of

    sum_k (|s_k| + |t_k|) (H_k - O_k)^2 / (2 p_k) + G_k O_k + a (least chord + 2e - S a) max(0, P - ends that go on - F)

(equal m are best, by convexity), or of all lines joint. `_least` gives no more than that.

Turned by up to d the same holds for less: of each stretch those lines count that stay within it, X tan d off either end, X the
greatest |u| of the arm and its gaps from its middle; slopes are less by d, chords and gaps by their slopes times 2 X tan d.
Of the lines between stretches nothing is known but how many they are; those left out at either end of the arm may be F's, too;
and past the area's end 2 X tan d, X of the whole area, is not certain.
"""

from __future__ import annotations

import numpy as np

from geoturf.compiled import inlined, jit
from geoturf.layout.kernel import crossings, met, u_at

SAME = 1e-9  # slopes and places this close are one
APART = 3.0  # of both end allowances: turf nearer than this is not apart
CLIPS = 3  # least chords tried: none, a quarter, half of the greatest
_HEIGHT, _SLOPE, _ROOM, _STRIPS, _GAIN = range(5)  # rows of what `_least` works on
MOST = 12  # strips of an arm looked at beyond the whole ones it holds


def loss(edges: np.ndarray, vs: np.ndarray, sizes: np.ndarray, turn: float) -> float:
    """Least area (m2 of pieces) that any layout takes beyond the lengthened shape, pile along u or turned by up to ``turn``
    (radians). ``edges``, ``vs`` as in `kernel`; ``sizes``: greatest usable width, least usable width less the side allowance,
    side allowance, both end allowances, steepest slant of an end (du/dv)."""
    slabs, arms = arms_of(edges, vs, APART * sizes[3])
    return loss_of(slabs, arms, edges, vs, sizes, turn)


@jit
def loss_of(slabs, arms, edges, vs, sizes, turn):
    """`loss` of a shape whose slabs of arms (`arms_of`) are known."""
    low, high, tan, total = np.inf, -np.inf, np.tan(turn), 0.0
    for e in range(len(edges)):
        low, high = min(low, edges[e, 0], edges[e, 2]), max(high, edges[e, 0], edges[e, 2])
    mine = np.empty((len(slabs), slabs.shape[1]))  # filled by loops: a slice assigned takes seconds to compile
    work = np.empty((5, len(slabs)))  # made once, not for every arm
    for arm in range(arms):
        count, left, right = np.int64(0), np.inf, -np.inf
        for k in range(len(slabs)):
            if slabs[k, 0] == arm:
                for column in range(slabs.shape[1]):
                    mine[count, column] = slabs[k, column]
                left, right = min(left, mine[count, 5], mine[count, 7]), max(right, mine[count, 6], mine[count, 8])
                count += 1
        middle, gap = 0.5 * (left + right), APART * sizes[3]
        off = 2.0 * (right - middle + gap) * tan
        past = 2.0 * max(high - middle, middle - low) * tan
        best = 0.0
        for clip in range(CLIPS):
            least = 0.25 * clip * (right - left)
            best = max(best, _arm(mine, count, least, vs[0], vs[-1], gap, sizes, tan, off, past, work))
        total += best
    return total


@jit
def arms_of(edges, vs, gap):
    """Slabs of arms, and how many arms there are. A slab is a row of its arm's number, lower v, upper v, slopes du/dv of its
    left and right edge, u of these at the lower v and at the upper, and the least gap to other turf on its lines with how fast
    that may close (du/dv). Slabs that go straight on are one, where both or neither is nearer than ``gap`` to other turf."""
    n = len(edges)
    active, order, held, taken = np.empty(n, np.int64), np.empty(n), np.int64(0), np.int64(0)
    out, count, arms = np.empty((n * len(vs) // 2 + 1, 11)), np.int64(0), 0
    before, n_before = np.empty(n, np.int64), 0  # rows of the slab below, left to right
    here = np.empty(n, np.int64)
    at_low, at_high, slope = np.empty(n), np.empty(n), np.empty(n)  # of the active edges: u at the slab's v's, du/dv
    for s in range(len(vs) - 1):
        low, high = vs[s], vs[s + 1]
        held, taken = met(edges, active, held, taken, low, high)
        crossings(edges, active, held, 0.5 * (low + high), order)
        for k in range(held):
            e = active[k]
            at_low[k], at_high[k] = u_at(edges, e, low), u_at(edges, e, high)
            slope[k] = (edges[e, 2] - edges[e, 0]) / (edges[e, 3] - edges[e, 1])
        for c in range(held // 2):
            _fill(out, count, at_low, at_high, slope, held, c, low, high)
            below, alike = np.int64(-1), 0
            for b in range(n_before):
                if min(out[before[b], 8], out[count, 6]) > max(out[before[b], 7], out[count, 5]):
                    below, alike = before[b], alike + 1
            if alike == 1 and _meets(at_low, held, out[below, 7], out[below, 8]) == 1:
                out[count, 0] = out[below, 0]
                if _goes_on(out, below, count, gap):
                    out[below, 2], out[below, 7], out[below, 8] = high, out[count, 7], out[count, 8]
                    out[below, 9] = min(out[below, 9], out[count, 9])
                    out[below, 10] = max(out[below, 10], out[count, 10])
                    here[c] = below
                    continue
            else:
                out[count, 0] = arms
                arms += 1
            here[c] = count
            count += 1
        n_before = held // 2
        for c in range(n_before):
            before[c] = here[c]
    return out[:count], arms


@inlined
def _fill(rows, at, at_low, at_high, slope, held, c, low, high):
    """Row ``at`` of ``rows``: the slab of the c-th chord."""
    a, b = 2 * c, 2 * c + 1
    rows[at, 1], rows[at, 2] = low, high
    rows[at, 3], rows[at, 4] = slope[a], slope[b]
    rows[at, 5], rows[at, 6] = at_low[a], at_low[b]
    rows[at, 7], rows[at, 8] = at_high[a], at_high[b]
    rows[at, 9], rows[at, 10] = np.inf, 0.0
    if c > 0:
        rows[at, 9] = min(at_low[a] - at_low[a - 1], at_high[a] - at_high[a - 1])
        rows[at, 10] = abs(slope[a]) + abs(slope[a - 1])
    if b + 1 < held:
        rows[at, 9] = min(rows[at, 9], at_low[b + 1] - at_low[b], at_high[b + 1] - at_high[b])
        rows[at, 10] = max(rows[at, 10], abs(slope[b]) + abs(slope[b + 1]))


@inlined
def _meets(at_low, held, left, right):
    """How many chords just above a slab's lower v the stretch from left to right meets."""
    count = 0
    for c in range(held // 2):
        if min(at_low[2 * c + 1], right) > max(at_low[2 * c], left):
            count += 1
    return count


@inlined
def _goes_on(rows, last, at, gap):
    return (
        (rows[last, 9] < gap) == (rows[at, 9] < gap)
        and abs(rows[last, 3] - rows[at, 3]) + abs(rows[last, 4] - rows[at, 4]) < SAME
        and abs(rows[last, 7] - rows[at, 5]) + abs(rows[last, 8] - rows[at, 6]) < 100 * SAME
    )


@inlined
def _arm(slabs, n, clip, lowest, highest, gap, sizes, tan, off, past, work):
    """What an arm of ``n`` slabs takes beyond its lengthened area at least, of lines where its chord is ``clip`` or more and no
    other turf is near. ``lowest``, ``highest``: the area's v's; ``tan``: of the turn."""
    cos = 1.0 / np.sqrt(1.0 + tan * tan)
    held, least, start, end, first, last = np.int64(0), np.inf, 0.0, 0.0, 0.0, 0.0
    for k in range(n):
        low, high, at_low, at_high = slabs[k, 1], slabs[k, 2], slabs[k, 6] - slabs[k, 5], slabs[k, 8] - slabs[k, 7]
        room = slabs[k, 9] - slabs[k, 10] * off
        if max(at_low, at_high) < clip or room < gap:
            continue
        if at_low < clip:
            low += (high - low) * (clip - at_low) / (at_high - at_low)
        if at_high < clip:
            high -= (high - low) * (clip - at_high) / (at_low - at_high)
        if high - low <= off:
            continue
        if held == 0:
            first, start = low, low + 0.5 * off
        last, end = high, high - 0.5 * off
        work[_HEIGHT, held] = (high - low - off) * cos
        work[_SLOPE, held] = _less(slabs[k, 3], tan, sizes[4]) + _less(slabs[k, 4], tan, sizes[4])
        work[_ROOM, held] = 0.5 * (room - sizes[3])
        steep = abs(slabs[k, 3]) + abs(slabs[k, 4])
        least = min(least, max(0.0, max(clip, min(at_low, at_high)) - steep * off))
        held += 1
    if held == 0:
        return 0.0
    free = 2
    if first <= lowest:
        free -= 1
    if last >= highest:
        free -= 1
    return _least(held, least, (end - start) * cos + off, free, sizes, past, work)


@jit
def _less(slope, tan, steepest):
    """|du/dv| of an edge turned by up to the angle of that ``tan``, at least, beyond the ``steepest`` slant."""
    return max(0.0, (abs(slope) - tan) / (1.0 + abs(slope) * tan) - steepest)


@jit
def _served(slope, height, strips, room):
    """Least of slope (height - O)^2 / (2 strips) + room O."""
    if slope * height <= room * strips:
        return 0.5 * slope * height * height / strips
    return room * (height - 0.5 * room * strips / slope)


@jit
def _gain(work, k):
    """What a stretch loses less with one more strip."""
    slope, height, strips, room = work[_SLOPE, k], work[_HEIGHT, k], work[_STRIPS, k], work[_ROOM, k]
    return max(0.0, _served(slope, height, strips, room) - _served(slope, height, strips + 1.0, room))


@inlined
def _least(count, chord, height, free, sizes, past, work):
    """No more than any layout takes beyond the lengthened area of an arm's ``count`` stretches, which are columns of ``work``
    (one array, since each handed on would be counted anew); ``height`` of the arm at most, ``free``: ends where the area
    goes on, ``past``: height at its end that is not certain."""
    usable, full, side, ends = sizes[0], sizes[1] - past, sizes[2], sizes[3]
    if full <= side:
        return 0.0
    narrow, whole, lost, room = side * max(0.0, chord + ends - sizes[4] * side), 0.0, 0.0, np.inf
    for k in range(count):
        work[_STRIPS, k] = 1.0
        whole, room = whole + work[_HEIGHT, k], min(room, work[_ROOM, k])
        lost += _served(work[_SLOPE, k], work[_HEIGHT, k], 1.0, work[_ROOM, k])
        work[_GAIN, k] = _gain(work, k)
    least = whole * room if room < np.inf else np.inf  # if all lines are joint
    idle = free + int(height / full + 1e-9)
    for strips in range(1, idle + MOST):
        more = narrow * max(0, strips - idle)
        if more >= least:
            break
        joint = whole - strips * usable
        if joint <= 0.0 or room < np.inf:
            least = min(least, max(lost, joint * room if joint > 0.0 else 0.0) + more)
        at = 0  # one more strip where it helps most
        for k in range(1, count):
            if work[_GAIN, k] > work[_GAIN, at]:
                at = k
        lost -= work[_GAIN, at]
        work[_STRIPS, at] += 1.0
        work[_GAIN, at] = _gain(work, at)
    return max(0.0, min(least, narrow * MOST))
