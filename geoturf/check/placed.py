"""Pieces as they lie, in pile coordinates (`geoturf.model.Layout`), reckoned anew here."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from geoturf.model import Result

HAIR_M = 1e-5  # lengths that differ by less are the same


def in_pile_coordinates(result: Result) -> np.ndarray:
    """Each laid area in its own pile coordinates, u for x and v for y; areas without pieces as they
    are."""
    laid = result.ground.areas["laid"].to_numpy(dtype=object)
    xy, of = shapely.get_coordinates(laid, return_index=True)
    turn = np.radians(np.nan_to_num(result.plan.chosen["pile_bearing_deg"].to_numpy(float)))[of]
    u = xy[:, 0] * np.sin(turn) + xy[:, 1] * np.cos(turn)
    v = xy[:, 0] * np.cos(turn) - xy[:, 1] * np.sin(turn)
    return shapely.set_coordinates(laid.copy(), np.column_stack([u, v]))


def rolls_by_name(result: Result) -> pd.DataFrame:
    """Each roll once, by its name."""
    return result.plan.rolls.drop_duplicates("roll").set_index("roll")


def areas_of(result: Result) -> np.ndarray:
    return result.plan.pieces["area_index"].to_numpy(np.int64)


def laid_at(result: Result) -> np.ndarray:
    """u0, u1, v0, v1 of each piece; (n, 4)."""
    return result.plan.pieces[["u0", "u1", "v0", "v1"]].to_numpy(float)


def boxes_of(result: Result) -> np.ndarray:
    """Pieces as laid, u for x and v for y."""
    u0, u1, v0, v1 = laid_at(result).T
    return np.asarray(shapely.box(u0, v0, u1, v1), dtype=object)


def room_across(result: Result) -> np.ndarray:
    """Usable width of the roll each piece is cut from."""
    return usable(result, result.plan.pieces["roll"])[:, 1]


def usable(result: Result, names: pd.Series) -> np.ndarray:
    """Length and usable width of the rolls so named, metres, (n, 2); NaN where there is no such
    roll. Left-overs at hand are usable across all their width."""
    rolls = rolls_by_name(result)
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
