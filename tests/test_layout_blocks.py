"""Lawns cut across at inner corners: against plans by hand, every set of lines by enumeration, and
what must hold of what is cut."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import geopandas
import numpy as np
import pytest
import shapely
from layout_cases import FOOT, SHAPES, TURF, USABLE, assert_lies_well, lay_all
from shapely.affinity import rotate, scale, translate

from geoturf import pipeline
from geoturf.bid import make_bid
from geoturf.check import lawns
from geoturf.layout import blocks, kernel, parting
from geoturf.layout.roll import BALANCED, stocked
from geoturf.layout.shape import axes, shape_of, turned
from geoturf.rules import CROSS_WORTH, LayoutRules
from geoturf.units import read_money

CORNERS = LayoutRules.model_validate({"cross_seams": "corners"})
(ROLL,) = stocked("turf60", TURF, CORNERS)
NEEDED = LayoutRules.model_validate({"cross_seams": "needed"})


def stepped(long_ft: float, step: float) -> shapely.Geometry:
    """Two blocks one usable width wide, the second shifted aside by so much of a width."""
    long, aside = long_ft * FOOT, step * USABLE
    return shapely.union_all(
        [shapely.box(0, 0, USABLE, long), shapely.box(aside, long, aside + USABLE, 2 * long)]
    )


def cheapest(shape, rules=CORNERS, **given):
    return min(lay_all(shape, rules=rules, **given)[0].layouts, key=lambda layout: layout.cost)


@pytest.mark.parametrize("bearing", [0.0, np.nan], ids=["stated", "free"])
@pytest.mark.parametrize(
    "long_ft, step, hand_ft2",
    [(19.49, 0.5, 600), (29.49, 0.4, 900), (39.49, 0.5, 1200), (49.49, 0.6, 1500)],
)
def test_a_stepped_lawn_is_laid_in_two_blocks(long_ft, step, hand_ft2, bearing):
    """By hand: two pieces as wide as the roll, each cut 6 in longer than its block, butt at one
    cross seam as long as the blocks have turf on both sides."""
    lawn = stepped(long_ft, step)
    layout = cheapest(lawn, bearing=bearing)
    assert_lies_well(layout, lawn)
    assert len(layout.pieces) == 2 and len(layout.cross) == 1
    assert layout.seam_m == pytest.approx((1 - step) * USABLE)
    bought_ft2 = layout.cut[:, 0].sum() / FOOT * 15  # both pieces take all of the roll
    assert bought_ft2 <= 1.01 * hand_ft2


def test_a_bid_with_a_stepped_lawn_keeps_its_promises(tmp_path):
    """Among them that a cross seam, where a roll reaches, lies at an inner corner."""
    shapes = [scale(stepped(19.49, 0.5), 0.998), translate(shapely.box(0, 0, 13, 13), 40)]
    table = geopandas.GeoDataFrame(
        {"site": "A", "area": ["stepped", "square"]},
        geometry=[translate(shape, 250_000, 4_070_000) for shape in shapes],
        crs="EPSG:26911",
    )
    table.to_file(tmp_path / "lots.gpkg", engine="pyogrio")
    made = {"layers": [{"path": "lots.gpkg"}], "folder": str(tmp_path)}
    result = pipeline.run(make_bid(made | {"layout": {"cross_seams": "corners"}}))
    assert result.plan.chosen["cross_seams"].tolist() == [1, 0]
    (said,) = [f for f in result.findings if f.code == "cross-seam-corner"]
    assert said.area == "stepped"
    cost, saved = (float(x.replace(",", "")) for x in re.findall(r"([0-9,.]+) USD", said.message))
    assert saved > CROSS_WORTH * cost > 0
    untold = replace(result, plan=replace(result.plan, findings=()))
    assert [f.code for f in lawns.cross_seams_where_needed(untold)] == ["cross-seam-unasked"]


LAWNS = {
    "L": [(0, 0), (46, 0), (46, 14.5), (14, 14.5), (14, 52), (0, 52)],
    "T": [(0, 0), (60, 0), (60, 14.8), (40, 14.8), (40, 60), (25.5, 60), (25.5, 14.8), (0, 14.8)],
    "Z": [(0, 0), (29, 0), (29, 20), (40, 20), (40, 55), (11, 55), (11, 20), (0, 20)],
    "U": [(0, 0), (50, 0), (50, 40), (36, 40), (36, 14), (14.7, 14), (14.7, 31), (0, 31)],
}


def by_hand(lawn: shapely.Polygon, bearing: float) -> float:
    """Least cost over cuts right across at one or two inner corners, each block laid as a lawn of
    its own; a cut across the pile is charged twice."""
    side = 0 if bearing == 90 else 1  # of a corner that a line across the pile goes through
    at = np.unique(np.round(shapely.get_coordinates(lawn)[:, side], 9)).tolist()[1:-1]
    best = cheapest(lawn, bearing=bearing, rules=NEEDED).cost
    for cuts in itertools.chain.from_iterable(itertools.combinations(at, n) for n in (1, 2)):
        cost = 0.0
        for low, high in itertools.pairwise([-99.0, *cuts, 99.0]):
            box = (low, -99, high, 99) if side == 0 else (-99, low, 99, high)
            parts = shapely.get_parts(lawn & shapely.box(*box))
            cost += sum(
                cheapest(part, bearing=bearing, rules=NEEDED).cost
                for part in parts
                if part.area > 0
            )
        for cut in cuts:
            ends = [(cut, -99), (cut, 99)] if side == 0 else [(-99, cut), (99, cut)]
            hair = np.array([1e-6, 0]) if side == 0 else np.array([0, 1e-6])
            line = shapely.LineString(ends)
            both = [lawn & translate(line, *by) for by in (hair, -hair)]
            turf = both[0].intersection(both[1].buffer(1e-5)).length
            cost += 2 * (ROLL.cross + ROLL.seam * turf)
        best = min(best, cost)
    return best


@pytest.mark.parametrize("name", LAWNS)
def test_no_cuts_at_corners_by_hand_are_cheaper(name):
    lawn = shapely.Polygon(np.array(LAWNS[name]) * FOOT)
    for bearing in (0.0, 90.0):
        layout = cheapest(lawn, bearing=bearing)
        assert_lies_well(layout, lawn)
        assert layout.cost <= by_hand(lawn, bearing) * 1.003


def test_a_cross_seam_that_does_not_save_twice_its_cost_is_not_made():
    lawn = stepped(19.49, 0.5)
    dear = CORNERS.model_copy(update={"cross_seam_cost": read_money("500 USD")})
    assert not len(cheapest(lawn, rules=dear).cross)
    assert not len(cheapest(lawn, rules=NEEDED).cross)


def joints_of(lawn: shapely.Polygon) -> tuple[np.ndarray, list[np.ndarray]]:
    """u of the lines across that a lawn may be cut at, the pile at 90, and the cross seams at
    each."""
    shape = shape_of(lawn)
    corners = shape.inner_corners @ axes(90.0)[0]
    _, lines, joints, _ = blocks._lines(turned(shape.edges, 90.0), corners, ROLL)
    return lines + shape.origin[0], joints


@pytest.mark.parametrize("off", [0.0, 5e-5, -5e-5])
def test_a_border_that_runs_along_a_line_is_no_cross_seam(off):
    """Two blocks with 2 m in common, the end of one drawn a hair askew: only there do pieces butt,
    as the check finds by laying them."""
    lawn = shapely.Polygon([(0, 0), (5 + off, 0), (5, 2), (10, 2), (10, 4), (0, 4)])
    lines, (_, joint, _) = joints_of(lawn)
    assert lines == pytest.approx([0, 5, 10])
    assert (joint[:, 2] - joint[:, 1]).tolist() == pytest.approx([2])


def test_blocks_that_touch_over_a_hair_are_not_joined():
    """A lot line and a wall that do not quite meet: 0.2 mm of turf lie between two blocks."""
    lawn = shapely.Polygon(
        [(0, 0), (5, 0), (5, 3.9998), (10, 3.9998), (10, 8), (5, 8), (5, 4), (0, 4)]
    )
    _, joints = joints_of(lawn)
    assert sum(map(len, joints)) == 0


def test_a_line_has_a_cross_seam_for_each_stretch_of_turf():
    """The common border of two blocks is parted by a bed."""
    lawn = (
        shapely.box(0, 0, 10, 4)
        - shapely.box(5, -1, 11, 1)
        - shapely.Polygon([(5, 2), (9, 2.2), (5, 2.4)])
    )
    _, (_, joint, _) = joints_of(lawn)
    assert [row[2] - row[1] for row in joint] == pytest.approx([1.6, 1.0])


@pytest.mark.parametrize("turn", [0.0, 22.5])
@pytest.mark.parametrize("name", ["ell", "ring", "comb", "cut by a walk", "triangle"])
def test_what_is_clipped_is_what_lies_between_the_lines(name, turn):
    """Against shapely: the area in every slab across, by the chords' trapezoids."""
    shape = rotate(SHAPES[name], turn, origin=(0, 0))
    view = turned(shape_of(shape).edges, 90.0)
    low, high = view.edges[:, ::2].min(), view.edges[:, ::2].max()
    origin = shape_of(shape).origin
    for left, right in itertools.pairwise(np.linspace(low, high, 6)):
        edges = parting.clipped(view.edges, left, right)
        signed = (edges[:, 0] + edges[:, 2]) / 2 * (edges[:, 3] - edges[:, 1])
        middle = (edges[:, 1] + edges[:, 3]) / 2
        beyond = [  # edges to the right of each: an odd number, and turf lies there
            sum(_u_at(other, v) > _u_at(edge, v) + 1e-12 for other in edges if _spans(other, v))
            for edge, v in zip(edges, middle, strict=True)
        ]
        area = -np.sum(signed * np.where(np.array(beyond) % 2 == 1, 1, -1))
        box = shapely.box(left + origin[0], -99, right + origin[0], 99)
        assert area == pytest.approx(shapely.area(shape & box), rel=1e-4, abs=1e-4)


def _u_at(edge, v):
    u0, v0, u1, v1 = edge
    return u0 + (v - v0) / (v1 - v0) * (u1 - u0)


def _spans(edge, v):
    return edge[1] <= v < edge[3]


@pytest.mark.parametrize("dear", [0.5, 6.0])
@pytest.mark.parametrize("name", LAWNS)
def test_the_lines_are_the_cheapest_set_of_them(name, dear):
    """Every set of lines through corners, by what its blocks cost."""
    lawn = shapely.Polygon(np.array(LAWNS[name]) * FOOT)
    view = turned(shape_of(lawn).edges, 90.0)
    at = np.unique(np.round(view.edges[:, ::2], 9))
    steps, shares = ROLL.widths(screen=True), ROLL.shares[BALANCED][None]

    def costs(left, right):
        edges = parting.clipped(view.edges, left, right)
        part, lows, highs = parting.parts_of(edges, ROLL.numbers)
        return sum(
            parting.least(edges[part == p], lows[p], highs[p], steps, ROLL.numbers, shares)
            for p in range(len(lows))
        )

    joints = np.array([0.0, *[dear] * (len(at) - 2), 0.0])
    every = [
        sum(costs(*pair) for pair in itertools.pairwise([at[0], *cuts, at[-1]])) + dear * n
        for n in range(1, len(at) - 1)
        for cuts in itertools.combinations(at[1:-1], n)
    ]
    beyond = parting.seams_beyond(view.across(), at, view.low, view.high, USABLE)
    rows = parting.best_across(view.edges, at, joints, beyond, steps, ROLL.numbers, shares, np.inf)
    found = sum(costs(*pair) for pair in itertools.pairwise(at[rows])) + dear * (len(rows) - 2)
    assert found == pytest.approx(min(every))
    none = parting.best_across(
        view.edges, at, joints, beyond, steps, ROLL.numbers, shares, min(every)
    )
    assert not len(none)


def test_inner_corners_are_those_where_turf_fills_more_than_half():
    assert len(shape_of(SHAPES["ell"]).inner_corners) == 1
    assert len(shape_of(SHAPES["ring"]).inner_corners) == 4  # of the pond
    assert not len(shape_of(SHAPES["triangle"]).inner_corners)
    backwards = shapely.Polygon(list(SHAPES["ell"].exterior.coords)[::-1])
    (corner,) = shape_of(backwards).inner_corners + shape_of(backwards).origin
    assert corner.tolist() == pytest.approx([5, 5])
    assert kernel.WORTH == CROSS_WORTH == 2


def test_the_check_knows_inner_corners_beside_a_hair_of_turf():
    """Turf 0.2 mm thick leads off from one corner; another turns in by a degree only."""
    thin = [(0, 0), (5, 0), (5, 3.9998), (8, 3.9998), (8, 4), (2.5, 4 - 0.02), (0, 4)]
    assert lawns._inner_corners(shapely.Polygon(thin)).tolist() == [[5, 3.9998]]
    pond = shapely.box(0, 0, 9, 9) - shapely.box(3, 3, 5, 5)
    assert len(lawns._inner_corners(pond)) == 4
