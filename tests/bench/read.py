"""How fast and how lean reading is, against the bare bulk reader: 100,000 polygons of ten corners in each format.

    python tests/bench/read.py [folder for scratch files]

Prints a row a format: seconds of `pyogrio.read_dataframe(use_arrow=True)` and of `geoturf.read.read` (best of five each,
taken in turn), their ratio, and the peak memory of each over the size of the GeoDataFrame (fresh processes).
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import shapely

from geoturf.bid import make_bid
from geoturf.read import read

N, CORNERS, ROUNDS = 100_000, 10, 5
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
    return geopandas.GeoDataFrame(columns, geometry=shapely.polygons(np.stack([x, y], -1)), crs=2272)


def write(table: geopandas.GeoDataFrame, folder: Path) -> None:
    for suffix in FORMATS:
        path = folder / f"lawns.{suffix}"
        if suffix == "parquet":
            table.to_parquet(path)
        else:
            pyogrio.write_dataframe(table.to_crs(4326) if suffix == "geojson" else table, path)


def bare(path: Path) -> object:
    return geopandas.read_parquet(path) if path.suffix == ".parquet" else pyogrio.read_dataframe(path, use_arrow=True)


def ours(path: Path) -> object:
    return read(make_bid({"layers": [{"path": path.name}], "folder": str(path.parent)}))


def best(work: object, path: Path) -> float:
    start = time.perf_counter()
    work(path)  # type: ignore[operator]
    return time.perf_counter() - start


def peak_mb(which: str, path: Path) -> float:
    """Peak memory of a fresh process that reads the file, over one that reads nothing."""
    out = subprocess.run([sys.executable, __file__, which, str(path)], capture_output=True, text=True, check=True)
    return float(out.stdout)


def most_memory_mb() -> float:
    """The most memory this process has held (Linux)."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def main(folder: Path) -> None:
    table = lawns()
    write(table, folder)
    held = table.memory_usage(deep=True).sum() / 1e6 + shapely.get_num_coordinates(table.geometry).sum() * 16 / 1e6
    print(f"{N:,} polygons of {CORNERS} corners; the table itself {held:.0f} MB")
    print("format    bare s  ours s  ratio  bare MB  ours MB")
    for suffix in FORMATS:
        path = folder / f"lawns.{suffix}"
        bare(path), ours(path)
        rounds = [(best(bare, path), best(ours, path)) for _ in range(ROUNDS)]
        a, b = (min(times) for times in zip(*rounds, strict=True))
        print(f"{suffix:8s} {a:7.3f} {b:7.3f} {b / a:6.2f} {peak_mb('bare', path):8.0f} {peak_mb('ours', path):8.0f}")


if __name__ == "__main__":
    if sys.argv[1:2] in (["bare"], ["ours"]):
        before = most_memory_mb()
        kept = globals()[sys.argv[1]](Path(sys.argv[2]))
        print(most_memory_mb() - before)
    elif len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        with tempfile.TemporaryDirectory() as scratch:
            main(Path(scratch))
