"""What lies along each border, by another way than the run's: how much of it lies within the
tolerance of buildings, paving and other turf of its site (buffers), and how much touches them.

Looking all round takes a little more at corners than looking straight out does, so the lengths told
must lie between two that are reckoned here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from geoturf.audit import earth
from geoturf.audit.drawn import Drawn, Input
from geoturf.audit.folder import Folder, Shapes
from geoturf.audit.ground import heights
from geoturf.audit.told import Floats, Told, between, compared, first_wrong, nothing, unseen

_TOUCH_M = 2e-3
_SUM_M = 0.02  # four lengths written to a hundredth of a foot
_LOOSE_M = 0.6  # corners, and gaps as long as a post that are closed along a border
_LOOSE = 0.03  # of a length: borders that draw near each other at a slant


@dataclass(frozen=True)
class _Along:
    """Of each border, (n,): what comes near things of a kind at all, what touches them for sure."""

    near_m: Floats
    touching_m: Floats


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
    placed = own.laid(drawn.lonlat, np.arange(len(drawn.row)))
    reach = folder.settings["edges"]["tolerance"]
    border = shapely.boundary(placed)
    along = {
        role: _along(placed, border, drawn, own, _of_role(found, role, folder), reach)
        for role in ("building", "paving")
    }
    along["shared"] = _beside(folder, placed, border, drawn, own, reach)
    whole = shapely.length(border)
    names = [folder.areas[k] for k in drawn.row]
    told = {kind: areas.si(f"edge_{kind}")[drawn.row] for kind in (*along, "open")}

    def room(length: Floats) -> Floats:
        return _LOOSE_M + _LOOSE * length + (1e-5 * whole)

    out = []
    for kind, one in along.items():
        most = one.near_m + room(one.near_m)
        out.append(
            between(f"{kind} edges", f"edges along {kind}", names, told[kind], 0.0, most, "m")
        )
    near = np.minimum(sum(one.near_m for one in along.values()), whole)
    touching = np.maximum.reduce([one.touching_m for one in along.values()])
    least, most = whole - near - room(near), whole - touching + room(touching)
    out.append(between("open edges", "edges along nothing", names, told["open"], least, most, "m"))
    return out


def _of_role(found: Input, role: str, folder: Folder) -> Shapes:
    ellipsoid = folder.settings["ground"]["ellipsoid"]
    shapes = [
        earth.degrees(layer.shape[~shapely.is_missing(layer.shape)], layer.crs, ellipsoid)
        for setting, _, _, layer in found.layers
        if setting["role"] == role
    ]
    if shapes:
        return np.concatenate(shapes)
    return np.empty(0, object)


def _along(
    placed: Shapes, border: Shapes, drawn: Drawn, own: earth.Planes, things: Shapes, reach: float
) -> _Along:
    """Along things that are drawn in degrees."""
    pad = 1e-5  # of a degree, a metre
    west, south, east, north = shapely.bounds(drawn.lonlat).T
    boxes = shapely.box(west - pad, south - pad, east + pad, north + pad)
    tree = shapely.STRtree(things)
    area, thing = tree.query(boxes)
    return _close(placed, border, area, own.laid(things[thing], area), reach)


def _beside(
    folder: Folder, placed: Shapes, border: Shapes, drawn: Drawn, own: earth.Planes, reach: float
) -> _Along:
    """Along other areas of the same site and product."""
    areas = folder.table("areas")
    keys = list(zip(areas.text("site"), areas.text("product"), strict=True))
    group = np.unique([f"{a}\n{b}" for a, b in (keys[k] for k in drawn.row)], return_inverse=True)[
        1
    ]
    tree = shapely.STRtree(drawn.lonlat)
    west, south, east, north = shapely.bounds(drawn.lonlat).T
    pad = 1e-5
    one, other = tree.query(shapely.box(west - pad, south - pad, east + pad, north + pad))
    keep = (one != other) & (group[one] == group[other])
    one = one[keep]
    other = other[keep]
    return _close(placed, border, one, own.laid(drawn.lonlat[other], one), reach)


def _close(
    placed: Shapes, border: Shapes, area: np.ndarray, things: Shapes, reach: float
) -> _Along:
    """``things``: in the planes of the areas they belong to."""
    near = np.zeros(len(placed))
    touching = np.zeros(len(placed))
    if not len(area):
        return _Along(near, touching)
    order = np.argsort(area, kind="stable")
    area = area[order]
    things = shapely.make_valid(things[order])
    wide = shapely.buffer(things, reach * 1.02 + 1e-3)
    first = np.flatnonzero(np.diff(area, prepend=-1))
    for begin, end in zip(first, [*first[1:], len(area)], strict=True):
        k = int(area[begin])
        about = shapely.union_all(wide[begin:end])
        near[k] = shapely.length(shapely.intersection(border[k], about))
        touching[k] = _touched(placed[k], border[k], things[begin:end])
    return _Along(near, touching)


def _touched(shape: Any, border: Any, things: Shapes) -> float:
    """Border that runs on things that stand outside; things that overlap it say nothing sure."""
    outside = things[shapely.area(shapely.intersection(things, shape)) < 1e-2]
    thin = shapely.buffer(outside, _TOUCH_M, cap_style="flat", join_style="mitre")
    along: Any = shapely.intersection(border, shapely.union_all(thin))
    return float(shapely.length(along))
