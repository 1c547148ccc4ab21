"""How the areas of a sheet are placed on its pages: each with its list below the drawing or beside
it, as large as the page allows; what cannot be read so goes on in details."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple

import numpy as np

from geoturf.papers.crew import to_scale, wording
from geoturf.papers.crew.laying import BESIDE_M, Flags, Laying, Piece, Points, Rows, window_of
from geoturf.papers.crew.to_scale import Box, Scale, View
from geoturf.units import System

TITLE_MM, HEAD_MM = 11.0, 88.0  # above each drawing: its area, scale, north and pile
GAP_MM = 4.0  # between a drawing and its list, and between areas
_ON_A_PAGE = 2  # areas, where their sheet has more than one page
_LEAST_MM = 60.0  # of a page that is worth beginning with an area
_WORTH_MM = 120.0  # that is worth beginning with an area which goes on in details
_FEW = 0.2  # of the pieces of a detail may have to be drawn larger again
_LAP_MM = 30.0  # of parts of a drawing on further pages
_MM = 1e3  # in a metre
_FINEST = 72  # times smaller than life: details are drawn no larger


class Room(NamedTuple):
    """Millimetres of a page that areas may take."""

    wide: float
    high: float


class Told(NamedTuple):
    """An area and its list: how high (mm) that stands in a width, and the least width it takes."""

    laying: Laying
    list_mm: Callable[[float], float]
    least_mm: float


class Block(NamedTuple):
    """An area drawn whole, its list ``beside`` the drawing or below it, and the height of both."""

    told: Told
    view: View
    beside: bool
    height: float
    details: tuple[tuple[str, Box], ...] = ()


class Drawn(NamedTuple):
    """A detail of an area."""

    laying: Laying
    view: View
    name: str


class Placed(NamedTuple):
    """A detail at its place on a page, mm."""

    x: float
    y: float
    drawn: Drawn


class Page(NamedTuple):
    """Areas one below the other, or details."""

    blocks: list[Block]
    placed: list[Placed]


class Sizes(NamedTuple):
    """An area and the ways to draw it whole so that all can be read, the largest first."""

    told: Told
    blocks: list[Block]


def sizes(one: Told, room: Room, system: System) -> Sizes:
    views = [_whole(one.laying, scale) for scale in to_scale.scales(system)]
    hidden = wording.unreadable(one.laying, views, system)
    many = next((k for k, pieces in enumerate(hidden) if len(pieces)), len(views))
    blocks = [_block(one, view, room.wide) for view in views[:many]]
    return Sizes(one, [block for block in blocks if block and block.height <= room.high])


def pages(areas: Sequence[Sizes], first: float, room: Room, system: System) -> Iterator[Page]:
    """All areas on the first page, which has ``first`` mm for them, where they can be read there;
    else at most two on each page, one where two could not be read. The first page may be empty."""
    queue = list(areas)
    high = first
    whole = _filled(queue, first)
    if whole is not None:
        yield Page(whole, [])
        return
    while queue:
        blocks = _begun(queue, high) if high >= _LEAST_MM else None
        if blocks:
            yield Page(blocks, [])
            queue = queue[len(blocks) :]
        elif high < room.high and (queue[0].blocks or high < _WORTH_MM):
            yield Page([], [])
        else:
            yield from _detailed(queue.pop(0).told, high, room, system)
        high = room.high


def _begun(queue: Sequence[Sizes], high: float) -> list[Block] | None:
    """The first of them, as many as a page takes."""
    most = max(1, min(_ON_A_PAGE, len(queue), int(high / _LEAST_MM)))
    tries = (_filled(queue[:many], high) for many in range(most, 0, -1))
    return next((blocks for blocks in tries if blocks), None)


def _filled(some: Sequence[Sizes], high: float) -> list[Block] | None:
    """Areas one below the other, each as large as there is room for it, the one that is drawn
    smallest first; None where they could not be read in that height."""
    if not all(one.blocks for one in some):
        return None
    at = [len(one.blocks) - 1 for one in some]
    spare = high - GAP_MM * (len(some) - 1) - sum(one.blocks[-1].height for one in some)
    if spare < 0:
        return None
    grown = True
    while grown:
        grown = False
        for k in sorted(range(len(some)), key=lambda k: some[k].blocks[at[k]].view.scale.mm):
            blocks = some[k].blocks
            more = np.inf
            if at[k]:
                more = blocks[at[k] - 1].height - blocks[at[k]].height
            if more <= spare:
                at[k] = at[k] - 1
                spare = spare - more
                grown = True
                break
    return [one.blocks[k] for one, k in zip(some, at, strict=True)]


def _block(one: Told, view: View, wide: float) -> Block | None:
    """The area with its list where it takes less height; None where it is too wide."""
    width = max(view.size[0], HEAD_MM)
    height = view.size[1] + TITLE_MM
    tries = []
    if width <= wide:
        tries.append(Block(one, view, False, height + one.list_mm(wide)))
    if width + GAP_MM + one.least_mm <= wide:
        list_mm = one.list_mm(wide - width - GAP_MM)
        tries.append(Block(one, view, True, max(height, list_mm)))
    return min(tries, key=lambda block: block.height, default=None)


def _whole(laying: Laying, scale: Scale) -> View:
    return View(window_of(laying.shape), to_scale.turns_of(laying.bearing_deg), scale)


def _detailed(one: Told, high: float, room: Room, system: System) -> Iterator[Page]:
    """The whole area on a page that has ``high`` mm for it, then details of what cannot be read in
    it."""
    view = _largest(one, Room(room.wide, high), system)
    hidden = _told_larger(one.laying, view, system)
    windows = list(_details(one.laying, view, hidden, room, system))
    details = [Drawn(one.laying, part, f"detail {k}") for k, part in enumerate(windows, 1)]
    frames = tuple((f"{k}", part.window) for k, part in enumerate(windows, 1))
    height = view.size[1] + TITLE_MM + one.list_mm(room.wide)
    placed = _shelved(details, Room(room.wide, high - height - GAP_MM))
    yield Page([Block(one, view, False, height, frames)], placed)
    while details := details[len(placed) :]:
        placed = _shelved(details, room)
        if not placed:  # nothing is larger than a page
            raise ValueError("a drawing is larger than its page")
        yield Page([], placed)


def _told_larger(laying: Laying, view: View, system: System) -> Rows:
    """Pieces that cannot be read in a drawing, and could in the largest there is: the others,
    slivers that no size can be written on, are told by number and list."""
    finest = max((s for s in to_scale.scales(system) if s.mm <= _MM / _FINEST), key=lambda s: s.mm)
    largest = View(view.window, view.turns, finest)
    hidden, never = wording.unreadable(laying, [view, largest], system)
    return _without(hidden, never)


def _without(rows: Rows, others: Rows) -> Rows:
    out: Rows = np.setdiff1d(rows, others, assume_unique=True)
    return out


def _largest(one: Told, room: Room, system: System) -> View:
    """Above a list that leaves half the page; else on the whole of it."""
    list_mm = one.list_mm(room.wide)
    high = room.high
    if list_mm < room.high / 2:
        high = room.high - list_mm
    views = [_whole(one.laying, scale) for scale in to_scale.scales(system)]
    fits = (view for view in views if _fits(view, Room(room.wide, high)))
    return next(fits, views[-1])


def _fits(view: View, room: Room) -> bool:
    return view.size[0] <= room.wide and view.size[1] + TITLE_MM <= room.high


def _shelved(views: Sequence[Drawn], room: Room) -> list[Placed]:
    """The first drawings, side by side, row under row, as many as there is room for."""
    placed: list[Placed] = []
    x = y = row = 0.0
    for one in views:
        width = max(one.view.size[0], HEAD_MM)
        height = one.view.size[1] + TITLE_MM
        if x and x + width > room.wide:
            x = 0.0
            y = y + row + GAP_MM
            row = 0.0
        if width > room.wide or y + height > room.high:
            break
        placed.append(Placed(x, y + TITLE_MM, one))
        x = x + width + GAP_MM
        row = max(row, height)
    return placed


def _clusters(pieces: Sequence[Piece]) -> list[Box]:
    """Windows about pieces; those that meet are one."""
    boxes: list[Box] = []
    for p in pieces:
        box = (p.u0 - BESIDE_M, p.v0 - BESIDE_M, p.u1 + BESIDE_M, p.v1 + BESIDE_M)
        while met := [one for one in boxes if _meet(one, box)]:
            boxes = [one for one in boxes if one not in met]
            u0, v0, u1, v1 = np.array([box, *met]).T.tolist()
            box = (min(u0), min(v0), max(u1), max(v1))
        boxes.append(box)
    return sorted(boxes)


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _details(
    laying: Laying, coarser: View, hidden: Rows, room: Room, system: System
) -> Iterator[View]:
    """Parts about the ``hidden`` pieces at the least scale at which most of them can be read; then
    about those that cannot, finer still."""
    finer = [s for s in to_scale.scales(system) if coarser.scale.mm < s.mm <= _MM / _FINEST]
    pieces = [laying.pieces[k] for k in hidden]
    for window in _clusters(pieces) if finer else ():
        mine = hidden[_within(window, laying.middles[hidden])]
        views = [View(window, coarser.turns, scale) for scale in reversed(finer)]
        left = wording.unreadable(laying, views, system, mine)
        few = (k for k, rows in enumerate(left) if len(rows) <= len(mine) * _FEW)
        k = next(few, len(views) - 1)
        view, still = views[k], left[k]
        told = mine if view is views[-1] else _without(mine, still)
        middles = laying.middles[told]
        yield from (part for part in _parts(view, room) if _within(part.window, middles).any())
        yield from _details(laying, view, still, room, system)


def _within(window: Box, points: Points) -> Flags:
    u0, v0, u1, v1 = window
    u, v = points.T
    out: Flags = (u0 <= u) & (u <= u1) & (v0 <= v) & (v <= v1)
    return out


def _parts(view: View, room: Room) -> Iterator[View]:
    """Windows no larger than a page, which overlap by what a label needs."""
    rim = to_scale.RIM_MM + to_scale.MARGIN_MM
    mm = view.scale.mm
    wide = (room.wide - rim) / mm
    high = (room.high - TITLE_MM - rim) / mm
    along, across = (wide, high) if view.turns % 2 else (high, wide)
    u0, v0, u1, v1 = view.window
    for low, upper in _cut(u0, u1, along, _LAP_MM / mm):
        for left, right in _cut(v0, v1, across, _LAP_MM / mm):
            yield View((low, left, upper, right), view.turns, view.scale)


def _cut(start: float, end: float, most: float, lap: float) -> list[tuple[float, float]]:
    """Stretches from start to end, each at most ``most`` long, that overlap by ``lap``."""
    if end - start <= most:
        return [(start, end)]
    count = int(np.ceil((end - start - lap) / (most - lap) - 1e-9))
    step = (end - start - lap) / count
    return [(start + k * step, start + (k + 1) * step + lap) for k in range(count)]
