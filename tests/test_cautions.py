"""Cautions: each appears where its work is on the bid, and not otherwise (check values section
5)."""

import re

import pytest
from invented_lots import FT, edges, ground, plan
from pydantic import ValidationError

from geoturf import materials
from geoturf.model import CutPlan
from geoturf.rules import EdgeRules, MaterialRules, Product

DEFERS = ("local", "licensed", "law", "code")


def cautions(product=None, rolls=None, glued=(), rules=None, edging=(), **area):
    land = ground([{"width_ft": 15, "length_ft": 40} | area])
    laid = plan(land)
    if rolls is not None:
        laid = CutPlan(
            laid.pieces,
            laid.rolls.assign(length_m=rolls * FT),
            laid.pools,
            laid.stock,
            laid.chosen,
            laid.seams,
        )
    products = {"turf60": product or Product()}
    return materials.takeoff(
        land,
        edges(land, glued=glued),
        laid,
        products,
        rules or MaterialRules(),
        EdgeRules(edging_on=edging),
    ).cautions


def with_word(word, lines):
    return [line for line in lines if line.startswith(word + ":")]


def test_each_defers_to_local_codes_and_licensed_practice():
    for line in (*cautions(use="play", cover="cool_season_lawn"), *cautions(use="median")):
        assert any(word in line for word in DEFERS), line
    assert "licensed" in cautions()[-1] and "ocal codes" in cautions()[-1]


@pytest.mark.parametrize(
    ("word", "figures"),
    [
        (
            "Digging",
            ("811", "set by state law", "one-call centre"),
        ),  # S6: 811; how long ahead is each state's law
        ("Kept lines", ("5 in (127 mm)", "low-voltage wire")),  # a 40d nail: data/nails.csv
        ("Knives", ("gloves",)),
        ("Reflections", ("window glass",)),
        (
            "Silica dust",
            ("29 CFR 1926.1153", "25 ug/m3", "50 ug/m3", "Table 1"),
        ),  # S1: the regulation's text
        ("Heat", ("169 F", "62 F")),  # S3: a university study as reported
        ("Irrigation", ("licensed person", "backflow")),  # S12: practice
        ("Trees", ("root",)),
        ("Drainage", ("stormwater",)),
        ("Disposal", ("soil",)),
        ("Contents", ("lead", "PFAS")),
        ("Permission", ("SB24-005", "SB 676", "as of 2025")),  # S7, S8: bill summaries
    ],
)
def test_common_work_carries_its_cautions(word, figures):
    (line,) = with_word(word, cautions())
    assert all(figure in line for figure in figures)


def test_the_lead_time_of_a_locate_is_told_by_no_figure():
    (line,) = with_word("Digging", cautions())
    assert re.findall(r"\d+", line) == ["811"]


NOTHING_DUG = {"dig_depth": "0 in", "caps_per_site": 0}


@pytest.mark.parametrize("word", ["Digging", "Trees", "Disposal"])
def test_nails_stakes_and_caps_go_into_the_ground_where_nothing_is_dug(word):
    glued = {"product": Product(fixing="glue", infill="none"), "glued": ("turf60",)}
    assert with_word(word, cautions(rules=MaterialRules(**NOTHING_DUG)))  # nails
    assert not with_word(word, cautions(rules=MaterialRules(**NOTHING_DUG), **glued))
    assert with_word(
        word, cautions(rules=MaterialRules(**NOTHING_DUG), edging=["open"], **glued)
    )  # stakes
    assert with_word(
        word, cautions(rules=MaterialRules(**NOTHING_DUG | {"caps_per_site": 2}), **glued)
    )


def test_lines_that_stay_are_told_with_the_nails_in_use():
    """ASTM F1667: a 60d nail is 6 in, a 20d nail 4 in (from memory)."""
    assert (
        "up to 6 in (152 mm)"
        in with_word("Kept lines", cautions(rules=MaterialRules(turf_nail="60d")))[0]
    )
    glued = {"product": Product(fixing="glue", infill="none"), "glued": ("turf60",)}
    assert not with_word("Kept lines", cautions(**glued))
    assert "stakes go through" in with_word("Kept lines", cautions(edging=["open"], **glued))[0]


def test_traffic_where_an_area_is_a_median():
    """MUTCD Part 6: temporary traffic control (from memory)."""
    (line,) = with_word("Traffic", cautions(use="Median"))
    assert "1 area(s)" in line and "MUTCD Part 6" in line
    assert not with_word("Traffic", cautions(use="front"))


def test_herbicide_where_something_grows():
    assert (
        "1 area(s) have a living cover"
        in with_word("Herbicide", cautions(cover="cool_season_lawn"))[0]
    )
    for cover in ("", "bare_ground", "synthetic_turf"):
        assert not with_word("Herbicide", cautions(cover=cover))


def test_heat_in_both_scales():
    """S3: 169 F, 62 F over the air; 93 C in air of 37 C: conversions agree."""
    (line,) = with_word("Heat", cautions())
    assert round((169 - 32) / 1.8) == 76 and round(62 / 1.8) == 34 and round(93 * 1.8 + 32) == 199
    assert all(text in line for text in ("76 C", "34 C", "199 F (93 C)", "37 C"))


def test_roll_weight():
    """S4: 15 x 100 ft at 80 oz/yd2 total weight = 833 lb (arithmetic)."""
    (line,) = with_word("Lifting", cautions(Product(total_weight="80 oz/yd^2"), rolls=100))
    assert "833 lb (378 kg)" in line and "over the 50 lb (23 kg)" in line
    assert not with_word("Lifting", cautions(Product(total_weight="80 oz/yd^2"), rolls=5))  # 42 lb


def test_roll_weight_follows_the_pile():
    """Arithmetic: 15 x 100 ft is 166.7 yd2; 60 or 80 oz/yd2 of pile and 30 of backing, 16 oz a lb:
    937.5 and 1,145.8 lb."""
    for pile, backing, weight in (
        ("60", "30", "938 lb"),
        ("80", "30", "1,146 lb"),
        ("60", "26", "896 lb"),
    ):
        product = Product(pile_weight=f"{pile} oz/yd^2", backing_weight=f"{backing} oz/yd^2")
        assert weight in with_word("Lifting", cautions(product, rolls=100))[0]


def test_a_roll_is_not_lighter_than_its_pile():
    with pytest.raises(ValidationError, match="total_weight must not be less than pile_weight"):
        Product(pile_weight="80 oz/yd^2", total_weight="70 oz/yd^2")


def test_falls_only_where_children_play():
    """S5: ASTM F1292 / CPSC 325: g-max 200, HIC 1,000."""
    (line,) = with_word("Falls", cautions(use="play"))
    assert "g-max 200" in line and "HIC 1,000" in line
    assert not with_word("Falls", cautions(use="front"))


def test_pile_on_an_accessible_route():
    """S2: 2010 ADA Standards 302: pile 1/2 in (13 mm) at most."""
    (line,) = with_word("Access", cautions(use="route"))
    assert "1.75 in (44 mm)" in line and "1 area(s) here are marked as a route" in line
    assert "marked as a route" not in with_word("Access", cautions())[0]
    assert not with_word("Access", cautions(Product(pile_height="1/2 in")))


def test_glued_turf_digs_nothing():
    lines = cautions(
        Product(fixing="glue", infill="none"),
        glued=("turf60",),
        rules=MaterialRules(caps_per_site=0),
    )
    for word in ("Digging", "Trees", "Disposal", "Drainage", "Silica dust", "Kept lines"):
        assert not with_word(word, lines)
    assert with_word("Adhesive", lines)
