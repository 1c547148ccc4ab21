"""From the input to the ground: every area that was drawn is told, true, and as its columns say."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geoturf.audit import earth
from geoturf.audit.drawn import DEPTHS, PRICED, Drawn, Input, alike, gathered, matched, means
from geoturf.audit.factors import FOOT
from geoturf.audit.folder import Folder, Shapes, plain
from geoturf.audit.parts import by_parts
from geoturf.audit.told import Floats, Told, between, compared, first_wrong, nothing, unseen

_PARTS = (".cpg", ".dbf", ".prj", ".shp", ".shx")
_MENDED = 2e-3  # of the area, where an outline that crosses itself was put right (by two programs)
_SPIKED = 0.5  # of the length of an outline that was mended: spikes are long and hold no ground
_NEAR = 5e-6  # of a length or area up to some 2 km across: two ways round the earth
_WIDE_M = 2000.0  # beyond, straight lines in a frame and geodesics part with the square
_COMPASS_DEG = 0.01


# ----------------------------------------------------------------------------------------- promises


def promises(folder: Folder, home: Path) -> tuple[list[Told], Drawn | None, Input]:
    """What the input says of the report, and what of it was drawn, for who looks further."""
    told = [_digests(folder, home)]
    found = gathered(folder, home)
    told += [unseen("input", line) for line in found.lost]
    if not any(setting["role"] in PRICED for setting, *_ in found.layers):
        return [*told, unseen("areas", "no layer of turf or parcels could be read")], None, found
    drawn, missing = matched(folder, found)
    told.append(missing)
    if drawn is not None and len(drawn.row):
        told += [*_ground(folder, drawn), *_columns(folder, drawn)]
    return told, drawn, found


def _digests(folder: Folder, home: Path) -> Told:
    """SHA-256 of each input, of a shapefile or a file geodatabase of its parts one after
    another."""
    wrong = []
    seen = 0
    inputs = folder.run["inputs"]
    for one in inputs:
        path = home / str(one["path"])
        parts = [path]
        if path.suffix.lower() == ".shp":
            beside = (p for s in _PARTS for p in (path.with_suffix(s), path.with_suffix(s.upper())))
            parts = list({p.name.lower(): p for p in beside if p.is_file()}.values())
        if path.is_dir():
            parts = sorted(part for part in path.iterdir() if part.is_file())
        if not all(part.is_file() for part in parts) or not parts:
            continue
        seen += 1
        if _sha256(parts) != one["sha256"]:
            wrong.append(f"{one['path']} is not the file that was priced (another SHA-256)")
    if not seen:
        return unseen("same input", "no input file is at hand; give the bid, or the files")
    if seen < len(inputs) and not wrong:
        return unseen("same input", f"{len(inputs) - seen} of {len(inputs)} files are not at hand")
    return first_wrong("same input", "SHA-256 of the input files", wrong, seen)


def _sha256(parts: list[Path]) -> str:
    sha = hashlib.sha256()
    for part in parts:
        with part.open("rb") as file:
            while block := file.read(1 << 20):
                sha.update(block)
    return sha.hexdigest()


# --------------------------------------------------------------------------------------- the ground


def heights(folder: Folder, drawn: Drawn) -> Floats:
    """Of each area drawn: as told, the mean of its site where none is, 0 where none is at all."""
    areas = folder.table("areas")
    own = areas.si("elevation")
    site = np.unique(areas.text("site"), return_inverse=True)[1]
    known = np.isfinite(own)
    count = np.bincount(site, known)
    mean = np.bincount(site, np.where(known, own, 0.0)) / np.maximum(count, 1)
    filled: Floats = np.where(known, own, mean[site])
    return filled[drawn.row]


def slack(drawn: Drawn, length_m: Floats) -> Floats:
    """What two ways round the earth may differ by, as part of an area or a length."""
    wide = (length_m / 2 / _WIDE_M) ** 2
    return np.where(drawn.mended, _MENDED, _NEAR * (1 + np.minimum(wide, 200.0)))


def _ground(folder: Folder, drawn: Drawn) -> Iterator[Told]:
    areas = folder.table("areas")
    names = [folder.areas[k] for k in drawn.row]
    flat = earth.measured(drawn.lonlat, drawn.geod)
    up = earth.raised(drawn.lonlat, heights(folder, drawn), drawn.geod)
    part = slack(drawn, flat.perimeter_m)

    def against(base: str, what: str, own: Floats, part: Floats, unit: str) -> Told:
        promise = base.split("_")[0]
        room = own * part + areas.step(base)
        return compared(promise, what, names, areas.si(base)[drawn.row], own, room, unit)

    area = flat.area_m2 * up**2
    around = flat.perimeter_m * up
    yield against("ground_area", "ground areas by geodesics", area, part, "m2")
    spiked = np.where(drawn.mended, _SPIKED, part)
    yield against("perimeter", "perimeters by geodesics", around, spiked, "m")
    yield _tolerance(folder, drawn, up)
    yield from _in_parcels(folder, drawn)


def _in_parcels(folder: Folder, drawn: Drawn) -> Iterator[Told]:
    """Lawns lie in the parcels they were cut out of, and with what was taken from these make them
    up."""
    rows = np.flatnonzero(~shapely.is_missing(drawn.parcel))
    if not len(rows):
        return
    lonlat = drawn.lonlat[rows]
    parcels = drawn.parcel[rows]
    own = earth.planes(parcels, heights(folder, drawn)[rows], drawn.geod)

    def measured(some: slice) -> NDArray[np.float64]:
        """Of some lawns: area, length of border, what lies outside, area of the parcel."""
        planes = own.only(some)
        n = np.arange(len(planes.lon))
        lawn = planes.laid(lonlat[some], n)
        parcel = planes.laid(parcels[some], n)
        out = shapely.area(shapely.difference(lawn, parcel))
        return np.array([shapely.area(lawn), shapely.length(lawn), out, shapely.area(parcel)])

    grass, border, out, around = np.hstack(by_parts(measured, len(rows)))
    names = [folder.areas[k] for k in drawn.row[rows]]
    room = 2e-3 * border
    yield compared("in parcels", "lawns outside their parcels", names, out, 0.0, room, "m2")
    site = np.array(folder.table("areas").text("site"), object)[drawn.row[rows]]
    sites, of = np.unique(site, return_inverse=True)
    taken = _taken(folder)
    lost = np.array([taken.get(name, 0.0) for name in sites])
    whole = earth.summed(of, around * _once(of, parcels), len(sites))
    told = earth.summed(of, grass, len(sites)) + lost
    room = whole * 1e-4 + 0.05
    names = [f"site {name}" for name in sites]
    yield compared("parcels", "lawns and what was taken, parcels", names, told, whole, room, "m2")


def _taken(folder: Folder) -> dict[str, float]:
    """What was taken from the parcels of each site."""
    lost: dict[str, float] = {}
    if folder.has("taken"):
        taken = folder.table("taken")
        for name, value in zip(taken.text("site"), taken.si("taken").tolist(), strict=True):
            lost[name] = lost.get(name, 0.0) + value
    return lost


def _once(site: NDArray[np.intp], parcel: Shapes) -> NDArray[np.bool_]:
    """Which lawns are the first of their parcel in their site."""
    first = np.ones(len(site), bool)
    seen = set()
    for k in np.flatnonzero(np.bincount(site)[site] > 1).tolist():
        key = site[k], shapely.to_wkb(parcel[k])
        first[k] = key not in seen
        seen.add(key)
    return first


def _tolerance(folder: Folder, drawn: Drawn, up: Floats) -> Told:
    """One sigma of an area for errors of its corners that go each by itself: sigma / 2 times the
    root of the squares of the chords from corner to corner but one (Chrisman and Yandell, 1988,
    from memory)."""
    areas = folder.table("areas")
    settings = folder.settings["layers"]
    sigma = {(one["path"], one["correlation"]): one["sigma"] for one in settings if one["sigma"]}
    files = areas.text("file")
    of_file = {
        file: next((s for (path, _), s in sigma.items() if means(path, file)), 0.0)
        for file in dict.fromkeys(files)
    }
    of = [of_file[files[k]] for k in drawn.row]
    if any(correlation for _, correlation in sigma):
        return unseen("tolerance", "errors that go together are not reckoned again")
    sigmas = np.array(of, float)
    chords = np.zeros((2, len(sigmas)))
    rows = np.flatnonzero(sigmas > 0)
    if len(rows):
        placed = placed_alone(folder, drawn)
        for k in rows:
            chords[:, k] = _least_and_most(placed[k], sigmas[k])
    low, high = sigmas / 2 * np.sqrt(chords)
    step = areas.step("area_tolerance")
    names = [folder.areas[k] for k in drawn.row]
    told = areas.si("area_tolerance")[drawn.row]
    low = low * 0.999 - step
    high = high * 1.001 + step
    low = np.where(drawn.mended, 0.0, low)
    high = np.where(drawn.mended, np.inf, high)
    return between("tolerance", "tolerances of areas", names, told, low, high, "m2")


def _least_and_most(shape: Any, sigma: float) -> tuple[float, float]:
    """Chords of an outline without the vertices that are no corners, some of which are so by a
    hair, seen from one end of it or the other."""
    ways = (shape, shapely.orient_polygons(shape), shapely.reverse(shape))
    found = [_chords(shapely.simplify(way, sigma * by)) for way in ways for by in (0.97, 1.03)]
    return min(found), max(found)


def _chords(shape: Any) -> float:
    total = 0.0
    for ring in shapely.get_rings(shapely.get_parts(shape)):
        xy = shapely.get_coordinates(ring)[:-1]
        total += float(((np.roll(xy, -1, 0) - np.roll(xy, 1, 0)) ** 2).sum())
    return total


def placed_alone(folder: Folder, drawn: Drawn) -> Shapes:
    """Each outline in a plane of its own, in metres on the ground."""
    height = heights(folder, drawn)
    own = earth.planes(drawn.lonlat, height, drawn.geod)
    return own.laid(drawn.lonlat, np.arange(len(height)))


# ------------------------------------------------------------------------------------------ columns


def _columns(folder: Folder, drawn: Drawn) -> Iterator[Told]:
    """What the input's columns say stands in areas.csv."""
    areas = folder.table("areas")
    names = [folder.areas[k] for k in drawn.row]
    parted = folder.settings["books"]  # a phase under several price books has other names
    for name in ("site", "area", "product") if parted else ("site", "area", "phase", "product"):
        column = areas.text(name)
        told = [column[k] for k in drawn.row]
        given = [plain(text) for text in drawn.given(name)]
        pairs = zip(names, told, given, strict=True)
        wrong = [
            f"{who} has {name} '{t}', not '{g}'"
            for who, t, g in pairs
            if g and g != t and not alike(g, t)
        ]
        yield first_wrong(f"{name} as given", f"column {name}", wrong, len(names))
    yield from _numbers(folder, drawn, names)


def _numbers(folder: Folder, drawn: Drawn, names: list[str]) -> Iterator[Told]:
    areas = folder.table("areas")
    slope = _given(drawn, "slope_pct")
    told = areas.numbers("slope_pct")[drawn.row]
    yield _where_given("slope as given", "slopes", names, told, slope, 0.005001, "%")
    high = _given(drawn, "elevation_m")
    high = np.where(np.isnan(high), _given(drawn, "elevation_ft") * FOOT, high)
    told = areas.si("elevation")[drawn.row]
    yield _where_given("elevation as given", "elevations", names, told, high, 0.011, "m")
    stated = _given(drawn, "pile_bearing_deg")
    laid = folder.placed[drawn.row]
    rule = folder.settings["layout"]["bearing"]
    if rule != "free" and not folder.settings["layout"]["toward"]:
        seen = areas.has("view") or "view" in drawn.columns
        stated = np.where(np.isnan(stated) & (not seen), float(rule), stated)
    stated = np.where(laid, stated, np.nan)
    lies = areas.numbers("pile_bearing_deg")[drawn.row]
    off = np.abs((lies - stated + 180) % 360 - 180)
    yield _where_given(
        "bearing as stated",
        "bearings",
        names,
        off,
        np.where(np.isnan(stated), np.nan, 0.0),
        _COMPASS_DEG,
        "degrees off",
    )


#: what numbers of a column can be; others are told and taken as not given
_RANGES = {
    "pile_bearing_deg": (-360.0, 360.0),
    "slope_pct": (0.0, 300.0),
    "elevation_m": (-500.0, 9000.0),
    "elevation_ft": (-1640.0, 29530.0),
    "dig_depth_m": (0.0, 2.0),
    "dig_depth_in": (0.0, 80.0),
    "base_depth_m": (0.0, 2.0),
    "base_depth_in": (0.0, 80.0),
}


def _given(drawn: Drawn, name: str) -> Floats:
    """A column of numbers; NaN where the input has none, or none that can be."""
    low, high = _RANGES[name]

    def number(text: str) -> float:
        try:
            return float(text)
        except ValueError:
            return float("nan")

    if name not in drawn.columns:
        return np.full(len(drawn.row), np.nan)
    values = np.array([number(text) for text in drawn.columns[name]], float)
    return np.where((values >= low) & (values <= high), values, np.nan)


def depths(folder: Folder, drawn: Drawn) -> dict[str, Floats] | None:
    """Depths that areas state, by the rule they stand for, NaN where none; None where not all areas
    were read."""
    count = len(folder.table("areas"))
    if len(set(drawn.row.tolist())) < count:
        return None
    found = {}
    for rule in ("dig_depth", "base_depth"):
        own = np.full(count, np.nan)
        metres = _given(drawn, f"{rule}_m")
        inches = _given(drawn, f"{rule}_in")
        own[drawn.row] = np.where(np.isnan(metres), inches * DEPTHS[f"{rule}_in"], metres)
        found[rule] = own
    return found


def _where_given(
    promise: str, what: str, names: list[str], told: Floats, given: Floats, room: float, unit: str
) -> Told:
    rows = np.flatnonzero(np.isfinite(given))
    if not len(rows):
        return nothing(promise, "bearing that is given")
    kept = [names[k] for k in rows]
    return compared(promise, what, kept, told[rows], given[rows], room, unit)
