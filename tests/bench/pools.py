"""Benchmark of layout and cut plan together: what pools of fifty areas buy, square and with slanted ends, by length.

    python tests/bench/pools.py

Shapes: tests/bench/layout.py. Percentages: bought over the ground, by hand and ours, and ours over the proven bound.
"""

from __future__ import annotations

import time
from dataclasses import replace

from layout import blobs, buildings, ground_of, lots, yards

from geoturf import cuts
from geoturf.engine import Serial
from geoturf.layout import lay, warm
from geoturf.rules import CutRules, LayoutRules, Product


def row(name: str, shapes: list) -> str:
    ground, product = ground_of(shapes), {"turf60": Product()}
    table = ground.areas.assign(area="1", phase="1", surface_area_m2=[shape.area for shape in shapes])
    ground = replace(ground, areas=table)
    cells = []
    for nesting in ("square", "slanted"):
        rules, start = LayoutRules(nesting=nesting), time.process_time()
        plan = cuts.plan(ground, lay(ground, product, rules, Serial()), product, CutRules(), None, rules)
        pool, seconds = plan.pools.iloc[0], time.process_time() - start
        over = [100 * (pool["bought_m2"] / pool[of] - 1) for of in ("needed_m2", "bound_m2")]
        if nesting == "square":
            cells.append(f"{100 * (pool['by_hand_m2'] / pool['needed_m2'] - 1):.1f}")
        cells += [f"{over[0]:.1f}", f"{over[1]:.1f}", f"{seconds:.1f}"]
    return f"| {name} ({len(shapes)}) | " + " | ".join(cells) + " |"


def main() -> None:
    warm()
    print("| shapes | by hand % | waste % | over bound % | s | slanted waste % | over bound % | s |")
    print("|---|---|---|---|---|---|---|---|")
    for name, shapes in (
        ("lots", lots(50)),
        ("other lots", lots(50, seed=11)),
        ("yards", yards(50)),
        ("blobs, 72 edges", blobs(50, edges=72)),
        ("buildings of bubenec", buildings(50)),
    ):
        print(row(name, shapes), flush=True)


if __name__ == "__main__":
    main()
