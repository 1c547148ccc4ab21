"""Generated lawns that step, bend and part, run whole with cheap cross seams: those at inner
corners keep every promise, and each is told."""

from __future__ import annotations

import geopandas
import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, translate

import geoturf

FOOT = 0.3048
USABLE = (15 - 2 / 12) * FOOT
LAWNS = 16


def lawn(random: np.random.Generator) -> shapely.Geometry:
    """Blocks end to end, each shifted aside; an L or a T; a yard about a house. Some corners are
    drawn a hair off, some rounded, some on a coarse grid."""

    def size() -> float:
        return USABLE if random.random() < 0.7 else random.uniform(6, 50) * FOOT

    kind, x, y, blocks = random.choice([0, 0, 0, 1, 2]), 0.0, 0.0, []
    if kind == 0:
        for _ in range(random.integers(2, 4)):
            wide, long = size(), random.uniform(15, 40) * FOOT
            blocks.append(shapely.box(x, y, x + wide, y + long))
            x, y = x + random.uniform(-0.5, 0.5) * wide, y + long
        shape = shapely.union_all(blocks)
    elif kind == 1:
        arm = size()
        shape = shapely.box(0, 0, 20, size()) | shapely.box(
            x := random.uniform(0, 9), 0, x + arm, 16
        )
    else:
        house = shapely.box(3, 5, random.uniform(12, 18), random.uniform(10, 16))
        shape = shapely.box(0, 0, 21, 22) - house - shapely.box(8, -1, 9.2, 6)
    if random.random() < 0.3 and shape.geom_type == "Polygon":
        corners = shapely.get_coordinates(shape.exterior)[:-1]
        off = random.normal(0, 10 ** random.uniform(-6, -3), corners.shape)
        shape = shapely.Polygon(corners + off, [hole.coords for hole in shape.interiors])
    elif random.random() < 0.3:
        shape = shape.buffer(0.4).simplify(0.05)
    elif random.random() < 0.5:
        shape = shapely.set_precision(shape, 0.01)
    return rotate(shape, random.choice([0.0, 90.0, random.uniform(0, 360)]), origin=(0, 0))


@pytest.mark.parametrize("seed", range(2))
def test_lawns_in_blocks_keep_every_promise(tmp_path, seed):
    """A run raises where one is broken. Of 3,400 lawns much like these one was refused, by
    a fault of the check (`tests/test_check.py` has it by hand)."""
    random = np.random.default_rng(seed)
    shapes = [translate(lawn(random), 250_000 + 90 * k, 4_070_000) for k in range(LAWNS)]
    sites = [f"L{k}" for k in range(LAWNS)]
    phases = [str(k // 4) for k in range(LAWNS)]
    columns = {"site": sites, "phase": phases}
    table = geopandas.GeoDataFrame(columns, geometry=shapes, crs="EPSG:26911")
    table.to_file(tmp_path / "lawns.gpkg", engine="pyogrio")
    cheap = {"cross_seam_cost": "1 USD", "alike": "free"}
    made = {"layers": [{"path": "lawns.gpkg"}], "folder": str(tmp_path), "layout": cheap}
    result = geoturf.run(geoturf.make_bid(made))
    told = {finding.site for finding in result.findings if finding.code == "cross-seam-corner"}
    assert told
