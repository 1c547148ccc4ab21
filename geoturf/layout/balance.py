"""Which of an area's layouts comes first: the one that serves its pool.

Rolls are filled across: a pool wants as many strips of a width as there are others to lie beside them. A linear programme over
widths alone (lengths of a pool's strips are so many that they fit) takes a share of each area's layouts and a length of each
way to fill a section, for the least turf and seams. Ways to fill a section are added as they pay (column generation). An
area's layout of the largest share comes first; the others follow by cost.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace

import numpy as np

from geoturf import highs
from geoturf.layout.roll import Roll
from geoturf.model import Choices, Layout

FEWEST, TOGETHER = 4, 250  # areas of a pool: fewer are left as they are; more are balanced in runs of so many
WIDTHS = 240  # told apart across a roll, at most
ROUNDS, CLOSE = 40, 1e-3


def balanced(choices: Sequence[Choices], pools: Sequence[Hashable], stock: Sequence[Sequence[Roll]]) -> list[Choices]:
    """``choices`` with their layouts in the order that serves their pools (``pools``: who shares rolls with whom)."""
    out = list(choices)
    rows: dict[Hashable, list[int]] = {}
    for row, pool in enumerate(pools):
        rows.setdefault(pool, []).append(row)
    for members in rows.values():
        for k in range(0, len(members), TOGETHER):
            run = members[k : k + TOGETHER]
            if len(run) >= FEWEST:
                best = _Programme([choices[row].layouts for row in run], stock[run[0]]).best()
                for row, first in zip(run, best, strict=True):
                    layouts = choices[row].layouts
                    ordered = (layouts[first], *layouts[:first], *layouts[first + 1 :])
                    out[row] = replace(choices[row], layouts=ordered)
    return out


class _Programme:
    """Rows: each width of each roll (cut no more than is bought), then each area (laid once). Columns: layouts, then fillings."""

    def __init__(self, offers: Sequence[tuple[Layout, ...]], rolls: Sequence[Roll]):
        self.steps = {roll.width_m: max(roll.step_m, roll.usable_m / WIDTHS) for roll in rolls}
        self.rolls = {roll.width_m: roll for roll in rolls}
        self.offers = offers
        lengths = [[self._lengths(layout) for layout in layouts] for layouts in offers]
        widths = sorted({key for some in lengths for one in some for key in one})
        self.rows = {key: row for row, key in enumerate(widths)}
        self.solver = highs.solver()
        for _ in widths:
            self.solver.addRow(0.0, np.inf, 0, [], [])
        for area, some in enumerate(lengths):
            self.solver.addRow(1.0, 1.0, 0, [], [])
            for layout, one in zip(offers[area], some, strict=True):
                at = [self.rows[key] for key in one] + [len(widths) + area]
                self._add(self._seams(layout), at, [-length for length in one.values()] + [1.0])
        self.known: set[tuple] = set()
        for width_m, k in widths:
            self._fill(width_m, {k: int(self._across(width_m) // k)})

    def best(self) -> list[int]:
        """For each area the place of its layout with the largest share."""
        for _ in range(ROUNDS):
            self.solver.run()
            dual = np.array(self.solver.getSolution().row_dual)
            if not sum(self._price(width_m, dual) for width_m in self.rolls):
                break
        share = np.round(self.solver.getSolution().col_value, 6)
        ends = np.cumsum([len(layouts) for layouts in self.offers])[:-1]
        return [int(np.argmax(part)) for part in np.split(share[: sum(map(len, self.offers))], ends)]

    def _price(self, width_m: float, dual: np.ndarray) -> int:
        """Add fillings that pay at these prices of widths, the best of each leading width. How many were added."""
        keys = [(k, dual[row]) for (width, k), row in self.rows.items() if width == width_m]
        widths, prices = np.array([k for k, _ in keys], int), np.array([p for _, p in keys])
        across = self._across(width_m)
        best, last = np.zeros(across + 1), np.full(across + 1, -1)
        for c in range(1, across + 1):
            fits = widths <= c
            value = (
                np.where(fits, best[c - np.where(fits, widths, c)] + prices, -np.inf) if len(widths) else np.empty(0)
            )
            best[c] = best[c - 1]
            if len(value) and value.max() > best[c] + 1e-12:
                best[c], last[c] = value.max(), int(np.argmax(value))
        roll, added = self.rolls[width_m], 0
        for k, price in keys:
            if price + best[across - k] > roll.width_m * roll.worth * (1 + CLOSE):
                filling, c = {k: 1}, across - k
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
        self._add(roll.width_m * roll.worth, [self.rows[width_m, k] for k in filling], list(filling.values()))
        return 1

    def _add(self, cost: float, rows: list[int], values: list[float]) -> None:
        self.solver.addCol(cost, 0.0, np.inf, len(rows), np.array(rows, np.int32), np.array(values, float))

    def _across(self, width_m: float) -> int:
        return int(self.rolls[width_m].usable_m / self.steps[width_m] + 1e-6)

    def _lengths(self, layout: Layout) -> dict[tuple[float, int], float]:
        """Metres to cut of each width, in steps, of the layout's roll."""
        width_m = layout.roll_width_m
        steps = np.minimum(np.ceil(layout.cut[:, 1] / self.steps[width_m] - 1e-6).astype(int), self._across(width_m))
        total = np.bincount(steps, layout.cut[:, 0])
        return {(width_m, int(k)): float(total[k]) for k in np.flatnonzero(total)}

    def _seams(self, layout: Layout) -> float:
        roll = self.rolls[layout.roll_width_m]
        return roll.seam * layout.seam_m + roll.cross * len(layout.cross)
