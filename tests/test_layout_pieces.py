"""Strips longer than a roll, in lengths: cross seams of neighbours kept apart, no length longer
than the roll. By hand."""

from __future__ import annotations

import numpy as np
import pytest

from geoturf.layout.pieces import STAGGER_M, divide


def test_a_joint_beside_the_neighbours_is_moved_by_the_stagger():
    """10 m in two lengths of up to 6 m: cut in the middle, at 5 m, where the strip before has its
    joint; so at 5.6 m."""
    assert divide(0, 10, 2, False, np.array([5.0]), 6.0) == pytest.approx([0, 5 + STAGGER_M, 10])


def test_it_is_moved_the_other_way_where_that_side_is_taken():
    assert divide(0, 10, 2, False, np.array([5.0, 5.6]), 6.0) == pytest.approx(
        [0, 5 - STAGGER_M, 10]
    )


def test_where_two_lengths_leave_no_room_three_do():
    """10 m of lengths up to 5 m can be cut in two at 5 m alone. In three, joints at 3.33 and 6.67 m
    are moved by 0.6 m."""
    ends = divide(0, 10, 2, False, np.array([5.0]), 5.0)
    assert ends == pytest.approx([0, 10 / 3 + STAGGER_M, 20 / 3 + STAGGER_M, 10])
    assert np.diff(ends).max() <= 5.0 and np.abs(ends[1:-1] - 5.0).min() >= STAGGER_M


def test_a_joint_clear_of_the_neighbours_stays_and_so_do_lengths_side_by_side():
    assert divide(0, 10, 2, False, np.array([3.0]), 6.0) == pytest.approx([0, 5, 10])
    assert divide(0, 10, 2, True, np.array([5.0]), 6.0) == pytest.approx(
        [0, 5, 10]
    )  # side by side: equal
