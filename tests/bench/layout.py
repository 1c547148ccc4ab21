"""Benchmark of the roll layout: waste, the gap to the proven bound, and areas a second, on one
core.

    python tests/bench/layout.py [count]

Generated house lots (a skewed parcel less house, drive, walk and patio; some 33 edges), yards, park
blobs of 1,500 edges, and the buildings of momepy's ``bubenec`` (open data: Bubeneč, Prague,
OpenStreetMap contributors, ODbL), used as shapes. "Bought" is by cut length with every strip alone
(off-cuts of the strip's own area used): pools do better, see the cut plan's benchmark.
"""

from __future__ import annotations

import sys
import time

import numpy as np
import pandas as pd
import shapely
from shapely.affinity import rotate

from geoturf.engine import Serial
from geoturf.layout import (
    bounds,
    fresh,
    lay,
    task_of,
    warm_arms,
    warm_covers,
    warm_losses,
    warm_parts,
    warm_seams,
)
from geoturf.model import Frames, Ground
from geoturf.rules import LayoutRules, Product

ROUNDS = 4  # the least of so many counts: other work on a machine only ever adds


def lots(count: int, seed: int = 1) -> list[shapely.Geometry]:
    """House lots: the parcel less house (with a notch and a bay), drive, walk and patio, turned at
    random."""
    rng = np.random.default_rng(seed)
    return [_lot(rng) for _ in range(count)]


def _lot(rng: np.random.Generator) -> shapely.Geometry:
    wide, deep = rng.uniform(15, 24), rng.uniform(26, 38)
    skew, bulge = rng.normal(0, 1.5), rng.choice([0, 0, 1]) * rng.uniform(0.5, 2.5)
    front = [
        (x, -bulge * np.sin(np.pi * x / wide)) for x in np.linspace(0, wide, 7 if bulge else 2)
    ]
    parcel = shapely.Polygon([*front, (wide + skew, deep + rng.normal(0, 1)), (skew * 0.7, deep)])
    x0, x1 = rng.uniform(1.5, 3.5), wide - rng.uniform(1.5, 3.5)
    y0 = rng.uniform(5, 9)
    y1 = y0 + rng.uniform(8, 12)
    house = shapely.box(x0, y0, x1, y1)
    notch = rng.uniform(0.25, 0.5) * (x1 - x0)
    house -= shapely.box(x0, y0, x0 + notch, y0 + rng.uniform(1, 3))
    house |= shapely.box(x1 - notch, y1 - 0.1, x1, y1 + rng.uniform(1, 3))
    if rng.random() < 0.5:
        bay = x0 + 0.3 * (x1 - x0)
        house |= shapely.Polygon(
            [(bay, y1), (bay + 0.6, y1 + 0.8), (bay + 2.2, y1 + 0.8), (bay + 2.8, y1)]
        )
    drive = shapely.box(x1 - rng.uniform(3, 6), -5, x1 - 0.3, y0 + 0.1)
    door = x0 + notch + 0.8
    walk = shapely.box(door, y0 - 1.2, x1, y0 + 0.1) | shapely.box(
        door, y0 - 1.2, door + 1.2, y0 + 0.1
    )
    patio = shapely.box(x0 + 0.2, y1 - 0.1, x0 + rng.uniform(3, 5), y1 + rng.uniform(2, 4))
    turf = parcel - shapely.union_all([house, drive, walk, patio])
    if rng.random() < 0.4:
        turf -= shapely.Point(wide * rng.uniform(0.3, 0.7), deep * 0.85).buffer(
            rng.uniform(0.8, 2), quad_segs=3
        )
    kept = [part for part in shapely.get_parts(turf) if part.area > 2]
    return rotate(shapely.MultiPolygon(kept), rng.uniform(0, 360), origin=(0, 0))


def yards(count: int, seed: int = 2) -> list[shapely.Geometry]:
    """Front yards: four to seven corners, a drive or a tree ring cut out of some."""
    rng = np.random.default_rng(seed)
    out = []
    for _ in range(count):
        wide, deep = rng.uniform(8, 20), rng.uniform(5, 14)
        corners = [
            (0, 0),
            (wide, rng.normal(0, 1)),
            (wide + rng.normal(0, 0.7), deep),
            (rng.normal(0, 0.7), deep),
        ]
        yard = shapely.Polygon(corners)
        if rng.random() < 0.6:
            yard -= shapely.box(
                wide * 0.6, -3, wide * 0.6 + rng.uniform(1.2, 3.5), deep * rng.uniform(0.6, 1.2)
            )
        if rng.random() < 0.4:
            yard -= shapely.Point(wide * 0.3, deep * 0.5).buffer(rng.uniform(0.5, 1.2), quad_segs=3)
        out.append(rotate(yard, rng.uniform(0, 360), origin=(0, 0)))
    return out


def blobs(count: int, seed: int = 3, edges: int = 1500) -> list[shapely.Geometry]:
    """Park lawns with smooth outlines."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, 2 * np.pi, edges, endpoint=False)
    out = []
    for _ in range(count):
        radius = np.ones(edges)
        for k in range(2, 7):
            radius += rng.normal(0, 0.25 / k) * np.cos(k * angle + rng.uniform(0, 2 * np.pi))
        radius *= rng.uniform(10, 30)
        out.append(
            shapely.Polygon(
                np.column_stack(
                    [radius * np.cos(angle) * rng.uniform(1, 1.8), radius * np.sin(angle)]
                )
            )
        )
    return [shape.buffer(0) for shape in out]


def buildings(count: int) -> list[shapely.Geometry]:
    """Open city data, as shapes."""
    import geopandas
    import momepy

    return list(
        geopandas.read_file(momepy.datasets.get_path("bubenec"), layer="buildings").geometry[:count]
    )


def ground_of(shapes: list[shapely.Geometry], apart: bool = False) -> Ground:
    """A `Ground` of bare shapes, one site each; one phase, or a phase each where they are
    ``apart``."""
    count = len(shapes)
    table = pd.DataFrame(
        {
            "site": [f"S{k}" for k in range(count)],
            "area": "1",
            "product": "turf60",
            "phase": [f"P{k * apart}" for k in range(count)],
            "view": "",
            "frame": 0,
            "geometry": np.array(shapes, object),
            "laid": np.array(shapes, object),
            "pile_bearing_deg": np.nan,
            "work_order": np.nan,
        }
    )
    context = pd.DataFrame({"role": [], "frame": [], "geometry": []})
    frames = Frames(*(np.zeros(1),) * 3, np.zeros(1, int), ("",))
    return Ground(table, context, pd.DataFrame(), frames, "")


def measure(name: str, shapes: list[shapely.Geometry]) -> str:
    """One row of the table."""
    product, rules = Product(), LayoutRules()
    seconds = []
    for apart in (True, False):
        rounds = []
        for _ in range(ROUNDS):
            start = time.process_time()
            task = task_of(ground_of(shapes, apart), {"turf60": product}, rules)
            done = lay(task, Serial())
            rounds.append(time.process_time() - start)
        seconds.append(min(rounds))
    start = time.process_time()
    least = bounds(task, Serial())[:, 0]
    seconds.append(time.process_time() - start)
    area = sum(shape.area for shape in shapes)
    bound = least.sum()
    width = product.roll_width_m
    hand = sum(width * min(np.sum(drawn.cut[:, 0]) for drawn in c.by_hand) for c in done)
    alone = sum(min(_alone(layout) for layout in c.layouts) for c in done)
    best = sum(min(_share(layout) for layout in c.layouts) for c in done)
    first = sum(_share(c.layouts[0]) for c in done)
    seam = sum(c.layouts[0].seam_m for c in done)
    figures = [100 * (x / area - 1) for x in (hand, alone, first, best, bound)]
    edges = int(np.median([shapely.get_num_coordinates(s) for s in shapes]))
    return f"| {name} ({len(shapes)}, {edges} edges) | " + " | ".join(
        [
            *(f"{f:.1f}" for f in figures),
            f"{100 * (first / bound - 1):.1f}",
            f"{100 * (best / bound - 1):.1f}",
            f"{seam / area:.3f}",
            f"{sum(len(c.layouts) for c in done) / len(done):.1f}",
            " | ".join(f"{len(shapes) / one:.0f}" for one in seconds) + " |",
        ]
    )


def _alone(layout) -> float:
    """Turf (m2) with every strip of full roll width, ganged lengths side by side."""
    fit = np.maximum(1, np.floor(layout.width_m / layout.cut[:, 1] + 1e-9))
    keys = np.round(layout.cut, 4)
    total = 0.0
    for key in np.unique(keys, axis=0):
        same = np.all(keys == key, axis=1)
        total += layout.roll_width_m * key[0] * np.ceil(np.sum(same) / fit[same][0])
    return total


def _share(layout) -> float:
    """Turf (m2) in proportion to the pieces' size."""
    return layout.roll_width_m / layout.width_m * float(np.sum(layout.cut[:, 0] * layout.cut[:, 1]))


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    start = time.process_time()
    compiled = fresh()
    warm_seams()
    warm_parts()
    warm_arms()
    warm_losses()
    warm_covers()
    print(f"compiled: {compiled}, {time.process_time() - start:.2f} s")
    print(
        "Turf over ground in %: by hand, each strip alone, in proportion (first layout), the same "
        "(least), bound; then"
    )
    print(
        "first and least over the bound in %, seam in m/m2, layouts an area, areas a second alone, "
        "as a pool, and bounded"
    )
    for name, shapes in (
        ("lots", lots(count)),
        ("yards", yards(count)),
        ("blobs", blobs(max(4, count // 10))),
        ("buildings", buildings(count)),
    ):
        print(measure(name, shapes), flush=True)


if __name__ == "__main__":
    main()
