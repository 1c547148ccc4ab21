"""Roll layouts: the rules of the trade held by every layout offered (checked with shapely, which
the layout does not use)."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from layout_cases import (
    FOOT,
    INCH,
    SHAPES,
    USABLE,
    assert_lies_well,
    lay_all,
)
from shapely.affinity import rotate, translate

from geoturf.errors import InputError
from geoturf.rules import LayoutRules, Product


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("turn", [0, 31.7])
def test_every_layout_offered_lies_well(name, turn):
    shape = translate(rotate(SHAPES[name], turn, origin=(0, 0)), 105.3, -48.1)
    (choices,) = lay_all(shape)
    assert choices.layouts
    for layout in choices.layouts:
        assert_lies_well(layout, shape)


def test_parts_side_by_side_have_seams_of_their_own():
    """Two plots one roll wide and a step apart, the pile given along both: two pieces and no
    seam."""
    plots = shapely.MultiPolygon(
        [shapely.box(0, 0, USABLE, 6), shapely.box(2.0, 7, 2.0 + USABLE, 12)]
    )
    (choices,) = lay_all(plots, bearing=0.0)
    best = choices.layouts[0]
    assert len(best.pieces) == 2 and best.seam_m == 0
    assert np.allclose(best.cut[:, 1], USABLE)


def test_a_strip_of_turf_one_roll_wide_is_one_piece():
    (choices,) = lay_all(shapely.box(0, 0, USABLE, 10))
    best = choices.layouts[0]
    assert len(best.pieces) == 1 and best.seam_m == 0
    assert best.bearing_deg % 180 == pytest.approx(0, abs=1e-9)
    assert best.cut[0] == pytest.approx(
        [400 * INCH, USABLE]
    )  # 10 m + 6 in = 399.7 in, up to the next inch


@pytest.mark.parametrize("wide", [10 * FOOT, 4 * FOOT, 30 * FOOT])
@pytest.mark.parametrize(("feet", "rolls"), [(99.5, 1), (199, 2), (298.5, 3)])
@pytest.mark.parametrize("micrometres", [-30, 0, 1.4, 6, 29, 31])
def test_a_lawn_as_long_as_its_rolls_hold(wide, feet, rolls, micrometres):
    """A roll of 100 ft holds 99.5 ft of lawn. What the grid of laid vertices adds buys no piece
    more; what is truly longer does, and no piece is cut longer than its roll."""
    lawn = shapely.box(0, 0, wide, feet * FOOT + micrometres * 1e-6)
    (choices,) = lay_all(lawn, bearing=0.0)
    for layout in (*choices.layouts, *choices.by_hand):
        assert layout.cut[:, 0].max() <= 100 * FOOT + 1e-9
        counts = np.unique(np.round(layout.pieces[:, 2], 3), return_counts=True)[1]
        assert counts.min() >= rolls + (micrometres > 5)
    if wide == 10 * FOOT:  # one strip: its joints need not be kept clear of a neighbour's
        assert min(len(layout.pieces) for layout in choices.layouts) == rolls + (micrometres > 5)


def test_a_roll_too_small_is_refused_in_one_line():
    rules = LayoutRules.model_validate({"selvage_trim": "7.5 ft"})
    with pytest.raises(InputError, match=r"turf60.*selvage") as caught:
        lay_all(shapely.box(0, 0, 5, 5), rules=rules)
    assert len(str(caught.value).splitlines()) == 1
    short = Product.model_validate({"roll_lengths": "1 ft"})
    with pytest.raises(InputError, match="end allowances"):
        lay_all(shapely.box(0, 0, 5, 5), product=short)
