"""Lawns as a crew would lay them: no slivers, no short ends, no needless cross seams."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
import pandas as pd
import shapely

from geoturf.check.border import shared
from geoturf.check.finding import area_name, told
from geoturf.check.placed import (
    HAIR_M,
    areas_of,
    in_pile_coordinates,
    laid_at,
    rolls_by_name,
    room_across,
)
from geoturf.model import Finding, Result

CORNER_M = 2e-3  # a line this near to a corner goes through it
TURNED = 0.1  # sine of a turn that makes a corner
SPARE_M = 0.02  # of seam, before a side counts as turf


def no_slivers(result: Result) -> list[Finding]:
    """No piece is laid narrower than the rules' least width, unless the area itself is."""
    pieces = result.plan.pieces
    area = areas_of(result)
    low, high = np.split(shapely.bounds(in_pile_coordinates(result)), 2, axis=1)
    least = np.minimum(result.bid.layout.min_piece_width_m, (high - low)[area, 1])
    least = np.minimum(least, np.nan_to_num(room_across(result), nan=np.inf))
    wide = (pieces["v1"] - pieces["v0"]).to_numpy(float)
    return told("piece-too-narrow", wide < least - HAIR_M, _under(result, wide, "wide", least))


def long_enough(result: Result) -> list[Finding]:
    """No piece is laid shorter than the rules' least length (or half of what a roll holds) where it
    and one of the next strip, that is long enough, would do as one; others are told in a finding of
    their area."""
    laid = laid_at(result)
    least = np.minimum(result.bid.layout.min_piece_length_m, _longest_laid(result) / 2)
    long = laid[:, 1] - laid[:, 0]
    short = long < least - HAIR_M
    wrong = short & ~_told_small(result)
    for one, other, as_one in _side_by_side(result, short):
        if not (short[one].any() or short[other].any()) or not as_one():
            continue
        beside = np.minimum.outer(laid[one, 1], laid[other, 1]) > np.maximum.outer(
            laid[one, 0], laid[other, 0]
        )
        wrong[one] |= short[one] & (beside & ~short[other]).any(axis=1)
        wrong[other] |= short[other] & (beside & ~short[one][:, None]).any(axis=0)
    return told("piece-too-short", wrong, _under(result, long, "long", least))


def _under(result: Result, size: np.ndarray, how: str, least: np.ndarray) -> Callable[[int], str]:
    """That a piece is not as ``how`` (wide, long) as the ``least``, both in m (n,)."""
    names = result.plan.pieces["piece"]
    return lambda k: (
        f"piece {names.iloc[k]} is {size[k]:.4f} m {how}, the least is {least[k]:.4f} m"
    )


def narrow_at_borders(result: Result) -> list[Finding]:
    """No narrow strip has turf along most of both sides, and no two lie side by side where one
    wider would do. What turf does not allow is told in a finding of its area."""
    pieces = result.plan.pieces
    area = areas_of(result)
    laid = laid_at(result)
    under = np.nan_to_num(room_across(result)) * result.bid.layout.narrow_strip
    narrow = laid[:, 3] - laid[:, 2] < under - HAIR_M
    strips = [area, *np.round(laid[:, 2:].T, 4)]
    most = (
        0.5 * pd.Series(laid[:, 1] - laid[:, 0]).groupby(strips).transform("sum").to_numpy()
        + SPARE_M
    )
    below, above = (_seam_beside(result, narrow, side) for side in (2, 3))
    said = _told_small(result)
    wrong = narrow & (np.minimum(below, above) > most) & ~said
    for one, other, as_one in _side_by_side(result, narrow):
        pair = narrow[one].all() and narrow[other].all()
        pair = pair and above[one[0]] > max(most[one[0]], most[other[0]])
        pair = pair and _abreast(laid, one, other)
        wrong[one] |= bool(pair and (not said[one[0]] or as_one()))
    return told(
        "strip-narrow-inside",
        wrong,
        lambda k: (
            f"{area_name(result, area[k])}: piece {pieces['piece'].iloc[k]}, "
            f"{laid[k, 3] - laid[k, 2]:.4f} m wide, lies inside the turf"
        ),
    )


def _side_by_side(
    result: Result, some: np.ndarray
) -> Iterator[tuple[np.ndarray, np.ndarray, Callable[[], bool]]]:
    """Rows of the pieces of two strips side by side, the one below first, and what tells whether
    they would do `_as_one`; of areas with any of ``some`` (bool)."""
    laid = laid_at(result)
    room = room_across(result)
    reach = _longest_laid(result)
    by_area = _rows_by(areas_of(result))
    for row in np.unique(areas_of(result)[some]):
        mine = by_area[row]
        lines, of = np.unique(np.round(laid[mine, 2:], 5), axis=0, return_inverse=True)
        for k, m in np.argwhere(np.abs(lines[:, None, 1] - lines[None, :, 0]) < 2 * HAIR_M):
            one = mine[of.reshape(-1) == k]
            other = mine[of.reshape(-1) == m]
            place = laid[mine], lines, lines[k, 0], lines[m, 1]
            as_one = partial(_as_one, *place, laid[one], laid[other], room[one], reach[one])
            yield one, other, as_one


def _as_one(
    every: np.ndarray,
    lines: np.ndarray,
    low: float,
    high: float,
    below: np.ndarray,
    above: np.ndarray,
    room: np.ndarray,
    reach: np.ndarray,
) -> bool:
    """Whether a roll is wide enough for the strips ``below`` and ``above``, from v ``low`` to
    ``high``, as one, and as long as it or the longer of them, with nothing else of the area beside
    them, no gap in either and no bay that they would lie over. ``every``: the area's pieces (n, 4),
    on ``lines``; ``room``, ``reach``: across and along the rolls of those below."""
    beside = (lines[:, 0] < high - HAIR_M) & (lines[:, 1] > low + HAIR_M)
    longest = max(reach.min(), _extent(below), _extent(above))
    wide = high - low <= room.min() - HAIR_M
    long = _extent(np.concatenate([below, above])) <= longest + SPARE_M
    whole = _without_gaps(below) and _without_gaps(above)
    alone = beside.sum() == 2
    return bool(wide and long and whole and alone and not _over_a_bay(every, below, above))


def _abreast(laid: np.ndarray, one: np.ndarray, other: np.ndarray) -> bool:
    """Whether any of the pieces ``one`` lies along any of ``other``."""
    last = np.minimum.outer(laid[one, 1], laid[other, 1])
    first = np.maximum.outer(laid[one, 0], laid[other, 0])
    return bool((last - first > SPARE_M).any())


def _extent(strip: np.ndarray) -> float:
    """From the first to the last of a strip's pieces (n, 4) along the pile (m)."""
    return float(strip[:, 1].max() - strip[:, 0].min())


def _without_gaps(strip: np.ndarray) -> bool:
    """Whether the pieces (n, 4) of a strip lie end to end: one wider would lie over what parts
    others, such as a house."""
    return bool(abs(_extent(strip) - (strip[:, 1] - strip[:, 0]).sum()) < HAIR_M * len(strip))


def _over_a_bay(every: np.ndarray, one: np.ndarray, other: np.ndarray) -> bool:
    """Whether the strips ``one`` and ``other``, above it, would as one lie over what parts turf:
    past an end of the shorter there are pieces again on the far side of it."""
    below = every[:, 3] <= one[0, 2] + HAIR_M
    above = every[:, 2] >= other[0, 3] - HAIR_M
    return _beyond(every[below], one, other) or _beyond(every[above], other, one)


def _beyond(some: np.ndarray, short: np.ndarray, long: np.ndarray) -> bool:
    """Whether any of the pieces ``some`` end past an end of ``short``, where ``long`` reaches."""
    first = some[:, 0]
    last = some[:, 1]
    before = last < short[:, 0].min() - SPARE_M
    before &= last > long[:, 0].min()
    after = first > short[:, 1].max() + SPARE_M
    after &= first < long[:, 1].max()
    return bool((before | after).any())


def _seam_beside(result: Result, some: np.ndarray, side: int) -> np.ndarray:
    """Seam (m) along one side (2: v0, 3: v1) of the strip that each piece is of, in areas with any
    of ``some`` (bool); 0 in others."""
    area = areas_of(result)
    laid = laid_at(result)
    seams = result.plan.seams
    seams = seams[seams["kind"] == "seam"]
    ends = seams[["v0", "u0", "u1"]].to_numpy(float)
    seams_of = _rows_by(seams["area_index"].to_numpy(int))
    pieces_of = _rows_by(area)
    seam = np.zeros(len(laid))
    for row in np.unique(area[some]):
        mine = pieces_of[row]
        here = ends[seams_of.get(row, [])]
        lines, line = np.unique(laid[mine, side], return_inverse=True)
        for k, v in enumerate(lines.tolist()):
            on = here[np.abs(here[:, 0] - v) < 2 * HAIR_M, 1:]
            beside = mine[line == k]
            seam[beside] = shared(on, laid[beside, :2])
    strips = [area, *np.round(laid[:, 2:].T, 4)]
    return pd.Series(seam).groupby(strips).transform("sum").to_numpy()


def _rows_by(area: np.ndarray) -> dict[int, np.ndarray]:
    """Rows (m,) of each area, rising."""
    order = np.argsort(area, kind="stable")
    there, first = np.unique(area[order], return_index=True)
    return dict(zip(there.tolist(), np.split(order, first[1:]), strict=False))


def _told_small(result: Result) -> np.ndarray:
    """Whether each piece's area is told to have small pieces."""
    mine: np.ndarray = _said(result, "small-pieces")[areas_of(result)]
    return mine


def _said(result: Result, code: str) -> np.ndarray:
    """Which areas (bool, (n,)) the plan has a finding of that code of."""
    said = {(f.site, f.area) for f in result.plan.findings if f.code == code}
    names = result.ground.areas[["site", "area"]].astype(str).itertuples(index=False)
    return np.array([tuple(name) in said for name in names], bool)


def cross_seams_where_needed(result: Result) -> list[Finding]:
    """Where a roll reaches there is no cross seam, unless the bid allows it: anywhere; or at inner
    corners, where it is told what they save."""
    bid = result.bid
    seams = result.plan.seams
    if bid.layout.cross_seams == "anywhere" or bid.cuts.divide:
        return []
    area = areas_of(result)
    laid = laid_at(result)
    longest = _longest_laid(result)
    cross = seams[seams["kind"] == "cross"]
    of = cross["area_index"].to_numpy(int)
    us = cross["u0"].to_numpy(float)
    middle = ((cross["v0"] + cross["v1"]) / 2).to_numpy(float)
    wrong = np.zeros(len(cross), bool)
    by_area = _rows_by(area)
    for some in _runs(of, middle):  # along one strip
        v = middle[some[0]]
        mine = by_area.get(int(of[some[0]]), np.zeros(0, int))
        strip = mine[(laid[mine, 2] <= v) & (v <= laid[mine, 3])]
        long = _strips_about(laid[strip], us[some])
        wrong[some] = long <= longest[strip].max(initial=0) - HAIR_M
    if bid.layout.cross_seams == "corners" and wrong.any():
        turned = in_pile_coordinates(result)
        said = _said(result, "cross-seam-corner")
        for k in np.flatnonzero(wrong):
            row = int(of[k])
            off = np.abs(_inner_corners(turned[row])[:, 0] - us[k])
            wrong[k] = not said[row] or off.min(initial=np.inf) > CORNER_M
    return told(
        "cross-seam-unasked",
        wrong,
        lambda k: f"{area_name(result, int(of[k]))}: a cross seam where a roll reaches",
    )


def _runs(*columns: np.ndarray) -> list[np.ndarray]:
    """Rows that are alike in every column, together."""
    order = np.lexsort(columns)
    if not len(order):
        return []
    changes = np.any([np.diff(column[order]) != 0 for column in columns], axis=0)
    return np.split(order, np.flatnonzero(changes) + 1)


def _inner_corners(shape: shapely.Geometry) -> np.ndarray:
    """Corners (n, 2) at which turf fills more than half of the way round."""
    found = []
    for part in shapely.get_parts(shape):
        for k, ring in enumerate((part.exterior, *part.interiors)):
            at = shapely.get_coordinates(ring)[:-1]
            come = at - np.roll(at, 1, axis=0)
            go = np.roll(at, -1, axis=0) - at
            turn = come[:, 0] * go[:, 1] - come[:, 1] * go[:, 0]
            turf_left = bool(shapely.is_ccw(ring)) == (k == 0)  # as one walks along the ring
            inward = -turn if turf_left else turn
            found.append(at[inward > TURNED * np.hypot(*come.T) * np.hypot(*go.T)])
    return np.vstack(found)


def _strips_about(laid: np.ndarray, us: np.ndarray) -> np.ndarray:
    """Lengths of the strips, of pieces end to end, that lines across them at ``us`` (n,) join; 0
    where no piece ends. ``laid`` (m, 4) lie along one line."""
    ends = laid[np.argsort(laid[:, 0]), :2]
    apart = ends[1:, 0] > np.maximum.accumulate(ends[:, 1])[:-1] + HAIR_M
    first = ends[np.append(True, apart), 0]
    last = ends[np.append(apart, True), 1]
    at = np.clip(np.searchsorted(first, us, side="right") - 1, 0, None)
    joined = np.abs(ends.reshape(1, -1) - us[:, None]).min(axis=1, initial=np.inf) < HAIR_M
    return np.where(joined, last[at] - first[at], 0.0)


def _longest_laid(result: Result) -> np.ndarray:
    """Longest strip that each piece's roll holds, cut in whole steps and with both end allowances
    (m); (n,)."""
    rules = result.bid.layout
    steps = np.floor(_longest(result) / rules.cut_step_m + 1e-6)
    return np.asarray(steps * rules.cut_step_m - 2 * rules.end_allowance_m)


def _longest(result: Result) -> np.ndarray:
    """Longest roll stocked of the width that each piece is cut from, or of any width of its product
    where it is cut from a left-over (m); (n,)."""
    rolls = rolls_by_name(result)
    mine = rolls.reindex(result.plan.pieces["roll"])
    out = np.zeros(len(mine))
    for product in mine["product"].dropna().unique():
        sizes = result.bid.products[product].widths
        widths = np.array([size.roll_width_m for size in sizes])
        longest = np.array([max(size.roll_lengths) for size in sizes])
        rows = np.flatnonzero(mine["product"] == product)
        off = np.abs(widths - mine["width_m"].to_numpy(float)[rows, None])
        out[rows] = np.where(off.min(axis=1) < HAIR_M, longest[off.argmin(axis=1)], longest.min())
    return out


PROMISES = (
    no_slivers,
    long_enough,
    narrow_at_borders,
    cross_seams_where_needed,
)
