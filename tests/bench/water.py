"""Benchmark of the choice under a budget: seconds and the gap proved.

    python tests/bench/water.py

5,000 areas x 4 conversions, invented: every area its own saving and cost, and (usual in a town)
every lawn alike but in size, where whole families of choices tie; then the same with minimums in 25
districts and a cap on synthetic turf. One thread. Processor seconds stand beside wall-clock, for
machines that are shared.
"""

from __future__ import annotations

import time

import numpy as np

from geoturf.water.chooser import Chooser
from geoturf.water.knapsack import Knapsack, Side

AREAS, POINTS, GAP = 5_000, 40, 1e-4


def invented(alike: bool, sides: bool, seed: int = 1) -> Knapsack:
    """Saving and cost per area: turf, low-water planting, efficient irrigation, planting with less
    lawn; lognormal sizes."""
    rng = np.random.default_rng(seed)
    area = rng.lognormal(7, 1, AREAS)
    value = area[:, None] * np.array([1.0, 0.75, 0.15, 0.6])
    cost = area[:, None] * np.array([10.0, 5.5, 0.9, 4.0])
    if not alike:
        value, cost = (
            value * rng.uniform(0.6, 1.3, value.shape),
            cost * rng.uniform(0.8, 1.3, cost.shape),
        )
    asked: list[Side] = []
    if sides:
        district = np.arange(AREAS) % 25
        asked = [
            Side(
                f"district {d}",
                np.broadcast_to((district == d)[:, None], value.shape).astype(float),
                20.0,
                np.inf,
            )
            for d in range(25)
        ]
        asked.append(
            Side("turf", area[:, None] * np.array([1.0, 0, 0, 0]), -np.inf, 0.05 * area.sum())
        )
    return Knapsack(
        value, cost.round(2), np.ones(value.shape, bool), np.zeros(AREAS, bool), tuple(asked)
    )


def main() -> None:
    print(f"{AREAS} areas x 4 conversions, gap asked {GAP:.2%}")
    print(
        f"| areas | constraints | one budget, s (processor) | gap | {POINTS} budgets, s "
        "(processor) | solved | worst | nodes |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for alike in (False, True):
        for sides in (False, True):
            print(row(invented(alike, sides), alike, sides), flush=True)


def row(wanted: Knapsack, alike: bool, sides: bool) -> str:
    budget = float(wanted.cost.max(axis=1).sum() / 8)
    wall, work = time.perf_counter(), time.process_time()
    chooser = Chooser(wanted)
    pick = chooser.pick(budget, GAP)
    one = f"{time.perf_counter() - wall:.2f} ({time.process_time() - work:.2f})"
    most = chooser.pick(np.inf, GAP).cost
    wall, work = time.perf_counter(), time.process_time()
    picks = [chooser.pick(float(b), GAP) for b in np.linspace(most / POINTS, most, POINTS)]
    curve = f"{time.perf_counter() - wall:.1f} ({time.process_time() - work:.1f})"
    found = [p for p in picks if p is not None]
    worst, nodes = max(p.gap for p in found), sum(p.nodes for p in found)
    asked = "25 districts, turf cap" if sides else "none"
    kind = "alike" if alike else "each its own"
    return (
        f"| {kind} | {asked} | {one} | {pick.gap:.5%} | {curve} | {len(found)} | {worst:.5%} | "
        f"{nodes} |"
    )


if __name__ == "__main__":
    main()
