"""Strips cut across, by hand: pile to the north, two strips of 2 m by 10 m with a bed of 1 m by
2 m cut out of the first."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geoturf.layout import cut_across
from geoturf.model import Layout
from geoturf.rules import LayoutRules

RULES = LayoutRules.model_validate({"end_allowance": "10 cm", "cut_step": "5 cm"})
NONE = np.zeros((0, 3))
PLAIN = Layout(
    bearing_deg=0.0,
    pieces=np.array([[0.0, 10.0, 0.0, 2.0], [0.0, 10.0, 2.0, 4.0]]),
    seams=np.array([[2.0, 0.0, 10.0]]),
    cross=NONE,
    cut=np.array([[10.2, 2.0], [10.2, 2.0]]),
    width_m=2.0,
    roll_width_m=2.1,
    seam_m=10.0,
    cost=1.0,
)
LAID = shapely.box(0, 0, 4, 10) - shapely.box(0, 6, 1, 8)


def test_a_strip_goes_in_three_lengths_with_seams_where_turf_is():
    made = cut_across(PLAIN, LAID, [[3.0, 7.02], []], RULES)
    assert made.pieces.tolist() == [[0, 3, 0, 2], [3, 7.02, 0, 2], [7.02, 10, 0, 2], [0, 10, 2, 4]]
    # 3, 4.02 and 2.98 m and both ends of 10 cm, to the next 5 cm; what stays whole is cut as it was
    assert made.cut[:, 0].tolist() == pytest.approx([3.2, 4.25, 3.2, 10.2])
    assert made.cross == pytest.approx(np.array([[3, 0, 2], [7.02, 1, 2]]))
    assert made.seam_m == pytest.approx(10 + 2 + 1)
    assert (made.bearing_deg, made.seams.tolist()) == (0.0, PLAIN.seams.tolist())


def test_without_joints_the_layout_stays_the_same_object():
    assert cut_across(PLAIN, LAID, [[], []], RULES) is PLAIN
