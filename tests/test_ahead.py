"""Workers of a large input load while it is read; small input starts none."""

from types import SimpleNamespace

import pytest

from geoturf import ahead, cli, pipeline
from geoturf.bid import make_bid
from geoturf.engine import Processes

HALF = ahead._LARGE // 2


@pytest.mark.parametrize(
    ("sizes", "path", "begun"),
    [
        ({"turf.shp": HALF, "turf.dbf": HALF}, "turf.shp", True),
        ({"turf.shp": HALF, "turf.dbf": HALF - 1}, "turf.shp", False),
        ({"turf.shp": HALF, "turfs.dbf": HALF, "roof.dbf": HALF}, "turf.shp", False),
        ({"town.gdb/a.gdbtable": HALF, "town.gdb/b.gdbtable": HALF}, "town.gdb", True),
        ({}, "nowhere/turf.shp", False),
        ({}, "turf\0.shp", False),
    ],
)
def test_what_is_large(tmp_path, sizes, path, begun):
    """Files of a shapefile count together, others of the folder do not; what cannot be looked at
    is for the reader to refuse."""
    for name, size in sizes.items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(bytes(size))
    asked = []
    bid = make_bid({"layers": [{"path": "x"}], "folder": str(tmp_path)})
    layer = bid.layers[0].model_copy(update={"path": path})
    ahead.begin(
        SimpleNamespace(prepare=asked.append),
        bid.model_copy(update={"layers": (layer,)}),
    )
    assert asked == [ahead.load] * begun


def test_they_are_begun_before_anything_is_read(lawns, bid_file, tmp_path, monkeypatch):
    """And are gone when the run ends, whatever it was for."""
    lawns((0, 0, 40, 30))
    pools = []

    def read(_):
        pools.append(engine.pool)
        raise MemoryError

    def kept(*given):
        nonlocal engine
        engine = Processes(2)
        return engine

    engine = None
    monkeypatch.setattr(ahead, "_LARGE", 1)
    monkeypatch.setattr(cli, "_engine", kept)
    monkeypatch.setattr(pipeline.read, "read", read)
    assert cli.main(["run", str(bid_file()), "--out", str(tmp_path / "out")]) not in (0, 3)
    assert pools[0] is not None
    assert engine.pool is None
