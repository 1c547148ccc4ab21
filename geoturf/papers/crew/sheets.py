"""What a crew lays by: a sheet a lot, with each area drawn to scale."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np

from geoturf.model import Result
from geoturf.papers.crew import drawing, lots, steps
from geoturf.papers.crew.drawing import Box, Scale, View
from geoturf.papers.crew.laying import (
    BESIDE_M,
    Laying,
    Line,
    Mark,
    Piece,
    layings,
    slanted,
    window_of,
)
from geoturf.papers.crew.lots import Lot, Taken
from geoturf.units import SYSTEMS, System

WIDE_MM = 182.0  # of what a page holds, on letter and A4
WHOLE_MM, FIRST_MM = 222.0, 238.0  # height of what pages hold, lists of the first with it
_GAP_MM = 2.0
_TITLE_MM, _HEAD_MM = 11.0, 88.0  # above each drawing: its area, scale, north and pile
_FEW = 0.2  # of the pieces of a detail may have to be drawn larger again
_LAP_MM = 30.0  # of parts of a drawing on further pages
_MM = 1e3  # in a metre
_SHORT = 16  # pieces of a list that stands beside another
_ROW_MM, _LETTERS = 2.7, 145  # of the lists: a row's height, letters across a page
_LEAD = 30  # letters of the word that a caution begins with, at most
_FINEST = 72  # times smaller than life: details are drawn no larger


class Drawn(NamedTuple):
    """An area, or a detail of it; ``details`` are windows of it that are drawn larger."""

    laying: Laying
    view: View
    details: tuple[tuple[str, Box], ...] = ()
    name: str = ""


class Placed(NamedTuple):
    x: float
    y: float
    drawn: Drawn


class Page(NamedTuple):
    """Drawings and the height that they take."""

    height: float
    placed: list[Placed]


def data(result: Result) -> dict[str, Any]:
    """Of the paper ``crew_sheets``."""
    system = SYSTEMS[result.bid.units]
    laid = layings(result)
    taken = lots.taken(result)
    return {
        "page": result.bid.page,
        "title": f"{result.bid.name}: laying sheets",
        "running": f"{result.bid.name}: laying sheets",
        "name": result.bid.name,
        "metric": system.name == "metric",
        "slanted": slanted(result),
        "sloped": bool((result.ground.areas["laid_stretch"] != 1).any()),
        "cautions": [_lead(text) for text in result.takeoff.cautions],
        "steps": [list(step) for step in steps.laying(result)],
        "lots": [
            _lot(
                result,
                lot,
                [laid[k] for k in lot.areas],
                taken.get((lot.phase, lot.site), []),
                system,
            )
            for lot in lots.of(result)
        ],
    }


def _lead(caution: str) -> tuple[str, str]:
    """What a caution is about, and the rest of it."""
    lead, colon, rest = caution.partition(": ")
    return (lead, rest) if colon and len(lead) < _LEAD else ("", caution)


def _lot(
    result: Result, lot: Lot, laid: Sequence[Laying], items: list[Taken], system: System
) -> dict[str, Any]:
    areas = _paired([_area(result, one, system, len(laid) == 1) for one in laid])
    room = FIRST_MM - _high(areas, items)
    pages = list(_pages(laid, room, system))
    first = pages.pop(0) if pages else Page(0.0, [])
    return {
        "site": lot.site,
        "phase": lot.phase,
        "first": _page(result, first, system),
        "more": [_page(result, page, system) for page in pages],
        "areas": areas,
        "items": [[one.title, one.net, one.brought] for one in items],
    }


def _high(areas: list[list[dict[str, Any]]], items: list[Taken]) -> float:
    """About how high the lists below a lot's drawings stand, in mm."""
    rows = sum(max(_rows(one, len(row)) for one in row) for row in areas)
    return float(rows + len(areas) * 1.5 + np.ceil(len(items) / 2) + 5) * _ROW_MM


def _rows(area: dict[str, Any], beside: int) -> float:
    """Rows of a list that stands beside others."""
    words = [area["area"] + area["product"], *(", ".join(line["marks"]) for line in area["lines"])]
    words += [", ".join(kind + length + nails for kind, length, nails in area["runs"])]
    letters = _LETTERS / beside
    told = sum(1.15 * np.ceil((len(text) + 30) / letters) for text in words)
    return float(told) + len(area["halves"][0] if area["halves"] else ()) + 3


def _page(result: Result, page: Page, system: System) -> dict[str, Any]:
    return {"height": page.height, "drawings": [_shown(result, one, system) for one in page.placed]}


def _shown(result: Result, one: Placed, system: System) -> dict[str, Any]:
    laying, view, details, name = one.drawn
    area = str(result.ground.areas["area"].iloc[laying.area_index])
    title = f"{area}, {name}" if name else area
    at = {"x": one.x, "y": one.y, "title": title}
    return at | drawing.drawn(laying, view, details, system)


# ------------------------------------------------------------------------------------------------ pages


def _pages(laid: Sequence[Laying], room: float, system: System) -> Iterator[Page]:
    """All areas at one scale where that is readable in the ``room`` of the first page; else each as
    large as it needs, in turn. An area that cannot be read whole goes on in details."""
    together = _together(laid, room, system)
    if together:
        yield _page_of(together)
    elif laid:
        yield from _flow([view for one in laid for view in _views(one, system)], room)


def _together(laid: Sequence[Laying], room: float, system: System) -> list[Placed]:
    for scale in drawing.scales(system):
        placed = _shelved([Drawn(one, _whole(one, scale)) for one in laid], room)
        if len(placed) == len(laid):
            readable = all(not _unreadable(one.drawn, system) for one in placed)
            return placed if readable else []
    return []


def _flow(views: list[Drawn], room: float) -> Iterator[Page]:
    while views:
        placed = _shelved(views, room)
        if placed:
            yield _page_of(placed)
        elif room == WHOLE_MM:  # nothing is larger than a page
            raise ValueError("a drawing is larger than its page")
        else:
            yield Page(0.0, [])
        views, room = views[len(placed) :], WHOLE_MM


def _page_of(placed: list[Placed]) -> Page:
    return Page(max(one.y + one.drawn.view.size[1] for one in placed), placed)


def _shelved(views: Sequence[Drawn], room: float) -> list[Placed]:
    """The first drawings, side by side, row under row, as many as there is room for."""
    placed: list[Placed] = []
    x = y = row = 0.0
    for one in views:
        width, height = max(one.view.size[0], _HEAD_MM), one.view.size[1] + _TITLE_MM
        if x and x + width > WIDE_MM:
            x, y, row = 0.0, y + row + _GAP_MM, 0.0
        if width > WIDE_MM or y + height > room:
            break
        placed.append(Placed(x, y + _TITLE_MM, one))
        x, row = x + width + _GAP_MM, max(row, height)
    return placed


def _whole(laying: Laying, scale: Scale) -> View:
    return View(window_of(laying.shape), drawing.turns_of(laying.bearing_deg), scale)


def _unreadable(one: Drawn, system: System) -> list[Piece]:
    return drawing.unreadable(one.laying, one.view, system)


def _views(laying: Laying, system: System) -> list[Drawn]:
    """The whole area on half a page or on a page, the first on which it can be read; else with
    details of what cannot be read in it."""
    for high in (WHOLE_MM / 2, WHOLE_MM):
        whole = Drawn(laying, _largest(laying, high, system))
        hidden = _unreadable(whole, system)
        if not hidden:
            return [whole]
    views = list(_details(laying, whole.view, hidden, system))
    details = [Drawn(laying, view, name=f"detail {k}") for k, view in enumerate(views, 1)]
    frames = tuple((one.name.removeprefix("detail "), one.view.window) for one in details)
    return [whole._replace(details=frames), *details]


def _largest(laying: Laying, high: float, system: System) -> View:
    views = (_whole(laying, scale) for scale in drawing.scales(system))
    return next(view for view in views if _fits(view, high))


def _fits(view: View, high: float) -> bool:
    return view.size[0] <= WIDE_MM and view.size[1] + _TITLE_MM <= high


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
    laying: Laying, coarser: View, hidden: Sequence[Piece], system: System
) -> Iterator[View]:
    """Parts about the ``hidden`` pieces at the least scale at which most of them can be read; then
    about those that cannot, finer still."""
    finer = [s for s in drawing.scales(system) if coarser.scale.mm < s.mm <= _MM / _FINEST]
    for window in _clusters(hidden) if finer else ():
        view, still = coarser, list(hidden)
        for scale in reversed(finer):
            mine = [piece for piece in hidden if _middle_in(piece, window)]
            view = View(window, coarser.turns, scale)
            still = [p for p in drawing.unreadable(laying, view, system) if p in mine]
            if len(still) <= len(mine) * _FEW:
                break
        told = [piece for piece in mine if piece not in still or scale is finer[0]]
        yield from (
            part for part in _parts(view) if any(_middle_in(piece, part.window) for piece in told)
        )
        yield from _details(laying, view, still, system)


def _middle_in(piece: Piece, window: Box) -> bool:
    u0, v0, u1, v1 = window
    return u0 <= (piece.u0 + piece.u1) / 2 <= u1 and v0 <= (piece.v0 + piece.v1) / 2 <= v1


def _parts(view: View) -> Iterator[View]:
    """Windows no larger than a page, which overlap by what a label needs."""
    rim, mm = drawing.RIM_MM + drawing.MARGIN_MM, view.scale.mm
    wide, high = (WIDE_MM - rim) / mm, (WHOLE_MM - _TITLE_MM - rim) / mm
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


# ------------------------------------------------------------------------------------------------ lists


def _paired(areas: list[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    """Areas with short lists side by side, two by two; others in the whole width."""
    rows: list[list[dict[str, Any]]] = []
    for area in areas:
        narrow = len(area["halves"]) == 1
        if rows and narrow and len(rows[-1]) == 1 and len(rows[-1][0]["halves"]) == 1:
            rows[-1].append(area)
        else:
            rows.append([area])
    return rows


def _area(result: Result, laying: Laying, system: System, alone: bool) -> dict[str, Any]:
    row = result.ground.areas.iloc[laying.area_index]
    product = result.bid.products[row["product"]]
    pieces = [
        [f"{number}", piece.piece, piece.roll, drawing.cut_size(piece, system)]
        for number, piece in enumerate(laying.pieces, 1)
    ]
    half = len(pieces) if len(pieces) <= _SHORT and not alone else (len(pieces) + 1) // 2
    runs = [run for run in laying.runs if run.fasteners]
    return {
        "area": str(row["area"]),
        "product": f"{row['product']}, {product.title}",
        "ground": system.area(row["surface_area_m2"], 0),
        "bearing": f"{laying.bearing_deg:.0f}",
        "halves": [part for part in (pieces[:half], pieces[half:]) if part],
        "lines": [_line(line, system) for line in laying.lines],
        "runs": [[run.kind, system.tape(run.laid_m), f"{run.fasteners:,.0f}"] for run in runs],
        "holds": lots.fasteners(result, laying.area_index, system),
    }


def _line(line: Line, system: System) -> dict[str, Any]:
    start, end = line.marks
    return {
        "name": f"{start.name}-{end.name}",
        "cross": line.seam.cross,
        "length": system.tape(line.seam.length_m),
        "marks": [_mark(mark, system) for mark in line.marks],
    }


def _mark(mark: Mark, system: System) -> str:
    tapes = [
        f"{system.tape(tie.length_m)} from {tie.name} ({tie.corner.what})" for tie in mark.ties
    ]
    how = "along the edge " if len(tapes) == 1 else ""
    return f"{mark.name}: {how}{' and '.join(tapes)}"
