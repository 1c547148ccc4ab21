"""From a parcel to the lawn a person would draw, everything else accounted for."""

import numpy as np
import pandas as pd
import pytest
import shapely
import shapely.affinity
from ground_cases import FT, layer, moved_to, source
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, Polygon, box

from geoturf import ground, parcels
from geoturf.errors import InputError
from geoturf.rules import GroundRules, ParcelRules

FEET = "+proj=tmerc +lat_0=40 +lon_0=-75 +k=1 +ellps=GRS80 +datum=NAD83 +units=ft +type=crs"
WHOLE = ParcelRules(split=False)


def lawn(parcel, *layers, rules=WHOLE, site="lot"):
    found = ground.measure(
        source(layer([parcel], FEET, role="parcel", site=[site]), *layers), GroundRules()
    )
    return parcels.derive(found, rules)


def buildings(*shapes):
    return layer(shapes, FEET, role="building")


def paving(*shapes):
    return layer(shapes, FEET, role="paving")


def ft2(found):
    return float(found.areas.ground_area_m2.sum()) / FT**2


def in_feet(found):
    return shapely.union_all(
        ground.to_crs(found.frames, found.areas.frame.to_numpy(), found.areas.geometry, FEET)
    )


def lost(found):
    """Reason -> ft2, of all parcels."""
    return {
        reason: size / FT**2
        for reason, size in found.taken.groupby("reason", sort=False).area_m2.sum().items()
    }


def test_without_parcels_the_ground_is_given_back():
    found = ground.measure(source(layer([box(0, 0, 10, 10)], FEET)), GroundRules())
    assert parcels.derive(found, ParcelRules()) is found


def test_a_lot_with_house_and_drive_gives_the_lawn_a_person_would_draw():
    """60 x 120 ft lot, 40 x 30 house, 10 ft drive from street to house: an L of front lawn, sides
    and back."""
    house, drive = box(10, 40, 50, 70), box(35, 0, 45, 40)
    found = lawn(box(0, 0, 60, 120), buildings(house), paving(drive))
    by_hand = Polygon(
        [
            (0, 0),
            (35, 0),
            (35, 40),
            (10, 40),
            (10, 70),
            (50, 70),
            (50, 40),
            (45, 40),
            (45, 0),
            (60, 0),
            (60, 120),
            (0, 120),
        ]
    )
    assert ft2(found) == pytest.approx(60 * 120 - 1200 - 400, rel=1e-6)
    assert shapely.hausdorff_distance(in_feet(found), by_hand) < 1e-4
    assert (
        shapely.get_num_coordinates(found.areas.geometry[0]) == 13
    )  # no corner more than the hand drew
    assert lost(found) == pytest.approx({"building": 1200, "paving": 400}, rel=1e-6)


def test_files_in_other_crss_leave_no_seam_along_shared_borders():
    """Parcel in Web Mercator, house in State Plane, drive in degrees, turned 20 degrees: borders
    that meet on paper meet within some nanometres, and the lawn still has the corners that a hand
    would draw and no more."""
    flat = [box(0, 0, 60, 120), box(10, 40, 50, 70), box(35, 0, 45, 40)]
    lot, house, drive, by_hand = (
        shapely.affinity.rotate(shape, 20, origin=(0, 0))
        for shape in (*flat, flat[0] - flat[1] - flat[2])
    )
    there = source(
        layer(moved_to([lot], FEET, 3857), 3857, role="parcel", site=["lot"]),
        layer(moved_to([house], FEET, 2272), 2272, role="building"),
        layer(moved_to([drive], FEET, 4326), 4326, role="paving"),
    )
    found = parcels.derive(ground.measure(there, GroundRules()), WHOLE)
    assert ft2(found) == pytest.approx(60 * 120 - 1200 - 400, rel=1e-6)
    assert shapely.hausdorff_distance(in_feet(found), by_hand) < 1e-3
    assert shapely.get_num_coordinates(found.areas.geometry[0]) == 13


def test_everything_adds_up_and_says_why():
    found = lawn(
        box(0, 0, 60, 120),
        buildings(box(10, 40, 58.5, 70)),  # leaves a strip of 1 1/2 ft on the right
        paving(
            box(0, 75, 60, 78), box(0, 80, 57, 83)
        ),  # walks across: 2 ft of lawn between them is enough, 3 ft x 3 in the corner
        layer([box(20, 100, 30, 110)], FEET, role="exclude"),
        layer([box(40, 100, 44, 105)], FEET, role="planter"),
        layer([box(50, 0, 60, 10)], FEET, site=["lot"]),  # drawn already
        rules=ParcelRules(
            split=False, boundary_setback="1 ft", building_setback="1 ft", min_area="40 ft^2"
        ),
    )
    reasons = lost(found)
    derived = found.areas[found.areas.role == "parcel"]
    assert sum(reasons.values()) + derived.ground_area_m2.sum() / FT**2 == pytest.approx(
        7200, rel=1e-6
    )
    assert reasons["boundary setback"] == pytest.approx(7200 - 58 * 118, rel=1e-6)
    assert reasons["drawn as turf"] == pytest.approx(9 * 9, rel=1e-6)
    assert reasons["exclude"] == pytest.approx(100, rel=1e-6)
    assert reasons["planter"] == pytest.approx(20, rel=1e-6)  # a bed is no lawn
    assert reasons["building"] == pytest.approx(48.5 * 30, rel=1e-6)
    assert reasons["building setback"] == pytest.approx(
        48.5 + 48.5 + 30 + 1 + 1 + 0.5 * 32, rel=1e-5
    )
    assert list(reasons) == [
        "boundary setback", "drawn as turf", "exclude", "planter", "building", "building setback", "paving"
    ]  # fmt: skip


def test_a_neck_narrower_than_the_smallest_width_goes():
    """Two squares joined by a neck of 1 1/2 ft: the neck goes at 2 ft and stays at 1 ft."""
    dumb_bell = shapely.union_all([box(0, 0, 20, 20), box(20, 9, 30, 10.5), box(30, 0, 50, 20)])
    assert lost(lawn(dumb_bell)) == pytest.approx({"too narrow": 15}, rel=1e-4)
    assert lost(lawn(dumb_bell, rules=ParcelRules(split=False, min_width="1 ft"))) == {}


def test_exactly_the_smallest_width_stays():
    assert ft2(lawn(shapely.affinity.rotate(box(0, 0, 2, 50), 20))) == pytest.approx(100, rel=1e-5)


def test_small_remnants_go_and_small_holes_are_filled():
    post, pond = box(10, 10, 10.9, 11), box(30, 10, 34, 14)
    found = lawn(
        box(0, 0, 50, 30),
        paving(box(44, 0, 46, 30)),
        buildings(post, pond),
        rules=ParcelRules(split=False, min_area="130 ft^2"),
    )
    assert lost(found) == pytest.approx(
        {"building": 16.9, "paving": 60, "too small": 120, "holes filled": -0.9}, rel=1e-4
    )
    assert len(found.areas.geometry[0].interiors) == 1


def test_sharp_and_slanted_corners_are_kept():
    triangle = Polygon([(0, 0), (80, 0), (10, 60)])
    found = lawn(triangle)
    assert shapely.hausdorff_distance(in_feet(found), triangle) < 1e-4


def test_a_setback_along_a_slanted_building_is_parallel_to_it():
    house = shapely.affinity.rotate(box(40, 40, 60, 60), 30)
    found = lawn(
        box(0, 0, 100, 100),
        buildings(house),
        rules=ParcelRules(split=False, building_setback="3 ft"),
    )
    assert ft2(found) == pytest.approx(1e4 - 26**2, rel=1e-6)


def test_figures_follow_the_lawn():
    parcel = layer(
        [box(0, 0, 60, 120)],
        FEET,
        role="parcel",
        sigma_m=0.1,
        slope_pct=[75.0],
        elevation_m=[1609.0],
        aspect_deg=[0.0],
    )
    found = ground.measure(source(parcel, buildings(box(10, 40, 50, 70))), GroundRules())
    (area,) = parcels.derive(found, WHOLE).areas.itertuples()
    higher = (1 + 1609 / 6_370_000) ** 2
    assert area.plan_area_m2 == pytest.approx(6000 * FT**2, rel=1e-6)
    assert area.ground_area_m2 == pytest.approx(6000 * FT**2 * higher, rel=2e-6)
    assert area.surface_area_m2 == pytest.approx(1.25 * area.ground_area_m2)
    assert area.perimeter_m == pytest.approx((360 + 140) * FT * np.sqrt(higher), rel=2e-6)
    assert shapely.area(area.laid) == pytest.approx(area.surface_area_m2, rel=1e-6)
    # by hand: four corners of the lot and of the house see diagonals of 60 x 120 and 40 x 30
    assert area.area_tolerance_m2 == pytest.approx(
        0.05 * np.sqrt(4 * (60**2 + 120**2) + 4 * 50**2) * FT, rel=1e-3
    )


def test_a_parcel_without_lawn_is_told_and_left_out():
    paved = layer([box(0, 0, 20, 20), box(20, 0, 60, 40)], FEET, role="parcel", site=["a", "b"])
    found = parcels.derive(
        ground.measure(source(paved, paving(box(-1, -1, 20, 21))), GroundRules()), WHOLE
    )
    assert found.areas.site.tolist() == ["b"]
    assert [(f.severity, f.site) for f in found.findings if f.code == "no-lawn"] == [
        ("warning", "a")
    ]
    with pytest.raises(InputError, match="no parcel has any lawn left"):
        lawn(box(0, 0, 20, 20), paving(box(-1, -1, 21, 21)))


def test_rows_keep_their_order_and_drawn_turf_its_row():
    mixed = source(
        layer([box(0, 0, 20, 40), box(40, 0, 60, 40)], FEET, role="parcel", site=["a", "c"]),
        layer([box(20, 0, 40, 40)], FEET, site=["b"]),
    )
    found = parcels.derive(ground.measure(mixed, GroundRules()), WHOLE)
    assert found.areas[["site", "role"]].to_numpy().tolist() == [
        ["a", "parcel"],
        ["c", "parcel"],
        ["b", "turf"],
    ]
    assert isinstance(found.areas.index, pd.RangeIndex)


# - front, side and back ---------------------------------------------------------------------------

LOTS = [
    box(60 * k, 120 * r, 60 * k + 60, 120 * r + 120) for r in range(2) for k in range(4)
]  # two rows, back to back
HOUSES = [
    box(60 * k + 10, (30, 180)[r], 60 * k + 50, (60, 210)[r]) for r in range(2) for k in range(4)
]
SITES = [f"lot {k}" for k in range(8)]


def block(*layers, turn=0.0, lots=tuple(LOTS), houses=tuple(HOUSES), rules=None):
    def turned(shapes):
        return [shapely.affinity.rotate(shape, turn, origin=(0, 0)) for shape in shapes]

    land = source(
        layer(turned(lots), FEET, role="parcel", site=SITES[: len(lots)]),
        layer(turned(houses), FEET, role="building"),
        *(layer(turned(each.table.geometry), FEET, role=each.role) for each in layers),
    )
    return parcels.derive(ground.measure(land, GroundRules()), rules or ParcelRules())


def yard_ft2(found):
    """Front, side and back of each site, in ft2."""
    table = (
        found.areas.pivot_table(
            index="site", columns="yard", values="ground_area_m2", aggfunc="sum"
        )
        / FT**2
    )
    return table[["front", "side", "back"]]


@pytest.mark.parametrize("turn", [0, 17, 90, 200])
def test_the_side_without_a_neighbour_is_the_front(turn):
    yards = yard_ft2(block(turn=turn))
    for site in SITES:
        assert yards.loc[site].tolist() == pytest.approx([60 * 30, 20 * 30, 60 * 60], rel=1e-5)


def test_a_street_tells_where_neighbours_cannot():
    """A lot that stands free has four open sides; a street west of it makes the west its front."""
    street = layer([LineString([(-20, -50), (-20, 300)])], FEET, role="street")
    alone = block(lots=LOTS[:1], houses=HOUSES[:1])
    assert set(alone.areas.yard) == {""}
    assert [f.code for f in alone.findings if f.code == "no-street-side"] == ["no-street-side"]
    yards = yard_ft2(block(street, lots=LOTS[:1], houses=HOUSES[:1]))
    assert yards.loc["lot 0"].tolist() == pytest.approx([10 * 120, 40 * 90, 10 * 120], rel=1e-5)


@pytest.mark.parametrize(
    ("drive", "expected"),
    [
        (box(25, 60, 35, 120), [60 * 60, 20 * 30, 60 * 30]),
        (box(0, 40, 10, 50), [10 * 120, 40 * 90, 10 * 120]),
    ],
)
def test_a_drive_tells_by_which_open_side_it_leaves(drive, expected):
    yards = yard_ft2(block(paving(drive), lots=LOTS[:1], houses=HOUSES[:1]))
    expected[0] -= drive.area
    assert yards.loc["lot 0"].tolist() == pytest.approx(expected, rel=1e-5)


def test_address_points_tell_too():
    doors = layer([Point(30, 125 if r else 5) for r in (0,)], FEET, role="street")
    yards = yard_ft2(block(doors, lots=LOTS[:1], houses=HOUSES[:1]))
    assert yards.loc["lot 0"].tolist() == pytest.approx([60 * 30, 20 * 30, 60 * 60], rel=1e-5)


def test_yards_make_up_the_lawn_and_have_names_of_their_own():
    split, whole = block(), block(rules=ParcelRules(split=False))
    assert split.areas.ground_area_m2.sum() == pytest.approx(
        whole.areas.ground_area_m2.sum(), rel=1e-7
    )
    assert split.areas[["area", "yard"]].iloc[:3].to_numpy().tolist() == [
        [y, y] for y in ("front", "side", "back")
    ]
    assert not split.areas.duplicated(["site", "area"]).any()


def test_the_main_house_counts_and_not_the_shed():
    shed = box(5, 100, 15, 110)
    yards = yard_ft2(block(houses=[*HOUSES, shed]))
    assert yards.loc["lot 0"].tolist() == pytest.approx([60 * 30, 20 * 30, 60 * 60 - 100], rel=1e-5)


def test_a_lot_without_a_house_stays_whole_and_is_counted():
    found = block(houses=HOUSES[1:])
    assert found.areas[found.areas.site == "lot 0"].yard.tolist() == [""]
    assert "1 of 8 parcels" in next(f.message for f in found.findings if f.code == "no-street-side")


# - properties -------------------------------------------------------------------------------------


@example(
    [(0, 0, 1, 1, 0)] * 3 + [(5, 75, 27, 15, 57)]
)  # GEOS made an invalid polygon of this in a mitred buffer
@settings(max_examples=20, deadline=None)
@given(
    st.lists(
        st.tuples(*[st.integers(0, 90)] * 2, *[st.integers(1, 40)] * 2, st.integers(0, 90)),
        max_size=5,
    )
)
def test_parcel_is_lawn_and_what_was_taken(things):
    """Nothing gets lost: what is left and what was taken make the parcel; nothing left lies under a
    building."""
    shapes = [
        shapely.affinity.rotate(box(x, y, x + w, y + h), turn) for x, y, w, h, turn in things
    ] or [box(200, 0, 201, 1)]
    found = lawn(box(0, 0, 100, 100), buildings(*shapes))
    assert ft2(found) + sum(lost(found).values()) == pytest.approx(1e4, rel=1e-6)
    assert shapely.is_valid(found.areas.geometry.to_numpy()).all()
    overlap = shapely.area(shapely.intersection(in_feet(found), shapely.union_all(shapes)))
    assert overlap <= sum(1 for _ in shapes) * 1.001  # only holes under 1 ft2 are filled
