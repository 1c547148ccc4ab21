"""What no layout of an area can beat: a proven lower bound on turf bought.

Let T be the area, W the width of a roll, w its usable width, e the end allowance, and lay turf
along one bearing b: rectangles that cover T, in strips, in blocks, with joints of any kind, packed
on rolls and shared between areas in any way.

1. A piece laid L long and v wide is cut at least L + 2e long and v wide, and rolls yield pieces in
   their usable width only. So it takes at least (W/w) (L + 2e) v of roll; this adds up over a pool.
   Of several stocked widths the least W/w holds.
2. Lengthened by e at both ends the pieces are P + S, S the segment of length 2e along b (sums of
   sets are Minkowski's). They cover T + S, since the pieces cover T. So turf bought >= (W/w) |T +
   S|.
3. |T + S| is what `geoturf.layout.kernel.rows` gives: on a line along b, chords lengthened by e at
   both ends cover chords + 2e + sum over gaps of min(gap, 2e). (It holds line by line, so also for
   pieces with slanted ends.)
4. Over all bearings: turning b by d moves a point of S by r = e d at most, so T + S(b) lies in T +
   S(b') widened by r, and |T + S(b')| >= |T + S(b)| - r p - pi r^2 c, where p is the perimeter of T
   + S(b') and c the number of parts. The border of T + S is made of borders of T, each once, and of
   a segment 2e for each corner that is foremost across b, so p <= perimeter(T) + 2e x corners.

5. Pieces take more across, by allowances and whole cut steps, and where borders slant:
   `geoturf.layout.covers` tells how much any cover by rectangles must, at bearings about b.
6. For a bound of its own, strips that run from border to border, of any width, divided by cross
   seams or not, take more at slants and steps and where turf parts: `geoturf.layout.corners`.

By 4 and 5 (or 6) a bearing tried vouches for those about it. Halving the spans with the lowest
promises (branch and bound) brings the bound near the least over all bearings; it holds wherever
that stops.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geoturf.compiled import Flags, Floats
from geoturf.layout import chords, corners, covers
from geoturf.layout.bearing import distinct
from geoturf.layout.halving import Halving, Lost, Views
from geoturf.layout.roll import Roll
from geoturf.layout.shape import SNAP_M, Shape
from geoturf.layout.sizes import StripSizes
from geoturf.rules import STEEPEST

TRIED, WORK = 320, 7_000  # bearings at most, and edges looked at at all of them
# shapes of more edges are large beside what their ends take: so many bearings do
MANY = 300
FEWER = 48
AREA_DOES = 50_000  # edges: of more no bearing is looked at
GUESSED = 6  # longest edges along or across which the least may be
# beside the longest edge: just at a bearing of edges less can be told of corners than next to it
ASKEW_DEG = 0.618
GIVE = 1e-6  # relative: strips may be a hair wider than the roll, cuts a hair under a step


def bound_m2(shape: Shape, rolls: Sequence[Roll], bearing_deg: float) -> float:
    """Least turf (m2) that rectangles of one pile bearing which cover the shape take at
    ``bearing_deg``; at any bearing if NaN."""
    return _bought(shape, rolls, bearing_deg, _covers(shape, rolls))


def strip_bound_m2(shape: Shape, rolls: Sequence[Roll], bearing_deg: float) -> float:
    """The same for strips that run from border to border."""
    return _bought(shape, rolls, bearing_deg, _strips(shape, rolls))


def _bought(shape: Shape, rolls: Sequence[Roll], bearing_deg: float, lost: Lost | None) -> float:
    """What is bought (m2) where pieces take so much beyond the lengthened shape."""
    ends_m = rolls[0].ends_m
    if len(shape.edges) > AREA_DOES:
        taken = shape.area_m2  # pieces cover it: point 2, with no ends
    elif np.isnan(bearing_deg):
        taken = least_taken(shape, ends_m, lost)
    else:
        taken = float(_search(shape, ends_m, lost).told(np.array([bearing_deg]))[0])
    snapped = SNAP_M * (2 * perimeter_m(shape.edges) + 2 * ends_m * len(shape.edges))
    factor = min(roll.width_m / roll.usable_m for roll in rolls)
    return float(max(0.0, factor * (taken - snapped) * (1 - GIVE)))


def _covers(shape: Shape, rolls: Sequence[Roll]) -> Lost | None:
    """What any rectangles waste; None for shapes of so many edges that no stretch of border is
    straight for long, and where ends may be slanted: then a piece is no rectangle."""
    if len(shape.edges) >= MANY or any(roll.slanted for roll in rolls):
        return None
    sizes = covers.sizes_of(rolls)
    swapped = np.ascontiguousarray(shape.edges[:, [1, 0, 3, 2]])

    def lost(view: Views, turn: Floats, wanted: Flags) -> Floats:
        return covers.wasted(view, swapped, sizes, turn, wanted) * (1 - GIVE)

    return lost


def _strips(shape: Shape, rolls: Sequence[Roll]) -> Lost | None:
    """What strips from border to border waste; None as above, but where ends may be slanted."""
    if len(shape.edges) >= MANY:
        return None
    usable = [float(roll.usable_m) for roll in rolls]
    side = float(rolls[0].side_m)
    ends = float(rolls[0].ends_m)
    steepest = 0.0
    if any(roll.slanted for roll in rolls):
        steepest = float(STEEPEST)
    sizes = StripSizes(max(usable), min(usable) - side, side, ends, steepest)

    def lost(view: Views, turn: Floats, wanted: Flags) -> Floats:
        plain = (view.edges, view.vs, view.at)
        arms = chords.arms_of(*plain, corners.APART * ends, wanted)
        return corners.losses(*arms, *plain, sizes, turn, wanted) * (1 - GIVE)

    return lost


def _search(shape: Shape, ends_m: float, lost: Lost | None) -> Halving:
    """The search over bearings for what pieces take of the shape."""
    border = perimeter_m(shape.edges) + ends_m * len(shape.edges)
    return Halving(shape.edges, len(shape.rings), border, shape.area_m2, ends_m, lost, SNAP_M)


def least_taken(shape: Shape, ends_m: float, lost: Lost | None) -> float:
    """No more than the least over all bearings of what pieces take (m2): the area of the shape
    lengthened by half of ``ends_m`` both ways, and what is ``lost`` beyond (None: nothing)."""
    tries = max(FEWER, min(TRIED, WORK // len(shape.edges)))
    run = shape.edges[:, 2:] - shape.edges[:, :2]
    longest = np.argsort(-np.round(np.hypot(*run.T), 6), kind="stable")[:GUESSED]
    facing = np.round(np.degrees(np.arctan2(*run[longest].T)), 6)  # the same on every processor
    guesses = distinct(np.concatenate([facing, facing + 90]))
    search = _search(shape, ends_m, lost)
    return search.least(facing[0] + ASKEW_DEG, guesses, tries)


def perimeter_m(edges: np.ndarray) -> float:
    """Length of all edges, holes included."""
    return float(np.sum(np.hypot(edges[:, 2] - edges[:, 0], edges[:, 3] - edges[:, 1])))
