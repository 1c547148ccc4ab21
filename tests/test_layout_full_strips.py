"""Full strips first: an odd one lies at a border where that costs (nearly) the same turf."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from layout_brute import odd
from layout_cases import FOOT, RULES, SHAPES, USABLE, assert_lies_well, lay_all

from geoturf.layout import placing
from geoturf.rules import LayoutRules

SAME = RULES.model_copy(update={"full_strips_m": 0.0})


def weighed(layout, times: int = 1) -> float:
    """Turf, seams and odd strips (m2), as an area chooses: 6 in of roll each, or so many times as
    much."""
    return layout.cost + layout.odd * times * 15 * FOOT * 0.5 * FOOT


def widths_ft(layout) -> list[float]:
    """Of the strips, from border to border."""
    lines = np.unique(layout.pieces[:, 2:].round(6), axis=0)
    return ((lines[:, 1] - lines[:, 0]) / FOOT).round(2).tolist()


@pytest.mark.parametrize("rest_ft", [15.3, 17.0, 22.0, 26.0])
def test_what_full_strips_leave_of_a_lawn_is_one_strip_at_its_border(rest_ft):
    """Two full strips and a rest that no roll covers: three full ones, and the rest of the rest, at
    the least width, at a border. (Split in two, 8.5 + 6.8 ft say, it would lie between them.)"""
    lawn = shapely.box(0, 0, 54 * FOOT, 2 * USABLE + rest_ft * FOOT)
    layout = min(lay_all(lawn, bearing=90.0)[0].layouts, key=weighed)
    assert_lies_well(layout, lawn)
    full = USABLE / FOOT
    inner, outer = widths_ft(layout)[1:-1], (widths_ft(layout)[0], widths_ft(layout)[-1])
    assert layout.odd == 0 and inner == pytest.approx([full] * len(inner), abs=0.01)
    assert len(inner) == 2 and sum(outer) + 2 * full == pytest.approx(2 * full + rest_ft, abs=0.01)


def test_one_piece_lies_where_a_roll_reaches_across():
    """An arm of 10 ft is one strip, not 6 and 4."""
    yard = shapely.box(0, 0, 54 * FOOT, USABLE) | shapely.box(0, 0, 11 * FOOT, USABLE + 10 * FOOT)
    yard |= shapely.box(35 * FOOT, 0, 54 * FOOT, USABLE + 10 * FOOT)
    layout = min(lay_all(yard, bearing=90.0)[0].layouts, key=weighed)
    assert sorted(widths_ft(layout)) == pytest.approx([10, USABLE / FOOT], abs=0.01)


@pytest.mark.parametrize("name", SHAPES)
def test_odd_strips_are_counted_as_by_hand(name):
    """The same count from lines and seams, `layout_brute.odd`, where strips run from border to
    border without a gap between them."""
    for layout in lay_all(SHAPES[name], rules=SAME)[0].layouts:
        lines = np.unique(layout.pieces[:, 2:].round(6), axis=0)
        if any(abs(a[1] - b[0]) > 1e-5 for a, b in pairwise(lines)):
            continue
        of = [np.all(np.abs(layout.pieces[:, 2:] - line) < 1e-5, axis=1) for line in lines]
        lengths = [(layout.pieces[rows, 1] - layout.pieces[rows, 0]).tolist() for rows in of]
        at = [lines[0, 0], *lines[:, 1]]
        near = [np.abs(layout.seams[:, 0] - v) < 1e-5 for v in at]
        seams = [float((layout.seams[some, 2] - layout.seams[some, 1]).sum()) for some in near]
        assert layout.odd == odd(at, lengths, seams)


def test_a_strip_given_up_for_is_worth_what_the_rules_say():
    """A lawn that steps in by the half of a strip: with nothing given up, it is laid in odd strips;
    with ten feet of roll, in full ones."""
    many = LayoutRules.model_validate({"full_strips": "10 ft"})
    shapes = [SHAPES["ring"], SHAPES["disc"], SHAPES["triangle"], SHAPES["long"]]
    before = [min(one.layouts, key=weighed) for one in lay_all(*shapes, rules=SAME)]
    after = [min(one.layouts, key=lambda x: weighed(x, 20)) for one in lay_all(*shapes, rules=many)]
    assert sum(one.odd for one in after) < sum(one.odd for one in before)


def test_seams_beside_a_strip_are_told_by_length_on_its_own_lines():
    """A full strip, two odd ones: the middle one between seams counts once, and once for the
    pair."""
    pieces = np.array([[0, 9, 0, 4.0], [0, 9, 4, 6], [0, 9, 6, 8.0]])
    seams = np.array([[4.0, 0, 9], [6.0, 0, 9]])
    assert placing.odd(pieces, seams, 4.0) == 2
    assert placing.odd(pieces, seams[:1], 4.0) == 0
    assert placing.odd(pieces, seams, 2.0) == 0


@pytest.mark.parametrize(
    ("notch_ft", "seam_ft"), [(10.7, 25 - USABLE / FOOT), (14.3, USABLE / FOOT)]
)
def test_a_seam_keeps_a_foot_from_corners_where_that_is_free(notch_ft, seam_ft):
    """A lawn of 54 x 25 ft: the full strip lies below or above at the same cost, and a notch in its
    side, half a foot deep, takes nothing off either. The seam is the one away from the notch."""
    low, high = (notch_ft - 0.25) * FOOT, (notch_ft + 0.25) * FOOT
    lawn = shapely.box(0, 0, 54 * FOOT, 25 * FOOT) - shapely.box(0, low, 0.5 * FOOT, high)
    other = 25 - seam_ft
    layout = min(lay_all(lawn, bearing=90.0)[0].layouts, key=weighed)
    at = sorted({round(abs(v) / FOOT, 2) for v in layout.seams[:, 0]})
    assert at == pytest.approx([other], abs=0.01)
    assert abs(other - notch_ft) > 1 > abs(seam_ft - notch_ft)
