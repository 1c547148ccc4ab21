"""What any cover of an area by rectangles takes beyond the lengthened area: the second part of
`geoturf.layout.bound`.

Let the pile run along u. Pieces are rectangles, w_i <= w wide, that cover the area T: in strips or
in blocks, with joints of any kind. They don't overlap on turf. A piece L_i long is cut L_i + 2e
long and w_i + a_i wide at least, a_i = min(a, w - w_i), a the side allowance. Beyond turf it ends
across: cut off there it is cut no wider. Let S be a segment of length 2e along u. Pieces + S cover
T + S, and the turf they take is

    sum (L_i + 2e) (w_i + a_i) = |T + S| + E + N,    N = sum (L_i + 2e) a_i,

E the area that pieces + S cover beyond T + S, or more than once. Let 0 < q <= 1.

1. `geoturf.layout.widths`: N + q E >= A(q), by what lines across take. On each of these, for each
   stretch of T + S it counts, no more than one a of narrow pieces is charged (whole cut steps come
   on top, of which as much is left to any number of narrow pieces).
2. `geoturf.layout.ends`: lines along the pile fall into runs, E >= the sum of E_r over them. How
   small E_r may be hangs on the narrow pieces that lie in the run alone, and so on what they add to
   N, on each line across.
3. On a line across let k narrow pieces lie in some run alone. Then N + q E there is a (k - 1) more
   than 1 counts, where k > 0. So runs may have one narrow piece free on each line across that
   meets them (U long with both ends), and E + N >= A(q) + the sum over runs of the least of

       (1 - q) E_r + max(0, the narrow pieces' share of N - a U).

4. Or E + N >= A(1).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geoturf.compiled import Flags, Floats
from geoturf.layout import ends, widths
from geoturf.layout.chords import arms_of
from geoturf.layout.halving import Views
from geoturf.layout.kernel import views
from geoturf.layout.roll import Roll
from geoturf.layout.shape import SNAP_M
from geoturf.layout.sizes import RectangleSizes

SHARE = 0.125  # q, where slanted ends are told of: lots, yards and blobs lose least by it


def sizes_of(rolls: Sequence[Roll]) -> RectangleSizes:
    """What is told of the ``rolls`` that are stocked."""
    usable = [float(roll.usable_m) for roll in rolls]
    first = rolls[0]
    side = float(first.side_m)
    ends_m = float(first.ends_m)
    whole = np.array([usable[0], side]) / first.step_m
    step = 0.0
    if np.all(np.abs(whole - np.rint(whole)) < widths.HAIR):
        step = first.step_m
    return RectangleSizes(
        usable=max(usable),
        full=min(usable) - side,
        side=side,
        ends=ends_m,
        one_width=float(min(usable) == max(usable)),
        step=float(step),
    )


def wasted(
    view: Views, swapped: np.ndarray, sizes: RectangleSizes, turn: Floats, wanted: Flags
) -> Floats:
    """Least area (m2 of pieces) that any cover takes beyond the lengthened shape, at bearings
    turned by up to ``turn`` (radians), of those ``wanted``; 0 for the others. ``swapped``: edges
    y0, x0, y1, x1; ``sizes`` as from `sizes_of`."""
    angle = np.radians(view.bearings)
    plain = (view.edges, view.vs, view.at)
    across = views(swapped, -np.sin(angle), np.cos(angle), SNAP_M, sizes.ends)[:3]
    beside = arms_of(*across, widths.room(sizes, SHARE), wanted)
    told = widths.least(*beside, sizes, turn, wanted, SHARE)
    arms = arms_of(*plain, ends.NEAR * sizes.ends, wanted)
    told += ends.least(*arms, *plain, sizes, turn, wanted, SHARE)
    return np.maximum(told, widths.least(*beside, sizes, turn, wanted, 1.0))
