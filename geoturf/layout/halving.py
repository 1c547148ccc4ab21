"""Branch and bound over the bearings of the pile: the compiled part of `geoturf.layout.bound`."""

from __future__ import annotations

import numpy as np

from geoturf.compiled import jit
from geoturf.layout.corners import APART, arms_of, loss_of
from geoturf.layout.kernel import rows, turn

SPANS = 12  # of the half turn, to start with
CLOSE = 5e-4  # of the area: how near to the least the bound is brought
COARSE_DEG, FINE_DEG = 5.0, 0.5  # half a span from which on corners are looked at, and the least is looked for
_KNOWN, _AT, _HALF = range(3)  # of a span: what pieces take at least, its middle and half its width (degrees)


@jit
def least_taken(edges, parts, border, area, ends, sizes, give, snap, begin, tries):
    """No more than the least over all bearings of what pieces take (m2).

    ``edges`` x0, y0, x1, y1 of a shape of ``parts`` parts and ``area`` (m2); ``border``: no less than the border's length once it
    is lengthened; ``ends``: both end allowances; ``sizes`` as for `corners.loss`, empty where nothing is lost at corners;
    ``give``: what part of the loss rounding may take; ``snap`` as for `kernel.turn`; ``begin``: bearing at which the first span
    begins; ``tries``: bearings at most."""
    spans, count, least = np.empty((tries + SPANS, 3)), SPANS, np.inf
    what, half = (edges, parts, border, ends, sizes, give, snap), 90.0 / SPANS
    for k in range(SPANS):
        least = _promise(spans[k], begin + (2 * k + 1) * half, half, 0.0, what, least)
    while True:
        worst = 0
        for k in range(1, count):
            if spans[k, _KNOWN] < spans[worst, _KNOWN]:
                worst = k
        known, at, half = spans[worst, _KNOWN], spans[worst, _AT], 0.5 * spans[worst, _HALF]
        if known >= least - CLOSE * area or 2 * count >= tries + SPANS:
            return known
        least = _promise(spans[worst], at - half, half, known, what, least)
        least = _promise(spans[count], at + half, half, known, what, least)
        count += 1


@jit
def _promise(span, bearing, half_deg, known, what, least):
    """Fills ``span``: no more than what pieces take at any bearing within ``half_deg`` of ``bearing``, and these; ``known``: what
    they take at least by what was told of a wider span. Corners are looked at where they may matter. Gives the ``least`` of what
    is taken at bearings tried, as far as is known."""
    edges, parts, border, ends, sizes, give, snap = what
    angle, half = np.radians(bearing), np.radians(half_deg)
    view, vs = turn(edges, np.sin(angle), np.cos(angle), snap)
    area = rows(view, vs, ends)
    r = 0.5 * ends * half
    sure = area - r * border - np.pi * r * r * parts
    if len(sizes) == 0:
        least = min(least, area)
    elif half_deg < COARSE_DEG and sure < least:
        slabs, arms = arms_of(view, vs, APART * sizes[3])
        lost = loss_of(slabs, arms, view, vs, sizes, half) * (1 - give)
        sure += lost
        if half_deg < FINE_DEG and max(area + lost, known) < least:
            here = area + loss_of(slabs, arms, view, vs, sizes, 0.0)
            least = min(least, max(here, known))  # less may be told of a bearing than of a span about it
    span[_KNOWN], span[_AT], span[_HALF] = max(sure, known), bearing, half_deg
    return least
