"""Each area as a crew lays it: its border, what is beside it, its pieces in laying order, and the
chalk lines that they are laid to. All in the area's laying plane and pile coordinates, metres: u
along the pile, v across it to the right.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple, TypeVar

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoturf import plane
from geoturf.model import Result
from geoturf.papers.crew.marks import Border, Tie
from geoturf.records import records
from geoturf.units import read

Row = TypeVar("Row")
Shapes = NDArray[np.object_]
Points = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = NDArray[np.int64]

BESIDE_M = read("4 ft", "length")  # what is shown of houses and walks about an area
_SHOWN = ("building", "paving", "exclude")
_POLYGON = 3  # shapely's numbers of a Polygon, and of it and a MultiPolygon
_AREAL = (3, 6)
_SAME_M = 5e-3  # seams less apart are one line
_WHOLE = 1e-6  # of a piece that may be missing at its border


class Piece(NamedTuple):
    """A rectangle as laid, and the sizes it is cut to."""

    piece: str
    roll: str
    u0: float
    u1: float
    v0: float
    v1: float
    length_m: float
    width_m: float
    start_slant_m: float
    end_slant_m: float
    cut_u_m: float  # where its start line meets its left edge, if it is cut slanted

    @property
    def right_m(self) -> float:
        """Its length along the right edge; ``length_m`` is along the left one."""
        return self.length_m + self.end_slant_m - self.start_slant_m

    @property
    def corners(self) -> list[tuple[float, float]]:
        """As it lies before it is trimmed: as a rectangle to the border, or as it is cut where its
        ends slant."""
        if np.isnan(self.cut_u_m):
            left = (self.u0, self.u1)
            right = (self.u0, self.u1)
        else:
            start = self.cut_u_m + self.start_slant_m
            left = (self.cut_u_m, self.cut_u_m + self.length_m)
            right = (start, start + self.right_m)
        return [(left[0], self.v0), (left[1], self.v0), (right[1], self.v1), (right[0], self.v1)]


class Run(NamedTuple):
    """A stretch of border of one kind."""

    kind: str
    laid_m: float
    fasteners: int
    line: shapely.LineString


class Seam(NamedTuple):
    kind: str  # seam, cross
    u0: float
    v0: float
    u1: float
    v1: float

    @property
    def cross(self) -> bool:
        return self.kind == "cross"

    @property
    def place(self) -> float:
        """Where its line lies: along the pile for a cross seam, across it for another."""
        if self.cross:
            return self.u0
        return self.v0

    @property
    def span(self) -> tuple[float, float]:
        if self.cross:
            return (self.v0, self.v1)
        return (self.u0, self.u1)

    @property
    def ends(self) -> list[tuple[float, float]]:
        return [(self.u0, self.v0), (self.u1, self.v1)]

    @property
    def length_m(self) -> float:
        start, end = self.span
        return end - start


class Outlines(NamedTuple):
    """Lines by kind, their points (n, 2), and which line each is of."""

    kinds: tuple[str, ...]
    points: Points
    line: Rows


class Mark(NamedTuple):
    """An end of a chalk line and the tapes that find it."""

    name: str
    u: float
    v: float
    ties: tuple[Tie, ...]


class Line(NamedTuple):
    """A seam's chalk line, and the seams measured from it: ones along the pile square to it, cross
    seams along the pile from its first mark."""

    marks: tuple[Mark, Mark]
    seam: Seam
    others: tuple[Seam, ...]

    def offset_m(self, seam: Seam) -> float:
        return seam.place - (self.seam.u0 if seam.cross else self.seam.v0)


@dataclass(frozen=True, eq=False)
class Parts:
    """A part of each piece (n,), what there is none of empty, and whether it is all of its
    piece."""

    shapes: Shapes
    whole: Flags

    @cached_property
    def bounds(self) -> Points:
        """Of each, (n, 4); of nothing no numbers."""
        return shapely.bounds(self.shapes)

    @cached_property
    def extent(self) -> tuple[float, float, float, float]:
        """Of all of them."""
        if not len(self.shapes):
            return (0.0, 0.0, 0.0, 0.0)
        low = np.fmin.reduce(self.bounds[:, :2])
        high = np.fmax.reduce(self.bounds[:, 2:])
        return (*low.tolist(), *high.tolist())

    @cached_property
    def edges(self) -> tuple[Points, Rows]:
        """Of all, and the number of the first of each part (n + 1,)."""
        parts, part_of = shapely.get_parts(self.shapes, return_index=True)
        areal = shapely.get_type_id(parts) == _POLYGON
        rings, ring_of = shapely.get_rings(parts[areal], return_index=True)
        points, point_of = shapely.get_coordinates(rings, return_index=True)
        goes_on = point_of[1:] == point_of[:-1]
        edges = np.hstack([points[:-1], points[1:]])[goes_on]
        owner = part_of[areal][ring_of][point_of[1:][goes_on]]
        return edges, np.searchsorted(owner, np.arange(len(self.shapes) + 1))


@dataclass(frozen=True, eq=False)  # one is what it is: no shapes are compared
class Laying:
    area_index: int
    bearing_deg: float
    shape: shapely.Geometry
    runs: tuple[Run, ...]
    beside: tuple[tuple[str, shapely.Geometry], ...]  # role, polygon
    pieces: tuple[Piece, ...]  # in laying order
    seams: tuple[Seam, ...]
    lines: tuple[Line, ...]

    @cached_property
    def turf(self) -> Parts:
        """What each piece covers of the area."""
        kept = shapely.intersection(self._laid, self.shape)
        whole = shapely.area(kept) > shapely.area(self._laid) * (1 - _WHOLE)
        return Parts(kept, whole)

    @cached_property
    def cut_off(self) -> Parts:
        """What is cut off each piece at the border."""
        off = np.full(len(self.pieces), shapely.Polygon(), dtype=object)
        parted = ~self.turf.whole
        off[parted] = shapely.difference(self._laid[parted], self.shape)
        return Parts(off, np.zeros(len(off), bool))

    @cached_property
    def middles(self) -> Points:
        """Of the pieces, (n, 2)."""
        return (self._sides[:, :2] + self._sides[:, 2:]) / 2

    @cached_property
    def outlines(self) -> Outlines:
        """All lines that are drawn of it, by what they are."""
        told: list[tuple[str, Any]] = []
        told += [("piece", [*piece.corners, piece.corners[0]]) for piece in self.pieces]
        told += [("seam", seam.ends) for seam in self.seams]
        told += [("chalk", line.seam.ends) for line in self.lines]
        told += [(run.kind, shapely.get_coordinates(run.line)) for run in self.runs]
        kinds, lines = zip(*told, strict=True)
        owner = np.repeat(np.arange(len(lines)), [len(points) for points in lines])
        return Outlines(kinds, np.concatenate(lines), owner)

    @cached_property
    def _sides(self) -> Points:
        return np.array([(p.u0, p.v0, p.u1, p.v1) for p in self.pieces]).reshape(-1, 4)

    @cached_property
    def _laid(self) -> Shapes:
        u0, v0, u1, v1 = self._sides.T
        laid: Shapes = shapely.box(u0, v0, u1, v1)
        return laid


def layings(result: Result) -> list[Laying]:
    """One an area, in their order."""
    land = result.ground.areas
    plan = result.plan
    bearing = np.nan_to_num(plan.chosen["pile_bearing_deg"].to_numpy(float))
    shapes = _turned(land["laid"].to_numpy(dtype=object), bearing)
    beside = _beside(result, bearing, shapes)
    runs = _by_area(_laid_runs(result, bearing), Run, len(land))
    pieces = _by_area(plan.pieces, Piece, len(land))
    seams = _by_area(plan.seams, Seam, len(land))
    out = []
    for k in range(len(land)):
        parts = _in_turn(pieces[k], runs[k], seams[k])
        lines = _lines(parts, Border(shapes[k], beside[k]))
        out.append(
            Laying(
                k,
                float(bearing[k]),
                shapes[k],
                tuple(runs[k]),
                tuple(beside[k]),
                tuple(piece for part in parts for piece in part.pieces),
                tuple(seams[k]),
                tuple(lines),
            )
        )
    return out


def slanted(result: Result) -> bool:
    """Whether there are pieces with slanted ends, whose sizes take more room."""
    return bool(result.plan.pieces["cut_u_m"].notna().any())


def numbers(result: Result) -> dict[str, int]:
    """Each piece's place in the order in which its area is laid, from 1."""
    count = len(result.ground.areas)
    bearing = np.nan_to_num(result.plan.chosen["pile_bearing_deg"].to_numpy(float))
    runs = _by_area(_laid_runs(result, bearing), Run, count)
    pieces = _by_area(result.plan.pieces, Piece, count)
    seams = _by_area(result.plan.seams, Seam, count)
    turns = (_in_turn(*one) for one in zip(pieces, runs, seams, strict=True))
    return {
        piece.piece: number
        for parts in turns
        for number, piece in enumerate((piece for part in parts for piece in part.pieces), 1)
    }


def _turned(geometries: Shapes, bearing_deg: np.ndarray) -> Shapes:
    """Geometries of ground frames in pile coordinates, of a bearing each: u for x, v for y."""
    points, owner = shapely.get_coordinates(geometries, return_index=True)
    bearing = np.radians(bearing_deg)[owner]
    sine = np.sin(bearing)
    cosine = np.cos(bearing)
    x, y = points.T
    uv = np.column_stack([x * sine + y * cosine, x * cosine - y * sine])
    out: Shapes = shapely.set_coordinates(geometries.copy(), uv)
    return out


def _by_area(table: pd.DataFrame, kind: Callable[..., Row], count: int) -> list[list[Row]]:
    out: list[list[Row]] = [[] for _ in range(count)]
    for area, row in zip(table["area_index"].astype(int), records(table, kind), strict=True):
        out[area].append(row)
    return out


def _laid_runs(result: Result, bearing: np.ndarray) -> pd.DataFrame:
    runs = result.edges.runs
    owner = runs["area_index"].to_numpy(int)
    laid = plane.onto_laid(result.ground.areas, owner, runs["geometry"].to_numpy(dtype=object))
    return runs.assign(line=_turned(laid, bearing[owner]))


def _beside(
    result: Result, bearing: np.ndarray, shapes: Shapes
) -> list[list[tuple[str, shapely.Geometry]]]:
    """Buildings, paving and what is left out near each area, as far as they are shown."""
    land = result.ground.areas
    context = result.ground.context
    out: list[list[tuple[str, shapely.Geometry]]] = [[] for _ in range(len(land))]
    areal = np.isin(shapely.get_type_id(context["geometry"].to_numpy(dtype=object)), _AREAL)
    known = context[areal & context["role"].isin(_SHOWN)]
    if not len(known):
        return out
    things = known["geometry"].to_numpy(dtype=object)
    roles = known["role"].to_numpy()
    own = land["laid"].to_numpy(dtype=object)
    frame = land["frame"].to_numpy()
    area, row = plane.near(own, frame, things, known["frame"].to_numpy(), BESIDE_M)
    turned = _turned(plane.onto_laid(land, area, things[row]), bearing[area])
    for k, role, geometry in zip(area, roles[row], turned, strict=True):
        seen = plane.in_box(geometry, window_of(shapes[k]))
        if not shapely.is_empty(seen):
            out[k].append((str(role), seen))
    return out


def window_of(shape: shapely.Geometry) -> tuple[float, float, float, float]:
    """What is drawn of an area: u and v from, u and v to."""
    u0, v0, u1, v1 = shapely.bounds(shape)
    return u0 - BESIDE_M, v0 - BESIDE_M, u1 + BESIDE_M, v1 + BESIDE_M


# ---------------------------------------------------------------------------------------- the order


class Part(NamedTuple):
    """Pieces in laying order, the seam they are laid to and their other seams. A seam between two
    parts goes with the first of them."""

    pieces: list[Piece]
    seam: Seam | None
    others: list[Seam]


def _in_turn(pieces: list[Piece], runs: list[Run], seams: list[Seam]) -> list[Part]:
    """The parts of an area from the side that has more house and walk along it. In each the strip
    beside its chalk line comes first, then the strips beyond it, then those before it; pieces of a
    strip along the pile."""
    right = 1.0 if not pieces or _fixed_on_the_left(pieces, runs) else -1.0
    parts = sorted(_parts(pieces), key=lambda part: min(_near(piece, right) for piece in part))
    free = _whole(seams)
    out = []
    for part in parts:
        mine = [seam for seam in free if any(_meet(piece, seam) for piece in part)]
        free = [seam for seam in free if seam not in mine]
        seam = _first(mine, right)
        out.append(Part(_from(seam, part, right), seam, [one for one in mine if one is not seam]))
    return out


def _near(piece: Piece, right: float) -> tuple[int, float]:
    """Where a piece begins, counted across the pile from the side where laying begins; then
    along."""
    return round((piece.v0 if right > 0 else -piece.v1) / _SAME_M), piece.u0


def _first(mine: list[Seam], right: float) -> Seam | None:
    """The first seam from the side that is long enough to lay straight by, half as long as the
    longest; a cross seam where there is no other."""
    sides = [seam for seam in mine if not seam.cross]
    long_enough = max((seam.length_m for seam in sides), default=0.0) / 2
    straight = [seam for seam in sides if seam.length_m >= long_enough]
    if straight:
        return min(straight, key=lambda seam: (right * seam.place, -seam.length_m))
    return max(mine, key=lambda seam: seam.length_m, default=None)


def _from(seam: Seam | None, part: list[Piece], right: float) -> list[Piece]:
    def rank(piece: Piece) -> tuple[int, float, float]:
        across, along = _near(piece, right)
        end = right * (piece.v1 if right > 0 else piece.v0)
        before = seam is not None and not seam.cross and end < right * seam.place - _SAME_M
        if before:
            return (1, -across, along)
        return (0, across, along)

    return sorted(part, key=rank)


def _fixed_on_the_left(pieces: list[Piece], runs: list[Run]) -> bool:
    middle = (min(p.v0 for p in pieces) + max(p.v1 for p in pieces)) / 2
    lean = 0.0
    for run in runs:
        if run.kind in ("building", "paving"):
            points = shapely.get_coordinates(run.line)
            v = (points[1:, 1] + points[:-1, 1]) / 2
            lean += float((np.hypot(*np.diff(points, axis=0).T) * np.sign(middle - v)).sum())
    return lean >= -_SAME_M


def _parts(pieces: list[Piece]) -> list[list[Piece]]:
    """Pieces that lie side by side, or end to end in one strip, go together: turf about a house is
    laid part by part."""
    if not pieces:
        return []
    u0, u1, v0, v1 = np.array([(p.u0, p.u1, p.v0, p.v1) for p in pieces]).T

    def alike(a: np.ndarray, b: np.ndarray) -> Flags:
        same: Flags = np.abs(a[:, None] - b) < _SAME_M
        return same

    overlap = (u0[:, None] < u1 - _SAME_M) & (u0 < u1[:, None] - _SAME_M)
    follows = alike(u1, u0) & alike(v0, v0) & alike(v1, v1)
    touch = (alike(v1, v0) & overlap) | follows
    touch |= touch.T | np.eye(len(pieces), dtype=bool)
    part = np.arange(len(pieces))
    while True:  # each takes the lowest number of its neighbours until none changes
        lowest = np.where(touch, part, len(part)).min(axis=1)
        if (lowest == part).all():
            break
        part = lowest
    return [[p for p, k in zip(pieces, part, strict=True) if k == one] for one in np.unique(part)]


# -------------------------------------------------------------------------------------- chalk lines


def _lines(parts: list[Part], border: Border) -> list[Line]:
    """The chalk line of each part that has a seam."""
    lines: list[Line] = []
    for _, seam, others in parts:
        if seam is not None:
            number = 2 * len(lines) + 1
            start = Mark(f"{number}", seam.u0, seam.v0, border.ties(seam.u0, seam.v0))
            end = Mark(f"{number + 1}", seam.u1, seam.v1, border.ties(seam.u1, seam.v1))
            lines.append(Line((start, end), seam, tuple(others)))
    return lines


def _whole(seams: list[Seam]) -> list[Seam]:
    """Stretches of a line that go on from each other, as one."""
    out: list[Seam] = []
    for seam in sorted(seams, key=lambda s: (s.kind, round(s.place / _SAME_M), s.span)):
        last = out[-1] if out else None
        if last and _goes_on(last, seam):
            out[-1] = last._replace(u1=max(last.u1, seam.u1), v1=max(last.v1, seam.v1))
        else:
            out.append(seam)
    return out


def _goes_on(last: Seam, seam: Seam) -> bool:
    in_line = last.kind == seam.kind and abs(last.place - seam.place) < _SAME_M
    return in_line and seam.span[0] <= last.span[1] + _SAME_M


def _meet(piece: Piece, seam: Seam) -> bool:
    """Whether the seam is at a side or an end of the piece."""
    ends = (piece.u0, piece.u1)
    sides = (piece.v0, piece.v1)
    on, along = (ends, sides) if seam.cross else (sides, ends)
    start, end = seam.span
    beside = start < along[1] - _SAME_M and along[0] < end - _SAME_M
    return beside and min(abs(seam.place - one) for one in on) < _SAME_M
