"""What README.md and DEVELOPERS.md say is so."""

import re
from pathlib import Path

import pytest

from geoturf import cli
from geoturf.bid import read_bid

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
COMMANDS = [line for block in re.findall(r"```sh\n(.*?)```", README, re.S) for line in block.splitlines()]


def test_the_first_two_commands_are_whole_lines():
    first, second = COMMANDS[:2]
    assert first.startswith("python3 -m venv") and "geoturf run sample_gis/development.toml" in first
    assert second.startswith("python3 -m venv") and "[test]" in second and "pytest" in second


@pytest.mark.parametrize("line", [line for line in COMMANDS if re.search(r"geoturf (run|check|draft|rules)", line)])
def test_every_command_of_the_readme_is_understood(line):
    words = line.split("#")[0].split("geoturf ")[-1].split()
    assert cli.parser().parse_args(words).command == words[0]


@pytest.mark.parametrize(
    "path", sorted(set(re.findall(r"(?:sample_gis|reports|tests)/[\w./-]+\w", README + DEVELOPERS)))
)
def test_every_file_named_is_there(path):
    assert (ROOT / path).exists()


@pytest.mark.parametrize("name", sorted(set(re.findall(r"`(\w+(?:/\w+)*\.(?:py|csv|html))`", DEVELOPERS))))
def test_every_room_named_to_developers_is_there(name):
    files = [p.as_posix() for home in ("geoturf", "tests", "sample_gis") for p in (ROOT / home).rglob("*")]
    assert any(file.endswith(f"/{name}") for file in files)


@pytest.mark.parametrize("bid", sorted((ROOT / "sample_gis").glob("*.toml")), ids=lambda p: p.name)
def test_every_sample_bid_is_taken(bid):
    assert read_bid(bid).layers
