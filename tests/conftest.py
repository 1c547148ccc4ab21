"""What many tests start from: a small bid of real files in a temporary folder."""

from __future__ import annotations

import os
from functools import partial

import geopandas
import pytest
from hypothesis import settings
from shapely.geometry import box

import geoturf.text_storage  # noqa: F401 (as a run has it)
from geoturf import kernels
from geoturf.engine import Processes

# a time limit an example says how busy the machine is: the first call compiles, imports or waits
# for other work
settings.register_profile("geoturf", deadline=None)
settings.load_profile("geoturf")


# what one interpreter of the tests compiles of Python's own the next need not
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def pytest_sessionstart(session):
    """Before pytest-xdist starts its workers, each of which would compile all kernels for
    itself."""
    if session.config.getoption("numprocesses", None):
        with Processes() as engine:
            kernels.ready(engine, areas=0)()


STATE_PLANE = "EPSG:2228"  # California zone 5, US survey feet
HOME = (6_352_000.0, 2_148_000.0)  # an origin inside it


def write_lawns(folder, *rectangles, name="lawns.gpkg", **columns):
    x, y = HOME
    table = geopandas.GeoDataFrame(
        {
            "site": columns.get("site", ["A"] * len(rectangles)),
            "area": columns.get("area", [str(k + 1) for k in range(len(rectangles))]),
            **{key: values for key, values in columns.items() if key not in ("site", "area")},
        },
        geometry=[box(x + a, y + b, x + a + w, y + b + d) for a, b, w, d in rectangles],
        crs=STATE_PLANE,
    )
    table.to_file(folder / name, engine="pyogrio")
    return folder / name


def write_bid(folder, extra="", layer="lawns.gpkg"):
    path = folder / "bid.toml"
    path.write_text(f'name = "Two lawns"\n[[layers]]\npath = "{layer}"\n{extra}', encoding="utf-8")
    return path


@pytest.fixture
def lawns(tmp_path):
    """Writes lawns.gpkg: rectangles (x, y, width, depth in feet) as areas of site A; returns its
    path."""
    return partial(write_lawns, tmp_path)


@pytest.fixture
def bid_file(tmp_path):
    """Writes bid.toml for lawns.gpkg with extra TOML text; returns its path."""
    return partial(write_bid, tmp_path)


@pytest.fixture(scope="module")
def lasting(tmp_path_factory):
    """Writes lawns.gpkg and bid.toml as `lawns` and `bid_file` do, for what a file's tests all look
    at and none changes; returns the bid's path."""

    def write(*rectangles, extra="", **columns):
        folder = tmp_path_factory.mktemp("lasting")
        write_lawns(folder, *rectangles, **columns)
        return write_bid(folder, extra)

    return write
