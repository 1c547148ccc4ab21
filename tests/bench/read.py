"""How fast and how lean reading is, against the bare bulk reader: 100,000 polygons of ten corners
in each format.

    python tests/bench/read.py [folder for scratch files]

Prints a row a format: seconds of `pyogrio.read_dataframe(use_arrow=True)` and of
`geoturf.read.read` (medians of rounds taken in turn, each first as often as second, garbage
collected before each), their ratio and that of the best rounds, and the peak memory of each (fresh
processes) beside what the bare table keeps once it is read.
"""

from __future__ import annotations

import gc
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pyogrio
import shapely

from geoturf.bid import Bid, make_bid
from geoturf.read import read

N, CORNERS, ROUNDS = 100_000, 10, 12
FORMATS = ("gpkg", "shp", "fgb", "geojson", "parquet")


def lawns(n: int = N) -> geopandas.GeoDataFrame:
    """Star-shaped lawns on a plain, none like another."""
    chance = np.random.default_rng(7)
    turn = np.linspace(0, 2 * np.pi, CORNERS, endpoint=False)
    reach = chance.uniform(20, 40, (n, CORNERS))
    x = chance.uniform(2.0e6, 2.1e6, (n, 1)) + reach * np.cos(turn)
    y = chance.uniform(2.0e5, 3.0e5, (n, 1)) + reach * np.sin(turn)
    columns = {
        "site": [f"S{k // 2:06d}" for k in range(n)],
        "area": [str(k % 2 + 1) for k in range(n)],
        "phase": [str(k // 20_000 + 1) for k in range(n)],
        "slope_pct": chance.uniform(0, 9, n).round(1),
    }
    return geopandas.GeoDataFrame(
        columns, geometry=shapely.polygons(np.stack([x, y], -1)), crs=2272
    )


def write(table: geopandas.GeoDataFrame, folder: Path) -> None:
    for suffix in FORMATS:
        path = folder / f"lawns.{suffix}"
        if suffix == "parquet":
            table.to_parquet(path)
        else:
            pyogrio.write_dataframe(table.to_crs(4326) if suffix == "geojson" else table, path)


def bare(path: Path) -> object:
    return (
        geopandas.read_parquet(path)
        if path.suffix == ".parquet"
        else pyogrio.read_dataframe(path, use_arrow=True)
    )


def ours(path: Path) -> object:
    return read(bid_of(path))


def bid_of(path: Path) -> Bid:
    return make_bid({"layers": [{"path": path.name}], "folder": str(path.parent)})


def seconds(work: Callable[[Any], object], given: Any) -> float:
    gc.collect()
    start = time.perf_counter()
    work(given)
    return time.perf_counter() - start


def memory_mb(which: str, path: Path) -> float:
    """Of a fresh process that reads the file: most memory held (``bare``, ``ours``), or held at the
    end (``table``)."""
    out = subprocess.run(
        [sys.executable, __file__, which, str(path)], capture_output=True, text=True, check=True
    )
    return float(out.stdout)


def held_mb(mark: str) -> float:
    """What Linux says of this process: VmHWM, the most it has held; VmRSS, what it holds."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.split(f"{mark}:")[1].split()[0]) / 1024


def main(folder: Path) -> None:
    table = lawns()
    write(table, folder)
    print(f"{N:,} polygons of {CORNERS} corners")
    print("format    bare s  ours s  ratio  of best  table MB  bare peak  ours peak")
    for suffix in FORMATS:
        path = folder / f"lawns.{suffix}"
        bare(path), ours(path)
        bid = bid_of(path)
        took: dict[str, list[float]] = {"bare": [], "ours": []}
        for k in range(ROUNDS):
            turns = [("bare", bare, path), ("ours", read, bid)]
            for name, work, given in turns if k % 2 else turns[::-1]:
                took[name].append(seconds(work, given))
        a, b = (statistics.median(times) for times in took.values())
        best = min(took["ours"]) / min(took["bare"])
        memory = [memory_mb(which, path) for which in ("table", "bare", "ours")]
        print(
            f"{suffix:8s} {a:7.3f} {b:7.3f} {b / a:6.2f} {best:8.2f} {memory[0]:9.0f} "
            f"{memory[1]:10.0f} {memory[2]:10.0f}"
        )


if __name__ == "__main__":
    if sys.argv[1:2] in (["bare"], ["ours"], ["table"]):
        mark = "VmRSS" if sys.argv[1] == "table" else "VmHWM"
        before = held_mb(mark)
        kept = (ours if sys.argv[1] == "ours" else bare)(Path(sys.argv[2]))
        print(held_mb(mark) - before)
    elif len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as scratch:
            main(Path(scratch))
