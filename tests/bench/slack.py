"""How much of what small pools buy over the bound is the bound's slack, and how much the plan's.

    python tests/bench/slack.py

Pools of eight areas, each with the pile at the bearing that suits it best. Percent over the proven
bound: *cover*, the least that pieces take which cover each area, of all ways to share the cells of
a grid out among rectangles, found by HiGHS (exactly, or the best of some seconds; lines of the
grid: where borders turn, and strips from either end; on a coarse grid the best layout may be less,
and is taken then); *pieces*, what the plan's pieces take; *bought*. So cover is the bound's slack
at the most, pieces less cover what layouts spend, mostly to have fewer seams, and bought less
pieces what is cut to waste.
"""

from __future__ import annotations

from dataclasses import replace

import highspy
import numpy as np
import shapely
from layout import ground_of, lots, yards
from shapely.affinity import rotate

from geoturf import cuts, highs
from geoturf.engine import Serial
from geoturf.layout import bounds, lay, task_of
from geoturf.layout.roll import Roll
from geoturf.rules import CutRules, LayoutRules, Product

POOL, LINES, SECONDS = 8, 11, 5.0
FOOT = 0.3048
FREE = {"seam_cost": "0 USD/m", "cross_seam_cost": "0 USD"}


def stepped(count: int, seed: int = 5) -> list[shapely.Geometry]:
    """Lawns of two blocks a usable width wide, the second shifted aside."""
    random, wide = np.random.default_rng(seed), 15 * FOOT - 2 * 0.0254
    out = []
    for _ in range(count):
        long, aside = random.uniform(12, 50) * FOOT, random.uniform(0.3, 0.7) * wide
        blocks = [shapely.box(0, 0, long, wide), shapely.box(long, aside, 2 * long, aside + wide)]
        out.append(shapely.union_all(blocks))
    return out


def lines_of(values: np.ndarray, step: float) -> np.ndarray:
    """Lines of a grid: at the ends and where borders turn, most first of those apart, then steps
    from either end."""
    low, high = values.min(), values.max()
    turns = int((high - low) / step)
    more = [low + k * step for k in range(1, turns + 1)] + [
        high - k * step for k in range(1, turns + 1)
    ]
    kept: list[float] = [low, high]
    for value in (*more, *values.tolist()):
        if len(kept) < LINES and min(abs(value - one) for one in kept) > 0.02:
            kept.append(value)
    return np.sort(kept)


def cover_m2(shape: shapely.Geometry, roll: Roll) -> float:
    """Turf (m2) that the best cover of a grid's cells takes, the pile along x."""
    x, y = shapely.get_coordinates(shape).T
    us, vs = lines_of(x, (x.max() - x.min()) / 8), lines_of(y, roll.usable_m)
    assert np.diff(vs).max() <= roll.usable_m + 1e-6, f"{LINES} lines leave cells wider than a roll"
    m, n = len(us) - 1, len(vs) - 1
    rows = np.array(
        [
            (a, b, c, d)
            for a in range(m)
            for b in range(a + 1, m + 1)
            for c in range(n)
            for d in range(c + 1, n + 1)
            if vs[d] - vs[c] <= roll.usable_m + 1e-6
        ]
    )
    boxes = shapely.box(us[rows[:, 0]], vs[rows[:, 2]], us[rows[:, 1]], vs[rows[:, 3]])
    turf = shapely.intersection(shape, boxes)
    real = shapely.area(turf) > 1e-6
    rows, ends = rows[real], shapely.bounds(turf[real])
    wide = np.ceil((ends[:, 3] - ends[:, 1] + roll.side_m) / roll.step_m - 1e-6) * roll.step_m
    costs = (ends[:, 2] - ends[:, 0] + roll.ends_m) * np.minimum(wide, roll.usable_m)
    one = (rows[:, 1] == rows[:, 0] + 1) & (rows[:, 3] == rows[:, 2] + 1)
    cell = {(a, c): k for k, (a, _, c, _) in enumerate(rows[one].tolist())}
    inside = [
        [cell[i, j] for i in range(a, b) for j in range(c, d) if (i, j) in cell]
        for a, b, c, d in rows.tolist()
    ]
    return roll.width_m / roll.usable_m * _least_sum(costs, inside, len(cell))


def _least_sum(costs: np.ndarray, inside: list[list[int]], cells: int) -> float:
    """Least sum of costs of rectangles so that each cell lies in one of them; the least found,
    where the time is up."""
    solver, programme = highs.solver(mip_rel_gap=1e-4, time_limit=SECONDS), highspy.HighsLp()
    programme.num_col_, programme.num_row_ = len(costs), cells
    programme.col_cost_ = costs
    programme.col_lower_, programme.col_upper_ = np.zeros(len(costs)), np.ones(len(costs))
    programme.row_lower_ = programme.row_upper_ = np.ones(cells)
    counts = [len(some) for some in inside]
    programme.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    programme.a_matrix_.start_ = np.concatenate([[0], np.cumsum(counts)])
    programme.a_matrix_.index_ = np.concatenate(inside)
    programme.a_matrix_.value_ = np.ones(sum(counts))
    programme.integrality_ = [highspy.HighsVarType.kInteger] * len(costs)
    solver.passModel(programme)
    solver.run()
    return float(solver.getInfo().objective_function_value)


def row(name: str, shapes: list[shapely.Geometry], prices: dict[str, str]) -> str:
    """A pool's gap in its parts."""
    product, rules = {"turf60": Product()}, LayoutRules.model_validate(prices)
    free = lay(task_of(ground_of(shapes), product, rules), Serial(), pool="area")
    turned = [one.layouts[0].bearing_deg - 90 for one in free]
    shapes = [rotate(shape, by, origin=(0, 0)) for shape, by in zip(shapes, turned, strict=True)]
    ground = ground_of(shapes)
    areas = ground.areas.assign(surface_area_m2=[s.area for s in shapes], pile_bearing_deg=90.0)
    ground, cutting = replace(ground, areas=areas), CutRules()
    task = task_of(ground, product, rules)
    choices, least = lay(task, Serial()), bounds(task, Serial())
    plan = cuts.plan(ground, choices, product, cutting, None, rules)
    plan = cuts.proven(plan, ground, choices, product, cutting, least)
    roll, pool = task.stock[0][0], plan.pools.iloc[0]
    laid = plan.chosen["piece_area_m2"].to_numpy(float) * roll.width_m / roll.usable_m
    best = np.array([min(one.cut.prod(axis=1).sum() for one in c.layouts) for c in choices])
    cover = np.minimum(
        [cover_m2(shape, roll) for shape in shapes], best * roll.width_m / roll.usable_m
    )
    bound = float(pool["bound_m2"])
    parts = [
        100 * (total / bound - 1) for total in (cover.sum(), laid.sum(), float(pool["bought_m2"]))
    ]
    seam = plan.chosen["seam_m"].sum() / sum(shape.area for shape in shapes)
    return f"| {name} | " + " | ".join(f"{part:.1f}" for part in parts) + f" | {seam:.2f} |"


def main() -> None:
    kinds = {"stepped": stepped(POOL), "lots": lots(POOL), "yards": yards(POOL)}
    print(f"| pools of {POOL} | cover, % over the bound | pieces | bought | seam, m a m2 |")
    print("|---|---|---|---|---|")
    for name, shapes in kinds.items():
        for words, prices in (("the bid's own prices", {}), ("seams free", FREE)):
            print(row(f"{name}, {words}", shapes, prices), flush=True)


if __name__ == "__main__":
    main()
