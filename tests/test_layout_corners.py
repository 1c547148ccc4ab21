"""What strips waste on slanted borders: against the best of all ways to lay strips along the lines
of a grid."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from layout_cases import INCH, RULES, SHAPES, TURF, USABLE, bounds_of, lay_all
from layout_lengthened import ENDS, FACTOR, lengthened_m2, share_m2
from shapely.affinity import rotate

from geoturf.layout import chords, corners, kernel
from geoturf.layout.bound import strip_bound_m2
from geoturf.layout.roll import stocked
from geoturf.layout.shape import SNAP_M, shape_of, turned
from geoturf.layout.sizes import StripSizes
from geoturf.rules import LayoutRules

(ROLL,) = stocked("turf60", TURF, RULES)
SIZES = StripSizes(USABLE, USABLE - INCH, INCH, ENDS, 0.0)


Extent = Callable[[int, int, int, int], tuple[float, float]]
Crosses = Callable[[int, int, int], bool]


def least_laid(
    us: np.ndarray, vs: np.ndarray, extent: Extent, crosses: Crosses, sizes: StripSizes = SIZES
) -> float:
    """Least area of pieces (m2) over every way to cut a box along the lines ``us``, ``vs`` of a
    grid, again and again, into strips no wider than a roll (pile along u): lengthwise anywhere,
    across where no turf is. They are as long as their turf.
    ``extent(a, b, c, d)``: u of the turf between those lines, from and to; ``crosses(k, c, d)``:
      whether turf crosses that u."""
    usable, _, side, ends, _ = sizes

    @cache
    def least(a: int, b: int, c: int, d: int) -> float:
        low, high = extent(a, b, c, d)
        if high <= low:
            return 0.0
        wide = vs[d] - vs[c]
        best = (high - low + ends) * min(wide + side, usable) if wide <= usable + 1e-9 else np.inf
        best = min([best, *(least(a, b, c, k) + least(a, b, k, d) for k in range(c + 1, d))])
        clear = [k for k in range(a + 1, b) if not crosses(k, c, d)]
        return min([best, *(least(a, k, c, d) + least(k, b, c, d) for k in clear)])

    return least(0, len(us) - 1, 0, len(vs) - 1)


def strips_m2(shape: shapely.Geometry, step: float = 1.0) -> float:
    """Least turf, in proportion, that strips of the shape along grid lines take (pile along x): by
    shapely, by brute force."""
    u0, v0, u1, v1 = shape.bounds
    us, vs = (
        np.linspace(u0, u1, round((u1 - u0) / step) + 1),
        np.linspace(v0, v1, round((v1 - v0) / step) + 1),
    )

    def extent(a: int, b: int, c: int, d: int) -> tuple[float, float]:
        turf = shapely.intersection(shape, shapely.box(us[a], vs[c], us[b], vs[d]))
        return (turf.bounds[0], turf.bounds[2]) if turf.area > 1e-12 else (0.0, 0.0)

    @cache
    def crosses(k: int, c: int, d: int) -> bool:
        return (
            shapely.intersection(shape, shapely.LineString([(us[k], vs[c]), (us[k], vs[d])])).length
            > 1e-9
        )

    return FACTOR * least_laid(us, vs, extent, crosses)


SLANTED = {
    "triangle": shapely.Polygon([(0, 0), (11, 0), (3, 8)]),
    "parallelogram": shapely.Polygon([(0, 0), (9, 0), (11, 9), (2, 9)]),
    "nearly square": shapely.Polygon([(0, 0), (10, 0.3), (10.5, 10), (-0.4, 9.6)]),
    "kite": shapely.Polygon([(4, 0), (10, 5), (4, 9), (0, 5)]),
    "arms": shapely.Polygon(
        [(0, 0), (12, 0), (11, 9), (8, 9), (7.4, 3), (4, 3), (4.6, 9), (1.5, 9)]
    ),
    "step and slant": shapely.Polygon([(0, 0), (12, 0), (11, 4), (7, 4), (6, 9), (1, 9)]),
}


@pytest.mark.parametrize("turn", [0, 8])
@pytest.mark.parametrize("name", SLANTED)
def test_no_way_to_cut_a_grid_apart_takes_less(name, turn):
    shape = rotate(SLANTED[name], turn, origin=(0, 0))
    assert strip_bound_m2(shape_of(shape), [ROLL], 90.0) <= strips_m2(shape)


@pytest.mark.parametrize("name", SLANTED)
def test_it_is_more_than_the_lengthened_shape_alone(name):
    """By what is told of the corners, and by no more than half of what the best grid wastes (the
    rest is the grid's)."""
    shape = SLANTED[name]
    found, plain = (
        strip_bound_m2(shape_of(shape), [ROLL], 90.0),
        FACTOR * lengthened_m2(shape, 90.0),
    )
    assert plain * 1.001 < found < strips_m2(shape)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), min_size=3, max_size=7, unique=True),
    st.floats(0.0, 0.06),
    st.sampled_from([-1.0, -0.4, 0.0, 0.7, 1.0]),
)
def test_it_holds_for_bearings_about_the_one_tried(corners_at, turn, part):
    """Corners counted at one bearing for all within ``turn`` of it: the shape laid at one of these
    takes as much."""
    shape = shapely.Polygon(corners_at).buffer(0)
    if shape.area < 4 or shape.geom_type != "Polygon":
        return
    view = turned(shape_of(shape).edges, 90.0)
    waste = corners.loss(view.edges, view.vs, SIZES, turn)
    other = rotate(shape, np.degrees(part * turn), origin=(0, 0))
    there = turned(shape_of(other).edges, 90.0)
    area = kernel.rows(there.edges, there.vs, ENDS)
    assert FACTOR * (area + waste) <= strips_m2(other, 1.5) * (1 + 1e-9)


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, 20), st.integers(0, 20)), min_size=3, max_size=8, unique=True)
)
def test_no_layout_takes_less_where_seams_are_free(points):
    """Strips as narrow as the rules allow, placed for the least turf."""
    hull = shapely.convex_hull(shapely.multipoints(points))
    if hull.area < 20:
        return
    rules = LayoutRules.model_validate({"seam_cost": "0 USD/ft", "cross_seam_cost": "0 USD"})
    (choices,) = lay_all(hull, rules=rules)
    assert bounds_of(hull, rules=rules)[0] <= min(share_m2(layout) for layout in choices.layouts)


def test_slanted_sides_by_hand():
    """A parallelogram 4 m high and 20 m long, its sides leaning 1 in 100: one strip wastes 2 / 100
    x 4^2 / 2 at its ends. It is narrower than the roll by more than an inch, so it takes an inch of
    allowance, 20 m and both ends long. (Laid as wide as the roll, past the border, it takes half a
    metre.) Two strips would save 8 dm2 at the ends and take 51 more."""
    shape = shapely.Polygon([(0, 0), (20, 0), (20.04, 4), (0.04, 4)])
    view = turned(shape_of(shape).edges, 90.0)
    waste = 2 / 100 * 4**2 / 2
    assert corners.loss(view.edges, view.vs, SIZES, 0.0) == pytest.approx(
        waste + INCH * (20 + ENDS), rel=1e-5
    )


def test_a_step_by_hand():
    """Turf 10 m long on 2 m, 16 m long on the next 2 m: one strip would waste 6 m x 2 m, so there
    are two, both narrow."""
    view = turned(
        shape_of(shapely.union(shapely.box(0, 0, 10, 2), shapely.box(0, 2, 16, 4))).edges, 90.0
    )
    assert corners.loss(view.edges, view.vs, SIZES, 0.0) == pytest.approx(
        INCH * (10 + ENDS + 16 + ENDS), rel=1e-5
    )


def test_a_house_by_hand():
    """A lot 30 m x 10 m, a house of 8 m x 6 m amid it. 2 m on both sides of the house are narrow
    strips; in front of it and behind it 6 m are one whole strip and a narrow one. What passes a
    corner of the house wastes 8 m a line."""
    lot = shapely.box(0, 0, 30, 10) - shapely.box(10, 2, 18, 8)
    view = turned(shape_of(lot).edges, 90.0)
    assert corners.loss(view.edges, view.vs, SIZES, 0.0) == pytest.approx(
        INCH * (30 + 30 + 10 + 12 + 4 * ENDS), rel=1e-5
    )


def test_a_step_that_hardly_costs_more_than_the_allowance_spares_no_more():
    """A strip 4.46 m wide wants an inch. It may as well go on into the shorter side of a step, be
    as wide as the roll and waste some of that: it is not told to take the inch."""
    shape = shapely.union(shapely.box(0, 0, 20, 4.46), shapely.box(0, 4.46, 19.4, 8))
    view = turned(shape_of(shape).edges, 90.0)
    past = 0.6 * (USABLE - 4.46)
    found = corners.loss(view.edges, view.vs, SIZES, 0.0)
    assert INCH * (19.4 + ENDS) <= found <= INCH * (19.4 + ENDS) + past


def test_several_bearings_at_once_are_told_as_one_by_one():
    edges = shape_of(SHAPES["ring"]).edges
    angles, turns = np.radians([3.0, 40.0, 77.0, 90.0]), np.array([0.0, 0.01, 0.002, 0.0])
    wanted = np.array([True, True, False, True])
    *many, area = kernel.views(edges, np.sin(angles), np.cos(angles), SNAP_M, ENDS)
    found = corners.losses(
        *chords.arms_of(*many, corners.APART * ENDS, wanted), *many, SIZES, turns, wanted
    )
    for angle, turn, told, one, whole in zip(angles, turns, wanted, found, area, strict=True):
        view = kernel.turn(edges, np.sin(angle), np.cos(angle), SNAP_M)
        assert whole == kernel.rows(*view, ENDS)
        assert one == (corners.loss(*view, SIZES, turn) if told else 0.0)


@pytest.mark.parametrize(
    ("long", "wide", "roll"), [(13.3, 2.0, 2.0), (5.0, 3.0, 1.5), (9.0, 4.5, 4.5)]
)
@pytest.mark.parametrize("turn", [0.0005, 0.004, 0.02, 0.05])
@pytest.mark.parametrize("part", [-1.0, -0.5, 0.0, 1.0])
def test_strips_as_wide_as_the_roll_take_no_allowance(long, wide, roll, turn, part):
    """Rectangles of whole strips, told from bearings beside their own."""
    view = turned(shape_of(shapely.box(0, 0, long, wide)).edges, 90.0 + np.degrees(part * turn))
    assert (
        corners.loss(
            view.edges, view.vs, StripSizes(float(roll), roll - INCH, INCH, 0.3, 0.0), turn
        )
        < 1e-6
    )


def cells_m2(turf: np.ndarray, us: np.ndarray, vs: np.ndarray, sizes: StripSizes) -> float:
    """`least_laid` of turf in some cells of a grid (``turf`` bool (columns, rows)): exact."""

    def extent(a: int, b: int, c: int, d: int) -> tuple[float, float]:
        columns = np.flatnonzero(turf[a:b, c:d].any(axis=1)) + a
        return (us[columns[0]], us[columns[-1] + 1]) if len(columns) else (0.0, 0.0)

    def crosses(k: int, c: int, d: int) -> bool:
        return bool((turf[k - 1, c:d] & turf[k, c:d]).any())

    return least_laid(us, vs, extent, crosses, sizes)


@pytest.mark.parametrize("seed", range(8))
def test_no_way_to_lay_cells_of_a_grid_takes_less(seed):
    """Steps, holes and arms that part and join, told from bearings beside their own: in 400,000
    such, and as many of slanted ends, none took less."""
    random, told = np.random.default_rng(seed), 0
    for _ in range(40):
        columns, rows = random.integers(3, 7, 2)
        us = np.concatenate([[0], np.cumsum(random.choice([0.3, 0.7, 1, 2, 4], columns))])
        vs = np.concatenate([[0], np.cumsum(random.choice([0.05, 0.2, 0.5, 1, 1.5, 3], rows))])
        turf = np.zeros((columns, rows), bool)
        for what in (True, True, True, False, False):
            (a, b), (c, d) = (
                np.sort(random.integers(0, columns + 1, 2)),
                np.sort(random.integers(0, rows + 1, 2)),
            )
            turf[a:b, c:d] = what
        if not turf.any():
            continue
        usable, side = random.choice([1.5, 2, 3, 4.5]), random.choice([INCH, 0.1, 0.3])
        sizes = StripSizes(
            *map(float, (usable, usable - side, side, random.choice([0.05, 0.15, 0.3]), 0))
        )
        cells = [
            shapely.box(us[k], -vs[m + 1], us[k + 1], -vs[m])
            for k, m in zip(*np.nonzero(turf), strict=True)
        ]
        edges = shape_of(shapely.union_all(cells)).edges
        turn, part = random.choice([0, 0.001, 0.004, 0.02]), random.choice([-1, -0.4, 0, 1])
        straight, view = turned(edges, 90.0), turned(edges, 90.0 + np.degrees(part * turn))
        waste = corners.loss(view.edges, view.vs, sizes, turn)
        area = kernel.rows(straight.edges, straight.vs, sizes.ends)
        assert area + waste <= cells_m2(turf, us, vs, sizes) * (1 + 1e-6)
        told += waste > 0
    assert told > 20


def test_many_narrow_strips_by_hand():
    """The same leaning 1 in 1: n strips waste 16 / n m2 and take n x 0.0254 x 20.1524. The best are
    five or six."""
    shape = shapely.Polygon([(0, 0), (20, 0), (24, 4), (4, 4)])
    view = turned(shape_of(shape).edges, 90.0)
    least = min(2 * 4**2 / 2 / n + n * INCH * (20 + ENDS) for n in range(1, 12))
    assert corners.loss(view.edges, view.vs, SIZES, 0.0) == pytest.approx(least, rel=1e-5)


def test_ends_slanted_up_to_the_steepest_waste_nothing_there():
    """Leaning 3 in 1, where ends may lean 2 in 1: what counts is 1 in 1. The inch that is added
    across may close in as fast."""
    shape = shapely.Polygon([(0, 0), (20, 0), (32, 4), (12, 4)])
    view = turned(shape_of(shape).edges, 90.0)
    sizes = SIZES._replace(steepest=2.0)
    least = min(2 * 4**2 / 2 / n + n * INCH * (20 + ENDS - 2 * INCH) for n in range(1, 12))
    assert corners.loss(view.edges, view.vs, sizes, 0.0) == pytest.approx(least, rel=1e-5)


@pytest.mark.parametrize("off_deg", [-0.2, -0.05, 0.05, 0.2])
def test_lines_that_meet_turf_twice_spoil_no_stretch(off_deg):
    """A slant beside a step: along the sides no line meets turf twice, turned by a hair a few near
    the step do. What the slant wastes on the others counts all the same."""
    shape = shapely.Polygon([(0, 0), (3, 0), (1, 2), (1, 3), (0, 3)])

    def waste(bearing_deg):
        view = turned(shape_of(shape).edges, bearing_deg)
        return corners.loss(view.edges, view.vs, SIZES, 0.0)

    assert waste(off_deg) > 0.6 * waste(0.0) > 0.05


def test_slanted_ends_follow_the_border():
    (slanted,) = stocked("turf60", TURF, LayoutRules(nesting="slanted"))
    shape = SLANTED["parallelogram"]
    assert strip_bound_m2(shape_of(shape), [slanted], 90.0) == pytest.approx(
        FACTOR * lengthened_m2(shape, 90.0), rel=2e-5
    )
