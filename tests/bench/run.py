"""Benchmark of a whole run, each in a fresh process: seconds, peak memory, and what ``--help``
costs.

    python tests/bench/run.py

The development of sample_gis, then 200 to 2,000 generated house lots, all different
(tests/bench/layout.py), in phases of 50. Times are wall-clock and include the interpreter's start
and all writing; memory is the largest process of the run.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas
from layout import lots
from shapely.affinity import translate

ROOT = Path(__file__).parents[2]
STAGES = (
    "read",
    "ground",
    "edges",
    "layout",
    "cuts",
    "bound",
    "materials",
    "price",
    "lot by lot",
    "alternates",
    "check",
)
GEOTURF = [sys.executable, "-m", "geoturf"]


def main() -> None:
    print(f"geoturf --help: {help_ratio():.1f} times a bare interpreter (median of 30 pairs)\n")
    print("| bid | areas | seconds | ms an area | peak MB | " + " | ".join(STAGES) + " |")
    print("|" + "---|" * (5 + len(STAGES)))
    with tempfile.TemporaryDirectory() as folder:
        timed(
            ROOT / "sample_gis" / "development.toml", Path(folder) / "warm"
        )  # compiles the kernel where it is not yet
        print(row("development", ROOT / "sample_gis" / "development.toml", Path(folder)))
        for count in (200, 500, 1000, 2000):
            print(
                row("lots, all different", lots_bid(count, Path(folder)), Path(folder)), flush=True
            )


def help_ratio() -> float:
    def took(*command: str) -> float:
        start = time.perf_counter()
        subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
        return time.perf_counter() - start

    ours = str(Path(sys.executable).with_name("geoturf"))
    return statistics.median(
        took(ours, "--help") / took(sys.executable, "-c", "pass") for _ in range(30)
    )


def lots_bid(count: int, folder: Path) -> Path:
    """A bid file for ``count`` lots 60 m apart."""
    shapes = [translate(lot, 60 * (k % 50), 60 * (k // 50)) for k, lot in enumerate(lots(count))]
    table = geopandas.GeoDataFrame(
        {
            "site": [f"L{k:04d}" for k in range(count)],
            "phase": [str(k // 50 + 1) for k in range(count)],
        },
        geometry=[translate(shape, 250_000, 4_070_000) for shape in shapes],
        crs="EPSG:26911",
    )
    table.to_file(folder / f"lots{count}.gpkg", engine="pyogrio")
    bid = folder / f"lots{count}.toml"
    bid.write_text(
        f'name = "{count} lots"\n[[layers]]\npath = "lots{count}.gpkg"\n', encoding="utf-8"
    )
    return bid


def row(name: str, bid: Path, folder: Path) -> str:
    seconds, megabytes, run = timed(bid, folder / f"out_{bid.stem}")
    areas = run["counts"]["areas"]
    parts = " | ".join(f"{run['seconds'][stage]:.2f}" for stage in STAGES)
    return (
        f"| {name} | {areas:,} | {seconds:.1f} | {1000 * seconds / areas:.0f} | "
        f"{megabytes:.0f} "
        f"| {parts} |"
    )


def timed(bid: Path, out: Path) -> tuple[float, float, dict]:
    """Wall seconds, peak memory (MB) and run.json of one run in a fresh process."""
    start = time.perf_counter()
    child = subprocess.Popen([*GEOTURF, "run", str(bid), "--out", str(out), "--quiet"])
    _, status, usage = os.wait4(child.pid, 0)
    if status:
        raise SystemExit(f"{bid.name}: the run failed")
    seconds = time.perf_counter() - start
    peak = usage.ru_maxrss / (
        1024 if sys.platform == "linux" else 1024**2
    )  # the largest of it and its workers
    return seconds, peak, json.loads((out / "run.json").read_text(encoding="utf-8"))


if __name__ == "__main__":
    main()
