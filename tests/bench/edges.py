"""20,000 areas with houses, drives and neighbours: how long `classify` takes.

    python tests/bench/edges.py [areas]

Mark: under 20 s for 20,000 areas on one core. Invented lots, seeded: a front and a back lawn a lot
that share a seam along a side passage, rounded corners (33 edges at the median), a house of 8
corners, a drive and a walk.
"""

from __future__ import annotations

import resource
import sys
import time

import numpy as np
import pandas as pd
import shapely

from geoturf.edges import classify
from geoturf.model import Frames, Ground
from geoturf.rules import EdgeRules, Product

SEED = 20


def lots(count: int) -> Ground:
    """``count`` areas on half as many lots, each lot in its own frame and turned its own way."""
    random = np.random.default_rng(SEED)
    sites = (count + 1) // 2
    wide, deep = random.uniform(16, 26, sites), random.uniform(28, 40, sites)
    lot = shapely.box(0, 0, wide, deep)
    lot = shapely.buffer(shapely.buffer(lot, -2.0), 2.0, quad_segs=8)
    left, front = random.uniform(2, 4, sites), random.uniform(7, 10, sites)
    house = shapely.box(left, front, wide - 1.5, front + 12)
    house = shapely.union(house, shapely.box(left + 3, front - 1.5, left + 8, front + 1))
    drive = shapely.box(wide - 6, -1, wide - 2.5, front)
    walk = shapely.box(left + 5, 0, left + 6.2, front - 1.5)
    lawn = shapely.difference(lot, shapely.union_all(np.stack([house, drive, walk]), axis=0))
    cut = front + random.uniform(2, 8, sites)
    halves = [
        shapely.intersection(lawn, shapely.box(-5, -5, wide + 5, cut)),
        shapely.intersection(lawn, shapely.box(-5, cut, wide + 5, deep + 5)),
    ]
    turn = random.uniform(0, 2 * np.pi, sites)
    frame = np.arange(sites)
    geometry = np.column_stack([_turned(half, turn) for half in halves]).ravel()[:count]
    areas = pd.DataFrame(
        {"geometry": geometry, "frame": np.repeat(frame, 2)[:count], "product": "turf60"}
    )
    areas["site"] = [f"lot {k}" for k in areas["frame"]]
    areas["area"] = np.tile(["front", "back"], sites)[:count]
    areas["surface_area_m2"], areas["perimeter_m"] = (
        shapely.area(geometry),
        shapely.length(geometry),
    )
    context = pd.DataFrame(
        {
            "role": np.repeat(["building", "paving", "paving"], sites),
            "frame": np.tile(frame, 3),
            "geometry": np.concatenate([_turned(thing, turn) for thing in (house, drive, walk)]),
        }
    )
    nothing = np.empty(0)
    return Ground(
        areas, context, pd.DataFrame(), Frames(nothing, nothing, nothing, nothing, ()), ""
    )


def _turned(geometry: np.ndarray, angle: np.ndarray) -> np.ndarray:
    xy, of = shapely.get_coordinates(geometry, return_index=True)
    cos, sin = np.cos(angle[of]), np.sin(angle[of])
    return shapely.set_coordinates(
        geometry.copy(),
        np.column_stack([xy[:, 0] * cos - xy[:, 1] * sin, xy[:, 0] * sin + xy[:, 1] * cos]),
    )


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    ground = lots(count)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start, busy = time.perf_counter(), time.process_time()
    edges = classify(ground, {"turf60": Product()}, EdgeRules())
    seconds, busy = time.perf_counter() - start, time.process_time() - busy
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    vertices = int(shapely.get_num_coordinates(ground.areas["geometry"].to_numpy()).sum())
    share = edges.totals[[c for c in edges.totals if c.startswith("edge_")]].sum()
    print(
        f"areas {count}, vertices {vertices}, context {len(ground.context)}, runs {len(edges.runs)}"
    )
    print(
        f"classify {seconds:.2f} s, {busy:.2f} s of one core ({1e6 * seconds / count:.0f} us an "
        "area)"
    )
    print(f"memory +{(peak - before) / 1024:.0f} MB")
    print(
        ", ".join(
            f"{kind.split('_')[1]} {100 * value / share.sum():.1f} %"
            for kind, value in share.items()
        )
    )


if __name__ == "__main__":
    main()
