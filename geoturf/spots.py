"""Where a label has room on a part of a piece of turf, compiled: tens of thousands are tried for a
thousand lots."""

from __future__ import annotations

import numpy as np

from geoturf.compiled import Flags, Floats, Ints, inner, jit

_TOUCH_M = 1e-9  # by which a label may reach over a border, as numbers do
_PARTS = np.linspace(0, 1, 5)
#: places tried for a label in what room there is along and across, those by the middle first
SPOTS = np.stack(np.meshgrid(_PARTS, _PARTS), axis=-1).reshape(-1, 2)
SPOTS = SPOTS[np.argsort(np.hypot(*(SPOTS.T - 0.5)), kind="stable")]


@inner
def _free(edges: Floats, u: float, v: float, half_u: float, half_v: float) -> bool:
    """Whether a box about a middle lies within edges (m, 4: from, to): its middle does, and none of
    them comes into it."""
    inside = False
    for e in range(len(edges)):
        u0 = edges[e, 0] - u
        v0 = edges[e, 1] - v
        u1 = edges[e, 2] - u
        v1 = edges[e, 3] - v
        enters = 0.0  # where along the edge it comes into the box, and leaves it
        leaves = 1.0
        for a, b, half in ((u0, u1, half_u), (v0, v1, half_v)):
            if a == b:
                if abs(a) >= half:
                    leaves = -1.0
            else:
                one = (-half - a) / (b - a)
                other = (half - a) / (b - a)
                enters = max(enters, min(one, other))
                leaves = min(leaves, max(one, other))
        if enters < leaves:
            return False
        if (v0 > 0) != (v1 > 0) and u0 - v0 * (u1 - u0) / (v1 - v0) > 0:
            inside = not inside  # a line from the middle along u crosses the edge
    return inside


@jit
def tried(
    edges: Floats,
    first: Ints,
    parts: Ints,
    whole: Flags,
    bounds: Floats,
    along: Floats,
    across: Floats,
    spots: Floats,
) -> tuple[Ints, Floats]:
    """For each of some parts the first label that there is room for within bounds (n, 4), or -1,
    and its middle (n, 2). A part has the edges from its ``first`` to the next part's, and needs
    none where it is ``whole``: as large as its bounds. Labels reach as far ``along`` and ``across``
    (n, labels); ``spots`` are the places tried (m, 2), in parts of what room there is."""
    found = np.full(len(parts), -1)
    middle = np.zeros((len(parts), 2))
    for k in range(len(parts)):
        mine = edges[first[parts[k]] : first[parts[k] + 1]]
        u0, v0, u1, v1 = bounds[k]
        for label in range(along.shape[1]):
            room_u = u1 - u0 - along[k, label]
            room_v = v1 - v0 - across[k, label]
            if not (room_u >= 0 and room_v >= 0):
                continue
            half_u = along[k, label] / 2
            half_v = across[k, label] / 2
            for spot in spots:
                u = u0 + half_u + room_u * spot[0]
                v = v0 + half_v + room_v * spot[1]
                if whole[parts[k]] or _free(mine, u, v, half_u - _TOUCH_M, half_v - _TOUCH_M):
                    found[k] = label
                    middle[k, 0] = u
                    middle[k, 1] = v
                    break
            if found[k] >= 0:
                break
    return found, middle


def warm() -> None:
    """Compiles it."""
    square = np.array([(0, 0, 1, 0), (1, 0, 1, 1), (1, 1, 0, 1), (0, 1, 0, 0)], float)
    half = np.full((1, 1), 0.5)
    rows = np.zeros(1, np.int64)
    tried(
        square, np.array([0, 4]), rows, np.zeros(1, bool), np.array([[0, 0, 1, 1.0]]), half, half,
        SPOTS,
    )  # fmt: skip
