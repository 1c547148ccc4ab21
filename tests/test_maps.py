"""The map's page: what stands in it, how it is written, and that text from the data stays text."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import zipfile
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
from hand_made import HOSTILE, made, water_of
from hatchling.builders.wheel import WheelBuilder
from hypothesis import given
from hypothesis import strategies as st
from page_read import islands_of, read_ints

import geoturf
from geoturf import maps, model
from geoturf.errors import PromiseError
from geoturf.maps import colours, content, encode, figures, frame, layers

# ----------------------------------------------------------------------- numbers and shapes as text


@pytest.mark.parametrize("odd", [np.nan, np.inf, -np.inf])
def test_what_is_no_number_is_never_a_place_on_the_map(odd):
    with pytest.raises(PromiseError, match="no numbers"):
        encode.grid(np.array([[-96.0, 32.0], [odd, 32.0]]))


@pytest.mark.parametrize(
    ("value", "written"),
    # Protocol Buffers, "Encoding": zigzag table (0, -1, 1, -2, 2^31 - 1, -2^31) and "Base 128
    # Varints" (150 is 96 01)
    [
        (0, "00"),
        (-1, "01"),
        (1, "02"),
        (-2, "03"),
        (75, "9601"),
        (2**31 - 1, "feffffff0f"),
        (-(2**31), "ffffffff0f"),
    ],
)
def test_whole_numbers_are_written_as_the_protocol_buffers_guide_says(value, written):
    assert base64.b64decode(encode.ints([value])).hex() == written


def test_whole_numbers_come_back():
    values = [
        0,
        1,
        -1,
        63,
        64,
        -64,
        -65,
        8191,
        8192,
        1_800_000_000,
        -3_600_000_000,
        2**52,
        127,
        128,
    ]
    assert read_ints(encode.ints(values)) == values
    assert read_ints(encode.ints([])) == []


@given(st.lists(st.integers(-(2**52), 2**52)))
def test_any_whole_numbers_come_back(values):
    assert read_ints(encode.ints(values)) == values


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


def test_ids_keep_their_leading_zeros():
    """Of texts without digits, of digits alone, and of more digits than a number is safe with,
    nothing is lost either."""
    texts = ["P00009", "P00010", "front", "0012", "", "P1", "x123456789012"]
    written = encode.ids(texts)
    numbers = np.cumsum(read_ints(written["numbers"]))
    back = [written["stems"][c] for c in read_ints(written["codes"])]
    assert [
        w + (str(n).zfill(d) if d else "") for (w, d), n in zip(back, numbers, strict=True)
    ] == texts


def test_ids_of_one_stem_name_it_once():
    written = encode.ids(["P00009", "P00010"])
    assert (written["stems"], written["codes"]) == ([("P", 5)], "")


def test_seams_are_sent_from_their_start():
    """The L lies to the east, 12 m wide, its strips 4.5 m: two seams of 12 m; the square's one of 6
    m runs north."""
    sent = layers.pieces(made(["Lot 1"]))["seams"]
    assert read_ints(sent["runs"]) == [0, 450, 1200, 0, 900, 1200, 0, 450, 600]
    assert read_ints(sent["cross"]) == [0, 0, 0]


def test_nothing_is_written_as_nothing():
    assert encode.polygons([]) == {"rings": "", "points": "", "at": ""}
    assert encode.lines(np.array([], dtype=object))["at"] == ""


# ----------------------------------------------------------------------------------------- the page


@pytest.fixture(scope="module")
def page() -> str:
    return maps.page(made(["Lot 1", *HOSTILE], left_out=2), "us")


# SHA-256 as printed for subresource integrity on Leaflet's download page (script and style, from
# memory); the images' are those of the files as they came
LEAFLET = {
    "leaflet.js": "20nQCchB9co0qIjJZRGuk2/Z9VM+kNiyxNV1lvTlZBo=",
    "leaflet.css": "p4NxAoJBhIIN+hmNHrzRCf9tD/miZyoHS5obTRR9BMY=",
    "images/layers.png": "Hbvp0CjikvNvy6j4s6KNXokydU/CIVuaxp5M3s9RB8Y=",
    "images/layers-2x.png": "Bm2sqFDY/77wB68AsG6sABVyje4nnFHzy2xxbffELt8=",
    "images/marker-icon.png": "V0w6XMqF9BFAhbaEFZbWLwDXyJLHsD8oy/owHesdxDc=",
}


@pytest.mark.parametrize(("name", "digest"), LEAFLET.items())
def test_leaflet_is_the_one_that_was_published(name, digest):
    found = (frame.files("geoturf.maps") / "web" / "leaflet" / name).read_bytes()
    assert base64.b64encode(hashlib.sha256(found).digest()).decode() == digest


def test_leaflet_comes_with_its_version_and_licence(page):
    assert f"Leaflet {frame.LEAFLET}," in frame.leaflet("leaflet.js")[:200]
    licence = frame.leaflet("LICENSE")
    assert (
        licence.startswith("BSD 2-Clause License") and "Redistributions in binary form" in licence
    )
    assert licence in page


def test_a_wheel_holds_every_file_that_pages_are_made_of(tmp_path):
    """Built by hatchling, as pip builds it."""
    package = Path(geoturf.__file__).parent
    built = WheelBuilder(str(package.parent)).build(directory=str(tmp_path), versions=["standard"])
    held = set(zipfile.ZipFile(next(built)).namelist())
    web = {
        p.relative_to(package.parent).as_posix()
        for p in package.glob("maps/web/**/*")
        if p.is_file()
    }
    assert {"geoturf/maps/web/leaflet/LICENSE", "geoturf/maps/web/map.css"} <= web
    assert web <= held


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
        wanted = {
            f"'sha256-{base64.b64encode(hashlib.sha256(b.encode()).digest()).decode()}'"
            for b in blocks
        }
        assert set(rules[rule].split()) == wanted
    assert page.index("Content-Security-Policy") < page.index("<script")


def test_hostile_text_stays_text(page):
    plain = maps.page(made([f"Lot {k}" for k in range(1 + len(HOSTILE))], left_out=2), "us")
    for tag in ("<script", "</script", "<!--", "<img", "<b"):
        assert page.count(tag) == plain.count(tag)
    areas = islands_of(page)["geoturf-areas"]
    assert areas["site"]["words"] == ["Lot 1", *HOSTILE]


@given(st.text(st.characters(exclude_categories=())))
def test_any_text_comes_back_from_an_island_and_ends_none(text):
    """Lone surrogates, controls, line separators and all."""
    block = frame.island("x", {text: [text]})
    inner = block.removeprefix('<script type="application/json" id="x">').removesuffix(
        "</script>\n"
    )
    assert not set("<>&\u2028\u2029") & set(inner)
    assert inner.isascii()
    assert json.loads(inner) == {text: [text]}


def test_no_template_sees_data(page):
    assert '"{{ 7*7 }}"' in page
    assert '"49"' not in page
    assert "{{" not in frame._frame()


def test_a_hostile_bid_name_is_a_title():
    text = maps.page(made(["x"], name=HOSTILE[0]), "us")
    assert "<title>&lt;/script&gt;&lt;script&gt;alert(1)&lt;/script&gt;: office map</title>" in text
    assert islands_of(text)["geoturf-bid"]["name"] == HOSTILE[0]


def test_a_lone_surrogate_can_be_written(tmp_path):
    (tmp_path / "map.html").write_text(
        maps.page(made(["a"], name="lone \ud800"), "us"), encoding="utf-8"
    )


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
    assert islands_of(maps.page(result, "us"))["geoturf-pieces"]["piece"]["stems"] == []


# ------------------------------------------------------------------------------------- what it says


def test_areas_left_out_are_counted(page):
    bid = islands_of(page)["geoturf-bid"]
    assert bid["leftOut"] == 2
    assert bid["counts"] == {"error": 1, "note": 1}
    assert bid["findings"][0]["severity"] == "error"
    assert "Call 811 before you dig." in bid["cautions"]


@pytest.mark.parametrize(
    ("units", "unit", "square"), [("us", "ft²", 108 / 0.09290304), ("metric", "m²", 108.0)]
)
def test_figures_are_in_the_units_asked_for(units, unit, square):
    """108 m2 by hand; 1 ft2 = 0.09290304 m2 (NIST SP 811, B.8)."""
    column = next(
        c for c in content.areas(in_units(units))["figures"] if c["label"] == "ground area"
    )
    assert column["unit"] == unit
    assert read_ints(column["numbers"])[0] == round(100 * square) + 1


def in_units(units: str) -> model.Result:
    return made(["Lot 1"], units=units)


def test_unknown_numbers_are_left_open():
    table = pd.DataFrame({"elevation_ft": [np.nan, 3.0, 0.0, -2.04]})
    table.attrs["decimals"] = {"elevation_ft": 1}
    (column,) = figures.columns(table, "USD")
    assert read_ints(column.pop("numbers")) == [0, 31, 1, -20]
    assert column == {"label": "elevation", "unit": "ft", "digits": 1}


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("ground_area_ft2", ("ground area", "ft²")),
        ("turf_bought_m2", ("turf bought", "m²")),
        ("waste_pct", ("waste", "%")),
        ("cross_seams", ("cross seams", "")),
        ("site", ("site", "")),
        ("npv", ("net present value", "")),
    ],
)
def test_columns_are_said_in_words(name, said):
    assert figures.said(name) == said


def test_an_area_of_one_kind_all_round_sends_no_runs():
    edges = layers.edges(made(["Lot 1"]))
    assert read_ints(edges["whole"]) == [-1, layers.EDGE_KINDS.index("open")]
    assert read_ints(edges["counts"]) == [2, 0]
    assert read_ints(edges["kind"]) == [
        layers.EDGE_KINDS.index("paving"),
        layers.EDGE_KINDS.index("open"),
    ]


def test_water_is_coloured_by_saving_and_by_choice():
    """0.04 m3 a currency unit by hand: 10.57 gal (1 gal = 231 in3, NIST SP 811, B.8)."""
    chosen, saving = content.colourings(made(["a", "b"], water=water_of(4)))[:2]
    assert saving["label"] == "water saved per USD"
    assert [e["label"] for e in saving["entries"]] == ["10.57 gal a year", "nothing to save"]
    assert read_ints(saving["codes"]) == [0, 0, 0, 1]
    assert [(e["label"], e["count"]) for e in chosen["entries"]] == [
        ("Low-water planting", 1),
        ("not compared", 1),
        ("stays as it is", 2),
    ]


def test_the_map_of_a_comparison_opens_with_the_answer():
    """Coloured by what is chosen, its figures before those of the turf laid, which is named for
    what it is."""
    sent = content.islands(made(["a", "b"], water=water_of(4)))
    assert sent["geoturf-areas"]["colourings"][0]["key"] == "chosen"
    words = [word for word, _ in sent["geoturf-bid"]["totals"]]
    assert words[0] == "convert" and words.index("water saved a year") < words.index(
        "price of this turf"
    )
    assert "price" not in words
    assert "price" in [word for word, _ in content.bid(made(["a"]))["totals"]]


def test_water_is_written_area_by_area():
    sent = content.water(made(["a", "b"], water=water_of(4)))
    assert read_ints(sent["counts"]) == [2, 2, 2, 0]
    assert read_ints(sent["chosen"]) == [0, 1, 0, 0, 0, 0]
    said = {c["label"]: c for c in sent["figures"]}
    assert said["saved"]["unit"] == "gal"
    assert said["cost per acre ft"]["unit"] == "USD"
    assert read_ints(said["payback years"]["numbers"])[0] == 0  # never: left open
    assert content.water(made(["a"])) == {}


def test_water_cautions_stand_with_the_others():
    assert "Turf gets hot." in content.bid(made(["a"], water=water_of(2)))["cautions"]


def test_a_building_stands_once_and_a_view_not_at_all():
    assert read_ints(layers.context(made(["Lot 1"]))["role"]) == [0]


def test_pieces_stand_where_the_earth_has_them():
    """Karney's geodesic (geographiclib) between the corner sent and the points 100 m along the pile
    and 100 m to its right."""
    from geographiclib.geodesic import Geodesic

    sent = layers.pieces(made(["Lot 1"]))
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
        made(
            ["a"],
            base_map="https://{s}.tiles.example.org/{z}/{x}/{y}.png",
            base_map_credit="<b>me</b>",
        ),
        "us",
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


# ------------------------------------------------------------------------------------------ colours


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
        [
            [0.4124564, 0.3575761, 0.1804375],
            [0.2126729, 0.7151522, 0.0721750],
            [0.0193339, 0.1191920, 0.9503041],
        ]
    )
    t = to_xyz @ np.clip(rgb, 0, 1) / [0.95047, 1.0, 1.08883]
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


# Machado, Oliveira and Fernandes, "A physiologically-based model for simulation of color vision
# deficiency", IEEE TVCG 15 (2009), table of severity 1.0 (from memory)
VISION = {
    "full": np.eye(3),
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


def test_our_contrast_is_that_of_the_standard():
    assert contrast("#ffffff", "#000000") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(
        4.48, abs=0.005
    )  # widely printed example: just under 4.5


@pytest.mark.parametrize("text", ["ink", "quiet", "alarm", "mark"])
@pytest.mark.parametrize("ground", ["paper", "sheet"])
def test_texts_of_the_page_read_on_its_grounds(text, ground):
    named = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", frame.web("map.css")))
    assert contrast(named[text], named[ground]) >= 4.5  # WCAG 2.1, 1.4.3


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
    ("values", "labels"),
    [([5.0] * 4, ["5.0"]), ([], ["none"]), ([1.0, 2.0], ["1.0 to under 2.0", "2.0"])],
)
def test_few_values_make_few_classes(values, labels):
    assert [e["label"] for e in colours.by_classes("k", "k", values)["entries"]] == labels


def test_what_the_office_and_the_client_see_alike_is_worked_out_once(monkeypatch):
    result = made(["a", "b"])
    each = [maps.page(result, "us", audience) for audience in (maps.OFFICE, maps.CLIENT)]
    drawn = []
    context = layers.context
    monkeypatch.setattr(layers, "context", lambda place: drawn.append(1) or context(place))
    assert list(maps.pages(result, "us", (maps.OFFICE, maps.CLIENT))) == each
    assert len(drawn) == 1
