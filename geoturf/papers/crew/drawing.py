"""An area drawn to scale: plain coordinates in millimetres of the page, from the drawing's upper
left corner, x to the right and y down.

A drawing is turned by quarter turns from the pile, so that strips run with the page and north is as
nearly up as they allow. It shows a window of the area: all of it, or a part of one that would
otherwise be too small to read.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from geoturf import plane
from geoturf.papers.crew.laying import Laying, Line, Piece, Seam, Stretch
from geoturf.units import FOOT_M, INCH_M, System

Points = NDArray[np.float64]
Box = tuple[float, float, float, float]

_MM = 1e3  # in a metre
_PT_MM = INCH_M * _MM / 72
#: feet an inch, and metres a metre: scales that a rule is divided in
_US_SCALES = (
    2,
    3,
    4,
    5,
    6,
    8,
    10,
    12,
    16,
    20,
    30,
    40,
    50,
    60,
    80,
    100,
    150,
    200,
    300,
    400,
    600,
    800,
    1000,
)
_METRIC_SCALES = (25, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000, 1500, 2000, 2500, 5000, 10000)  # fmt: skip
RIM_MM, MARGIN_MM = 13.0, 5.0  # left and above, for dimensions; right and below, for names
SMALL_PT = 6.5
LARGE_PT = 9.0
_WIDE, _HIGH = 0.49, 1.12  # of a letter and a line, in their size
_BAR_MM = 32.0  # of a scale bar, at most
_APART_MM = 3.0  # between dimensions beside each other
_AIR_MM = 0.8  # about a label
_SAME_M = 5e-3  # seams less apart are in one line
_WORTH_MM = 1.0  # less of a piece is not labelled
_PARTS = np.linspace(0, 1, 5)
#: places tried for a label in what room there is along and across, those by the middle first
_SPOTS = np.stack(np.meshgrid(_PARTS, _PARTS), axis=-1).reshape(-1, 2)
_SPOTS = _SPOTS[np.argsort(np.hypot(*(_SPOTS.T - 0.5)), kind="stable")]


class Scale(NamedTuple):
    """``mm`` on the page are a metre of ground."""

    text: str
    mm: float
    bar: tuple[float, str]  # length on the page in mm, and what it is


@cache
def scales(system: System) -> tuple[Scale, ...]:
    """Largest first."""
    return tuple(_us_scales() if system.name == "us" else _metric_scales())


def _us_scales() -> Iterator[Scale]:
    for feet in _US_SCALES:
        ratio = feet * FOOT_M / INCH_M
        mm = _MM / ratio
        bar = max(k for k in (1, 2, 5, 10, 20, 50, 100, 200, 500) if k * FOOT_M * mm <= _BAR_MM)
        yield Scale(f"1 in = {feet} ft (1:{ratio:.0f})", mm, (bar * FOOT_M * mm, f"{bar} ft"))


def _metric_scales() -> Iterator[Scale]:
    for ratio in _METRIC_SCALES:
        mm = _MM / ratio
        bar = max(k for k in (0.5, 1, 2, 5, 10, 20, 50, 100, 200) if k * mm <= _BAR_MM)
        yield Scale(f"1:{ratio}", mm, (bar * mm, f"{bar:g} m"))


@dataclass(frozen=True)
class View:
    """From pile coordinates to the page: ``window`` is u and v from, u and v to; ``turns`` quarter
    turns to the right bring what points up the page along the pile."""

    window: Box
    turns: int
    scale: Scale

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in mm, its rim in."""
        u0, v0, u1, v1 = self.window
        along = (u1 - u0) * self.scale.mm
        across = (v1 - v0) * self.scale.mm
        width, height = (along, across) if self.turns % 2 else (across, along)
        return width + RIM_MM + MARGIN_MM, height + RIM_MM + MARGIN_MM

    def page(self, u: Any, v: Any) -> Points:
        """Points (..., 2) on the page."""
        u0, v0, u1, v1 = self.window
        u = np.asarray(u, float)
        v = np.asarray(v, float)
        x, y = (
            (v - v0, u1 - u),
            (u - u0, v - v0),
            (v1 - v, u - u0),
            (u1 - u, v1 - v),
        )[self.turns]
        points: Points = np.stack([x, y], axis=-1) * self.scale.mm + RIM_MM
        return points

    def box(self, window: Box) -> Box:
        """Left, top, right and bottom of a window on the page."""
        u0, v0, u1, v1 = self.window
        low, left, high, right = window
        x0, y0, x1, y1 = (
            (left - v0, u1 - high, right - v0, u1 - low),
            (low - u0, left - v0, high - u0, right - v0),
            (v1 - right, low - u0, v1 - left, high - u0),
            (u1 - high, v1 - right, u1 - low, v1 - left),
        )[self.turns]
        mm = self.scale.mm
        return x0 * mm + RIM_MM, y0 * mm + RIM_MM, x1 * mm + RIM_MM, y1 * mm + RIM_MM

    def shape(self, geometry: shapely.Geometry) -> shapely.Geometry:
        """What is seen of a geometry, on the page."""
        seen = plane.in_box(geometry, self.window)
        return shapely.transform(seen, lambda uv: self.page(uv[:, 0], uv[:, 1]))


def turns_of(bearing_deg: float) -> int:
    """Quarter turns that bring the pile to within an eighth of a turn of its bearing, north up."""
    return round(bearing_deg / 90) % 4


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
    told: list[tuple[str, Points]] = []
    told += [("piece", np.array([*p.corners, p.corners[0]])) for p in laying.pieces]
    told += [("seam", _stretch(seam)) for seam in laying.seams]
    told += [("chalk", _stretch(line.seam)) for line in laying.lines]
    told += [(run.kind, shapely.get_coordinates(run.line)) for run in laying.runs]
    kinds, lines = zip(*told, strict=True)
    uv = np.concatenate(lines)
    line = np.repeat(np.arange(len(lines)), [len(p) for p in lines])
    if not _in_window(view, *uv.min(axis=0)) or not _in_window(view, *uv.max(axis=0)):
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


def _stretch(seam: Seam) -> Points:
    return np.array([(seam.u0, seam.v0), (seam.u1, seam.v1)])


# ---------------------------------------------------------------------------------- what is written


@lru_cache(maxsize=4096)  # of a lot that is being drawn
def cut_size(piece: Piece, system: System) -> str:
    """Length by width as cut, rounded up: a piece may not be short. Of slanted ends the lengths
    along the left and the right edge."""
    left, right, width = (
        system.tape(size, up=True) for size in (piece.length_m, piece.right_m, piece.width_m)
    )
    if left == right:
        return f"{left} x {width}"
    return f"{left} / {right} x {width}"


class _Label(NamedTuple):
    """``number`` stands before ``lines``, or ``above`` them; ``turned``: all run up the page."""

    number: str
    lines: tuple[str, ...]
    above: bool = False
    turned: bool = False

    @property
    def extent(self) -> tuple[float, float]:
        """Width and height in mm, before it is turned."""
        small = SMALL_PT * _PT_MM
        large = LARGE_PT * _PT_MM
        number = len(self.number) * large * _WIDE
        text = max((len(line) for line in self.lines), default=0) * small * _WIDE
        rows = len(self.lines) * small * _HIGH
        if self.above:
            return max(number, text) + _AIR_MM, large * _HIGH + rows + _AIR_MM
        return number + text + 2 * _AIR_MM, max(rows, large * _HIGH) + _AIR_MM


class _Written(NamedTuple):
    """A label and its middle, in pile coordinates."""

    label: _Label
    u: float
    v: float


def unreadable(laying: Laying, view: View, system: System) -> list[Piece]:
    """Pieces with their middle in the window that have no room for their number and size."""
    out = []
    for k, piece in enumerate(laying.pieces):
        if _in_window(view, (piece.u0 + piece.u1) / 2, (piece.v0 + piece.v1) / 2):
            written = _written(laying, k, view, system)
            if written is None or not written.label.lines:
                out.append(piece)
    return out


def _labels(laying: Laying, view: View, system: System, named: bool) -> Iterator[dict[str, Any]]:
    for k in range(len(laying.pieces)):
        written = _written(laying, k, view, system, named)
        if written is None:
            continue
        label = written.label
        (x, y) = view.page(written.u, written.v)
        at = {
            "x": _round(x),
            "y": _round(y),
            "turned": label.turned,
            "above": label.above,
        }
        yield at | {"number": label.number, "lines": list(label.lines)}


def _written(
    laying: Laying, k: int, view: View, system: System, named: bool = False
) -> _Written | None:
    """The fullest label of a piece that there is room for on its turf, or else on what is cut off
    it; the number alone is always written, but where too little of the piece is seen."""
    kept, off = laying.parted[k]
    turf = _seen(kept, view)
    if turf is None:
        return None
    rest = off and _seen(off, view)
    wordings = _wordings(k + 1, laying.pieces[k], system, named)
    for place in (turf, rest) if rest else (turf,):
        for label, wide, high in wordings:
            for turned in (False, True):
                spot = _spot(place, *_on_the_ground(view, wide, high, turned))
                if spot is not None:
                    return _Written(label._replace(turned=turned), *spot)
    number = _Label(f"{k + 1}", ())
    inside = shapely.point_on_surface(turf.shape)
    spot = _spot(turf, *_on_the_ground(view, *number.extent))
    return _Written(number, *(spot or (inside.x, inside.y)))


def _seen(part: Stretch, view: View) -> Stretch | None:
    """What is seen of a part of a piece; None where that is too little to be written on."""
    least = _WORTH_MM / view.scale.mm
    u0, v0, u1, v1 = part.bounds
    if not (_in_window(view, u0, v0) and _in_window(view, u1, v1)):
        seen = plane.in_box(part.shape, view.window)
        u0, v0, u1, v1 = shapely.bounds(seen).tolist()
        part = Stretch(seen, (u0, v0, u1, v1), part.whole)
    # of nothing the bounds are no numbers
    if u1 - u0 > least and v1 - v0 > least:
        return part
    return None


def _on_the_ground(
    view: View, wide_mm: float, high_mm: float, turned: bool = False
) -> tuple[float, float]:
    """How far (m) what is written on the page reaches along the pile and across it."""
    wide = wide_mm / view.scale.mm
    high = high_mm / view.scale.mm
    if view.turns % 2 != turned:
        return (wide, high)
    return (high, wide)


def _spot(part: Stretch, du: float, dv: float) -> tuple[float, float] | None:
    """Where the middle of a label of that size lies, near the part's middle; None where no place
    was found."""
    u0, v0, u1, v1 = part.bounds
    if du > u1 - u0 or dv > v1 - v0:
        return None
    if part.whole:
        return (u0 + u1) / 2, (v0 + v1) / 2
    shapely.prepare(part.shape)
    for spots in (
        _SPOTS[:1],
        _SPOTS[1:],
    ):  # the middle, where most have room, by itself: sooner told
        u = u0 + du / 2 + (u1 - u0 - du) * spots[:, 0]
        v = v0 + dv / 2 + (v1 - v0 - dv) * spots[:, 1]
        labels = shapely.box(u - du / 2, v - dv / 2, u + du / 2, v + dv / 2)
        free = shapely.covers(part.shape, labels)
        first = int(np.argmax(free))
        if free[first]:
            return (float(u[first]), float(v[first]))
    return None


@lru_cache(maxsize=4096)  # of a lot that is being drawn
def _wordings(
    number: int, piece: Piece, system: System, named: bool
) -> tuple[tuple[_Label, float, float], ...]:
    """A piece's labels with their width and height in mm, the fullest first."""
    size = cut_size(piece, system)
    length, width = size.split(" x ")
    names = (
        (piece.piece, piece.roll, size),
        (piece.piece, f"{piece.roll}: {size}"),
        (piece.piece, piece.roll, f"{length} x", width),
    )
    wordings = (*(names if named else ()), (size,), (f"{length} x", width))
    labels = [_Label(f"{number}", lines, above) for lines in wordings for above in (False, True)]
    return tuple((label, *label.extent) for label in labels)


def _in_window(view: View, u: float, v: float) -> bool:
    u0, v0, u1, v1 = view.window
    return u0 <= u <= u1 and v0 <= v <= v1


def _marks(laying: Laying, view: View) -> Iterator[dict[str, Any]]:
    for line in laying.lines:
        for mark in line.marks:
            if _in_window(view, mark.u, mark.v):
                yield _named(view, mark.name, mark.u, mark.v, laying)


def _corners(laying: Laying, view: View) -> Iterator[dict[str, Any]]:
    ties = {tie.name: tie for line in laying.lines for mark in line.marks for tie in mark.ties}
    for tie in ties.values():
        if _in_window(view, tie.corner.u, tie.corner.v):
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
