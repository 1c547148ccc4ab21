"""Which label each piece of a drawing gets, and where: the fullest that there is room for on its
turf, or else on what is cut off it at the border."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import shapely

from geoturf import plane, spots
from geoturf.papers.crew.laying import Laying, Parts, Piece, Points, Rows
from geoturf.papers.crew.to_scale import View
from geoturf.papers.letters import PT_MM, wide_mm
from geoturf.units import System

SMALL_PT = 6.5
LARGE_PT = 9.0
_HIGH = 1.12  # of a line, in its size
_AIR_MM = 0.8  # about a label
_WORTH_MM = 1.0  # less of a piece is not labelled
_WORDINGS = 5  # ways to write a piece's label, each with its number before it or above
_NAMED = 6  # labels that say which piece it is, and its roll


class Label(NamedTuple):
    """``number`` stands before ``lines``, or ``above`` them; ``turned``: all run up the page."""

    number: str
    lines: tuple[str, ...]
    above: bool = False
    turned: bool = False

    @property
    def extent(self) -> tuple[float, float]:
        """Width and height in mm, before it is turned."""
        number = wide_mm(self.number, LARGE_PT, bold=True)
        text = max((wide_mm(line, SMALL_PT) for line in self.lines), default=0.0)
        rows = len(self.lines) * SMALL_PT * PT_MM * _HIGH
        large = LARGE_PT * PT_MM * _HIGH
        if self.above:
            return max(number, text) + _AIR_MM, large + rows + _AIR_MM
        return number + text + 2 * _AIR_MM, max(rows, large) + _AIR_MM


class Written(NamedTuple):
    """A label and its middle, in pile coordinates."""

    label: Label
    u: float
    v: float


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


def unreadable(
    laying: Laying,
    views: Sequence[View],
    system: System,
    among: Sequence[int] | Rows | None = None,
) -> list[Rows]:
    """For each of some views, which are of one window: pieces (of those ``among``) with their
    middle in it that have no room for their number and size."""
    pieces = np.arange(len(laying.pieces)) if among is None else np.asarray(among, np.int64)
    pieces = pieces[views[0].shows(*laying.middles[pieces].T)]
    mm = np.array([view.scale.mm for view in views])
    readable = _least_scale(laying, system)[pieces] <= mm[:, None]  # (views, pieces)
    view, row = np.nonzero(readable)
    labels, _ = _placed(laying, pieces[row], mm[view], views[0], system, named=False)
    readable[view, row] = labels >= 0
    return [pieces[~one] for one in readable]


def written(laying: Laying, view: View, system: System, named: bool) -> list[Written]:
    """The label of each piece, but where too little of it is seen. A number without a size stands
    on its piece, be there room or not."""
    every = np.arange(len(laying.pieces))
    mm = np.full(len(every), view.scale.mm)
    labels, middles = _placed(laying, every, mm, view, system, named)
    out = []
    for k in every[labels != _UNSEEN].tolist():
        if labels[k] < 0:
            out.append(_numbered(laying, k, view))
        else:
            wordings = _wordings(laying, system)[0][k]
            label = wordings[labels[k] // 2]._replace(turned=bool(labels[k] % 2))
            out.append(Written(label, *middles[k].tolist()))
    return out


_UNSEEN, _NO_ROOM = -2, -1


def _placed(
    laying: Laying, pieces: Rows, mm: Points, view: View, system: System, named: bool
) -> tuple[Rows, Points]:
    """For each of some pieces, which are drawn ``mm`` to a metre in a view's window, its label:
    twice its number among the piece's wordings and one more where it is turned, or `_UNSEEN` or
    `_NO_ROOM`; and the label's middle."""
    first = 0 if named else _NAMED
    extents = _wordings(laying, system)[1][pieces, first:] / mm[:, None, None]
    along, across = _on_the_ground(extents, view)
    chosen = np.full(len(pieces), _NO_ROOM)
    middles = np.zeros((len(pieces), 2))
    for parts in laying.turf, laying.cut_off:
        bounds = _seen(parts, pieces, view)
        worth = (bounds[:, 2:] - bounds[:, :2] > (_WORTH_MM / mm)[:, None]).all(axis=1)
        if parts is laying.turf:
            chosen[~worth] = _UNSEEN
        rows = np.flatnonzero(worth & (chosen == _NO_ROOM))
        found, middles[rows] = _tried(parts, pieces[rows], bounds[rows], along[rows], across[rows])
        chosen[rows] = np.where(found >= 0, found + 2 * first, _NO_ROOM)
    return chosen, middles


def _seen(parts: Parts, pieces: Rows, view: View) -> Points:
    """Bounds of what is seen of parts of pieces (n, 4); of nothing no numbers."""
    bounds = parts.bounds[pieces]
    u0, v0, u1, v1 = parts.extent
    if view.shows(u0, v0) and view.shows(u1, v1):
        return bounds
    inside = view.shows(*bounds[:, :2].T) & view.shows(*bounds[:, 2:].T)
    cut = np.flatnonzero(~inside & ~np.isnan(bounds[:, 0]))
    each, of = np.unique(pieces[cut], return_inverse=True)
    seen = [shapely.bounds(plane.in_box(shape, view.window)) for shape in parts.shapes[each]]
    bounds[cut] = np.array(seen).reshape(-1, 4)[of]
    return bounds


def _tried(
    parts: Parts, pieces: Rows, bounds: Points, along: Points, across: Points
) -> tuple[Rows, Points]:
    edges, first = parts.edges
    return spots.tried(edges, first, pieces, parts.whole, bounds, along, across, spots.SPOTS)


def _on_the_ground(extents: Points, view: View) -> tuple[Points, Points]:
    """How far what is written on the page, width and height (n, labels, 2), reaches along the pile
    and across it: (n, 2 labels), each as it is and turned."""
    shape = (len(extents), 2 * extents.shape[1])
    wide_first = extents.reshape(shape)
    high_first = extents[..., ::-1].reshape(shape)
    if view.turns % 2:
        return wide_first, high_first
    return high_first, wide_first


def _numbered(laying: Laying, k: int, view: View) -> Written:
    """The number alone, in the middle of its turf if there is room."""
    label = Label(f"{k + 1}", ())
    piece = np.array([k])
    bounds = _seen(laying.turf, piece, view)
    along, across = _on_the_ground(np.array([[label.extent]]) / view.scale.mm, view)
    found, middles = _tried(laying.turf, piece, bounds, along[:, :1], across[:, :1])
    if found[0] >= 0:
        return Written(label, *middles[0].tolist())
    inside = shapely.point_on_surface(plane.in_box(laying.turf.shapes[k], view.window))
    return Written(label, inside.x, inside.y)


@lru_cache(maxsize=256)  # of a sheet that is being drawn
def _wordings(laying: Laying, system: System) -> tuple[list[list[Label]], Points]:
    """Each piece's labels, the fullest first, and their width and height in mm (n, labels, 2)."""
    labels = [_labels_of(k, piece, system) for k, piece in enumerate(laying.pieces, 1)]
    extents = np.array([[label.extent for label in some] for some in labels])
    return labels, extents.reshape(len(labels), 2 * _WORDINGS, 2)


def _labels_of(number: int, piece: Piece, system: System) -> list[Label]:
    size = cut_size(piece, system)
    length, width = size.split(" x ")
    wordings: tuple[tuple[str, ...], ...] = (
        (piece.piece, piece.roll, size),
        (piece.piece, f"{piece.roll}: {size}"),
        (piece.piece, piece.roll, f"{length} x", width),
        (size,),
        (f"{length} x", width),
    )
    return [Label(f"{number}", lines, above) for lines in wordings for above in (False, True)]


@lru_cache(maxsize=256)  # of a sheet that is being drawn
def _least_scale(laying: Laying, system: System) -> Points:
    """Millimetres for a metre below which a piece's size has no room, whatever its shape (n,)."""
    extents = _wordings(laying, system)[1][:, _NAMED:]
    turned = extents[..., ::-1]
    both = np.concatenate([extents, turned], axis=1)
    least = np.full(len(laying.pieces), np.inf)
    for parts in laying.turf, laying.cut_off:
        size = parts.bounds[:, 2:] - parts.bounds[:, :2]
        with np.errstate(divide="ignore", invalid="ignore"):
            needed = (both / size[:, None]).max(axis=2).min(axis=1)
        least = np.fmin(least, needed)
    out: Points = least * (1 - 1e-9)
    return out
