"""Turf that is not laid but estimated, from shapes alone: thousands of areas a second.

For each area strips that are likely are sought (`likely`): at a few bearings, between seams on a
coarse grid, priced as a large pool would, so that no piece is ever placed. What geoturf's own
layouts of many kinds of shape came to beside that was fitted once, by ``tests/bench/estimate.py``,
and stands in ``data/estimate.csv``, with the errors that were met on kinds not fitted on: layouts
save at inner corners, where areas are parted into arms and blocks, and pay for the rests of narrow
pieces, of which there are the more the more seams there are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd
import shapely

from geoturf import data
from geoturf.engine import Engine, Serial
from geoturf.layout import likely
from geoturf.layout.likely import BEARING, CROSS, CROSSES, NARROWS, REST, SEAM, SEAMS, TURF
from geoturf.layout.roll import Roll, stocked
from geoturf.layout.sizes import RollSizes
from geoturf.layout.task import stated_bearings
from geoturf.model import PIECES_OF, Estimate, Ground
from geoturf.rules import LayoutRules, Product
from geoturf.units import US, System

GIVE = 1e-6  # what float arithmetic may take off a bound
TOGETHER = 2_000  # areas a worker gets at a time
FEW = 4 * TOGETHER  # fewer are not worth starting workers


def estimate(
    ground: Ground,
    products: dict[str, Product],
    rules: LayoutRules,
    told: System = US,
    engine: Engine | None = None,
) -> Estimate:
    """What the areas that are not laid are likely to take. Of several stocked widths the one that
    costs least is taken for each area.

    Raises `InputError`, in the units of ``told``, where a product's roll is too small for any
    piece, or ``rules.toward`` names a layer that is not there."""
    land = ground.areas
    rows = np.setdiff1d(land.index.to_numpy(), ground.laid)
    stated = stated_bearings(ground, rules)[rows]
    laid = land["laid"].to_numpy(object)[rows]
    product = land["product"].to_numpy(str)[rows]
    parts = []
    for name in dict.fromkeys(product.tolist()):
        own = np.flatnonzero(product == name)
        rolls = stocked(name, products[name], rules, told)
        whole = products[name].sold_by == "roll"
        figures = _cheapest(laid[own], stated[own], rolls, whole, engine or Serial())
        parts.append(figures.assign(area_index=rows[own]))
    every = pd.concat(parts, ignore_index=True).fillna(0.0)
    return Estimate(every.sort_values("area_index", ignore_index=True))


def _cheapest(
    laid: np.ndarray, stated: np.ndarray, rolls: Sequence[Roll], whole: bool, engine: Engine
) -> pd.DataFrame:
    """The figures of the width that costs each area least. ``whole``: whether whole rolls are sold,
    so that the lengths of pieces matter."""
    tables = [_figures(laid, stated, roll, whole, engine) for roll in rolls]
    costs = [
        roll.worth * table["turf_m2"] + roll.seam * table["seam_m"]
        for roll, table in zip(rolls, tables, strict=True)
    ]
    best = np.argmin(np.column_stack(costs), axis=1)
    out = tables[0].copy()
    for k, table in enumerate(tables[1:], 1):
        out[best == k] = table[best == k]
    out["bound_m2"] = np.min([table["bound_m2"] for table in tables], axis=0)
    return out


def _figures(
    laid: np.ndarray, stated: np.ndarray, roll: Roll, whole: bool, engine: Engine
) -> pd.DataFrame:
    """What areas take of one roll width."""
    told = sought(laid, stated, roll, engine)
    counts = piece_counts(laid, told, roll).T if whole else ()
    least = bounds_m2(laid, shapely.area(laid), roll)
    fit = np.array([fitted("turf", name) for name in MEASURES])
    turf = np.maximum(measures(told, laid, least, roll) @ fit, least)
    cross = fitted("seams", "across") * told[:, [CROSS, CROSSES]]
    return pd.DataFrame(
        {
            "width_m": roll.width_m,
            "turf_m2": turf,
            "rest_m2": told[:, REST],
            "narrow": told[:, NARROWS],
            "sigma": np.hypot(
                fitted("sigma", "of an area"), fitted("sigma", "of its rest") * told[:, REST] / turf
            ),
            "bound_m2": least,
            "seam_m": fitted("seams", "along") * told[:, SEAM] + cross[:, 0],
            "cross_m": cross[:, 0],
            "seams": told[:, SEAMS],
            "cross_seams": cross[:, 1],
            **{f"{PIECES_OF}{k}": count for k, count in enumerate(counts)},
        }
    )


def piece_counts(laid: np.ndarray, told: np.ndarray, roll: Roll) -> np.ndarray:
    """What `likely.lengths` counts of each area at the bearing that ``told`` has of it."""
    return likely.lengths(*ragged(laid), np.ascontiguousarray(told[:, BEARING]), roll.numbers)


def sought(laid: np.ndarray, stated: np.ndarray, roll: Roll, engine: Engine) -> np.ndarray:
    """What `likely.likely` tells of each area (n, `likely.KEPT`)."""
    runner = engine if len(laid) > FEW else Serial()
    found = runner.map(_sought, list(_works(laid, stated, roll)))
    return np.concatenate([np.zeros((0, likely.KEPT)), *found])


#: what turf is told by, each in m2 of turf
MEASURES = ("strips", "ground", "bound", "corners", "seams")
INNER_DEG = 30.0  # borders turn in by more than this at an inner corner; those of curves do not


def measures(told: np.ndarray, laid: np.ndarray, least: np.ndarray, roll: Roll) -> np.ndarray:
    """`MEASURES` of each area: its likely strips; its ground; its bound; an end allowance of a full
    strip at every inner corner, and one all along the seams."""
    over = roll.width_m / roll.usable_m
    across = roll.usable_m * inner_corners(laid)
    ends = (over * roll.ends_m * along for along in (across, told[:, SEAM]))
    return np.column_stack([told[:, TURF], over * shapely.area(laid), least, *ends])


def inner_corners(laid: np.ndarray) -> np.ndarray:
    """How many corners of each area's border turn into it."""
    parts, owner = shapely.get_parts(shapely.orient_polygons(laid), return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    steps = np.diff(points, axis=0)
    of = ring[1:]
    steps = steps[of == ring[:-1]]
    of = of[of == ring[:-1]]
    first = np.searchsorted(of, of)
    last = np.searchsorted(of, of, side="right") - 1
    at = np.arange(len(of))
    before = steps[np.where(at == first, last, at - 1)]
    cross = before[:, 0] * steps[:, 1] - before[:, 1] * steps[:, 0]
    turn = np.degrees(np.arctan2(cross, (before * steps).sum(axis=1)))
    inner = turn < -INNER_DEG
    return np.bincount(owner[part[of[inner]]], minlength=len(laid)).astype(float)


def _works(
    laid: np.ndarray, stated: np.ndarray, roll: Roll
) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, RollSizes]]:
    """Areas as `likely.likely` takes them, `TOGETHER` at a time."""
    for first in range(0, len(laid), TOGETHER):
        some = slice(first, first + TOGETHER)
        yield (*ragged(laid[some]), stated[some], roll.numbers)


def ragged(laid: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Edges (m, 4) about the first corner of each area, where the edges of each part begin, and
    where the parts of each area do."""
    parts, area = shapely.get_parts(laid, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    points, ring = shapely.get_coordinates(rings, return_index=True)
    owner = area[part[ring]]
    points = points - points[np.searchsorted(owner, owner)]
    same = ring[1:] == ring[:-1]
    edges = np.ascontiguousarray(np.hstack([points[:-1], points[1:]])[same])
    return (
        edges,
        _offsets(part[ring[1:][same]], len(parts)),
        _offsets(area, len(laid)),
    )


def _offsets(of: np.ndarray, count: int) -> np.ndarray:
    """Where the rows of each owner begin, of rows in order."""
    return np.concatenate([[0], np.cumsum(np.bincount(of, minlength=count))]).astype(np.int64)


def _sought(
    work: tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, RollSizes],
) -> np.ndarray:
    """A worker's share."""
    return likely.likely(*work)


def bounds_m2(laid: np.ndarray, area_m2: np.ndarray, roll: Roll) -> np.ndarray:
    """No layout buys less for each area: its ground and an allowance at both ends of every line
    along the pile, of which there are as many as the area is wide at least
    (`geoturf.layout.covers`, without what its shape adds)."""
    parts, owner = shapely.get_parts(laid, return_index=True)
    hulls = shapely.convex_hull(parts)
    own = np.arange(len(parts))
    points, part = shapely.get_coordinates(hulls, return_index=True)
    flat = shapely.get_dimensions(hulls) < 2
    wide = likely.least_widths(points, _offsets(part, len(own)))
    widest = np.zeros(len(laid))
    np.maximum.at(widest, owner, np.where(flat, 0.0, wide))
    taken = area_m2 + roll.ends_m * widest
    return np.asarray(roll.width_m / roll.usable_m * taken * (1 - GIVE))


def fitted(name: str, quantity: str) -> float:
    return data.value("estimate", name, quantity)
