"""An area drawn to scale: plain coordinates in millimetres of the page, from the drawing's upper
left corner, x to the right and y down.

A drawing is turned by quarter turns from the pile, so that strips run with the page and north is as
nearly up as they allow. It shows a window of the area: all of it, or a part of one that would
otherwise be too small to read.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from geoturf.papers.crew import wording
from geoturf.papers.crew.laying import Laying, Line, Seam
from geoturf.papers.crew.to_scale import MARGIN_MM, RIM_MM, Box, View
from geoturf.units import FOOT_M, System

Points = NDArray[np.float64]

_APART_MM = 3.0  # between dimensions beside each other
_SAME_M = 5e-3  # seams less apart are in one line


def drawn(
    laying: Laying,
    view: View,
    details: Sequence[tuple[str, Box]],
    system: System,
    named: bool = True,
) -> dict[str, Any]:
    """The drawing as plain data; ``details`` are windows drawn larger elsewhere, by name. Pieces
    are ``named``, with their rolls, where it serves one area alone."""
    width, height = view.size
    return {
        "width": _round(width),
        "height": _round(height),
        "scale": view.scale.text,
        "bar": [_round(view.scale.bar[0]), view.scale.bar[1]],
        "pile": 90 * view.turns,
        "north": _round(90 * view.turns - laying.bearing_deg),
        "fills": list(_fills(laying, view)),
        "paths": _paths(laying, view),
        "labels": list(_labels(laying, view, system, named)),
        "marks": list(_marks(laying, view)),
        "corners": list(_corners(laying, view)),
        "dims": list(_dims(laying, view, system)),
        "details": [_framed(name, box, view) for name, box in details],
    }


def _framed(name: str, window: Box, view: View) -> dict[str, Any]:
    x0, y0, x1, y1 = view.box(window)
    size = {"width": _round(x1 - x0), "height": _round(y1 - y0)}
    return {
        "name": name,
        "x": _round(x0),
        "y": _round(y0),
        **size,
    }


def _round(value: Any) -> Any:
    """To a hundredth of a millimetre: finer than ink."""
    if np.ndim(value) == 0:
        return round(float(value), 2)
    return np.round(value, 2).tolist()


def _fills(laying: Laying, view: View) -> Iterator[dict[str, Any]]:
    for role, geometry in laying.beside:
        for part in shapely.get_parts(view.shape(geometry)):
            if shapely.get_type_id(part) == 3:
                rings = [_round(shapely.get_coordinates(r)) for r in shapely.get_rings(part)]
                yield {"role": role, "rings": rings}


def _paths(laying: Laying, view: View) -> dict[str, list[Any]]:
    """Lines of the drawing by what they are."""
    kinds, uv, line = laying.outlines
    if not view.shows(*uv.min(axis=0)) or not view.shows(*uv.max(axis=0)):
        uv, line, owner = _clipped(uv, line, view.window)
        kinds = tuple(kinds[k] for k in owner)
    points = _round(view.page(uv[:, 0], uv[:, 1]))
    ends = np.searchsorted(line, np.arange(len(kinds) + 1)).tolist()
    out: dict[str, list[Any]] = {kind: [] for kind in dict.fromkeys(kinds)}
    for kind, start, end in zip(kinds, ends[:-1], ends[1:], strict=True):
        out[kind].append(points[start:end])
    return out


def _clipped(
    uv: Points, line: NDArray[np.int64], window: Box
) -> tuple[Points, NDArray[np.int64], list[int]]:
    """What is seen of lines in a window: points, the line of each, and of each line which it
    was."""
    seen = shapely.clip_by_rect(shapely.linestrings(uv, indices=line), *window)
    parts, owner = shapely.get_parts(seen, return_index=True)
    lines = shapely.get_type_id(parts) == 1  # shapely's number of a LineString
    points, of = shapely.get_coordinates(parts[lines], return_index=True)
    return points, of, owner[lines].tolist()


# ---------------------------------------------------------------------------------- what is written


def _labels(laying: Laying, view: View, system: System, named: bool) -> Iterator[dict[str, Any]]:
    written = wording.written(laying, view, system, named)
    places = _round(view.page([one.u for one in written], [one.v for one in written]))
    for (label, *_), (x, y) in zip(written, places, strict=True):
        at = {
            "x": x,
            "y": y,
            "turned": label.turned,
            "above": label.above,
        }
        yield at | {"number": label.number, "lines": list(label.lines)}


def _marks(laying: Laying, view: View) -> Iterator[dict[str, Any]]:
    for line in laying.lines:
        for mark in line.marks:
            if view.shows(mark.u, mark.v):
                yield _named(view, mark.name, mark.u, mark.v, laying)


def _corners(laying: Laying, view: View) -> Iterator[dict[str, Any]]:
    ties = {tie.name: tie for line in laying.lines for mark in line.marks for tie in mark.ties}
    for tie in ties.values():
        if view.shows(tie.corner.u, tie.corner.v):
            yield _named(view, tie.name, tie.corner.u, tie.corner.v, laying)


def _named(view: View, name: str, u: float, v: float, laying: Laying) -> dict[str, Any]:
    """A point with its name, which stands away from the turf."""
    x, y, _, _ = view.box((u, v, u, v))
    ahead, right = _outward(laying.shape, u, v)
    a, b, _, _ = view.box((u + ahead, v + right, u + ahead, v + right))
    away = float(np.hypot(a - x, b - y)) or 1.0
    side = [round((a - x) / away, 2), round((b - y) / away, 2)]
    return {
        "name": name,
        "x": _round(x),
        "y": _round(y),
        "side": side,
    }


def _outward(shape: shapely.Geometry, u: float, v: float) -> tuple[float, float]:
    """A direction off the turf at a point of its border."""
    angles = np.radians(np.arange(0, 360, 15))
    steps = np.column_stack([np.cos(angles), np.sin(angles)]) * FOOT_M
    off = ~shapely.contains_xy(shape, steps[:, 0] + u, steps[:, 1] + v)
    if not off.any():
        return 1.0, 0.0
    lean = steps[off].sum(axis=0)
    best = steps[off][np.argmax(steps[off] @ lean)]
    return float(best[0]), float(best[1])


class _Dim(NamedTuple):
    """A text at a rim of the drawing, and where the thin line from it to its seam ends."""

    rim: str
    at: float
    end: float
    text: str


def _dims(laying: Laying, view: View, system: System) -> Iterator[dict[str, Any]]:
    """How far seams lie from their chalk line, at the upper and the left rim; seams that are as far
    share a text."""
    told = [(line, seam) for line in laying.lines for seam in (line.seam, *line.others)]
    every = [_dim(laying, line, seam, view, system) for line, seam in told]
    width, height = view.size
    for rim, length in (("top", width - MARGIN_MM), ("left", height - MARGIN_MM)):
        ends: dict[tuple[float, str], float] = {}
        for dim in every:
            if dim and dim.rim == rim:
                key = (round(dim.at, 1), dim.text)
                ends[key] = max(ends.get(key, 0.0), dim.end)
        found = sorted(ends)
        places = spread([at for at, _ in found], length, _APART_MM)
        for (at, text), place in zip(found, places, strict=True):
            end = _round(ends[at, text])
            yield {
                "rim": rim,
                "at": _round(at),
                "end": end,
                "place": _round(place),
                "text": text,
            }


def _dim(laying: Laying, line: Line, seam: Seam, view: View, system: System) -> _Dim | None:
    across, along = (view.window[0::2], view.window[1::2])[:: 1 if seam.cross else -1]
    start, end = seam.span
    if not (across[0] <= seam.place <= across[1] and start < along[1] and along[0] < end):
        return None
    x0, y0, x1, y1 = view.box((seam.u0, seam.v0, seam.u1, seam.v1))
    chalk = "-".join(mark.name for mark in line.marks)
    mark = line.marks[0].name
    origin = ""
    if len(laying.lines) > 1:
        origin = (mark if seam.cross else chalk) + " + "
    away = abs(line.offset_m(seam))
    in_line = away < _SAME_M and seam.cross == line.seam.cross
    text = chalk if in_line else origin + system.tape(away)
    if x1 - x0 < y1 - y0:
        return _Dim("top", x0, max(y0, RIM_MM), text)
    return _Dim("left", y0, max(x0, RIM_MM), text)


def spread(at: Sequence[float], length: float, apart: float) -> list[float]:
    """Places along a rim for what belongs to ``at``, in order: ``apart`` from each other, or less
    where the rim has no room for that."""
    apart = min(apart, length / max(len(at), 1))
    places: list[float] = []
    for one in at:
        places.append(max(one, places[-1] + apart) if places else one)
    last = length
    for k in reversed(range(len(places))):
        places[k] = min(places[k], last)
        last = places[k] - apart
    return places
