"""Edges and fasteners: squares, an L, a ring, two that touch, walls that come near, cross or
miss."""

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import MultiPolygon, Polygon, box
from shapely.ops import split

from geoturf.edges import classify
from geoturf.model import Frames, Ground
from geoturf.rules import EdgeRules, Product

FOOT, INCH = 0.3048, 0.0254
KINDS = ("paving", "building", "shared", "open")


def ground(
    areas,
    context=(),
    site="a",
    product="turf60",
    frame=0,
    surface=None,
    true=1.0,
    slope=0.0,
    fall=0.0,
):
    """A Ground of polygons; ``context`` holds (role, polygon) or (role, polygon, frame). ``slope``:
    rise over run, down to the compass bearing ``fall``."""
    count = len(areas)

    def column(value):
        return value if isinstance(value, list) else [value] * count

    table = pd.DataFrame({"geometry": np.array([*areas, None], dtype=object)[:-1]})
    table["site"], table["product"], table["frame"] = column(site), column(product), column(frame)
    table["area"] = [str(i) for i in range(count)]
    table["surface_area_m2"] = (
        shapely.area(table["geometry"].to_numpy()) if surface is None else column(surface)
    )
    table["perimeter_m"] = shapely.length(table["geometry"].to_numpy()) * true
    table["laid_stretch"], table["laid_fall_deg"] = np.hypot(1, column(slope)), column(fall)
    rows = [(*row, 0)[:3] for row in context]
    near = pd.DataFrame(rows, columns=["role", "geometry", "frame"])
    nothing = np.empty(0)
    frames = Frames(nothing, nothing, nothing, nothing, ())
    return Ground(table, near, pd.DataFrame(), frames, "")


def edges(areas, context=(), rules=None, products=None, **columns):
    products = products or {"turf60": Product(), "deck": Product(fixing="glue")}
    return classify(ground(areas, context, **columns), products, rules or EdgeRules())


def sums(result, row=0):
    """(paving, building, shared, open) of an area, metres."""
    return tuple(result.totals.loc[row, f"edge_{kind}_m"] for kind in KINDS)


def near(*lengths):
    return pytest.approx(lengths, abs=1e-6)


LAWN = box(0, 0, 10, 10)


def test_a_lone_square_is_open_all_round():
    result = edges([LAWN])
    assert sums(result) == near(0, 0, 0, 40)
    (run,) = result.runs.itertuples()
    assert run.closed and run.kind == "open" and run.neighbour == -1
    assert run.geometry.is_ring and run.geometry.length == pytest.approx(40)


def test_nails_and_board_go_along_the_slope():
    """By hand: 40 x 10 m falling 30 % along its long side: 2 (40 sqrt(1 + 0.3^2) + 10) = 103.52 m,
    1,018.9 spaces of 4 in; on the map it is 100 m, 984.3 spaces."""
    flat, sloping = (
        edges([box(0, 0, 10, 40)], rules=EdgeRules(edging_on=["open"]), slope=s) for s in (0.0, 0.3)
    )
    assert (
        flat.totals.at[0, "perimeter_fasteners"],
        sloping.totals.at[0, "perimeter_fasteners"],
    ) == (985, 1019)
    assert sloping.totals.at[0, "fastened_m"] == pytest.approx(2 * (40 * 1.09**0.5 + 10))
    assert sloping.totals.at[0, "edging_m"] == pytest.approx(2 * (40 * 1.09**0.5 + 10))
    assert sums(sloping) == near(
        0, 0, 0, 100
    )  # the perimeter of the map, as the areas table tells it


@settings(max_examples=30, deadline=None)
@given(st.floats(0.1, 1), st.floats(0, 360), st.floats(0, 360))
def test_length_along_the_slope_is_that_in_space(slope, fall, turn):
    """Each vertex lifted to its height on the plane, distances by Pythagoras in three
    dimensions."""
    shape = affinity.rotate(Polygon([(0, 0), (9, 0), (9, 4), (3, 4), (3, 7), (0, 7)]), turn)
    x, y = shapely.get_coordinates(shape).T
    z = -slope * (x * np.sin(np.radians(fall)) + y * np.cos(np.radians(fall)))
    in_space = np.sqrt((np.diff(np.column_stack([x, y, z]), axis=0) ** 2).sum(axis=1)).sum()
    runs = edges(
        [shape],
        [("paving", affinity.rotate(box(-3, 0, 0, 7), turn, (4.5, 3.5)))],
        slope=slope,
        fall=fall,
    ).runs
    assert runs["laid_m"].sum() == pytest.approx(in_space, abs=1e-6)


def test_a_hole_has_edges_too():
    ring = LAWN.difference(box(4, 4, 6, 6))
    result = edges([ring], [("building", box(4, 4, 6, 6))])
    assert sums(result) == near(0, 8, 0, 40)
    assert result.runs["closed"].all()


def test_parts_of_a_multipart_area_each_have_edges():
    result = edges([MultiPolygon([LAWN, box(20, 0, 21, 1)])], [("paving", box(21, -5, 25, 5))])
    assert sums(result) == near(1, 0, 0, 43)


def test_house_and_drive_along_a_lawn():
    house, drive = box(0, 10, 10, 20), box(10, 0, 13, 6)
    result = edges([LAWN], [("building", house), ("paving", drive)])
    assert sums(result) == near(6, 10, 0, 24)
    assert sorted(result.runs["kind"]) == ["building", "open", "open", "paving"]
    assert not result.runs["closed"].any()


@pytest.mark.parametrize(
    ("gap", "length"), [(0, 10), (2, 10), (3, 10), (3.01, 0), (-2, 10), (-3, 10)]
)
def test_a_wall_counts_within_three_inches(gap, length):
    result = edges([LAWN], [("building", box(0, 10 + gap * INCH, 10, 20))])
    assert sums(result) == near(0, length, 0, 40 - length)


def test_a_lawn_drawn_on_under_the_roof_has_the_building_beside_it():
    assert sums(edges([LAWN], [("building", box(-5, 9, 15, 20))])) == near(0, 12, 0, 28)


def test_the_tolerance_is_a_rule():
    wall = ("paving", box(0, 10.2, 10, 20))
    assert sums(edges([LAWN], [wall])) == near(0, 0, 0, 40)
    assert sums(edges([LAWN], [wall], EdgeRules(tolerance="1 ft"))) == near(10, 0, 0, 30)


def test_a_thin_kerb_within_tolerance_is_paving():
    assert sums(edges([LAWN], [("paving", box(0, 10.01, 10, 10.03))])) == near(10, 0, 0, 30)


def test_precedence_shared_building_paving():
    other, house, walk = box(0, 10, 10, 20), box(5, 10, 10, 20), box(0, -9, 10, 0)
    result = edges(
        [LAWN, other],
        [("building", house), ("paving", house), ("building", walk), ("paving", walk)],
    )
    assert sums(result) == near(0, 10, 10, 20)


@pytest.mark.parametrize("angle", [30, 35, 45, 55, 60])
def test_a_house_whose_corner_points_at_the_edge_takes_nothing(angle):
    house = affinity.rotate(box(5, 10, 15, 20), angle, origin=(5, 10))
    assert sums(edges([LAWN], [("building", house)])) == near(0, 0, 0, 40)


def test_a_house_whose_corner_touches_the_lawns_corner_takes_nothing():
    assert sums(edges([LAWN], [("building", box(10, 10, 20, 20))])) == near(0, 0, 0, 40)


@pytest.mark.parametrize("angle", [30, 45, 60, 90, 120, 150])
def test_a_fence_that_ends_on_the_edge_takes_no_more_than_its_width(angle):
    """Seen along the lawn's edge, and for a slanting one the two tolerances on its sides."""
    fence = affinity.rotate(box(5, 9.95, 15, 10.05), angle, origin=(5, 10))
    open_side = 3 * INCH / np.tan(np.radians(angle))
    taken = sums(edges([LAWN], [("building", fence)]))[1]
    assert taken <= 0.1 / np.sin(np.radians(angle)) + abs(2 * open_side) + 1e-6


def test_house_meeting_the_lawn_square_on_takes_just_its_width():
    assert sums(edges([LAWN], [("building", box(3, 10, 7, 20))])) == near(0, 4, 0, 36)


def test_a_gap_at_the_house_corner_does_not_break_the_run():
    gap = 2 * INCH
    house = box(4, 4, 8, 10)
    lawn = box(0, 0, 10, 10).difference(box(4 - gap, 4 - gap, 8 + gap, 11))
    result = edges([lawn], [("building", house)])
    runs = result.runs[result.runs["kind"] == "building"]
    assert len(runs) == 1
    assert sums(result)[1] == pytest.approx(6 + 4 + 6 + 4 * gap)


def test_two_lawns_of_a_site_share_a_seam_both_ways():
    result = edges([LAWN, box(10, 2, 20, 8)])
    assert sums(result, 0) == near(0, 0, 6, 34)
    assert sums(result, 1) == near(0, 0, 6, 26)
    shared = result.runs[result.runs["kind"] == "shared"]
    assert list(shared["neighbour"]) == [1, 0]


@pytest.mark.parametrize(
    "differs", [{"site": ["a", "b"]}, {"product": ["turf60", "deck"]}, {"frame": [0, 1]}]
)
def test_other_sites_products_and_frames_share_nothing(differs):
    assert sums(edges([LAWN, box(10, 0, 20, 10)], **differs)) == near(0, 0, 0, 40)


@pytest.mark.parametrize("gap", [0.01, -0.01, 0.07, -0.07])
def test_borders_that_nearly_agree_are_shared(gap):
    result = edges([LAWN, box(10 + gap, 0, 20, 10)])
    assert sums(result, 0) == near(0, 0, 10, 30)
    assert result.totals["edge_shared_m"].to_numpy() == pytest.approx(10)


def test_a_jagged_neighbour_is_still_one_seam():
    y = np.linspace(0, 10, 101)
    x = 10 + 0.05 * (-1.0) ** np.arange(101)  # 5 cm to and fro every 10 cm: 45 degrees
    other = Polygon([*zip(x, y, strict=True), (20, 10), (20, 0)])
    result = edges([LAWN, other])
    assert sums(result, 0)[2] == pytest.approx(10)
    assert (result.runs["kind"] == "shared").sum() == 2


def test_t_junction_gives_a_run_a_neighbour():
    result = edges([LAWN, box(10, 0, 20, 4), box(10, 4, 20, 10)])
    runs = result.runs[(result.runs["area_index"] == 0) & (result.runs["kind"] == "shared")]
    assert dict(zip(runs["neighbour"], runs["length_m"], strict=True)) == {
        1: pytest.approx(4),
        2: pytest.approx(6),
    }
    assert sums(result, 1) == near(0, 0, 14, 14)


def test_a_copy_of_an_area_is_no_neighbour():
    assert edges([LAWN, LAWN]).totals["edge_shared_m"].tolist() == [0, 0]
    assert edges([LAWN, box(0.02, 0.02, 10.02, 10.02)]).totals["edge_shared_m"].tolist() == [0, 0]


def test_a_neighbour_drawn_many_times_is_one_neighbour():
    result = edges([LAWN, *[box(10, 2, 20, 8)] * 400])
    assert sums(result, 0) == near(0, 0, 6, 34)
    runs = result.runs[result.runs["kind"] == "shared"]
    assert runs["neighbour"].tolist() == [1] + [0] * 400


def test_paving_under_the_lawn_is_not_beside_it():
    assert sums(edges([LAWN], [("paving", LAWN)])) == near(0, 0, 0, 40)
    assert sums(edges([LAWN], [("paving", box(-5, -5, 15, 15))])) == near(40, 0, 0, 0)


def test_context_of_another_frame_is_not_seen():
    assert sums(edges([LAWN], [("paving", box(10, 0, 20, 10), 1)])) == near(0, 0, 0, 40)


# -- fasteners
# --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("spacing", "nails"), [("4 in", 420), ("3 in", 560)])
def test_closed_run_of_140_ft(spacing, nails):
    """A closed run has no nail more than it has spaces (check value M11, arithmetic)."""
    lawn = box(0, 0, 40 * FOOT, 30 * FOOT)
    totals = edges([lawn], rules=EdgeRules(perimeter_spacing=spacing)).totals
    assert totals.loc[0, "perimeter_fasteners"] == nails
    assert totals.loc[0, "fastened_m"] == pytest.approx(140 * FOOT)


def test_open_ended_runs_have_one_nail_more_each():
    lawn, other = box(0, 0, 20 * FOOT, 10 * FOOT), box(20 * FOOT, 0, 30 * FOOT, 10 * FOOT)
    totals = edges([lawn, other]).totals
    assert totals["perimeter_fasteners"].tolist() == [50 * 3 + 1, 30 * 3 + 1]


def test_field_nails_by_surface_area():
    totals = edges([LAWN], surface=900 * FOOT**2).totals
    assert totals.loc[0, "field_fasteners"] == 400  # 900 ft2 at 18 in both ways (2.25 ft2 each)


def test_glued_turf_gets_no_nails():
    totals = edges([LAWN], product="deck").totals
    assert totals.loc[0, ["perimeter_fasteners", "field_fasteners", "fastened_m"]].tolist() == [
        0,
        0,
        0,
    ]


def test_edging_on_the_kinds_the_rules_name():
    drive = ("paving", box(10, 0, 13, 6))
    assert edges([LAWN], [drive]).totals.loc[0, "edging_m"] == 0
    assert edges([LAWN], [drive], EdgeRules(edging_on=("open",))).totals.loc[
        0, "edging_m"
    ] == pytest.approx(34)
    both = EdgeRules(edging_on=("open", "paving"))
    assert edges([LAWN], [drive], both).totals.loc[0, "edging_m"] == pytest.approx(40)


def test_a_spacing_of_nothing_is_refused():
    with pytest.raises(ValueError, match="perimeter_spacing must be more than zero"):
        EdgeRules(perimeter_spacing="0 in")


def test_edges_are_as_long_as_the_perimeter_at_the_areas_own_elevation():
    """A site's frame is at its mean elevation; an area 1,000 m above it is 157 ppm larger there."""
    true = 1 + 1000 / 6_371_000
    result = edges([LAWN], [("building", box(10, 0, 20, 10))], true=true)
    assert sums(result) == near(0, 10 * true, 0, 30 * true)
    assert result.runs["length_m"].sum() == pytest.approx(40 * true, abs=1e-9)


def test_no_areas_no_edges():
    result = edges([])
    assert len(result.runs) == len(result.totals) == 0


def test_all_open_is_said():
    assert [f.code for f in edges([LAWN]).findings] == ["edges-open"]
    assert edges([LAWN], [("paving", box(10, 0, 20, 10))]).findings == ()


# -- shapes of all kinds
# ----------------------------------------------------------------------------------------------


@st.composite
def stars(draw):
    """A star-shaped polygon of 5 to 12 vertices, 4 to 20 m from its centre."""
    count = draw(st.integers(5, 12))
    radii = draw(st.lists(st.floats(4, 20), min_size=count, max_size=count))
    turn = 2 * np.pi * np.arange(count) / count
    return Polygon(np.column_stack([radii * np.cos(turn), radii * np.sin(turn)]))


@settings(max_examples=60, deadline=None)
@given(stars(), st.floats(0, 360), st.floats(-3, 3))
def test_splitting_an_area_adds_twice_the_cut_as_shared(star, angle, offset):
    line = affinity.translate(shapely.LineString([(-100, 0), (100, 0)]), 0, offset)
    line = affinity.rotate(line, angle, origin=(0, 0))
    pieces = list(split(star, line).geoms)
    fine = EdgeRules(tolerance="0.1 mm")
    result = edges(pieces, rules=fine)
    cut = star.intersection(line).length
    assume(cut > 1)
    assert result.totals["edge_shared_m"].sum() == pytest.approx(2 * cut, abs=1e-3)
    assert result.totals["edge_open_m"].sum() == pytest.approx(star.length, abs=1e-3)


@settings(max_examples=60, deadline=None)
@given(stars(), st.floats(0, 360), st.floats(-500, 500), st.floats(-500, 500))
def test_moving_and_turning_keep_the_sums(star, angle, east, north):
    house, walk = box(-2, -2, 2, 2), box(-30, -2, 30, 0)
    lawn = star.difference(house)

    def moved(shape):
        return affinity.translate(affinity.rotate(shape, angle, origin=(0, 0)), east, north)

    before = edges([lawn], [("building", house), ("paving", walk)])
    after = edges([moved(lawn)], [("building", moved(house)), ("paving", moved(walk))])
    assert sums(after) == pytest.approx(sums(before), abs=1e-5)
    assert sum(sums(before)) == pytest.approx(lawn.length, abs=1e-6)
    assert sums(before)[1] == pytest.approx(16)


@settings(max_examples=60, deadline=None)
@given(stars(), stars(), st.floats(-25, 25), st.floats(-25, 25))
def test_every_stretch_is_one_kind_and_runs_trace_the_border(one, two, east, north):
    two = affinity.translate(two, east, north)
    result = edges([one, two], [("building", affinity.translate(one, 3, 3))])
    for row, area in enumerate((one, two)):
        runs = result.runs[result.runs["area_index"] == row]
        assert sum(sums(result, row)) == pytest.approx(area.length, abs=1e-6)
        traced = shapely.line_merge(
            shapely.unary_union(shapely.GeometryCollection(list(runs["geometry"])))
        )
        assert traced.length == pytest.approx(area.length, abs=1e-6)
        assert shapely.hausdorff_distance(traced, area.exterior) < 1e-6
        assert runs["length_m"].to_numpy() == pytest.approx(
            shapely.length(runs["geometry"].to_numpy())
        )


# -- a whole layer
# ----------------------------------------------------------------------------------------------------


def street(count):
    """``count`` lots, each in its own frame, moved and turned its own way: (areas, context, frames
    of the areas, sites)."""
    areas, context, frame = [], [], []
    for k in range(count):

        def placed(shape, k=k):
            return affinity.translate(
                affinity.rotate(shape, 37 * k, origin=(0, 0)), 100 - 13 * k, 7 * k
            )

        lot = box(0, 0, 20 + k % 5, 34).buffer(-2).buffer(2)
        house, drive = box(3, 9, 16 + k % 3, 21), box(12, -1, 15.5, 9)
        lawn = lot.difference(house).difference(drive)
        parts = lawn.intersection(box(-1, -1, 40, 15)), lawn.intersection(box(-1, 15, 40, 40))
        areas += [placed(part) for part in parts]
        context += [("building", placed(house), k), ("paving", placed(drive), k)]
        frame += [k, k]
    return areas, context, frame, [f"lot {k}" for k in frame]


def test_every_point_of_a_run_has_its_kind_beside_it():
    """Against distances by shapely, at points of the runs away from their ends."""
    areas, context, frame, site = street(20)
    result = edges(areas, context, frame=frame, site=site)
    tolerance = 3 * INCH
    asked = 0
    for run in result.runs.itertuples():
        own = frame[run.area_index]
        for at in np.linspace(0.01, 0.99, 15) * run.length_m:
            if min(at, run.length_m - at) < 2 * tolerance:
                continue
            point = run.geometry.interpolate(at)
            things = {
                "shared": [
                    a for k, a in enumerate(areas) if frame[k] == own and k != run.area_index
                ]
            }
            things |= {
                role: [s for r, s, f in context if f == own and r == role]
                for role in ("building", "paving")
            }
            beside = [
                kind
                for kind, shapes in things.items()
                if min(map(point.distance, shapes)) <= tolerance
            ]
            assert run.kind == (beside[0] if beside else "open")
            asked += 1
    assert asked > 1000
    assert set(result.runs["kind"]) == {"shared", "building", "paving", "open"}


def test_a_layer_in_slabs_gives_what_it_gives_at_once(monkeypatch):
    areas, context, frame, site = street(12)
    mixed = np.random.default_rng(1).permutation(len(areas))
    areas, frame, site = ([column[k] for k in mixed] for column in (areas, frame, site))
    whole = edges(areas, context, frame=frame, site=site)
    monkeypatch.setattr("geoturf.edges._SLAB", 100)
    parts = edges(areas, context, frame=frame, site=site)
    pd.testing.assert_frame_equal(whole.totals, parts.totals)
    pd.testing.assert_frame_equal(
        whole.runs.drop(columns="geometry"), parts.runs.drop(columns="geometry")
    )
    assert shapely.equals_exact(
        whole.runs["geometry"].to_numpy(), parts.runs["geometry"].to_numpy(), 1e-9
    ).all()


# ------------------------------------------------------------------------------ fences and planters


def by_kind(result):
    return result.runs.groupby("kind")["length_m"].sum().to_dict()


def test_an_edging_along_nothing_is_told():
    """A fence 2 m off is no edge, though an edging is asked for along it."""
    fence = shapely.LineString([(-1, 12), (11, 12)])
    rules = EdgeRules(edging_on=["open", "fence"])
    told = [
        f.message
        for f in edges([LAWN], [("fence", fence)], rules).findings
        if f.code == "idle-edging"
    ]
    assert len(told) == 1 and "edges of kind fence" in told[0]
    near = shapely.LineString([(-1, 10.03), (11, 10.03)])
    assert "idle-edging" not in [f.code for f in edges([LAWN], [("fence", near)], rules).findings]


def test_open_edges_along_fences_and_planters_are_told_apart():
    """A lawn of 10 m: a fence drawn as a line along its north side, a planter along its east side,
    nothing known west and south. All four count as open."""
    fence = shapely.LineString([(-1, 10.03), (11, 10.03)])
    result = edges([LAWN], [("fence", fence), ("planter", box(10, 0, 12, 10))])
    assert by_kind(result) == pytest.approx({"fence": 10, "planter": 10, "open": 20}, abs=1e-6)
    assert sums(result) == near(0, 0, 0, 40)


def test_a_wall_behind_a_planter_is_a_wall():
    """What is built overrules what stands before it."""
    around = [("planter", box(10, 0, 10.05, 10)), ("building", box(10, 0, 15, 10))]
    result = edges([LAWN], around)
    assert by_kind(result) == pytest.approx({"building": 10, "open": 30}, abs=1e-6)


def test_each_kind_of_edge_has_its_edging():
    rules = EdgeRules(edging_on=["open", "fence", "planter"])
    assert rules.edged_with("board") == ("open",)
    assert rules.edged_with("nailer") == ("fence",) and rules.edged_with("steel") == ("planter",)
    plain = EdgeRules(edging_on=["planter"], edging={"planter": "board"})
    assert plain.edged_with("board") == ("planter",) and not plain.edged_with("steel")
