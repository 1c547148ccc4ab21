"""Who shares rolls and who leans alike, from end to end: a bond that binds nobody changes
nothing."""

import geopandas
import numpy as np
import pytest
from shapely.affinity import rotate, scale, translate
from shapely.geometry import box

import geoturf

SITES = 4
ARMS_M = [
    (3.0, 13.7, 6.3, 6.5),
    (7.8, 8.3, 4.8, 11.1),
    (5.3, 12.4, 4.9, 13.6),
    (3.9, 5.6, 11.8, 9.4),
]


def lawn(width, depth, arm, rise):
    """A lawn with three arms: one to the right, one up, one from there to the left."""
    up = box(0, 0, width, depth + rise) | box(-arm / 2, depth + rise - 3, width, depth + rise)
    return box(0, 0, width + arm, depth) | up


@pytest.fixture(scope="module")
def yards(tmp_path_factory):
    """Four lots of two lawns, front and back, in metres."""
    shapes = []
    for k in range(2 * SITES):
        shape = rotate(lawn(*ARMS_M[k % len(ARMS_M)]), 17 * k)
        shapes.append(
            translate(scale(shape, 1 + 0.03 * k, 1 - 0.02 * k), 250_000 + 60 * k, 4_070_000)
        )
    sites = [f"lot {k}" for k in range(SITES) for _ in "fb"]
    table = geopandas.GeoDataFrame(
        {"site": sites, "area": ["front", "back"] * SITES}, geometry=shapes, crs="EPSG:26911"
    )
    return tmp_path_factory.mktemp("yards"), table


def bought_m2(yards, rows=slice(None), view=None, **cuts):
    folder, table = yards
    table = table[rows] if view is None else table[rows].assign(view=view)
    table.to_file(folder / "lawns.gpkg", engine="pyogrio")
    bid = geoturf.make_bid(
        {"layers": [{"path": "lawns.gpkg"}], "folder": str(folder), "cuts": cuts}
    )
    return geoturf.run(bid).plan.pools["bought_m2"].sum()


LOTS = [slice(2 * k, 2 * k + 2) for k in range(SITES)]


@pytest.fixture(scope="module")
def alone_m2(yards):
    """What each lot buys alone, its areas in no view."""
    return [bought_m2(yards, rows, view=["", ""]) for rows in LOTS]


def test_a_view_of_one_area_binds_nobody(yards, alone_m2):
    """Each lot run alone, its two areas seen from two sides or with no view at all: the same
    turf."""
    assert [bought_m2(yards, rows, view=["street", "yard"]) for rows in LOTS] == alone_m2


def test_a_view_whose_areas_all_state_their_pile_is_looked_at_too(yards):
    """One lawn in a view, its pile stated, and one in none: the check once looked past the end of
    the views that are free."""
    folder, table = yards
    stated = table[:2].assign(view=["street", ""], pile_bearing_deg=[30.0, np.nan])
    stated.to_file(folder / "lawns.gpkg", engine="pyogrio")
    layers = [{"path": "lawns.gpkg"}]
    result = geoturf.run(geoturf.make_bid({"layers": layers, "folder": str(folder)}))
    assert result.plan.chosen["pile_bearing_deg"].iloc[0] == 30.0


def test_lots_kept_apart_buy_what_each_buys_alone(yards, alone_m2):
    """`pool = "site"` is known where turf is laid, too: nothing is laid for rolls that others would
    share."""
    assert bought_m2(yards, pool="site") == pytest.approx(sum(alone_m2), abs=1e-9)
    assert bought_m2(yards) < sum(alone_m2)
