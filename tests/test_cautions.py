"""Cautions: each appears where its work is on the bid, and not otherwise (check values section 5)."""

import pytest
from invented_lots import FT, edges, ground, plan

from geoturf import materials
from geoturf.model import CutPlan
from geoturf.rules import EdgeRules, MaterialRules, Product

DEFERS = ("local", "licensed", "law", "code")


def cautions(product=None, rolls=None, glued=(), **area):
    land = ground([{"width_ft": 15, "length_ft": 40} | area])
    laid = plan(land)
    if rolls is not None:
        laid = CutPlan(
            laid.pieces, laid.rolls.assign(length_m=rolls * FT), laid.pools, laid.stock, laid.chosen, laid.seams
        )
    products = {"turf60": product or Product()}
    return materials.takeoff(land, edges(land, glued=glued), laid, products, MaterialRules(), EdgeRules()).cautions


def with_word(word, lines):
    return [line for line in lines if line.startswith(word + ":")]


def test_each_defers_to_local_codes_and_licensed_practice():
    for line in cautions(use="play"):
        assert any(word in line for word in DEFERS), line
    assert "licensed" in cautions()[-1] and "ocal codes" in cautions()[-1]


@pytest.mark.parametrize(
    ("word", "figures"),
    [
        ("Digging", ("811", "at least 2 working days", "14 days")),  # S6: 811; Cal. Gov. Code 4216
        ("Silica dust", ("29 CFR 1926.1153", "25 ug/m3", "50 ug/m3", "Table 1")),  # S1: the regulation's text
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
    lines = cautions(Product(fixing="glue", infill="none"), glued=("turf60",))
    for word in ("Digging", "Trees", "Disposal", "Drainage", "Silica dust"):
        assert not with_word(word, lines)
    assert with_word("Adhesive", lines)
