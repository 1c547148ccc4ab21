"""Benchmark of the map: size of the page, and the time to make it, to load it and to draw it anew,
in headless Chromium.

    python tests/bench/maps.py [areas]

House lots of the roll layout's benchmark (some 33 edges) with strips 4.5 m wide; on every other lot
the edges are of two kinds, so that their runs are sent beside the borders. "Load" ends when the
first picture has been drawn.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import shapely
from playwright.sync_api import sync_playwright

from geoturf import maps

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parent)]
from hand_made import made  # noqa: E402
from layout import lots  # noqa: E402

QUIET = (
    "--no-sandbox --disable-gpu --disable-background-networking --disable-component-update "
    "--disable-sync"
)


def main(areas: int = 10_000) -> None:
    few = lots(min(areas, 500))
    shapes = np.array([few[k % len(few)] for k in range(areas)], dtype=object)
    result = made([f"Lot {k:05d}" for k in range(areas // 2)], shapes=shapes)
    start = time.perf_counter()
    page = maps.page(result, "us")
    making = time.perf_counter() - start
    print(
        f"{areas:,} areas, {shapely.get_num_coordinates(shapes).sum():,} vertices, "
        f"{len(result.plan.pieces):,} pieces"
    )
    print(f"page {len(page) / 1e6:.2f} MB, made in {making:.2f} s")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "map.html"
        file.write_text(page, encoding="utf-8")
        browse(file)


def browse(file: Path) -> None:
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=shutil.which("chromium"), args=QUIET.split()
        )
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.goto("about:blank")
        start = time.perf_counter()
        page.goto(file.as_uri())
        page.wait_for_function("geoturf.drawing.drawn")
        page.evaluate("new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")
        print(f"load {time.perf_counter() - start:.2f} s, whole bid in view")
        for name, script in {
            "whole bid drawn anew": "1",
            "zoomed in twofold twice": "map_geoturf.setZoom(map_geoturf.getZoom() + 2, {animate: "
            "false})",
            "one site with pieces": "map_geoturf.setZoom(20, {animate: false})",
        }.items():
            page.evaluate(script)
            spent = page.evaluate(
                """(() => {
                  const start = performance.now();
                  geoturf.drawing.redraw();
                  geoturf.drawing._canvas.getContext("2d").getImageData(0, 0, 1, 1); // waits for the drawing
                  return performance.now() - start;
                })()"""
            )
            print(f"{name}: {spent:.0f} ms")
        browser.close()


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
