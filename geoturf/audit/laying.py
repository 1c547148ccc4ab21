"""layout.gpkg against the input and against the tables: outlines as drawn, pieces that cover
them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from geoturf.audit import earth
from geoturf.audit.drawn import Drawn
from geoturf.audit.folder import Folder, Shapes, Table, Unreadable
from geoturf.audit.rolls import widths_of
from geoturf.audit.told import Floats, Told, between, broken, compared, first_wrong

_OFF_M = 5e-3  # what corners may be off: lots of one plan are laid from one drawing
_TURNED_DEG = 0.3  # the north of a site's frame and that of an area part by less
_SLIVER = 2e-5  # of an area
RAGGED = 50_000  # points of an outline on which pieces are laid all together


@dataclass(frozen=True)
class _Placed:
    """Outlines of areas.csv's rows as layout.gpkg has them, and the planes they lie in; pieces,
    each in the plane of its ``owner``."""

    lonlat: Shapes
    outline: Shapes
    pieces: Shapes
    owner: NDArray[np.intp]
    own: earth.Planes


def _placed(folder: Folder) -> _Placed:
    """Raises `Unreadable` where layers and tables do not hold the same."""
    layout = folder.layout
    areas = folder.table("areas")
    table = folder.table("pieces")
    crs = earth.crs_of(layout.crs)
    ellipsoid = folder.settings["ground"]["ellipsoid"]
    keys = list(zip(areas.text("site"), areas.text("area"), strict=True))
    whose, outlines = layout.shapes("areas")
    if whose != keys:
        raise Unreadable("layout.gpkg and areas.csv do not tell the same areas")
    of, rectangles = layout.shapes("pieces")
    if of != list(zip(table.text("site"), table.text("area"), strict=True)):
        raise Unreadable("layout.gpkg and pieces.csv do not tell the same pieces")
    place = {key: k for k, key in enumerate(keys)}
    if any(key not in place for key in of):
        raise Unreadable("pieces.csv has pieces of no area")
    owner = np.array([place[key] for key in of], np.intp)
    lonlat = earth.degrees(outlines, crs, ellipsoid)
    geod = earth.geod_of(crs, ellipsoid)
    own = earth.planes(lonlat, _heights(folder), geod)
    pieces = own.laid(earth.degrees(rectangles, crs, ellipsoid), owner)
    return _Placed(lonlat, own.laid(lonlat, np.arange(len(keys))), pieces, owner, own)


def _heights(folder: Folder) -> Floats:
    """Each site's mean, which a site's frame lies at; 0 where it is not known."""
    areas = folder.table("areas")
    high = areas.si("elevation")
    site = np.unique(areas.text("site"), return_inverse=True)[1]
    known = np.isfinite(high)
    mean: Floats = np.bincount(site, np.where(known, high, 0.0)) / np.maximum(
        np.bincount(site, known), 1
    )
    return mean[site]


def promises(folder: Folder, drawn: Drawn | None) -> list[Told]:
    try:
        placed = _placed(folder)
    except Unreadable as fault:
        return [broken("layout", str(fault))]
    told = [] if drawn is None else [_as_drawn(folder, drawn, placed)]
    return [*told, _as_measured(folder, placed), *_covered(folder, placed), *_cut(folder, placed)]


def _as_drawn(folder: Folder, drawn: Drawn, placed: _Placed) -> Told:
    """The area between an outline drawn and the outline in layout.gpkg."""
    whole = placed.own
    row = drawn.row
    planes = earth.Planes(whole.lon[row], whole.lat[row], whole.height_m[row], whole.geod)
    own = planes.laid(drawn.lonlat, np.arange(len(drawn.row)))
    theirs = placed.outline[drawn.row]
    room = _OFF_M * shapely.length(own) + np.where(drawn.mended, 3e-3, 1e-6) * shapely.area(own)
    between_m2 = _swept(own, theirs)
    rows = np.flatnonzero(between_m2 > room)  # few: others are drawn of the same corners
    between_m2[rows] = shapely.area(shapely.symmetric_difference(own[rows], theirs[rows]))
    names = [folder.areas[k] for k in drawn.row]
    what = "outlines in layout.gpkg against the input (area between)"
    return compared("outline", what, names, between_m2, 0.0, room, "m2")


def _swept(one: NDArray[np.object_], other: NDArray[np.object_]) -> Floats:
    """No less than the area between outlines of the same corners in the same order: what their
    border sweeps as one corner after another is moved. Of other outlines infinite."""
    first, owner = _rings(shapely.normalize(one))
    second, others = _rings(shapely.normalize(other))
    n = len(one)
    alike = np.bincount(owner, minlength=n) == np.bincount(others, minlength=n)
    first, owner, second = first[alike[owner]], owner[alike[owner]], second[alike[others]]
    sizes = shapely.get_num_coordinates(first)
    unlike = sizes != shapely.get_num_coordinates(second)
    swept = np.where(alike, 0.0, np.inf)
    swept[owner[unlike]] = np.inf
    p = shapely.get_coordinates(first[~unlike])
    q = shapely.get_coordinates(second[~unlike])
    ring = np.repeat(np.flatnonzero(~unlike), sizes[~unlike])
    along = ring[1:] == ring[:-1]
    triangles = _wide(q[:-1], p[1:], q[1:]) + _wide(p[:-1], q[:-1], p[1:])
    swept += np.bincount(owner[ring[1:][along]], triangles[along], n)
    return swept


def _rings(outlines: NDArray[np.object_]) -> tuple[NDArray[np.object_], NDArray[np.intp]]:
    """Every ring, and whose it is."""
    parts, owner = shapely.get_parts(outlines, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    return rings, owner[part]


def _wide(a: Floats, b: Floats, c: Floats) -> Floats:
    """Areas of triangles."""
    one, two = (b - a).T, (c - a).T
    area: Floats = 0.5 * np.abs(one[0] * two[1] - one[1] * two[0])
    return area


def _as_measured(folder: Folder, placed: _Placed) -> Told:
    """The area within an outline in layout.gpkg."""
    own = shapely.area(placed.outline)
    wide = 1e-5 * (1 + (shapely.length(placed.outline) / 2000) ** 2)
    areas = folder.table("areas")
    room = own * np.minimum(wide, 1e-2) + areas.step("ground_area") + _high(folder) * own
    return compared(
        "layout's areas",
        "areas in layout.gpkg",
        folder.areas,
        areas.si("ground_area"),
        own,
        room,
        "m2",
    )


def _high(folder: Folder) -> Floats:
    """What an area's height over its site's mean makes of it."""
    off = np.nan_to_num(folder.table("areas").si("elevation") - _heights(folder))
    return np.abs(off) / 3e6


def _covered(folder: Folder, placed: _Placed) -> list[Told]:
    """Turf lies on all of each area, and once."""
    ground = shapely.area(placed.outline) * folder.laid
    within = _within(placed, ~_ragged(placed))
    one, other = _meeting(placed)
    both = shapely.area(shapely.intersection(placed.pieces[one], placed.pieces[other]))
    n = len(ground)
    lapped: Floats = np.bincount(placed.owner[one], both, n).astype(float)
    on = _once(placed, within, lapped)
    edge = shapely.length(placed.outline) * folder.laid
    bare = _OFF_M * edge + _SLIVER * ground
    seams = np.bincount(placed.owner, shapely.length(placed.pieces), n)
    lap = 1e-3 * seams + _SLIVER * ground
    what = "turf over areas (pieces in layout.gpkg)"
    return [
        between("turf everywhere", what, folder.areas, on, ground - bare, ground + lap, "m2"),
        compared("turf once", "turf that lies twice", folder.areas, lapped, 0.0, lap, "m2"),
    ]


def _within(placed: _Placed, plain: NDArray[np.bool_]) -> Floats:
    """The area of each piece that lies in its outline, of ``plain`` areas; only those at the border
    are cut."""
    shapely.prepare(placed.outline[plain])
    owner = placed.outline[placed.owner]
    within: Floats = shapely.area(placed.pieces)
    mine = np.flatnonzero(plain[placed.owner])
    border = mine[~shapely.contains_properly(owner[mine], placed.pieces[mine])]
    within[border] = shapely.area(shapely.intersection(placed.pieces[border], owner[border]))
    return within


def _once(placed: _Placed, within: Floats, lapped: Floats) -> Floats:
    """Turf on each area, what lies twice counted once: of ragged areas all pieces in one are laid on
    the outline, so that not all of it is read for each piece."""
    n = len(placed.outline)
    on = np.bincount(placed.owner, within, n) - lapped
    for k in np.flatnonzero(_ragged(placed)).tolist():
        turf = shapely.union_all(placed.pieces[placed.owner == k])
        on[k] = shapely.area(shapely.intersection(turf, placed.outline[k]))
    return on


def _ragged(placed: _Placed) -> NDArray[np.bool_]:
    ragged: NDArray[np.bool_] = shapely.get_num_coordinates(placed.outline) > RAGGED
    return ragged


def _meeting(placed: _Placed) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pairs of pieces of one area whose boxes meet: areas are drawn far from each other."""
    far = 1e6 * placed.owner
    west, south, east, north = shapely.bounds(placed.pieces).reshape(-1, 4).T
    boxes = shapely.box(west + far, south, east + far, north)
    one, other = shapely.STRtree(boxes).query(boxes)
    return one[one < other], other[one < other]


def _cut(folder: Folder, placed: _Placed) -> list[Told]:
    """Pieces are cut as long and as wide as they lie, allowances in, and lie as their pile does."""
    pieces = folder.table("pieces")
    areas = folder.table("areas")
    rules = folder.settings["layout"]
    names = pieces.text("piece")
    corners = shapely.get_coordinates(shapely.get_exterior_ring(placed.pieces))
    if len(corners) != 5 * len(names):
        return [broken("pieces", "pieces in layout.gpkg are no rectangles")]
    sides = np.diff(corners.reshape(-1, 5, 2), axis=1)[:, :2]
    length = np.hypot(*sides.transpose(2, 0, 1))
    lies = np.degrees(np.arctan2(*sides.transpose(2, 0, 1)))
    bearing = pieces.numbers("pile_bearing_deg")
    off = np.abs((lies - bearing[:, None] + 90) % 180 - 90)  # (n, 2)
    steep = 1 + (areas.numbers("slope_pct") / 100)[placed.owner] ** 2
    steep = np.sqrt(steep)
    along = np.where(off[:, 0] <= off[:, 1], length[:, 0], length[:, 1])
    across = np.where(off[:, 0] <= off[:, 1], length[:, 1], length[:, 0])
    level = steep < 1.0005
    short = np.minimum(length[:, 0], length[:, 1]) < 0.02
    turned = np.where(level & ~short, off.min(axis=1), 0.0)
    long = pieces.si("length")
    wide = pieces.si("width")
    told = [
        compared(
            "pile",
            "degrees between pieces and their pile",
            names,
            turned,
            0.0,
            _TURNED_DEG,
            "degrees",
        ),
        _one_bearing(folder, placed, names),
    ]
    ends = 2 * rules["end_allowance"]
    step = rules["cut_step"]
    slanted = pieces.tells("length_right")
    if slanted:
        long = _reach(pieces)
    least = along + ends - _OFF_M
    most = np.where(level & (not slanted), along + ends + step + _OFF_M, np.inf)
    told.append(between("cut lengths", "lengths of pieces", names, long, least, most, "m"))
    most = np.where(
        level, across + rules["side_allowance"] + step + 2 * _OFF_M, across * steep + 1.0
    )
    full = _full(folder, wide)  # is cut where less than a step would be left beside
    most = np.where(full < most + step, np.fmax(most, full), most)
    room = pieces.step("width") + _OFF_M
    told.append(between("cut widths", "widths of pieces", names, wide, across - room, most, "m"))
    return told


def _full(folder: Folder, wide: Floats) -> Floats:
    """The width between selvages at which a piece's product is sold and the piece is cut; 0 where
    it is cut at no such width."""
    products = folder.settings["products"]
    trim = 2 * folder.settings["layout"]["selvage_trim"]
    sold = [widths_of(products[name]) for name in folder.table("pieces").text("product")]
    near = [
        any(abs(width - trim - own) < _OFF_M for width in widths)
        for own, widths in zip(wide, sold, strict=True)
    ]
    return np.where(near, wide, 0.0)


def _reach(pieces: Table) -> Floats:
    """How far pieces with slanted ends reach along their roll."""
    left = pieces.si("along")
    right = pieces.si("along_right")
    ends = left + pieces.si("length"), right + pieces.si("length_right")
    reach: Floats = np.fmax(*ends) - np.fmin(left, right)
    return reach


def _one_bearing(folder: Folder, placed: _Placed, names: list[str]) -> Told:
    """The pile of an area leans one way."""
    own = folder.table("areas").numbers("pile_bearing_deg")[placed.owner]
    lies = folder.table("pieces").numbers("pile_bearing_deg")
    off = np.abs((lies - own + 180) % 360 - 180)
    wrong = [f"{names[k]} leans otherwise than its area" for k in np.flatnonzero(off > 1e-3)]
    return first_wrong("one pile an area", "pieces' bearings", wrong, len(names))
