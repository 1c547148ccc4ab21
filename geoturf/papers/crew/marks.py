"""How a point of an area's border is found with a tape: from corners that do not move.

A point on a straight edge is measured along it from one corner. Any other is measured from two, and
lies where both tapes meet (a tie, as surveyors call it). Corners of houses come before corners of
walks, these before others; a tape lies on the area, not across a house.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations, count
from string import ascii_uppercase
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from geoturf.units import read

Points = NDArray[np.float64]

HOUSE = "house corner"
WALK = "walk corner"
AREA = "corner of the area"
BEND = "bend of the border"
_RANK = (HOUSE, WALK, AREA, BEND)
_BUILT = {"building": HOUSE, "paving": WALK}
_EDGE_M = read("3 ft", "length")  # edges at least this long are measured along; ties are no shorter
_STRAIGHT_M = read("1 in", "length")  # what bends less is straight
_TOUCH_M = read("3 in", "length")  # what is nearer the border is at it, as edges are told
_SHARP = float(np.sin(np.radians(20.0)))  # the sine of a bend that is seen as a corner
_CROSSING = 0.4  # sine of the least angle at which two tapes tell where they meet
_LOOK = 16  # corners tried in pairs
_BENDS = 12  # of a curved border that are tried


class Corner(NamedTuple):
    what: str
    u: float
    v: float


class Tie(NamedTuple):
    """A tape from a corner, which a drawing calls by ``name``."""

    name: str
    corner: Corner
    length_m: float


class Border:
    """An area's border and the corners on it, which get letters as they are used."""

    def __init__(
        self, shape: shapely.Geometry, beside: Iterable[tuple[str, shapely.Geometry]]
    ) -> None:
        plain = shapely.simplify(shape, _STRAIGHT_M)
        rings = [shapely.get_coordinates(ring) for ring in _rings(plain)]
        self.edges = np.concatenate(
            [np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings]
        )  # (n, 2, 2)
        self.room = shapely.buffer(shape, _TOUCH_M)
        shapely.prepare(self.room)
        built = list(_built(shape, beside))
        self.corners = [*built, *_own(rings, built)]
        self.names: dict[Corner, str] = {}
        self._letters = _letters()

    def ties(self, u: float, v: float) -> tuple[Tie, ...]:
        """The tapes that find a point of the border: one along an edge, or two."""
        point = np.array([u, v])
        along = [corner for edge in self._edges_at(point) for corner in self._on(edge)]
        if along:
            chosen: Iterable[Corner] = [min(along, key=lambda corner: _cost(corner, point))]
        else:
            chosen = self._pair(point)
        return tuple(Tie(self._name(one), one, _distance_m(one, point)) for one in chosen)

    def _edges_at(self, point: Points) -> Points:
        start = self.edges[:, 0]
        end = self.edges[:, 1]
        long_enough = np.hypot(*(end - start).T) >= _EDGE_M
        near = _to_edges(self.edges, point) <= 2 * _STRAIGHT_M
        found: Points = self.edges[long_enough & near]
        return found

    def _on(self, edge: Points) -> list[Corner]:
        sharp = [corner for corner in self.corners if corner.what != BEND]
        points = np.array([corner[1:] for corner in sharp]).reshape(-1, 2)
        away = _to_edges(np.broadcast_to(edge, (len(points), 2, 2)), points)
        return [corner for corner, far in zip(sharp, away, strict=True) if far <= _TOUCH_M]

    def _pair(self, point: Points) -> tuple[Corner, ...]:
        """Two corners whose tapes meet well, the more fixed and then the nearer ones; where no two
        do, those that come nearest to it."""
        seen = [corner for corner in self._candidates() if self._sees(corner, point)]
        far = [corner for corner in seen or self.corners if _distance_m(corner, point) >= _EDGE_M]
        nearest = sorted(far, key=lambda one: _cost(one, point))[:_LOOK]
        pairs = list(combinations(nearest, 2))
        good = [pair for pair in pairs if _sine(pair, point) > _CROSSING]
        if good:
            return min(good, key=lambda pair: _costs(pair, point))
        best = max(pairs, key=lambda pair: _sine(pair, point), default=None)
        return best or tuple(self.corners[:1])

    def _candidates(self) -> list[Corner]:
        """All corners, and bends from all round a border that has many."""
        bends = [corner for corner in self.corners if corner.what == BEND]
        step = max(len(bends) // _BENDS, 1)
        return [corner for corner in self.corners if corner.what != BEND] + bends[::step]

    def _sees(self, corner: Corner, point: Points) -> bool:
        return bool(shapely.covers(self.room, shapely.LineString([corner[1:], point.tolist()])))

    def _name(self, corner: Corner) -> str:
        if corner not in self.names:
            self.names[corner] = next(self._letters)
        return self.names[corner]


def _letters() -> Iterator[str]:
    """A, B … Z, A1, B1 …; I and O look like numbers."""
    plain = [letter for letter in ascii_uppercase if letter not in "IO"]
    for turn in count():
        yield from (letter + (str(turn) if turn else "") for letter in plain)


def _rings(shape: shapely.Geometry) -> NDArray[np.object_]:
    rings: NDArray[np.object_] = shapely.get_rings(shapely.get_parts(shape))
    return rings


def _cost(corner: Corner, point: Points) -> tuple[int, float]:
    return _RANK.index(corner.what), _distance_m(corner, point)


def _costs(pair: tuple[Corner, Corner], point: Points) -> tuple[int, float]:
    ranks, lengths = zip(*(_cost(corner, point) for corner in pair), strict=True)
    return sum(ranks), sum(lengths)


def _distance_m(corner: Corner, point: Points) -> float:
    return float(np.hypot(*(point - corner[1:])))


def _sine(pair: tuple[Corner, Corner], point: Points) -> float:
    """Of the angle at which tapes from two corners meet at a point."""
    (a, b), (c, d) = (point - corner[1:] for corner in pair)
    return float(abs(a * d - b * c) / (np.hypot(a, b) * np.hypot(c, d)))


def _to_edges(edges: Points, point: Points) -> Points:
    """Distances (n,) of a point, or of a point each (n, 2), from edges (n, 2, 2)."""
    start = edges[:, 0]
    along = edges[:, 1] - edges[:, 0]
    square = (along**2).sum(axis=1)
    part = ((point - start) * along).sum(axis=1) / np.where(square > 0, square, 1)
    foot = start + along * part.clip(0, 1)[:, None]
    away: Points = np.hypot(*(point - foot).T)
    return away


def _bends(ring: Points) -> Points:
    """The sine of the bend at each vertex of a closed ring (n + 1, 2), 1 where it is more than
    square; (n,)."""
    after = np.diff(ring, axis=0)
    before = np.roll(after, 1, axis=0)
    long = np.hypot(*after.T) * np.hypot(*before.T)
    cross = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])
    back = (before * after).sum(axis=1) <= 0
    sine: Points = np.where(back, 1.0, cross / np.where(long > 0, long, 1))
    return sine


def _built(
    shape: shapely.Geometry, beside: Iterable[tuple[str, shapely.Geometry]]
) -> Iterator[Corner]:
    """Corners of houses and walks that touch the border."""
    border = shapely.boundary(shape)
    for role, geometry in beside:
        for ring in _rings(geometry) if role in _BUILT else ():
            points = shapely.get_coordinates(ring)
            touch = shapely.distance(border, shapely.points(points[:-1])) <= _TOUCH_M
            for u, v in points[:-1][touch & (_bends(points) > _SHARP)]:
                yield Corner(_BUILT[role], float(u), float(v))


def _own(rings: Iterable[Points], built: list[Corner]) -> Iterator[Corner]:
    """Corners and bends of the border where nothing built has one."""
    fixed = np.array([corner[1:] for corner in built]).reshape(-1, 2)
    for ring in rings:
        points = ring[:-1]
        apart = np.hypot(*(points[:, None] - fixed).transpose(2, 0, 1)).min(axis=1, initial=np.inf)
        for (u, v), away, bend in zip(points, apart, _bends(ring), strict=True):
            if away > _TOUCH_M:
                yield Corner(AREA if bend > _SHARP else BEND, float(u), float(v))
