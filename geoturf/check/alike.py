"""Areas of one shape are cut in the same pieces."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from geoturf.check.finding import area_name, told
from geoturf.check.placed import HAIR_M, areas_of
from geoturf.model import Finding, Result

SAME_M = 2e-4  # sizes of pieces laid alike: rounded to a tenth of a millimetre, to be put in order
MOST_CORNERS = 300  # of shapes that are looked at for being laid alike


def laid_alike(result: Result) -> list[Finding]:
    """Areas that share rolls and are drawn alike, moved, turned or mirrored, are cut in the same
    pieces, where the bid lays lots of a plan alike and does not say which way their pile leans."""
    rules = result.bid.layout
    land = result.ground.areas
    if rules.alike != "plan" or rules.bearing != "free" or rules.toward:
        return []
    free = land["pile_bearing_deg"].isna() & land["view"].eq("")
    outlines = [_outline(shape) for shape in land["laid"]]
    sizes = _sizes_of_pieces(result)
    firsts: dict[object, list[int]] = {}
    unlike: dict[int, int] = {}
    for row, pool in enumerate(result.ground.pool_keys(result.bid.cuts.pool)):
        if free.iat[row]:
            known = firsts.setdefault((pool, len(outlines[row])), [])
            first = next((k for k in known if _congruent(outlines[k], outlines[row])), None)
            if first is None:
                known.append(row)
            elif not _same(sizes[first], sizes[row]):
                unlike[row] = first
    return told(
        "not-laid-alike",
        np.isin(np.arange(len(land)), list(unlike)),
        lambda row: (
            f"{area_name(result, row)} is cut otherwise than {area_name(result, unlike[row])}, "
            "which has its shape"
        ),
    )


def _same(one: NDArray[np.float64], two: NDArray[np.float64]) -> bool:
    """Whether as many pieces have the same sizes."""
    return len(one) == len(two) and bool(np.abs(one - two).max(initial=0.0) <= SAME_M)


def _outline(shape: shapely.Geometry) -> NDArray[np.float64]:
    """What moving, turning and mirroring leave as it is: how far each corner lies from all others
    together, and how long each edge is, both in order of size; nothing for shapes of very many
    corners."""
    if shapely.get_num_coordinates(shape) > MOST_CORNERS:
        return np.empty(0)
    rings = [
        shapely.get_coordinates(ring)[:-1]
        for part in shapely.get_parts(shape)
        for ring in (part.exterior, *part.interiors)
    ]
    corners = np.concatenate(rings)
    apart = np.hypot(*(corners[:, None] - corners).transpose(2, 0, 1)).sum(axis=1)
    edges = np.concatenate([np.hypot(*(ring - np.roll(ring, 1, axis=0)).T) for ring in rings])
    return np.concatenate([np.sort(apart), np.sort(edges) * len(corners)])


def _congruent(one: NDArray[np.float64], two: NDArray[np.float64]) -> bool:
    """Whether outlines of as many corners are those of one shape, to within a hair a corner."""
    if not len(one):
        return False
    hair = HAIR_M * len(one) / 2
    longest_alike = abs(one[-1] - two[-1]) <= hair  # settles most, and at once
    return bool(longest_alike and np.abs(one - two).max() <= hair)


def _sizes_of_pieces(result: Result) -> list[NDArray[np.float64]]:
    """Length and width of each area's pieces as laid, and as cut where cut square (chalk lines of a
    mirrored piece are another's), in order of size."""
    pieces = result.plan.pieces
    long = (pieces["u1"] - pieces["u0"]).round(4)
    wide = (pieces["v1"] - pieces["v0"]).round(4)
    square = pieces["cut_u_m"].isna()
    cut = [pieces[name].where(square, 0.0) for name in ("length_m", "width_m")]
    sizes = np.column_stack([long, wide, *cut])
    order = np.lexsort((*sizes.T[::-1], areas_of(result)))
    ends = np.cumsum(np.bincount(areas_of(result), minlength=len(result.ground.areas)))[:-1]
    return np.split(sizes[order], ends)


PROMISES = (laid_alike,)
