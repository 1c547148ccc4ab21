"""Damaged files and bids: hypothesis changes bytes of good ones; each is read, told of or refused
in a line, and nothing is lost without a word. `tests/bench/damage.py` runs them whole, for longer."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path

import pytest
from damaging import HOWS, LOTS, Change, damaged, good, sent
from hypothesis import given, settings
from hypothesis import strategies as st

from geoturf import pipeline
from geoturf.bid import read_bid
from geoturf.errors import BidError, InputError

LAYERS = [
    "csv", "dxf", "fgb", "gdb", "geojson", "gml", "gpkg", "kml", "kmz", "parquet", "shp", "zip",
]  # fmt: skip
BYTES = st.sampled_from([0, 255, 128, *b'0-9e"<>{}[]='])
CHANGES = st.lists(
    st.builds(Change, st.sampled_from(HOWS), st.integers(0, 1 << 20), st.integers(1, 40), BYTES),
    min_size=1,
    max_size=3,
)


@cache
def kept() -> tuple[tempfile.TemporaryDirectory[str], dict[str, tuple[str, ...]]]:
    """The good files, made once."""
    folder = tempfile.TemporaryDirectory()
    return folder, good(Path(folder.name))


@pytest.mark.parametrize("suffix", LAYERS)
def test_no_damage_is_passed_over(suffix, capfd):
    whole, layers = kept()
    name = f"lots.{suffix}"
    assert ended(Path(whole.name), name) == ""

    @settings(derandomize=True, max_examples=20, deadline=None, database=None)
    @given(st.sampled_from([*layers[name], f"{name}.toml"]), CHANGES)
    def any_damage(part, changes):
        with tempfile.TemporaryDirectory() as folder:
            sent(Path(whole.name), Path(folder), part, changes)
            told = ended(Path(folder), name)
            assert "\n" not in told and "\x1b" not in told

    capfd.readouterr()
    any_damage()
    assert capfd.readouterr() == ("", "")  # no library says anything of its own


def ended(folder: Path, name: str) -> str:
    """What a check of the bid says first, "" where it says nothing; all lots are there then."""
    try:
        source, land, findings = pipeline.check(read_bid(str(folder / f"{name}.toml")))
    except (BidError, InputError) as refusal:
        return refusal.findings[0].line()
    told = [one.line() for one in findings if one.severity != "note"]
    assert told or (len(land.areas) >= LOTS and not source.left_out)
    return told[0] if told else ""


def test_changes_do_what_they_say():
    """By eye."""
    made = {how: damaged(b"abcdef", [Change(how, at=7, count=2, byte=ord("x"))]) for how in HOWS}
    assert made == {
        "end": b"a",
        "drop": b"adef",
        "set": b"axxdef",
        "push": b"axxbcdef",
        "double": b"abcbcdef",
    }
