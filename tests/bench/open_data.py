"""Benchmark on open city data: laid and estimated, beside an equal-area projection and the proven
bound.

    python tests/bench/open_data.py

``bubenec`` of the package momepy (BSD-3-Clause; a test extra of geoturf's, nothing is fetched by
this script): plots and buildings in Bubeneč, Prague. Buildings by OpenStreetMap contributors, ODbL;
plots by ČÚZK, the Czech cadastre (both from memory: the package does not say). Turf on plots less
their buildings, and on the outlines of the buildings themselves, as shapes that nobody invented;
the estimate was fitted on neither. Ground is measured a second way in EPSG:3035 (Lambert azimuthal
equal area).
"""

from __future__ import annotations

import time

import geopandas
from momepy.datasets import get_path

import geoturf
from geoturf.model import Result

PATH = get_path("bubenec")
PLOTS = {"path": PATH, "layer": "plots", "role": "parcel"}
BUILT = {"path": PATH, "layer": "buildings", "role": "building"}
LAWNS = {"path": PATH, "layer": "buildings", "role": "turf"}
BIDS = {"plots less buildings": [PLOTS, BUILT], "building outlines": [LAWNS]}


def run(layers: list[dict[str, str]], method: str) -> tuple[Result, float]:
    """The result, and the seconds of processor it took."""
    given = {"layers": layers, "parcels": {"split": False}, "layout": {"method": method}}
    started = time.process_time()
    result = geoturf.run(geoturf.make_bid(given | {"units": "metric"}))
    return result, time.process_time() - started


def equal_area_m2(layers: list[dict[str, str]], result: Result) -> tuple[float, float]:
    """Ground as it is measured, with what was taken off it, and as EPSG:3035 has it."""
    table = geopandas.read_file(PATH, layer=layers[0]["layer"]).to_crs("EPSG:3035")
    taken = result.ground.taken["area_m2"].sum()
    return result.ground.areas["ground_area_m2"].sum() + taken, table.area.sum()


def row(name: str, layers: list[dict[str, str]]) -> str:
    (laid, slow), (told, quick) = (run(layers, method) for method in ("lay", "estimate"))
    ours, theirs = equal_area_m2(layers, laid)
    bought, guess = (one.plan.pools["bought_m2"].sum() for one in (laid, told))
    ground = laid.ground.areas["ground_area_m2"].sum()
    over = 100 * (bought / laid.plan.pools["bound_m2"].sum() - 1)
    sigma = 100 * told.plan.pools["sigma_m2"].sum() / guess
    off, waste = 100 * (guess / bought - 1), 100 * (bought / ground - 1)
    apart = f"{1e6 * (ours / theirs - 1):+.1f}"
    figures = f"{apart} | {waste:.1f} | {over:.1f} | {off:+.2f} | {sigma:.2f}"
    return f"| {name} | {len(laid.ground.areas)} | {figures} | {slow:.1f} | {quick:.1f} |"


def main() -> None:
    print(
        "| areas of | areas | ground, ppm | waste, % | over bound, % | estimate off, % | its "
        "sigma, % |",
        end="",
    )
    print(" laid, processor s | estimated |")
    print("|---" * 9 + "|")
    for name, layers in BIDS.items():
        print(row(name, layers), flush=True)


if __name__ == "__main__":
    main()
