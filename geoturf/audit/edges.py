"""What lies along each border, by another way than the run's: how much of it lies within the
tolerance of buildings, paving and other turf of its site (buffers), and how much touches them.

Looking all round takes a little more at corners than looking straight out does, so the lengths told
must lie between two that are reckoned here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geoturf.audit import earth
from geoturf.audit.drawn import Drawn, Input
from geoturf.audit.folder import Folder, Shapes
from geoturf.audit.ground import heights
from geoturf.audit.parts import by_parts
from geoturf.audit.told import Floats, Told, between, compared, first_wrong, nothing, unseen

_TOUCH_M = 2e-3
_SUM_M = 0.02  # four lengths written to a hundredth of a foot
_LOOSE_M = 0.6  # corners, and gaps as long as a post that are closed along a border
_LOOSE = 0.03  # of a length: borders that draw near each other at a slant


@dataclass(frozen=True)
class _Beside:
    """Things of a kind, in degrees, each beside an area, (k,), in the order of areas."""

    kind: str
    area: NDArray[np.intp]
    thing: Shapes

    def of(self, rows: slice) -> tuple[NDArray[np.intp], Shapes]:
        first, last = np.searchsorted(self.area, (rows.start, rows.stop))
        return self.area[first:last] - rows.start, self.thing[first:last]


@dataclass(frozen=True)
class _Borders:
    """Areas in planes of their own, (n,), and the things about each: of every kind the area's
    number and the thing in its plane, in the order of areas."""

    shape: Shapes
    line: Shapes
    whole_m: Floats
    about: dict[str, tuple[NDArray[np.intp], Shapes]]

    def only(self, rows: NDArray[np.intp]) -> _Borders:
        new = np.full(len(self.shape), -1)
        new[rows] = np.arange(len(rows))
        kept = {kind: (new[at], things) for kind, (at, things) in self.about.items()}
        about = {kind: (at[at >= 0], things[at >= 0]) for kind, (at, things) in kept.items()}
        return _Borders(self.shape[rows], self.line[rows], self.whole_m[rows], about)


#: the least and the most that edges of a kind can be, (n,) each
_Bounds = dict[str, tuple[Floats, Floats]]


def laid(folder: Folder) -> Told:
    """Turf is laid on every area, or on those that the comparison of water chooses for it."""
    areas = folder.table("areas")
    chosen = set()
    compares = folder.has("water")
    if compares:
        water = folder.table("water")
        texts = (water.text(name) for name in ("site", "area", "conversion", "chosen"))
        chosen = {
            (site, area)
            for site, area, to, yes in zip(*texts, strict=True)
            if to == "turf" and yes == "yes"
        }
    keys = zip(areas.text("site"), areas.text("area"), strict=True)
    wrong = [
        f"{name} has no turf"
        for name, key, on in zip(folder.areas, keys, folder.laid, strict=True)
        if not on and (key in chosen or not compares)
    ]
    return first_wrong("turf laid", "areas that are to have turf", wrong, len(areas))


def add_up(folder: Folder) -> Told:
    areas = folder.table("areas").only(folder.laid)
    names = [name for name, on in zip(folder.areas, folder.laid, strict=True) if on]
    kinds = [areas.si(f"edge_{kind}") for kind in ("paving", "building", "shared", "open")]
    told = areas.si("perimeter")
    return compared("edges add up", "sums of edges", names, told, sum(kinds), _SUM_M, "m")


def promises(folder: Folder, drawn: Drawn, found: Input) -> list[Told]:
    if found.lost:
        return [unseen("edges", "not all of the input could be read")]
    areas = folder.table("areas")
    drawn = drawn.only(folder.laid[drawn.row])
    if not len(drawn.row):
        return [nothing("edges", "turf that is laid")]
    own = earth.planes(drawn.lonlat, heights(folder, drawn), drawn.geod)
    reach = folder.settings["edges"]["tolerance"]
    about = _about(folder, drawn, found)
    told = {kind: areas.si(f"edge_{kind}")[drawn.row] for kind in _WORDS}

    def reckoned(rows: slice) -> _Bounds:
        borders = _borders(drawn.lonlat, own, about, reach, rows)
        return _bounds(borders, {kind: one[rows] for kind, one in told.items()}, reach)

    parts = by_parts(reckoned, len(drawn.row))
    names = [folder.areas[k] for k in drawn.row]
    out = []
    for kind, words in _WORDS.items():
        least, most = (np.concatenate([part[kind][end] for part in parts]) for end in (0, 1))
        out.append(between(f"{kind} edges", words, names, told[kind], least, most, "m"))
    return out


#: kinds of edges, as promises tell them
_WORDS = {
    "building": "edges along building",
    "paving": "edges along paving",
    "shared": "edges along shared",
    "open": "edges along nothing",
}


def _bounds(borders: _Borders, told: dict[str, Floats], reach: float) -> _Bounds:
    """What touches is near, so edges that hold where only what touches counts as near hold all the
    more; and so do those that hold where things that overlap an area count as touching it. Only the
    others are looked at as they should be: few are. (Corners of what touches stand out by five
    times as much at the most; that must not be more than what is near.)"""
    alike = {kind: _touched(borders, kind) for kind in borders.about}
    bounds = _reckoned(borders.whole_m, alike, alike)
    held = [(low <= told[kind]) & (told[kind] <= high) for kind, (low, high) in bounds.items()]
    rows = np.flatnonzero(~np.all(held, axis=0) | (reach < 5 * _TOUCH_M))
    if len(rows):
        others = borders.only(rows)
        near = {kind: _near(others, kind, reach) for kind in others.about}
        touching = {kind: _touched(_apart(others, kind), kind) for kind in others.about}
        for kind, ends in _reckoned(others.whole_m, near, touching).items():
            for end, values in zip(bounds[kind], ends, strict=True):
                end[rows] = values
    return bounds


def _reckoned(whole: Floats, near: dict[str, Floats], touching: dict[str, Floats]) -> _Bounds:
    """``near``: border that comes near things of a kind at all; ``touching``: that touches them
    for sure."""

    def room(length: Floats) -> Floats:
        return _LOOSE_M + _LOOSE * length + (1e-5 * whole)

    bounds = {kind: (np.zeros(len(whole)), one + room(one)) for kind, one in near.items()}
    nearest = np.minimum(sum(near.values()), whole)
    sure = np.maximum.reduce(list(touching.values()))
    return bounds | {"open": (whole - nearest - room(nearest), whole - sure + room(sure))}


def _of_role(found: Input, role: str) -> Shapes:
    layers = [layer for setting, _, _, layer in found.layers if setting["role"] == role]
    shapes = [layer.shape[~shapely.is_missing(layer.shape)] for layer in layers]
    return np.concatenate([np.empty(0, object), *shapes])


def _about(folder: Folder, drawn: Drawn, found: Input) -> list[_Beside]:
    """Buildings and paving within a metre of areas, and other areas of the same site and
    product."""
    pad = 1e-5  # of a degree
    west, south, east, north = shapely.bounds(drawn.lonlat).T
    boxes = shapely.box(west - pad, south - pad, east + pad, north + pad)
    out = []
    for role in ("building", "paving"):
        things = _of_role(found, role)
        area, thing = shapely.STRtree(things).query(boxes)
        out.append(_in_order(role, area, things[thing]))
    group = _groups(folder, drawn)
    rows = np.flatnonzero(np.bincount(group)[group] > 1)
    one, other = (rows[k] for k in shapely.STRtree(drawn.lonlat[rows]).query(boxes[rows]))
    keep = (one != other) & (group[one] == group[other])
    return [*out, _in_order("shared", one[keep], drawn.lonlat[other[keep]])]


def _in_order(kind: str, area: NDArray[np.intp], things: Shapes) -> _Beside:
    order = np.argsort(area, kind="stable")
    return _Beside(kind, area[order], things[order])


def _groups(folder: Folder, drawn: Drawn) -> NDArray[np.intp]:
    """Areas of the same site and product have the same number."""
    areas = folder.table("areas")
    keys = list(zip(areas.text("site"), areas.text("product"), strict=True))
    numbers: dict[tuple[str, str], int] = {}
    return np.array([numbers.setdefault(keys[k], len(numbers)) for k in drawn.row], np.intp)


def _borders(
    lonlat: Shapes, own: earth.Planes, about: Sequence[_Beside], reach: float, rows: slice
) -> _Borders:
    """Those of some areas, and things within reach of them."""
    planes = own.only(rows)
    shape = planes.laid(lonlat[rows], np.arange(len(lonlat[rows])))
    line = shapely.boundary(shape)
    near = {}
    for one in about:
        area, thing = one.of(rows)
        things = shapely.make_valid(planes.laid(thing, area))
        keep = shapely.dwithin(line[area], things, 2 * _far(reach))
        near[one.kind] = area[keep], things[keep]
    return _Borders(shape, line, np.asarray(shapely.length(line), float), near)


def _far(reach: float) -> float:
    """How far from a thing a border lies along it: rounds are drawn with corners."""
    return reach * 1.02 + 1e-3


def _near(borders: _Borders, kind: str, reach: float) -> Floats:
    return _along(borders, kind, _far(reach))


def _touched(borders: _Borders, kind: str) -> Floats:
    return _along(borders, kind, _TOUCH_M, cap_style="flat", join_style="mitre")


def _along(borders: _Borders, kind: str, wide_m: float, **style: Any) -> Floats:
    """Of each border, what lies so near to things of a kind."""
    area, things = borders.about[kind]
    out = np.zeros(len(borders.line))
    owner, place = np.unique(area, return_inverse=True)
    if len(owner):
        together = shapely.geometrycollections(things, indices=place)
        wide = shapely.buffer(together, wide_m, **style)
        out[owner] = shapely.length(shapely.intersection(borders.line[owner], wide))
    return out


def _apart(borders: _Borders, kind: str) -> _Borders:
    """Without things that overlap an area, which say nothing sure."""
    area, things = borders.about[kind]
    over = shapely.area(shapely.intersection(things, borders.shape[area]))
    return replace(borders, about={kind: (area[over < 1e-2], things[over < 1e-2])})
