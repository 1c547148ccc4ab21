"""Pieces a crew would lay: none under the least width or length, none narrow inside turf, no cross
seam where a roll reaches; and what the ground does not allow is told."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from layout_brute import FREE
from layout_cases import FOOT, RULES, SHAPES, TURF, USABLE, assert_lies_well, ground_of, lay_all
from shapely.affinity import rotate

from geoturf.check import lawns
from geoturf.cuts import small
from geoturf.layout import kernel
from geoturf.rules import LayoutRules

# lots of a street, feet: a back yard with two arms, an L, one with a slanted side, one with a pond
LOTS = [
    [(0, 0), (55, 0), (55, 46), (35, 46), (35, 36), (12, 36), (12, 46), (0, 46)],
    [(0, 0), (40, 0), (40, 21), (22, 21), (22, 50), (0, 50)],
    [(0, 0), (50, 0), (38, 31), (0, 31)],
    [(0, 0), (33, 0), (36, 9), (36, 26), (10, 26), (0, 19)],
]


def street() -> list[shapely.Polygon]:
    return [shapely.Polygon(np.array(lot) * FOOT) for lot in LOTS]


def faults(choices, rules=RULES) -> int:
    """Pieces and strips of all layouts offered that a crew would not lay."""
    offered = [layout for choice in choices for layout in choice.layouts]
    return sum(
        int(small.under_least(layout, rules, TURF.roll_lengths).sum())
        + small.narrow_inside(layout, rules)
        for layout in offered
    )


def test_no_layout_of_a_street_has_pieces_a_crew_would_not_lay():
    """With rules that ask for none of it there are many such pieces, so it is the rules that do
    it."""
    assert faults(lay_all(*street())) == 0
    assert faults(lay_all(*street(), rules=FREE)) > 3


@pytest.mark.parametrize("turn", [0.0, 17.0])
def test_layouts_of_a_street_lie_well(turn):
    for lot in street():
        lot = rotate(lot, turn, origin=(0, 0))
        for layout in lay_all(lot)[0].layouts:
            assert_lies_well(layout, lot)


def test_a_strip_ten_feet_wide_is_not_laid_in_two():
    """Two strips, 4 and 6 ft wide, are no less turf than one of 10, in any pool; a crew lays
    one."""
    lawn = shapely.box(0, 0, 50 * FOOT, 10 * FOOT)
    for layout in lay_all(lawn, lawn, lawn, bearing=90.0)[0].layouts:
        wide = np.diff(layout.pieces[:, 2:]).ravel()
        assert not (len(wide) == 2 and wide.max() < 0.4 * USABLE)


def test_turf_shorter_than_the_least_piece_is_laid_as_it_is_and_told():
    """A path 2 ft wide and 40 ft long, the pile across it: every piece is 2 ft long."""
    path = shapely.box(0, 0, 40 * FOOT, 2 * FOOT)
    layout = lay_all(path, bearing=0.0)[0].layouts[0]
    assert_lies_well(layout, path)
    (said,) = small.told(ground_of(path), {0: layout}, RULES, {"turf60": TURF})
    assert said.code == "small-pieces" and said.site == "S0"
    assert f"{len(layout.pieces)} of {len(layout.pieces)} pieces" in said.message
    along = lay_all(path, bearing=90.0)[0].layouts[0]  # 2 ft wide: no narrower than the least
    assert small.told(ground_of(path), {0: along}, RULES, {"turf60": TURF}) == ()


def test_narrow_strips_are_found_where_they_lie():
    """By hand, strips of 12 m: a narrow one is fine at a border, not between others."""
    layout = lay_all(SHAPES["square"], bearing=90.0)[0].layouts[0]

    def laid(*wide):
        ends = np.cumsum([0.0, *wide])
        pieces = np.array([(0, 12, a, b) for a, b in pairwise(ends)])
        seams = np.array([(v, 0, 12) for v in ends[1:-1]])
        return replace(layout, pieces=pieces, seams=seams, cross=np.empty((0, 3)))

    assert small.narrow_inside(laid(1, 4, 4, 1.5), RULES) == 0
    assert small.narrow_inside(laid(4, 1, 4), RULES) == 1
    assert small.narrow_inside(laid(1, 1.5, 4), RULES) == 1  # one strip, inside and beside another
    assert small.narrow_inside(laid(4, 1, 4), FREE) == 0


def test_no_cross_seam_where_a_roll_reaches():
    """A lawn 7 ft by 60, alone: half of the roll is left over. A cross seam would save 30 ft of
    roll (945 USD), more than twice its 66 USD; the bid must allow it."""
    lawn = shapely.box(0, 0, 60 * FOOT, 7 * FOOT)
    assert all(not len(layout.cross) for layout in lay_all(lawn)[0].layouts)
    anywhere = LayoutRules.model_validate({"cross_seams": "anywhere"})
    assert any(len(layout.cross) == 1 for layout in lay_all(lawn, rules=anywhere)[0].layouts)


@pytest.mark.parametrize("dear, seams", [("450 USD", 0), ("400 USD", 1)])
def test_a_cross_seam_saves_twice_what_it_costs(dear, seams):
    """The same lawn: 29.5 ft x 15 ft x 2.10 = 929 USD saved; with 7 ft of seam (29 USD) twice 429
    is less, twice 479 more."""
    rules = LayoutRules.model_validate({"cross_seams": "anywhere", "cross_seam_cost": dear})
    lawn = shapely.box(0, 0, 60 * FOOT, 7 * FOOT)
    offered = lay_all(lawn, bearing=90.0, rules=rules)[0].layouts
    assert max(len(layout.cross) for layout in offered) == seams


def test_a_seam_that_passes_a_corner_is_reckoned_longer():
    """An L: a seam 0.2 m beyond its inner corner and one 0.5 m beyond."""
    edges, vs = kernel.turn(
        np.array([(0, 0, 9, 0), (9, 0, 9, 4), (9, 4, 5, 4), (5, 4, 5, 8), (5, 8, 0, 8), (0, 8, 0, 0)], float),
        1.0, 0.0, 1e-6,
    )  # fmt: skip
    flipped = kernel.slabs(edges, vs, np.array([vs[0], vs[0] + 3.5, vs[0] + 3.8, vs[-1]]), 0.1)[3]
    assert flipped[2] - flipped[1] == pytest.approx(kernel.UNCLEAR_M) and flipped[3] == 0


def test_strips_are_a_pair_only_where_they_lie_abreast_and_whole():
    """Met by runs of a thousand lots: a narrow strip at the border and another past the house."""
    laid = np.array([[0, 5, 0, 1], [7, 9, 1, 2.0], [3, 6, 1, 2], [0, 2, 2, 3], [4, 5, 2, 3]])
    assert not lawns._abreast(laid, np.array([0]), np.array([1]))
    assert lawns._abreast(laid, np.array([0]), np.array([1, 2]))
    assert lawns._without_gaps(laid[:1]) and not lawns._without_gaps(laid[3:])
