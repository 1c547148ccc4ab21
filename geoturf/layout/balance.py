"""Which of an area's layouts comes first: the one that serves its pool.

Rolls are filled across: a pool wants as many strips of a width as there are others to lie beside
them. A linear programme over widths alone (lengths of a pool's strips are so many that they fit)
takes a share of each area's layouts and a length of each way to fill a section, for the least turf
and seams. Ways to fill a section are added as they pay (column generation). The programme's prices
of widths are this pool's own: layouts are made for them and offered too. An area's layout of the
largest share comes first; the others follow by cost.

Areas of one shape that are laid alike (a family) are one area of the programme, of so many times
the length. Since a family's choice weighs much, it is made and the programme solved again before
the next family chooses.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np

from geoturf import highs, knapsack
from geoturf.layout.roll import BALANCED, Roll
from geoturf.model import Choices, Layout, saved_m2
from geoturf.units import round_down, whole_steps

FEWEST, TOGETHER = (
    2,
    250,
)  # areas of a pool: fewer are left as they are; more are balanced in runs of so many
WIDTHS = 240  # told apart across a roll, at most
ROUNDS = 40
CLOSE = 1e-3
THREADS = 2
RELAID, TRUST = (
    2,
    0.5,
)  # times that layouts are made for the pool's own prices; how far those are trusted


Relay = Callable[[dict[int, tuple[Roll, ...]]], dict[int, list[Layout]]]


def balanced(
    choices: Sequence[Choices],
    pools: Sequence[Hashable],
    stock: Sequence[tuple[Roll, ...]],
    relay: Relay,
    families: Sequence[int] | None = None,
) -> list[Choices]:
    """``choices`` with layouts for their pools' own prices added, and the one that serves its pool
    first. ``pools``: who shares rolls with whom; ``relay`` lays rows anew from rolls with their
    pools' prices; ``families``: rows of equal ones are laid alike in a pool, and are offered the
    same, row by row (each by itself if not given)."""
    offers = [list(choice.layouts) for choice in choices]
    runs = _runs(pools, range(len(choices)) if families is None else families)
    programmes = [
        (run, _Programme([offers[some[0]] for some in run], stock[run[0][0]], [*map(len, run)]))
        for run in (_by_content(one, offers) for one in runs)
        if sum(map(len, run)) >= FEWEST
    ]
    for _ in range(RELAID):
        priced = _each(_Programme.priced, programmes)
        laid = relay(
            {
                row: rolls
                for (run, _), rolls in zip(programmes, priced, strict=True)
                for some in run
                for row in some
            }
        )
        for run, programme in programmes:
            for area, some in enumerate(run):
                for k, layout in enumerate(laid[some[0]]):
                    if not any(_alike(layout, other) for other in offers[some[0]]):
                        programme.offer(area, layout)
                        for row in some:
                            offers[row].append(laid[row][k])
    for run, programme in programmes:
        for area, some in enumerate(run):
            programme.forget(area, [saved_m2(one, offers[some[0]]) <= 0 for one in offers[some[0]]])
    out = list(choices)
    for (run, _), (best, costs) in zip(programmes, _each(_Programme.best, programmes), strict=True):
        for some, first, cost in zip(run, best, costs, strict=True):
            for row in some:
                layouts = _first(offers[row], first)
                out[row] = replace(out[row], layouts=layouts, alike_cost=cost / len(some))
    for some in (some for run in runs for some in run if len(some) > 1):
        for row in some:
            out[row] = replace(out[row], alike=some[0])
    return out


def _first(layouts: Sequence[Layout], first: int) -> tuple[Layout, ...]:
    """The layout of the row ``first``, then the others by cost."""
    others = [layout for k, layout in enumerate(layouts) if k != first]
    return (layouts[first], *sorted(others, key=lambda layout: layout.cost))


def _each(
    work: Callable[[_Programme], Any], programmes: Sequence[tuple[list[list[int]], _Programme]]
) -> list[Any]:
    """The same work on each programme. In threads: the solver lets go of the interpreter."""
    with ThreadPoolExecutor(THREADS) as threads:
        return list(threads.map(work, (programme for _, programme in programmes)))


def _runs(pools: Sequence[Hashable], families: Sequence[int]) -> list[list[list[int]]]:
    """Rows of each pool, family by family, large pools in runs of `TOGETHER` families."""
    rows: dict[Hashable, dict[int, list[int]]] = {}
    for row, (pool, family) in enumerate(zip(pools, families, strict=True)):
        rows.setdefault(pool, {}).setdefault(family, []).append(row)
    return [
        every[k : k + TOGETHER]
        for every in (list(some.values()) for some in rows.values())
        for k in range(0, len(every), TOGETHER)
    ]


def _by_content(run: Sequence[list[int]], offers: Sequence[Sequence[Layout]]) -> list[list[int]]:
    """Families in an order that hangs on what is offered for them, not on how they are listed."""
    costs = {some[0]: [round(layout.cost, 6) for layout in offers[some[0]]] for some in run}
    return sorted(run, key=lambda some: (costs[some[0]], -len(some)))


def _alike(one: Layout, other: Layout) -> bool:
    return (
        one.bearing_deg == other.bearing_deg
        and one.roll_width_m == other.roll_width_m
        and np.array_equal(one.pieces, other.pieces)
    )


class _Programme:
    """Rows: each width of each roll (cut no more than is bought), each area (laid once; it stands
    for ``times`` of them). Columns: layouts, fillings."""

    def __init__(
        self, offers: Sequence[Sequence[Layout]], rolls: Sequence[Roll], times: Sequence[int]
    ):
        self.times = times
        self.cost = 0.0  # of all at the optimum found last, m2 of turf
        self.steps = {roll.width_m: max(roll.step_m, roll.usable_m / WIDTHS) for roll in rolls}
        self.rolls = {roll.width_m: roll for roll in rolls}
        self.rows: dict[tuple[float, int], int] = {}
        self.columns: list[list[int]] = [[] for _ in offers]
        self.known: set[tuple[object, ...]] = (
            set()
        )  # fillings: roll width, and how many strips of each width
        self.solver = highs.solver()
        for _ in offers:
            self.solver.addRow(1.0, 1.0, 0, [], [])
        for area, layouts in enumerate(offers):
            for layout in layouts:
                self.offer(area, layout)

    def offer(self, area: int, layout: Layout) -> None:
        """A column for a layout of an area; rows for widths not met before."""
        lengths = self._lengths(layout)
        times = self.times[area]
        for width_m, k in lengths:
            if (width_m, k) not in self.rows:
                self.rows[width_m, k] = self.solver.getNumRow()
                self.solver.addRow(0.0, np.inf, 0, [], [])
                self._fill(width_m, {k: int(self._across(width_m) // k)})
        roll = self.rolls[layout.roll_width_m]
        joined = layout.seam_m, len(layout.cross), layout.corner_m, layout.at_corners
        cost = roll.joints(*joined) + roll.worth * roll.odd_m2 * layout.odd
        at = [*(self.rows[key] for key in lengths), area]
        self.columns[area].append(
            self._add(times * cost, at, [*(-times * length for length in lengths.values()), 1.0])
        )

    def forget(self, area: int, which: Sequence[bool]) -> None:
        """Of what was offered for an area, ``which`` may be taken no more."""
        for column, not_this in zip(self.columns[area], which, strict=True):
            if not_this:
                self.solver.changeColBounds(column, 0.0, 0.0)

    def best(self) -> tuple[list[int], list[float]]:
        """For each area the place of its layout with the largest share, and what it costs that the
        areas it stands for take one layout; such areas choose one after the other, the most
        first."""
        share = self._shares()
        costs = [0.0] * len(self.times)
        several = [area for area, times in enumerate(self.times) if times > 1]
        for area in sorted(several, key=lambda area: (-self.times[area], area)):
            columns = self.columns[area]
            taken = columns[int(np.argmax(share[columns]))]
            whole = share[taken] == 1
            for column in columns:
                self.solver.changeColBounds(column, 0.0, float(column == taken))
            if not whole:
                before = self.cost
                share = self._shares()
                costs[area] = max(0.0, self.cost - before)
        return [int(np.argmax(share[columns])) for columns in self.columns], costs

    def _shares(self) -> np.ndarray:
        """What part of its area each column takes at the optimum."""
        self._solve()
        share: np.ndarray = np.round(self.solver.getSolution().col_value, 6)
        return share

    def priced(self) -> tuple[Roll, ...]:
        """The rolls with the prices that widths come to in this pool, smoothed with those of any
        pool."""
        dual = self._solve()
        return tuple(self._priced(roll, dual) for roll in self.rolls.values())

    def _priced(self, roll: Roll, dual: np.ndarray) -> Roll:
        keys = sorted(
            (k, row) for (width_m, k), row in self.rows.items() if width_m == roll.width_m
        )
        usual = roll.shares[BALANCED]
        if not keys:
            return replace(roll, pool=tuple(usual))
        steps = np.array([0, *(k for k, _ in keys)]) * self.steps[roll.width_m] / roll.step_m
        price = np.array([0.0, *(dual[row] for _, row in keys)]) / (roll.width_m * roll.worth)
        found = np.interp(np.arange(len(usual)), steps, np.maximum.accumulate(price))
        return replace(
            roll, pool=tuple((TRUST * np.minimum(found, 1) + (1 - TRUST) * usual).tolist())
        )

    def _solve(self) -> np.ndarray:
        """Prices of the rows at the optimum over all fillings (nearly)."""
        for _ in range(ROUNDS):
            self.solver.run()
            dual = np.array(self.solver.getSolution().row_dual)
            self.cost = float(self.solver.getInfo().objective_function_value)
            if not sum(self._price(width_m, dual) for width_m in self.rolls):
                break
        return dual

    def _price(self, width_m: float, dual: np.ndarray) -> int:
        """Add fillings that pay at these prices of widths, the best of each leading width. How many
        were added."""
        keys = [(k, dual[row]) for (width, k), row in self.rows.items() if width == width_m]
        widths = np.array([k for k, _ in keys], int)
        prices = np.array([p for _, p in keys])
        across = self._across(width_m)
        best, last = knapsack.again(widths, prices, across)
        roll = self.rolls[width_m]
        added = 0
        for k, price in keys:
            if price + best[across - k] > roll.width_m * roll.worth * (1 + CLOSE):
                filling = {k: 1}
                c = across - k
                while c > 0:
                    if last[c] < 0:
                        c -= 1
                        continue
                    one = int(widths[last[c]])
                    filling[one] = filling.get(one, 0) + 1
                    c -= one
                added += self._fill(width_m, filling)
        return added

    def _fill(self, width_m: float, filling: dict[int, int]) -> int:
        """A column for a section filled with so many strips of each width, if it is new."""
        name = (width_m, *sorted(filling.items()))
        if name in self.known:
            return 0
        self.known.add(name)
        roll = self.rolls[width_m]
        self._add(
            roll.width_m * roll.worth,
            [self.rows[width_m, k] for k in filling],
            list(filling.values()),
        )
        return 1

    def _add(self, cost: float, rows: list[int], values: list[float]) -> int:
        self.solver.addCol(
            cost, 0.0, np.inf, len(rows), np.array(rows, np.int32), np.array(values, float)
        )
        return self.solver.getNumCol() - 1

    def _across(self, width_m: float) -> int:
        return round_down(self.rolls[width_m].usable_m, self.steps[width_m])

    def _lengths(self, layout: Layout) -> dict[tuple[float, int], float]:
        """Metres to cut of each width, in steps, of the layout's roll."""
        width_m = layout.roll_width_m
        steps = np.minimum(
            whole_steps(layout.cut[:, 1], self.steps[width_m]).astype(int),
            self._across(width_m),
        )
        total = np.bincount(steps, layout.cut[:, 0])
        return {(width_m, int(k)): float(total[k]) for k in np.flatnonzero(total)}
