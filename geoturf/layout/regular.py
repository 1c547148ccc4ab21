"""Areas too large for a search of their seams: regular strips.

Strips of full width from one side of the area to the other, at the best of a few bearings; along a
strip pieces as long as a roll holds, so that most pieces are whole rolls, and what is left. Next
strips begin at opposite ends, so that cross seams stand apart. All takes time by the size of the
outline and the number of pieces; bearing and roll are chosen on an outline made simpler
(`geoturf.layout.simpler`).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geoturf.layout import placing
from geoturf.layout.bearing import candidates
from geoturf.layout.pieces import Joint, cross_seams, layout_from
from geoturf.layout.roll import Roll
from geoturf.layout.seams import NO_JOINTS, Strips, strips_of
from geoturf.layout.shape import Shape, Turned, turned
from geoturf.model import Choices

BEARINGS = 6  # looked at where the bearing is free
SHORTEST_M = 2.0  # a piece left at the end of a strip is no shorter where another can give to it
LINES, JOINTS = 16, 256  # looked at together, with the border near them
NEAR_M = 1e-3


def lay_regular(
    shapes: Sequence[Shape],
    sought: Sequence[Shape],
    rolls: Sequence[Sequence[Roll]],
    bearing_deg: float,
) -> list[Choices]:
    """One layout in regular strips for each of the shapes, which share a pile bearing:
    ``bearing_deg``, or that of least cost for all if NaN. ``sought``: their outlines, made simpler
    or the same, by which bearing and roll are chosen; ``rolls``: what each can be laid from."""
    lead = max(sought, key=lambda shape: shape.area_m2)
    free = np.isnan(bearing_deg)
    bearings = candidates(lead.edges)[:BEARINGS].tolist() if free else [bearing_deg]
    tried = [
        [_best(shape, stock, at) for shape, stock in zip(sought, rolls, strict=True)]
        for at in bearings
    ]
    best = min(tried, key=lambda some: sum(map(_cost, some)))
    drawn = map(_as_drawn, best, sought, shapes)
    return [_choices(shape, strips, free) for shape, strips in zip(shapes, drawn, strict=True)]


def _best(shape: Shape, stock: Sequence[Roll], bearing_deg: float) -> Strips:
    """The strips of the roll that costs least."""
    view = turned(shape.edges, bearing_deg)
    return min((_strips(view, roll) for roll in stock), key=_cost)


def _as_drawn(best: Strips, sought: Shape, shape: Shape) -> Strips:
    """The strips chosen on ``sought``, laid on the outline as drawn."""
    if sought is shape:
        return best
    return _strips(turned(shape.edges, best.shape.bearing_deg), best.roll)


def _strips(view: Turned, roll: Roll) -> Strips:
    """Full strips from the low side; the last is as wide as is left, and not too narrow to lay."""
    view = view.widened(min(roll.least_m, view.high - view.low), roll.usable_m)
    many = int(np.ceil((view.high - view.low) / roll.usable_m - 1e-9))
    cuts = view.low + np.arange(many + 1) * roll.usable_m
    cuts[-1] = view.high
    if many > 1:
        cuts[-2] = min(cuts[-2], view.high - roll.least_m)
    return strips_of(view, roll, cuts, roll.ends_m)


def _cost(strips: Strips) -> float:
    """Turf that strips take, in m2 of the product's first, side by side on the roll."""
    roll = strips.roll
    wide = np.repeat(np.diff(strips.lines)[:, 0], strips.sizes)
    long = strips.spans[:, 1] - strips.spans[:, 0] + roll.ends_m
    seams = roll.seam * float(long.sum())  # a seam a strip
    taken = (roll.width_m / roll.usable_m) * float((long * (wide + roll.side_m)).sum())
    return roll.worth * taken + seams


def _choices(shape: Shape, strips: Strips, free: bool) -> Choices:
    roll = strips.roll
    view = strips.shape
    pieces, joints = _pieces(strips)
    cross = _by_u(joints, view.across())
    seams = _side_seams(strips.lines, view.edges)
    layout = layout_from(
        (pieces, seams, cross), view.bearing_deg, shape.shift(view.bearing_deg), roll
    )
    return Choices((layout,), (layout,), layout.cost if free else np.nan)


def _pieces(strips: Strips) -> tuple[np.ndarray, np.ndarray]:
    """Pieces (n, 4): u from, u to, v from, v to; and the cross lines between them (m, 3): u, v
    from, v to."""
    longest = strips.roll.longest_m
    spans = strips.spans
    strip = np.repeat(np.arange(len(strips.sizes)), strips.sizes)
    long = spans[:, 1] - spans[:, 0]
    many = np.maximum(np.ceil(long / longest - 1e-9).astype(int), 1)
    of = np.repeat(np.arange(len(spans)), many)
    place = np.arange(len(of)) - np.repeat(np.cumsum(many) - many, many)
    begin = np.minimum(place * longest, long[of])
    begin[place == 0] = 0.0
    rest = long - (many - 1) * longest
    short = (many > 1) & (rest < SHORTEST_M)
    last = (place == many[of] - 1) & short[of]
    begin[last] = (long - 0.5 * (longest + rest))[of[last]]  # the last two alike
    end = np.append(begin[1:], 0.0)
    final = place == many[of] - 1
    end[final] = long[of[final]]
    back = strip[of] % 2 == 1
    u0 = np.where(back, spans[of, 1] - end, spans[of, 0] + begin)
    u1 = np.where(back, spans[of, 1] - begin, spans[of, 0] + end)
    lines = strips.lines[strip[of]]
    inner = np.flatnonzero(~final)
    joints = np.column_stack([np.where(back, u0, u1), lines])[inner]
    return np.column_stack([u0, u1, lines]), joints


def _side_seams(lines: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """As `placing.seams`, with the edges near some lines at a time."""
    found = []
    for k in range(0, len(lines), LINES):
        some = lines[k : k + LINES + 1]
        near = (edges[:, 1] <= some[-1, 1] + NEAR_M) & (edges[:, 3] >= some[0, 0] - NEAR_M)
        found.append(placing.seams(some, np.ascontiguousarray(edges[near])))
    return np.vstack(found)


def _by_u(joints: np.ndarray, across: np.ndarray) -> np.ndarray:
    """Turf on cross lines (n, 3), with the edges near some of them at a time."""
    joints = joints[np.argsort(joints[:, 0], kind="stable")]
    found: list[Joint] = []
    for k in range(0, len(joints), JOINTS):
        some = joints[k : k + JOINTS]
        reach = some[-1, 0] + NEAR_M, some[0, 0] - NEAR_M
        near = np.ascontiguousarray(across[(across[:, 1] <= reach[0]) & (across[:, 3] >= reach[1])])
        found += [seam for joint in some.tolist() for seam in cross_seams(tuple(joint), near)]
    if found:
        return np.array(found).reshape(-1, 3)
    return NO_JOINTS
