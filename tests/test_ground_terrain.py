"""Elevation, slope and aspect from a raster: planes whose answers are known."""

import http.server
import threading
import warnings

import numpy as np
import pyproj
import pytest
import shapely
from ground_cases import FT, measured, moved_to
from shapely.geometry import box

from geoturf.errors import InputError
from geoturf.ground import terrain
from geoturf.rules import GroundRules

rasterio = pytest.importorskip("rasterio")
X, Y = (
    500000.0,
    4400000.0,
)  # UTM 18, on the central meridian: grid metres are 0.9996 of the ground's
EAST, NORTH = 0.2, 0.1  # rise a grid metre


def tilted(path, rows=200, cell=1.0, gap=0, unit="", crs="EPSG:32618"):
    """A raster that rises 20 % east and 10 % north, 100 m up at X, Y; ``gap`` cells of its upper
    left corner hold nothing."""
    x = X - 50 + (np.arange(rows) + 0.5) * cell
    y = Y + 150 - (np.arange(rows) + 0.5) * cell
    z = 100 + EAST * (x[None, :] - X) + NORTH * (y[:, None] - Y)
    z[:gap, :gap] = -9999
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        place = rasterio.transform.from_origin(X - 50, Y + 150, cell, cell)
        shape = {"count": 1, "width": rows, "height": rows, "dtype": "float64"}
        with rasterio.open(
            path, "w", driver="GTiff", crs=crs, transform=place, nodata=-9999, **shape
        ) as file:
            file.write(z / (FT if unit else 1.0), 1)
            if unit:
                file.units = (unit,)
    return GroundRules(terrain=str(path))


SLOPE = 100 * np.hypot(EAST, NORTH) * 0.9996
FALL = np.degrees(np.arctan2(-EAST, -NORTH)) % 360  # down to the south-west


@pytest.mark.parametrize("crs", [32618, 3857, 4326, 2263])
def test_a_tilted_plane_in_any_crs(tmp_path, crs):
    lot = moved_to([box(X, Y, X + 30, Y + 20)], 32618, crs)
    area = measured(lot, crs, tilted(tmp_path / "t.tif")).areas.iloc[0]
    assert area.elevation_m == pytest.approx(100 + EAST * 15 + NORTH * 10, abs=0.11)
    assert area.slope_pct == pytest.approx(SLOPE, rel=1e-4)
    assert area.aspect_deg == pytest.approx(FALL, abs=0.05)
    assert area.surface_area_m2 == pytest.approx(
        area.ground_area_m2 * np.hypot(1, SLOPE / 100), rel=1e-5
    )


def test_a_raster_in_degrees(tmp_path):
    """Cells of a third of an arc second: metres a degree by the series for WGS 84 (111,132.95 -
    559.85 cos 2 lat and 111,412.88 cos lat - 93.50 cos 3 lat; from memory)."""
    lat, cell, size = 40.0, 1 / 10800, 60
    lon = -75 + (np.arange(size) + 0.5 - size / 2) * cell
    up = lat - (np.arange(size) + 0.5 - size / 2) * cell
    east_m = 111412.88 * np.cos(np.radians(lat)) - 93.50 * np.cos(np.radians(3 * lat))
    north_m = 111132.95 - 559.85 * np.cos(np.radians(2 * lat))
    z = 50 + EAST * east_m * (lon[None, :] + 75) + NORTH * north_m * (up[:, None] - lat)
    path = tmp_path / "t.tif"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        place = rasterio.transform.from_origin(
            -75 - size / 2 * cell, lat + size / 2 * cell, cell, cell
        )
        shape = {"count": 1, "width": size, "height": size, "dtype": "float64"}
        with rasterio.open(
            path, "w", driver="GTiff", crs="EPSG:4326", transform=place, **shape
        ) as file:
            file.write(z, 1)
    lot = moved_to([shapely.box(-75.0005, 39.9995, -74.9995, 40.0005)], 4326, 2272)
    area = measured(lot, 2272, GroundRules(terrain=str(path))).areas.iloc[0]
    assert (area.slope_pct, area.aspect_deg) == pytest.approx(
        (100 * np.hypot(EAST, NORTH), FALL), rel=1e-4
    )
    assert area.elevation_m == pytest.approx(50, abs=0.1)


def test_an_area_smaller_than_a_cell_takes_the_cells_around_it(tmp_path):
    area = measured(
        [box(X + 5.1, Y + 5.1, X + 5.3, Y + 5.3)], 32618, tilted(tmp_path / "t.tif")
    ).areas.iloc[0]
    assert area.slope_pct == pytest.approx(SLOPE, rel=1e-4)
    assert area.elevation_m == pytest.approx(100 + EAST * 5.2 + NORTH * 5.2, abs=0.3)


def test_a_large_area_is_sampled_coarsely_and_stays_right(tmp_path):
    area = measured(
        [box(X - 40, Y - 40, X + 140, Y + 140)], 32618, tilted(tmp_path / "t.tif", 400, 0.5)
    ).areas.iloc[0]
    assert (area.slope_pct, area.aspect_deg) == pytest.approx((SLOPE, FALL), rel=1e-3)


def test_tiles_change_nothing(tmp_path, monkeypatch):
    rules = tilted(tmp_path / "t.tif")
    lots = [
        box(X + x, Y + y, X + x + 9, Y + y + 7)
        for x in range(-40, 130, 20)
        for y in range(-40, 130, 20)
    ]
    whole = measured(lots, 32618, rules).areas
    monkeypatch.setattr(terrain, "_TILE", 16)
    tiled = measured(lots, 32618, rules).areas
    for name in ("elevation_m", "slope_pct", "aspect_deg"):
        assert tiled[name].to_numpy() == pytest.approx(whole[name].to_numpy(), rel=1e-9)


def test_feet_are_read_as_feet(tmp_path):
    area = measured(
        [box(X, Y, X + 30, Y + 20)], 32618, tilted(tmp_path / "t.tif", unit="ft")
    ).areas.iloc[0]
    assert (area.elevation_m, area.slope_pct) == pytest.approx((104, SLOPE), rel=1e-4)


def test_what_the_layer_states_stands(tmp_path):
    lots = [box(X, Y, X + 30, Y + 20)] * 2
    areas = measured(
        lots, 32618, tilted(tmp_path / "t.tif"), slope_pct=[3.0, np.nan], elevation_m=[np.nan, 7.0]
    ).areas
    assert areas.slope_pct.tolist() == pytest.approx([3.0, SLOPE], rel=1e-4)
    assert areas.elevation_m.tolist() == pytest.approx([104, 7], abs=0.2)


def test_areas_off_the_terrain_are_told(tmp_path):
    lots = [
        box(X, Y, X + 30, Y + 20),
        box(X + 500, Y, X + 510, Y + 5),
        box(X - 49, Y + 140, X - 45, Y + 145),
    ]
    found = measured(lots, 32618, tilted(tmp_path / "t.tif", gap=20))
    assert np.isnan(found.areas.elevation_m).tolist() == [False, True, True]
    assert ["2 of 3 areas" in f.message for f in found.findings if f.code == "terrain-gap"] == [
        True
    ]


@pytest.mark.parametrize(
    ("make", "code"),
    [
        (lambda path: None, "no-terrain"),
        (lambda path: path.write_text("no raster"), "terrain-unreadable"),
        (lambda path: tilted(path, crs=None), "terrain-without-crs"),
    ],
)
def test_bad_terrain_is_refused_in_one_line(tmp_path, make, code):
    path = tmp_path / "t.tif"
    make(path)
    with pytest.raises(InputError) as refused:
        measured([box(X, Y, X + 30, Y + 20)], 32618, GroundRules(terrain=str(path)))
    assert [f.code for f in refused.value.findings] == [code]


@pytest.fixture
def asked():
    """A server on this machine, and the paths it was asked for."""
    paths = []

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            paths.append(self.path)
            self.send_error(404)

        def log_message(self, *_):
            pass

    server = http.server.HTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}", paths
    server.shutdown()
    server.server_close()


VRT = """<VRTDataset rasterXSize="9" rasterYSize="9"><SRS>EPSG:32618</SRS>
<GeoTransform>499950, 30, 0, 4400200, 0, -30</GeoTransform><VRTRasterBand dataType="Float32" band="1"><SimpleSource>
<SourceFilename>/vsicurl/{url}/dem.tif</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"""
SERVICE = """<GDAL_WMS><Service name="TMS"><ServerUrl>{url}/${{z}}/${{x}}/${{y}}.png</ServerUrl></Service>
<DataWindow><UpperLeftX>499950</UpperLeftX><UpperLeftY>4400200</UpperLeftY><LowerRightX>500220</LowerRightX>
<LowerRightY>4399930</LowerRightY><TileLevel>1</TileLevel></DataWindow><Projection>EPSG:32618</Projection></GDAL_WMS>"""


@pytest.mark.parametrize("text", [VRT, SERVICE])
def test_a_file_that_sends_for_more_elsewhere_is_refused_and_nobody_is_asked(tmp_path, asked, text):
    url, paths = asked
    (tmp_path / "t.tif").write_text(text.format(url=url))
    with pytest.raises(InputError, match=r"cannot be read.*GeoTIFF"):
        measured([box(X, Y, X + 30, Y + 20)], 32618, GroundRules(terrain=str(tmp_path / "t.tif")))
    assert paths == []


def test_an_ascii_grid_is_read(tmp_path):
    rows = "\n".join(" ".join(["250"] * 20) for _ in range(20))
    head = (
        f"ncols 20\nnrows 20\nxllcorner {X - 50}\nyllcorner {Y - 50}\ncellsize "
        "10\nNODATA_value "
        "-9999\n"
    )
    (tmp_path / "t.asc").write_text(head + rows)
    (tmp_path / "t.prj").write_text(pyproj.CRS(32618).to_wkt("WKT1_ESRI"))
    rules = GroundRules(terrain=str(tmp_path / "t.asc"))
    assert measured([box(X, Y, X + 30, Y + 20)], 32618, rules).areas.elevation_m.tolist() == [250]


def test_a_name_longer_than_any_file_has_is_one_short_line():
    with pytest.raises(InputError, match="no such terrain") as refused:
        measured([box(X, Y, X + 30, Y + 20)], 32618, GroundRules(terrain="x" * 5000))
    assert len(str(refused.value)) < 200


def test_terrain_elsewhere_is_refused(tmp_path):
    with pytest.raises(InputError, match="lies elsewhere"):
        measured([shapely.box(X, Y + 9000, X + 30, Y + 9020)], 32618, tilted(tmp_path / "t.tif"))
