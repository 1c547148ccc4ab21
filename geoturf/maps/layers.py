"""What lies on the areas and around them, as plain data: pieces and seams, edges, buildings and
paving."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import shapely

from geoturf import ground, pile, plane
from geoturf import units as u
from geoturf.maps import encode
from geoturf.model import Result

EDGE_KINDS = ("paving", "building", "shared", "open")
CONTEXT_ROLES = ("building", "paving", "exclude", "street")
# beyond these the page would open slowly; what is left out is said on it
MOST_CONTEXT_POINTS = 300_000
MOST_PIECES = 300_000
MOST_AREAS = 20_000
_FEATURE = ["role", "file", "layer", "feature", "part"]  # what tells one from another
_BASIS_M = 100.0
_CM = 100.0


def very_many(result: Result) -> bool:
    """Whether areas are so many that the page would open slowly with all of each."""
    return len(result.ground.areas) > MOST_AREAS


def pieces(result: Result, withheld: bool = False) -> dict[str, Any]:
    """Pieces and seams in centimetres along and across the pile, from a corner of each area, and
    where that corner and the two directions are on the map: a straight (affine) map is true to 2 mm
    over 100 m; and on which areas turf is laid. Where they are ``withheld`` or too many, the
    directions alone are told."""
    plan = result.plan
    count = len(result.ground.areas)
    too_many = len(plan.pieces) > MOST_PIECES and not withheld
    end = 0 if withheld or too_many else None
    table = plan.pieces.iloc[:end].sort_values("area_index", kind="stable")
    seams = plan.seams.iloc[:end].sort_values("area_index", kind="stable")
    owner = table["area_index"].to_numpy(dtype=int)
    u0 = _least(table["u0"], owner, count)
    v0 = _least(table["v0"], owner, count)
    bearing = plan.chosen["pile_bearing_deg"].to_numpy(dtype=float, copy=True)
    bearing[owner] = table["bearing_deg"].to_numpy(dtype=float)
    at = _corners(result, u0, v0, np.nan_to_num(bearing))
    return {
        "withheld": withheld,
        "tooMany": too_many,
        "corners": encode.ints(encode.deltas(encode.grid(at))),
        "counts": encode.ints(np.bincount(owner, minlength=count)),
        "laid": encode.ints(plan.chosen["pieces"].to_numpy(int) > 0),
        "boxes": encode.ints(_boxes(table, owner, u0, v0)),
        "roll": encode.words(table["roll"]),
        "piece": encode.ids(table["piece"]),
        "cut": _cut(table, result.bid.units),
        "seams": _seams(seams, u0, v0, count),
    }


def _least(values: pd.Series, owner: np.ndarray, count: int) -> np.ndarray:
    """The least of each area's ``values`` (n,), of areas numbered ``owner`` (n,), shape (count,); 0
    where it has none."""
    least = np.full(count, np.inf)
    np.minimum.at(least, owner, values.to_numpy(dtype=float))
    least[~np.isfinite(least)] = 0.0
    return least


def _corners(result: Result, u0: np.ndarray, v0: np.ndarray, bearing_deg: np.ndarray) -> np.ndarray:
    """A corner of each area, a point 100 m from it along the pile and one 100 m to its right:
    degrees, shape (3 n, 2)."""
    area = np.repeat(np.arange(len(u0)), 3)
    along = np.tile([0.0, _BASIS_M, 0.0], len(u0))
    across = np.tile([0.0, 0.0, _BASIS_M], len(u0))
    x, y = pile.to_xy(u0[area] + along, v0[area] + across, bearing_deg[area])
    laid = np.asarray(shapely.points(x, y), dtype=object)
    flat = plane.from_laid(result.ground.areas, area, laid)
    frame = result.ground.areas["frame"].to_numpy(dtype=int)[area]
    return shapely.get_coordinates(ground.to_degrees(result.ground.frames, frame, flat))


def _boxes(table: pd.DataFrame, owner: np.ndarray, u0: np.ndarray, v0: np.ndarray) -> np.ndarray:
    """u0, u1 - u0, v0, v1 - v0 of each piece from its area's corner, whole centimetres,
    flattened."""
    corner = np.column_stack([u0, u0, v0, v0])[owner]
    box = table[["u0", "u1", "v0", "v1"]].to_numpy(dtype=float) - corner
    left, right, low, high = np.rint(box * _CM).astype(np.int64).T
    return np.column_stack([left, right - left, low, high - low]).ravel()


def _cut(table: pd.DataFrame, units: str) -> dict[str, Any]:
    """Where each piece lies on its roll and how large it is cut, in hundredths of the unit
    shown."""
    length = u.FOOT_M if units == "us" else 1.0
    names = ("along_m", "across_m", "length_m", "width_m")
    cut = {"unit": "ft" if units == "us" else "m"}
    for name in names:
        hundredths = np.rint(table[name].to_numpy(dtype=float) / length * 100)
        cut[name.removesuffix("_m")] = encode.ints(hundredths)
    return cut


def _seams(seams: pd.DataFrame, u0: np.ndarray, v0: np.ndarray, count: int) -> dict[str, str]:
    """Start and length of each: a seam runs on along the pile, a cross seam across it."""
    owner = seams["area_index"].to_numpy(dtype=int)
    cross = (seams["kind"] == "cross").to_numpy()
    starts = seams[["u0", "v0"]].to_numpy(dtype=float) - np.column_stack([u0, v0])[owner]
    length = np.where(cross, seams["v1"] - seams["v0"], seams["u1"] - seams["u0"])
    return {
        "counts": encode.ints(np.bincount(owner, minlength=count)),
        "cross": encode.ints(cross),
        "runs": encode.ints(np.rint(np.column_stack([starts, length]) * _CM)),
    }


def edges(result: Result) -> dict[str, Any]:
    """Edge runs by kind. An area that is bordered all round by one kind has no runs of its own:
    its border is drawn so."""
    runs = result.edges.runs
    area = result.ground.areas
    if very_many(result):
        runs = runs.iloc[:0]
    runs = runs.sort_values("area_index", kind="stable")
    owner = runs["area_index"].to_numpy(dtype=int)
    told = runs["kind"].replace({"fence": "open", "planter": "open"})
    kind = told.map({name: k for k, name in enumerate(EDGE_KINDS)}).to_numpy(dtype=int)
    closed = runs["closed"].to_numpy(dtype=bool)
    whole = np.full(len(area), -1)
    whole[owner] = kind
    mixed = np.zeros(len(area), dtype=bool)
    mixed[owner[~closed | (kind != whole[owner])]] = True
    whole[mixed] = -1
    kept = mixed[owner]
    frame = area["frame"].to_numpy(dtype=int)[owner[kept]]
    shapes = ground.to_degrees(result.ground.frames, frame, runs["geometry"].to_numpy()[kept])
    return {
        "tooMany": very_many(result),
        "whole": encode.ints(whole),
        "counts": encode.ints(np.bincount(owner[kept], minlength=len(area))),
        "kind": encode.ints(kind[kept]),
        "runs": encode.lines(shapes),
    }


def context(result: Result) -> dict[str, Any]:
    """Buildings, paving and exclusions, each once, and street lines; left out where they would
    swell the page."""
    table = result.ground.context
    table = table[table["role"].isin(CONTEXT_ROLES)].drop_duplicates(_FEATURE)
    shapes = table["geometry"].to_numpy()
    areal = np.isin(shapely.get_type_id(shapes), (3, 6))
    too_many = bool(shapely.get_num_coordinates(shapes).sum() > MOST_CONTEXT_POINTS)
    if too_many:
        areal[:] = False
    frame = table["frame"].to_numpy(dtype=int)[areal]
    role = table["role"].map({name: k for k, name in enumerate(CONTEXT_ROLES)}).to_numpy(dtype=int)
    return {
        "tooMany": too_many,
        "role": encode.ints(role[areal]),
        "shapes": encode.polygons(ground.to_degrees(result.ground.frames, frame, shapes[areal])),
    }
