"""One area, or some that share a bearing: every stocked width, the bearings worth trying, the
layouts worth offering."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from geoturf.layout import arms, bearing, blocks, kernel, together
from geoturf.layout.byhand import by_hand
from geoturf.layout.normal import normal
from geoturf.layout.pieces import layout_of
from geoturf.layout.roll import ALONE, BALANCED, PROP, WHOLE, Roll
from geoturf.layout.seams import Sought, Strips, refined, sought
from geoturf.layout.shape import Shape
from geoturf.layout.together import Seen
from geoturf.layout.wide import wide
from geoturf.model import Choices, Layout, saved_m2

#: price model, rank of the bearing
PICKS = ((ALONE, 0), (BALANCED, 0), (WHOLE, 0), (PROP, 0), (BALANCED, 1))


def lay_together(
    shapes: Sequence[Shape], rolls: Sequence[Sequence[Roll]], bearing_deg: float, seen: Seen
) -> list[Choices]:
    """Choices of shapes that are seen together (one shape, usually): at ``bearing_deg``, or if that
    is NaN at what costs least for all of them. ``rolls``: what each can be laid from."""
    leaning = [bearing_deg] * len(shapes)
    if len(shapes) > 1 and np.isnan(bearing_deg):
        leaning = together.bearings(shapes, rolls, seen)
    done = []
    for shape, stock, at in zip(shapes, rolls, leaning, strict=True):
        own = normal(shape, at)
        done.append(own.back_all(_choices(own.shape, stock, own.bearing_deg)))
    return done


def _choices(shape: Shape, stock: Sequence[Roll], bearing_deg: float) -> Choices:
    """Choices of one shape, in its own frame."""
    free_layouts = _offers(shape, stock, bearing.worth_trying(shape, stock))
    layouts = free_layouts if np.isnan(bearing_deg) else _offers(shape, stock, [bearing_deg])
    best_free = min(layout.cost for layout in (*free_layouts, *layouts))
    hand = by_hand(shape, bearing_deg, stock[0])
    full = _full_strips(shape, stock, layouts)
    return Choices(layouts, hand, best_free, wide=full)


def _full_strips(
    shape: Shape, rolls: Sequence[Roll], layouts: Sequence[Layout]
) -> tuple[Layout, ...]:
    """What slanted ends may choose from besides: full strips at the bearings of the ``layouts``;
    nothing where all is square."""
    bearings = list(dict.fromkeys(layout.bearing_deg for layout in layouts))
    return tuple(layout for roll in rolls if roll.slanted for layout in wide(shape, roll, bearings))


def _offers(shape: Shape, rolls: Sequence[Roll], bearings: Sequence[float]) -> tuple[Layout, ...]:
    """Layouts worth offering, best first: for each width the best by each price model. Those in
    blocks that only save in a small pool, if at all, come last."""
    layouts: list[Layout] = []
    for roll in rolls:
        for groups, ganged, picked in _chosen(_tried(shape, roll, bearings, roll.models)):
            shift = shape.shift(picked.bearing_deg)
            layouts.append(layout_of(groups, shift, ganged, picked.joints, picked.cross))
    return in_order(layouts)


def in_order(layouts: Sequence[Layout]) -> tuple[Layout, ...]:
    """The layouts of an area by cost; last those whose cross seams at corners do not save
    enough."""
    return tuple(sorted(layouts, key=lambda one: (saved_m2(one, layouts) <= 0, one.cost)))


def _tried(
    shape: Shape, roll: Roll, bearings: Sequence[float], models: tuple[int, ...]
) -> list[Sought]:
    """The searches at the ``bearings``: the shape in one and, where that is cheaper, in blocks, and
    both parted about a house."""
    whole = [sought(shape, at, roll, models=models) for at in bearings]
    tried = [*whole, *arms.in_parts(whole, roll, models)]
    least = np.min([one.cost for one in tried], axis=0)
    cut = [one for w in whole for one in blocks.parted(shape, w, roll, models, least)]
    if any((one.cost < least).any() for one in cut):
        tried += [*cut, *arms.in_parts(cut, roll, models)]
    return tried


def lay_priced(
    shape: Shape, rolls: Sequence[Roll], bearings: Sequence[float], stated_deg: float
) -> list[Layout]:
    """Layouts for each of ``rolls``, the best at its pool's prices (`Roll.pool`), and where full
    strips have a weight, and the best in one where that is in blocks; their cost is told without
    those prices. ``stated_deg``: the bearing, where it is not free."""
    layouts = []
    own = normal(shape, stated_deg)
    shape = own.shape
    bearings = [own.bearing_of(at) for at in bearings]
    for roll in rolls:
        models = tuple(model for model in (BALANCED, WHOLE) if model in roll.models)
        tried = _tried(shape, roll, bearings, models)
        layouts += [
            own.back(_plain(shape, best, model)) for model in models for best in _best(tried, model)
        ]
    return layouts


def _plain(shape: Shape, best: Sought, model: int) -> Layout:
    """The layout of a search by one price model at its pool's prices, its cost told without
    them."""
    found = [refined(one, model) for one in best.found]
    groups = [replace(strips, roll=replace(strips.roll, pool=())) for strips in found]
    return layout_of(groups, shape.shift(best.bearing_deg), False, best.joints, best.cross)


def _best(tried: Sequence[Sought], model: int) -> list[Sought]:
    """The cheapest by a price model and, where that is in blocks, the cheapest that is not."""
    best = tried[_by_cost(tried, model)[0]]
    whole = [one for one in tried if not len(one.cross)] if len(best.cross) else []
    return [best, *(whole[k] for k in _by_cost(whole, model)[:1])]


def _chosen(tried: Sequence[Sought]) -> list[tuple[list[Strips], bool, Sought]]:
    """Strips worth offering, whether to gang them, and the search they are of: the best by
    each price model; those best alone are there both ways."""
    out: list[tuple[list[Strips], bool, Sought]] = []
    for model, picked in _picked(tried):
        groups = [refined(found, model) for found in picked.found]
        if not any(_same(groups, other) for other, _, _ in out):
            ganged = (True, False) if model == ALONE and any(map(_gangs, groups)) else (False,)
            out += [(groups, gang, picked) for gang in ganged]
    return out


def _picked(tried: Sequence[Sought]) -> Iterator[tuple[int, Sought]]:
    """Searches worth a closer look, each with the price model it is good by: of all, and of those
    in one."""
    whole = [one for one in tried if not len(one.cross)]
    for some in (tried, whole) if len(whole) < len(tried) else (tried,):
        for model, rank in PICKS:
            order = _by_cost(some, model) if model in tried[0].found[0].models else []
            if rank < len(order) and not _shunned(some, order, rank, model):
                yield model, some[order[rank]]


def _by_cost(tried: Sequence[Sought], model: int) -> list[int]:
    """Rows of what was tried, the cheapest by that price model first."""
    return sorted(range(len(tried)), key=lambda row: (round(tried[row].cost[model], 9), row))


def _shunned(tried: Sequence[Sought], order: list[int], rank: int, model: int) -> bool:
    """Whether what was tried has pieces that the rules would not have, and the cheapest has not."""
    more = tried[order[rank]].cost[model] - tried[order[0]].cost[model]
    return bool(more > kernel.SHUNNED / 2)


def _same(one: list[Strips], other: list[Strips]) -> bool:
    return (
        one[0].shape.bearing_deg == other[0].shape.bearing_deg
        and len(one) == len(other)
        and all(np.array_equal(a.lines, b.lines) for a, b in zip(one, other, strict=True))
    )


def _gangs(strip: Strips) -> bool:
    if not strip.roll.ganged:
        return False
    side, _ = kernel.divisions(strip.lines, strip.sizes, strip.spans, strip.roll.numbers, True)
    return bool(np.any(side > 1))
