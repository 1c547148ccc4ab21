"""Blocks: an area cut across the pile at its inner corners, each block laid with seams of its own.

Where a lawn steps sideways, strips from border to border must suit both sides of the step. Cut
across there by a cross seam, as long as turf is wide, its blocks need not agree. `parted` looks for
the lines across, through inner corners, whose blocks and cross seams cost least together: exactly,
as a shortest path over the corners, by what blocks cost roughly. Then each block is searched as a
shape is, and may be parted along the pile as well (`arms`). A cross seam is charged twice what it
costs: it is made where it saves more than that.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from geoturf.layout import kernel, parting
from geoturf.layout.roll import ALONE, BALANCED, Roll
from geoturf.layout.seams import NO_JOINTS, Found, Sought, crossing, search, together
from geoturf.layout.shape import Shape, Turned, axes

GAIN = 1e-4  # of the cost, at least
# times what is to be undercut: strips that cost more are not looked at, blocks gain some 5 %
RIVAL = 1.08
SCREENED = 4  # corners looked at to screen bearings, those of the longest sides
# corners this close along the pile share a line; what the border moves for that is trimmed
SAME_M = 9e-5
TOUCH_M = 1e-3  # blocks that meet over less are not joined

# a shape, u of lines across, its ends first and last, the cross seams (n, 3) that each would be,
# and the seam that turf beyond each takes at the least
Lined: TypeAlias = tuple[Turned, np.ndarray, list[np.ndarray], np.ndarray]


def parted(
    shape: Shape,
    whole: Sought,
    roll: Roll,
    models: tuple[int, ...],
    most: np.ndarray,
    screen: bool = False,
) -> Iterator[Sought]:
    """The search ``whole`` of the ``shape`` made over by the price ``models``, cut in blocks where
    that pays, and all costs under ``most`` (by each model), at a balanced pool's prices or, other
    blocks perhaps, in a lawn alone; from fewer places and only for the first to ``screen``."""
    rival = whole.cost[BALANCED] <= RIVAL * most[BALANCED]
    if not (roll.blocks and rival and len(shape.inner_corners)):
        return
    lined = _lined(shape, whole, roll, SCREENED if screen else None)
    known: list[list[list[int]]] = []
    alone = not screen and ALONE in models and whole.cost[ALONE] <= most[ALONE]
    for model in (BALANCED, ALONE) if alone else (BALANCED,):
        every = [
            _best(*lines, roll, _under(found, whole, most, model), model)
            for lines, found in zip(lined, whole.found, strict=True)
        ]
        if any(every) and every not in known:
            known.append(every)
            views, cross = _cut(lined, every, roll)
            searched = tuple(search(view, roll, models, screen) for view in views)
            yield together(
                whole.bearing_deg, searched, whole.joints, np.vstack([whole.cross, *cross])
            )


def _under(found: Found, whole: Sought, most: np.ndarray, model: int) -> float:
    """What blocks of a group have to cost less than, so that all costs under ``most``."""
    others = whole.cost[model] - found.cost[model]
    return float(min(found.cost[model] * (1 - GAIN), most[model] - others))


def _cut(
    lined: Sequence[Lined], every: Sequence[list[int]], roll: Roll
) -> tuple[list[Turned], list[np.ndarray]]:
    """The blocks of shapes cut at those rows of their lines, and the cross seams between them."""
    views = list[Turned]()
    cross = list[np.ndarray]()
    for (view, lines, joints, _), rows in zip(lined, every, strict=True):
        views += _blocks(view, lines[rows], roll) if rows else [view]
        cross += [joints[k] for k in rows[1:-1]]
    return views, cross


def _lined(shape: Shape, whole: Sought, roll: Roll, most: int | None) -> list[Lined]:
    """The groups of a search with their lines across, through ``most`` of the inner corners; worked
    out once for a shape."""
    sizes = f"{roll.usable_m!r} {roll.short_m!r} {roll.least_m!r}"
    name = f"lines {whole.bearing_deg!r} {sizes} {most}"
    if name not in shape.known:
        corners = shape.inner_corners[:most] @ axes(whole.bearing_deg)[0]
        shape.known[name] = [_lines(found.shape, corners, roll) for found in whole.found]
    found: list[Lined] = shape.known[name]
    return found


def _lines(view: Turned, corners: np.ndarray, roll: Roll) -> Lined:
    """Lines across that a shape may be cut at: the shape with border that nearly lies on a line
    moved onto it, u of the lines, its ends first and last, the cross seams (n, 3) that each would
    be, where turf ends on both sides, and the seam beyond each. Turf that touches over a hair is
    not joined."""
    low = float(view.edges[:, ::2].min())
    high = float(view.edges[:, ::2].max())
    inner = kernel.distinct(corners, SAME_M)
    inner = inner[(inner > low + roll.short_m) & (inner < high - roll.short_m)]
    lines = np.array([low, *inner, high])
    if not len(inner):
        return view, lines, [NO_JOINTS, NO_JOINTS], np.zeros(2)
    beyond = parting.seams_beyond(view.across(), lines, view.low, view.high, roll.usable_m)
    view = _on_lines(view, inner)
    found = parting.joints(view.edges, inner, TOUCH_M)
    joints = np.split(found, np.searchsorted(found[:, 0], inner[1:]))
    return view, lines, [NO_JOINTS, *joints, NO_JOINTS], beyond


def _on_lines(view: Turned, lines: np.ndarray) -> Turned:
    """The shape with the ends of edges that nearly lie on a line moved onto it."""
    edges = view.edges.copy()
    for u in lines.tolist():
        ends = edges[:, ::2]
        edges[:, ::2] = np.where(np.abs(ends - u) < SAME_M, u, ends)
    return replace(view, edges=edges)


def _best(
    view: Turned,
    lines: np.ndarray,
    joints: Sequence[np.ndarray],
    beyond: np.ndarray,
    roll: Roll,
    most: float,
    model: int,
) -> list[int]:
    """The rows of ``lines`` to cut the shape at, its ends first and last; none where no blocks cost
    under ``most`` by the price ``model``."""
    if len(lines) < 3:
        return []
    seam = roll.numbers.seam
    each = roll.numbers.cross
    prices = np.array(
        [kernel.WORTH * crossing(joint, seam, each) if len(joint) else 0.0 for joint in joints]
    )
    shares = roll.shares[model][None]
    steps = roll.widths(screen=True)
    rows: list[int] = parting.best_across(
        view.edges, lines, prices, beyond, steps, roll.numbers, shares, most
    ).tolist()
    return rows


def _blocks(view: Turned, lines: np.ndarray, roll: Roll) -> list[Turned]:
    """What lies between the lines, part by part."""
    out = []
    for left, right in pairwise(lines.tolist()):
        edges = parting.clipped(view.edges, left, right)
        part, lows, highs = parting.parts_of(edges, roll.numbers)
        out += view.parted(edges, part, lows, highs)
    return out
