"""Bids drawn at random, shapes and settings, each laid and cut: what ends otherwise than whole or
refused at the bid is printed.

    python tests/bench/fuzz.py [first seed] [minutes] [areas a bid] [plain]

Shapes are house lots, yards and blobs (layout.py) and what lawns rarely are: steps, combs, wedges,
slivers, bent paths, rings. ``plain``: every setting at its default. A seed's bid is always the
same. Stages up to the cut plan are run, and the promises of what is laid, cut and worked looked at;
tests/test_settings.py runs whole bids of fewer.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import geopandas
import layout as bench
import numpy as np
import shapely
from shapely.affinity import rotate, translate

from geoturf import check, pipeline
from geoturf.bid import Bid, make_bid
from geoturf.clock import Clock
from geoturf.engine import Serial
from geoturf.errors import BidError, PromiseError

SETTINGS = {
    "layout": {
        "min_piece_length": ["0 ft", "1 ft", "3 ft", "6 ft", "12 ft", "2.2 m"],
        "min_piece_width": ["0 in", "1 ft", "2 ft", "3 ft", "4 ft"],
        "narrow_strip": ["0 %", "25 %", "40 %", "50 %"],
        "full_strips": ["0 in", "6 in", "2 ft", "10 ft"],
        "cross_seams": ["needed", "corners", "anywhere"],
        "alike": ["plan", "free"],
        "view": ["given", "auto"],
        "cut_step": ["1 in", "0.1 ft", "1 cm", "7 cm", "12 in"],
        "end_allowance": ["0 in", "2 in", "6 in", "1 ft"],
        "side_allowance": ["0 in", "1 in", "3 in"],
        "selvage_trim": ["0 in", "2 cm", "1/2 in", "3 in"],
        "nesting": ["square", "slanted"],
        "seam_cost": ["0 USD/ft", "1 USD/ft", "20 USD/ft"],
        "cross_seam_cost": ["0 USD", "5 USD", "400 USD"],
        "bearing": ["0 deg", "33 deg"],
    },
    "product": {
        "roll_width": ["15 ft", "12 ft", "4 m", "6 ft", "2 m", "13 ft 2 in"],
        "roll_lengths": ["100 ft", "25 m", "33.3 ft", "150 ft", "20 ft"],
        "sold_by": ["length", "roll"],
    },
    "cuts": {
        "cutting": ["yard", "site"],
        "pool": ["phase", "site", "area"],
        "billing_step": ["1 ft", "1 m", "7 in"],
        "divide": [True, False],
        "effort": ["quick", "normal"],
        "least_length": ["3 ft", "10 ft"],
    },
}
OFTEN = 0.4  # that a setting is not its default


def main() -> None:
    given = [one for one in sys.argv[1:] if one != "plain"]
    seed, minutes, count = (float(one) for one in [*given, *["1", "5", "8"][len(given) :]])
    end, seed, done = time.monotonic() + 60 * minutes, int(seed), {"whole": 0, "refused": 0}
    pipeline.stages.Stages._bounds = lambda stages, task: np.zeros((len(task.shapes), 2))
    with tempfile.TemporaryDirectory() as folder:
        while time.monotonic() < end:
            rng = np.random.default_rng(seed)
            tables = {} if "plain" in sys.argv else settings(rng)
            lawns = [shape for shape in shapes(rng, int(count)) if shape.area > 0.3]
            try:
                laid(bid_of(lawns, Path(folder), tables))
                done["whole"] += 1
            except BidError:
                done["refused"] += 1
            except Exception as fault:  # whatever it is
                told = [f.line() for f in getattr(fault, "findings", [])] or [repr(fault)]
                print(f"seed {seed}: {tables}", *told[:3], sep="\n    ", flush=True)
            seed += 1
    print(done)


def settings(rng: np.random.Generator) -> dict:
    """Some keys of each table."""
    made = {
        name: {
            key: values[rng.integers(len(values))]
            for key, values in table.items()
            if rng.random() < OFTEN
        }
        for name, table in SETTINGS.items()
    }
    return {"products": {"turf60": made.pop("product")}, **made}


def shapes(rng: np.random.Generator, count: int) -> list[shapely.Geometry]:
    """Of one kind, or of all the rare ones."""
    seed = int(rng.integers(1_000_000))
    kinds = [bench.lots, bench.yards, lambda n, s: bench.blobs(max(1, n // 6), s, edges=200)]
    row = int(rng.integers(len(kinds) + 2))
    if row < len(kinds):
        return kinds[row](count, seed)
    rare = [steps, comb, wedge, sliver, bent, ring]
    made = [rare[rng.integers(len(rare))](rng) for _ in range(count)]
    return [rotate(one, rng.choice([0, rng.uniform(0, 360)]), origin=(0, 0)) for one in made]


def steps(rng: np.random.Generator) -> shapely.Geometry:
    """L, T, Z, U and others, of whole feet."""
    out = shapely.box(0, 0, *rng.integers(5, 35, 2))
    for _ in range(rng.integers(1, 4)):
        (x, y), (wide, long) = rng.integers(0, 30, 2), rng.integers(2, 35, 2)
        box = shapely.box(x, y, x + wide, y + long)
        out = out - box if rng.random() < 0.3 else out | box
    return shapely.transform(out.buffer(0), lambda xy: 0.3048 * xy)


def comb(rng: np.random.Generator) -> shapely.Geometry:
    out = shapely.box(0, 0, 20, rng.uniform(0.5, 5))
    for x in rng.uniform(0, 18, rng.integers(1, 5)):
        out |= shapely.box(x, 0, x + rng.uniform(0.5, 5), rng.uniform(2, 15))
    return out


def wedge(rng: np.random.Generator) -> shapely.Geometry:
    base = rng.uniform(3, 30)
    tip = rng.uniform(-3, base + 3), rng.uniform(0.5, 20)
    return shapely.Polygon([(0, 0), (base, rng.uniform(-2, 2)), tip]).buffer(0)


def sliver(rng: np.random.Generator) -> shapely.Geometry:
    return shapely.box(0, 0, rng.uniform(0.1, 3), rng.uniform(0.5, 40))


def bent(rng: np.random.Generator) -> shapely.Geometry:
    middle = shapely.LineString(np.cumsum(rng.normal(0, 7, (rng.integers(2, 6), 2)), axis=0))
    return middle.buffer(rng.uniform(0.3, 4), cap_style="flat", join_style="mitre", quad_segs=2)


def ring(rng: np.random.Generator) -> shapely.Geometry:
    outer = shapely.Point(0, 0).buffer(rng.uniform(3, 15), quad_segs=int(rng.integers(1, 9)))
    return outer - shapely.Point(rng.uniform(-2, 2, 2)).buffer(rng.uniform(0.5, 8), quad_segs=2)


def bid_of(lawns: list[shapely.Geometry], folder: Path, tables: dict) -> Bid:
    """A bid for the lawns, 100 m apart, each a site."""
    at = [
        translate(shape, 250_000 + 100 * (k % 40), 4_070_000 + 100 * (k // 40))
        for k, shape in enumerate(lawns)
    ]
    table = geopandas.GeoDataFrame(
        {"site": [f"L{k:04d}" for k in range(len(at))]}, geometry=at, crs="EPSG:26911"
    )
    table.to_file(folder / "lawns.gpkg", engine="pyogrio")
    return make_bid({"layers": [{"path": "lawns.gpkg"}], "folder": str(folder)} | tables)


def laid(bid: Bid) -> None:
    """The bid up to its price, and what is laid and cut looked at again. Raises where either
    fails."""
    source, land = pipeline._measured(bid, Clock(None))
    made = pipeline.stages.Stages(source, Serial(), Clock(None), each=False).priced(bid, land)
    laying = (*check.laying.ON_GROUND, *check.laying.PROMISES)
    looks = (*laying, *check.lawns.PROMISES, *check.alike.PROMISES)
    looks += (*check.rolling.PROMISES, *check.working.PROMISES)
    broken = [finding for look in looks for finding in look(made)]
    if broken:
        raise PromiseError(broken)


if __name__ == "__main__":
    main()
