"""Regular strips are chosen by an outline of few corners and laid on the outline as drawn."""

from __future__ import annotations

import time

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from layout_cases import TURF, assert_seams, ground_of, rectangle

from geoturf.engine import Serial
from geoturf.layout import bounds, lay, simpler, task_of
from geoturf.layout.regular import lay_regular
from geoturf.layout.shape import Shape, shape_of
from geoturf.rules import LayoutRules
from geoturf.units import US

CURVE = 8_000  # vertices of a curve drawn finely
WITHIN_M = 0.1 * 0.0254  # a tenth of a cut step of an inch


def waves(vertices: int, radius_m: float, seed: int, rough_m: float = 0.0) -> np.ndarray:
    """A ring (n, 2) about the origin: some waves, and noise on every vertex."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, vertices, endpoint=False)
    radius = radius_m * np.ones(vertices)
    for k in range(2, 6):
        radius += radius_m * rng.uniform(0, 0.2 / k) * np.cos(k * turn + rng.uniform(0, 6))
    radius += rng.normal(0, 1, vertices) * rough_m
    return radius[:, None] * np.column_stack([np.cos(turn), 0.7 * np.sin(turn)])


def curve(vertices: int = CURVE, rough_m: float = 0.0, seed: int = 1) -> shapely.Polygon:
    """Some 2,000 m2 with a round pond."""
    pond = 0.2 * waves(vertices // 10, 30, seed + 1)
    return shapely.Polygon(waves(vertices, 30, seed, rough_m), [pond])


def outlines(shape: Shape) -> np.ndarray:
    """The rings of a shape as lines."""
    return shapely.linestrings(
        shape.points, indices=np.repeat(range(len(shape.rings)), shape.rings)
    )


def test_a_curve_of_very_many_corners_is_laid_as_before_and_told():
    task = task_of(ground_of(curve()), {"turf60": TURF}, LayoutRules())
    (choices,) = lay(task, Serial())
    (layout,) = choices.layouts
    (told,) = [one for one in task.findings if one.code == "outline-simplified"]
    few = task.sought[0].corners
    assert few < CURVE / 10
    assert f"have 8,800 corners; bearing and roll are chosen by {few:,} of them" in told.message
    assert "0.10 in (a tenth of the cut step)" in told.message
    (by_all,) = lay_regular(task.shapes, task.shapes, task.stock, np.nan)
    assert layout.cost == pytest.approx(by_all.layouts[0].cost, rel=0.01)
    turf = shapely.union_all([rectangle(p, layout.bearing_deg) for p in layout.pieces])
    assert turf.buffer(1e-6).covers(curve())
    assert_seams(layout, curve())
    assert bounds(task, Serial())[0, 0] <= TURF.roll_width_m * layout.cut[:, 0].sum()


@pytest.mark.parametrize("bearing_deg", [0.0, 37.0])
def test_at_a_stated_bearing_the_layout_is_that_of_every_corner(bearing_deg):
    """What is left out hangs on no piece: not one lies otherwise."""
    ground = ground_of(curve(), bearing=bearing_deg)
    task = task_of(ground, {"turf60": TURF}, LayoutRules())
    (few,) = lay(task, Serial())
    (by_all,) = lay_regular(task.shapes, task.shapes, task.stock, bearing_deg)
    assert task.sought[0].corners < task.shapes[0].corners
    np.testing.assert_array_equal(few.layouts[0].pieces, by_all.layouts[0].pieces)
    np.testing.assert_array_equal(few.layouts[0].seams, by_all.layouts[0].seams)


@settings(max_examples=40)
@given(
    st.integers(40, 1500),
    st.integers(0, 1000),
    st.sampled_from([0.0, 1e-4, 2e-3, 5e-3]),
    st.sampled_from([1e-3, WITHIN_M, 0.03]),
)
def test_what_is_left_out_lies_within_the_tolerance(vertices, seed, rough_m, within_m):
    """Hausdorff distance of each ring, by GEOS. It is that of a vertex left out: those kept are
    vertices of both."""
    shape = shape_of(curve(vertices, rough_m, seed))
    few = simpler.simpler(shape, within_m)
    assert few.corners <= shape.corners
    apart = shapely.hausdorff_distance(outlines(shape), outlines(few))
    assert apart.max() <= within_m + 1e-9
    assert {tuple(p) for p in few.points} <= {tuple(p) for p in shape.points}
    assert few.area_m2 == shape.area_m2


def test_ordinary_areas_and_those_that_keep_every_corner_are_left_as_they_are():
    plain = shape_of(shapely.box(0, 0, 20, 10))
    fine = shape_of(curve())
    regular = np.array([True, False])
    assert simpler.made_simpler([plain, fine], regular, LayoutRules(), US) == ([plain, fine], ())
    few, told = simpler.made_simpler([plain, fine], ~regular, LayoutRules(), US)
    assert few[0] is plain
    assert few[1] is not fine
    assert len(told) == 1


def test_a_ring_narrower_than_the_tolerance_keeps_its_inside():
    sliver = shape_of(shapely.box(0, 0, 10, 0.001).segmentize(0.5))
    few = simpler.simpler(sliver, WITHIN_M)
    assert shapely.Polygon(few.points).area == pytest.approx(0.01)


def test_corners_that_all_matter_take_no_longer_than_others():
    """Teeth that lose a little each: the furthest from the line drawn is always the next, so that
    all at once would take a step for each pair of 200,000 teeth (100 s, here under one) and recurse
    as deep."""
    at = np.arange(200_000)
    teeth = np.column_stack([0.01 * at, np.where(at % 2, 1, -1) * (10 - 4e-5 * at)])
    shape = shape_of(shapely.Polygon(np.vstack([teeth, [[2000, -100], [0, -100]]])))
    started = time.process_time()
    assert simpler.simpler(shape, WITHIN_M) is shape
    assert time.process_time() - started < 10
