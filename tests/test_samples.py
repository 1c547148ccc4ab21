"""The other samples run, and keep all promises: any broken one is refused by the run itself. (In a
file of their own, so that they run beside the demo's tests.)"""

import shutil
from pathlib import Path

import geopandas

import geoturf
from geoturf.engine import Serial

SAMPLES = Path(__file__).parents[1] / "sample_gis"


def keeps_all_promises(bid):
    done = geoturf.run(geoturf.read_bid(bid), Serial())
    bought, bound = (done.plan.pools[f"{what}_m2"].sum() for what in ("bought", "bound"))
    assert done.source.left_out == 0 and bought > bound > 0


def test_the_portfolio():
    keeps_all_promises(SAMPLES / "portfolio.toml")


def test_half_the_parks_with_turf_on_every_lawn(tmp_path):
    """Whatever the comparison of water chooses: layouts of parks are tried too. Every second area,
    some of each use in each district."""
    shutil.copytree(SAMPLES, tmp_path / "gis")
    parks = geopandas.read_file(SAMPLES / "parks.geojson")
    half = parks.iloc[::2]
    assert set(half["use"]) == set(parks["use"]) and (half["district"].value_counts() > 5).all()
    half.to_file(tmp_path / "gis" / "parks.geojson")
    bid = tmp_path / "gis" / "parks.toml"
    text = bid.read_text(encoding="utf-8")
    assert text.count("[water]\n") == 1
    bid.write_text(text.replace("[water]\n", '[water]\nlay = "all"\n'), encoding="utf-8")
    keeps_all_promises(bid)


def test_forty_of_the_parcels(tmp_path):
    """A third of them, since all take half a minute: those from Q-040 on, which have corner lots
    and lots with paving on three sides."""
    shutil.copytree(SAMPLES / "development", tmp_path / "development")
    shutil.copy(SAMPLES / "parcels.toml", tmp_path)
    lots = geopandas.read_file(SAMPLES / "development" / "lots.shp").iloc[39:79]
    assert lots["LOT"].iloc[0] == "Q-040"
    lots.to_file(tmp_path / "development" / "lots.shp")
    keeps_all_promises(tmp_path / "parcels.toml")
