"""Benchmark of what is large or hostile: (tried, seconds, processor seconds, peak memory, how it
ended).

    python tests/bench/large.py [part of a case's name ...]

Each case is a run with every default in a fresh process, stopped after `LIMIT_S`. Outlines are
generated (a few waves and a fractal border, seeded): parks as large and with as many vertices as
open-data layers of cities have. Memory is the largest process of the run.
"""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import geopandas
import numpy as np
import shapely
from shapely.affinity import rotate, scale, translate

LIMIT_S = 600
ACRE_M2 = 4046.8564224
GEOTURF = [sys.executable, "-m", "geoturf", "run", "--quiet"]
UTM = "EPSG:26911"
EAST, NORTH = 250_000, 4_070_000


def main() -> None:
    asked = sys.argv[1:]
    print("| tried | seconds | processor s | peak MB | status | said last |")
    print("|" + "---|" * 6)
    for name, make in CASES.items():
        if not asked or any(part in name for part in asked):
            with tempfile.TemporaryDirectory() as folder:
                print(row(name, make(Path(folder)), Path(folder)), flush=True)


def row(name: str, inputs: list[str], folder: Path) -> str:
    """A line of the table: one run, whatever comes of it."""
    started = time.perf_counter()
    with (folder / "said").open("wb") as said:
        command = [*GEOTURF, *inputs, "--out", str(folder / "out")]
        run = subprocess.Popen(command, stdout=said, stderr=said, start_new_session=True)
        status, used = _waited(run, started + LIMIT_S)
    took = time.perf_counter() - started
    text = (folder / "said").read_text(errors="replace").replace(str(folder), "")
    lines = [line for line in text.splitlines() if line.strip()]
    last = (lines[-1] if lines else "").replace("|", "/")[:150]
    cpu = used.ru_utime + used.ru_stime
    return f"| {name} | {took:.1f} | {cpu:.1f} | {used.ru_maxrss / 1024:,.0f} | {status} | {last} |"


def _waited(run: subprocess.Popen[bytes], until: float):
    """How a run ended and what it used."""
    stopped = False
    while True:
        pid, code, used = os.wait4(run.pid, os.WNOHANG)
        if pid:
            run.returncode = os.waitstatus_to_exitcode(code)
            return ("stopped" if stopped else run.returncode), used
        if not stopped and time.perf_counter() > until:
            os.killpg(run.pid, signal.SIGKILL)
            stopped = True
        time.sleep(0.05)


def park(acres: float, vertices: int, seed: int, holes: int = 0) -> shapely.Polygon:
    """An irregular outline of so many acres about the origin."""
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0, 2 * np.pi, vertices))
    radius = np.ones(vertices)
    for k in range(2, 12):
        radius += rng.normal(0, 0.25 / k) * np.cos(k * turn + rng.uniform(0, 2 * np.pi))
    steps = np.cumsum(rng.normal(0, 1, vertices))
    steps -= np.linspace(0, steps[-1], vertices)  # closes
    radius = np.maximum(radius + 0.05 * steps / (np.abs(steps).max() + 1e-9), 0.2)
    ring = np.column_stack([radius * np.cos(turn), rng.uniform(0.5, 1) * radius * np.sin(turn)])
    inside = [
        0.04 * ring[:: max(1, vertices // 200)] + 0.45 * np.array([np.cos(a), 0.5 * np.sin(a)])
        for a in np.linspace(0, 2 * np.pi, holes, endpoint=False)
    ]
    shape = shapely.Polygon(ring, inside)
    factor = (acres * ACRE_M2 / shape.area) ** 0.5
    return scale(shape, factor, factor, origin=(0, 0))


def parks(count: int, acres: float, largest: float, vertices: int, seed: int) -> list:
    """So many parks of so many acres in all, sizes as uneven as in cities."""
    rng = np.random.default_rng(seed)
    sizes = np.sort(rng.lognormal(0, 1.6, count))[::-1]
    sizes[1:] = np.minimum(sizes[1:] * (acres - largest) / sizes[1:].sum(), 0.6 * largest)
    sizes[0] = largest
    each = np.maximum(12, (vertices * (sizes / largest) ** 0.6).astype(int))
    made = [
        park(a, n, seed + k, min(6, n // 300))
        for k, (a, n) in enumerate(zip(sizes, each, strict=True))
    ]
    return [translate(p, 4000 * (k % 16), 4000 * (k // 16)) for k, p in enumerate(made)]


def parcels(count: int, acres: float, seed: int) -> list:
    """So many parcels, four corners and a bend each, all different."""
    rng = np.random.default_rng(seed)
    side = (acres * ACRE_M2 / count) ** 0.5
    made = []
    for _ in range(count):
        a, b = side * rng.uniform(0.6, 1.6), side * rng.uniform(0.6, 1.6)
        corners = np.array([[0, 0], [a, 0], [1.02 * a, b / 2], [a, b], [0, b]])
        made.append(shapely.Polygon(corners + rng.normal(0, side / 40, (5, 2))))
    grow = (acres * ACRE_M2 / sum(one.area for one in made)) ** 0.5
    made = [scale(one, grow, grow, origin=(0, 0)) for one in made]
    return [translate(p, 3 * side * (k % 100), 3 * side * (k // 100)) for k, p in enumerate(made)]


def layer(shapes: list, folder: Path, crs: str = UTM, move: bool = True) -> list[str]:
    """A layer of turf as a GeoPackage."""
    shapes = [translate(s, EAST, NORTH) for s in shapes] if move else shapes
    names = {"site": [f"S{k:06d}" for k in range(len(shapes))]}
    table = geopandas.GeoDataFrame(names, geometry=shapes, crs=crs)
    table.to_file(folder / "lawns.gpkg", engine="pyogrio")
    return [str(folder / "lawns.gpkg")]


def holed(count: int) -> shapely.Polygon:
    """A lawn with so many holes of a metre, each a square ring."""
    side = int(np.ceil(count**0.5))
    xs, ys = 4.0 * (np.arange(count) % side) + 2, 4.0 * (np.arange(count) // side) + 2
    rings = np.stack([xs, ys, xs + 1, ys + 1], axis=1)
    holes = [shapely.box(*r).exterior.coords for r in rings]
    return shapely.Polygon(shapely.box(0, 0, 4 * side + 2, 4 * side + 2).exterior.coords, holes)


def comb(teeth: int, pitch: float, deep: float, turn: float = 0.0) -> shapely.Polygon:
    """A back of a metre with so many teeth, half a pitch wide each."""
    left = pitch * np.arange(teeth)
    tooth = np.array([[0.0, 1.0], [0.0, deep], [0.5 * pitch, deep], [0.5 * pitch, 1.0]])
    along = (left[:, None, None] * [1.0, 0.0] + tooth).reshape(-1, 2)
    back = [[(teeth - 0.5) * pitch, 0.0], [0.0, 0.0]]
    return rotate(shapely.Polygon([*along, *back]), turn, origin=(0, 0))


def saw(teeth: int, pitch: float, deep: float) -> shapely.Polygon:
    """A lawn of 100 m by what it takes with a saw's edge on two sides."""
    x = 0.5 * pitch * np.arange(2 * teeth + 1)
    edge = np.column_stack([x, deep * (np.arange(2 * teeth + 1) % 2)])
    return shapely.Polygon(np.vstack([edge + np.array([0.0, 100.0]), edge[::-1]]))


def star(rays: int, within: float, out: float) -> shapely.Polygon:
    """A star of so many rays between two circles."""
    turn = np.pi / rays * np.arange(2 * rays)
    radius = np.where(np.arange(2 * rays) % 2 == 0, out, within)
    return shapely.Polygon(np.column_stack([radius * np.cos(turn), radius * np.sin(turn)]))


def spiral(vertices: int, rounds: float, wide: float) -> shapely.Polygon:
    """A path so wide that winds about its middle, as far from itself as it is wide."""
    turn = 2 * np.pi * rounds * np.sqrt(np.linspace(0.01, 1, vertices // 2))
    there = np.column_stack([np.cos(turn), np.sin(turn)])
    radius = (2 * wide * turn / (2 * np.pi))[:, None]
    return shapely.Polygon([*(there * radius), *(there * (radius + wide))[::-1]])


def sliver(long: float, wide: float, turn: float) -> shapely.Polygon:
    """A strip, turned."""
    return rotate(shapely.box(0, 0, long, wide), turn, origin=(0, 0))


def scattered(parts: int, side: float) -> shapely.MultiPolygon:
    """One area of so many squares."""
    across = int(np.ceil(parts**0.5))
    x, y = 3 * side * (np.arange(parts) % across), 3 * side * (np.arange(parts) // across)
    return shapely.multipolygons(shapely.box(x, y, x + side, y + side))


def bomb(folder: Path, size: int = 2 << 30) -> list[str]:
    """A zip of 2 MB with a member of 2 GiB."""
    with (
        zipfile.ZipFile(folder / "lawns.zip", "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("lawns.geojson", "w", force_zip64=True) as member,
    ):
        member.write(b'{"type": "FeatureCollection", "features": [')
        for _ in range(size >> 24):
            member.write(b" " * (1 << 24))
        member.write(b"]}")
    return [str(folder / "lawns.zip")]


def deep(folder: Path, folders: int = 60_000) -> list[str]:
    """A glob over a tree of many folders and no GIS file."""
    for k in range(folders):
        (folder / "tree" / str(k % 10) / str(k % 100) / str(k)).mkdir(parents=True)
    return _bid(folder, "tree/**/*.gpkg")


def layers(folder: Path, count: int = 10_000) -> list[str]:
    """A GeoPackage of so many layers, all meant."""
    lawn = geopandas.GeoDataFrame(geometry=[shapely.box(EAST, NORTH, EAST + 9, NORTH + 9)], crs=UTM)
    path = folder / "lawns.gpkg"
    lawn.to_file(path, layer="l", engine="pyogrio")
    with sqlite3.connect(path, isolation_level=None) as file:
        file.executescript("PRAGMA journal_mode=OFF; BEGIN;")
        for k in range(1, count):
            file.execute(f"CREATE VIEW v{k} AS SELECT * FROM l")
            file.execute(
                "INSERT INTO gpkg_contents SELECT ?,data_type,?,description,last_change,min_x,"
                "min_y,max_x,max_y,srs_id FROM gpkg_contents WHERE table_name='l'",
                (f"v{k}", f"v{k}"),
            )
            file.execute(
                "INSERT INTO gpkg_geometry_columns SELECT ?,column_name,geometry_type_name,srs_id,"
                "z,m FROM gpkg_geometry_columns WHERE table_name='l'",
                (f"v{k}",),
            )
    return _bid(folder, "lawns.gpkg", '\nlayer = "*"')


def recursing(folder: Path) -> list[str]:
    """A GeoPackage whose layer is a view that never ends."""
    layers(folder, 2)
    with sqlite3.connect(folder / "lawns.gpkg") as file:
        file.executescript(
            "DROP VIEW v1; CREATE VIEW v1 AS WITH RECURSIVE n(k) AS (SELECT 1 UNION ALL "
            "SELECT k + 1 FROM n) SELECT n.k AS fid, l.geom AS geom FROM n, l;"
        )
    return _bid(folder, "lawns.gpkg", '\nlayer = "v1"')


def device(folder: Path) -> list[str]:
    """A device as weather table."""
    layer([shapely.box(0, 0, 20, 10)], folder)
    water = '\n[water]\ncover = "cool_season_lawn"\n[water.climate]\nweather = "/dev/zero"\nlatitude = 36.5'
    return _bid(folder, "lawns.gpkg", water)


def fine(folder: Path, step: str) -> list[str]:
    """Fifty lawns in a fine cut step."""
    layer(parcels(50, 5, 1), folder)
    return _bid(folder, "lawns.gpkg", f'\n[layout]\ncut_step = "{step}"')


def _bid(folder: Path, path: str, more: str = "") -> list[str]:
    text = f'name = "large"\n[[layers]]\npath = "{path}"{more}\n'
    (folder / "bid.toml").write_text(text, encoding="utf-8")
    return [str(folder / "bid.toml")]


def _square(km: float) -> Callable[[Path], list[str]]:
    return lambda f: layer([shapely.box(0, 0, 1000 * km, 1000 * km)], f)


def _park(acres: float, vertices: int) -> Callable[[Path], list[str]]:
    return lambda f: layer([park(acres, vertices, 1, 6)], f)


def _degrees(wide: float, high: float) -> Callable[[Path], list[str]]:
    box = shapely.box(-119, 36, -119 + wide, 36 + high)
    return lambda f: layer([box], f, "EPSG:4326", move=False)


CASES: dict[str, Callable[[Path], list[str]]] = {
    "one lawn": lambda f: layer([shapely.box(0, 0, 20, 10)], f),
    "park of 946 acres, 15,934 vertices": _park(946, 15_934),
    "269 parks, 4,807 acres": lambda f: layer(parks(269, 4807, 946, 15_934, 1), f),
    "252 parks, 4,271 acres": lambda f: layer(parks(252, 4271, 700, 9_000, 400), f),
    "911 grounds, 8,889 acres": lambda f: layer(parks(911, 8889, 1200, 3_000, 800), f),
    "9,917 parcels, 15,951 acres": lambda f: layer(parcels(9_917, 15_951, 2), f),
    "square of 2 km": _square(2),
    "square of 3 km": _square(3),
    "square of 5 km": _square(5),
    "square of 10 km": _square(10),
    "100,000 vertices": _park(100, 100_000),
    "1,000,000 vertices": _park(100, 1_000_000),
    "10,000 holes": lambda f: layer([holed(10_000)], f),
    "comb of 200,000 teeth of 1 cm": lambda f: layer([comb(200_000, 0.02, 50)], f),
    "comb of 200,000 teeth of 1 cm, turned": lambda f: layer([comb(200_000, 0.02, 50, 30)], f),
    "comb of 20,000 teeth of 50 cm": lambda f: layer([comb(20_000, 1.0, 10)], f),
    "comb of 1,000 teeth of 5 m": lambda f: layer([comb(1_000, 10.0, 30, 45)], f),
    "comb of 1,200 teeth of 1 m, searched": lambda f: layer([comb(1_200, 2.0, 30)], f),
    "saw of 2 x 50,000 teeth": lambda f: layer([saw(50_000, 0.05, 3)], f),
    "star of 100,000 vertices": lambda f: layer([star(50_000, 100, 300)], f),
    "star of 4,900 vertices": lambda f: layer([star(2_450, 30, 60)], f),
    "spiral of 200,000 vertices": lambda f: layer([spiral(200_000, 20, 5)], f),
    "spiral of 4,900 vertices": lambda f: layer([spiral(4_900, 12, 2)], f),
    "sliver of 10 km x 1 m": lambda f: layer([sliver(10_000, 1, 33)], f),
    "sliver of 10 km x 5 cm": lambda f: layer([sliver(10_000, 0.05, 33)], f),
    "one area of 100,000 parts": lambda f: layer([scattered(100_000, 3)], f),
    "one area of 5,000 parts": lambda f: layer([scattered(5_000, 3)], f),
    "3,000 equal sites": lambda f: layer(
        [translate(shapely.box(0, 0, 12, 9), 40 * (k % 60), 40 * (k // 60)) for k in range(3000)], f
    ),
    "100,000 sites of 1 m2": lambda f: layer(
        [
            shapely.box(3 * (k % 400), y := 3 * (k // 400), 3 * (k % 400) + 1, y + 1)
            for k in range(100_000)
        ],
        f,
    ),
    "0.05 degrees square": _degrees(0.05, 0.05),
    "0.2 degrees square": _degrees(0.2, 0.2),
    "12 x 9 degrees": _degrees(12, 9),
    "zip of 2 MB, 2 GiB inside": bomb,
    "glob over 60,000 folders": deep,
    "10,000 layers": layers,
    "view that recurses": recursing,
    "device as weather": device,
    "50 lawns, cut step 1 in": lambda f: fine(f, "1 in"),
    "50 lawns, cut step 1/4 in": lambda f: fine(f, "1/4 in"),
}


if __name__ == "__main__":
    main()
