"""Areas that are laid alike: one drawing serves them all.

Two are alike where they are of one product, their pieces are cut to the same sizes and lie in the
same places of the same outline, their chalk lines are found by the same tapes, and what they border
on is the same. Pile coordinates know no north, so lots turned against each other are alike too.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from geoturf.papers.crew.laying import Laying
from geoturf.papers.crew.wording import cut_size
from geoturf.units import System, read

Points = NDArray[np.float64]

_LAID_M = read("0.0625 in", "length")  # by which pieces of what is laid alike may differ
_TAPE_M = read("0.25 in", "length")  # what a tape is read to
_RUN_M = read("1 in", "length")  # stretches of border: their nails are told lot by lot


class Alike(NamedTuple):
    """Areas of one drawing, that of the first; ``runs``: for each the order in which its runs are
    those of the first. ``mirror``: the earlier group that these are the mirror image of, or -1."""

    layings: list[Laying]
    runs: list[tuple[int, ...]]
    mirror: int


def groups(laid: Iterable[tuple[Laying, str]], system: System) -> list[Alike]:
    """Areas, each with the product it is laid with, gathered in the order in which they come."""
    out: list[Alike] = []
    forms: list[_Form] = []
    known: dict[Hashable, list[int]] = {}
    for one, product in laid:
        form = _Form(one)
        near = known.setdefault((product, *form.key(system)), [])
        found = ((k, form.runs_as(forms[k])) for k in near)
        at, runs = next(((k, runs) for k, runs in found if runs is not None), (-1, None))
        if runs is None:
            image = _Form(one, mirrored=True)
            mirror = next((k for k in near if image.runs_as(forms[k]) is not None), -1)
            near.append(len(out))
            forms.append(form)
            out.append(Alike([one], [tuple(range(len(one.runs)))], mirror))
        else:
            out[at].layings.append(one)
            out[at].runs.append(runs)
    return out


@dataclass
class _Form:
    """A laying in pile coordinates from the corner of what bounds it, or its mirror image."""

    laying: Laying
    mirrored: bool = False
    start: Points = field(init=False)

    def __post_init__(self) -> None:
        u0, v0, _, v1 = shapely.bounds(self.laying.shape)
        self.start = np.array([u0, -v1 if self.mirrored else v0])

    def key(self, system: System) -> tuple[Hashable, ...]:
        """What is equal in all that are alike."""
        one = self.laying
        sizes = tuple(cut_size(piece, system) for piece in one.pieces)
        tapes = [tie for line in one.lines for mark in line.marks for tie in mark.ties]
        kinds = tuple(sorted(run.kind for run in one.runs))
        return sizes, tuple((tie.name, tie.corner.what) for tie in tapes), kinds

    def at(self, points: Sequence[tuple[float, float]] | Points) -> Points:
        side = -1.0 if self.mirrored else 1.0
        moved: Points = np.asarray(points, float).reshape(-1, 2) * (1.0, side) - self.start
        return moved

    @cached_property
    def pieces(self) -> Points:
        """Rectangles (n, 4), along and across, from and to."""
        ends = self.at([end for p in self.laying.pieces for end in ((p.u0, p.v0), (p.u1, p.v1))])
        boxes: Points = np.sort(ends.reshape(-1, 2, 2), axis=1).reshape(-1, 4)
        return boxes

    @cached_property
    def tapes(self) -> Points:
        """Marks and the corners that they are found from."""
        marks = [mark for line in self.laying.lines for mark in line.marks]
        points = [(mark.u, mark.v) for mark in marks]
        points += [(tie.corner.u, tie.corner.v) for mark in marks for tie in mark.ties]
        return self.at(points)

    @cached_property
    def outline(self) -> shapely.Geometry:
        return shapely.transform(self.laying.shape, lambda points: self.at(points))

    @cached_property
    def middles(self) -> Points:
        lines = np.array([run.line for run in self.laying.runs], dtype=object)
        return self.at(shapely.get_coordinates(shapely.centroid(lines)))

    def runs_as(self, first: _Form) -> tuple[int, ...] | None:
        """The order in which the runs are those of ``first``; None where the two are not alike.
        Their keys are equal."""
        if not _near(self.pieces, first.pieces, _LAID_M):
            return None
        if not _near(self.tapes, first.tapes, _TAPE_M):
            return None
        if shapely.hausdorff_distance(self.outline, first.outline) > _RUN_M:
            return None
        return self._matched(first)

    def _matched(self, first: _Form) -> tuple[int, ...] | None:
        runs = self.laying.runs
        others = first.laying.runs
        free = list(range(len(runs)))
        order = []
        for other, middle in zip(others, first.middles, strict=True):
            same = [
                k
                for k in free
                if runs[k].kind == other.kind
                and abs(runs[k].laid_m - other.laid_m) <= _RUN_M
                and np.hypot(*(self.middles[k] - middle)) <= _RUN_M
            ]
            if not same:
                return None
            order.append(same[0])
            free.remove(same[0])
        return tuple(order)


def _near(one: Points, other: Points, most: float) -> bool:
    return one.shape == other.shape and bool((np.abs(one - other) <= most).all())
