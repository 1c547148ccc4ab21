"""Turf about a house, cut across in front and behind: every pair of cuts, each part by brute force,
against what is found."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from layout_brute import FREE, ROLL, SEAM, brute_force
from layout_cases import TURF, USABLE, assert_lies_well, lay_all
from shapely.affinity import rotate

from geoturf.layout import arms, kernel
from geoturf.layout.roll import BALANCED, PROP, stocked
from geoturf.layout.seams import refined, sought
from geoturf.layout.shape import shape_of

HOUSE = shapely.box(3.1, 4.0, 8.2, 10.0)
LOTS = {
    # on the left the border steps in at 6.2 m, on the right at 8 m: a seam there suits that side
    # only
    "house in the middle": shapely.Polygon(
        [(0, 0), (14, 0), (14, 8), (11, 8), (11, 14), (1.2, 14), (1.2, 6.2), (0, 6.2)]
    )
    - HOUSE,
    "house at the back": shapely.Polygon(
        [(0, 0), (14, 0), (14, 11), (8.2, 11), (8.2, 5), (4, 5), (4, 8), (0.5, 8)]
    ),
}


def pile_along_x(shape, roll=ROLL):
    """The searches at that one bearing: the shape in one, and cut in parts."""
    whole = sought(shape_of(shape), 90.0, roll)
    return whole, list(arms.in_parts([whole], roll, (PROP, BALANCED)))


@pytest.mark.parametrize("bearing", [90.0, 63.0])
@pytest.mark.parametrize("name", LOTS)
def test_what_lies_behind_a_cut_and_before_it_is_the_whole(name, bearing):
    """At every seam of the best strips both costs make up the whole, its own seam in both;
    elsewhere no less."""
    for found in sought(shape_of(LOTS[name]), bearing, ROLL).found:
        view, row, roll = found.shape, found.models.index(BALANCED), found.roll
        behind = arms.behind(view, found.cuts, roll.numbers, roll.shares[BALANCED][None])
        seams = kernel.slabs(view.edges, view.vs, found.cuts, roll.ends_m)[3] * roll.numbers.seam
        both, total = found.upto[row] + behind - seams, found.cost[BALANCED]
        assert behind[0] == pytest.approx(total)
        assert np.nanmin(both) >= total - 1e-9
        at = len(found.cuts) - 1
        while at > 0:
            assert both[at] == pytest.approx(total)
            at = found.before[row, at]


@pytest.mark.parametrize("model", [PROP, BALANCED])
@pytest.mark.parametrize("name", LOTS)
def test_no_two_cuts_at_corners_are_cheaper(name, model):
    """Cuts at every pair of corners, each part by every set of seams two feet apart."""
    shape = LOTS[name]
    low, high = shape.bounds[1], shape.bounds[3]
    corners = sorted({*shapely.get_coordinates(shape)[:, 1]} | {low, high})
    corners = [v for v in corners if v in (low, high) or (v - low > 0.16 and high - v > 0.16)]

    def laid(a, b):
        """Least cost of what lies between two cuts: connected parts by themselves."""
        cost = 0.0
        for part in shapely.get_parts(shapely.intersection(shape, shapely.box(-99, a, 99, b))):
            inner = {*np.arange(a + 0.61, b - 0.3, 0.61), a + USABLE, b - USABLE}
            grid = sorted(v for v in inner if a < v < b and all(abs(v - c) > 1e-3 for c in corners))
            cost += brute_force(part, grid[:12], model, FREE) if part.area > 1e-9 else 0.0
        return cost

    def seam(v):
        """Turf just above the cut that is also just below it."""
        sides = [
            shapely.intersection(shape, shapely.box(-99, a, 99, b))
            for a, b in ((v - 1e-6, v), (v, v + 1e-6))
        ]
        below, above = (
            shapely.union_all(
                [shapely.box(p.bounds[0], 0, p.bounds[2], 1) for p in shapely.get_parts(s)]
            )
            for s in sides
        )
        return below.intersection(above).area

    between = {(a, b): laid(a, b) for a, b in itertools.combinations(corners, 2) if b - a > 0.16}
    cost_at = {v: 0.0 if v in (low, high) else SEAM * seam(v) for v in corners}
    least = min(
        sum(between[p] for p in itertools.pairwise(cuts)) + sum(cost_at[v] for v in cuts)
        for count in (2, 3, 4)
        for cuts in (
            c for c in itertools.combinations(corners, count) if c[0] == low and c[-1] == high
        )
        if all(p in between for p in itertools.pairwise(cuts))
    )
    whole, parted = pile_along_x(shape, *stocked("turf60", TURF, FREE))
    costs = [
        sum(refined(found, model).cost for found in one.found)
        + SEAM * np.diff(one.joints[:, 1:]).sum()
        for one in (whole, *parted)
    ]
    assert min(costs) <= least * 1.005


def test_parts_about_a_house_are_cheaper_than_strips_through_both_sides():
    whole, (parted,) = pile_along_x(LOTS["house in the middle"])
    assert len(parted.found) >= 3 and len(parted.joints)
    assert parted.cost[BALANCED] < 0.995 * whole.cost[BALANCED]


@pytest.mark.parametrize("turn", [0, 22.5])
@pytest.mark.parametrize("name", LOTS)
def test_layouts_in_parts_lie_well(name, turn):
    shape = rotate(LOTS[name], turn, origin=(0, 0))
    for layout in lay_all(shape)[0].layouts:
        assert_lies_well(layout, shape)


def test_a_lot_no_line_meets_twice_stays_in_one():
    assert not pile_along_x(shapely.box(0, 0, 14, 11))[1]
