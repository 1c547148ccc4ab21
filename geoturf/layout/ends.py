"""What pieces reach past the ends of chords, whatever the layout: compiled, for
`geoturf.layout.covers`, whose words these are.

On a line along the pile let n pieces meet a chord, the first and the last of them reaching x and y
past its ends. Then the chord takes x + y + 2e (n - 1) of E; where a piece goes on over a gap g to
other turf, (g - 2e) / 2 stands for what it reaches past that end, for the chords on either side.

An arm (`geoturf.layout.chords`) is lines across, and on each of them one chord. A *run* is a range
of lines of an arm. V is the most by which an end of its chords moves within w, c > 2 V its least
chord; other turf on its lines is 10e + V or more away, or the area is one arm and the run all of it
(lines of chords shorter than c are then left out).

1. A piece that does not *pass* either end of the run, and meets other turf, reaches 10e past the
   run's chords on all of its lines there, or goes on over 10e. Such a line takes 4e, 2e for each
   end of its chord. All other pieces that don't pass lie in this run alone.
2. Let l be the most that a piece has of a chord, and its weight min(1, max(0, l - V) / (c - 2 V)).
   One piece alone on a chord has weight 1, two have 1 together, and a line takes

       x + 2e (1 - the first one's weight) + y + 2e (1 - the last one's weight).

3. A piece that has a weight meets the chord on all of its lines in the run, since it has more than
   V of one within w of these.
4. Between *stretches*, in each of which the chord runs from one straight border to another, there
   are dividing lines. Of the pieces that lie on both sides of one, or pass the upper end, call the
   one that begins lowest the first there, and of those that pass the lower end alone the one that
   reaches highest. Give these weight 1 in each stretch, and others that cross a stretch's upper
   line or start below the run with the last none; in the stretch where they end pieces keep their
   own. Where a piece has lost its weight one that kept 1 is beside it on the line (by 3, and of two
   without a third is there): 2 still holds. So with weights so given, M_k together in stretch k,

       sum M_k <= stretches - 1 + ends that are passed + the weights of pieces that don't pass.

5. On m lines of a border of slope s (du/dv) a piece of weight z reaches s m^2 / 2 past it at least.
   With 2e (1 - z) m that is z h(m / z) or more, h(y) the integral of min(s t, 2e) from 0 to y. As h
   is convex, H lines of a stretch take M h(H / M) at either end.
6. Of pieces that don't pass F are w - a wide or wider, F (w - a) <= the run's lines, or else E is
   2e times what is missing. All others are narrow: a (l + 2e) of N, a (c - 2 V + 2e) times their
   weight.

So E_r and what 3 of `covers` adds are no less than, for any price p up to a (c - 2 V + 2e) / (1-q),

    (1 - q) (sum over stretches and both ends of H_k min(s y_k, 2e) - p (F + free pieces + ...))

where y_k, lines a piece of weight 1 serves, is where one more would spare p: the least of a
convex sum by its dual.

Turned by up to d, those lines count that stay within a stretch over all the arm's reach along u,
and away from lines near other turf and the run's ends; slopes are less by d, V more.
"""

from __future__ import annotations

import numpy as np

from geoturf.compiled import Flags, Floats, Ints, inlined, inner, int64, jit
from geoturf.layout.chords import (
    AFTER,
    CLOSING,
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
    chord_m,
)
from geoturf.layout.sizes import RectangleSizes

NEAR = 5.0  # of both end allowances: other turf is nearer than this, or not
CLIPS = 6  # least chords tried: none, a sixth, … of the greatest
WIDER = 12  # more pieces as wide as the roll than fit beside each other, at most
THIRDS = 6  # steps in search of the price that tells most
HAIR = 1.5e-4  # m: by which lines are uncertain: repeats of a shape differ by as much
SWAY = 2.0  # m: ends of chords that move further within a roll's width tell nothing beside turf
# rows of what a run is told by: of stretches, height and slopes; of slabs, from and to which v
_HEIGHT, _LEFT, _RIGHT, _FROM, _TO = range(5)
# what does not change within an arm: reach along u, how steep the turn, lines off a stretch and at
# ends of a run, height within which pieces lie, whether the arm is all of the area
_REACH, _TAN, _OFF, _FAR, _WINDOW, _TALL, _ALONE = range(7)


@jit
def least(
    slabs: Floats,
    arms: Ints,
    of: Ints,
    views: Floats,
    lines: Floats,
    at: Ints,
    sizes: RectangleSizes,
    turns: Floats,
    wanted: Flags,
    share: float,
) -> Floats:
    """What ends waste (m2) at several bearings (`geoturf.layout.kernel.views`) whose arms are known
    (`geoturf.layout.chords.arms_of`), of those ``wanted``, turned by up to ``turns`` (radians).
    ``sizes`` as from `geoturf.layout.covers.sizes_of`, ``share``: its q."""
    out = np.empty(len(turns))
    work = np.empty((5, len(slabs)))
    told = np.empty(7)
    for b in range(len(turns)):
        out[b] = 0.0
        if not wanted[b]:
            continue
        low = np.inf
        high = -np.inf
        tan = np.tan(turns[b])
        for e in range(at[b, 0], at[b + 1, 0]):
            low = min(low, views[e, 0], views[e, 2])
            high = max(high, views[e, 0], views[e, 2])
        told[_TAN] = tan
        told[_TALL] = lines[at[b + 1, 1] - 1] - lines[at[b, 1]] + (high - low) * tan
        for arm in range(of[b], of[b + 1]):
            first = arms[arm, FIRST]
            after = arms[arm, AFTER]
            told[_ALONE] = 1.0 if of[b + 1] - of[b] == 1 else 0.0
            out[b] += _of_arm(slabs, first, after, sizes, share, work, told)
    return out


@inner
def _of_arm(
    slabs: Floats,
    first: int,
    after: int,
    sizes: RectangleSizes,
    share: float,
    work: Floats,
    told: Floats,
) -> float:
    """What the ends of one arm's chords waste."""
    left = np.inf
    right = -np.inf
    chord = np.inf
    best = 0.0
    for k in range(first, after):
        left = min(left, slabs[k, LEFT], slabs[k, LEFT_UP])
        right = max(right, slabs[k, RIGHT], slabs[k, RIGHT_UP])
        chord = min(chord, chord_m(slabs, k, 0), chord_m(slabs, k, 1))
        if slabs[k, GAP] < np.inf:
            told[_ALONE] = 0.0
    tan = told[_TAN]
    alone = told[_ALONE] > 0.0
    told[_REACH] = right - left
    told[_OFF] = (right - left) * tan
    told[_FAR] = 0.0 if alone else (NEAR * sizes.ends + SWAY) * tan
    told[_WINDOW] = (sizes.usable + told[_OFF]) * np.sqrt(1.0 + tan * tan)
    for clip in range(CLIPS):
        shortest = clip * (right - left) / CLIPS
        if clip == 0 or shortest > chord:  # else nothing is clipped
            if alone:
                found = _of_run(slabs, first, after, shortest, sizes, share, work, told)
            else:
                found = _of_runs(slabs, first, after, shortest, sizes, share, work, told)
            best = max(best, found)
    return best


@inner
def _of_runs(
    slabs: Floats,
    first: int,
    after: int,
    clip: float,
    sizes: RectangleSizes,
    share: float,
    work: Floats,
    told: Floats,
) -> float:
    """The sum over an arm's runs: of slabs that go on with chords of ``clip`` or more, away from
    other turf."""
    total = 0.0
    begin = first
    for k in range(first, after):
        low = chord_m(slabs, k, 0)
        high = chord_m(slabs, k, 1)
        ends_before = low < clip or not _far_from_others(slabs, k, sizes, told)
        if ends_before:
            if k > begin:
                total += _of_run(slabs, begin, k, clip, sizes, share, work, told)
            begin = k if high >= clip and _far_from_others(slabs, k, sizes, told) else k + 1
        if begin <= k and high < clip:
            total += _of_run(slabs, begin, k + 1, clip, sizes, share, work, told)
            begin = k + 1
    if after > begin:
        total += _of_run(slabs, begin, after, clip, sizes, share, work, told)
    return total


@inlined
def _far_from_others(slabs: Floats, k: int, sizes: RectangleSizes, told: Floats) -> bool:
    """Whether other turf on the slab's lines, though turned, is further away than is near."""
    away: bool = _room(slabs, k, told) >= NEAR * sizes.ends
    return away


@inlined
def _room(slabs: Floats, k: int, told: Floats) -> float:
    """The least gap to other turf on a slab's lines, though turned."""
    room: float = slabs[k, GAP] - slabs[k, CLOSING] * (told[_OFF] + 2.0 * told[_FAR])
    return room


@inner
def _of_run(
    slabs: Floats,
    first: int,
    after: int,
    clip: float,
    sizes: RectangleSizes,
    share: float,
    work: Floats,
    told: Floats,
) -> float:
    """What the ends of a run's chords waste, of lines where these are ``clip`` or more."""
    tan = told[_TAN]
    off = told[_OFF]
    alone = told[_ALONE] > 0.0
    cos = 1.0 / np.sqrt(1.0 + tan * tan)
    start = _from(slabs, first, clip) + told[_FAR]
    end = _to(slabs, after - 1, clip) - told[_FAR]
    held = int64(0)
    chord = np.inf
    room = np.inf
    last = -1
    for k in range(first, after):
        low = max(start, _from(slabs, k, clip))
        high = min(end, _to(slabs, k, clip))
        work[_FROM, k] = low
        work[_TO, k] = high
        room = min(room, _room(slabs, k, told))
        if high - low <= off + SAME:
            continue
        slope = abs(slabs[k, LEFT_SLOPE]) + abs(slabs[k, RIGHT_SLOPE])
        shortest = max(clip, min(chord_m(slabs, k, 0), chord_m(slabs, k, 1)))
        chord = min(chord, max(0.0, shortest - slope * off))
        if last < 0 or _bends(slabs, last, k):
            work[_HEIGHT, held] = 0.0
            work[_LEFT, held] = _less(slabs[k, LEFT_SLOPE], tan)
            work[_RIGHT, held] = _less(slabs[k, RIGHT_SLOPE], tan)
            held = held + 1
            last = k
        work[_HEIGHT, held - 1] += (high - low - off) * cos
    if held == 0:
        return 0.0
    sway = _sways(slabs, first, after, told[_WINDOW], work) + told[_WINDOW] * tan
    if chord <= 2.0 * sway or not (
        alone or (sway <= SWAY and room >= NEAR * sizes.ends + 2.0 * sway)
    ):
        return 0.0
    long = chord - 2.0 * sway + sizes.ends
    lines = told[_TALL] if alone else end - start + off
    free = 0.0 if alone else 2.0
    if sizes.one_width > 0.0:  # a narrow piece on each line across is paid for there
        free += (told[_REACH] + (end - start) * tan + sizes.ends) / long
    return _least(held, lines, free, sizes.side * long, sizes, share, work)


@inlined
def _from(slabs: Floats, k: int, clip: float) -> float:
    """The v from which on a slab's chords are ``clip`` or more; its upper end if they are not."""
    low = chord_m(slabs, k, 0)
    high = chord_m(slabs, k, 1)
    if low >= clip:
        begin: float = slabs[k, LOW]
    elif high <= clip:
        begin = slabs[k, HIGH]
    else:
        begin = slabs[k, LOW] + (slabs[k, HIGH] - slabs[k, LOW]) * (clip - low) / (high - low)
    return begin


@inlined
def _to(slabs: Floats, k: int, clip: float) -> float:
    """The v up to which they are; its lower end if they are not."""
    low = chord_m(slabs, k, 0)
    high = chord_m(slabs, k, 1)
    if high >= clip:
        upto: float = slabs[k, HIGH]
    elif low <= clip:
        upto = slabs[k, LOW]
    else:
        upto = slabs[k, HIGH] - (slabs[k, HIGH] - slabs[k, LOW]) * (clip - high) / (low - high)
    return upto


@inlined
def _bends(slabs: Floats, last: int, k: int) -> bool:
    """Whether the borders of two slabs differ in slope."""
    left = abs(slabs[last, LEFT_SLOPE] - slabs[k, LEFT_SLOPE])
    bends: bool = left + abs(slabs[last, RIGHT_SLOPE] - slabs[k, RIGHT_SLOPE]) >= SAME
    return bends


@inlined
def _less(slope: float, tan: float) -> float:
    """|du/dv| of an edge turned by up to the angle of that ``tan``, at least."""
    return max(0.0, abs(slope) - tan) / (1.0 + abs(slope) * tan)


@inner
def _sways(slabs: Floats, first: int, after: int, window: float, work: Floats) -> float:
    """The most by which an end of chords moves between lines no further apart than ``window``."""
    sway = 0.0
    for j in range(first, after):
        if work[_FROM, j] >= work[_TO, j]:
            continue
        slope = max(abs(slabs[j, LEFT_SLOPE]), abs(slabs[j, RIGHT_SLOPE]))
        sway = max(sway, slope * min(window, work[_TO, j] - work[_FROM, j]))
        for k in range(j + 1, after):
            if work[_FROM, k] >= work[_TO, k]:
                continue
            if work[_FROM, k] - work[_TO, j] >= window:
                break
            begin = max(work[_FROM, j], work[_FROM, k] - window)
            end = work[_TO, j]
            start = work[_FROM, k]
            stop = min(work[_TO, k], work[_TO, j] + window)
            for side in range(LEFT, RIGHT + 1):
                a = _u(slabs, j, begin, side)
                b = _u(slabs, j, end, side)
                c = _u(slabs, k, start, side)
                d = _u(slabs, k, stop, side)
                sway = max(sway, max(a, b) - min(c, d), max(c, d) - min(a, b))
    return sway


@inlined
def _u(slabs: Floats, k: int, v: float, side: int) -> float:
    """u of a slab's border (``side`` LEFT or RIGHT) at ``v``."""
    part = (v - slabs[k, LOW]) / (slabs[k, HIGH] - slabs[k, LOW])
    u: float = slabs[k, side] + part * (slabs[k, side + 2] - slabs[k, side])
    return u


@inner
def _least(
    held: int,
    lines: float,
    free: float,
    narrow: float,
    sizes: RectangleSizes,
    share: float,
    work: Floats,
) -> float:
    """The least that a run of ``held`` stretches wastes, whatever number of its pieces are as wide
    as the roll. ``lines``: height in which these lie; ``free``: other pieces that cost nothing;
    ``narrow``: what one of weight 1 costs that is narrow."""
    wide = sizes.full
    both = sizes.ends
    least = np.inf
    if wide <= sizes.side:
        return 0.0
    lines += HAIR
    fit = int(lines / wide)
    for more in range(WIDER + 1):
        twice = both * max(0.0, (fit + more) * wide - lines)  # on so many lines two lie abreast
        if (1.0 - share) * twice >= least:
            break
        if more < WIDER:
            pieces = fit + more + held - 1 + free
            twice = max(twice, _wasted(held, pieces, narrow / (1.0 - share), both, work))
        least = min(least, (1.0 - share) * twice)
    return max(0.0, least)


@inner
def _wasted(held: int, pieces: float, narrow: float, both: float, work: Floats) -> float:
    """The most that a price up to ``narrow`` tells of what so many pieces waste, and more at that
    cost. The best price is between those at which pieces share all lines equally."""
    height = 0.0
    low = narrow
    high = 0.0
    for k in range(held):
        height += work[_HEIGHT, k]
    lines = height / pieces if pieces > 0.0 else np.inf  # where all are narrow there are none
    for k in range(held):
        spared = 0.0
        for side in range(_LEFT, _RIGHT + 1):
            slope = work[side, k]
            if slope > 0.0:
                spared += 0.5 * min(slope * lines**2, both * both / slope)
        low = min(low, spared)
        high = max(high, min(spared, narrow))
    best = _at_price(held, pieces, high, both, work)
    for _ in range(THIRDS if high > low else 0):
        third = (high - low) / 3.0
        lower = _at_price(held, pieces, low + third, both, work)
        upper = _at_price(held, pieces, high - third, both, work)
        best = max(best, lower, upper)
        if lower < upper:
            low += third
        else:
            high -= third
    return best


@inner
def _at_price(held: int, pieces: float, price: float, both: float, work: Floats) -> float:
    """What is wasted, and paid for pieces at ``price``, at the least, less what ``pieces`` cost."""
    total = -price * pieces
    for k in range(held):
        s = max(work[_LEFT, k], work[_RIGHT, k])
        t = min(work[_LEFT, k], work[_RIGHT, k])
        if s <= 0.0:
            continue
        lines = np.sqrt(2.0 * price / (s + t))  # of a piece: one more would spare as much
        if s * lines > both:  # past that a second piece serves the steeper end
            rest = 2.0 * price - both * both / s
            lines = np.sqrt(rest / t) if 0.0 <= rest * t < both * both and t > 0.0 else np.inf
        total += work[_HEIGHT, k] * min(s * lines, both)
        total += work[_HEIGHT, k] * min(t * lines, both) if t > 0.0 else 0.0
    return total
