"""What strips from border to border waste at the ends of chords, however they are laid: compiled,
for `geoturf.layout.bound`.

Let the pile run along u. A *strip* is a rectangle no wider than w, laid of one piece or of several
one after the other, as wide as it. Strips don't overlap on turf, and each stretch of turf along the
pile (a *chord*) lies in one strip: seams run along the pile, cross seams from seam to seam. Strips
may be of any width, lie in any order, and be cut from shared rolls.

On a line along the pile strips, allowances in, come to the lengthened area's share at least. They
come to more by what they reach past the ends of chords; past an end with other turf beyond a gap g
by (g - 2e) / 2 at most, since beyond a strip that goes on to that turf takes g where the share is
2e, which serves the ends on both sides. Call that room G; no more than `ROOM` is counted.

An *arm* of the area (`geoturf.layout.chords`) is a run of lines across and on each of them one
chord, in a region that neither parts nor joins, less the lines nearer to other turf than three
times both allowances (2e). It is made of *stretches*, in each of which the chord runs from one
straight border edge to another. Neighbouring chords overlap, and so lie in one strip wherever the
strip has both lines. So strips share an arm out in intervals. A line is *joint* if its strip
reaches past the chord by G or more, as it does where it holds other turf beyond.

1. On a stretch whose edges have slopes s and t (du/dv) a strip with m lines that are not joint
   reaches past their chords by (|s| + |t|) m^2 / 2 at least, since it must reach past the furthest.
   Where ends may be slanted by up to du/dv = S, a slope counts by what it exceeds S. Joint lines, O
   in all, cost G each.
2. If P strips have lines in the arm that are not joint, and p_k in stretch k, then sum p_k <= P +
   stretches - 1.
3. P w >= H - O, H the arm's height; and of F strips of which w - a or more lies in the arm, F (w -
   a) <= H.
4. A strip of which h < w - a lies in the arm, a the side allowance, takes a (chord + 2e - S a)
   more: it is cut a wider than it is laid, or laid past the end of the area. Not so one that passes
   an end of the arm where nothing is told of what lies beyond.
5. Where an arm meets a longer chord, it is a *branch* and the other the *stem*. A strip with a line
   of the stem holds its chord there; so it reaches past the branch by what that chord does, R, less
   S w. Counted no more than so much room, all of its lines in the branch are joint, and 4 holds for
   the others at this end. (Is R < S w, its first R / 2S lines are joint for half of R. If these
   cost more than the allowance of 4 it may as well be charged.)
6. A strip that passes the stem's end with h < w - a in the stem takes no allowance if it is wide
   enough, by w - a - h lines of the branches at least. A quarter of what these cost as joint lines
   is charged to the stem for it, three quarters to the branch (half, if it lies between two stems).
7. A strip within two arms holds turf of both on all of its lines: they are joint, and it counts in
   neither.

Hence what is bought exceeds the lengthened area by W/w times the least, over P, p_k and O_k, of

    sum_k (|s_k| + |t_k|) (H_k - O_k)^2 / (2 p_k) + G_k O_k + a (least chord + 2e - S a) max(0, P -
    F - ends not told of)

less what 6 spares (equal m are best, by convexity), or of all lines joint. `_least` gives no more
than that, an arm's best of several least chords: of more lines, or of longer ones.

Turned by up to d the same holds for less: of each stretch those lines count that stay within it, X
tan d off either end, X half the arm's reach along u; next to the arm's ends and to lines near other
turf those beyond the room, too. Slopes are less by d, chords and gaps by their slopes times that.
Where something lies in the area is not certain by its reach times tan d.
"""

from __future__ import annotations

import numpy as np

from geoturf.compiled import Flags, Floats, Ints, inlined, inner, int64, jit
from geoturf.layout.chords import (
    AFTER,
    CLOSING,
    ENDS,
    FIRST,
    GAP,
    HIGH,
    LEFT,
    LEFT_SLOPE,
    LEFT_UP,
    LOW,
    RIGHT,
    RIGHT_SLOPE,
    RIGHT_UP,
    SAME,
    SLIVER,
    arms_of,
    chord_m,
)
from geoturf.layout.sizes import StripSizes

APART = 3.0  # of both end allowances: turf nearer than this is not apart
CLIPS = 6  # least chords tried: none, a sixth, … of the greatest
MOST = 20  # strips of an arm looked at beyond the whole ones it holds
ROOM = 7.0  # m past a chord, at most, that strips are charged for
SHARE = 0.25  # of what joint lines of a branch cost: charged to its stem
CLOSE = 0.3  # m: strips that reach no further past a branch may go on into it
THIN = 0.3  # m: lines that may be left out next to an end of an arm of which something is told
_HEIGHT, _SLOPE, _STRIPS, _GAIN = range(
    4
)  # rows of what `_least` works on: a column for each stretch
# columns of what is told of an arm's ends; of a second branch (`_OTHER` further on) as well
_LINES, _REACH, _COST, _RUN = range(4)
_OTHER = 2


def loss(edges: np.ndarray, vs: np.ndarray, sizes: StripSizes, turn: float) -> float:
    """Least area (m2 of pieces) that any layout takes beyond the lengthened shape, pile along u or
    turned by up to ``turn`` (radians). ``edges``, ``vs`` as in `kernel`."""
    at = np.array([[0, 0], [len(edges), len(vs)]])
    arms = arms_of(edges, vs, at, APART * sizes.ends, np.ones(1, np.bool_))
    return float(losses(*arms, edges, vs, at, sizes, np.array([turn]), np.ones(1, np.bool_))[0])


@jit
def losses(
    slabs: Floats,
    every: Ints,
    of: Ints,
    views: Floats,
    lines: Floats,
    at: Ints,
    sizes: StripSizes,
    turns: Floats,
    wanted: Flags,
) -> Floats:
    """`loss` at several bearings (`geoturf.layout.kernel.views`) whose arms are known (`arms_of`),
    of those ``wanted``."""
    out = np.empty(len(turns))
    work, told = np.empty((4, len(slabs))), np.empty((2, 6))  # made once, not for every arm
    for b in range(len(turns)):
        out[b] = 0.0
        if not wanted[b]:
            continue
        arms = every[of[b] : of[b + 1]]
        edges = views[at[b, 0] : at[b + 1, 0]]
        vs = lines[at[b, 1] : at[b + 1, 1]]
        out[b] = _lost(slabs, arms, edges, vs, sizes, np.tan(turns[b]), work, told)
    return out


@inner
def _lost(
    slabs: Floats,
    arms: Ints,
    edges: Floats,
    vs: Floats,
    sizes: StripSizes,
    tan: float,
    work: Floats,
    told: Floats,
) -> float:
    """What is lost (m2) at one bearing, turned by up to the angle of that ``tan``: ``arms`` (m, 4)
    of ``slabs`` (n, 11) as `arms_of` gives them, ``edges`` (k, 4) and ``vs`` in metres, ``sizes``
    as for `loss`. ``work`` (4, n) and ``told`` (2, 6) are overwritten."""
    low = np.inf
    high = -np.inf
    total = 0.0
    for e in range(len(edges)):
        low = min(low, edges[e, 0], edges[e, 2])
        high = max(high, edges[e, 0], edges[e, 2])
    slack = (high - low) * tan
    far = (2.0 * ROOM + sizes.ends) * tan
    for arm in range(len(arms)):
        first = arms[arm, FIRST]
        after = arms[arm, AFTER]
        left = np.inf
        right = -np.inf
        chord = np.inf
        gap = np.inf
        if slabs[after - 1, HIGH] - slabs[first, LOW] <= SLIVER:
            continue
        for k in range(first, after):
            left = min(left, slabs[k, LEFT], slabs[k, LEFT_UP])
            right = max(right, slabs[k, RIGHT], slabs[k, RIGHT_UP])
            chord = min(chord, chord_m(slabs, k, 0), chord_m(slabs, k, 1))
            gap = min(gap, slabs[k, GAP])
        _tell(told, slabs, arms, arm, vs[0], vs[-1], sizes, slack, tan)
        alone = gap == np.inf and slabs[first, LOW] <= vs[0] and slabs[after - 1, HIGH] >= vs[-1]
        room = np.inf if alone else ROOM
        off = (right - left) * tan
        best = 0.0
        for clip in range(CLIPS):
            least = clip * (right - left) / CLIPS
            if clip == 0 or least > chord:  # else nothing is clipped
                away = 0.0 if alone else far
                best = max(
                    best,
                    _waste(slabs, arms, arm, least, room, told, sizes, tan, off, away, slack, work),
                )
        total += best
    return total


@inner
def _tell(
    told: Floats,
    slabs: Floats,
    arms: Ints,
    arm: int,
    lowest: float,
    highest: float,
    sizes: StripSizes,
    slack: float,
    tan: float,
) -> None:
    """Fills ``told``, for either end of an arm: how many lines of a strip that goes on into a stem
    are joint (inf: all, as at an end of the area; -1: it is a stem's end; 0: nothing is told) and
    how far that reaches past the arm; and for two branches of a stem what a line costs of a strip
    that goes on into them, and on how many lines."""
    for e in range(2):
        end = arms[arm, ENDS + e]
        lines = 0.0
        for k in range(told.shape[1]):
            told[e, k] = 0.0
        if (
            slabs[arms[arm, FIRST], LOW] <= lowest
            if e == 0
            else slabs[arms[arm, AFTER] - 1, HIGH] >= highest
        ):
            lines = np.inf
        elif end > 0:
            for other in range(len(arms)):
                if arms[other, ENDS + 1 - e] == -end:
                    told[e, _REACH], lines = _reach(slabs, arms, other, arm, e, sizes, slack, tan)
        elif end < 0:
            lines = -1.0
            for other in range(len(arms)):
                if arms[other, ENDS + 1 - e] == -end:
                    least = _OTHER if told[e, _RUN] > told[e, _RUN + _OTHER] else 0
                    room, run = _room(slabs, arms, other, 1 - e, slack, APART * sizes.ends)
                    if run > told[e, _RUN + least]:
                        reach, known = _reach(slabs, arms, arm, other, 1 - e, sizes, slack, tan)
                        told[e, _COST + least] = min(ROOM, reach, 0.5 * max(0.0, room - sizes.ends))
                        told[e, _RUN + least] = min(run, known)
        told[e, _LINES] = lines


@inner
def _room(
    slabs: Floats, arms: Ints, arm: int, e: int, slack: float, gap: float
) -> tuple[float, float]:
    """The least gap on lines of an arm that are ``gap`` or more from other turf, and how many there
    are from that end on."""
    first = arms[arm, FIRST]
    after = arms[arm, AFTER]
    run = 0.0
    room = np.inf
    poor = 0.0
    thin = 0.0
    for step in range(after - first):
        k = first + step if e == 0 else after - 1 - step
        least = slabs[k, GAP] - slabs[k, CLOSING] * slack
        height = slabs[k, HIGH] - slabs[k, LOW]
        if least >= gap:
            run = run + height
            room = min(room, least)
        else:
            poor += height
            if run == 0.0:
                thin = poor
        if poor > THIN:
            break
    return room, 0.0 if thin > THIN else max(0.0, run - (poor - thin))


@inner
def _reach(
    slabs: Floats,
    arms: Ints,
    stem: int,
    branch: int,
    out: int,
    sizes: StripSizes,
    slack: float,
    tan: float,
) -> tuple[float, float]:
    """How far a strip with a line of the stem in it reaches past the branch, which begins (``out``
    0) or ends at their junction, and on how many of its lines (inf: on all)."""
    low = np.inf
    high = -np.inf
    sign = 1.0 - 2.0 * out
    at = slabs[arms[branch, FIRST], LOW] if out == 0 else slabs[arms[branch, AFTER] - 1, HIGH]
    for k in range(arms[branch, FIRST], arms[branch, AFTER]):
        near = (slabs[k, LOW] - at) * sign if out == 0 else (slabs[k, HIGH] - at) * sign
        if slabs[k, HIGH] - slabs[k, LOW] > SLIVER and near < sizes.usable + slack:
            low = min(low, slabs[k, LEFT], slabs[k, LEFT_UP])
            high = max(high, slabs[k, RIGHT], slabs[k, RIGHT_UP])
    left = -np.inf
    right = np.inf
    begin = np.inf
    seen = -np.inf
    for step in range(arms[stem, AFTER] - arms[stem, FIRST]):  # from the junction
        k = arms[stem, AFTER] - 1 - step if out == 0 else arms[stem, FIRST] + step
        if slabs[k, HIGH] - slabs[k, LOW] <= SLIVER:
            continue
        near = (at - slabs[k, LOW]) * sign
        far = (at - slabs[k, HIGH]) * sign
        near, far = min(near, far), max(near, far)
        begin = min(begin, near)
        for end in range(2):  # its lines next to the junction
            v = at - sign * (near if end == 0 else min(far, begin + 2.0 * slack))
            part = (v - slabs[k, LOW]) / (slabs[k, HIGH] - slabs[k, LOW])
            left = max(left, slabs[k, LEFT] + part * (slabs[k, LEFT_UP] - slabs[k, LEFT]))
            right = min(right, slabs[k, RIGHT] + part * (slabs[k, RIGHT_UP] - slabs[k, RIGHT]))
        seen = max(seen, far)
        if seen >= begin + 2.0 * slack:
            break
    if begin > THIN or seen < begin + 2.0 * slack - SAME:
        return 0.0, 0.0
    reach = max(right - high, low - left) - 2.0 * (sizes.usable + slack) * tan
    sure = reach - sizes.steepest * (sizes.usable + slack)
    if sure >= CLOSE:
        return sure, np.inf
    if sizes.steepest > 0.0 and reach > 0.0:  # ends may slant back to the branch
        return 0.5 * reach, max(0.0, 0.5 * reach / sizes.steepest - slack)
    return 0.0, 0.0


@inlined
def _holds(slabs: Floats, k: int, clip: float, gap: float, off: float) -> bool:
    """Whether the slab has lines of a chord of ``clip`` or more, none of them, though turned, near
    other turf."""
    longest = max(slabs[k, RIGHT] - slabs[k, LEFT], slabs[k, RIGHT_UP] - slabs[k, LEFT_UP])
    far: bool = longest >= clip and slabs[k, GAP] - slabs[k, CLOSING] * off >= gap
    return far


@inner
def _waste(
    slabs: Floats,
    arms: Ints,
    arm: int,
    clip: float,
    most: float,
    told: Floats,
    sizes: StripSizes,
    tan: float,
    off: float,
    far: float,
    slack: float,
    work: Floats,
) -> float:
    """What an arm takes beyond its lengthened area at least, of lines where its chord is ``clip``
    or more and no other turf is near. ``most``: room, at most; ``off``, ``far``: lines off each
    stretch, and next to what is not told of; ``slack``: by which places are uncertain."""
    first = arms[arm, FIRST]
    after = arms[arm, AFTER]
    gap = APART * sizes.ends
    away = off + 2.0 * far
    held = int64(0)
    chord = np.inf
    start = 0.0
    end = 0.0
    room = np.inf
    cos = 1.0 / np.sqrt(1.0 + tan * tan)
    slope, left_slope, right_slope = 0.0, 0.0, 0.0  # of the last stretch
    lost, idle, whole = (
        0.0,
        0.0,
        0.0,
    )  # lines left out since it, too few for a stretch, and left out before (below 0)
    west, east = -np.inf, np.inf  # what all chords since it have in common
    bar = slabs[first, LOW] + far  # lines below it are not told of
    for k in range(first, after):
        low = slabs[k, LOW]
        high = slabs[k, HIGH]
        at_low = chord_m(slabs, k, 0)
        at_high = chord_m(slabs, k, 1)
        if not _holds(slabs, k, clip, gap, away):
            lost = lost + high - low + off
            bar = high + far
            continue
        room = min(room, slabs[k, GAP] - slabs[k, CLOSING] * away)
        before = (high - low) * (clip - at_low) / (at_high - at_low) if at_low < clip else 0.0
        behind = (high - low) * (clip - at_high) / (at_low - at_high) if at_high < clip else 0.0
        lost += before + off if before > 0.0 else 0.0
        low = max(low + before, bar)
        high = min(high - behind, _upto(slabs, k, after, clip, gap, away, far))
        if high - low <= max(off, SLIVER):
            west = max(west, slabs[k, LEFT], slabs[k, LEFT_UP])
            east = min(east, slabs[k, RIGHT], slabs[k, RIGHT_UP])
            lost += behind + off if behind > 0.0 else 0.0
            idle += slabs[k, HIGH] - slabs[k, LOW]
            continue
        if held == 0:
            start = low
        else:
            lost += low - slabs[k, LOW] - before
            whole -= lost + idle if lost > 0.0 else 0.0
            if lost == 0.0:
                slope += abs(slabs[k, LEFT_SLOPE]) + abs(slabs[k, RIGHT_SLOPE])
                chord = min(
                    chord,
                    max(0.0, min(east, slabs[k, RIGHT]) - max(west, slabs[k, LEFT]) - slope * off),
                )
        slope = abs(slabs[k, LEFT_SLOPE]) + abs(slabs[k, RIGHT_SLOPE])
        end = high
        chord = min(chord, max(0.0, max(clip, min(at_low, at_high)) - slope * off))
        west = slabs[k, LEFT_UP]
        east = slabs[k, RIGHT_UP]
        idle = 0.0
        lost = slabs[k, HIGH] - high + off if high < slabs[k, HIGH] else 0.0
        if (
            held == 0
            or abs(slabs[k, LEFT_SLOPE] - left_slope) + abs(slabs[k, RIGHT_SLOPE] - right_slope)
            >= SAME
        ):
            left_slope = slabs[k, LEFT_SLOPE]
            right_slope = slabs[k, RIGHT_SLOPE]
            work[_HEIGHT, held] = 0.0
            work[_SLOPE, held] = _less(left_slope, tan, sizes.steepest) + _less(
                right_slope, tan, sizes.steepest
            )
            held += 1
        work[_HEIGHT, held - 1] += (
            high - low - off
        ) * cos  # the last stretch may go on, but for its gap
    if held == 0:
        return 0.0
    room = min(most, 0.5 * (room - sizes.ends))
    return _shared(
        slabs, arms, arm, held, chord, start, end, whole, room, told, sizes, off, slack, cos, work
    )


@inner
def _upto(
    slabs: Floats, k: int, after: int, clip: float, gap: float, away: float, far: float
) -> float:
    """The v up to which lines of a slab are told of: ``far`` from the next slab that does not hold,
    and from the arm's end."""
    high: float = slabs[k, HIGH]
    for j in range(k + 1, after):
        if slabs[j, LOW] >= high + far:
            return high
        if not _holds(slabs, j, clip, gap, away):
            upto: float = min(high, slabs[j, LOW] - far)
            return upto
    end: float = min(high, slabs[after - 1, HIGH] - far)
    return end


@inner
def _shared(
    slabs: Floats,
    arms: Ints,
    arm: int,
    held: int,
    chord: float,
    start: float,
    end: float,
    whole: float,
    room: float,
    told: Floats,
    sizes: StripSizes,
    off: float,
    slack: float,
    cos: float,
    work: Floats,
) -> float:
    """The same, of stretches that are known: they lie from ``start`` to ``end``, less (below 0)
    ``whole`` between them."""
    thin_low = start - slabs[arms[arm, FIRST], LOW]
    thin_high = slabs[arms[arm, AFTER] - 1, HIGH] - end
    lines_low = told[0, _LINES] if thin_low <= THIN else 0.0
    lines_high = told[1, _LINES] if thin_high <= THIN else 0.0
    most = (end - start) * cos + 2.0 * slack
    share = 1.0
    for e in range(2):
        thin, lines = (thin_low, lines_low) if e == 0 else (thin_high, lines_high)
        if lines != 0.0:
            most += thin
        if arms[arm, ENDS + e] > 0 and told[e, _LINES] > 0.0:
            share = share - SHARE
            room = min(room, told[e, _REACH])
    lines_low -= min(thin_low, lines_low) if lines_low > 0.0 else 0.0
    lines_high -= min(thin_high, lines_high) if lines_high > 0.0 else 0.0
    whole = max(0.0, whole + end - start - off) * cos
    return _least(
        held,
        chord,
        whole,
        most,
        share * room,
        lines_low,
        lines_high,
        told,
        off + slack,
        sizes,
        work,
    )


@inner
def _less(slope: float, tan: float, steepest: float) -> float:
    """|du/dv| of an edge turned by up to the angle of that ``tan``, at least, beyond the
    ``steepest`` slant."""
    return max(0.0, (abs(slope) - tan) / (1.0 + abs(slope) * tan) - steepest)


@inner
def _served(slope: float, height: float, strips: float, room: float) -> float:
    """Least of slope (height - O)^2 / (2 strips) + room O."""
    if slope * height <= room * strips:
        return 0.5 * slope * height * height / strips
    return room * (height - 0.5 * room * strips / slope)


@inner
def _gain(work: Floats, k: int, room: float) -> float:
    """What a stretch loses less with one more strip."""
    slope = work[_SLOPE, k]
    height = work[_HEIGHT, k]
    strips = work[_STRIPS, k]
    return max(
        0.0, _served(slope, height, strips, room) - _served(slope, height, strips + 1.0, room)
    )


@inlined
def _priced(lines: float, room: float) -> float:
    """What joint lines cost."""
    if lines > 0.0:
        return lines * room
    return 0.0


@inner
def _least(
    count: int,
    chord: float,
    whole: float,
    most: float,
    room: float,
    lines_low: float,
    lines_high: float,
    told: Floats,
    unsure: float,
    sizes: StripSizes,
    work: Floats,
) -> float:
    """No more than any layout takes beyond the lengthened area of an arm's ``count`` stretches,
    which are columns of ``work`` (one array, since each handed on would be counted anew), each
    ``chord`` long or more, with that ``room``. ``whole``: lines that strips share out, at least;
    ``most``: lines of the arm, at most; ``lines_low``, ``lines_high``, ``told``: of its ends;
    ``unsure``: lines of branches that are not certain."""
    usable = sizes.usable
    full = sizes.full
    narrow = sizes.side * max(0.0, chord + sizes.ends - sizes.steepest * sizes.side)
    if full <= sizes.side:
        return 0.0
    lost = 0.0
    least = _priced(whole, room)
    filled = int(most / full + 1e-9)
    spared = 0.0
    for k in range(count):
        work[_STRIPS, k] = 1.0
        lost += _served(work[_SLOPE, k], work[_HEIGHT, k], 1.0, room)
        work[_GAIN, k] = _gain(work, k, room)
    missing = max(0.0, (filled + 1) * full - most - unsure)
    for e in range(2):
        if (lines_low if e == 0 else lines_high) < 0.0:
            cost = told[e, _COST] * min(missing, told[e, _RUN])
            cost += told[e, _COST + _OTHER] * min(missing, told[e, _RUN + _OTHER])
            spared = max(spared, narrow - SHARE * cost)
    for strips in range(1, filled + 2 + MOST):
        flat, free, stems = True, 0, 0  # flat: joint lines save less than half of what they cost
        for k in range(count):
            if work[_SLOPE, k] * work[_HEIGHT, k] > 0.5 * room * work[_STRIPS, k]:
                flat = False
        for e in range(2):
            lines = lines_low if e == 0 else lines_high
            if lines < 0.0:
                stems += 1
            elif lines < np.inf and not (flat and 0.5 * room * lines >= narrow):
                free += 1
        over = max(0, strips - filled - free)
        more = narrow * over - spared * min(stems, over)
        if more >= least:
            break
        least = min(least, max(lost, _priced(whole - strips * usable, room)) + more)
        at = 0  # one more strip where it helps most
        for k in range(1, count):
            if work[_GAIN, k] > work[_GAIN, at]:
                at = k
        lost -= work[_GAIN, at]
        work[_STRIPS, at] += 1.0
        work[_GAIN, at] = _gain(work, at, room)
    sure: float = max(0.0, min(least, narrow * MOST))
    return sure  # what more strips than those took at least
