"""Slanted ends: chalk lines that waste least, and pieces that nest. By hand, by brute force and by
hypothesis."""

from itertools import pairwise, permutations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Polygon

from geoturf.cuts import slanted

STEP, WIDTH = 0.0254, 178 * 0.0254


def inches(*points):
    return Polygon([(u * STEP, v * STEP) for u, v in points])


def lines(shape, u0, u1):
    pieces = np.array([[u0 * STEP, u1 * STEP, 0, WIDTH]])
    cut, left = slanted.cut_lines(shape, pieces, 3 * STEP, WIDTH, STEP)
    return (*cut[0].tolist(), round(left[0] / STEP, 6))


def test_a_rectangle_is_cut_square():
    assert lines(inches((0, 0), (240, 0), (240, 178), (0, 178)), 0, 240) == (246, 0, 0, -3)


def test_a_parallelogram_is_cut_along_its_ends():
    # both ends lean 100 in over the roll's width; the middle is 240 in long, and 3 in are left at
    # each end to trim
    assert lines(inches((0, 0), (240, 0), (340, 178), (100, 178)), 0, 340) == (246, 100, 100, -3)


def test_a_pointed_end_is_cut_by_the_line_that_wastes_least():
    # the tip lies in the middle: no slant helps, a square cut touches it
    assert lines(inches((0, 0), (200, 0), (240, 89), (200, 178), (0, 178)), 0, 240) == (
        246,
        0,
        0,
        -3,
    )


def test_lines_that_would_cross_on_the_piece_are_not_cut():
    # turf in the middle of the strip only, its two sides so steep that chalk lines along them would
    # meet before the edge
    assert lines(inches((50, 80), (60, 80), (110, 100), (0, 100)), 0, 110) == (116, 0, 0, -3)


def test_a_slant_must_win_a_step():
    middle, start, end, _ = lines(inches((0, 0), (240, 0), (241, 178), (0, 178)), 0, 241)
    assert (middle, start, end) == (247, 0, 0)


def test_nested_parallelograms_take_their_middles_and_one_triangle():
    chain = [(246, 100, 100)] * 3
    assert slanted.span(chain) == 3 * 246 + 100  # square cuts: 3 x 346
    assert slanted.starts(chain) == [0, 246, 492]
    assert slanted.chains(chain, 1200) == [[0, 1, 2]]


def test_no_chain_outgrows_the_roll():
    assert slanted.chains([(246, 100, 100)] * 3, 600) == [[0, 1], [2]]


def test_opposite_slants_save_nothing():
    assert slanted.span([(100, 0, 40), (100, -40, 0)]) == 100 + 40 + 100
    assert slanted.chains([(100, 0, 40), (100, -40, 0)], 1200) == [[0], [1]]


even = st.integers(-50, 50).map(lambda k: 2 * k)
piece = st.tuples(st.integers(100, 400), even, even)


@given(st.lists(piece, min_size=1, max_size=8), st.integers(600, 3000))
def test_chains_hold_every_piece_once_and_never_take_more_than_square_cuts(pieces, longest):
    found = slanted.chains(pieces, longest)
    assert sorted(i for chain in found for i in chain) == list(range(len(pieces)))
    for chain in found:
        nested = [pieces[i] for i in chain]
        assert slanted.span(nested) <= sum(slanted.square_length(*p) for p in nested)
        assert len(chain) == 1 or slanted.span(nested) <= longest


@given(st.lists(piece, min_size=2, max_size=6))
def test_nested_pieces_touch_but_never_overlap(pieces):
    at = slanted.starts(pieces)
    for k, (before, after) in enumerate(pairwise(pieces)):
        left_gap = at[k + 1] - (
            at[k] + before[0] + (before[1] - before[2]) // 2
        )  # along the left edge
        right_gap = left_gap + after[1] - before[2]
        assert min(left_gap, right_gap) == 0 <= max(left_gap, right_gap)


@given(st.lists(piece, min_size=2, max_size=5))
def test_on_an_endless_roll_the_saving_is_at_least_a_third_of_the_best_order(pieces):
    """Brute force over all orders."""
    square = sum(slanted.square_length(*p) for p in pieces)
    best = min(
        slanted.span([pieces[i] for i in order]) for order in permutations(range(len(pieces)))
    )
    ours = sum(slanted.span([pieces[i] for i in chain]) for chain in slanted.chains(pieces, 10**9))
    assert best <= ours
    assert 3 * (square - ours) >= square - best


@given(
    st.lists(st.tuples(st.integers(100, 400), st.just(0), even), min_size=1, max_size=3),
    st.lists(even, min_size=3, max_size=3),
)
def test_without_circles_the_matching_is_the_best(enders, slants):
    """Pieces that start square before pieces that end square: no circle can close, so greedy is the
    best of all orders."""
    pieces = [*enders, *((200, slant, 0) for slant in slants[: len(enders)])]
    best = min(
        slanted.span([pieces[i] for i in order]) for order in permutations(range(len(pieces)))
    )
    assert (
        sum(slanted.span([pieces[i] for i in chain]) for chain in slanted.chains(pieces, 10**9))
        == best
    )
