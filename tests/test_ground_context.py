"""What lies around the areas: placed where it is, in each frame it comes near, and in no other."""

import numpy as np
import shapely
from ground_cases import layer, moved_to, source
from shapely.geometry import LineString, Point, box

from geoturf import ground
from geoturf.rules import GroundRules

X, Y = 500000.0, 4400000.0


def at(*corners):
    west, south, east, north = corners
    return box(X + west, Y + south, X + east, Y + north)


LAWN = at(0, 0, 20, 20)


def around(*layers, lots=(LAWN,)):
    return ground.measure(source(layer(list(lots), 32618), *layers), GroundRules())


def test_a_house_next_to_a_lawn_touches_it_in_the_frame_whatever_its_crs():
    house = layer(moved_to([at(20, 0, 30, 10)], 32618, 3857), 3857, role="building", name="houses")
    found = around(house)
    assert found.context[["role", "frame", "file", "layer", "feature"]].to_numpy().tolist() == [
        ["building", 0, "houses.gpkg", "houses", "1"]
    ]
    assert shapely.distance(found.areas.geometry[0], found.context.geometry[0]) < 1e-6


def test_what_is_far_away_stays_away():
    things = [at(20, 0, 30, 10), at(60, 0, 70, 10)]
    assert around(layer(things, 32618, role="paving")).context.feature.tolist() == ["1"]


def test_a_feature_stands_once_in_each_frame_it_comes_near():
    found = around(
        layer([at(20, 0, 25, 20)], 32618, role="paving"), lots=(at(0, 0, 20, 20), at(25, 0, 45, 20))
    )
    assert found.context.frame.tolist() == [0, 1]
    for area, thing in zip(found.areas.geometry, found.context.geometry, strict=True):
        assert shapely.distance(area, thing) < 1e-6


def test_only_the_parts_that_come_near_are_placed():
    all_houses = shapely.multipolygons([at(5000, 0, 5010, 10), at(20, 0, 30, 10)])
    found = around(layer([at(-30, 0, -20, 5), all_houses], 32618, role="building"))
    assert found.context[["feature", "part"]].to_numpy().tolist() == [["2", 1]]
    assert shapely.area(found.context.geometry[0]) < 101


def test_a_citys_paving_in_one_polygon_is_cut_to_what_is_near():
    blocks = [
        shapely.get_coordinates(at(100 * i, 100 * j, 100 * i + 80, 100 * j + 80))[::-1]
        for i in range(12)
        for j in range(12)
    ]
    roads = shapely.polygons(shapely.get_coordinates(at(-30, -30, 1230, 1230)), blocks)
    found = around(layer([roads], 32618, role="paving"), lots=(at(0, 0, 80, 80),))
    near = found.context.geometry.to_numpy()
    assert shapely.get_num_coordinates(near).sum() < 200 < shapely.get_num_coordinates(roads)
    border = found.areas.geometry[0].boundary
    paved = shapely.buffer(shapely.union_all(near), 1e-6)
    assert shapely.length(shapely.intersection(border, paved)) > 0.999 * shapely.length(border)


def test_a_house_of_many_corners_stays_whole():
    round_house = shapely.buffer(Point(X + 40, Y + 10), 19, quad_segs=64)
    assert len(around(layer([round_house], 32618, role="building")).context) == 1


def test_streets_reach_farther_and_views_any_distance_nearest_of_each_layer():
    street = layer([LineString([(X, Y - 150), (X + 50, Y - 150)])], 32618, role="street")
    porches = layer(
        [Point(X + 9000, Y), Point(X + 700, Y), Point(X, Y + 5000)],
        32618,
        role="view",
        name="porches",
    )
    gates = layer([Point(X, Y + 2000)], 32618, role="view", name="gates")
    found = around(street, porches, gates).context
    assert found[["role", "layer", "feature"]].to_numpy().tolist() == [
        ["street", "street", "1"],
        ["view", "porches", "2"],
        ["view", "gates", "1"],
    ]


def test_an_empty_context_has_its_columns():
    found = around(layer([at(5000, 0, 5010, 10)], 32618, role="building"))
    assert list(found.context.columns) == [
        "role",
        "frame",
        "geometry",
        "file",
        "layer",
        "feature",
        "part",
    ]
    assert not len(found.context)


def test_context_that_cannot_be_placed_harms_nothing():
    found = around(
        layer([box(1e12, 1e12, 1e12 + 1, 1e12 + 1), at(20, 0, 30, 10)], 32618, role="building")
    )
    assert found.context.feature.tolist() == ["2"]


def test_order_does_not_depend_on_the_tree():
    lots = [at(30 * k, 0, 30 * k + 20, 20) for k in range(30)]
    walks = layer([at(30 * k + 20, 0, 30 * k + 30, 20) for k in range(30)], 32618, role="paving")
    first, second = (around(walks, lots=lots).context for _ in range(2))
    assert first.drop(columns="geometry").equals(second.drop(columns="geometry"))
    assert np.all(np.diff(first.frame) >= 0)
