"""Benchmark of layout and cut plan together: what pools of fifty areas buy, square and with slanted
ends, by length.

    python tests/bench/pools.py [normal|thorough]

Shapes: tests/bench/layout.py. Percentages: bought over the ground, by hand and ours, and ours over
the proven bound; square and slanted with seams weighed at 0.4 m2 of turf a metre and 0.5 m2 a cross
seam, and square at the default prices.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

from layout import blobs, buildings, ground_of, lots, yards

from geoturf import cuts
from geoturf.engine import Serial
from geoturf.layout import (
    bounds,
    lay,
    task_of,
    warm_arms,
    warm_covers,
    warm_losses,
    warm_parts,
    warm_seams,
)
from geoturf.rules import CutRules, LayoutRules, Product

TURF = Product().price.per_si()  # a square metre
WEIGHED = {"seam_cost": f"{0.4 * TURF:.4f} USD/m", "cross_seam_cost": f"{0.5 * TURF:.4f} USD"}


def row(name: str, shapes: list, effort: str) -> str:
    ground, product = ground_of(shapes), {"turf60": Product()}
    table = ground.areas.assign(
        area="1", phase="1", surface_area_m2=[shape.area for shape in shapes]
    )
    ground = replace(ground, areas=table)
    cells = []
    for rules in (WEIGHED, {**WEIGHED, "nesting": "slanted"}, {}):
        rules, start = LayoutRules.model_validate(rules), time.process_time()
        task, cutting = task_of(ground, product, rules), CutRules(effort=effort)
        choices = lay(task, Serial())
        plan = cuts.plan(ground, choices, product, cutting, None, rules)
        plan = cuts.proven(plan, ground, choices, product, cutting, bounds(task, Serial()))
        pool, seconds = plan.pools.iloc[0], time.process_time() - start
        over = [100 * (pool["bought_m2"] / pool[of] - 1) for of in ("needed_m2", "bound_m2")]
        if not cells:
            cells.append(f"{100 * (pool['by_hand_m2'] / pool['needed_m2'] - 1):.1f}")
        cells += [f"{over[0]:.1f}", f"{over[1]:.1f}", f"{seconds:.1f}"]
    return f"| {name} ({len(shapes)}) | " + " | ".join(cells) + " |"


def main() -> None:
    warm_seams()
    warm_parts()
    warm_arms()
    warm_losses()
    warm_covers()
    figures = "waste % | over bound % | s"
    print(f"| shapes | by hand % | square: {figures} | slanted: {figures} | own price: {figures} |")
    print("|---" * 11 + "|")
    for name, shapes in (
        ("lots", lots(50)),
        ("other lots", lots(50, seed=11)),
        ("third lots", lots(50, seed=5)),
        ("yards", yards(50)),
        ("blobs, 72 edges", blobs(50, edges=72)),
        ("buildings of bubenec", buildings(50)),
    ):
        print(row(name, shapes, sys.argv[1] if len(sys.argv) > 1 else "normal"), flush=True)


if __name__ == "__main__":
    main()
