"""Benchmark of a city: parcels with houses and paving, estimated whole.

    python tests/bench/city.py [parcels ...] [--keep DIR]

An invented city on a grid of blocks, all lots different: lawns are derived from parcels, measured,
priced and their water compared, and every output written. Each run is a process of its own; memory
is that of the largest of its processes. ``--keep`` leaves input and report in a folder.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas
import numpy as np
import shapely

UTM = "EPSG:26911"
EAST, NORTH = 250_000.0, 4_070_000.0
LOTS = 20  # of a block, in two rows back to back
STREET_M, DEEP_M = 16.0, 34.0
COVERS = ("cool_season_lawn", "warm_season_lawn")

BID = """\
name = "City"
[[layers]]
path = "city.gpkg"
layer = "parcels"
role = "parcel"
[layers.columns]
site = "APN"
district = "WARD"
cover = "COVER"
irrigation = "IRR"
[[layers]]
path = "city.gpkg"
layer = "buildings"
role = "building"
[[layers]]
path = "city.gpkg"
layer = "paving"
role = "paving"
[parcels]
split = false
[layout]
method = "estimate"
[water]
budget = "{budget} USD"
lay = "all"
[water.climate]
station = "invented"
source = "invented for this benchmark"
eto = ["1.0 in", "1.7 in", "3.4 in", "4.9 in", "6.6 in", "7.7 in", "8.3 in", "7.2 in", "5.2 in", "3.3 in", "1.5 in", "0.8 in"]
rain = ["2.2 in", "2.0 in", "1.9 in", "1.0 in", "0.4 in", "0.1 in", "0 in", "0 in", "0.2 in", "0.6 in", "1.2 in", "1.9 in"]
[water.price]
price = "5.60 USD/HCF"
"""


def city(count: int, seed: int = 1) -> dict[str, geopandas.GeoDataFrame]:
    """Layers parcels, buildings and paving of so many lots."""
    rng = np.random.default_rng(seed)
    lot, block = np.arange(count) % LOTS, np.arange(count) // LOTS
    across = int(np.ceil((count / LOTS) ** 0.5 * 0.6)) or 1
    wide = rng.uniform(16, 26, count)
    row, place = lot // (LOTS // 2), lot % (LOTS // 2)
    run = np.cumsum(wide) - wide
    first = np.minimum.reduceat(run, np.flatnonzero(place == 0))[np.cumsum(place == 0) - 1]
    x = run - first + (block % across) * (26 * LOTS // 2 + STREET_M)
    y = (block // across) * (2 * DEEP_M + STREET_M) + row * DEEP_M
    up = np.where(row == 0, 1.0, -1.0)  # the street lies below or above
    base = np.where(row == 0, y, y + DEEP_M)

    def boxes(x0, y0, x1, y1):
        """Boxes by metres from a lot's corner at its street, inwards."""
        return _places(x + x0, base + up * y0, x + x1, base + up * y1)

    zero = np.zeros(count)
    parcels = boxes(zero, zero, wide, zero + DEEP_M)
    left, right, front = rng.uniform([[1.5], [1.5], [5.5]], [[3.0], [3.0], [7.0]], (3, count))
    deep = rng.uniform(9, 14, count)
    notch = rng.uniform(0.3, 0.5, count) * (wide - left - right)
    houses = boxes(left, front, wide - right, front + deep)
    wings = boxes(left, front + deep - 0.1, left + notch, front + deep + rng.uniform(1, 4, count))
    houses = shapely.union(houses, wings)
    drives = boxes(wide - right - rng.uniform(3, 6, count), zero - 0.5, wide - right, front + 0.1)
    door = left + notch
    walks = boxes(door, front - 1.2, wide - right - 2.5, front + 0.05)
    back = left + notch, front + deep
    long, far = rng.uniform(3, 5, count), rng.uniform(2, 4, count)
    patios = boxes(back[0] + 0.5, back[1] - 0.05, back[0] + long, back[1] + far)
    names = {
        "APN": [f"A{k:07d}" for k in range(count)],
        "WARD": (1 + block * 8 // (block.max() + 1)).astype(str),
        "COVER": np.array(COVERS)[(rng.random(count) < 0.3).astype(int)],
        "IRR": np.where(rng.random(count) < 0.8, "spray", "rotor"),
    }
    return {
        "parcels": geopandas.GeoDataFrame(names, geometry=parcels, crs=UTM),
        "buildings": geopandas.GeoDataFrame(geometry=houses, crs=UTM),
        "paving": geopandas.GeoDataFrame(geometry=np.concatenate([drives, walks, patios]), crs=UTM),
    }


def _places(x0, y0, x1, y1):
    low, high = np.minimum(y0, y1), np.maximum(y0, y1)
    return shapely.box(EAST + x0, NORTH + low, EAST + x1, NORTH + high)


def write(count: int, folder: Path) -> Path:
    """The city's bid and its layers in a folder."""
    for name, layer in city(count).items():
        layer.to_file(folder / "city.gpkg", layer=name, engine="pyogrio")
    text = BID.format(budget=2000 * count)
    (folder / "city.toml").write_text(text, encoding="utf-8")
    return folder / "city.toml"


def row(count: int, folder: Path) -> str:
    """A line of the table, and the stages' seconds."""
    bid = write(count, folder)
    command = [sys.executable, "-m", "geoturf", "run", str(bid), "--out", str(folder / "out")]
    started = time.perf_counter()
    run = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    _, code, used = os.wait4(run.pid, 0)
    took = time.perf_counter() - started
    cpu, peak = used.ru_utime + used.ru_stime, used.ru_maxrss / 1024
    status = os.waitstatus_to_exitcode(code)
    size = (folder / "out" / "map.html").stat().st_size / 1e6 if status == 0 else 0.0
    load = os.getloadavg()[0]
    used_up = f"{took:.0f} | {cpu:.0f} | {1e6 * cpu / count:,.0f} | {peak:,.0f}"
    cells = f"| {count:,} | {used_up} | {size:.1f} | {status} | {load:.1f} |"
    if status == 0:
        seconds = json.loads((folder / "out" / "run.json").read_text())["seconds"]
        cells += " " + ", ".join(f"{name} {took:.1f}" for name, took in seconds.items())
    return cells


def main() -> None:
    arguments = argparse.ArgumentParser()
    arguments.add_argument("parcels", nargs="*", type=int, default=[1_000, 10_000, 100_000])
    arguments.add_argument("--keep")
    asked = arguments.parse_args()
    print("| parcels | s | processor s | µs a parcel | peak MB | map MB | status | load | stages |")
    print("|---" * 9 + "|")
    for count in asked.parcels:
        if asked.keep:
            folder = Path(asked.keep) / str(count)
            folder.mkdir(parents=True, exist_ok=True)
            (folder / "city.gpkg").unlink(missing_ok=True)
            print(row(count, folder), flush=True)
            continue
        with tempfile.TemporaryDirectory() as folder:
            print(row(count, Path(folder)), flush=True)


if __name__ == "__main__":
    main()
