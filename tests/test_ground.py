"""True measure, held against published worked examples and against GeographicLib."""

import dataclasses
import math
import subprocess
import sys

import numpy as np
import pyproj
import pytest
import shapely
import shapely.affinity
from geographiclib.geodesic import Geodesic
from ground_cases import FT, layer, measured, moved_to, source
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from shapely.geometry import Polygon, box

from geoturf import ground, plane
from geoturf.edges import classify
from geoturf.errors import InputError, PromiseError
from geoturf.ground import geodetic, mercator
from geoturf.rules import EdgeRules, GroundRules, Product

CLARKE_1866 = mercator.Ellipsoid(6378206.4, 1 - math.sqrt(1 - 0.00676866))  # Snyder's a and e2
WGS84 = mercator.Ellipsoid(6378137.0, 1 / 298.257223563)
LOT = Polygon(
    [
        (-81.2000, 39.8300),
        (-81.1978, 39.8303),
        (-81.1981, 39.8325),
        (-81.1990, 39.8318),
        (-81.2003, 39.8321),
    ]
)


def geodesic(shape, ellipsoid=Geodesic.WGS84):
    """Area (m2) and perimeter (m) of a shape in degrees by GeographicLib, holes taken off the area
    and added to the border."""
    area = perimeter = 0.0
    for part in shapely.get_parts(shape):
        for sign, ring in [(1, part.exterior), *((-1, hole) for hole in part.interiors)]:
            polygon = ellipsoid.Polygon()
            for lon, lat in ring.coords[:-1]:
                polygon.AddPoint(lat, lon)
            _, length, size = polygon.Compute()
            area, perimeter = area + sign * abs(size), perimeter + length
    return area, perimeter


def row(shape, crs, **columns):
    return measured([shape], crs, **{name: [value] for name, value in columns.items()}).areas.iloc[
        0
    ]


def square(lon, lat, side_m):
    """A square of about that side, in degrees."""
    high, wide = side_m / 111_000, side_m / 111_000 / math.cos(math.radians(lat))
    return box(lon, lat, lon + wide, lat + high)


# - published worked examples ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("points", "perimeter_m", "area_m2"),
    [
        ([(89, 0), (89, 90), (89, 180), (89, 270)], 631819.8745, 24952305678.0),
        ([(0, -1), (-1, 0), (0, 1), (1, 0)], 627598.2731, 24619419146.0),
        ([(2, 1), (1, 2), (3, 3)], None, 18454562325.45119),
    ],
)
def test_the_second_opinion_gives_its_published_polygons(points, perimeter_m, area_m2):
    """GeographicLib 2.1, test_geodesic.py, Planimeter0 and Planimeter15 (lat, lon)."""
    area, perimeter = geodesic(Polygon([(lon, lat) for lat, lon in points]))
    assert area == pytest.approx(area_m2, abs=1)
    assert perimeter_m is None or perimeter == pytest.approx(perimeter_m, abs=1e-4)


def forward(ellipsoid, dlon_deg, lat_deg, from_lat=0.0):
    origin = mercator.Origins.at(ellipsoid, np.array([from_lat]))
    return mercator.forward(
        origin, np.zeros(len(lat_deg), int), np.array(dlon_deg), np.array(lat_deg)
    )


def test_snyder_transverse_mercator():
    """USGS Professional Paper 1395, Appendix A: Clarke 1866, 75 W, k0 0.9996, point 40 30 N 73 30
    W."""
    x, y = forward(CLARKE_1866, [1.5], [40.5])
    assert (x[0] * 0.9996, y[0] * 0.9996) == (
        pytest.approx(127106.5, abs=0.05),
        pytest.approx(4484124.4, abs=0.06),
    )


def test_epsg_british_national_grid():
    """EPSG method 9807, IOGP Guidance Note 7-2 (from memory): 50 30 N 0 30 E is E 577,274.99 N
    69,740.50; Airy 1830."""
    airy = mercator.Ellipsoid(6377563.396, 1 / 299.32496)
    x, y = forward(airy, [2.5], [50.5], from_lat=49.0)
    assert 400000 + 0.9996013 * x[0] == pytest.approx(577274.99, abs=0.011)
    assert -100000 + 0.9996013 * y[0] == pytest.approx(69740.50, abs=0.011)


@pytest.mark.parametrize("ellipsoid", [WGS84, CLARKE_1866])
def test_the_series_of_the_conformal_latitude_is_its_closed_form(ellipsoid):
    """Snyder, PP 1395, eq. 3-1: tan(pi/4 + chi/2) = tan(pi/4 + phi/2) ((1 - e sin phi) / (1 + e sin
    phi))^(e/2)."""
    lat, e = np.radians(np.linspace(-89, 89, 1001)), math.sqrt(ellipsoid.e2)
    closed = np.arctan(np.sinh(np.arcsinh(np.tan(lat)) - e * np.arctanh(e * np.sin(lat))))
    assert lat + mercator.conformal(ellipsoid, lat) == pytest.approx(closed, abs=3e-16, rel=0)


@pytest.mark.parametrize("from_lat", [40.0, -33.0, 61.0])
def test_a_plane_is_the_same_from_whichever_latitude_its_y_counts(from_lat):
    chance = np.random.default_rng(3)
    dlon, lat = chance.uniform(-10, 10, 500), from_lat + chance.uniform(-20, 20, 500)
    x, y = forward(WGS84, dlon, lat)
    _, (rise,) = forward(WGS84, [0.0], [from_lat])
    found = forward(WGS84, dlon, lat, from_lat)
    assert (
        np.abs(np.array(found) - (x, y - rise)).max() < 5e-9
    )  # 1 nm is the last digit of a distance from the equator


def test_snyder_lambert_conic_scale():
    """USGS PP 1395, Appendix A: parallels 33 and 45, origin 23 N 96 W; at 35 N 75 W k =
    0.9970171."""
    crs = "+proj=lcc +lat_1=33 +lat_2=45 +lat_0=23 +lon_0=-96 +ellps=clrk66 +type=crs"
    lot = shapely.affinity.translate(box(-50, -50, 50, 50), 1894410.9, 1564649.5)
    assert row(lot, crs).ground_area_m2 == pytest.approx(1e4 / 0.9970171**2, rel=4e-7)


def test_epsg_web_mercator_is_not_spherical():
    """EPSG method 1024, GN 7-2: at 24 22 54.433 N, 100 20 W: E -11,169,055.58 N 2,800,000.00, h
    1.1034264, k 1.0972914."""
    lot = shapely.affinity.translate(box(-50, -50, 50, 50), -11169055.58, 2800000.0)
    found = row(lot, 3857)
    assert found.plan_area_m2 == pytest.approx(1e4)
    assert found.plan_area_m2 / found.ground_area_m2 == pytest.approx(
        1.1034264 * 1.0972914, rel=3e-7
    )
    # the trap: PROJ's factors for this CRS are the sphere's, 0.44 % off in area
    spherical = (
        pyproj.Proj("EPSG:3857")
        .get_factors(-100 - 20 / 60, 24 + 22 / 60 + 54.433 / 3600)
        .areal_scale
    )
    assert spherical == pytest.approx(1.205424, abs=1e-6)


@pytest.mark.parametrize(
    ("lat", "times"), [(33.45, 1.4402423), (44.98, 1.9986460), (-0.2, 1.0067516)]
)
def test_web_mercator_at_other_latitudes(lat, times):
    """a^2 / (M N cos^2 lat): computed from the definition, no outside authority."""
    found = row(moved_to([square(-112, lat, 30)], 4326, 3857)[0], 3857)
    assert found.plan_area_m2 / found.ground_area_m2 == pytest.approx(
        times, rel=1e-5
    )  # the lot is 30 m wide, not a point


def test_epsg_lambert_in_survey_feet():
    """EPSG method 9802, GN 7-2: NAD27 Texas South Central, 28 30 N 96 00 W is E 2,963,503.91 N
    254,759.80 US survey feet."""
    lonlat = geodetic.to_degrees(np.array([[2963503.91, 254759.80]]), geodetic.wkt("EPSG:32040"))
    assert lonlat[0] == pytest.approx([-96.0, 28.5], abs=1e-7)


@pytest.mark.parametrize(
    ("crs", "east", "north", "combined"),
    [
        ("EPSG:26997", 503626.795, 173099.421, 0.99991781),
        ("EPSG:26915", 547883.621, 4138641.149, 0.99961255),
    ],
)
def test_ngs_combined_factor(crs, east, north, combined):
    """An answer of NGS's NCAT service: 37.3933000245 N 92.4590401909 W, h 100.022 m, in SPC MO C
    (2402) and UTM 15, with the combined factor it prints. A grid area over the factor squared is
    the ground area."""
    assert geodetic.to_degrees(np.array([[east, north]]), geodetic.wkt(crs))[0] == pytest.approx(
        [-92.4590401909, 37.3933000245], abs=1.5e-8
    )
    lot = box(east - 20, north - 20, east + 20, north + 20)
    found = row(lot, crs, elevation_m=100.022)
    assert found.ground_area_m2 == pytest.approx(1600 / combined**2, rel=3e-8)
    assert found.perimeter_m == pytest.approx(160 / combined, rel=1.5e-8)


@pytest.mark.parametrize(
    ("unit", "east", "north"), [("us-ft", 1652315.577, 567910.352), ("ft", 1652318.881, 567911.487)]
)
def test_both_feet(unit, east, north):
    """The same NGS point in US survey feet and in international feet: 2 ppm apart, 3 ft here."""
    # EPSG:26997
    zone = (
        "+proj=tmerc +lat_0=35.8333333333333 +lon_0=-92.5 +k=0.999933333 +x_0=500000 +ellps=GRS80"
    )
    crs = f"{zone} +units={unit} +type=crs"
    lonlat = geodetic.to_degrees(np.array([[east, north]]), geodetic.wkt(crs))
    assert lonlat[0] == pytest.approx([-92.4590401909, 37.3933000245], abs=1.5e-8)


def test_a_traverse_from_a_surveying_text():
    """Mahun, Open Access Surveying, Traverse ch. G, ex. 1 (N, E in feet): its columns give
    102,935.72 ft2."""
    corners = [(500.000, 2000.000), (323.614, 1561.426), (526.996, 1488.321), (719.336, 1686.956)]
    crs = "+proj=tmerc +lat_0=40 +lon_0=-75 +k=1 +ellps=GRS80 +units=ft +type=crs"
    found = row(Polygon([(east, north) for north, east in corners]), crs)
    assert found.plan_area_m2 / FT**2 == pytest.approx(102935.72, abs=0.005)
    assert found.ground_area_m2 / FT**2 == pytest.approx(102935.72, abs=0.01)


def test_elevation_adds_what_a_surveying_page_says():
    """Penn State, GPS for Land Surveyors: elevation factor R / (R + h) with R some 20,906,000 ft:
    0.99976089 at 5,000 ft."""
    flat, high = row(LOT, 4326), row(LOT, 4326, elevation_m=5000 * FT)
    assert flat.perimeter_m / high.perimeter_m == pytest.approx(0.99976089, abs=1e-6)
    assert high.ground_area_m2 / flat.ground_area_m2 - 1 == pytest.approx(478.4e-6, rel=2e-3)


def test_radii_of_curvature_place_a_published_mark():
    """NGS datasheet DI2263 (P055): 47 07 00.14491 N 104 41 06.39476 W, h 668.450 m is X
    -1,102,409.924 Y -4,206,590.343 Z 4,651,093.534 m on GRS 80."""
    grs80 = mercator.Ellipsoid(6378137.0, 1 / 298.257222101)
    lat, lon, h = 47 + 7 / 60 + 0.14491 / 3600, -(104 + 41 / 60 + 6.39476 / 3600), 668.450
    normal, sin, cos = (
        grs80.normal_radius_m(lat),
        math.sin(math.radians(lat)),
        math.cos(math.radians(lat)),
    )
    x, y = ((normal + h) * cos * turn(math.radians(lon)) for turn in (math.cos, math.sin))
    z = (normal * (1 - grs80.e2) + h) * sin
    assert (x, y, z) == pytest.approx((-1102409.924, -4206590.343, 4651093.534), abs=6e-4)
    meridian = grs80.a_m * (1 - grs80.e2) / (1 - grs80.e2 * sin**2) ** 1.5
    assert grs80.mean_radius_m(lat) == pytest.approx(math.sqrt(meridian * normal))


def test_three_routes_to_an_area_agree():
    """An equal-area plane, UTM over its scale squared, and the geodesic: a lot of 30 m, its edges
    straight in all of them."""
    lot = square(-81.2, 39.83, 30)
    equal, utm = (
        row(moved_to([lot], 4326, 6933)[0], 6933),
        row(moved_to([lot], 4326, 32617)[0], 32617),
    )
    k = pyproj.Proj(32617).get_factors(-81.2 + 15 / 85_000, 39.83 + 15 / 111_000).areal_scale
    assert (equal.plan_area_m2, utm.plan_area_m2 / k) == pytest.approx(
        [geodesic(lot)[0]] * 2, rel=3e-7
    )
    assert equal.ground_area_m2 == pytest.approx(equal.plan_area_m2, rel=3e-7)


@pytest.mark.parametrize(
    ("slope_pct", "times"), [(100 / 48, 1.000217), (5, 1.001249), (10, 1.004988), (50, 1.118034)]
)
def test_surface_over_ground(slope_pct, times):
    """1 / cos(atan(slope)): an identity."""
    found = row(LOT, 4326, slope_pct=slope_pct)
    assert found.surface_area_m2 / found.ground_area_m2 == pytest.approx(times, abs=5e-7)


# - any CRS ----------------------------------------------------------------------------------------

EIGHT = [2272, 2256, 3857, 4269, 32617, 5070, 2163, 6933]
ODD = [
    "ESRI:54009",
    3031,
    4807,
    "+proj=laea +lat_0=40 +lon_0=-80 +R=6370997 +type=crs",
    "EPSG:2272+5703",
    4979,
]


@pytest.mark.parametrize("crs", EIGHT + ODD)
def test_one_site_in_any_crs_gives_one_row(crs):
    """1 ppm of the geodesic value, by GeographicLib; EPSG:4807 is in grads on another ellipsoid,
    which is its own truth."""
    shape = moved_to([LOT], 4326, crs)[0]
    found = row(shape, crs)
    truth = geodesic(LOT)
    if crs == 4807:
        own = shapely.transform(shape, lambda xy: xy * 0.9)
        ellipsoid = pyproj.CRS(4807).ellipsoid
        truth = geodesic(
            own, Geodesic(ellipsoid.semi_major_metre, 1 / ellipsoid.inverse_flattening)
        )
    assert (found.ground_area_m2, found.perimeter_m) == pytest.approx(truth, rel=1e-7)


def test_a_sample_of_all_that_proj_knows():
    """Every 150th of EPSG's projected CRSs, at a place in its own area of use, on its own ellipsoid
    (a sweep over a third of them all, 1,951, gave at most 0.06 ppm)."""
    infos = [i for i in query_crs_info("EPSG", [PJType.PROJECTED_CRS]) if i.area_of_use][::150]
    worst = 0.0
    for crs in (pyproj.CRS.from_authority(info.auth_name, info.code) for info in infos):
        wkt, own = geodetic.wkt(crs), geodetic.geographic_of(geodetic.wkt(crs))
        west, south, east, north = crs.area_of_use.bounds
        lot = square(
            west + 0.45 * ((east - west) % 360) - crs.prime_meridian.longitude,
            (south + north) / 2,
            500,
        )
        there = shapely.transform(
            lot, lambda xy, own=own, wkt=wkt: geodetic.from_degrees(xy, own, wkt)
        )
        ellipsoid = geodetic.ellipsoid_of(own)
        area, perimeter = geodesic(lot, Geodesic(ellipsoid.a_m, ellipsoid.f))
        found = measured([there], crs, GroundRules(ellipsoid="own")).areas.iloc[0]
        worst = max(
            worst, abs(found.ground_area_m2 / area - 1), abs(found.perimeter_m / perimeter - 1)
        )
    assert len(infos) > 30
    assert worst < 1e-6


def test_the_plan_area_is_the_files_own():
    feet, web, degrees = (row(moved_to([LOT], 4326, crs)[0], crs) for crs in (2272, 3857, 4326))
    assert feet.plan_area_m2 == pytest.approx(
        moved_to([LOT], 4326, 2272)[0].area * (1200 / 3937) ** 2
    )
    assert web.plan_area_m2 > 1.69 * web.ground_area_m2
    assert degrees.plan_area_m2 == degrees.ground_area_m2


def test_a_kilometre_is_still_right_to_a_ppm():
    big = square(-81.2, 39.83, 1000)
    assert (row(big, 4326).ground_area_m2, row(big, 4326).perimeter_m) == pytest.approx(
        geodesic(big), rel=1e-7
    )


@pytest.mark.parametrize("lat", [-80.0, -0.2, 33.45, 64.0, 89.9])
def test_at_any_latitude(lat):
    lot = square(12.0, lat, 60)
    assert (row(lot, 4326).ground_area_m2, row(lot, 4326).perimeter_m) == pytest.approx(
        geodesic(lot), rel=1e-7
    )


def test_over_the_antimeridian():
    """UTM 60 reaches over 180 degrees: PROJ gives longitudes of both signs."""
    lot = shapely.affinity.translate(
        box(0, 0, 80, 50), *pyproj.Proj(32660).__call__(179.9996, 65.0)
    )
    scale = pyproj.Proj(32660).get_factors(180, 65.0).areal_scale
    found = measured([lot], 32660)
    assert found.areas.ground_area_m2[0] == pytest.approx(4000 / scale, rel=1e-6)
    back = ground.to_crs(found.frames, found.areas.frame, found.areas.geometry, 32660)[0]
    assert shapely.hausdorff_distance(back, lot) < 1e-6


def test_holes_and_parts():
    """A ring and a second part: the hole is off the area and on the perimeter; shells run
    counter-clockwise."""
    ring = Polygon([(0, 0), (0, 30), (30, 30), (30, 0)], [[(10, 10), (20, 10), (20, 20), (10, 20)]])
    both = shapely.multipolygons([ring, box(40, 0, 50, 10)])
    found = row(shapely.affinity.translate(both, 500000, 4400000), 32618)
    assert found.ground_area_m2 == pytest.approx(900 / 0.9996**2, rel=1e-7)
    assert found.perimeter_m == pytest.approx(200 / 0.9996, rel=1e-7)
    assert all(shapely.is_ccw(part.exterior) for part in shapely.get_parts(found.geometry))


@pytest.mark.parametrize("crs", [2272, 3857, 4326, 4267, 27700, 4807])
def test_frames_go_back(crs):
    there = moved_to([LOT, square(-80.5, 40.1, 40)], 4326, crs)
    found = measured(there, crs, elevation_m=[300.0, np.nan])
    back = ground.to_crs(
        found.frames, found.areas.frame.to_numpy(), found.areas.geometry.to_numpy(), crs
    )
    metres = [moved_to(shapes, crs, 4326) for shapes in (there, back)]
    assert shapely.hausdorff_distance(*metres).max() * 111_000 < 1e-6
    onto_map = ground.to_degrees(
        found.frames, found.areas.frame.to_numpy(), found.areas.geometry.to_numpy()
    )
    assert shapely.hausdorff_distance(onto_map, metres[0]).max() * 111_000 < 1e-6


def test_a_right_angle_on_the_ground_is_one_in_the_frame():
    """Albers shears: a geodesic square's corners are 90 degrees in the frame, not in the file."""
    line = Geodesic.WGS84
    start = (44.0, -70.0)
    east, north = (line.Direct(*start, azimuth, 60) for azimuth in (135, 45))
    corner = Polygon(
        [(start[1], start[0]), (east["lon2"], east["lat2"]), (north["lon2"], north["lat2"])]
    )

    def angle(triangle):
        a, b, c = shapely.get_coordinates(shapely.normalize(triangle))[:3]
        sides = sorted(np.linalg.norm(p - q) for p, q in ((a, b), (b, c), (c, a)))
        return math.degrees(
            math.acos((sides[0] ** 2 + sides[1] ** 2 - sides[2] ** 2) / (2 * sides[0] * sides[1]))
        )

    albers = moved_to([corner], 4326, 5070)[0]
    assert angle(row(albers, 5070).geometry) == pytest.approx(90, abs=1e-4)
    assert abs(angle(albers) - 90) > 0.1


# - frames of a site -------------------------------------------------------------------------------


def test_neighbours_of_a_site_meet_whatever_their_files_crs():
    left, right = (
        square(-81.2, 39.83, 30),
        square(-81.2 + 30 / 111_000 / math.cos(math.radians(39.83)), 39.83, 30),
    )
    mixed = source(
        layer(moved_to([left], 4326, 2272), 2272, site=["one"]),
        layer(moved_to([right], 4326, 26917), 26917, site=["one"]),
    )
    found = ground.measure(mixed, GroundRules())
    assert found.areas.frame.tolist() == [0, 0]
    border = shapely.intersection(*shapely.buffer(found.areas.geometry.to_numpy(), 1e-6))
    assert shapely.bounds(border)[3] - shapely.bounds(border)[1] == pytest.approx(30, abs=0.1)


def test_a_layer_on_another_datum_is_brought_over():
    """NAD27 degrees lie some 10 m off in Ohio: in one site they come to lie where they are."""
    mixed = source(
        layer([LOT], 4326, site=["one"]),
        layer(moved_to([LOT], 4326, 4267), 4267, role="building", name="old"),
    )
    found = ground.measure(mixed, GroundRules())
    assert shapely.hausdorff_distance(found.areas.geometry[0], found.context.geometry[0]) < 1e-3


# a place in each: NAD27, OSGB36, Tokyo, S-JTSK (Ferro), NTF (Paris) in grads, NAD83, NAD83(HARN)
OLD = [
    (26717, -81.2, 39.83, -11.8),
    (27700, -1.5, 52.0, 56.2),
    (30169, 139.7, 35.7, 11.7),
    (2065, 14.42, 50.08, 7.1),
    (27572, 2.3, 46.8, 13.6),
    (26917, -81.2, 39.83, 0.0),
    (2256, -110.0, 46.5, 0.0),
]


@pytest.mark.parametrize(("crs", "lon", "lat", "ppm"), OLD)
def test_an_old_datum_is_measured_on_wgs_84(crs, lon, lat, ppm):
    """Against GeographicLib on WGS 84, of what PROJ (without grids) makes of the file's
    coordinates; and back to the file's own. What it would be on the old ellipsoid is told and can
    be asked for; against GeographicLib on that ellipsoid."""
    lot = square(lon, lat, 100)
    there = moved_to([lot], 4326, crs)
    found, own = measured(there, crs), measured(there, crs, GroundRules(ellipsoid="own"))
    assert (found.areas.ground_area_m2[0], found.areas.perimeter_m[0]) == pytest.approx(
        geodesic(lot), rel=2e-7
    )
    assert (own.areas.ground_area_m2[0] / found.areas.ground_area_m2[0] - 1) * 1e6 == pytest.approx(
        ppm, abs=0.1
    )
    geographic, wkt = geodetic.geographic_of(geodetic.wkt(crs)), geodetic.wkt(crs)
    ellipsoid = geodetic.ellipsoid_of(geographic)
    on_own = shapely.transform(there[0], lambda xy: geodetic.to_degrees(xy, wkt))
    truth = geodesic(on_own, Geodesic(ellipsoid.a_m, ellipsoid.f))
    assert own.areas.ground_area_m2[0] == pytest.approx(truth[0], rel=2e-7)

    told = [f.message for f in found.findings if f.code == "old-datum"]
    assert len(told) == (ppm != 0)
    assert all(f"differ by {ppm:+.0f} millionths" in message for message in told)
    for ground_found in (found, own):
        frames, areas = ground_found.frames, ground_found.areas
        back = ground.to_crs(frames, areas.frame, areas.geometry, ground_found.source_crs)
        assert shapely.hausdorff_distance(back[0], there[0]) < 1e-6


def test_neighbours_on_an_old_datum_and_a_new_one_keep_their_border():
    """A lawn in OSGB36 and its neighbour in WGS 84, by one transformation: the border stays one
    line."""
    lawn, house = box(430000, 270000, 430020, 270010), box(430020, 270000, 430030, 270010)
    (there,) = moved_to([house], 27700, 4326)
    found = ground.measure(
        source(layer([lawn], 27700), layer([there], 4326, role="building")), GroundRules()
    )
    assert shapely.distance(found.areas.geometry[0], found.context.geometry[0]) < 1e-5
    assert shapely.intersection(found.areas.geometry[0], found.context.geometry[0]).area < 1e-3


def test_an_old_datum_without_a_way_to_wgs_84_stays_on_its_own_ellipsoid():
    lot = box(500000, 4400000, 500100, 4400100)
    found = measured(
        [lot], "+proj=tmerc +lon_0=-75 +k=1 +x_0=500000 +ellps=clrk66 +units=m +type=crs"
    )
    assert found.areas.ground_area_m2[0] == pytest.approx(10_000, rel=1e-6)
    assert [
        "PROJ has no transformation" in f.message for f in found.findings if f.code == "old-datum"
    ] == [True]


def test_geometry_goes_out_in_wgs_84_where_the_files_crs_has_no_name_for_it():
    """A rotated pole has no WKT of the first form, which the writer of a GeoPackage asks for; a
    zone of UTM has no place for the other side of the earth."""
    pole = (
        "+proj=ob_tran +o_proj=longlat +o_lon_p=0 +o_lat_p=39.25 +lon_0=18 +ellps=WGS84 +type=crs"
    )
    here, there = box(500000, 4400000, 500020, 4400010), square(15.0, 0.1, 30)
    for layers in (
        [layer([square(0.5, 0.5, 30)], pole)],
        [layer([here], 32618), layer([there], 4326, site=["far"])],
    ):
        found = ground.measure(source(*layers), GroundRules())
        assert [f.code for f in found.findings if f.severity == "warning"] == ["other-crs"]
        assert pyproj.CRS(found.source_crs).to_epsg() == 4326


def test_the_network_of_proj_is_off():
    """Asked for in the environment, and with nobody there: PROJ would answer infinity."""
    code = (
        "import os; os.environ |= {'PROJ_NETWORK': 'ON', 'PROJ_NETWORK_ENDPOINT': "
        "'http://127.0.0.1:9'}\n"
        "from geoturf.ground import geodetic; import numpy as np\n"
        "print(geodetic.from_degrees(np.array([[-96.0, 32.0]]), "
        "geodetic.geographic_of('EPSG:4267'), 'EPSG:4326'))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert "inf" not in done.stdout


def test_what_is_no_number_is_not_written():
    found = measured([LOT], 4326)
    broken = shapely.LineString([(0, 0), (np.inf, 0)])
    with pytest.raises(PromiseError, match="cannot be written"):
        ground.to_degrees(found.frames, np.zeros(1, int), np.array([broken]))


def test_a_site_wider_than_ten_kilometres_gets_a_frame_a_square():
    """17 km apart: two frames, neighbours still share theirs, every area is right, and a note says
    so."""
    lots = [square(lon, 39.83, 100) for lon in (-81.2, -81.0, -81.1995, -80.9995)]
    found = measured(lots, 4326, site=["one"] * 4)
    assert found.areas.frame.tolist() == [0, 1, 0, 1]
    assert [f.site for f in found.findings if f.code == "wide-site"] == ["one"]
    assert found.areas.ground_area_m2.tolist() == pytest.approx(
        [geodesic(lot)[0] for lot in lots], rel=1e-7
    )
    assert measured(
        [lots[0], square(-81.19, 39.83, 30)], 4326, site=["one"] * 2
    ).areas.frame.tolist() == [0, 0]


@pytest.mark.parametrize("lat", [0.0, 39.83, -62.0])
def test_the_scale_away_from_the_meridian_is_taken_off(lat):
    """Lots at both ends of a site 9 km wide: in their common frame lengths are too long by x^2 /
    2R^2, 0.25 ppm, and areas by twice that. Area and perimeter are GeographicLib's all the same."""
    apart = 9000 / (111_320 * math.cos(math.radians(lat)))
    lots = [square(west, lat, 40) for west in (-81.2, -81.2 + apart / 2, -81.2 + apart)]
    found = measured(lots, 4326, site=["one"] * 3)
    assert found.areas.frame.tolist() == [0, 0, 0]
    stretched = shapely.area(found.areas.geometry.to_numpy()) / found.areas.ground_area_m2 - 1
    assert 1e6 * stretched.to_numpy() == pytest.approx([0.5, 0.0, 0.5], abs=0.01)
    area, perimeter = np.transpose([geodesic(lot) for lot in lots])
    assert found.areas.ground_area_m2.to_numpy() == pytest.approx(area, rel=1e-8)
    assert found.areas.perimeter_m.to_numpy() == pytest.approx(perimeter, rel=1e-8)


@pytest.mark.parametrize("height_m", [0.0, 900.0])
def test_neighbours_in_two_frames_of_a_wide_site_are_neighbours(height_m):
    """A row of touching lots 100 m wide over the side of a square 5 km into a site 11 km wide, and
    one lot far off: each border between two lots is a seam of both, whichever frames they lie in
    and how far apart these are in height. As one site of 400 m has it, whose lots share a frame."""
    west, step = -81.2, 100 / (111_320 * math.cos(math.radians(39.83)))
    row = [box(west + k * step, 39.83, west + (k + 1) * step, 39.831) for k in range(48, 52)]
    ends = [
        box(west, 39.83, west + step, 39.831),
        box(west + 110 * step, 39.83, west + 111 * step, 39.831),
    ]
    shapes, heights = [*row, *ends], [0.0, 0.0, height_m, height_m, 0.0, 0.0]

    def shared(shapes, heights):
        land = measured(
            shapes,
            4326,
            site=["one"] * len(shapes),
            product=["turf"] * len(shapes),
            elevation_m=heights,
        )
        across = ground.neighbours_across_frames(land, EdgeRules().tolerance_m)
        land = dataclasses.replace(land, neighbours_across_frames=across)
        found = classify(land, {"turf": Product()}, EdgeRules())
        return (
            land.areas["frame"].nunique(),
            found.totals["edge_shared_m"].to_numpy(),
            found.runs["neighbour"],
        )

    frames, lengths, neighbours = shared(shapes, heights)
    one, plain, _ = shared(row, heights[:4])
    assert (frames, one) == (3, 1)
    assert lengths == pytest.approx([*plain, 0, 0], abs=1e-3)
    assert (
        plain[0]
        == pytest.approx(Geodesic.WGS84.Inverse(39.83, -81.2, 39.831, -81.2)["s12"], rel=1e-6)
        and plain[1] > 1.99 * plain[0]
    )
    assert sorted(neighbours[neighbours >= 0]) == [0, 1, 1, 2, 2, 3]


def test_the_areas_own_elevation_counts_and_the_sites_mean_fills_in():
    found = measured([LOT] * 3, 4326, site=["one"] * 3, elevation_m=[0.0, 2000.0, np.nan])
    truth = geodesic(LOT)[0]
    radius = WGS84.mean_radius_m(39.83)
    expected = [truth * (1 + h / radius) ** 2 for h in (0, 2000, 1000)]
    assert found.areas.ground_area_m2.tolist() == pytest.approx(expected, rel=1e-7)
    assert [f.code for f in found.findings] == ["no-elevation"]


def test_no_elevation_is_said_once():
    notes = measured([LOT, square(-80, 40, 20)], 4326).findings
    assert [(f.severity, f.code) for f in notes] == [("note", "no-elevation")]


# - slope ------------------------------------------------------------------------------------------


def test_the_laying_plane_is_longer_down_the_slope_only():
    lot = shapely.affinity.translate(box(0, 0, 20, 10), 500000, 4400000)
    steep = row(lot, 32618, slope_pct=75.0, aspect_deg=90.0)  # falls east: 3-4-5
    west, south, east, north = shapely.bounds(steep.laid)
    assert (east - west, north - south) == pytest.approx((25 / 0.9996, 10 / 0.9996), rel=1e-4)
    assert shapely.area(steep.laid) == pytest.approx(steep.surface_area_m2, rel=1e-6)
    gentle = row(lot, 32618, slope_pct=9.0, aspect_deg=90.0)
    assert shapely.equals_exact(gentle.laid, gentle.geometry, tolerance=1e-6)


def test_what_lies_in_the_laying_plane_goes_back_to_the_frame():
    lots = [
        shapely.affinity.translate(box(0, 0, 20, 10), 500000, y)
        for y in (4400000, 4400020, 4400040)
    ]
    areas = measured(lots, 32618, slope_pct=[75.0, 0, 40], aspect_deg=[20.0, np.nan, 300]).areas
    index = np.array([2, 0, 1, 2])
    back = plane.from_laid(areas, index, areas.laid.to_numpy()[index])
    assert (
        shapely.hausdorff_distance(back, areas.geometry.to_numpy()[index]).max() < 1e-6
    )  # laid to a micrometre


def test_outputs_are_written_in_the_crs_of_the_turf():
    lots = layer([box(500000, 4400000, 500050, 4400050)], 32618, role="parcel", site=["one"])
    turf = layer(moved_to([box(500060, 4400000, 500090, 4400050)], 32618, 2272), 2272, site=["one"])
    assert pyproj.CRS(ground.measure(source(lots, turf), GroundRules()).source_crs) == pyproj.CRS(
        2272
    )


def test_an_unknown_fall_line_runs_along_the_long_side():
    lot = shapely.affinity.translate(box(0, 0, 10, 20), 500000, 4400000)
    found = measured([lot], 32618, slope_pct=[75.0])
    assert found.areas.laid_fall_deg[0] % 180 == pytest.approx(0, abs=0.1)
    assert "no-aspect" in [f.code for f in found.findings]


# - refusals ---------------------------------------------------------------------------------------


def test_coordinates_that_have_no_place_are_left_out_with_an_error():
    nowhere = box(1e12, 1e12, 1e12 + 1, 1e12 + 1)
    good = shapely.affinity.translate(box(0, 0, 20, 10), 500000, 4400000)
    found = measured([nowhere, good], 32618)
    assert found.areas.site.tolist() == ["site 2"]
    assert [f.feature for f in found.findings if f.severity == "error"] == ["1"]
    with pytest.raises(InputError, match="no area left"):
        measured([nowhere], 32618)


@pytest.mark.parametrize("crs", [2985, "IAU_2015:30110", 'LOCAL_CS["site grid",UNIT["metre",1]]'])
def test_a_crs_that_leads_nowhere_is_told(crs):
    """EPSG:2985 is a method that PROJ lacks, IAU_2015:30110 lies on the moon, and a site grid has
    no place at all."""
    lot = box(500000, 4400000, 500020, 4400010)
    found = ground.measure(
        source(layer([lot], 32618), layer([lot], crs, name="odd")), GroundRules()
    )
    assert found.areas.file.tolist() == ["turf.gpkg"]
    assert [(f.severity, f.file) for f in found.findings if f.code == "unusable-crs"] == [
        ("error", "odd.gpkg")
    ]
    with pytest.raises(InputError, match="state another"):
        measured([lot], crs)


# - properties -------------------------------------------------------------------------------------


@st.composite
def lots(draw):
    """A star-shaped lot of up to 60 m about the origin, in metres."""
    turns = np.sort(
        draw(st.lists(st.floats(0, 0.99), min_size=3, max_size=9, unique_by=lambda t: round(t, 2)))
    )
    reach = draw(st.lists(st.floats(5, 60), min_size=len(turns), max_size=len(turns)))
    lot = Polygon(
        np.column_stack([np.cos(2 * np.pi * turns), np.sin(2 * np.pi * turns)])
        * np.array(reach)[:, None]
    )
    return lot if lot.is_valid and lot.area > 1 else box(0, 0, 10, 20)


HERE = "+proj=tmerc +lat_0=39.83 +lon_0=-81.2 +k=1 +ellps=GRS80 +datum=NAD83 +type=crs"


def figures(shape, crs=HERE):
    found = row(shape, crs)
    return found.ground_area_m2, found.perimeter_m


@settings(max_examples=25, deadline=None)
@given(lots(), st.floats(0, 360), st.floats(-3000, 3000), st.floats(-3000, 3000))
def test_turning_and_moving_keep_the_figures(lot, turn, east, north):
    there = shapely.affinity.translate(shapely.affinity.rotate(lot, turn), east, north)
    assert figures(there) == pytest.approx((lot.area, lot.length), rel=3e-7)


@settings(max_examples=25, deadline=None)
@given(lots(), st.sampled_from(EIGHT))
def test_reprojecting_keeps_the_figures(lot, crs):
    assert figures(moved_to([lot], HERE, crs)[0], crs) == pytest.approx(
        (lot.area, lot.length), rel=3e-7
    )


@settings(max_examples=25, deadline=None)
@given(lots(), st.floats(-20, 20), st.floats(0, 180))
def test_splitting_keeps_the_sum(lot, shift, turn):
    """Both halves together have the lot's area, and its perimeter plus the cut twice."""
    knife = shapely.affinity.rotate(box(-500, -500, shift, 500), turn, origin=(0, 0))
    halves = [part for part in (lot & knife, lot - knife) if part.area > 1e-3]
    cut = (lot & knife.boundary).length if len(halves) == 2 else 0.0
    sums = np.sum([figures(half) for half in halves], axis=0)
    assert sums == pytest.approx((lot.area, lot.length + 2 * cut), rel=3e-7, abs=5e-3)


@settings(max_examples=25, deadline=None)
@given(st.floats(-80, 80), st.floats(-179, 179), st.floats(5, 1000), st.floats(0, 360))
def test_any_square_anywhere_agrees_with_geographiclib(lat, lon, side, azimuth):
    corners = [Geodesic.WGS84.Direct(lat, lon, azimuth + 90 * k, side) for k in range(4)]
    lot = Polygon([(c["lon2"], c["lat2"]) for c in corners])
    if lot.bounds[2] - lot.bounds[0] < 180:
        found, (area, perimeter) = row(lot, 4326), geodesic(lot)
        assert found.ground_area_m2 == pytest.approx(
            area, rel=1e-6, abs=1e-3
        )  # GeographicLib's own round-off is 1 cm2
        assert found.perimeter_m == pytest.approx(perimeter, rel=1e-6)


def test_krueger_series_against_proj():
    """PROJ's own tmerc (Poder and Engsager's form): a hundredth of a micrometre within 20 degrees
    of the meridian."""
    random = np.random.default_rng(5)
    lon, lat = random.uniform(-20, 20, 5000), random.uniform(-89, 89, 5000)
    expected = pyproj.Proj("+proj=tmerc +lon_0=0 +k=1 +ellps=WGS84 +algo=poder_engsager")(lon, lat)
    found = forward(WGS84, lon, lat)
    assert np.abs(np.array(found) - expected).max() < 1e-8
    back = mercator.inverse(WGS84, *found)
    assert np.abs(np.array(back) - (lon, lat)).max() < 1e-12


# - uncertainty ------------------------------------------------------------------------------------


def test_area_tolerance_against_monte_carlo():
    """10,000 lots with every vertex of shell and hole off by 0.5 m in each axis scatter as the
    formula says."""
    corners = np.array([(0, 0), (30, 0), (30, 20), (12, 20), (12, 35), (0, 35)], float)
    hole = np.array([(3, 3), (3, 8), (9, 8), (9, 3)], float)
    lot = Polygon(corners, [hole])
    told = measured(
        [shapely.affinity.translate(lot, 500000, 4400000)], 32618, sigma_m=0.5
    ).areas.area_tolerance_m2[0]

    random = np.random.default_rng(11)

    def area(ring):
        x, y = (ring + random.normal(0, 0.5, (10_000, *ring.shape))).transpose(2, 0, 1)
        return 0.5 * (x * np.roll(y, -1, 1) - np.roll(x, -1, 1) * y).sum(axis=1)

    scatter = np.std(area(corners) - np.abs(area(hole[::-1])))
    assert told == pytest.approx(scatter, rel=0.03)


@pytest.mark.parametrize("reach", [5.0, 40.0, 400.0])
def test_area_tolerance_of_errors_that_go_together_against_monte_carlo(reach):
    """20,000 lots whose corners err by draws of the spherical variogram's covariance (numpy's)
    scatter as the formula says; the nearer errors go together, the less the area scatters, until
    the lot is only moved."""
    corners = np.array([(0, 0), (30, 0), (30, 20), (12, 20), (12, 35), (0, 35)], float)
    hole = np.array([(3, 3), (3, 8), (9, 8), (9, 3)], float)
    told = plane.area_sigma_m2(np.array([Polygon(corners, [hole])]), np.array([0.2]), reach)[0]

    every = np.vstack([corners, hole])
    apart = np.minimum(np.hypot(*(every[:, None] - every[None]).T) / reach, 1)
    covariance = 0.2**2 * (1 - 1.5 * apart + 0.5 * apart**3)
    random = np.random.default_rng(12)
    x, y = (random.multivariate_normal(every[:, k], covariance, 20_000) for k in (0, 1))

    def area(part):
        return 0.5 * (
            x[:, part] * np.roll(y[:, part], -1, 1) - np.roll(x[:, part], -1, 1) * y[:, part]
        ).sum(axis=1)

    shell, gap = area(slice(0, 6)), area(slice(6, 10))
    assert told == pytest.approx(
        np.std(shell + gap), rel=0.03
    )  # the hole is drawn clockwise: its area is negative


@pytest.mark.parametrize("reach", [0.0, 10.0])
def test_vertices_on_straight_borders_change_no_tolerance(reach):
    """A lot with a vertex a metre, and one whose ring starts amid a border, are known as well as
    the lot itself; so is one whose border bows by less than the survey can tell."""
    lot = Polygon([(0, 0), (40, 2), (38, 30), (20, 45), (-3, 28)])
    dense = shapely.segmentize(lot, 1.0)
    amid = Polygon(np.roll(shapely.get_coordinates(dense)[:-1], -7, axis=0))
    bowed = Polygon([(0, 0), (20, 1 - 0.01), *shapely.get_coordinates(lot)[1:]])
    told = plane.area_sigma_m2(np.array([lot, dense, amid, bowed]), np.full(4, 0.03), reach)
    assert told == pytest.approx(np.full(4, told[0]), rel=1e-9)


def test_an_outline_of_many_corners_is_answered_soon():
    """50,000 corners, all against all, would be 2.5 thousand million pairs. Where a circle's border
    errs by sigma, together over L, its area scatters by sigma sqrt(2 pi r . 0.75 L), 0.75 L being
    the integral of the variogram's rho along a line."""
    turn = np.linspace(0, 2 * np.pi, 50_001)[:-1]
    circle = Polygon(1000 * np.column_stack([np.cos(turn), np.sin(turn)]))
    told = plane.area_sigma_m2(np.array([circle]), np.array([1e-6]), 20.0)[0]
    assert told == pytest.approx(1e-6 * math.sqrt(2 * math.pi * 1000 * 0.75 * 20), rel=0.02)


def test_a_square_by_hand():
    """Side a: each vertex sees a diagonal of 2 a^2, four of them: sigma/2 * sqrt(8 a^2) = sigma * a
    * sqrt(2)."""
    lot = shapely.affinity.translate(box(0, 0, 30, 30), 500000, 4400000)
    found = measured([lot], 32618, sigma_m=0.1).areas.area_tolerance_m2[0]
    assert found == pytest.approx(0.1 * 30 * math.sqrt(2), rel=1e-3)
    assert measured([lot], 32618).areas.area_tolerance_m2[0] == 0
