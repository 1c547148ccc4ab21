"""What README.md and DEVELOPERS.md say is so."""

import csv
import re
from pathlib import Path

import pytest

import geoturf
from geoturf import cli, data
from geoturf.bid import read_bid

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
COMMANDS = [
    line for block in re.findall(r"```sh\n(.*?)```", README, re.S) for line in block.splitlines()
]


def test_the_first_two_commands_are_whole_lines():
    first, second = COMMANDS[:2]
    assert (
        first.startswith("python3 -m venv") and "geoturf run sample_gis/development.toml" in first
    )
    assert second.startswith("python3 -m venv") and "[test]" in second and "pytest" in second


@pytest.mark.parametrize(
    "line",
    [line for line in COMMANDS if re.search(r"geoturf (run|check|draft|compare|rules)", line)],
)
def test_every_command_of_the_readme_is_understood(line):
    words = line.split("#")[0].split("geoturf ")[-1].split()
    assert cli.parser().parse_args(words).command == words[0]


@pytest.mark.parametrize(
    "path", sorted(set(re.findall(r"(?:sample_gis|reports|tests)/[\w./-]+\w", README + DEVELOPERS)))
)
def test_every_file_named_is_there(path):
    assert (ROOT / path).exists()


@pytest.mark.parametrize(
    "name", sorted(set(re.findall(r"`(\w+(?:/\w+)*\.(?:py|csv|html))`", DEVELOPERS)))
)
def test_every_file_named_to_developers_is_there_or_written(name):
    """In the house, or in a report."""
    with (ROOT / "geoturf" / "data" / "files.csv").open(encoding="utf-8") as table:
        files = [f"/{row['file']}" for row in csv.DictReader(table)]
    files += [
        p.as_posix()
        for home in ("geoturf", "tests", "sample_gis")
        for p in (ROOT / home).rglob("*")
    ]
    assert any(file.endswith(f"/{name}") for file in files)


@pytest.mark.parametrize("bid", sorted((ROOT / "sample_gis").glob("*.toml")), ids=lambda p: p.name)
def test_every_sample_bid_is_taken(bid):
    assert read_bid(bid).layers


def listed() -> tuple[set[str], set[str]]:
    """Files that README says every run writes, and those it names a condition for ("where …")."""
    table = README.split("## What a run writes")[1].split("\n## ")[0]
    always, some = set(), set()
    for cell in re.findall(r"^\| (`[^|]*)\|", table, re.M):
        (some if "where" in cell else always).update(re.findall(r"`([\w/]+\.\w+)`", cell))
    return always, some


def compared() -> set[str]:
    """Files that README says a comparison writes."""
    told = README.split("## Two revisions told apart")[1].split("\n## ")[0]
    return set(re.findall(r"^\| `(\w+\.\w+)`", told, re.M))


def test_every_file_that_readme_lists_can_be_explained():
    always, some = listed()
    rows = data.rows_of("files")
    assert {row["file"] for row in rows} == always | some | compared()
    assert {row["file"] for row in rows if row["when"]} == some | compared()
    assert {row["file"] for row in rows if "compare" in row["when"]} == compared()


def written(bid: Path, out: Path) -> set[str]:
    geoturf.write(geoturf.run(read_bid(bid)), out)
    return {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}


def test_readme_lists_the_files_of_a_plain_run(lawns, bid_file, tmp_path):
    lawns((0, 0, 40, 30))
    assert written(bid_file(), tmp_path / "out") == listed()[0]


def test_readme_lists_the_files_of_a_run_that_has_everything(lawns, bid_file, tmp_path):
    lawns((0, 0, 60, 90), cover=["cool_season_lawn"], model=["Fir"])
    lawns((10, 20, 30, 40), name="houses.gpkg")
    more = (
        'role = "parcel"\n[[layers]]\npath = "houses.gpkg"\nrole = "building"\n[water.climate]\nplace = "Vacaville"\n'
        '[[price.alternates]]\ntitle = "No infill"\nleave_out = ["infill"]\n'
        '[cuts]\ncutting = "site"\n'
        '[ranges.costs]\nlabour = ["140 USD/h", "170 USD/h"]\n'
    )
    assert written(bid_file(more), tmp_path / "out") == set.union(*listed())
