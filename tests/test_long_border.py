"""Ground of very long border: strips and fabric by two ways, and pieces all about as long as a
roll."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geoturf.cuts import program
from geoturf.cuts.job import Job
from geoturf.cuts.market import Market
from geoturf.layout import kernel
from geoturf.layout.shape import shape_of, turned
from geoturf.materials import strips as fabric

COMB = shapely.union_all([shapely.box(k, 0, k + 0.5, 20) for k in range(60)]).union(
    shapely.box(0, 0, 59.5, 1)
)
RING = shapely.Point(0, 0).buffer(20).difference(shapely.box(-5, -5, 9, 6))


@pytest.mark.parametrize("ground", [COMB, RING])
@pytest.mark.parametrize("bearing_deg", [0.0, 30.0, 90.0])
@pytest.mark.parametrize("gap_m", [0.0, 0.15])
def test_strips_by_edges_take_what_they_take_from_vertex_to_vertex(ground, bearing_deg, gap_m):
    view = turned(shape_of(ground).edges, bearing_deg)
    cuts = np.append(np.arange(view.low, view.high, 3.7), view.high)
    offsets, *ends = kernel.projected(view.edges, view.level, cuts, gap_m)
    by_vertex, *same, _ = kernel.slabs(view.edges, view.vs, cuts, gap_m)
    np.testing.assert_array_equal(offsets, by_vertex)
    np.testing.assert_allclose(ends, same, atol=1e-12)


@pytest.mark.parametrize("ground", [COMB, RING])
def test_fabric_by_the_border_is_as_long_as_by_cutting(ground, monkeypatch):
    shapes = np.array([ground], dtype=object)
    cut = fabric.strips(shapes, 3.8, 91.4, 0.3)
    monkeypatch.setattr(fabric, "VERY_RAGGED", 0)
    np.testing.assert_allclose(fabric.strips(shapes, 3.8, 91.4, 0.3), cut, rtol=1e-9)


def test_a_round_of_the_programme_looks_at_some_length_where_all_are_about_the_longest():
    """Two lengths, fewer than are looked at apart: every round has one, as heights are priced."""
    size = np.array([[99, 6], [100, 6]])
    job = Job(0.01, 12, (100,), Market(1.0, (1.0,), (1.0,), 0.0), size, np.full(2, 9))
    alone = [program.tidy(job, [(k,)]) for k in range(2)]
    made = program.SectionProgramme(job, program.plain(job), alone, program.contents(alone, 2))
    looked = []
    made._round = lambda heights, *_: looked.append(len(heights)) or 1
    made.generate(9)
    assert len(looked) == 9
    assert min(looked) > 0
