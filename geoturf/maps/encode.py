"""Whole numbers and shapes as short text, for the data islands of the map.

A column of whole numbers becomes base64 of zigzag LEB128 varints (small numbers take one byte, the
form of Protocol Buffers' ``sint64``). Coordinates are whole steps of 1e-7 degree (some 11 mm),
each the difference to the one before it.
"""

from __future__ import annotations

import base64
import re
from typing import Any

import numpy as np
import shapely

from geoturf.errors import PromiseError
from geoturf.model import Finding

STEP_DEG = 1e-7
_DIGITS = re.compile(r"[0-9]{1,9}\Z")


def ints(values: Any) -> str:
    """Whole numbers, shape (n,), as text: base64 of zigzag varints, seven bits a byte, lowest
    first."""
    signed = np.asarray(values, dtype=np.int64).ravel()
    left = ((signed << 1) ^ (signed >> 63)).view(np.uint64)
    width = np.ones(len(left), dtype=np.int64)
    for k in range(1, 10):
        width += left >= np.uint64(1) << np.uint64(7 * k)
    end = np.cumsum(width)
    out = np.zeros(end[-1] if len(end) else 0, dtype=np.uint8)
    for k in range(int(width.max(initial=0))):
        here = width > k
        more = (width[here] > k + 1).astype(np.uint8) << 7
        seven = (left[here] >> np.uint64(7 * k)) & np.uint64(127)
        out[end[here] - width[here] + k] = seven.astype(np.uint8) | more
    return base64.b64encode(out.tobytes()).decode("ascii")


def deltas(values: np.ndarray) -> np.ndarray:
    """Each row less the row before it, the first as it is; flattened."""
    return np.diff(values, axis=0, prepend=np.zeros_like(values[:1])).ravel()


def grid(points_deg: np.ndarray) -> np.ndarray:
    """Degrees, shape (n, 2), as whole steps of `STEP_DEG`. Raises `PromiseError` where one is no
    number: cast to a whole number it would be some place on the map."""
    if not np.isfinite(points_deg).all():
        fault = "the map has coordinates that are no numbers"
        raise PromiseError(Finding("error", "not-finite", fault))
    return np.rint(np.asarray(points_deg, dtype=float) / STEP_DEG).astype(np.int64)


def polygons(geometries_deg: Any) -> dict[str, str]:
    """Polygons and MultiPolygons (n,) in degrees, as three columns: ``rings`` of each, ``points``
    of each ring (the closing one left out), and ``at``, the points. Shells run counter-clockwise
    and holes clockwise, so that a fill by the non-zero rule shows the holes."""
    geometries = np.asarray(geometries_deg, dtype=object)
    parts, of_geometry = shapely.get_parts(geometries, return_index=True)
    rings, of_part = shapely.get_rings(shapely.orient_polygons(parts), return_index=True)
    counts = np.bincount(of_geometry[of_part], minlength=len(geometries))
    points, of_ring = shapely.get_coordinates(rings, return_index=True)
    last = np.append(of_ring[1:] != of_ring[:-1], True)[: len(of_ring)]
    return _columns(counts, points[~last], of_ring[~last], len(rings))


def lines(geometries_deg: Any) -> dict[str, str]:
    """LineStrings and MultiLineStrings (n,) in degrees, as `polygons` writes them: a part in the
    place of a ring."""
    geometries = np.asarray(geometries_deg, dtype=object)
    parts, of_geometry = shapely.get_parts(geometries, return_index=True)
    points, of_part = shapely.get_coordinates(parts, return_index=True)
    counts = np.bincount(of_geometry, minlength=len(geometries))
    return _columns(counts, points, of_part, len(parts))


def _columns(
    counts: np.ndarray,
    points: np.ndarray,
    of_ring: np.ndarray,
    rings: int,
) -> dict[str, str]:
    return {
        "rings": ints(counts),
        "points": ints(np.bincount(of_ring, minlength=rings)),
        "at": ints(deltas(grid(points))),
    }


def words(column: Any) -> dict[str, Any]:
    """A text column as its distinct words, in order of appearance, and the place of each row's
    word among them."""
    texts = [str(value) for value in column]
    place = {word: k for k, word in enumerate(dict.fromkeys(texts))}
    return {"words": list(place), "codes": ints([place[text] for text in texts])}


def ids(column: Any) -> dict[str, Any]:
    """A text column of ids such as ``P00012``: the distinct stems with the count of digits that
    follow, each row's stem, and the numbers as differences. A text without digits at its end is a
    stem with none; where all have one stem, no row says so."""
    parts = [_stem_and_digits(str(value)) for value in column]
    kinds = [(stem, len(digits)) for stem, digits in parts]
    place = {kind: k for k, kind in enumerate(dict.fromkeys(kinds))}
    codes = [place[kind] for kind in kinds] if len(place) > 1 else []
    numbers = np.array([int(digits or 0) for _, digits in parts], dtype=np.int64)
    return {
        "stems": list(place),
        "codes": ints(codes),
        "numbers": ints(deltas(numbers)),
    }


def _stem_and_digits(text: str) -> tuple[str, str]:
    """An id and the digits at its end, nine at most (what an int32 holds)."""
    digits = _DIGITS.search(text)
    end = digits.start() if digits else len(text)
    return text[:end], text[end:]
