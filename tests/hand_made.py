"""A small finished result made by hand, no stage run, for the map's tests and benchmark; and texts
that mean harm."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import numpy as np
import pandas as pd
import shapely

from geoturf import model
from geoturf.bid import make_bid

HOSTILE = (
    "</script><script>alert(1)</script>",
    "{{ 7*7 }}",
    "{% raw",
    "50% off {%",
    "=cmd|' /C calc'!A0",
    "\"quotes\" 'and' `backticks` ${7*7}",
    "<!-- <b>&amp;",
    "emoji \U0001f33f\U0001f9ea",
    "\u05d0\u05d1\u05d2 \u202e reversed",
    "line\u2028and\u2029paragraph",
    "lone \ud800 surrogate",
    "<img src=x onerror=alert(1)>",
)
L_SHAPE = [(0, 0), (12, 0), (12, 6), (6, 6), (6, 12), (0, 12)]
STRIP_M = 4.5
ROW = 50  # sites in a row


def made(
    sites: list[str],
    left_out: int = 0,
    units: str = "us",
    water: model.Water | None = None,
    shapes: np.ndarray | None = None,
    **bid,
) -> model.Result:
    """A result with two areas a site, in rows of sites 40 m apart: an L of 108 m2 in front and,
    north of it, a square of 36 m2 with a hole of 4 m2; pile to the east in the one and to the north
    in the other. Other ``shapes``, two a site, by wish."""
    count = 2 * len(sites)
    ring = shapely.Polygon(
        [(0, 16), (6, 16), (6, 22), (0, 22)], [[(2, 18), (2, 20), (4, 20), (4, 18)]]
    )
    if shapes is None:
        shapes = np.array([shapely.Polygon(L_SHAPE), ring] * len(sites), dtype=object)
    place = 40.0 * np.column_stack([np.arange(count) // 2 % ROW, np.arange(count) // 2 // ROW])
    points = shapely.get_coordinates(shapes) + np.repeat(
        place, shapely.get_num_coordinates(shapes), axis=0
    )
    shapes = shapely.set_coordinates(shapes.copy(), points)
    areas = _areas(sites, shapes)
    edges = _edges(shapes)
    plan = _plan(areas, shapes)
    names = list(dict.fromkeys(sites))
    price = model.Price(
        lines=pd.DataFrame(),
        sites=pd.DataFrame(
            {
                "site": names,
                "cost": Decimal("900.10"),
                "price": [Decimal(1000 + 7 * k) for k in range(len(names))],
            }
        ),
        totals={"cost": Decimal("900.10"), "price": Decimal("123456.70")},
        schedule=pd.DataFrame(),
        areas=pd.DataFrame(
            {"cost": Decimal("9.5"), "price": [Decimal(600 + 5 * k) for k in range(count)]}
        ),
        build_up=pd.DataFrame(),
        phases=pd.DataFrame(),
        alternates=pd.DataFrame(),
        borne=pd.DataFrame(),
        loads=pd.DataFrame(),
        schedule_of_prices=pd.DataFrame(),
    )
    frames = model.Frames(
        np.array([-75.1]), np.array([40.2]), np.array([0.0]), np.array([0]), ("EPSG:4326",)
    )
    findings = (
        model.Finding("note", "a-note", "a note", file="lots.shp"),
        model.Finding("error", "no-crs", "has no CRS; state one", file="other.shp", site=sites[0]),
    )
    return model.Result(
        bid=make_bid(
            {"name": f"Bid of {sites[0]}", "units": units, "layers": [{"path": "lots.shp"}]} | bid
        ),
        source=model.Source((), findings, (), left_out),
        ground=model.Ground(areas, _context(), pd.DataFrame(), frames, "EPSG:4326"),
        edges=edges,
        choices=(),
        plan=plan,
        takeoff=model.Takeoff(
            pd.DataFrame(),
            pd.DataFrame({"seam_fasteners": np.zeros(count, dtype=int)}),
            cautions=("Call 811 before you dig.", "Silica dust: see 29 CFR 1926.1153."),
        ),
        price=price,
        calendar=model.Calendar(pd.DataFrame(), pd.DataFrame(), 0, None, pd.DataFrame()),
        water=water,
        findings=findings,
        seconds={},
    )


def _areas(sites: list[str], shapes: np.ndarray) -> pd.DataFrame:
    count = len(shapes)
    square = shapely.area(shapes)
    table = pd.DataFrame(
        {"site": np.repeat(sites, 2), "area": ["front", "back"] * len(sites)}, dtype=object
    )
    table["phase"] = [f"phase {1 + k // 8 % 3}" for k in range(count)]
    table["product"] = ["turf60", "turf80"] * len(sites)
    for name in ("use", "view", "cover", "irrigation", "district", "model", "layer"):
        table[name] = ""
    table["file"], table["feature"] = "lots.shp", [str(k) for k in range(count)]
    table["frame"], table["geometry"], table["laid"] = 0, shapes, shapes
    for name in ("slope_pct", "aspect_deg", "elevation_m", "caps"):
        table[name] = np.nan
    table["laid_stretch"], table["laid_fall_deg"] = 1.0, np.nan
    table["sigma_m"], table["pile_bearing_deg"] = 0.0, [90.0, 0.0] * len(sites)
    for name in ("plan_area_m2", "ground_area_m2", "surface_area_m2"):
        table[name] = square
    table["area_tolerance_m2"], table["perimeter_m"] = 0.0, shapely.length(shapes)
    return table


def _edges(shapes: np.ndarray) -> model.Edges:
    """Areas of even rows: the first side of each ring on paving, the rest open. The others: open
    all round."""
    rows = []
    for k, shape in enumerate(shapes):
        for ring in shapely.get_rings(shapely.get_parts(shape)):
            points = shapely.get_coordinates(ring)
            if k % 2:
                rows.append((k, "open", -1, True, ring.length, shapely.LineString(points)))
                continue
            for kind, part in (("paving", points[:2]), ("open", points[1:])):
                line = shapely.LineString(part)
                rows.append((k, kind, -1, False, line.length, line))
    runs = pd.DataFrame(
        rows, columns=["area_index", "kind", "neighbour", "closed", "length_m", "geometry"]
    )
    totals = pd.DataFrame(index=range(len(shapes)))
    for kind in ("paving", "building", "shared", "open"):
        mine = runs[runs["kind"] == kind].groupby("area_index")["length_m"].sum()
        totals[f"edge_{kind}_m"] = mine.reindex(totals.index, fill_value=0.0)
    totals["perimeter_fasteners"], totals["field_fasteners"], totals["fastened_m"] = 100, 50, 40.0
    return model.Edges(runs, totals)


def _plan(areas: pd.DataFrame, shapes: np.ndarray) -> model.CutPlan:
    """Strips of 4.5 m across the pile, over each area's bounds."""
    pieces, seams = [], []
    for k, shape in enumerate(shapes):
        x0, y0, x1, y1 = shape.bounds
        bearing = areas["pile_bearing_deg"][k]
        u0, u1, v0, v1 = (x0, x1, -y1, -y0) if bearing == 90 else (y0, y1, x0, x1)
        cuts = [*np.arange(v0, v1 - 1e-9, STRIP_M), v1]
        for j, (low, high) in enumerate(pairwise(cuts)):
            pieces.append(
                (
                    k,
                    u0,
                    u1,
                    low,
                    high,
                    bearing,
                    f"R{1 + len(pieces) // 6:04d}",
                    u1 - u0 + 0.15,
                    high - low,
                )
            )
            if j:
                seams.append((k, "seam", u0, low, u1, low, bearing, u1 - u0))
    columns = ["area_index", "u0", "u1", "v0", "v1", "bearing_deg", "roll", "length_m", "width_m"]
    table = pd.DataFrame(pieces, columns=columns)
    table.insert(0, "piece", [f"P{k + 1:05d}" for k in range(len(table))])
    table["along_m"], table["across_m"] = 1.5, 0.25
    number = table.groupby("area_index").size().to_numpy()
    bought = table["length_m"].groupby(table["area_index"]).sum().to_numpy() * 4.572
    seam = pd.DataFrame(
        seams, columns=["area_index", "kind", "u0", "v0", "u1", "v1", "bearing_deg", "length_m"]
    )
    chosen = pd.DataFrame(
        {"pile_bearing_deg": areas["pile_bearing_deg"], "pieces": number, "turf_bought_m2": bought}
    )
    chosen["seam_m"] = (
        seam.groupby("area_index")["length_m"].sum().reindex(chosen.index, fill_value=0.0)
    )
    chosen["cross_seams"], chosen["free_cost_ratio"] = 0, 1.0
    chosen["piece_area_m2"] = bought
    pool = {
        "pool": "phase 1",
        "phase": "1",
        "product": "turf60",
        "pieces": len(table),
        "rolls": 3,
        "status": "proven",
    }
    pool |= {
        "bought_m2": bought.sum(),
        "needed_m2": 100.0,
        "bound_m2": 0.9 * bought.sum(),
        "strip_bound_m2": 0.95 * bought.sum(),
        "cut_bound_m2": bought.sum(),
    }
    pools = pd.DataFrame([pool | {"by_hand_m2": 1.2 * bought.sum()}])
    rolls = pd.DataFrame({"roll": table["roll"].unique()})
    return model.CutPlan(table, rolls, pools, pd.DataFrame(), chosen, seam)


def water_of(count: int) -> model.Water:
    """Two conversions on offer to each of ``count`` areas but the last; the first area's second one
    is chosen."""
    rows = pd.DataFrame({"area_index": np.repeat(np.arange(count - 1), 2)})
    rows["site"], rows["area"] = "a", "front"
    rows["conversion"] = ["turf", "plants"] * (count - 1)
    rows["title"] = ["Synthetic turf", "Low-water planting"] * (count - 1)
    rows["baseline_m3"], rows["use_m3"], rows["saved_m3"] = 100.0, 40.0, 60.0
    rows["capital"], rows["rebate"], rows["payback_years"], rows["npv"], rows["cost_per_m3"] = (
        1500.0,
        0.0,
        np.inf,
        10.0,
        2.0,
    )
    rows["saved_m3_per_currency"] = [0.04, 0.02] * (count - 1)
    rows["chosen"] = np.arange(len(rows)) == 1
    rows["rank"], rows["why"] = rows["chosen"].astype(int), "<b>saves most</b> within the budget"
    empty = pd.DataFrame()
    cases = pd.DataFrame({"case": ["low", "middle", "high"], "saved_m3": [50.0, 60.0, 70.0]})
    chosen = {
        "areas": 1,
        "ground_m2": 100.0,
        "saved_m3": 60.0,
        "capital": 1500.0,
        "bill_saved": 100.0,
        "npv": 10.0,
        "spent": 1500.0,
    }
    summary = {
        "turf_conversions": ["turf"], "assumed_conversions": "", "chosen": chosen | {"payback_years": 15.0},
        "compared_areas": count - 1, "budget": 2000.0, "horizon": 20, "baseline_m3": 100.0 * (count - 1),
        "conversions": [{"title": "Low-water planting", "areas": 1}], "most_sensitive": "capital",
        "left": "nothing else is on offer",
    }  # fmt: skip
    said = {"summary": summary, "cautions": ("Turf gets hot.",)}
    return model.Water(rows, empty, empty, empty, empty, cases, empty, empty, empty, **said)


def _context() -> pd.DataFrame:
    house = shapely.box(1, 13, 8, 15.5)
    row = {
        "role": "building",
        "frame": 0,
        "geometry": house,
        "file": "houses.shp",
        "layer": "",
        "feature": "1",
        "part": 0,
    }
    return pd.DataFrame(
        [row, row | {"role": "view", "geometry": shapely.Point(0, 0), "feature": "2"}, row]
    )
