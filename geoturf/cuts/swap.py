"""Which layout each area gets: the best for itself, then swapped against the pool where that saves.

A layout costs its seams and its part of the turf bought for the pool. That part is judged half by
the area of its pieces and half by a quick plan of the whole pool (`sections.best_fit`): the plan
that is made in the end wins back about half of what a quick one wastes.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass

import numpy as np

from geoturf.cuts import settle
from geoturf.cuts.market import Market, to_steps, width_key
from geoturf.cuts.pools import Pool
from geoturf.cuts.sections import best_fit
from geoturf.engine import Engine, Serial
from geoturf.model import Choices, Layout, saved_m2
from geoturf.rules import LayoutRules
from geoturf.units import INCH_M, round_down

_PASSES = 3  # over all areas
_TOGETHER = 100  # areas swapped against each other; in larger pools neighbours in the list are
_QUICK = 0.5  # weight of the quick plan against the pieces' area
_STEP_M = INCH_M / 2  # fine enough to compare
_LONG = (
    1 << 32
)  # length times this, and width: sorted as one number they are in the order a quick plan wants


def choose(
    pools: list[Pool],
    choices: tuple[Choices, ...],
    market: dict[str, dict[float, Market]],
    rules: LayoutRules,
    engine: Engine,
    spared_m2: Callable[[int, Layout], float] | None = None,
) -> dict[int, Layout]:
    """A layout for each area that is offered any. ``engine`` swaps several pools, or parts of large
    ones, side by side. ``spared_m2(area, layout)``: turf that slanted ends spare, where they may be
    cut so; full strips are then offered too."""
    chosen = {area: choice.layouts[0] for area, choice in enumerate(choices) if choice.layouts}
    every, offered = (
        [],
        [],
    )  # areas that are swapped together; the layouts each may choose from, with what they cost
    for pool in pools:
        for areas in _some(pool.areas, choices):
            every.append(_by_content(areas, choices))
            offered.append(
                [
                    _offers(area, choices[area], market[pool.product], rules, spared_m2)
                    for area in every[-1]
                ]
            )
    runner = engine if sum(map(len, every)) > _TOGETHER else Serial()
    works = [
        ([offers for _, offers in some], families(areas, choices))
        for areas, some in zip(every, offered, strict=True)
    ]
    picks = runner.map(_swapped, works)
    rows: dict[int, int] = {}
    for areas, some, picked in zip(every, offered, picks, strict=True):
        rows.update(zip(areas, picked, strict=True))
        for area, (layouts, _), row in zip(areas, some, picked, strict=True):
            chosen[area] = layouts[row]
    if spared_m2 is None:  # slanted ends are not cut yet: what they really buy is not known here
        small = [pool for pool in pools if settle.small([chosen[area] for area in pool.areas])]
        for area, row in _settled(small, choices, rows, market, rules, engine).items():
            chosen[area] = choices[area].layouts[row]
    return chosen


def families(areas: Sequence[int], choices: Sequence[Choices]) -> list[list[int]]:
    """Places in ``areas`` of those laid alike, together; every other by itself. In order."""
    found: dict[int, list[int]] = {}
    for place, area in enumerate(areas):
        first = choices[area].alike
        found.setdefault(area if first < 0 else first, []).append(place)
    return list(found.values())


def _some(areas: Sequence[int], choices: Sequence[Choices]) -> list[tuple[int, ...]]:
    """Areas that are swapped against each other: some `_TOGETHER`, families whole."""
    out: list[list[int]] = []
    for family in families(areas, choices):
        if not out or len(out[-1]) + len(family) > _TOGETHER:
            out.append([])
        out[-1] += (areas[place] for place in family)
    return [tuple(some) for some in out]


def _settled(
    small: list[Pool],
    choices: tuple[Choices, ...],
    rows: dict[int, int],
    market: dict[str, dict[float, Market]],
    prices: LayoutRules,
    engine: Engine,
) -> dict[int, int]:
    """Row of the layout that really costs least (`settle`) for each area of pools of few areas,
    ``rows`` those chosen so far, by what seams cost (``prices``). Pools that are alike are settled
    once."""
    names: list[Hashable] = []
    works: dict[Hashable, settle.Work] = {}
    for pool in small:
        mine = [rows[area] for area in pool.areas]
        offered: list[Sequence[Layout]] = [choices[area].layouts for area in pool.areas]
        alike = families(pool.areas, choices)
        names.append((pool.product, settle.content(mine, offered, alike)))
        works[names[-1]] = (mine, offered, alike, market[pool.product], prices)
    runner = engine if len(works) > _TOGETHER else Serial()
    found = dict(zip(works, runner.map(settle.settled, list(works.values())), strict=True))
    best = ((pool.areas, found[name]) for pool, name in zip(small, names, strict=True))
    return {area: row for areas, some in best for area, row in zip(areas, some, strict=True)}


def _by_content(areas: Sequence[int], choices: Sequence[Choices]) -> tuple[int, ...]:
    """Areas in an order that hangs on what is offered for them, not on how they are listed."""
    return tuple(
        sorted(areas, key=lambda area: [round(layout.cost, 6) for layout in choices[area].layouts])
    )


@dataclass(frozen=True)
class _Offer:
    """What a layout costs: its pieces (n,) in steps of the comparison, length and width as one
    number each (`_LONG`), the roll's usable width in them, money a step of roll, and money for its
    seams, odd strips and half of its pieces' area."""

    pieces: np.ndarray
    width: int
    rate: float
    cost: float


_NEVER = _Offer(np.empty(0, np.int64), 1, 0.0, np.inf)


def _offers(
    area: int,
    choice: Choices,
    market: dict[float, Market],
    rules: LayoutRules,
    spared_m2: Callable[[int, Layout], float] | None,
) -> tuple[list[Layout], list[_Offer]]:
    """What an area may choose from, and what each costs. (Areas seen together are offered one
    bearing only. Cross seams at corners that do not save enough are for small pools, if for
    any.)"""
    layouts = [*choice.layouts, *(choice.wide if spared_m2 else ())]
    spared = [spared_m2(area, layout) if spared_m2 else 0.0 for layout in layouts]
    return layouts, [
        _offer(layout, market, rules, less) if saved_m2(layout, choice.layouts) > 0 else _NEVER
        for layout, less in zip(layouts, spared, strict=True)
    ]


def _offer(
    layout: Layout, market: dict[float, Market], rules: LayoutRules, spared_m2: float
) -> _Offer:
    cut = layout.cut.reshape(-1, 2)
    width = round_down(layout.width_m, _STEP_M)
    pieces = np.column_stack(
        [to_steps(cut[:, 0], _STEP_M), np.minimum(to_steps(cut[:, 1], _STEP_M), width)]
    )
    a_metre = market[width_key(layout.roll_width_m)].cheapest
    rate = a_metre * _STEP_M
    weight = settle.weight(layout, market, rules)
    area = float(pieces.prod(axis=1).sum()) / width
    spared = spared_m2 / layout.roll_width_m * a_metre
    return _Offer(
        pieces[:, 0] * _LONG + pieces[:, 1],
        width,
        rate,
        weight - spared + (1 - _QUICK) * rate * area,
    )


def _swapped(work: tuple[list[list[_Offer]], list[list[int]]]) -> list[int]:
    """Which offer of each area is chosen: the first, then any other that costs the pool less, area
    by area; those laid alike together."""
    offers, alike = work
    rows = [0] * len(offers)
    chosen = [some[0] for some in offers]
    least = _cost(chosen)
    for _ in range(_PASSES):
        before = least
        for family in alike:
            for row in range(len(offers[family[0]])):
                if row == rows[family[0]] or offers[family[0]][row].cost == np.inf:
                    continue
                tried = settle.with_row(chosen, offers, family, row)
                cost = _cost(tried)
                if cost < least * (1 - 1e-9):
                    chosen = tried
                    least = cost
                    for area in family:
                        rows[area] = row
        if least == before:
            break
    return rows


def _cost(chosen: list[_Offer]) -> float:
    """Money for seams and turf of these layouts together."""
    total = sum(offer.cost for offer in chosen)
    for width in sorted({offer.width for offer in chosen}):
        mine = [offer for offer in chosen if offer.width == width]
        pieces = np.sort(np.concatenate([offer.pieces for offer in mine]))[
            ::-1
        ]  # longest first, then widest
        total += _QUICK * mine[0].rate * best_fit(pieces // _LONG, pieces % _LONG, width)[2]
    return total
