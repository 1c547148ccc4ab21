"""Pieces against the ground they lie on. Pile coordinates (`geoturf.model.Layout`) are reckoned
anew here."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoturf.check.finding import area_name, told
from geoturf.check.near import inside, near
from geoturf.model import Finding, Result

FILM_M = 1e-4  # a gap along the whole border may be this wide before it is one
HAIR_M = 1e-5  # lengths that differ by less are the same
CORNER_M = 2e-3  # a line this near to a corner goes through it
SAME_M = 2e-4  # sizes of pieces laid alike: rounded to a tenth of a millimetre, to be put in order
MOST_CORNERS = 300  # of shapes that are looked at for being laid alike
SPARE_M = 0.02  # of seam, before a side counts as turf


def covered(result: Result) -> list[Finding]:
    """Pieces cover all of each laid area. They do not overlap (`apart`), so what they cover adds
    up."""
    turned = _in_pile_coordinates(result)
    pieces, area = result.plan.pieces, _areas_of(result)
    on_it = _turf_under(result, turned)
    bare = shapely.area(turned) - np.bincount(area, on_it, len(turned))
    wrong = bare > FILM_M * shapely.length(turned)
    counts = np.bincount(area, minlength=len(turned))
    return told(
        "not-covered",
        wrong,
        lambda row: (
            f"{area_name(result, row)}: {bare[row]:.4f} m2 lie bare under {counts[row]} of {len(pieces)} pieces"
        ),
    )


def _turf_under(result: Result, turned: np.ndarray) -> np.ndarray:
    """Turf (m2) under each piece; ``turned``: areas in pile coordinates."""
    laid, boxes = _laid(result), _boxes(result)
    low, high = laid[:, ::2], laid[:, 1::2]
    area = _areas_of(result)
    under: np.ndarray = (high - low).prod(axis=1)
    partly = np.flatnonzero(~inside(turned, area, low, high))
    about = near(turned, area[partly], low[partly], high[partly])
    under[partly] = shapely.area(shapely.intersection(about, boxes[partly]))
    return under


def apart(result: Result) -> list[Finding]:
    """Pieces of an area do not overlap."""
    laid, area = _laid(result), _areas_of(result)
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
    pieces, room = result.plan.pieces, _room_across(result)
    wide = np.maximum(
        (pieces["v1"] - pieces["v0"]).to_numpy(float), pieces["width_m"].to_numpy(float)
    )
    return told(
        "piece-too-wide",
        wide > room + HAIR_M,
        lambda k: (
            f"piece {pieces['piece'].iloc[k]} is {wide[k]:.4f} m wide on a roll of usable {room[k]:.4f} m"
        ),
    )


def cut_with_allowances(result: Result) -> list[Finding]:
    """Each piece is cut as long as it lies and an allowance at both ends, and as wide and one more,
    up to the usable width."""
    pieces, rules = result.plan.pieces, result.bid.layout
    long = (pieces["u1"] - pieces["u0"]).to_numpy() + 2 * rules.end_allowance_m
    wide = np.minimum(
        (pieces["v1"] - pieces["v0"]).to_numpy() + rules.side_allowance_m, _room_across(result)
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
            f"piece {pieces['piece'].iloc[k]} is cut {pieces['length_m'].iloc[k]:.4f} x {pieces['width_m'].iloc[k]:.4f} m, "
            f"but {long[k]:.4f} x {wide[k]:.4f} m are needed"
        ),
    )


def _short_of_chalk_line(result: Result, rows: np.ndarray) -> np.ndarray:
    """Pieces (bool, (n,)) whose slanted ends leave less than the end allowance beyond the turf they
    lie on; ``rows`` slant."""
    pieces = result.plan.pieces.iloc[rows]
    turned, laid = _in_pile_coordinates(result), _laid(result)[rows]
    about = near(turned, _areas_of(result)[rows], laid[:, ::2], laid[:, 1::2])
    turf = shapely.intersection(about, _boxes(result)[rows])
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


def no_slivers(result: Result) -> list[Finding]:
    """No piece is laid narrower than the rules' least width, unless the area itself is."""
    pieces, area = result.plan.pieces, _areas_of(result)
    low, high = np.split(shapely.bounds(_in_pile_coordinates(result)), 2, axis=1)
    least = np.minimum(result.bid.layout.min_piece_width_m, (high - low)[area, 1])
    least = np.minimum(least, np.nan_to_num(_room_across(result), nan=np.inf))
    wide = (pieces["v1"] - pieces["v0"]).to_numpy(float)
    return told(
        "piece-too-narrow",
        wide < least - HAIR_M,
        lambda k: (
            f"piece {pieces['piece'].iloc[k]} is {wide[k]:.4f} m wide, the least is {least[k]:.4f} m"
        ),
    )


def long_enough(result: Result) -> list[Finding]:
    """No piece is laid shorter than the rules' least length where it and one of the next strip, that
    is long enough, would do as one; others are told in a finding of their area."""
    pieces, laid, least = result.plan.pieces, _laid(result), result.bid.layout.min_piece_length_m
    long = laid[:, 1] - laid[:, 0]
    short = long < least - HAIR_M
    wrong = short & ~_told_small(result)
    for one, other, as_one in _side_by_side(result, short):
        if not as_one:
            continue
        beside = np.minimum.outer(laid[one, 1], laid[other, 1]) > np.maximum.outer(
            laid[one, 0], laid[other, 0]
        )
        wrong[one] |= short[one] & (beside & ~short[other]).any(axis=1)
        wrong[other] |= short[other] & (beside & ~short[one][:, None]).any(axis=0)
    return told(
        "piece-too-short",
        wrong,
        lambda k: (
            f"piece {pieces['piece'].iloc[k]} is {long[k]:.4f} m long, the least is {least:.4f} m"
        ),
    )


def narrow_at_borders(result: Result) -> list[Finding]:
    """No narrow strip has turf along most of both sides, and no two lie side by side where one wider
    would do. What turf does not allow is told in a finding of its area."""
    pieces, area, laid = result.plan.pieces, _areas_of(result), _laid(result)
    under = np.nan_to_num(_room_across(result)) * result.bid.layout.narrow_strip
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
        pair &= above[one[0]] > max(most[one[0]], most[other[0]]) and _abreast(laid, one, other)
        wrong[one] |= pair and (as_one or not said[one[0]])
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
) -> Iterator[tuple[np.ndarray, np.ndarray, bool]]:
    """Rows of the pieces of two strips side by side, the one below first, and whether a roll is wide
    enough for them as one, with nothing else of the area beside them and no gap in either; of areas
    with any of ``some`` (bool)."""
    laid, room = _laid(result), _room_across(result)
    by_area = pd.Series(np.arange(len(laid))).groupby(_areas_of(result)).indices
    for row in np.unique(_areas_of(result)[some]):
        mine = by_area[row]
        lines, of = np.unique(np.round(laid[mine, 2:], 5), axis=0, return_inverse=True)
        for k, m in np.argwhere(np.abs(lines[:, None, 1] - lines[None, :, 0]) < 2 * HAIR_M):
            low, high = lines[k, 0], lines[m, 1]
            beside = (lines[:, 0] < high - HAIR_M) & (lines[:, 1] > low + HAIR_M)
            one, other = mine[of.reshape(-1) == k], mine[of.reshape(-1) == m]
            fits = high - low <= room[one].min() - HAIR_M
            whole = _without_gaps(laid[one]) and _without_gaps(laid[other])
            yield one, other, bool(fits and whole and beside.sum() == 2)


def _abreast(laid: np.ndarray, one: np.ndarray, other: np.ndarray) -> bool:
    """Whether any of the pieces ``one`` lies along any of ``other``."""
    last = np.minimum.outer(laid[one, 1], laid[other, 1])
    first = np.maximum.outer(laid[one, 0], laid[other, 0])
    return bool((last - first > SPARE_M).any())


def _without_gaps(strip: np.ndarray) -> bool:
    """Whether the pieces (n, 4) of a strip lie end to end: one wider would lie over what parts others,
    such as a house."""
    extent = strip[:, 1].max() - strip[:, 0].min()
    return bool(abs(extent - (strip[:, 1] - strip[:, 0]).sum()) < HAIR_M * len(strip))


def cross_seams_where_needed(result: Result) -> list[Finding]:
    """Where a roll reaches there is no cross seam, unless the bid allows it: at inner corners, or
    anywhere."""
    bid, seams = result.bid, result.plan.seams
    if bid.layout.cross_seams == "anywhere" or bid.cuts.divide:
        return []
    area, laid, longest = _areas_of(result), _laid(result), _longest(result)
    cross = seams[seams["kind"] == "cross"]
    wrong = np.zeros(len(cross), bool)
    for n, (row, u, v0, v1) in enumerate(cross[["area_index", "u0", "v0", "v1"]].to_numpy(float)):
        v = (v0 + v1) / 2
        strip = np.flatnonzero((area == int(row)) & (laid[:, 2] <= v) & (v <= laid[:, 3]))
        holds = longest[strip].max(initial=0) - 2 * bid.layout.end_allowance_m
        wrong[n] = _strip_about(laid[strip], u) <= holds - HAIR_M
    if bid.layout.cross_seams == "corners" and wrong.any():
        corners, of = _inner_corners(result)
        for k in np.flatnonzero(wrong):
            here = corners[of == int(cross["area_index"].iloc[k]), 0]
            wrong[k] = not np.any(np.abs(here - cross["u0"].iloc[k]) < CORNER_M)
    return told(
        "cross-seam-unasked",
        wrong,
        lambda k: (
            f"{area_name(result, int(cross['area_index'].iloc[k]))}: a cross seam where a roll reaches"
        ),
    )


def _inner_corners(result: Result) -> tuple[np.ndarray, np.ndarray]:
    """u, v of the corners (n, 2) at which turf fills more than half of the way round, and the area of
    each: a step off them, away from the corners beside them, lies on turf."""
    turned = _in_pile_coordinates(result)
    parts, part_of = shapely.get_parts(turned, return_index=True)
    rings, ring_of = shapely.get_rings(parts, return_index=True)
    found, areas = [], []
    for ring, part in zip(rings, ring_of, strict=True):
        at = shapely.get_coordinates(ring)[:-1]
        middle = (np.roll(at, 1, axis=0) + np.roll(at, -1, axis=0)) / 2 - at
        away = middle / np.maximum(np.hypot(*middle.T), 1e-12)[:, None]
        inside = shapely.contains_xy(parts[part], *(at - 1e-3 * away).T)
        found.append(at[inside])
        areas.append(np.full(int(inside.sum()), part_of[part]))
    return np.vstack(found), np.concatenate(areas)


def _strip_about(laid: np.ndarray, u: float) -> float:
    """Length of the strip, of pieces end to end, that a line across it at ``u`` lies in; ``laid``
    (n, 4) lie along one line."""
    low = high = u
    for _ in range(len(laid)):
        low = min([low, *laid[np.abs(laid[:, 1] - low) < HAIR_M, 0]])
        high = max([high, *laid[np.abs(laid[:, 0] - high) < HAIR_M, 1]])
    return float(high - low)


def _longest(result: Result) -> np.ndarray:
    """Longest roll stocked of the width that each piece is cut from, or of any width of its product
    where it is cut from a left-over (m); (n,)."""
    rolls = result.plan.rolls.drop_duplicates("roll").set_index("roll")
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


def _seam_beside(result: Result, some: np.ndarray, side: int) -> np.ndarray:
    """Seam (m) along one side (2: v0, 3: v1) of the strip that each piece is of, in areas with any of
    ``some`` (bool); 0 in others."""
    area, laid, seams = _areas_of(result), _laid(result), result.plan.seams
    seams = seams[seams["kind"] == "seam"]
    ends = seams[["v0", "u0", "u1"]].to_numpy(float)
    by_area = pd.Series(np.arange(len(seams))).groupby(seams["area_index"].to_numpy(int)).indices
    out = np.zeros(len(laid))
    for row in np.unique(area[some]):
        mine, here = np.flatnonzero(area == row), ends[by_area.get(row, [])]
        on = np.abs(laid[mine, None, side] - here[:, 0]) < 2 * HAIR_M
        last = np.minimum(laid[mine, None, 1], here[:, 2])
        first = np.maximum(laid[mine, None, 0], here[:, 1])
        seam = (np.maximum(last - first, 0) * on).sum(axis=1)
        strips = [*np.round(laid[mine, 2:].T, 4)]
        out[mine] = pd.Series(seam).groupby(strips).transform("sum")
    return out


def _told_small(result: Result) -> np.ndarray:
    """Whether each piece's area is told to have small pieces."""
    said = {(f.site, f.area) for f in result.plan.findings if f.code == "small-pieces"}
    areas = result.ground.areas
    known = np.array(
        [
            (s, a) in said
            for s, a in zip(areas["site"].astype(str), areas["area"].astype(str), strict=True)
        ],
        bool,
    )
    mine: np.ndarray = known[_areas_of(result)]
    return mine


def seams_where_pieces_meet(result: Result) -> list[Finding]:
    """The seams of an area are as long as its pieces meet under turf, to 10 cm and 1 %.

    Where a border runs along a joint, a hair decides whether there is a seam: either is taken."""
    turned, area, laid = _in_pile_coordinates(result), _areas_of(result), _laid(result)
    low, high = laid[:, ::2], laid[:, 1::2]
    one, two = meeting(area, low - 2 * HAIR_M, high + 2 * HAIR_M)
    first, last = np.maximum(low[one], low[two]), np.minimum(high[one], high[two])
    along_u = last[:, :1] - first[:, :1] > last[:, 1:] - first[:, 1:]
    aside = np.where(along_u, [[0.0, FILM_M]], [[FILM_M, 0.0]])
    reach = np.minimum(first, last) - FILM_M, np.maximum(first, last) + FILM_M
    partly = np.flatnonzero(~inside(turned, area[one], *reach))
    about = near(turned, area[one[partly]], reach[0][partly], reach[1][partly])
    joint_m = np.hypot(*(last - first).T)
    some = about, first[partly], last[partly]
    on_turf = [_turf_on(*some, by * aside[partly]) for by in (-1, 0, 1)]
    least, most = joint_m.copy(), joint_m.copy()
    least[partly], most[partly] = np.min(on_turf, axis=0), np.max(on_turf, axis=0)
    least = np.bincount(area[one], least, len(turned))
    most = np.bincount(area[one], most, len(turned))
    told_m = result.plan.chosen["seam_m"].to_numpy(float)
    return told(
        "seams-not-as-laid",
        (told_m < 0.99 * least - 0.1) | (told_m > 1.01 * most + 0.1),
        lambda row: (
            f"{area_name(result, row)}: {told_m[row]:.3f} m of seam, but pieces meet over {least[row]:.3f} to {most[row]:.3f} m"
        ),
    )


def _turf_on(
    turf: np.ndarray, first: np.ndarray, last: np.ndarray, aside: np.ndarray
) -> np.ndarray:
    """Turf (m) on each joint from ``first`` to ``last`` (n, 2), moved ``aside``."""
    joints = shapely.linestrings(np.stack([first + aside, last + aside], axis=1))
    return np.asarray(shapely.length(shapely.intersection(joints, turf)))


def pile_one_way(result: Result) -> list[Finding]:
    """One pile bearing an area, the one it states where it states one, and one for areas that are
    seen together."""
    areas, chosen = result.ground.areas, result.plan.chosen["pile_bearing_deg"].to_numpy(float)
    area, bearing = _areas_of(result), result.plan.pieces["bearing_deg"].to_numpy(float)
    found = told(
        "pile-turned",
        _differ(bearing, chosen[area]),
        lambda k: (
            f"{area_name(result, area[k])}: piece {result.plan.pieces['piece'].iloc[k]} has its pile turned"
        ),
    )
    stated = areas["pile_bearing_deg"].to_numpy(float)
    free = np.isnan(stated)
    view = areas["view"].astype(str).to_numpy()
    group, first = np.unique(view[free], return_index=True)
    place = np.searchsorted(group, view).clip(max=len(group) - 1)  # of others' views, any
    leader = chosen[free][first][place] if len(group) else chosen
    wanted = np.where(~free, stated, np.where(view != "", leader, chosen))
    wanted = np.where(np.isnan(chosen), np.nan, wanted)
    return found + told(
        "pile-not-as-stated",
        _differ(chosen, wanted),
        lambda row: (
            f"{area_name(result, row)}: pile at {chosen[row]:.4f} degrees, not {wanted[row]:.4f}"
        ),
    )


def laid_alike(result: Result) -> list[Finding]:
    """Areas that share rolls and are drawn alike, moved, turned or mirrored, are cut in the same
    pieces, where the bid lays lots of a plan alike and does not say which way their pile leans."""
    rules, land = result.bid.layout, result.ground.areas
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
            f"{area_name(result, row)} is cut otherwise than {area_name(result, unlike[row])}, which has its shape"
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
    return len(one) > 0 and bool(np.abs(one - two).max() <= HAIR_M * len(one) / 2)


def _sizes_of_pieces(result: Result) -> list[NDArray[np.float64]]:
    """Length and width of each area's pieces as laid, and as cut where cut square (chalk lines of a
    mirrored piece are another's), in order of size."""
    pieces = result.plan.pieces
    long, wide = (pieces["u1"] - pieces["u0"]).round(4), (pieces["v1"] - pieces["v0"]).round(4)
    square = pieces["cut_u_m"].isna()
    cut = [pieces[name].where(square, 0.0) for name in ("length_m", "width_m")]
    sizes = np.column_stack([long, wide, *cut])
    order = np.lexsort((*sizes.T[::-1], _areas_of(result)))
    ends = np.cumsum(np.bincount(_areas_of(result), minlength=len(result.ground.areas)))[:-1]
    return np.split(sizes[order], ends)


PROMISES = (
    laid_alike,
    covered,
    apart,
    not_too_wide,
    cut_with_allowances,
    no_slivers,
    long_enough,
    narrow_at_borders,
    cross_seams_where_needed,
    seams_where_pieces_meet,
    pile_one_way,
)


def usable(result: Result, names: pd.Series) -> np.ndarray:
    """Length and usable width of the rolls so named, metres, (n, 2); NaN where there is no such
    roll. Left-overs at hand are usable across all their width."""
    rolls = result.plan.rolls.drop_duplicates("roll").set_index("roll")
    width = rolls["width_m"] - 2 * result.bid.layout.selvage_trim_m * (rolls["source"] != "stock")
    return (
        pd.DataFrame({"length": rolls["length_m"], "width": width}).reindex(names).to_numpy(float)
    )


def meeting(group: np.ndarray, low: np.ndarray, high: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs of rectangles of one group that overlap by more than a hair; ``low``, ``high``: corners
    (n, 2)."""
    if not len(low):
        return np.empty(0, np.int64), np.empty(0, np.int64)
    pitch = (
        2 * float(np.max(high - low.min())) + 1.0
    )  # groups are laid side by side, so that one tree serves all
    shift = np.column_stack(
        [np.unique(group, return_inverse=True)[1] * pitch, np.zeros(len(group))]
    )
    left, bottom = (low + shift + HAIR_M).T
    right, top = (high + shift - HAIR_M).T
    boxes = shapely.box(left, bottom, right, top)
    one, two = shapely.STRtree(boxes).query(boxes)
    real = (one < two) & (group[one] == group[two])
    real &= (np.minimum(high[one], high[two]) - np.maximum(low[one], low[two]) > HAIR_M).all(axis=1)
    order = np.lexsort([two[real], one[real]])
    return one[real][order], two[real][order]


def _room_across(result: Result) -> np.ndarray:
    """Usable width of the roll each piece is cut from."""
    return usable(result, result.plan.pieces["roll"])[:, 1]


def _areas_of(result: Result) -> np.ndarray:
    return result.plan.pieces["area_index"].to_numpy(np.int64)


def _laid(result: Result) -> np.ndarray:
    """u0, u1, v0, v1 of each piece; (n, 4)."""
    return result.plan.pieces[["u0", "u1", "v0", "v1"]].to_numpy(float)


def _boxes(result: Result) -> np.ndarray:
    """Pieces as laid, u for x and v for y."""
    u0, u1, v0, v1 = _laid(result).T
    return np.asarray(shapely.box(u0, v0, u1, v1), dtype=object)


def _in_pile_coordinates(result: Result) -> np.ndarray:
    """Each laid area in its own pile coordinates, u for x and v for y; areas without pieces as they
    are."""
    laid = result.ground.areas["laid"].to_numpy(dtype=object)
    xy, of = shapely.get_coordinates(laid, return_index=True)
    turn = np.radians(np.nan_to_num(result.plan.chosen["pile_bearing_deg"].to_numpy(float)))[of]
    u = xy[:, 0] * np.sin(turn) + xy[:, 1] * np.cos(turn)
    v = xy[:, 0] * np.cos(turn) - xy[:, 1] * np.sin(turn)
    return shapely.set_coordinates(laid.copy(), np.column_stack([u, v]))


def _differ(one: np.ndarray, two: np.ndarray) -> np.ndarray:
    """Bearings that are not the same direction; NaN is the same as anything."""
    turned: NDArray[np.float64] = np.abs((one - two + 180) % 360 - 180)
    return turned > 1e-6
