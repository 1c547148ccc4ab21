"""What overlays leave behind: parts, holes and areas too thin to be turf never stop a bid, and
never go without a word."""

import geopandas
import numpy as np
import pytest
import shapely
import shapely.affinity
from ground_cases import layer, measured, source
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely.geometry import MultiPolygon, Polygon, box

from geoturf import cuts, edges, ground, layout, materials, pipeline
from geoturf.bid import make_bid
from geoturf.engine import Serial
from geoturf.errors import InputError
from geoturf.rules import GroundRules

BID = make_bid({"name": "slivers", "layers": [{"path": "made.gpkg"}]})
X, Y = 500_000.0, 4_400_000.0


def there(shape):
    return shapely.affinity.translate(shape, X, Y)


def priced(*shapes, crs=32618):
    """From measure to materials, as the pipeline does it."""
    product, phase = next(iter(BID.products)), "1"
    given = {
        name: [value] * len(shapes) for name, value in (("product", product), ("phase", phase))
    }
    land = ground.measure(source(layer(shapes, crs, **given)), GroundRules())
    odd = ground.notice(land, GroundRules())
    border = edges.classify(land, BID.products, BID.edges)
    task = layout.task_of(land, BID.products, BID.layout)
    choices = layout.lay(task, Serial())
    plan = cuts.plan(land, choices, BID.products, BID.cuts, lambda n: None, BID.layout, Serial())
    plan = cuts.proven(plan, land, choices, BID.products, BID.cuts, layout.bounds(task, Serial()))
    takeoff = materials.takeoff(land, border, plan, BID.products, BID.materials, BID.edges)
    return land, odd, plan, takeoff


def codes(findings):
    return [(f.severity, f.code) for f in findings]


LAWN = box(0, 0, 10, 8)
SLIVERS = {
    "a part of a micrometre": MultiPolygon([LAWN, box(20, 0, 20 + 1e-6, 5)]),
    "a part of no area": MultiPolygon([LAWN, box(20, 0, 20 + 1e-9, 1e-9)]),
    "a hole of a micrometre": Polygon(LAWN.exterior, [box(3, 3, 3 + 1e-6, 6).exterior]),
    "a ring of a micrometre": MultiPolygon(
        [LAWN, box(20, 0, 25, 5).difference(box(20 + 1e-6, 1e-6, 25 - 1e-6, 5 - 1e-6))]
    ),
}


@pytest.mark.parametrize("shape", SLIVERS.values(), ids=SLIVERS)
def test_a_speck_is_left_out_by_name_and_the_lawn_is_what_it_was(shape):
    land, _, plan, _ = priced(there(shape))
    alone, _, plan_alone, _ = priced(there(LAWN))
    notes = [f for f in land.findings if f.code == "specks"]
    assert [(f.severity, f.feature, f.site) for f in notes] == [("note", "1", "site 1")]
    assert land.areas[["ground_area_m2", "perimeter_m"]].iloc[0].tolist() == pytest.approx(
        alone.areas[["ground_area_m2", "perimeter_m"]].iloc[0].tolist(), rel=1e-9
    )
    assert plan.pools["bought_m2"].tolist() == plan_alone.pools["bought_m2"].tolist()


def test_an_area_that_is_nothing_else_is_left_out_with_an_error():
    found = measured([there(box(0, 0, 100, 1e-6)), there(LAWN)], 32618)
    assert found.areas["site"].tolist() == ["site 2"]
    assert [(f.severity, f.code, f.feature) for f in found.findings if f.severity != "note"] == [
        ("error", "no-width", "1")
    ]
    with pytest.raises(InputError, match="no area left"):
        measured([there(box(0, 0, 100, 1e-6))], 32618)


def test_what_vanishes_counts_as_left_out(tmp_path):
    table = geopandas.GeoDataFrame(
        {"site": ["a", "b"]}, geometry=[there(LAWN), there(box(0, 0, 9, 1e-6))], crs=32618
    )
    table.to_file(tmp_path / "lawns.gpkg", engine="pyogrio")
    taken, land, _ = pipeline.check(
        make_bid({"name": "n", "layers": [{"path": str(tmp_path / "lawns.gpkg")}]})
    )
    assert (taken.left_out, land.areas["site"].tolist()) == (1, ["a"])


def test_a_strip_a_finger_wide_is_priced_with_a_warning():
    _, odd, plan, _ = priced(there(box(0, 0, 100, 0.01)))
    assert codes(odd) == [("warning", "thin")]
    assert plan.pools["bought_m2"].sum() > 0
    _, odd, _, _ = priced(there(MultiPolygon([LAWN, box(20, 0, 40, 0.01)])))
    assert codes(odd) == [("warning", "thin")]


def test_a_narrow_bed_is_no_sliver():
    assert codes(priced(there(box(0, 0, 10, 0.3)))[1]) == []


WORLD = {
    "the whole world": (box(-180, -90, 180, 90), 4326),
    "half of it": (box(-90, -90, 80, 90), 4326),
    "Antarctica, on a plane about the pole": (
        Polygon(shapely.Point(0, 0).buffer(3e6).exterior),
        3031,
    ),
    "the same in degrees": (
        Polygon(
            [(-180, -90), (-180, -60), (-90, -62), (0, -60), (90, -61), (180, -60), (180, -90)]
        ),
        4326,
    ),
    "a country": (box(-100, 30, -88, 39), 4326),
}


@pytest.mark.parametrize(("shape", "crs"), WORLD.values(), ids=WORLD)
def test_what_no_property_is_is_left_out_by_name(shape, crs):
    with pytest.raises(InputError) as refused:
        measured([shape], crs)
    assert {f.code for f in refused.value.findings} <= {"too-wide", "no-width", "nothing-to-price"}
    assert [f.feature for f in refused.value.findings if f.code != "nothing-to-price"] == ["1"]


def test_a_lawn_at_the_pole_is_a_lawn():
    """On the universal polar stereographic plane, whose scale at the pole is 0.994 by
    definition."""
    found = measured([shapely.affinity.translate(box(-10, -6, 10, 6), 2_000_000, 2_000_000)], 32761)
    assert found.areas.ground_area_m2[0] == pytest.approx(240 / 0.994**2, rel=1e-6)


# -------------------------------------------------------------------------------------- any of them


@st.composite
def residues(draw):
    """A lawn, turned, with parts, holes and notches from a nanometre to a decimetre wide, as
    overlays leave them."""
    width = st.sampled_from([1e-9, 1e-7, 1e-6, 2e-6, 1e-5, 1e-4, 9e-4, 1.1e-3, 1e-2, 0.1])
    tall, deep = st.sampled_from([1e-6, 1e-3, 0.5, 6.0]), st.sampled_from([1e-6, 1e-2, 3.0])
    some = draw(st.lists(st.tuples(width, tall), max_size=3))
    parts = [
        LAWN,
        *(box(20 + 3 * k, 0, 20 + 3 * k + wide, high) for k, (wide, high) in enumerate(some)),
    ]
    gaps = draw(st.lists(st.tuples(width, deep), max_size=2))
    holes = [box(2 + 2 * k, 2, 2 + 2 * k + wide, 2 + high) for k, (wide, high) in enumerate(gaps)]
    lawn = (
        shapely.union_all(parts).difference(shapely.union_all(holes))
        if draw(st.booleans())
        else None
    )
    if lawn is None or lawn.is_empty:
        lawn = MultiPolygon([Polygon(LAWN.exterior, [hole.exterior for hole in holes]), *parts[1:]])
    if draw(st.booleans()):  # a spike, or a cut, of a hair
        hair = box(10, 4, 10 + draw(st.floats(0.1, 3.0)), 4 + draw(width))
        lawn = (
            lawn.union(hair)
            if draw(st.booleans())
            else lawn.difference(shapely.affinity.translate(hair, -5, 0))
        )
    turned = shapely.affinity.rotate(
        lawn, draw(st.sampled_from([0.0, 30.0, 45.0, 89.9999])), origin=(0, 0)
    )
    return (
        shapely.set_precision(turned, 0.0)
        if turned.is_valid
        else shapely.make_valid(turned, method="structure")
    )


def hair_on_a_lawn_with_a_hole():
    """A hair that the projection's rounding closes: the repair of it is a part of its own."""
    lawn = Polygon(box(0, 0, 10, 8).exterior, [box(2, 2, 2.01, 5).exterior])
    return lawn.union(box(10, 4, 12, 4 + 1e-9))


@example(hair_on_a_lawn_with_a_hole())
@settings(max_examples=15, deadline=None)
@given(residues())
def test_any_residue_of_overlays_is_laid_or_left_out_by_name(shape):
    """Ground, turf and takeoff follow; the lawn's 80 m2 are all there, whatever clings to it."""
    land, _, plan, takeoff = priced(there(shape))
    (area,) = land.areas["ground_area_m2"]
    assert 75 < area * 0.9996**2 < 85
    assert plan.pools["bought_m2"].sum() >= area * (1 - 1e-9)
    assert np.isfinite(takeoff.items["net"]).all()
