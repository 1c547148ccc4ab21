"""Pieces against the ground they lie on."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeAlias

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoturf.check.border import shared, turf_along, turf_in
from geoturf.check.finding import area_name, told
from geoturf.check.near import inside, near
from geoturf.check.placed import (
    HAIR_M,
    areas_of,
    boxes_of,
    in_pile_coordinates,
    laid_at,
    meeting,
    room_across,
)
from geoturf.model import Finding, Result

ASKEW_DEG = 1e-6
RAGGED = 20_000  # points of an outline that is added up edge by edge, nothing cut out of it
FILM_M = 1e-4  # a gap along the whole border may be this wide before it is one


def covered(result: Result) -> list[Finding]:
    """Pieces cover all of each laid area. They do not overlap (`no_overlap_on_ground`), so what
    they cover adds up."""
    turned = in_pile_coordinates(result)
    pieces = result.plan.pieces
    area = areas_of(result)
    on_it = _turf_under(result, turned)
    bare = shapely.area(turned) - np.bincount(area, on_it, len(turned))
    wrong = bare > FILM_M * shapely.length(turned)
    counts = np.bincount(area, minlength=len(turned))
    return told(
        "not-covered",
        wrong,
        lambda row: (
            f"{area_name(result, row)}: {bare[row]:.4f} m2 lie bare under {counts[row]} of "
            f"{len(pieces)} pieces"
        ),
    )


def _turf_under(result: Result, turned: np.ndarray) -> np.ndarray:
    """Turf (m2) under each piece; ``turned``: areas in pile coordinates."""
    laid = laid_at(result)
    boxes = boxes_of(result)
    low = laid[:, ::2]
    high = laid[:, 1::2]
    area = areas_of(result)
    under: np.ndarray = (high - low).prod(axis=1)
    ragged = _ragged(turned)
    for k in np.flatnonzero(ragged).tolist():
        mine = np.flatnonzero(area == k)
        under[mine] = turf_in(turned[k], low[mine], high[mine])
    plain = np.flatnonzero(~ragged[area])
    partly = plain[~inside(turned, area[plain], low[plain], high[plain])]
    about = near(turned, area[partly], low[partly], high[partly])
    under[partly] = shapely.area(shapely.intersection(about, boxes[partly]))
    return under


def _ragged(turned: np.ndarray) -> np.ndarray:
    """Which areas (bool) have so many corners that their border alone is looked at."""
    ragged: np.ndarray = shapely.get_num_coordinates(turned) > RAGGED
    return ragged


def no_overlap_on_ground(result: Result) -> list[Finding]:
    """Pieces of an area do not overlap."""
    laid = laid_at(result)
    area = areas_of(result)
    one, two = meeting(area, laid[:, ::2], laid[:, 1::2])
    names = result.plan.pieces["piece"].to_numpy()
    return told(
        "pieces-overlap",
        np.ones(len(one), dtype=bool),
        lambda k: (
            f"{area_name(result, area[one[k]])}: pieces {names[one[k]]} and {names[two[k]]} overlap"
        ),
    )


def not_too_wide(result: Result) -> list[Finding]:
    """No piece is laid or cut wider than the usable width of its roll."""
    pieces = result.plan.pieces
    room = room_across(result)
    wide = np.maximum(
        (pieces["v1"] - pieces["v0"]).to_numpy(float), pieces["width_m"].to_numpy(float)
    )
    return told(
        "piece-too-wide",
        wide > room + HAIR_M,
        lambda k: (
            f"piece {pieces['piece'].iloc[k]} is {wide[k]:.4f} m wide on a roll of usable "
            f"{room[k]:.4f} m"
        ),
    )


def cut_with_allowances(result: Result) -> list[Finding]:
    """Each piece is cut as long as it lies and an allowance at both ends, and as wide and one more,
    up to the usable width."""
    pieces = result.plan.pieces
    rules = result.bid.layout
    long = (pieces["u1"] - pieces["u0"]).to_numpy() + 2 * rules.end_allowance_m
    wide = np.minimum(
        (pieces["v1"] - pieces["v0"]).to_numpy() + rules.side_allowance_m, room_across(result)
    )
    square = pieces["cut_u_m"].isna().to_numpy()
    short = square & (pieces["length_m"].to_numpy() < long - HAIR_M) | (
        pieces["width_m"].to_numpy() < wide - HAIR_M
    )
    short |= _short_of_chalk_line(result, np.flatnonzero(~square))
    return told(
        "piece-cut-short",
        short,
        lambda k: (
            f"piece {pieces['piece'].iloc[k]} is cut {pieces['length_m'].iloc[k]:.4f} x "
            f"{pieces['width_m'].iloc[k]:.4f} m, "
            f"but {long[k]:.4f} x {wide[k]:.4f} m are needed"
        ),
    )


def _short_of_chalk_line(result: Result, rows: np.ndarray) -> np.ndarray:
    """Pieces (bool, (n,)) whose slanted ends leave less than the end allowance beyond the turf they
    lie on; ``rows`` slant."""
    pieces = result.plan.pieces.iloc[rows]
    turned = in_pile_coordinates(result)
    laid = laid_at(result)[rows]
    about = near(turned, areas_of(result)[rows], laid[:, ::2], laid[:, 1::2])
    turf = shapely.intersection(about, boxes_of(result)[rows])
    points, of = shapely.get_coordinates(turf, return_index=True)
    across = ((points[:, 1] - pieces["v0"].to_numpy()[of]) / pieces["width_m"].to_numpy()[of]).clip(
        0, 1
    )
    first = (
        pieces["cut_u_m"].to_numpy()[of] + across * pieces["start_slant_m"].to_numpy()[of]
    ) - points[:, 0]
    last = (
        points[:, 0]
        - (pieces["cut_u_m"] + pieces["length_m"]).to_numpy()[of]
        - across * pieces["end_slant_m"].to_numpy()[of]
    )
    short = np.maximum(first, last) > HAIR_M - result.bid.layout.end_allowance_m
    out = np.zeros(len(result.plan.pieces), dtype=bool)
    out[rows[np.unique(of[short])]] = True
    return out


def seams_where_pieces_meet(result: Result) -> list[Finding]:
    """The seams of an area are as long as its pieces meet under turf, to 10 cm and 1 %.

    Where a border runs along a joint, a hair decides whether there is a seam: either is taken."""
    turned = in_pile_coordinates(result)
    area = areas_of(result)
    laid = laid_at(result)
    low = laid[:, ::2]
    high = laid[:, 1::2]
    one, two = meeting(area, low - 2 * HAIR_M, high + 2 * HAIR_M)
    first = np.maximum(low[one], low[two])
    last = np.minimum(high[one], high[two])
    along_u = last[:, :1] - first[:, :1] > last[:, 1:] - first[:, 1:]
    aside = np.where(along_u, [[0.0, FILM_M]], [[FILM_M, 0.0]])
    reach = np.minimum(first, last) - FILM_M, np.maximum(first, last) + FILM_M
    ragged = _ragged(turned)[area[one]]
    plain = np.flatnonzero(~ragged)
    partly = plain[~inside(turned, area[one[plain]], reach[0][plain], reach[1][plain])]
    about = near(turned, area[one[partly]], reach[0][partly], reach[1][partly])
    joint_m = np.hypot(*(last - first).T)
    some = about, first[partly], last[partly]
    on_turf = [_turf_on(*some, by * aside[partly]) for by in (-1, 0, 1)]
    for k in np.unique(area[one[ragged]]).tolist():
        mine = np.flatnonzero(area[one] == k)
        ends = first[mine], last[mine]
        added = [turf_along(turned[k], *(e + by * aside[mine] for e in ends)) for by in (-1, 0, 1)]
        on_turf = [_both(*two, len(partly)) for two in zip(on_turf, added, strict=True)]
        partly = np.append(partly, mine)
    lengths = [_lengths(one, len(partly)) for one in on_turf]
    least = joint_m.copy()
    most = joint_m.copy()
    least[partly] = np.minimum(lengths[1], _on_both_m(on_turf[0], on_turf[2], len(partly)))
    most[partly] = np.max(lengths, axis=0)
    least = np.bincount(area[one], least, len(turned))
    most = np.bincount(area[one], most, len(turned))
    told_m = result.plan.chosen["seam_m"].to_numpy(float)
    return told(
        "seams-not-as-laid",
        (told_m < 0.99 * least - 0.1) | (told_m > 1.01 * most + 0.1),
        lambda row: (
            f"{area_name(result, row)}: {told_m[row]:.3f} m of seam, but pieces meet over "
            f"{least[row]:.3f} to {most[row]:.3f} m"
        ),
    )


Stretches: TypeAlias = tuple[NDArray[np.int64], np.ndarray]  # joint (k,); from, to along it (k, 2)


def _turf_on(turf: np.ndarray, first: np.ndarray, last: np.ndarray, aside: np.ndarray) -> Stretches:
    """Turf on each joint from ``first`` to ``last`` (n, 2), along u or v, moved ``aside``."""
    joints = shapely.linestrings(np.stack([first + aside, last + aside], axis=1))
    parts, of = shapely.get_parts(shapely.intersection(joints, turf), return_index=True)
    parts, of = parts[~shapely.is_empty(parts)], of[~shapely.is_empty(parts)]
    ends = shapely.bounds(parts).reshape(-1, 2, 2)  # from and to; u and v
    along = np.argmax(np.abs(last - first)[of], axis=1)
    return of, np.take_along_axis(ends, along[:, None, None], axis=2)[:, :, 0]


def _both(some: Stretches, more: Stretches, count: int) -> Stretches:
    """The stretches of ``count`` joints and of more."""
    return np.append(some[0], count + more[0]), np.vstack([some[1], more[1]])


def _lengths(some: Stretches, count: int) -> np.ndarray:
    """Metres on each of so many joints."""
    of, ends = some
    return np.bincount(of, ends[:, 1] - ends[:, 0], count)


def _on_both_m(one: Stretches, other: Stretches, count: int) -> np.ndarray:
    """Metres of each joint with turf on one side and on the other; all joints are taken end to
    end."""
    of, ends = one
    others, theirs = other
    first = min(ends.min(initial=0.0), theirs.min(initial=0.0))
    long = max(ends.max(initial=0.0), theirs.max(initial=0.0)) - first + 1.0
    both = shared(theirs + others[:, None] * long, ends + of[:, None] * long)
    return np.bincount(of, both, count)


def pile_one_way(result: Result) -> list[Finding]:
    """One pile bearing an area, the one it states where it states one, and one for areas that are
    seen together; in a row that may turn one a lot, no two further apart than it may."""
    areas = result.ground.areas
    chosen = result.plan.chosen["pile_bearing_deg"].to_numpy(float)
    area = areas_of(result)
    bearing = result.plan.pieces["bearing_deg"].to_numpy(float)
    found = told(
        "pile-turned",
        _differ(bearing, chosen[area]),
        lambda k: (
            f"{area_name(result, area[k])}: piece {result.plan.pieces['piece'].iloc[k]} has its "
            "pile turned"
        ),
    )
    stated = areas["pile_bearing_deg"].to_numpy(float)
    free = np.isnan(stated)
    one = free & (areas["view"].to_numpy(str) != "")
    leader = _first_of(areas["view"].astype(str), one, chosen)
    turns = _turns(areas)
    seen = _first_of(areas["view"].astype(str) + "/" + areas["site"].astype(str), one, chosen)
    wanted = np.where(~free, stated, np.where(one, np.where(turns > 0, seen, leader), chosen))
    wanted = np.where(np.isnan(chosen), np.nan, wanted)
    return [
        *found,
        *told(
            "pile-not-as-stated",
            _differ(chosen, wanted),
            lambda row: (
                f"{area_name(result, row)}: pile at {chosen[row]:.4f} degrees, not "
                f"{wanted[row]:.4f}"
            ),
        ),
        *told(
            "pile-out-of-row",
            one & (_spread(areas["view"].astype(str), one, chosen) > 2 * turns + ASKEW_DEG),
            lambda row: (
                f"{area_name(result, row)}: lots of its view lean further apart than "
                f"{2 * turns[row]:g} degrees"
            ),
        ),
    ]


def _turns(areas: pd.DataFrame) -> np.ndarray:
    """Degrees that each area may lean from its view's bearing."""
    none = pd.Series(0.0, areas.index)
    return areas.get("view_turn_deg", none).to_numpy(float)


def _first_of(group: pd.Series, some: np.ndarray, chosen: np.ndarray) -> np.ndarray:
    """The bearing of the first of each area's group, of ``some`` areas; NaN for others."""
    bearing = pd.Series(np.where(some, chosen, np.nan))
    return bearing.groupby(group.to_numpy()).transform("first").to_numpy(float)


def _spread(group: pd.Series, some: np.ndarray, chosen: np.ndarray) -> np.ndarray:
    """Degrees that each group's bearings lie apart at the most, senses told apart."""
    off = pd.Series((chosen - _first_of(group, some, chosen) + 180) % 360 - 180)
    by = off.where(some).groupby(group.to_numpy())
    return (by.transform("max") - by.transform("min")).to_numpy(float)


def _differ(one: np.ndarray, two: np.ndarray) -> np.ndarray:
    """Bearings that are not the same direction; NaN is the same as anything."""
    turned: NDArray[np.float64] = np.abs((one - two + 180) % 360 - 180)
    return turned > ASKEW_DEG


PROMISES = (
    not_too_wide,
    cut_with_allowances,
    pile_one_way,
)
#: which ask for nothing but where pieces and seams lie
ON_GROUND = (covered, no_overlap_on_ground, seams_where_pieces_meet)
_WHERE = ["u0", "u1", "v0", "v1", "bearing_deg"]


def laid_otherwise(result: Result, sound: Iterable[Result]) -> np.ndarray:
    """Rows of the areas whose pieces or seams lie otherwise than in each of ``sound``."""
    own = _lies(result)
    known = [_lies(one) for one in sound]
    rows = [
        row for row, lies in enumerate(own) if not any(lies in one[row : row + 1] for one in known)
    ]
    return np.array(rows, int)


def _lies(result: Result) -> list[tuple[object, ...]]:
    """All that the promises in `ON_GROUND` ask of each area."""
    pieces = result.plan.pieces[_WHERE].to_numpy(float)
    of = areas_of(result)
    order = np.lexsort((*pieces.T, of))
    laid = result.ground.areas["laid"]
    ends = np.cumsum(np.bincount(of, minlength=len(laid)))
    seam_m = result.plan.chosen["seam_m"].tolist()
    rows = [some.tobytes() for some in np.split(pieces[order], ends)[:-1]]
    return list(zip(map(id, laid), seam_m, rows, strict=True))
