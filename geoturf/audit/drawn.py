"""From the input to the areas drawn in it: layers as the bid names them, and the row of areas.csv
that each feature became."""

from __future__ import annotations

import fnmatch
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray

from geoturf.audit import earth, sources
from geoturf.audit.factors import FOOT
from geoturf.audit.folder import Folder, Shapes, Unreadable, plain
from geoturf.audit.sources import Layer
from geoturf.audit.told import Told, agrees, broken

PRICED = ("turf", "parcel")
_DATE = re.compile(r"[0-9]{4}[-/][0-9]{2}")  # readers write dates in their own ways


@dataclass
class Drawn:
    """What of the input became areas: rows of areas.csv, (n,), and their outlines."""

    row: NDArray[np.intp]
    lonlat: Shapes
    parcel: Shapes  # what a lawn was cut out of, None of others
    mended: NDArray[np.bool_]
    geod: pyproj.Geod
    columns: dict[str, list[str]]  # by geoturf's names, "" where a layer has none

    def given(self, name: str) -> list[str]:
        return self.columns.get(name) or [""] * len(self.row)

    def only(self, keep: NDArray[np.bool_]) -> Drawn:
        rows = np.flatnonzero(keep)
        arrays = self.row[rows], self.lonlat[rows], self.parcel[rows], self.mended[rows]
        columns = {name: [texts[k] for k in rows] for name, texts in self.columns.items()}
        return Drawn(*arrays, self.geod, columns)


@dataclass
class Input:
    """Layers of the bid by role, each file at hand, in degrees; ``lost``: what could not be read, in
    words."""

    layers: list[tuple[dict[str, Any], str, str, Layer]]  # setting, file, layer in it, features
    lost: list[str]


def gathered(folder: Folder, home: Path) -> Input:
    """The input as the bid names it, from ``home`` on."""
    found = Input([], [])
    files = [str(one["path"]) for one in folder.run["inputs"]]
    ellipsoid = folder.settings["ground"]["ellipsoid"]
    known: dict[tuple[str, str, str, str], Layer] = {}
    for setting in folder.settings["layers"]:
        for file in (name for name in files if means(setting["path"], name)):
            try:
                for name in _inner(home / file, setting):
                    key = file, name, setting["crs"], setting["unit"]
                    if key not in known:
                        layer = sources.read(home / file, *key[1:])
                        earth.turn(layer.shape, layer.crs, ellipsoid)
                        known[key] = layer
                    found.layers.append((setting, file, name, _kept(known[key], setting)))
            except Unreadable as fault:
                found.lost.append(f"{file} {fault}")
            except OSError as fault:
                found.lost.append(f"{file} cannot be opened ({fault.strerror})")
    return found


def means(path: str, file: str) -> bool:
    """Whether a layer's path, which may be a folder or a pattern, means a file."""
    patterns = path, path.replace("**/", "")
    within = file.startswith(path.rstrip("/") + "/")
    return file == path or within or any(fnmatch.fnmatch(file, one) for one in patterns)


_LAYERED = (".gpkg", ".kml", ".kmz", ".gdb", ".gml", ".dxf", ".zip")  # formats of layers


def _inner(path: Path, setting: dict[str, Any]) -> list[str]:
    if setting["layer"] in ("", "*"):
        return sources.layers_of(path)
    if path.suffix.lower() in _LAYERED:
        return [setting["layer"]]
    return [""]


def _kept(layer: Layer, setting: dict[str, Any]) -> Layer:
    """The features that the layer's ``where`` takes."""
    keep = np.ones(len(layer.feature), bool)
    for name, value in setting["where"].items():
        column = layer.column(setting["columns"].get(name, name))
        if column is None or any("\ufffd" in text for text in column):
            raise Unreadable(f"has no column '{name}' that the audit can read")
        wanted = str(value).lower() if isinstance(value, bool) else str(value)
        wanted = wanted.removesuffix(".0")
        keep &= np.array([alike(text, wanted) for text in column], bool)
    if not keep.all():
        return layer.only(keep)
    return layer


def alike(given: str, told: str) -> bool:
    """Whether a text of the input is what is told: in any letters, as a number, a flag, or as far
    as its letters can be read."""
    given, told = (" ".join(one.split()).casefold() for one in (given, told))
    if given == told or "\ufffd" in given or _DATE.match(given):
        return True
    if {given, told} in ({"1", "true"}, {"0", "false"}):
        return True
    try:
        return float(given) == float(told)
    except ValueError:
        return False


#: a layer, rows of its features and of the areas they became, its setting and file
_Part = tuple[Layer, list[int], list[int], dict[str, Any], str]


def matched(folder: Folder, found: Input) -> tuple[Drawn | None, Told]:
    """Each feature of the turf layers and the row of areas.csv that it became."""
    areas = folder.table("areas")
    rows = _places(areas.text("file"), areas.text("layer"), areas.text("feature"))
    ellipsoid = folder.settings["ground"]["ellipsoid"]
    parts: list[_Part] = []
    gone: list[tuple[str, str]] = []
    seen: set[int] = set()
    priced = [one for one in found.layers if one[0]["role"] in PRICED]
    for setting, file, name, layer in priced:
        alone = len({other for _, where, other, _ in priced if where == file}) == 1
        labels = {plain(name), plain(setting["name"])}
        mine = [
            (k, at)
            for k, feature in enumerate(layer.feature)
            for label, at in rows.get((plain(file), feature), ())
            if alone or label in labels
        ]
        if not (alone or any(label in labels for label in areas.text("layer"))):
            found.lost.append(f"{file}, layer {name} cannot be told apart from others")
            continue
        seen |= {at for _, at in mine}
        mine = [(k, at) for k, at in mine if layer.shape[k] is not None]
        if setting["role"] == "parcel":
            parts.append((layer, [k for k, _ in mine], [at for _, at in mine], setting, file))
            continue
        have = {k for k, _ in mine}
        drawn = np.flatnonzero(~shapely.is_missing(layer.shape))
        gone += [(file, layer.feature[k]) for k in drawn if k not in have]
        parts.append((layer, [k for k, _ in mine], [at for _, at in mine], setting, file))
    told = _accounted(folder, gone, len(areas), seen, found)
    return _drawn(folder, parts, ellipsoid), told


def _places(
    files: list[str], layers: list[str], features: list[str]
) -> dict[tuple[str, str], list[tuple[str, int]]]:
    """Layer and row of the areas of each file and feature."""
    places: dict[tuple[str, str], list[tuple[str, int]]] = {}
    for at, (file, layer, feature) in enumerate(zip(files, layers, features, strict=True)):
        places.setdefault((file, feature), []).append((layer, at))
    return places


def _accounted(
    folder: Folder, gone: list[tuple[str, str]], count: int, seen: set[int], found: Input
) -> Told:
    """Every feature is an area or told to be left out, and every area is a feature."""
    promise = "every area"
    named = _named(folder)
    silent = [one for one in gone if one[1] not in named.get(plain(one[0]), set())]
    if silent:
        file, feature = silent[0]
        more = ""
        if len(silent) > 1:
            more = f"; {len(silent):,} such"
        said = f"{file}, feature {feature} is neither an area nor told to be left out{more}"
        return broken(promise, said)
    files = folder.table("areas").text("file")
    at_hand = {plain(file) for _, file, *_ in found.layers}
    lost = [k for k in range(count) if k not in seen and files[k] in at_hand]
    if lost and not found.lost:
        return broken(promise, f"{folder.areas[lost[0]]} stands in no input file")
    return agrees(promise, f"{count:,} areas are all that the input draws, but what is told")


def _named(folder: Folder, only: str = "") -> dict[str, set[str]]:
    """Features that findings (of a code ``only``, if it is given) name, by file, those in the words
    of a finding too."""
    table = folder.findings
    named: dict[str, set[str]] = {}
    columns = (table.text(name) for name in ("severity", "file", "feature", "message", "code"))
    for severity, file, feature, message, code in zip(*columns, strict=True):
        if code != only if only else severity == "note":
            continue
        words = "".join(c if c.isdigit() else " " for c in message).split()
        named.setdefault(file, set()).update([feature, *words])
    return named


def shown(folder: Folder) -> Shapes:
    """Outlines of the areas as layout.gpkg has them, in degrees."""
    layout = folder.layout
    if layout.shown is None:
        _, shapes = layout.shapes("areas")
        crs = earth.crs_of(layout.crs)
        layout.shown = earth.degrees(shapes, crs, folder.settings["ground"]["ellipsoid"])
    return layout.shown


def _drawn(
    folder: Folder,
    parts: list[_Part],
    ellipsoid: str,
) -> Drawn | None:
    """Of a lawn that was cut out of its parcel the outline is that of layout.gpkg."""
    if not parts:
        return None
    row: list[int] = []
    lonlat = []
    mended = []
    columns: dict[str, list[str]] = {}
    parcels = []
    repaired = _named(folder, "repaired")
    for layer, own, at, setting, file in parts:
        before = len(row)
        row += at
        drawn = layer.shape[own]
        cut = setting["role"] == "parcel"
        lonlat.append(shown(folder)[at] if cut else drawn)
        parcels.append(drawn if cut else np.full(len(own), None))
        told = [feature in repaired.get(plain(file), set()) for feature in layer.feature]
        mended.append(layer.mended[own] | np.array(told, bool)[own])
        held = _held(layer, setting, ("site", "phase", "product") if cut else _BY_NAME)
        for name, texts in held.items():
            columns.setdefault(name, [""] * before).extend([texts[k] for k in own])
        for texts in columns.values():
            texts += [""] * (len(row) - len(texts))
    geod = earth.geod_of(parts[0][0].crs, ellipsoid)
    at_row = np.array(row, np.intp)
    outlines = np.concatenate(lonlat)
    whole = np.concatenate(parcels)
    return Drawn(at_row, outlines, whole, np.concatenate(mended), geod, columns)


def _held(layer: Layer, setting: dict[str, Any], names: tuple[str, ...]) -> dict[str, list[str]]:
    """Columns by geoturf's names: those that the bid maps, and others that are so called."""
    mapped = {name: layer.called(theirs) for name, theirs in setting["columns"].items()}
    for name in names:
        own = layer.called(name)
        clear = own is not None and (
            len(own) >= len(name) or not name.startswith(("elevation", "base_depth", "dig_depth"))
        )
        if name not in mapped and own not in mapped.values() and clear:
            mapped[name] = own
    return {name: layer.columns[own] for name, own in mapped.items() if own is not None}


#: columns of depths that areas may state, and the length that they count in
DEPTHS = {
    "dig_depth_m": 1.0,
    "dig_depth_in": FOOT / 12,
    "base_depth_m": 1.0,
    "base_depth_in": FOOT / 12,
}
_BY_NAME = (
    "site",
    "area",
    "phase",
    "product",
    "pile_bearing_deg",
    "slope_pct",
    "elevation_m",
    "elevation_ft",
    "caps",
    "use",
    *DEPTHS,
)
