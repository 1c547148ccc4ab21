"""100,000 areas in State Plane feet: how long `measure` takes against bare geopandas, and what
parcels and double pay add.

    python tests/bench/ground.py [areas]

Mark: `measure` within 1.5x of what geopandas takes for to_crs, .area and .length, processor time,
the best of three; peak memory within 3x of the table of polygons itself. Invented lots, seeded:
star shapes of 33 edges in a grid, every one its own site.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from collections.abc import Callable

import geopandas
import numpy as np
import shapely

from geoturf import ground, parcels
from geoturf.model import Source, SourceLayer
from geoturf.rules import GroundRules, ParcelRules

EDGES, FT = 33, 0.3048006096
RULES = GroundRules()


def layer(role: str, shapes: np.ndarray, **columns: np.ndarray) -> SourceLayer:
    names = {"feature": np.arange(len(shapes)).astype(str).astype(object)} | columns
    table = geopandas.GeoDataFrame(names, geometry=shapes, crs=2272)
    return SourceLayer(role, role, role, role, 0.0, table)


def grid(count: int) -> np.ndarray:
    """Lower left corners in feet of lots 20 x 40 m, row by row, (n, 2)."""
    side = int(np.ceil(np.sqrt(count)))
    place = np.column_stack([np.arange(count) % side * 20.0, np.arange(count) // side * 40.0])
    return [2.7e6, 2.5e5] + place / FT


def stars(count: int) -> np.ndarray:
    random = np.random.default_rng(7)
    turn = np.sort(random.uniform(0, 2 * np.pi, (count, EDGES)), axis=1)
    reach = random.uniform(4, 9.5, (count, EDGES, 1)) / FT
    points = grid(count)[:, None] + reach * np.stack([np.cos(turn), np.sin(turn)], axis=2)
    return shapely.polygons(np.concatenate([points, points[:, :1]], axis=1))


def boxes(count: int, west: float, south: float, east: float, north: float) -> np.ndarray:
    low, high = (
        grid(count) + np.array([west, south]) / FT,
        grid(count) + np.array([east, north]) / FT,
    )
    return shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])


def best(work: Callable[[], object], times: int = 3) -> float:
    seconds = []
    for _ in range(times):
        start = time.process_time()
        work()
        seconds.append(time.process_time() - start)
    return min(seconds)


def bare(table: geopandas.GeoDataFrame) -> None:
    there = table.to_crs(32618)
    assert len(there.area) == len(there.length)


def memory(work: Callable[[], object]) -> float:
    """Peak of what numpy and Python take, MB (GEOS's own share is told by neither)."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    site = np.char.add("lot ", np.arange(count).astype(str)).astype(object)
    lawns = layer("turf", stars(count), site=site)
    source = Source((lawns,), (), (), 0)
    plain, mine = best(lambda: bare(lawns.table)), best(lambda: ground.measure(source, RULES))
    print(
        f"measure, {count} areas of {EDGES} edges: {mine:.2f} s, bare geopandas {plain:.2f} s, "
        f"{mine / plain:.2f}x"
    )
    vertices = count * (EDGES + 1) * 16 / 1e6
    used = memory(lambda: ground.measure(source, RULES))
    print(f"memory: {used:.0f} MB at the peak, the coordinates alone {vertices:.0f} MB")

    few = count // 5
    copies = Source((layer("turf", np.tile(boxes(few, 0, 0, 20, 40), 2)),), (), (), 0)
    twice = ground.measure(copies, RULES)
    seconds = best(lambda: ground.notice(twice, RULES), 1)
    print(f"notice, {2 * few} areas, half of them copies of neighbours that touch: {seconds:.2f} s")

    land = layer("parcel", boxes(few, 0, 0, 20, 40), site=site[:few])
    built = layer("building", boxes(few, 4, 10, 16, 25)), layer("paving", boxes(few, 5, 0, 8, 10))
    around = Source((land, *built), (), (), 0)
    seconds = best(lambda: ground.measure(around, RULES), 1)
    found = ground.measure(around, RULES)
    print(f"measure, {few} parcels, {len(found.context)} context features placed: {seconds:.2f} s")
    seconds = best(lambda: parcels.derive(found, ParcelRules()), 1)
    print(f"derive, {few} parcels: {seconds:.2f} s")


if __name__ == "__main__":
    main()
