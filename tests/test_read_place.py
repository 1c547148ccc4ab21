"""Where on earth files lie: across 180 degrees, on meridians other than Greenwich's; heights; small
repairs told once.

Second opinion on areas: GeographicLib's polygons, which know no antimeridian.
"""

import json

import geopandas
import numpy as np
import pytest
import shapely
import shapely.affinity
from geographiclib.geodesic import Geodesic
from shapely import MultiPolygon, Polygon, box

from geoturf import ground
from geoturf.bid import make_bid
from geoturf.errors import BidError
from geoturf.read import read
from geoturf.rules import GroundRules

LAT, LON_M, LAT_M = -16.8, 106_600.0, 110_640.0  # metres a degree there, about


def read_shapes(folder, crs, *shapes, name="a.geojson", **layer):
    path = folder / name
    table = geopandas.GeoDataFrame(
        {"site": [str(k) for k in range(len(shapes))]}, geometry=list(shapes), crs=crs
    )
    if name.endswith("json"):  # written by hand: a writer may split what crosses 180 degrees
        features = [
            {
                "type": "Feature",
                "properties": {"site": str(k)},
                "geometry": shapely.geometry.mapping(shape),
            }
            for k, shape in enumerate(shapes)
        ]
        path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    else:
        table.to_file(path, engine="pyogrio")
    return read(make_bid({"name": "n", "layers": [{"path": str(path), **layer}]}))


def at_180(shape, east_of=180.0):
    """A shape drawn in metres about 180 degrees, in degrees that jump from 180 to -180 within a
    ring."""

    def jump(xy):
        lon = east_of + xy[:, 0] / LON_M
        return np.column_stack([np.where(lon > 180, lon - 360, lon), LAT + xy[:, 1] / LAT_M])

    return shapely.transform(shape, jump)


def geodesic(shape):
    """Area and perimeter of polygons in degrees by GeographicLib, holes taken off."""
    area = perimeter = 0.0
    for part in shapely.get_parts(shape):
        for sign, ring in [(1, part.exterior), *((-1, hole) for hole in part.interiors)]:
            polygon = Geodesic.WGS84.Polygon()
            for lon, lat in ring.coords[:-1]:
                polygon.AddPoint(lat, lon)
            _, length, size = polygon.Compute()
            area, perimeter = area + sign * abs(size), perimeter + length
    return area, perimeter


WITH_A_HOLE = box(-50, -50, 50, 50).difference(box(-5, -5, 5, 5))
L_SHAPE = Polygon([(-60, 0), (60, 0), (60, 20), (10, 20), (10, 80), (-60, 80)])
PLUS = box(-40, -10, 40, 10).union(box(-10, -40, 10, 40))


@pytest.mark.parametrize("shape", [box(-50, -50, 50, 50), WITH_A_HOLE, L_SHAPE, PLUS])
@pytest.mark.parametrize("crs", [4326, 3857, 3395])
def test_a_ring_across_180_degrees_is_the_shape_that_was_drawn(tmp_path, shape, crs):
    there = at_180(shape)
    sent = geopandas.GeoSeries([there], crs=4326).to_crs(crs)[0]
    source = read_shapes(tmp_path, crs, sent, name="a.geojson" if crs == 4326 else "a.gpkg")
    areas = ground.measure(source, GroundRules()).areas
    assert (areas.ground_area_m2[0], areas.perimeter_m[0]) == pytest.approx(
        geodesic(there), rel=2e-7
    )
    assert not [f for f in source.findings if f.code in ("repaired", "beyond-repair")]


def test_a_polygon_split_at_180_degrees_stays_so_and_counts_once(tmp_path):
    """As RFC 7946 section 3.1.9 wants it: two parts that meet at the line, which is no border."""
    east = at_180(box(-50, 0, 0, 40))
    west = shapely.transform(
        box(0, 0, 50, 40),
        lambda xy: np.column_stack([xy[:, 0] / LON_M - 180, LAT + xy[:, 1] / LAT_M]),
    )
    areas = ground.measure(
        read_shapes(tmp_path, 4326, MultiPolygon([east, west])), GroundRules()
    ).areas
    whole = geodesic(at_180(box(-50, 0, 50, 40)))
    assert (areas.ground_area_m2[0], areas.perimeter_m[0]) == pytest.approx(whole, rel=1e-6)


def test_a_broken_ring_across_180_degrees_is_mended_as_one_elsewhere(tmp_path):
    spike = Polygon([(-50, 0), (50, 0), (50, 30), (60, 30), (50, 30), (50, 60), (-50, 60)])
    found = [read_shapes(tmp_path, 4326, at_180(spike, east_of=lon)) for lon in (180.0, 20.0)]
    here, there = (ground.measure(one, GroundRules()).areas.iloc[0] for one in found)
    assert (here.ground_area_m2, here.perimeter_m) == pytest.approx(
        (there.ground_area_m2, there.perimeter_m), rel=1e-9
    )
    assert [[f.code for f in one.findings] for one in found] == [["repaired"]] * 2


@pytest.mark.parametrize(
    ("crs", "lon", "lat"),
    # counted from Ferro, from Paris (in grads), from Oslo, from Jakarta, from Bern
    [
        (2065, 14.42, 50.08),
        (27572, 2.3, 46.8),
        (27393, 10.7, 59.9),
        (3001, 107.0, -6.5),
        (21780, 7.4, 47.0),
    ],
)
def test_a_crs_of_another_meridian_lies_where_it_is_used(tmp_path, crs, lon, lat):
    lot = box(lon, lat, lon + 0.001, lat + 0.001)
    source = read_shapes(
        tmp_path, crs, geopandas.GeoSeries([lot], crs=4326).to_crs(crs)[0], name="a.gpkg"
    )
    assert not [f for f in source.findings if f.code in ("impossible-coordinates", "far-off")]
    areas = ground.measure(source, GroundRules()).areas
    assert areas.ground_area_m2[0] == pytest.approx(geodesic(lot)[0], rel=1e-6)


# ------------------------------------------------------------------------------------------ heights


def roof(low, high):
    """10 x 20, one end low, the other high: (low + high) / 2 on the mean, however many vertices an
    end has."""
    return Polygon(
        [(0, 0, low), (1, 0, low), (2, 0, low), (10, 0, low), (10, 20, high), (0, 20, high)]
    )


def test_heights_are_told_and_taken_where_the_bid_says_so(tmp_path):
    shapes = [
        shapely.affinity.translate(roof(low, low + 10), 500_000 + 30 * low, 4_400_000)
        for low in (100, 200)
    ]
    plain = read_shapes(tmp_path, 32618, *shapes, name="a.gpkg")
    assert "elevation_m" not in plain.layers[0].table
    assert [
        "105 to 205" in f.message and 'z = "m"' in f.message
        for f in plain.findings
        if f.code == "flattened"
    ] == [True]
    for unit, metres in (("m", 1.0), ("ft", 0.3048)):
        taken = read_shapes(tmp_path, 32618, *shapes, name="a.gpkg", z=unit)
        assert taken.layers[0].table["elevation_m"].tolist() == pytest.approx(
            [105 * metres, 205 * metres]
        )
        assert [f.code for f in taken.findings] == ["heights"]


def test_what_a_column_states_stands_over_heights(tmp_path):
    table = {"site": ["a", "b"], "elevation_m": [7.0, np.nan]}
    shapes = [shapely.affinity.translate(roof(90, 110), x, 4_400_000) for x in (500_000, 500_100)]
    geopandas.GeoDataFrame(table, geometry=shapes, crs=32618).to_file(
        tmp_path / "a.gpkg", engine="pyogrio"
    )
    source = read(make_bid({"name": "n", "layers": [{"path": str(tmp_path / "a.gpkg"), "z": "m"}]}))
    assert source.layers[0].table["elevation_m"].tolist() == pytest.approx([7.0, 100.0])


@pytest.mark.parametrize("unit", ["acre", "metric", "2 ft"])
def test_a_unit_of_heights_that_is_none(unit):
    with pytest.raises(BidError, match="no unit of length"):
        make_bid({"name": "n", "layers": [{"path": "a.gpkg", "z": unit}]})


# ------------------------------------------------------------------------------------------ repairs


def test_repairs_that_change_nothing_are_one_note_a_file(tmp_path):
    """A vertex twice, a spike, a ring that touches itself: not a millionth of area is at stake."""
    twice = Polygon([(0, 0), (0, 0), (50, 0), (50, 30), (0, 30)])
    spike = Polygon([(0, 0), (50, 0), (50, 30), (60, 30), (50, 30), (0, 30)])
    places = [
        shapely.affinity.translate(shape, 500_000 + 100 * k, 4_400_000)
        for k, shape in enumerate([twice, spike, twice])
    ]
    source = read_shapes(tmp_path, 32618, *places, name="a.gpkg")
    assert [(f.severity, f.code) for f in source.findings] == [("note", "repaired")]
    assert "3 repairs" in source.findings[0].message
