"""The bound on any rectangles, derived in `geoturf.layout.covers`: against the best of all covers
of grids, found exactly as integer programmes by HiGHS; hand plans of stepped lawns; and by hand."""

from __future__ import annotations

import highspy
import numpy as np
import pytest
import shapely

from geoturf import highs
from geoturf.layout import chords, covers, ends, kernel, widths
from geoturf.layout.bound import bound_m2, strip_bound_m2
from geoturf.layout.halving import Views
from geoturf.layout.roll import stocked
from geoturf.layout.shape import SNAP_M, shape_of
from geoturf.layout.sizes import RectangleSizes
from geoturf.rules import LayoutRules, Product

INCH, FOOT = 0.0254, 0.3048
(ROLL,) = stocked("turf60", Product(), LayoutRules())  # 15 ft, of which 178 in are usable
TURNS = 0.0, 0.0, 0.001, 0.004, 0.02  # radians


def least_sum(costs: np.ndarray, covers_cells: list[list[int]], cells: int) -> float:
    """Least sum of costs of rectangles so that each cell lies in one of them, exactly."""
    solver, programme = highs.solver(mip_rel_gap=1e-7), highspy.HighsLp()
    programme.num_col_, programme.num_row_ = len(costs), cells
    programme.col_cost_ = costs
    programme.col_lower_, programme.col_upper_ = np.zeros(len(costs)), np.ones(len(costs))
    programme.row_lower_ = programme.row_upper_ = np.ones(cells)
    counts = [len(some) for some in covers_cells]
    programme.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    programme.a_matrix_.start_ = np.concatenate([[0], np.cumsum(counts)])
    programme.a_matrix_.index_ = np.concatenate(covers_cells)
    programme.a_matrix_.value_ = np.ones(sum(counts))
    programme.integrality_ = [highspy.HighsVarType.kInteger] * len(costs)
    solver.passModel(programme)
    solver.run()
    assert solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return solver.getInfo().objective_function_value


def least_cover(shape: shapely.Geometry, us, vs, sizes: RectangleSizes) -> float:
    """Least area (m2) cut for pieces that cover the shape (pile along x), of all ways to share the
    cells of a grid out among rectangles of cells, in strips or not, guillotine or not. A piece is
    as large as the turf within it."""
    usable, _, side, both, _, step = sizes
    m, n = len(us) - 1, len(vs) - 1
    across = [(c, d) for c in range(n) for d in range(c + 1, n + 1)]
    across = [(c, d) for c, d in across if vs[d] - vs[c] <= usable + 1e-9]
    along = [(a, b) for a in range(m) for b in range(a + 1, m + 1)]
    rows = np.array([(a, b, c, d) for a, b in along for c, d in across])
    boxes = shapely.box(us[rows[:, 0]], vs[rows[:, 2]], us[rows[:, 1]], vs[rows[:, 3]])
    turf = shapely.intersection(shape, boxes)
    real = shapely.area(turf) > 1e-9
    rows, box = rows[real], shapely.bounds(turf[real])
    one = (rows[:, 1] == rows[:, 0] + 1) & (rows[:, 3] == rows[:, 2] + 1)
    cell = {(a, c): k for k, (a, _, c, _) in enumerate(rows[one].tolist())}
    wide = box[:, 3] - box[:, 1] + side
    wide = np.ceil(wide / step - 1e-6) * step if step > 0 else wide
    costs = (box[:, 2] - box[:, 0] + both) * np.minimum(wide, usable)
    inside = [
        [cell[i, j] for i in range(a, b) for j in range(c, d) if (i, j) in cell]
        for a, b, c, d in rows.tolist()
    ]
    return least_sum(costs, inside, len(cell))


def wasted(edges: np.ndarray, bearing_deg: float, sizes: RectangleSizes, turn: float) -> float:
    """What is told beyond the lengthened shape, of bearings within ``turn``."""
    bearing = np.array([bearing_deg])
    angle = np.radians(bearing)
    view = Views(
        bearing, *kernel.views(edges, np.sin(angle), np.cos(angle), SNAP_M, sizes.ends)[:3]
    )
    swapped = np.ascontiguousarray(edges[:, [1, 0, 3, 2]])
    return float(covers.wasted(view, swapped, sizes, np.array([turn]), np.ones(1, bool))[0])


def drawn(random) -> RectangleSizes:
    """A roll and its rules, widths in whole steps of it or cut as one likes."""
    side, usable = random.choice([INCH, 0.1, 0.3]), random.choice([1.0, 1.5, 2.0, 3.0, 4.5])
    step = random.choice([0.0, side])
    if step > 0:
        usable = round(usable / step) * step
    ends_m = random.choice([0.05, 0.15, 0.3])
    return RectangleSizes(*map(float, (usable, usable - side, side, ends_m, 1.0, step)))


def cells_drawn(random, widths_m) -> tuple[shapely.Geometry, np.ndarray, np.ndarray]:
    """Turf in some cells of a grid, its lines along and across; with steps, holes and arms."""
    columns, rows = random.integers(2, 6, 2)
    us = np.concatenate([[0], np.cumsum(random.choice([0.3, 0.7, 1, 2, 4, 8], columns))])
    vs = np.concatenate([[0], np.cumsum(random.choice(widths_m, rows))])
    turf = np.zeros((columns, rows), bool)
    for what in (True, True, True, False, False):
        a, b = np.sort(random.integers(0, columns + 1, 2))
        c, d = np.sort(random.integers(0, rows + 1, 2))
        turf[a:b, c:d] = what
    if not turf.any():
        turf[0, 0] = True
    found = np.argwhere(turf)
    boxes = shapely.box(us[found[:, 0]], vs[found[:, 1]], us[found[:, 0] + 1], vs[found[:, 1] + 1])
    return shapely.union_all(boxes), us, vs


@pytest.mark.parametrize("seed", range(6))
def test_no_cover_of_cells_takes_less(seed):
    """Told from bearings beside their own. In 9,500 such none took less."""
    random, told = np.random.default_rng(seed), 0
    for _ in range(30):
        sizes = drawn(random)
        usable = sizes.usable
        of_roll = [usable, usable / 2, usable - sizes.side, usable / 4, min(0.3, usable)]
        any_width = [0.05, 0.2, 0.5, 0.9]
        shape, us, vs = cells_drawn(random, of_roll if random.random() < 0.5 else any_width)
        edges, turn = shape_of(shape).edges, random.choice(TURNS)
        found = wasted(edges, 90 + np.degrees(random.choice([-1, -0.4, 0, 1]) * turn), sizes, turn)
        area = kernel.rows(*kernel.turn(edges, 1.0, 0.0, SNAP_M), sizes.ends)
        assert area + found <= least_cover(shape, us, vs, sizes) + 1e-6
        told += found > 0
    assert told > 20


def leaning(random) -> shapely.Geometry:
    """Turf with slanted borders: a leaning box, one of bent sides, any polygon, one round a
    house."""
    kind, tall = random.integers(4), random.uniform(2, 9)
    if kind == 0:
        long, (s, t) = random.uniform(2, 14), random.uniform(-1, 1, 2) * random.choice([0.1, 0.5])
        return shapely.Polygon([(0, 0), (long, 0), (long + t * tall, tall), (s * tall, tall)])
    if kind == 1:
        k = random.integers(4, 8)
        v = np.concatenate([[0], np.sort(random.uniform(0, tall, k - 2)), [tall]])
        left, right = (np.cumsum(random.normal(0, 0.4, k)) for _ in range(2))
        right += random.uniform(3, 12)
        return shapely.Polygon(
            [*zip(left, v, strict=True), *list(zip(right, v, strict=True))[::-1]]
        )
    if kind == 2:
        return shapely.convex_hull(
            shapely.multipoints(random.uniform(0, 1, (6, 2)) * [random.uniform(4, 12), tall])
        )
    x, y = random.uniform(1, 6), random.uniform(0.5, tall - 1)
    lot = shapely.Polygon([(0, 0), (random.uniform(5, 12), 0), (9, tall), (1, tall)])
    return lot - shapely.box(x, y, x + random.uniform(0.3, 4), y + random.uniform(0.5, 4))


@pytest.mark.parametrize("seed", range(6))
def test_no_cover_of_slanted_turf_takes_less(seed):
    """In 4,200 such none took less."""
    random, told = np.random.default_rng(seed), 0
    for _ in range(9):
        sizes, shape = drawn(random), leaning(random)
        if not shape.is_valid or shape.area < 2:
            continue
        (x0, y0, x1, y1), usable = shape.bounds, sizes.usable
        vs = [y0 - random.uniform(0, usable / 2)]
        while vs[-1] < y1 and len(vs) < 11:
            vs.append(vs[-1] + random.choice([usable, usable / 2, usable - sizes.side]))
        us = np.sort([x0, x1, *random.uniform(x0, x1, random.integers(2, 5))])
        if vs[-1] < y1:
            continue
        edges, turn = shape_of(shape).edges, random.choice(TURNS)
        found = wasted(edges, 90 + np.degrees(random.choice([-1, -0.4, 0, 1]) * turn), sizes, turn)
        area = kernel.rows(*kernel.turn(edges, 1.0, 0.0, SNAP_M), sizes.ends)
        assert area + found <= least_cover(shape, us, np.array(vs), sizes) + 1e-6
        told += found > 0
    assert told > 2


@pytest.mark.parametrize("seed", range(4))
def test_whatever_the_bearing_no_cover_along_or_across_the_grid_takes_less(seed):
    """The bound over all bearings, beside the best covers along both lines of the grid."""
    random, sizes = np.random.default_rng(seed), covers.sizes_of([ROLL])
    widths_m = [ROLL.usable_m, ROLL.usable_m / 2, 1.0, 2.0]
    for _ in range(8):
        shape, us, vs = cells_drawn(random, widths_m)
        us = np.unique(np.concatenate([us, us[-1] - (us[-1] - us[::-1]) / 2])) if us[-1] > 4 else us
        other = shapely.transform(shape, lambda xy: xy[:, ::-1])
        split = np.unique(np.concatenate([us, np.minimum(us[:-1] + ROLL.usable_m, us[1:])]))
        least = min(least_cover(shape, us, vs, sizes), least_cover(other, vs, split, sizes))
        factor = ROLL.width_m / ROLL.usable_m
        bound, strips = (of(shape_of(shape), [ROLL], np.nan) for of in (bound_m2, strip_bound_m2))
        assert factor * shape.area < bound <= factor * least
        assert bound <= strips * 1.01 or strips <= factor * least


STEPPED = (19.49, 0.5, 600), (29.49, 0.4, 900), (39.49, 0.5, 1200), (49.49, 0.6, 1500)


@pytest.mark.parametrize(("long_ft", "step", "by_hand_ft2"), STEPPED)
def test_a_stepped_lawn_laid_in_two_blocks(long_ft, step, by_hand_ft2):
    """Two blocks as wide as the roll is usable, the second shifted sideways: two whole pieces that
    butt at a cross seam. No strips from border to border do as well."""
    wide, long = ROLL.usable_m, long_ft * FOOT
    blocks = (
        shapely.box(0, 0, long, wide),
        shapely.box(long, step * wide, 2 * long, (1 + step) * wide),
    )
    shape = shape_of(shapely.union(*blocks))
    pieces_ft2 = 2 * 15 * (long_ft + 0.5)
    assert pieces_ft2 <= by_hand_ft2 < pieces_ft2 + 1
    bound_ft2 = bound_m2(shape, [ROLL], 90.0) / FOOT**2
    assert 0.99 * by_hand_ft2 < bound_ft2 <= pieces_ft2
    assert bound_m2(shape, [ROLL], np.nan) / FOOT**2 <= pieces_ft2
    assert strip_bound_m2(shape, [ROLL], 90.0) / FOOT**2 > by_hand_ft2


def across(edges: np.ndarray, share: float, sizes: RectangleSizes) -> float:
    """A(q) at the bearing along x."""
    swapped = np.ascontiguousarray(edges[:, [1, 0, 3, 2]])
    view = kernel.views(swapped, -np.ones(1), np.zeros(1), SNAP_M, sizes.ends)[:3]
    slabs = chords.arms_of(*view, widths.room(sizes, share), np.ones(1, bool))
    return float(widths.least(*slabs, sizes, np.zeros(1), np.ones(1, bool), share)[0])


@pytest.mark.parametrize(
    ("wide_in", "more_in"),
    [(100, 1), (100.25, 1.75), (177.5, 0.5), (178, 0), (200.5, 1.5), (356, 0)],
)
def test_widths_by_hand(wide_in, more_in):
    """A box 20 m long: beside whole strips of 178 in a narrow one is cut an inch wider than it is
    laid, and to whole inches; or as wide as the roll, where that is less."""
    sizes = covers.sizes_of([ROLL])
    edges = shape_of(shapely.box(0, 0, 20, wide_in * INCH)).edges
    expected = more_in * INCH * (20 - sizes.ends)
    assert across(edges, 1.0, sizes) == pytest.approx(expected, abs=2 * widths.HAIR * 20)
    assert across(edges, 1.0, sizes) <= expected + 1e-9


def test_slanted_sides_by_hand():
    """A leaning box 4 m high and 40 m long, rolls 1 m wide, several widths stocked (so nothing is
    told across). Four strips fit; each reaches 0.05 x 1 m past either side at its furthest, over
    its 1 m half as much. A fifth would cost 4 m2, or half a metre of lines twice the 50 cm to
    trim."""
    shape = shape_of(shapely.Polygon([(0, 0), (40, 0), (40.2, 4), (0.2, 4)]))
    sizes = RectangleSizes(1.0, 0.9, 0.1, 0.5, 0.0, 0.0)
    found = wasted(shape.edges, 90.0, sizes, 0.0)
    assert found == pytest.approx((1 - covers.SHARE) * 4 * 2 * 0.05 / 2, rel=1e-3)


def test_ends_so_steep_that_a_second_piece_serves_them():
    """The same leaning 1 in 2, both ends trimmed by 20 cm together: lines of a strip are served by
    a piece of their own for that at either end, but for what the 40 cm next to the border's corner
    take less. Of five strips half a metre of lines lies abreast, which costs less than that."""
    shape = shape_of(shapely.Polygon([(0, 0), (40, 0), (42, 4), (2, 4)]))
    sizes = RectangleSizes(1.0, 0.9, 0.1, 0.2, 0.0, 0.0)

    def ends_of(strips):
        lines = 4 / strips
        return 2 * strips * (0.2 * (lines - 0.4) + 0.5 * 0.4**2 / 2)

    least = min(max(ends_of(n), 0.2 * max(0, 0.9 * n - 4)) for n in range(4, 16))
    found = wasted(shape.edges, 90.0, sizes, 0.0)
    assert found == pytest.approx((1 - covers.SHARE) * least, rel=1e-3)


def test_several_bearings_at_once_are_told_as_one_by_one():
    lot = shapely.Polygon([(0, 0), (20, 1), (21, 30), (-1, 28)]) - shapely.box(4, 8, 15, 19)
    edges, sizes = shape_of(lot).edges, covers.sizes_of([ROLL])
    bearings, turns = np.array([3.0, 40.0, 77.0, 90.0]), np.array([0.0, 0.01, 0.002, 0.0])
    wanted, angle = np.array([True, True, False, True]), np.radians([3.0, 40.0, 77.0, 90.0])
    view = Views(
        bearings, *kernel.views(edges, np.sin(angle), np.cos(angle), SNAP_M, sizes.ends)[:3]
    )
    found = covers.wasted(view, np.ascontiguousarray(edges[:, [1, 0, 3, 2]]), sizes, turns, wanted)
    single = [wasted(edges, b, sizes, t) for b, t in zip(bearings, turns, strict=True)]
    assert found.tolist() == np.where(wanted, single, 0.0).tolist()
    assert found[0] > 0 and ends.NEAR > 0
