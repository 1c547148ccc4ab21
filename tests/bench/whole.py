"""Whole bids drawn at random, each run and written, with both looks at it: the promises of check/
and the audit of the folder. What ends otherwise than sound or refused at the bid is printed.

    python tests/bench/whole.py [first seed] [minutes] [areas a bid]

Shapes and settings of layout, products and cuts are those of fuzz.py; the rest of a bid is drawn
here: where it lies and in which file, neighbours, columns, a second product, roll goods of several
widths, stock, buildings and paving, materials, price, alternates, an estimate, water and what it
has laid. A seed's bid is always the same. The count at the end tells sound bids by what they set.
"""

from __future__ import annotations

import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

import fuzz
import geopandas
import numpy as np
import shapely
from shapely.affinity import translate

import geoturf
from geoturf.bid import make_bid
from geoturf.errors import BidError, InputError

FOOT = 0.3048006096  # US survey foot, in which the state planes below are drawn
PLACES = [  # CRS, where in it, its units a metre
    ("EPSG:26911", 250_000, 4_070_000, 1),
    ("EPSG:2228", 6_352_000, 2_148_000, 1 / FOOT),
    ("EPSG:3857", -13_000_000, 4_100_000, 1.2),
    ("EPSG:32633", 450_000, 5_300_000, 1),
    ("EPSG:5070", -1_500_000, 1_900_000, 1),
    ("EPSG:2272", 2_700_000, 250_000, 1 / FOOT),
    ("EPSG:27700", 400_000, 300_000, 1),
    ("EPSG:26711", 250_000, 4_070_000, 1),
    ("EPSG:4326", -118.2, 34.1, 1 / 102_000),
]
PRICES = ["2.10 USD/ft^2", "1 USD/ft^2", "30 USD/m", "400 USD/roll", "25.5 USD/m^2"]
GOODS = {
    "pile_weight": ["60 oz/yd^2", "75 oz/yd^2"],
    "pets": [True],
    "fixing": ["glue"],
    "infill": ["none", "granules"],
    "pad": [True],
    "base_depth": ["6 in"],
    "more_rolls": [[{"roll_width": "2 m", "roll_lengths": ["20 m"], "price": "20 USD/m^2"}]],
}
REST = {
    "materials": {
        "dig_depth": ["3 in", "0.1 m"],
        "base_depth": ["3 in", "8 in"],
        "soil": ["clay", "sand"],
        "fabric": [False],
        "infill_rate": ["1 lb/ft^2"],
        "caps_per_site": [0, 2],
        "swell": ["20 %"],
        "pool": ["site"],
        "leave_out": [["caps"], ["fabric"], ["infill"], ["odour"], ["dig", "aggregate"]],
        "sod_kill": [True],
        "drain_spacing": ["5 ft"],
        "loader": [True],
        "tape_allowance": ["10 %"],
    },
    "edges": {
        "seam_method": ["nails"],
        "edging_on": [["open"], ["open", "paving"]],
        "field_spacing": ["12 in"],
    },
    "price": {
        "sales_tax": ["0 %", "8.25 %"],
        "overhead": ["15 %"],
        "waste": ["3 %"],
        "bond": ["0 %"],
        "minimum": ["50000 USD"],
        "tax_on_plant": [True],
        "extras": [
            [{"title": "Mobilisation", "price": "500 USD"}],
            [{"title": "Cut fee", "price": "3 USD/roll", "kind": "material"}],
        ],
        "alternates": [
            [{"title": "Deeper", "change": {"materials": {"base_depth": "6 in"}}}],
            [{"title": "Narrow", "change": {"layout": {"cross_seams": "anywhere"}}}],
        ],
    },
}
WATER = {
    "lay": ["all", "chosen"],
    "budget": ["3000 USD", "20000 USD"],
    "horizon": [10, 25],
    "discount_rate": ["0 %", "3 %"],
    "turf_share": ["50 %"],
}
CLIMATE = {
    "station": "nowhere",
    "source": "invented",
    "eto": [f"{one} mm" for one in (25, 43, 86, 124, 168, 196, 211, 183, 132, 81, 38, 20)],
    "rain": [f"{one} mm" for one in (56, 51, 48, 25, 10, 3, 0, 0, 5, 15, 30, 48)],
}
SELDOM = 0.15  # that one of the rest is not its default


def main() -> None:
    seed, minutes, areas = (
        float(one) for one in [*sys.argv[1:], *["1", "5", "6"][len(sys.argv) - 1 :]]
    )
    end, seed, done, kinds = time.monotonic() + 60 * minutes, int(seed), Counter(), Counter()
    while time.monotonic() < end:
        with tempfile.TemporaryDirectory() as folder:
            tables = bid(np.random.default_rng(seed), int(areas), Path(folder))
            ended = whole(tables, Path(folder) / "out")
        told, *lines = ended.splitlines()
        done[told] += 1
        if lines:
            print(f"seed {seed}: {tables}", *lines, sep="\n    ", flush=True)
        if told == "sound":
            kinds.update(set_by(tables))
        seed += 1
    counts = ", ".join(f"{kind}: {count}" for kind, count in sorted(kinds.items()))
    print(f"next seed {seed}; {dict(done)}; sound bids by what they set: {counts}")


def whole(tables: dict, out: Path) -> str:
    """How a bid ends: "sound", "refused", or else in lines what was wrong."""
    try:
        told = geoturf.write(geoturf.run(make_bid(tables)), out, ())
    except BidError:
        return "refused"
    except InputError as refusal:
        return "refused as input\n" + str(refusal)[:200]
    except geoturf.GeoturfError as fault:
        return "fault\n" + "\n".join(finding.line() for finding in fault.findings[:3])
    except Exception:  # whatever it is
        return "fault\n" + traceback.format_exc()[-800:]
    unseen = [one.line() for one in told if one.verdict != "agrees"]
    return "sound" + "".join(f"\nnot looked at: {line}" for line in unseen[:2])


def set_by(tables: dict) -> set[str]:
    """What a bid sets, in words to count."""
    said = {f"units {tables['units']}"}
    for name in ("layout", "cuts", "water", "price"):
        for key, value in tables.get(name, {}).items():
            said.add(f"{name}.{key} = {value}" if isinstance(value, str) else f"{name}.{key}")
    for goods in tables["products"].values():
        said |= {f"sold_by {goods.get('sold_by', 'default')}", *(f"product.{key}" for key in goods)}
    return said


def bid(rng: np.random.Generator, areas: int, folder: Path) -> dict:
    """The tables of a bid, and its files in ``folder``."""
    drawn = fuzz.settings(rng)
    layers = files(rng, areas, folder, products := _products(rng, drawn.pop("products")["turf60"]))
    tables = drawn | {name: some(rng, keys) for name, keys in REST.items()}
    tables |= {"layers": layers, "folder": str(folder), "products": products}
    tables["units"] = str(rng.choice(["us", "metric"]))
    if rng.random() < 0.15:
        tables["layout"]["method"] = "estimate"
    if rng.random() < 0.1:
        tables["cuts"]["stock"] = [{"product": "p0", "width": "13 ft", "length": "40 ft"}]
    if rng.random() < 0.2:
        tables["water"] = {
            "cover": "cool_season_lawn",
            "climate": CLIMATE,
            "price": {"price": "2 USD/m^3"},
        } | some(rng, WATER, 0.4)
    return tables


def some(rng: np.random.Generator, table: dict, often: float = SELDOM) -> dict:
    """Some keys of a table, each with one of its values."""
    return {
        key: values[rng.integers(len(values))]
        for key, values in table.items()
        if rng.random() < often
    }


def _products(rng: np.random.Generator, rolls: dict) -> dict:
    """One product or two, in the rolls drawn or in those of the default."""
    return {
        f"p{k}": {"title": f"Turf {k}", "price": PRICES[rng.integers(len(PRICES))]}
        | (rolls if k == 0 else {})
        | some(rng, GOODS)
        for k in range(rng.integers(1, 3))
    }


def files(rng: np.random.Generator, areas: int, folder: Path, products: dict) -> list[dict]:
    """Lawns and what lies about them, written in one of the CRSs; the bid's layers."""
    lawns = _lawns(rng, areas)
    crs, x, y, scale = PLACES[rng.integers(len(PLACES))]

    def placed(shapes: list[shapely.Geometry]) -> list[shapely.Geometry]:
        return [shapely.transform(shape, lambda xy: xy * scale + (x, y)) for shape in shapes]

    table = geopandas.GeoDataFrame(
        _columns(rng, len(lawns), list(products)), geometry=placed(lawns), crs=crs
    )
    kind = str(rng.choice(["gpkg", "parquet", "shp"]))
    if kind == "parquet":
        table.to_parquet(folder / "lawns.parquet")
    else:
        table.to_file(folder / f"lawns.{kind}", engine="pyogrio")
    layers = [{"path": f"lawns.{kind}"} | some(rng, {"sigma": ["0.1 ft"]}, 0.4)]
    if about := _about(rng, lawns):
        geopandas.GeoDataFrame(geometry=placed(about), crs=crs).to_file(folder / "about.gpkg")
        layers.append({"path": "about.gpkg", "role": str(rng.choice(["building", "paving"]))})
    return layers


def _lawns(rng: np.random.Generator, areas: int) -> list[shapely.Geometry]:
    """Lawns 100 m apart (in metres), some with a neighbour that shares an edge."""
    out = []
    for k, shape in enumerate(one for one in fuzz.shapes(rng, areas) if one.area > 0.3):
        shape = translate(shape, 100 * (k % 10), 100 * (k // 10))
        out.append(shape)
        if rng.random() < 0.2:
            _, low, right, high = shape.bounds
            out.append(shapely.box(right, low, right + rng.uniform(2, 9), high))
    return out


def _columns(rng: np.random.Generator, count: int, products: list[str]) -> dict:
    """Columns of the lawns: whose they are, and what a file may tell of them."""
    site = [str(rng.choice(["A", "B", "C", f"s{k}"])) for k in range(count)]
    phase = {name: str(rng.integers(1, 3)) for name in site}
    free = {
        "phase": [phase[name] for name in site],
        "bearing": [rng.uniform(0, 360) for _ in site],
        "slope_pct": [rng.uniform(0, 30) for _ in site],
        "aspect_deg": [rng.uniform(0, 360) for _ in site],
        "caps": [float(rng.integers(9)) for _ in site],
        "use": [str(rng.choice(["", "pets", "lawn"])) for _ in site],
        "view": [str(rng.choice(["", "v"])) for _ in site],
    }
    kept = {name: values for name, values in free.items() if rng.random() < 0.35}
    product = {"product": [str(rng.choice(products)) for _ in site]} if len(products) > 1 else {}
    return {"site": site, "area": [str(k) for k in range(count)]} | product | kept


def _about(rng: np.random.Generator, lawns: list[shapely.Geometry]) -> list[shapely.Geometry]:
    """Stretches of ground along some of the lawns."""
    out = []
    for lawn in lawns:
        left, low, right, high = lawn.bounds
        half = shapely.box(left - 9, low - 9, left + rng.uniform(0, right - left), high + 9)
        beside = (lawn.buffer(1, join_style="mitre") & half) - shapely.union_all(lawns)
        if rng.random() < 0.4 and beside.geom_type == "Polygon" and not beside.is_empty:
            out.append(beside)
    return out


if __name__ == "__main__":
    main()
