"""The map's page: what stands in it, how it is written, and that text from the data stays text.

`made` builds a small finished result by hand (no stage runs), for these tests, the browser's and the benchmark.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from decimal import Decimal
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
import shapely

from geoturf import maps, model
from geoturf.bid import make_bid
from geoturf.maps import colours, content, encode, figures, frame

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


# ------------------------------------------------------------------------------------------------ a result by hand


def made(
    sites: list[str], left_out: int = 0, units: str = "us", water: model.Water | None = None, **bid
) -> model.Result:
    """A result with two areas a site, in a row of sites 30 m apart: an L of 108 m2 in front and, north of it, a square of
    36 m2 with a hole of 4 m2; pile to the east in the one and to the north in the other."""
    count = 2 * len(sites)
    ell = shapely.Polygon(L_SHAPE)
    ring = shapely.Polygon([(0, 16), (6, 16), (6, 22), (0, 22)], [[(2, 18), (2, 20), (4, 20), (4, 18)]])
    x = 30.0 * (np.arange(count) // 2 % 50)
    y = 40.0 * (np.arange(count) // 100)
    shapes = np.array([ell, ring] * len(sites), dtype=object)
    shapes = shapely.transform(shapes, lambda xy: xy + np.repeat(np.column_stack([x, y]), counts_of(shapes), axis=0))
    areas = _areas(sites, shapes)
    edges = _edges(shapes)
    plan = _plan(areas, shapes)
    names = list(dict.fromkeys(sites))
    price = model.Price(
        lines=pd.DataFrame(),
        sites=pd.DataFrame(
            {"site": names, "cost": Decimal("900.10"), "price": [Decimal(1000 + 7 * k) for k in range(len(names))]}
        ),
        totals={"cost": Decimal("900.10"), "price": Decimal("123456.70")},
        schedule=pd.DataFrame(),
        areas=pd.DataFrame({"cost": Decimal("9.5"), "price": [Decimal(600 + 5 * k) for k in range(count)]}),
        build_up=pd.DataFrame(),
        phases=pd.DataFrame(),
        alternates=pd.DataFrame(),
    )
    frames = model.Frames(np.array([-75.1]), np.array([40.2]), np.array([0.0]), np.array([0]), ("EPSG:4326",))
    findings = (
        model.Finding("note", "a-note", "a note", file="lots.shp"),
        model.Finding("error", "no-crs", "has no CRS; state one", file="other.shp", site=sites[0]),
    )
    return model.Result(
        bid=make_bid({"name": f"Bid of {sites[0]}", "units": units, "layers": [{"path": "lots.shp"}]} | bid),
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
        water=water,
        findings=findings,
        seconds={},
    )


def counts_of(shapes: np.ndarray) -> np.ndarray:
    return shapely.get_num_coordinates(shapes)


def _areas(sites: list[str], shapes: np.ndarray) -> pd.DataFrame:
    count = len(shapes)
    square = shapely.area(shapes)
    table = pd.DataFrame({"site": np.repeat(sites, 2), "area": ["front", "back"] * len(sites)}, dtype=object)
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
    """The L: its south side on paving, the rest open. The square with the hole: open all round, both rings."""
    rows = []
    for k, shape in enumerate(shapes):
        if k % 2:
            rings = [shape.exterior, *shape.interiors]
            rows += [(k, "open", -1, True, ring.length, shapely.LineString(ring.coords)) for ring in rings]
            continue
        points = list(shape.exterior.coords)
        for kind, part in (("paving", points[:2]), ("open", points[1:])):
            line = shapely.LineString(part)
            rows.append((k, kind, -1, False, line.length, line))
    runs = pd.DataFrame(rows, columns=["area_index", "kind", "neighbour", "closed", "length_m", "geometry"])
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
            pieces.append((k, u0, u1, low, high, bearing, f"R{1 + len(pieces) // 6:04d}", u1 - u0 + 0.15, high - low))
            if j:
                seams.append((k, "seam", u0, low, u1, low, bearing, u1 - u0))
    columns = ["area_index", "u0", "u1", "v0", "v1", "bearing_deg", "roll", "length_m", "width_m"]
    table = pd.DataFrame(pieces, columns=columns)
    table.insert(0, "piece", [f"P{k + 1:05d}" for k in range(len(table))])
    table["along_m"], table["across_m"] = 1.5, 0.25
    number = table.groupby("area_index").size().to_numpy()
    bought = table["length_m"].groupby(table["area_index"]).sum().to_numpy() * 4.572
    seam = pd.DataFrame(seams, columns=["area_index", "kind", "u0", "v0", "u1", "v1", "bearing_deg", "length_m"])
    chosen = pd.DataFrame({"pile_bearing_deg": areas["pile_bearing_deg"], "pieces": number, "turf_bought_m2": bought})
    chosen["seam_m"] = seam.groupby("area_index")["length_m"].sum().reindex(chosen.index, fill_value=0.0)
    chosen["cross_seams"], chosen["free_cost_ratio"] = 0, 1.0
    chosen["piece_area_m2"] = bought
    pool = {"pool": "phase 1", "phase": "1", "product": "turf60", "pieces": len(table), "rolls": 3, "status": "proven"}
    pool |= {
        "bought_m2": bought.sum(),
        "needed_m2": 100.0,
        "bound_m2": 0.9 * bought.sum(),
        "cut_bound_m2": bought.sum(),
    }
    pools = pd.DataFrame([pool | {"by_hand_m2": 1.2 * bought.sum()}])
    rolls = pd.DataFrame({"roll": table["roll"].unique()})
    return model.CutPlan(table, rolls, pools, pd.DataFrame(), chosen, seam)


def _context() -> pd.DataFrame:
    house = shapely.box(1, 13, 8, 15.5)
    row = {"role": "building", "frame": 0, "geometry": house, "file": "houses.shp", "layer": "", "feature": "1"}
    return pd.DataFrame([row, row | {"role": "view", "geometry": shapely.Point(0, 0), "feature": "2"}, row])


def islands_of(text: str) -> dict:
    found = re.findall(r'<script type="application/json" id="([\w-]+)">(.*?)</script>', text, flags=re.DOTALL)
    return {name: json.loads(body) for name, body in found}


def read_ints(text: str) -> list[int]:
    """Zigzag varints as the Protocol Buffers encoding guide describes them, byte by byte."""
    out, value, shift = [], 0, 0
    for byte in base64.b64decode(text):
        value |= (byte & 0x7F) << shift
        shift += 7
        if byte < 0x80:
            out.append((value >> 1) ^ -(value & 1))
            value = shift = 0
    return out


# ------------------------------------------------------------------------------------------------ numbers and shapes as text


@pytest.mark.parametrize(
    ("value", "written"),
    # Protocol Buffers, "Encoding": zigzag table (0, -1, 1, -2, 2^31 - 1, -2^31) and "Base 128 Varints" (150 is 96 01)
    [(0, "00"), (-1, "01"), (1, "02"), (-2, "03"), (75, "9601"), (2**31 - 1, "feffffff0f"), (-(2**31), "ffffffff0f")],
)
def test_whole_numbers_are_written_as_the_protocol_buffers_guide_says(value, written):
    assert base64.b64decode(encode.ints([value])).hex() == written


def test_whole_numbers_come_back():
    values = [0, 1, -1, 63, 64, -64, -65, 8191, 8192, 1_800_000_000, -3_600_000_000, 2**52, 127, 128]
    assert read_ints(encode.ints(values)) == values
    assert read_ints(encode.ints([])) == []


def test_polygons_are_written_ring_by_ring_without_the_closing_point():
    square = shapely.box(0, 0, 3e-7, 3e-7)
    ring = shapely.Polygon(square.exterior, [[(1e-7, 1e-7), (2e-7, 1e-7), (2e-7, 2e-7)]])
    both = encode.polygons([ring, shapely.MultiPolygon([square, shapely.box(5e-7, 0, 6e-7, 1e-7)])])
    assert read_ints(both["rings"]) == [2, 2]
    assert read_ints(both["points"]) == [4, 3, 4, 4]
    at = np.cumsum(np.array(read_ints(both["at"])).reshape(-1, 2), axis=0)
    rings = np.split(at, [4, 7, 11])
    turns = [shapely.LinearRing(r).is_ccw for r in rings]
    assert turns == [True, False, True, True]  # shells one way, holes the other
    assert {tuple(p) for p in rings[1].tolist()} == {(1, 1), (2, 1), (2, 2)}


def test_nothing_is_written_as_nothing():
    assert encode.polygons([]) == {"rings": "", "points": "", "at": ""}
    assert encode.lines(np.array([], dtype=object))["at"] == ""


# ------------------------------------------------------------------------------------------------ the page


@pytest.fixture(scope="module")
def page() -> str:
    return maps.page(made(["Lot 1", *HOSTILE], left_out=2), "us")


def test_leaflet_is_the_one_that_was_published():
    """Subresource integrity hashes printed for Leaflet 1.9.4 on its download page (from memory)."""
    folder = frame.files("js_lib_leaflet") / "static/js_lib_leaflet"
    published = {
        "leaflet.js": "20nQCchB9co0qIjJZRGuk2/Z9VM+kNiyxNV1lvTlZBo=",
        "leaflet.css": "p4NxAoJBhIIN+hmNHrzRCf9tD/miZyoHS5obTRR9BMY=",
    }
    for name, wanted in published.items():
        assert base64.b64encode(hashlib.sha256((folder / name).read_bytes()).digest()).decode() == wanted


def test_the_page_holds_everything_it_needs(page):
    assert not re.findall(r"<(?:link|iframe|img)\b", page)
    assert not re.findall(r"<script[^>]+src", page)
    assert "sourceMappingURL" not in page
    assert "url(images/" not in page
    assert page.count("url(data:image/png;base64,") == 3


def test_the_page_may_run_its_own_scripts_and_nothing_else(page):
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]+)"', page)[1]
    rules = dict(part.strip().split(" ", 1) for part in policy.split(";"))
    assert rules["default-src"] == "'none'"
    assert rules["img-src"] == "data:"
    for rule, tag in (("script-src", "script"), ("style-src", "style")):
        blocks = re.findall(rf"<{tag}>(.*?)</{tag}>", page, flags=re.DOTALL)
        wanted = {f"'sha256-{base64.b64encode(hashlib.sha256(b.encode()).digest()).decode()}'" for b in blocks}
        assert set(rules[rule].split()) == wanted
    assert page.index("Content-Security-Policy") < page.index("<script")


def test_hostile_text_stays_text(page):
    plain = maps.page(made([f"Lot {k}" for k in range(1 + len(HOSTILE))], left_out=2), "us")
    for tag in ("<script", "</script", "<!--", "<img", "<b"):
        assert page.count(tag) == plain.count(tag)
    areas = islands_of(page)["geoturf-areas"]
    assert areas["site"]["words"] == ["Lot 1", *HOSTILE]


def test_no_template_sees_data(page):
    assert '"{{ 7*7 }}"' in page
    assert '"49"' not in page
    assert "{{" not in frame._frame()


def test_a_hostile_bid_name_is_a_title():
    text = maps.page(made(["x"], name=HOSTILE[0]), "us")
    assert "<title>&lt;/script&gt;&lt;script&gt;alert(1)&lt;/script&gt;: map</title>" in text
    assert islands_of(text)["geoturf-bid"]["name"] == HOSTILE[0]


def test_a_lone_surrogate_can_be_written(tmp_path):
    (tmp_path / "map.html").write_text(maps.page(made(["a"], name="lone \ud800"), "us"), encoding="utf-8")


@pytest.mark.parametrize(
    "word", ["innerHTML", "outerHTML", "insertAdjacentHTML", "document.write", "eval(", "Function("]
)
def test_our_scripts_never_make_markup_of_text(word):
    for name in frame.SCRIPTS:
        assert word not in frame.web(name)


def test_equal_results_give_equal_bytes(page):
    assert maps.page(made(["Lot 1", *HOSTILE], left_out=2), "us") == page


def test_a_page_of_no_pieces_and_no_context_is_made():
    result = made(["only"])
    result.plan.__dict__["pieces"] = result.plan.pieces.iloc[:0]
    result.plan.__dict__["seams"] = result.plan.seams.iloc[:0]
    result.ground.__dict__["context"] = result.ground.context.iloc[:0]
    assert islands_of(maps.page(result, "us"))["geoturf-pieces"]["piece"] == []


# ------------------------------------------------------------------------------------------------ what it says


def test_areas_left_out_are_counted(page):
    bid = islands_of(page)["geoturf-bid"]
    assert bid["leftOut"] == 2
    assert bid["counts"] == {"error": 1, "note": 1}
    assert bid["findings"][0]["severity"] == "error"
    assert "Call 811 before you dig." in bid["cautions"]


@pytest.mark.parametrize(("units", "unit", "square"), [("us", "ft²", 108 / 0.09290304), ("metric", "m²", 108.0)])
def test_figures_are_in_the_units_asked_for(units, unit, square):
    """108 m2 by hand; 1 ft2 = 0.09290304 m2 (NIST SP 811, B.8)."""
    column = next(c for c in content.areas(in_units(units))["figures"] if c["label"] == "ground area")
    assert column["unit"] == unit
    assert column["numbers"][0] == round(square, 2)


def in_units(units: str) -> model.Result:
    return made(["Lot 1"], units=units)


def test_unknown_numbers_are_left_open():
    assert figures.columns(pd.DataFrame({"elevation_ft": [np.nan, 3.0]}), "USD") == [
        {"label": "elevation", "unit": "ft", "digits": 0, "numbers": [None, 3]}
    ]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("ground_area_ft2", ("ground area", "ft²")),
        ("turf_bought_m2", ("turf bought", "m²")),
        ("waste_pct", ("waste", "%")),
        ("cross_seams", ("cross seams", "")),
        ("site", ("site", "")),
    ],
)
def test_columns_are_said_in_words(name, said):
    assert figures.said(name) == said


def test_an_area_of_one_kind_all_round_sends_no_runs():
    edges = content.edges(made(["Lot 1"]))
    assert read_ints(edges["whole"]) == [-1, content.EDGE_KINDS.index("open")]
    assert read_ints(edges["counts"]) == [2, 0]
    assert read_ints(edges["kind"]) == [content.EDGE_KINDS.index("paving"), content.EDGE_KINDS.index("open")]


def test_a_building_stands_once_and_a_view_not_at_all():
    assert read_ints(content.context(made(["Lot 1"]))["role"]) == [0]


def test_pieces_stand_where_the_earth_has_them():
    """Karney's geodesic (geographiclib) between the corner sent and the points 100 m along the pile and 100 m to its right."""
    from geographiclib.geodesic import Geodesic

    sent = content.pieces(made(["Lot 1"]))
    at = np.cumsum(np.array(read_ints(sent["corners"])).reshape(-1, 2), axis=0) * 1e-7
    for area, bearing in enumerate((90.0, 0.0)):
        corner, along, right = at[3 * area : 3 * area + 3]
        for end, azimuth in ((along, bearing), (right, bearing + 90)):
            line = Geodesic.WGS84.Inverse(corner[1], corner[0], end[1], end[0])
            assert line["s12"] == pytest.approx(100.0, abs=0.02)
            assert (line["azi1"] - azimuth + 180) % 360 - 180 == pytest.approx(0.0, abs=0.01)
    boxes = np.array(read_ints(sent["boxes"])).reshape(-1, 4)
    assert boxes[:3].tolist() == [
        [0, 1200, 0, 450],
        [0, 1200, 450, 450],
        [0, 1200, 900, 300],
    ]  # 12 m in strips of 4.5 m


def test_a_base_map_is_off_until_asked_for():
    assert islands_of(maps.page(made(["a"]), "us"))["geoturf-bid"]["baseMap"] is None


def test_a_base_map_opens_the_policy_for_its_host_alone():
    text = maps.page(
        made(["a"], base_map="https://{s}.tiles.example.org/{z}/{x}/{y}.png", base_map_credit="<b>me</b>"), "us"
    )
    assert "img-src data: https://*.tiles.example.org;" in text
    assert islands_of(text)["geoturf-bid"]["baseMap"]["credit"] == "<b>me</b>"


@pytest.mark.parametrize(
    ("url", "host"),
    [
        ("https://tiles.example.org/{z}/{x}/{y}.png?key=1", "https://tiles.example.org"),
        ("http://localhost:8080/{z}/{x}/{-y}{r}.png", "http://localhost:8080"),
        ("https://t{s}.example.org/{z}/{x}/{y}", "https://*.example.org"),
        ("https://tiles.example.org/{z}/{x}.png", ""),
        ("https://tiles.example.org/{z}/{x}/{y}/{secret}.png", ""),
        ("file:///tiles/{z}/{x}/{y}.png", ""),
        ("javascript:alert({z}{x}{y})", ""),
        ("https://a.org; script-src */{z}/{x}/{y}", ""),
        ('https://a.org"><script>/{z}/{x}/{y}', ""),
        ("", ""),
    ],
)
def test_tile_urls(url, host):
    assert frame.tile_host(url) == host


# ------------------------------------------------------------------------------------------------ colours


def linear(colour: str) -> np.ndarray:
    """Linear RGB of ``#rrggbb`` (IEC 61966-2-1)."""
    value = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    """WCAG 2.1, contrast ratio."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIELAB (CIE 15, D65) of linear sRGB."""
    to_xyz = np.array(
        [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
    )
    t = to_xyz @ np.clip(rgb, 0, 1) / [0.95047, 1.0, 1.08883]
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


# Machado, Oliveira and Fernandes, "A physiologically-based model for simulation of color vision deficiency", IEEE TVCG 15
# (2009), table of severity 1.0 (from memory)
VISION = {
    "full": np.eye(3),
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def test_our_contrast_is_that_of_the_standard():
    assert contrast("#ffffff", "#000000") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # widely printed example: just under 4.5


@pytest.mark.parametrize("vision", VISION)
def test_words_have_colours_that_all_can_tell_apart(vision):
    seen = [lab(np.array(VISION[vision]) @ linear(c)) for c in (*colours.WORDS, colours.PAPER)]
    distance = [np.linalg.norm(a - b) for k, a in enumerate(seen) for b in seen[:k]]
    assert min(distance) > 16  # some 2.3 is just noticeable


def test_classes_get_darker_one_by_one():
    lightness = [lab(linear(c))[0] for c in colours.CLASSES]
    assert all(a - b > 6 for a, b in pairwise(lightness))


def test_dark_text_reads_on_every_fill():
    fills = (*colours.WORDS, *colours.CLASSES, colours.OTHER, colours.PAPER)
    assert min(contrast(colours.INK, c) for c in fills) >= 4.5  # WCAG 2.1, 1.4.3


def test_further_words_share_a_colour():
    values = [f"p{k:02d}" for k in range(11) for _ in range(12 - k)]
    made_ = colours.by_words("product", "product", values)
    assert [e["label"] for e in made_["entries"]] == [f"p{k:02d}" for k in range(8)] + ["3 others"]
    assert [e["count"] for e in made_["entries"]] == [12, 11, 10, 9, 8, 7, 6, 5, 4 + 3 + 2]
    assert read_ints(made_["codes"])[-1] == 8


def test_classes_hold_about_equal_counts_and_say_where_they_end():
    made_ = colours.by_classes("waste", "waste", [*range(100), np.nan], "%", digits=0)
    assert [e["count"] for e in made_["entries"]] == [20, 20, 20, 20, 20, 1]
    assert made_["entries"][0]["label"] == "0 to under 20 %"
    assert made_["entries"][4]["label"] == "80 to 99 %"
    assert made_["entries"][5]["label"] == "no value"


@pytest.mark.parametrize(
    ("values", "labels"), [([5.0] * 4, ["5.0"]), ([], ["none"]), ([1.0, 2.0], ["1.0 to under 2.0", "2.0"])]
)
def test_few_values_make_few_classes(values, labels):
    assert [e["label"] for e in colours.by_classes("k", "k", values)["entries"]] == labels
