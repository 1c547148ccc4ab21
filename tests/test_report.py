"""The report folder: whole or not at all, whatever happens on the way."""

import csv
import json
import os
import shutil
import signal
from pathlib import Path

import pytest
from forked import begin, status_of

import geoturf
from geoturf import report, tables, workbook
from geoturf.errors import InputError

PACKAGE = Path(geoturf.__file__).parent
FILES = {  # what every report holds; README's list follows the same table
    row["file"]
    for row in csv.DictReader((PACKAGE / "data" / "files.csv").open(encoding="utf-8"))
    if not row["when"]
}


@pytest.fixture(scope="module")
def result(lasting):
    return geoturf.run(geoturf.read_bid(lasting((0, 0, 40, 30), (100, 0, 20, 14))))


def contents(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.fixture(scope="module")
def written(result, tmp_path_factory):
    """A report with all its papers."""
    folder = tmp_path_factory.mktemp("written") / "out"
    geoturf.write(result, folder)
    return folder


@pytest.fixture
def old(written, tmp_path):
    """A copy of it, for one test alone."""
    return shutil.copytree(written, tmp_path / "out")


def fill(fresh: Path) -> None:
    """What `report.whole` takes for a report, which is all that tests of its folder ask."""
    for name in ("areas.csv", "run.json"):
        (fresh / name).write_text("new")


def test_every_file_is_written(written):
    assert set(contents(written)) == FILES


def test_a_second_run_gives_the_same_bytes_but_for_the_times(result, written, tmp_path):
    geoturf.write(geoturf.run(result.bid), tmp_path / "two")
    one, two = contents(written), contents(tmp_path / "two")
    times = [json.loads(files.pop("run.json")) for files in (one, two)]
    assert [name for name in one if one[name] != two[name]] == []
    for run in times:
        run.pop("seconds")
    assert times[0] == times[1]


def test_an_old_report_is_replaced(result, old):
    (old / "areas.csv").write_text("old")
    geoturf.write(result, old, ())
    assert (old / "areas.csv").read_text().startswith("site,area,phase")


def test_a_folder_of_other_things_is_left_alone(result, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "thesis.txt").write_text("mine")
    with pytest.raises(InputError, match="holds files that geoturf did not write"):
        geoturf.write(result, tmp_path / "out")
    assert contents(tmp_path / "out") == {"thesis.txt": b"mine"}


def test_a_failure_on_the_way_leaves_the_old_report_whole(result, old, tmp_path, monkeypatch):
    before = contents(old)
    monkeypatch.setattr(
        workbook, "write", lambda *_: (_ for _ in ()).throw(OSError(28, "No space left on device"))
    )
    with pytest.raises(InputError, match="cannot be written: No space left on device"):
        geoturf.write(result, old, ())
    assert contents(old) == before
    assert not list(tmp_path.glob(".out*"))


@pytest.mark.parametrize(
    ("room", "name"),
    [
        (tables, "write"),
        (workbook, "write"),
        (tables, "write_run"),
        (report, "_put_in_place"),
    ],
    ids=lambda part: getattr(part, "__name__", part),
)
def test_a_kill_at_any_moment_leaves_the_old_report_whole(result, old, tmp_path, room, name):
    before = contents(old)

    def killed():
        setattr(room, name, lambda *_: os.kill(os.getpid(), signal.SIGKILL))
        geoturf.write(result, old, ())

    assert status_of(begin(killed)) == -signal.SIGKILL
    assert contents(old) == before
    assert [one.suffix for one in tmp_path.glob(".out.*")] == [".part"]  # it was half way


def test_where_names_cannot_be_exchanged_a_half_moved_folder_is_put_back(
    result, old, tmp_path, monkeypatch
):
    monkeypatch.setattr(report, "_exchange", lambda *_: False)
    geoturf.write(result, old, ())
    assert set(contents(old)) < FILES  # without papers, so this is the new one
    before = contents(old)
    old.rename(tmp_path / ".out.old")  # killed between the two moves
    report.refuse_foreign(old)
    assert contents(old) == before


def test_litter_of_a_killed_run_is_swept_at_once_and_that_of_a_living_one_stays(tmp_path):
    """The lock of this process stands for a run that is still at work."""
    for name in ("dead", "alive"):
        (tmp_path / f".out.{name}.part").mkdir()
    lock = report._locked(tmp_path / ".out.alive.part")
    report.whole(tmp_path / "out", fill)
    assert [path.name for path in tmp_path.glob(".out*")] == [".out.alive.part"]
    os.close(lock)
    report.look(tmp_path / "out")
    assert not list(tmp_path.glob(".out*"))


def test_where_folders_cannot_be_locked_litter_is_swept_after_an_hour(tmp_path, monkeypatch):
    monkeypatch.setattr(report, "_locked", lambda folder: None)
    for name, age in (("old", 7200), ("young", 60)):
        folder = tmp_path / f".out.{name}.part"
        folder.mkdir()
        os.utime(folder, (folder.stat().st_mtime - age,) * 2)
    report.whole(tmp_path / "out", fill)
    assert [path.name for path in tmp_path.glob(".out*")] == [".out.young.part"]


def test_a_link_is_followed(result, tmp_path):
    (tmp_path / "disk").mkdir()
    (tmp_path / "out").symlink_to(tmp_path / "disk")
    geoturf.write(result, tmp_path / "out", ())
    assert (tmp_path / "out").is_symlink()
    assert {"areas.csv", "run.json"} < contents(tmp_path / "disk").keys() < FILES


@pytest.mark.parametrize(
    ("out", "why"),
    [
        (".", "is the folder you are in"),
        ("..", "is the folder you are in"),
        ("/", "is the folder you are in"),
        ("/proc", "is where a disk is mounted"),
        ("x" * 300, "File name too long"),
        ("deep/" + "x" * 300 + "/out", "File name too long"),
        ("file/out", "Not a directory"),
        ("file", "is a file"),
    ],
)
def test_a_place_that_cannot_be_written_is_refused_before_the_work(tmp_path, monkeypatch, out, why):
    (tmp_path / "file").write_text("mine")
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here" if out.startswith(".") else tmp_path)
    with pytest.raises(InputError, match=why):
        report.look(out)
    assert {path.name for path in tmp_path.iterdir()} == {"file", "here"}


def test_hostile_text_stays_text_in_every_table(lawns, bid_file, tmp_path):
    hostile = [
        "=cmd|' /C calc'!A0",
        "../../etc/passwd",
        "</script><script>alert(1)</script>",
        "{{ 7*7 }}{% raw %}",
        "0012",
    ]
    lawns(*[(60 * k, 0, 30, 20) for k in range(5)], site=hostile)
    geoturf.write(geoturf.run(geoturf.read_bid(bid_file())), tmp_path / "out", ())
    with (tmp_path / "out" / "areas.csv").open(newline="", encoding="utf-8") as file:
        names = [row["site"] for row in csv.DictReader(file)]
    assert names == ["'" + hostile[0], *hostile[1:]]
    page = (tmp_path / "out" / "map.html").read_text(encoding="utf-8")
    assert "<script>alert(1)" not in page
    assert "49" not in [line.strip() for line in page.splitlines()]
    assert {path.name for path in tmp_path.iterdir()} == {"lawns.gpkg", "bid.toml", "out"}
