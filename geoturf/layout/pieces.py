"""From strips to pieces: cross seams, cut sizes, seams under turf."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from geoturf.layout import kernel, placing
from geoturf.layout.roll import BALANCED, Roll
from geoturf.layout.seams import NO_JOINTS, Strips
from geoturf.model import Layout
from geoturf.units import whole_steps

STAGGER_M = 0.6  # cross seams of neighbouring strips lie at least this far apart, where they can


def layout_of(
    groups: Sequence[Strips],
    shift: np.ndarray,
    ganged: bool,
    joints: np.ndarray = NO_JOINTS,
    between: np.ndarray = NO_JOINTS,
) -> Layout:
    """The layout of an area's ``groups``, with seams between them at ``joints`` (n, 3) and cross
    seams ``between`` them (m, 3); ``shift`` (u, v) moves it to the area's place. ``ganged``: strips
    that are cheaper cut in lengths lying side by side in one section of roll are cut so; otherwise
    only those longer than a roll are divided."""
    roll = groups[0].roll
    laid = [_laid(strips, ganged) for strips in groups]
    pieces, seams, cross = laid[0] if len(laid) == 1 else _together(laid)
    seams = np.vstack([seams, joints]) if len(joints) else seams
    cross = np.vstack([between, cross]) if len(between) else cross
    bearing = groups[0].shape.bearing_deg
    return layout_from((pieces, seams, cross), bearing, shift, roll, len(between))


def layout_from(
    laid: Laid, bearing_deg: float, shift: np.ndarray, roll: Roll, at_corners: int = 0
) -> Layout:
    """The layout of pieces (n, 4), seams (m, 3) and cross seams (k, 3), the first of them
    ``at_corners``, moved by ``shift``."""
    pieces, seams, cross = laid
    cut = cut_sizes(pieces, roll)
    corner = cross[:at_corners]
    corner_m = float((corner[:, 2] - corner[:, 1]).sum())
    seam_m = float((seams[:, 2] - seams[:, 1]).sum() + (cross[:, 2] - cross[:, 1]).sum())
    joints = roll.joints(seam_m, len(cross), corner_m, at_corners)
    return Layout(
        bearing_deg,
        pieces + shift[[0, 0, 1, 1]],
        seams + shift[[1, 0, 0]],
        cross + shift[[0, 1, 1]],
        cut,
        roll.usable_m,
        roll.width_m,
        seam_m,
        float(turf_price(cut, roll) * roll.worth + joints),
        at_corners,
        placing.odd(pieces, seams, roll.usable_m),
    )


Laid: TypeAlias = tuple[np.ndarray, np.ndarray, np.ndarray]
_Piece: TypeAlias = tuple[float, float, float, float]  # u from, u to, v from, v to
Joint: TypeAlias = tuple[float, float, float]  # u, v from, v to


def _together(laid: Sequence[Laid]) -> Laid:
    """Pieces, seams and cross seams of all groups."""
    pieces, seams, cross = zip(*laid, strict=True)
    return np.vstack(pieces), np.vstack(seams), np.vstack(cross)


def _laid(strips: Strips, ganged: bool) -> Laid:
    """Pieces (n, 4), seams (m, 3) and cross seams (k, 3) of one group, in its own pile
    coordinates."""
    side, runs = kernel.divisions(
        strips.lines, strips.sizes, strips.spans, strips.roll.numbers, ganged
    )
    seams = placing.seams(strips.lines, strips.shape.edges)
    whole = np.hstack([strips.spans, np.repeat(strips.lines, strips.sizes, axis=0)])
    if (side * runs).max() == 1:
        return whole, seams, NO_JOINTS
    pieces, joints = _divided(whole, side, runs, strips.roll)
    across = strips.shape.across()
    cross = [c for joint in joints for c in cross_seams(joint, across)]
    return np.array(pieces), seams, np.array(cross).reshape(-1, 3)


def _divided(
    whole: np.ndarray, side: np.ndarray, runs: np.ndarray, roll: Roll
) -> tuple[list[_Piece], list[Joint]]:
    """The pieces ``whole`` (n, 4) cut in so many lengths ``side`` (n,) by side and so many
    sections, ``runs`` (n,), none longer than the roll; and the cross lines between them. All in
    metres."""
    pieces: list[_Piece] = []
    joints: list[Joint] = []
    last, here = np.empty(0), list[float]()  # u of the joints in the strip before, and in this one
    strip = np.nan
    for (u0, u1, v0, v1), lanes, sections in zip(
        whole.tolist(), side.tolist(), runs.tolist(), strict=True
    ):
        if v0 != strip:
            last = np.array(here)
            here = []
            strip = v0
        count = lanes * sections
        inner = (
            divide(u0, u1, count, lanes > 1, last, roll.longest_m, roll.short_m)[1:-1].tolist()
            if count > 1
            else []
        )
        pieces += [(a, b, v0, v1) for a, b in pairwise([u0, *inner, u1])]
        joints += [(u, v0, v1) for u in inner]
        here += inner
    return pieces, joints


def cut_sizes(pieces: np.ndarray, roll: Roll) -> np.ndarray:
    """Float (n, 2): length and width to cut for pieces (n, 4): allowances in, rounded up to the
    step; all of the usable width where less than a step would be left beside them."""
    length = _up(pieces[:, 1] - pieces[:, 0] + roll.ends_m, roll.step_m)
    laid = pieces[:, 3] - pieces[:, 2]
    width = _up(laid + roll.side_m, roll.step_m)
    full = (laid > roll.usable_m - kernel.TOLERANCE_M) | (
        width > roll.usable_m - roll.step_m * (1 - kernel.NOISE)
    )
    return np.column_stack([length, np.where(full, roll.usable_m, width)])


def turf_price(cut: np.ndarray, roll: Roll) -> float:
    """Turf (m2) these pieces take at the prices of a balanced pool."""
    steps = whole_steps(cut[:, 1], roll.step_m).astype(int)
    return float(roll.width_m * (cut[:, 0] * roll.shares[BALANCED][steps]).sum())


def divide(
    u0: float,
    u1: float,
    count: int,
    equal: bool,
    near: np.ndarray,
    longest: float,
    least: float = 0.0,
) -> np.ndarray:
    """Ends of ``count`` lengths of [u0, u1], their inner ones away from the joints ``near`` of the
    strip before. ``equal`` lengths stay so (they lie side by side in one section); others shift, or
    get one more, where none becomes shorter than ``least`` for it."""
    ends = np.linspace(u0, u1, count + 1)
    if equal or _clear(ends[1:-1], near):
        return ends
    for more in (0, 1):
        length = (u1 - u0) / (count + more)
        room = min(longest - length, length / 2, length - least)
        if room < 0:
            continue
        base = np.linspace(u0, u1, count + more + 1)[1:-1]
        for share in (1.0, -1.0, 0.5, -0.5):
            inner = base + share * min(room, STAGGER_M)
            if _clear(inner, near):
                return np.concatenate([[u0], inner, [u1]])
    return ends


def _clear(inner: np.ndarray, near: np.ndarray) -> bool:
    return not len(near) or bool(np.min(np.abs(inner[:, None] - near)) > 0.5 * STAGGER_M)


def _up(value: np.ndarray, step: float) -> np.ndarray:
    return np.ceil(value / step - kernel.NOISE) * step


def cross_seams(joint: Joint, edges: np.ndarray) -> list[Joint]:
    """The turf on a cross line; ``edges`` (n, 4) are the shape's, across."""
    u, v0, v1 = joint
    found = np.empty(len(edges) + 1)
    count = kernel.turf_on(edges, u, found)
    inside = [(max(v0, found[k]), min(v1, found[k + 1])) for k in range(0, count, 2)]
    return [(u, a, b) for a, b in inside if b - a > kernel.TOLERANCE_M]
