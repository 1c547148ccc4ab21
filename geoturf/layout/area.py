"""One area, or some that share a bearing: every stocked width, the bearings worth trying, the layouts worth offering."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geoturf.layout import bearing, kernel
from geoturf.layout.bound import bound_m2
from geoturf.layout.byhand import by_hand
from geoturf.layout.pieces import layout_of
from geoturf.layout.roll import ALONE, BALANCED, PROP, Roll
from geoturf.layout.seams import Found, Strips, refined, rough, search
from geoturf.layout.shape import Shape, axes, turned
from geoturf.model import Choices, Layout

PICKS = ((ALONE, 0), (BALANCED, 0), (PROP, 0), (BALANCED, 1))  # price model, rank of the bearing


def lay_together(shapes: Sequence[Shape], rolls: Sequence[Sequence[Roll]], bearing_deg: float) -> list[Choices]:
    """Choices of shapes that share one pile bearing (one shape, usually): ``bearing_deg``, or the one that costs least for all
    of them if that is NaN. ``rolls``: what each can be laid from."""
    edges = [shape.edges() for shape in shapes]
    free = np.isnan(bearing_deg)
    if len(shapes) > 1 and free:
        bearing_deg = _joint_bearing(edges, rolls)
    done = []
    for shape, lines, stock in zip(shapes, edges, rolls, strict=True):
        free_layouts = _offers(shape, lines, stock, _worth_trying(lines, stock))
        layouts = free_layouts if np.isnan(bearing_deg) else _offers(shape, lines, stock, [bearing_deg])
        hand = by_hand(lines, bearing_deg, stock[0], lambda at, s=shape: axes(at) @ s.origin)
        bound = bound_m2(shape, stock, np.nan if free else bearing_deg)
        best_free = min(layout.cost for layout in (*free_layouts, *layouts))
        done.append(Choices(layouts, hand, bound, best_free))
    return done


def _worth_trying(edges: np.ndarray, rolls: Sequence[Roll]) -> list[float]:
    return bearing.screen([edges], bearing.candidates(edges), rolls)


def _joint_bearing(edges: Sequence[np.ndarray], rolls: Sequence[Sequence[Roll]]) -> float:
    """The bearing of least cost for all: the screened candidates of each, each searched in full for all."""
    tried = bearing.distinct(np.concatenate([_worth_trying(e, r) for e, r in zip(edges, rolls, strict=True)]))
    costs = [sum(_least(e, r, at) for e, r in zip(edges, rolls, strict=True)) for at in tried]
    return float(tried[int(np.argmin(costs))])


def _least(edges: np.ndarray, rolls: Sequence[Roll], at: float) -> float:
    view = turned(edges, at)
    return min(r.worth * search(view, r, rough(view, r)).cost[BALANCED] for r in rolls)


def _offers(shape: Shape, edges: np.ndarray, rolls: Sequence[Roll], bearings: Sequence[float]) -> tuple[Layout, ...]:
    """Layouts worth offering, best first: for each width the best few by each price model."""
    views = {at: turned(edges, at) for at in bearings}
    layouts: list[Layout] = []
    for roll in rolls:
        found = [search(view, roll, rough(view, roll)) for view in views.values()]
        for strip, ganged in _chosen(found):
            at = strip.bearing_deg
            layouts.append(layout_of(strip, views[at], axes(at) @ shape.origin, ganged))
    return tuple(sorted(layouts, key=lambda layout: layout.cost))


def _chosen(found: Sequence[Found]) -> list[tuple[Strips, bool]]:
    """Strips worth offering, and whether to gang them: the best by each price model; those best alone are there both ways."""
    out: list[tuple[Strips, bool]] = []
    for model, rank in PICKS:
        order = sorted(range(len(found)), key=lambda k, m=model: (round(found[k].cost[m], 9), k))
        if rank < len(order):
            strip = refined(found[order[rank]], model)
            if not any(_same(strip, other) for other, _ in out):
                ganged = (True, False) if model == ALONE and _gangs(strip) else (False,)
                out += [(strip, gang) for gang in ganged]
    return out


def _same(one: Strips, other: Strips) -> bool:
    return one.bearing_deg == other.bearing_deg and np.array_equal(one.lines, other.lines)


def _gangs(strip: Strips) -> bool:
    numbers = strip.roll.numbers
    for (v0, v1), spans in zip(strip.lines, strip.spans, strict=True):
        lanes = kernel.lanes_of(v1 - v0, numbers)
        if any(kernel.gang(u1 - u0, v1 - v0, lanes, numbers)[1] > 1 for u0, u1 in spans):
            return True
    return False
