"""The maps against layout.gpkg: their outlines, decoded from the page, lie where the areas lie."""

from __future__ import annotations

import base64
import json
import re
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from geoturf.audit import drawn, earth
from geoturf.audit.folder import Folder, Shapes, Unreadable
from geoturf.audit.told import Told, broken, compared

_STEP_DEG = 1e-7
_ISLAND = re.compile(r'<script[^>]*id="geoturf-areas"[^>]*>(.*?)</script>', re.DOTALL)
_ROOM_DEG = 3e-7  # some 3 cm
_OLD_DEG = 1e-4  # an old datum, which two programs may leave by two ways


def promises(folder: Folder) -> list[Told]:
    try:
        areas = drawn.shown(folder)
    except Unreadable as fault:
        return [broken("maps", str(fault))]
    old = earth.is_old(earth.crs_of(folder.layout.crs))
    pages = [name for name in ("map.html", "client/map.html") if (folder.path / name).is_file()]
    return [_page(folder, name, areas, _OLD_DEG if old else _ROOM_DEG) for name in pages]


def _page(folder: Folder, name: str, areas: Shapes, room: float) -> Told:
    try:
        shown = _outlines(folder.path / name)
    except (ValueError, KeyError, IndexError, TypeError) as fault:
        return broken(name, f"its outlines cannot be read ({fault})")
    if len(shown) != len(areas):
        return broken(name, f"it shows {len(shown)} areas of {len(areas)}")
    off = shapely.bounds(earth.unwrapped(shown)) - shapely.bounds(areas)
    off[:, ::2] = (off[:, ::2] + 180) % 360 - 180
    apart = np.abs(off).max(axis=1)
    return compared(
        name, "outlines on the map (degrees off)", folder.areas, apart, 0.0, room, "degrees"
    )


def _outlines(page: Path) -> Shapes:
    found = _ISLAND.search(page.read_text(encoding="utf-8"))
    if found is None:
        raise ValueError("it has no data")
    borders = json.loads(found.group(1))["borders"]
    rings, points = (_whole(borders[key]) for key in ("rings", "points"))
    at = np.cumsum(_whole(borders["at"]).reshape(-1, 2), axis=0) * _STEP_DEG
    ring_of = np.repeat(np.arange(len(points)), points)
    lines = np.asarray(shapely.linestrings(at, indices=ring_of), object)
    shape_of = np.repeat(np.arange(len(rings)), rings)
    return np.asarray(shapely.multilinestrings(lines, indices=shape_of), object)


def _whole(text: str) -> NDArray[np.int64]:
    """Whole numbers from base64 of zigzag varints, seven bits a byte, lowest first."""
    data = np.frombuffer(base64.b64decode(text), np.uint8).astype(np.int64)
    if not len(data):
        return np.zeros(0, np.int64)
    last = data < 128
    number: NDArray[np.intp] = np.cumsum(last) - last
    first = np.concatenate([[0], np.flatnonzero(last)[:-1] + 1])
    place = np.arange(len(data)) - first[number]
    value = np.zeros(int(last.sum()), np.int64)
    np.add.at(value, number, (data & 127) << (7 * place))
    signed: NDArray[np.int64] = (value >> 1) ^ -(value & 1)
    return signed
