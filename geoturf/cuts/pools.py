"""Who shares rolls: areas gathered into pools, and a pool's pieces into jobs of one roll width."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from geoturf.cuts.job import Job
from geoturf.cuts.market import Market, grid_step, to_steps, width_key
from geoturf.errors import PromiseError
from geoturf.model import Choices, Finding, Ground, Layout
from geoturf.rules import CutRules
from geoturf.rules.layout import HAIR_M
from geoturf.units import round_down


@dataclass(frozen=True)
class Pool:
    """Areas that share rolls. ``areas`` are rows of ``Ground.areas``; ``key`` is what the user
    reads."""

    key: str
    phase: str
    product: str
    areas: tuple[int, ...]


def gather(ground: Ground, choices: tuple[Choices, ...], rules: CutRules) -> list[Pool]:
    """Pools in the order of their first area. Areas without a layout belong to none."""
    pools: dict[tuple[str, ...], list[int]] = {}
    for row, key in enumerate(ground.pool_keys(rules.pool)):
        if choices[row].layouts:
            pools.setdefault(key, []).append(row)
    return [
        Pool(
            " / ".join(part for part in (key[0], *key[2:], key[1]) if part),
            key[0],
            key[1],
            tuple(areas),
        )
        for key, areas in pools.items()
    ]


def assert_cuttable(
    ground: Ground, choices: tuple[Choices, ...], market: dict[str, dict[float, Market]]
) -> None:
    """Raises `PromiseError` where a layout offered has a piece longer than any roll it could be cut
    from, naming each area."""
    faults = []
    table = ground.areas
    for row, choice in enumerate(choices):
        offers = market[str(table["product"].iat[row])] if choice.layouts else {}
        for layout in (*choice.layouts, *choice.wide):
            roll_m = offers[width_key(layout.roll_width_m)].lengths_m[0]
            piece_m = layout.cut[:, 0].max(initial=0.0)
            if piece_m > roll_m + HAIR_M:
                line = (
                    f"a piece cut {piece_m:.4f} m long is longer than any roll it could be cut "
                    f"from ({roll_m:.4f} m)"
                )
                site = str(table["site"].iat[row])
                area = str(table["area"].iat[row])
                faults.append(Finding("error", "piece-too-long", line, site=site, area=area))
                break
    if faults:
        raise PromiseError(faults)


def by_width(pool: Pool, chosen: Mapping[int, Layout]) -> list[tuple[float, list[int]]]:
    """The pool's areas by the roll width they are laid for, widest first. Rolls of different widths
    are different runs of the machine, so an area's pieces come from one width."""
    widths: dict[float, list[int]] = {}
    for area in pool.areas:
        widths.setdefault(width_key(chosen[area].roll_width_m), []).append(area)
    return sorted(widths.items(), reverse=True)


def make_job(
    layouts: list[Layout],
    market: Market,
    cut_step_m: float,
    stock: Sequence[tuple[float, float]] = (),
    fine: bool = False,
) -> tuple[Job, np.ndarray]:
    """The job of some layouts of one roll width, and the row of ``Job.size`` of each of their
    pieces, in order. ``stock``: (length, width) in metres of left-overs at hand; ``fine``: counted
    in cut steps, whatever the sizes are."""
    cut = np.concatenate([layout.cut.reshape(-1, 2) for layout in layouts])
    usable = layouts[0].width_m
    full = cut[:, 1] >= usable - 1e-9  # as wide as the roll, whatever that is
    step = (
        cut_step_m
        if fine
        else grid_step(np.unique(np.concatenate([cut[:, 0], cut[~full, 1]])), cut_step_m)
    )
    width = round_down(usable, step)
    steps = np.column_stack(
        [to_steps(cut[:, 0], step), np.where(full, width, to_steps(cut[:, 1], step))]
    )
    size, kind = np.unique(-steps, axis=0, return_inverse=True)
    rolls = tuple(round_down(length, step) for length in market.lengths_m)
    left_overs = tuple(
        (round_down(length, step), _usable(wide, usable, step)) for length, wide in stock
    )
    kind = kind.reshape(-1)
    demand = np.bincount(kind, minlength=len(size))
    return Job(step, width, rolls, market, -size, demand, left_overs), kind


def _usable(width_m: float, roll_m: float, step_m: float) -> int:
    """Whole steps of a left-over's width that pieces may take. One that is narrower than the
    ``roll_m`` usable of a roll, if by less than a step, holds no piece as wide as the roll."""
    if width_m >= roll_m - 1e-9:
        return round_down(roll_m, step_m)
    return min(round_down(width_m, step_m), round_down(roll_m, step_m) - 1)
