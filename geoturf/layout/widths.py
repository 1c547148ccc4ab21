"""What pieces take across the pile beyond what they cover, whatever the layout: compiled, for
`geoturf.layout.covers`, whose words these are.

On a line across (u fixed) let a stretch of T + S be h wide, and the pieces + S that meet it come to
h + x. If k of them are narrower than w - a, they are cut h + x + k a wide together, or more; if
none is, each is cut as wide as the roll is usable. Widths are cut to whole steps, of which w and a
are whole numbers. So their a_i come to

    h + x + k a, rounded up, less h + x    or    w ceil((h + x) / w) - h - x.

With q x for the E in it that is (x is best chosen to fill the step, or the roll)

    min(k a + q rest(h + a), q (w ceil(h / w) - h))

at least, rest(y) being what y leaves to a whole step: k = 1 is the least, each more adds a. Where
a piece meets two stretches it covers the gap between them; a gap of 2 (a / q + step) pays for both.
Where that is nearer, or several roll widths are stocked, nothing is told.

A slab is a stretch between two straight borders across (`geoturf.layout.chords`, u and v changing
places). T + S is as wide as T there and e times the borders' slopes wider, at e and more from its
ends. Turned by up to d, lines across that stay within the slab cross the same borders: they are
h / (1 + t tan d) to h / (cos d (1 - t tan d)) long, t the steeper slope; what is uncertain is
taken for what costs least.
"""

from __future__ import annotations

import numpy as np

from geoturf.compiled import Flags, Floats, Ints, inlined, inner, jit
from geoturf.layout.chords import (
    AFTER,
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
)
from geoturf.layout.sizes import RectangleSizes

STEEP = 0.25  # slope times tangent of the turn: beyond it nothing is told
HAIR = 1.5e-4  # m: by which widths are uncertain: repeats of a shape differ by as much


def room(sizes: RectangleSizes, share: float) -> float:
    """Gap (m) that is wide enough beside a stretch of level borders."""
    return float(2.0 * (sizes.side / share + sizes.step))


@jit
def least(
    slabs: Floats,
    arms: Ints,
    of: Ints,
    sizes: RectangleSizes,
    turns: Floats,
    wanted: Flags,
    share: float,
) -> Floats:
    """A(q) of ``share`` q (m2) at several bearings, of those ``wanted``: of slabs across as
    `geoturf.layout.chords.arms_of` gives them, turned by up to ``turns`` (radians). ``sizes`` as
    from `geoturf.layout.covers.sizes_of`."""
    out = np.empty(len(turns))
    for b in range(len(turns)):
        out[b] = 0.0
        if wanted[b] and sizes.one_width > 0.0:
            tan = np.tan(turns[b])
            for arm in range(of[b], of[b + 1]):
                for k in range(arms[arm, FIRST], arms[arm, AFTER]):
                    out[b] += _of_slab(slabs, k, sizes, tan, share)
    return out


@inner
def _of_slab(slabs: Floats, k: int, sizes: RectangleSizes, tan: float, share: float) -> float:
    """What is told of one slab (m2)."""
    left = abs(slabs[k, LEFT_SLOPE])
    right = abs(slabs[k, RIGHT_SLOPE])
    e = 0.5 * sizes.ends
    steep = max(left, right)
    need = 2.0 * (sizes.side / share + sizes.step) + 4.0 * e * (steep + tan)
    if slabs[k, GAP] < need or steep * tan > STEEP:
        return 0.0
    low = slabs[k, RIGHT] - slabs[k, LEFT]
    high = slabs[k, RIGHT_UP] - slabs[k, LEFT_UP]
    widest = max(low, high)
    long = slabs[k, HIGH] - slabs[k, LOW]
    off = e + (widest + need) * tan
    run = long - 2.0 * off
    lean = (high - low) / long
    if run <= 0.0:
        return 0.0
    shorter = 1.0 / (1.0 + steep * tan)
    longer = np.sqrt(1.0 + tan * tan) / (1.0 - steep * tan)
    less = e * (_less(left, tan) + _less(right, tan))
    more = e * ((left + tan) / (1.0 - left * tan) + (right + tan) / (1.0 - right * tan))
    unsure = (longer - shorter) * widest + more - less
    first = (low + lean * off) * shorter + less
    last = (high - lean * off) * shorter + less
    apart = (1.0 - 0.5 * abs(slabs[k, LEFT_SLOPE] + slabs[k, RIGHT_SLOPE]) * tan) / np.sqrt(
        1.0 + tan * tan
    )
    told: float = run * apart * _mean(first, last, unsure, sizes, share)
    return told


@inlined
def _less(slope: float, tan: float) -> float:
    """What a slope is at least, turned by up to the angle of that ``tan``."""
    return max(0.0, slope - tan) / (1.0 + slope * tan)


@inner
def _mean(first: float, last: float, unsure: float, sizes: RectangleSizes, share: float) -> float:
    """What a line across takes at least (m), mean over widths from ``first`` to ``last``, each up
    to ``unsure`` wider."""
    usable = sizes.usable
    side = sizes.side
    step = sizes.step
    total = 0.0
    low = min(first, last) - HAIR
    high = max(first, last)
    unsure = unsure + 2.0 * HAIR
    for k in range(int(low / usable), int(high / usable) + 1):
        begin = max(low, k * usable)
        end = min(high, (k + 1) * usable)
        full = (k + 1) * usable - unsure  # from here on whole strips may do
        near = max(begin, min(end, full - side / share))  # and from here on cost less than an a
        none = max(near, min(end, full))
        total += side * (near - begin)
        total += 0.5 * share * ((full - near) ** 2 - (full - none) ** 2)
        if step > 0.0:
            near = max(begin, min(end, full - side / share - step))
            total += share * (
                _rests(near + side, unsure, step) - _rests(begin + side, unsure, step)
            )
    return total / (high - low)


@inlined
def _rests(width: float, unsure: float, step: float) -> float:
    """Integral, over widths from 0, of what they leave to a whole step, less ``unsure``."""
    most = max(0.0, step - unsure)
    whole = np.floor(width / step)
    past = min(width - whole * step, most)
    rests: float = whole * 0.5 * most * most + past * (most - 0.5 * past)
    return rests
