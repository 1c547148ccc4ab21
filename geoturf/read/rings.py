"""Which polygons of a large layer are sound beyond doubt, told from their bytes: the compiled part
of `shapes.untouched`."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from geoturf.compiled import inlined, jit

_EPS = float(np.finfo(float).eps)
_HEAD = 13  # bytes of WKB before a ring's points: byte order, type, rings, points (OGC 06-103r4)


def star_shaped(wkb: pa.Array) -> np.ndarray:
    """Mask of the flat polygons of one ring that all of the ring is seen from its mean vertex, as
    `shapes.untouched` explains. ``wkb``: Arrow array of binary or large binary."""
    wide = np.int64 if pa.types.is_large_binary(wkb.type) else np.int32
    _, offsets, data = wkb.buffers()
    at = np.frombuffer(offsets, wide)[wkb.offset : wkb.offset + len(wkb) + 1].astype(np.int64)
    bytes_ = np.empty(0, np.uint8) if data is None else np.frombuffer(data, np.uint8)
    found: np.ndarray = _star_shaped(bytes_, at)
    return found


@jit
def _star_shaped(data: np.ndarray, at: np.ndarray) -> np.ndarray:
    """``data``: bytes of all WKB, (m,) uint8; ``at``: (n + 1,) where each begins. Mask (n,)."""
    found = np.zeros(len(at) - 1, np.bool_)
    for k in range(len(at) - 1):
        start = at[k]
        size = at[k + 1] - at[k]
        if (
            size < _HEAD + 64
            or data[start] != 1
            or _whole(data, start + 1) != 3
            or _whole(data, start + 5) != 1
        ):
            continue
        n = _whole(data, start + 9)
        if size != _HEAD + 16 * n:
            continue
        points = data[start + _HEAD : start + size].copy().view(np.float64)
        found[k] = _seen_from_within(points, n)
    return found


@jit
def _whole(data: np.ndarray, at: int) -> int:
    """Little-endian unsigned number of four bytes."""
    value: int = data[at] + 256 * (
        data[at + 1] + 256 * (data[at + 2] + 256 * np.int64(data[at + 3]))
    )
    return value


@inlined
def _seen_from_within(points: np.ndarray, n: int) -> bool:
    """Whether each side of a closed ring (x, y, x, y …) turns the same way around the mean vertex
    beyond rounding, all of them once around."""
    if points[0] != points[2 * n - 2] or points[1] != points[2 * n - 1]:
        return False
    x = 0.0
    y = 0.0
    for k in range(n):
        x += points[2 * k]
        y += points[2 * k + 1]
    x = x / n
    y = y / n
    reach = 0.0
    least = np.inf
    most = -np.inf
    crossings = 0
    for k in range(n):
        reach = max(reach, abs(points[2 * k] - x), abs(points[2 * k + 1] - y))
    for k in range(n - 1):
        x0 = points[2 * k] - x
        y0 = points[2 * k + 1] - y
        x1 = points[2 * k + 2] - x
        y1 = points[2 * k + 3] - y
        turn = x0 * y1 - x1 * y0
        if not np.isfinite(turn):
            return False
        least = min(least, turn)
        most = max(most, turn)
        crossings += (y0 < 0) != (y1 < 0)
    doubt = 16 * _EPS * reach * (reach + abs(x) + abs(y))
    return (least > doubt or most < -doubt) and crossings == 2
