"""Pieces against the rolls they are cut from."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from geoturf import units
from geoturf.check.finding import told
from geoturf.check.placed import HAIR_M, meeting, rolls_by_name, usable
from geoturf.model import Finding, Result
from geoturf.records import records
from geoturf.rules import Product


def on_one_roll(result: Result) -> list[Finding]:
    """Every piece has a name of its own and is on one roll of the table; every roll has pieces and
    a name of its own."""
    pieces = result.plan.pieces
    rolls = result.plan.rolls
    lost = ~pieces["roll"].isin(rolls["roll"]) | pieces["piece"].duplicated()
    idle = ~rolls["roll"].isin(pieces["roll"]) | rolls["roll"].duplicated()
    return told(
        "piece-without-roll",
        lost.to_numpy(),
        lambda k: f"piece {pieces['piece'].iloc[k]} is not on just one roll",
    ) + told(
        "roll-without-piece",
        idle.to_numpy(),
        lambda k: f"roll {rolls['roll'].iloc[k]} is listed twice or has no piece",
    )


def one_pool(result: Result) -> list[Finding]:
    """All pieces of a roll are of one pool, of the product and the phase of the roll."""
    columns = {
        "phase": [],
        "site": ["site"],
        "area": ["site", "area"],
    }[result.bid.cuts.pool]
    lots = [name for name in ("dye_lot",) if name in result.ground.areas]
    columns = [*columns, *lots]
    own = result.ground.areas
    own = own[["phase", "product", "site", "area", *lots]].astype(str)
    areas = own.iloc[result.plan.pieces["area_index"]].reset_index(drop=True)
    mine = _rolls_of(result)
    strange: NDArray[np.bool_] = np.zeros(len(mine), dtype=bool)
    for column in ("phase", "product"):
        strange |= np.not_equal(
            mine[column].astype(str).to_numpy(), areas[column].to_numpy()
        ).astype(bool)
    for column in columns:
        first = areas[column].groupby(mine["roll"]).transform("first")
        strange |= np.not_equal(first.to_numpy(), areas[column].to_numpy()).astype(bool)
    names = result.plan.pieces["piece"].to_numpy()
    return told(
        "roll-of-two-pools",
        np.asarray(strange),
        lambda k: f"piece {names[k]} does not belong on roll {mine['roll'].iloc[k]}",
    )


def inside(result: Result) -> list[Finding]:
    """Every piece lies inside the usable part of its roll."""
    pieces = result.plan.pieces
    low, high = _corners(pieces)
    off = (low < -HAIR_M) | (high > usable(result, pieces["roll"]) + HAIR_M)
    out = np.logical_or.reduce(off, axis=1)
    return told(
        "piece-off-roll",
        np.asarray(out),
        lambda k: (
            f"piece {pieces['piece'].iloc[k]} does not lie inside roll {pieces['roll'].iloc[k]}"
        ),
    )


def no_overlap_on_rolls(result: Result) -> list[Finding]:
    """Pieces of a roll do not overlap."""
    pieces = result.plan.pieces
    one, two = _overlapping(pieces)
    names = pieces["piece"].to_numpy()
    return told(
        "cuts-overlap",
        np.ones(len(one), dtype=bool),
        lambda k: (
            f"pieces {names[one[k]]} and {names[two[k]]} overlap on roll "
            f"{pieces['roll'].iloc[one[k]]}"
        ),
    )


def cuttable(result: Result) -> list[Finding]:
    """Every roll can be cut apart by straight cuts from side to side of what is left, the first
    across the roll. Rolls whose pieces overlap are told by `no_overlap_on_rolls`.

    A chalk line between two pieces that do not overlap passes their middle lines as a square cut
    would, so pieces with slanted ends, which are as wide as the roll, are looked at along their
    middle lines."""
    pieces = result.plan.pieces
    roll = _number(pieces["roll"])
    stuck = _not_cut_apart(roll, *_corners(_squared(pieces))) & ~np.isin(
        roll, roll[_overlapping(pieces)[0]]
    )
    stuck |= _slanted(pieces) & (
        pieces["width_m"].to_numpy(float) < usable(result, pieces["roll"])[:, 1] - HAIR_M
    )
    return told(
        "roll-not-cuttable",
        stuck,
        lambda k: f"roll {pieces['roll'].iloc[k]} cannot be cut by straight cuts",
    )


def as_sold(result: Result) -> list[Finding]:
    """What is bought is a stocked roll, or a length off one in whole billing steps and no step more
    than needed; what is taken from stock is on the bid's list."""
    rolls = result.plan.rolls
    bought = ~_from_stock(rolls)
    wrong = (
        np.array([not _sold(roll, result) for roll in records(rolls, _Roll)], dtype=bool) & bought
    )
    found = told(
        "length-not-sold",
        wrong,
        lambda k: (
            f"roll {rolls['roll'].iloc[k]}: {rolls['length_m'].iloc[k]:.4f} m are not sold in one "
            "length"
        ),
    )
    strange = ~bought & ~_at_hand(rolls, bought, result)
    return found + told(
        "not-in-stock",
        strange,
        lambda k: f"roll {rolls['roll'].iloc[k]} is on no list of left-overs at hand",
    )


def left_overs(result: Result) -> list[Finding]:
    """Left-overs listed for later lie on their rolls, clear of every piece and of each other, and
    are worth keeping."""
    stock = result.plan.stock
    pieces = result.plan.pieces
    rules = result.bid.cuts
    if not len(stock):
        return []
    both = pd.concat([pieces[_PLACE + _SLANT], stock[_PLACE]], ignore_index=True).fillna(
        dict.fromkeys(_SLANT, 0.0)
    )
    low, high = _corners(both)
    one, two = meeting(_number(both["roll"]), low, high)
    wrong = np.isin(np.arange(len(both)), np.append(one, two))[len(pieces) :]
    low, high = _corners(stock.assign(start_slant_m=0.0, end_slant_m=0.0))
    wrong |= (low < -HAIR_M).any(axis=1) | ~(high <= usable(result, stock["roll"]) + HAIR_M).all(
        axis=1
    )
    wrong |= stock["width_m"].to_numpy(float) < rules.left_over_width_m - HAIR_M
    wrong |= stock["length_m"].to_numpy(float) < rules.left_over_length_m - HAIR_M
    return told(
        "left-over-taken",
        wrong,
        lambda k: f"left-over {k} of roll {stock['roll'].iloc[k]} is not there to keep",
    )


def roll_sums(result: Result) -> list[Finding]:
    """Used length, left-over and number of pieces of each roll are those of its pieces."""
    pieces = result.plan.pieces
    rolls = result.plan.rolls
    by_roll = (
        pieces["along_m"] + pieces["length_m"] + pieces["end_slant_m"].clip(lower=0)
    ).groupby(pieces["roll"])
    used = by_roll.max().reindex(rolls["roll"]).to_numpy(float)
    count = by_roll.size().reindex(rolls["roll"]).to_numpy(float)
    wrong = np.abs(rolls["used_m"].to_numpy(float) - used) > HAIR_M
    rest = rolls["length_m"] - rolls["used_m"] - rolls["left_over_m"]
    wrong |= np.abs(rest.to_numpy(float)) > HAIR_M
    wrong |= (rolls["pieces"].to_numpy(float) != count) & ~np.isnan(count)
    return told(
        "roll-sums",
        wrong,
        lambda k: (
            f"roll {rolls['roll'].iloc[k]}: used, left-over or pieces do not agree with its pieces "
            f"({used[k]:.4f} m)"
        ),
    )


PROMISES = (
    on_one_roll,
    one_pool,
    inside,
    no_overlap_on_rolls,
    cuttable,
    as_sold,
    left_overs,
    roll_sums,
)
_PLACE = ["roll", "along_m", "across_m", "length_m", "width_m"]


_SLANT = ["start_slant_m", "end_slant_m"]


def _corners(pieces: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Near and far corner of the rectangle about each piece on its roll, (along, across); (n, 2)
    each."""
    low = pieces[["along_m", "across_m"]].to_numpy(float, copy=True)
    high = low + pieces[["length_m", "width_m"]].to_numpy(float)
    slant = pieces[_SLANT].to_numpy(float)
    low[:, 0] += np.minimum(slant[:, 0], 0)
    high[:, 0] += np.maximum(slant[:, 1], 0)
    return low, high


def _slanted(pieces: pd.DataFrame) -> np.ndarray:
    slanted: NDArray[np.bool_] = (pieces[_SLANT].to_numpy(float) != 0).any(axis=1)
    return slanted


def _squared(pieces: pd.DataFrame) -> pd.DataFrame:
    """The pieces cut square where their ends cross the middle of their width."""
    start = pieces["start_slant_m"] / 2
    end = pieces["end_slant_m"] / 2
    middle = {"along_m": pieces["along_m"] + start, "length_m": pieces["length_m"] + end - start}
    return pieces.assign(
        **middle,
        start_slant_m=0.0,
        end_slant_m=0.0,
    )


def _overlapping(pieces: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Pairs of pieces of one roll that overlap. Ends are straight, so one piece lies behind another
    all along where it does so at both edges of the roll."""
    one, two = meeting(_number(pieces["roll"]), *_corners(pieces))
    left = pieces["along_m"].to_numpy(float)
    start = np.column_stack([left, left + pieces["start_slant_m"]])
    left = left + pieces["length_m"].to_numpy(float)
    end = np.column_stack([left, left + pieces["end_slant_m"]])
    apart = (end[one] <= start[two] + HAIR_M).all(axis=1) | (end[two] <= start[one] + HAIR_M).all(
        axis=1
    )
    return one[~apart], two[~apart]


def _at_hand(rolls: pd.DataFrame, bought: np.ndarray, result: Result) -> np.ndarray:
    """Rolls that a left-over of the bid, used once, is large enough for; the smallest that is takes
    each, longest first."""
    left = sorted((s.length_m, s.width_m, s.product) for s in result.bid.cuts.stock)
    fine = np.zeros(len(rolls), dtype=bool)
    taken = rolls[~bought].sort_values(["length_m", "width_m"], ascending=False, kind="stable")
    for at, roll in zip(taken.index, records(taken, _Roll), strict=True):
        size = (roll.length_m - HAIR_M, roll.width_m - HAIR_M)
        fits = [s for s in left if s[2] == roll.product and s[0] >= size[0] and s[1] >= size[1]]
        fine[at] = bool(fits)
        if fits:
            left.remove(fits[0])
    return fine


def _number(names: pd.Series) -> np.ndarray:
    return pd.factorize(names)[0]


def _rolls_of(result: Result) -> pd.DataFrame:
    """The roll of each piece, pieces-aligned; NaN where there is none."""
    rolls = rolls_by_name(result)
    return rolls.reindex(result.plan.pieces["roll"]).reset_index()


def _from_stock(rolls: pd.DataFrame) -> np.ndarray:
    return (rolls["source"] == "stock").to_numpy()


def _not_cut_apart(roll: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Pieces (bool, (n,)) that no straight cuts set free. All rolls at once: each round cuts every
    group wherever a straight cut goes through, along and across in turn, until two rounds in a row
    change nothing."""
    group = roll
    idle = 0
    axis = 0
    while idle < 2 and len(group):
        order = np.lexsort([low[:, axis], group])
        start = low[order, axis]
        stop = high[order, axis]
        of = group[order]
        lift = of * (
            float(high.max()) + 1.0
        )  # keeps the running reach of one group from the next one's
        reach = np.maximum.accumulate(stop + lift) - lift
        new = np.append(
            True, (of[1:] != of[:-1]) | (start[1:] >= reach[:-1] + lift[:-1] - lift[1:] - HAIR_M)
        )
        cut = np.empty_like(group)
        cut[order] = np.cumsum(new) - 1
        idle = idle + 1 if cut.max() == np.unique(group).size - 1 else 0
        group = cut
        axis = 1 - axis
    if not len(group):
        return np.zeros(0, dtype=bool)
    lying = np.bincount(group)
    together: np.ndarray = lying[group] > 1
    return together


class _Roll(NamedTuple):
    product: str
    width_m: float
    length_m: float
    used_m: float


def _sold(row: _Roll, result: Result) -> bool:
    """Whether the roll in this row can be bought as it is."""
    product: Product = result.bid.products[row.product]
    step: float = result.bid.cuts.billing_step_m
    stocked = [size for size in product.widths if abs(size.roll_width_m - row.width_m) < HAIR_M]
    lengths = [length for size in stocked for length in size.roll_lengths]
    if not lengths:
        return False
    if product.sold_by == "roll":
        return min(abs(length - row.length_m) for length in lengths) < HAIR_M
    if abs(row.length_m - max(lengths)) < HAIR_M:
        return row.used_m > row.length_m - step - HAIR_M
    no_more_than_needed = row.length_m - row.used_m < step + HAIR_M
    in_steps = units.is_whole(row.length_m, step)
    return row.length_m < max(lengths) and in_steps and no_more_than_needed
