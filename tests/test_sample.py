"""The demo runs as the README says, and gives the tables that are committed, byte for byte."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import geoturf
from geoturf import check, plane, tables
from geoturf.engine import Serial
from geoturf.ground import frames, mercator
from geoturf.layout import bearing, bound

ROOT = Path(__file__).parents[1]
SAMPLE = ROOT / "reports" / "development"


@pytest.fixture(scope="module")
def result():
    return geoturf.run(geoturf.read_bid(ROOT / "sample_gis" / "development.toml"), Serial())


def test_a_fresh_run_gives_the_committed_tables(result, tmp_path):
    tables.write(result, tmp_path)
    committed = sorted(SAMPLE.glob("*.csv"))
    assert len(committed) >= 10
    assert [
        path.name for path in committed if path.read_bytes() != (tmp_path / path.name).read_bytes()
    ] == []


class _OtherSines:
    """numpy as another processor may have it: sines and their like differ in the last digit, by
    their value."""

    def __getattr__(self, name):
        found = getattr(np, name)
        return (
            self._nearly(found)
            if name in {"sin", "cos", "sinh", "arcsinh", "arctan2", "arctanh"}
            else found
        )

    @staticmethod
    def _nearly(function):
        def other(*values):
            out = np.asarray(function(*values), float)
            last_digit = out.view(np.int64) // 3 % 3 - 1
            return np.where(
                (out == 0) | (abs(out) == 1), out, out + last_digit * np.spacing(abs(out))
            )

        return other


def test_another_processor_lays_and_cuts_the_same(tmp_path, monkeypatch):
    """Its promises are not looked at again: its tables are those of a run that keeps them."""
    monkeypatch.setattr(check, "broken_promises", lambda *_: ())
    for room in (mercator, frames, plane, bearing, bound):
        monkeypatch.setattr(room, "np", _OtherSines())
    tables.write(
        geoturf.run(geoturf.read_bid(ROOT / "sample_gis" / "development.toml"), Serial()), tmp_path
    )
    committed = sorted(SAMPLE.glob("*.csv"))
    assert [
        path.name for path in committed if path.read_bytes() != (tmp_path / path.name).read_bytes()
    ] == []


def test_every_lot_can_be_followed_from_polygon_to_price(result):
    made = tables.tables(result)
    assert len(made["sites"]) == 120
    assert set(made["sites"]["site"]) == set(made["areas"]["site"]) == set(made["pieces"]["site"])
    assert set(made["pieces"]["roll"]) == set(made["rolls"]["roll"])
    assert (
        sum(result.price.sites["price"])
        == result.price.totals["price"]
        == sum(result.price.lines["amount"])
    )


def test_the_demo_data_are_what_the_script_makes(tmp_path):
    script = (ROOT / "sample_gis" / "make.py").read_text(encoding="utf-8")
    (tmp_path / "make.py").write_text(script, encoding="utf-8")
    subprocess.run([sys.executable, str(tmp_path / "make.py")], check=True)
    for made in sorted(p for p in tmp_path.rglob("*") if p.suffix in (".shp", ".dbf", ".geojson")):
        assert (
            made.read_bytes() == (ROOT / "sample_gis" / made.relative_to(tmp_path)).read_bytes()
        ), made.name
