"""Faults put in one after another: a report being written finds the old one or the new one, never
neither; a run that is ended leaves no worker and, after the next run, no litter."""

import os
import resource
import shutil
import signal
import sys
import time
from dataclasses import replace
from pathlib import Path

import geopandas
import pytest
from forked import begin, status_of
from shapely.geometry import box

import geoturf
from geoturf import cli, edges, kernels, report, workers
from geoturf.clock import Clock
from geoturf.errors import InputError
from geoturf.workbook.book import Book

WATCHED = {
    "open",
    "os.mkdir",
    "os.rename",
    "os.chmod",
    "os.remove",
    "os.rmdir",
    "os.scandir",
    "os.listdir",
    "os.fsync",
}


class Trap:
    """Counts what is done to files below ``folder``, and lets the step numbered ``at`` fail as on a
    full disk. It hears of steps by Python's audit events; ``os.fsync`` has none and is wrapped."""

    def __init__(self):
        self.folder, self.at, self.steps = "", -1, []
        self.fsync = os.fsync
        os.fsync = self._fsync
        sys.addaudithook(self.hears)

    def hears(self, event, args):
        if self.folder and event in WATCHED and str(args[0]).startswith(self.folder):
            self.steps.append(event)
            if len(self.steps) == self.at + 1:
                raise OSError(28, "No space left on device")

    def _fsync(self, file):
        self.hears("os.fsync", (self.folder,))
        self.fsync(file)

    def set(self, folder, at=-1):
        self.folder, self.at, self.steps = str(folder), at, []


@pytest.fixture(scope="module")
def trap():
    """One for all: an audit hook stays for good."""
    made = Trap()
    yield made
    made.set("")
    os.fsync = made.fsync


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bid")
    lawn = {
        "site": ["A"],
        "area": ["1"],
        "geometry": [box(6_352_000, 2_148_000, 6_352_040, 2_148_030)],
    }
    geopandas.GeoDataFrame(lawn, crs="EPSG:2228").to_file(folder / "lawns.gpkg")
    return geoturf.run(geoturf.make_bid({"layers": [{"path": str(folder / "lawns.gpkg")}]}))


@pytest.fixture(scope="module")
def written(result, tmp_path_factory):
    """Its report, without papers."""
    folder = tmp_path_factory.mktemp("written") / "out"
    geoturf.write(result, folder, ())
    return folder


@pytest.fixture
def out(written, tmp_path):
    """A copy of it, for one test alone; areas.csv tells it from a new one."""
    copy = shutil.copytree(written, tmp_path / "out")
    (copy / "areas.csv").write_text("old")
    return copy


def contents(folder):
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def stands(folder, old):
    """ "old" or "new"; nothing else may stand there."""
    files = contents(folder)
    if files == old:
        return "old"
    assert files.keys() == old.keys() and files["areas.csv"].startswith(b"site,area,phase")
    return "new"


def _known_order(papers, data):
    (order,) = [one for one in papers if one.reader == "buyer"]
    return replace(order, data=lambda _: data)


def _places(result, folder):
    for name in ("layout.gpkg", "areas.parquet"):
        (folder / name).write_bytes(b"places" * 1000)


def _empty_book(result, path):
    book = Book(path, "USD", "", "letter")
    book.sheet("Summary", (9,))
    book.close()


@pytest.mark.parametrize("exchange", [True, False], ids=["names exchanged", "moved aside"])
def test_each_step_of_writing_fails_in_turn(result, tmp_path, trap, monkeypatch, exchange):
    """Every step until all is written, then (waiting for the disk, putting in place, tidying up)
    every third. Tables are worked out once, the workbook has one empty sheet, places (which GDAL
    writes, unheard), pages and papers hold anything, and the papers are the buyer's alone: what is
    tried is the files."""
    from geoturf import front, maps, papers, portfolio, tables, workbook

    made, order = tables.tables(result), papers.order.data(result)
    monkeypatch.setattr(tables, "tables", lambda _: made)
    monkeypatch.setattr(tables, "write_places", _places)
    monkeypatch.setattr(papers, "PAPERS", [_known_order(papers.PAPERS, order)])
    monkeypatch.setattr(papers.press, "printed", lambda *_: b"%PDF" * 1000)
    monkeypatch.setattr(workbook, "write", _empty_book)
    for room in (front, maps, portfolio):
        monkeypatch.setattr(room, "page", lambda *_: "<html>" * 1000)
    monkeypatch.setattr(report, "audit", lambda *_: [])  # which would miss those pages
    if not exchange:
        monkeypatch.setattr(report, "_exchange", lambda *_: False)
    out = tmp_path / "out"
    geoturf.write(result, out, ["buyer"])
    trap.set(tmp_path)
    geoturf.write(result, out, ["buyer"])
    steps = list(trap.steps)
    assert {"open", "os.mkdir", "os.fsync", "os.rmdir"} <= set(steps) and len(steps) > 40
    seen = set()
    filled, settled = steps.index("os.fsync"), len(steps) - steps[::-1].index("os.fsync")
    last = range(settled - 1, len(steps), 3 if exchange else 1)
    for at in (*range(filled), *range(filled, settled - 1, 3), *last) if exchange else last:
        trap.set("")
        (out / "areas.csv").write_text("old")
        old = contents(out)
        trap.set(tmp_path, at)
        try:
            geoturf.write(result, out, ["buyer"])
            told = "written"
        except InputError as refusal:
            told = "refused"
            assert "cannot be written: No space left on device" in str(refusal)
        trap.set("")
        found = stands(out, old)
        assert (told, found) in {("written", "new"), ("refused", "old")}, f"step {at}, {steps[at]}"
        seen.add(found)
    assert seen == {"old", "new"}, "the last steps only tidy up"
    geoturf.write(result, out, ["buyer"])
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("bytes_", [0, 100, 5_000, 70_000, 100_000])
def test_a_disk_that_fills_up_is_told_in_one_line(result, out, tmp_path, bytes_):
    """No file may grow beyond so many bytes: writes fail within the first table, within a later
    one, within the GeoPackage."""
    old = contents(out)
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (bytes_, hard))
    try:
        with pytest.raises(
            InputError, match=r"out: cannot be written: [^\n]+; name another with --out$"
        ):
            geoturf.write(result, out, ())
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert contents(out) == old
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.fixture(scope="module")
def stages(result, tmp_path_factory):
    """A bid, its report, and every stage of a run of it, as its clock hears of them."""
    folder = tmp_path_factory.mktemp("stages")
    bid, out = folder / "bid.toml", folder / "out"
    bid.write_text(f'[[layers]]\npath = "{result.bid.layers[0].path}"\n')
    heard = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Clock, "__call__", noting(heard.append))
        assert run(bid, out) == 0
    (out / "areas.csv").write_text("old")
    return bid, out, list(dict.fromkeys(heard))


def run(bid, out):
    return cli.main(["run", str(bid), "--out", str(out), "--workers", "1", "--papers", "none"])


def noting(hear):
    """A clock that tells ``hear`` of each stage before it is begun."""
    timed = Clock.__call__

    def call(clock, stage, work, *given, **named):
        hear(stage)
        return timed(clock, stage, work, *given, **named)

    return call


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGXCPU], ids=["killed", "out of time"])
def test_a_run_that_ends_at_any_stage_leaves_the_old_report(stages, number):
    """SIGXCPU is what a limit of processor time (`ulimit -t`) sends."""
    bid, out, names = stages
    assert {"read", "ground", "edges", "layout", "cuts", "price", "check"} <= set(names)
    old = contents(out)
    for name in names:

        def ended(at=name):
            Clock.__call__ = noting(lambda stage: stage == at and os.kill(os.getpid(), number))
            return run(bid, out)

        assert status_of(begin(ended)) == -number, name
        assert contents(out) == old, name


def test_a_run_that_finds_no_memory_at_any_stage_says_so(stages, monkeypatch, capsys):
    bid, out, names = stages
    old = contents(out)

    def starved(at):
        def hear(stage):
            if stage == at:
                raise MemoryError

        return hear

    for name in names:
        capsys.readouterr()
        with monkeypatch.context() as patch:
            patch.setattr(Clock, "__call__", noting(starved(name)))
            status = run(bid, out)
        said = capsys.readouterr().err
        assert status not in (0, 3) and "memory" in said and "Traceback" not in said, name
        assert contents(out) == old, name


def halting(stage, bid, out, told):
    """A run with two workers that tells their ids and comes to a halt at a stage."""
    started, start = [], workers._Worker.__init__

    def noted(worker):
        start(worker)
        started.append(worker.process.pid)

    def halt(*_):
        time.sleep(0.5)  # workers are importing by now
        os.write(told, " ".join(map(str, started)).encode() + b"\n")
        time.sleep(60)

    kernels._MANY, workers._Worker.__init__ = 1, noted
    room, name = {"work": (edges, "classify"), "report": (report, "_settle")}[stage]
    setattr(room, name, halt)
    return cli.main(["run", str(bid), "--out", str(out), "--workers", "2", "--papers", "none"])


def alive(number):
    """Whether a process is there and no zombie (that is for whoever adopts it)."""
    try:
        text = Path(f"/proc/{number}/stat").read_text(encoding="utf-8")
    except OSError:
        return False
    return text.rsplit(")", 1)[1].split()[0] != "Z"


def soon(holds, seconds=10):
    end = time.monotonic() + seconds
    while not holds() and time.monotonic() < end:
        time.sleep(0.02)
    return holds()


@pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")
@pytest.mark.parametrize(
    ("stage", "number", "status", "said"),
    [
        ("work", signal.SIGKILL, -9, ""),
        ("work", signal.SIGTERM, 143, "Stopped; nothing was written.\n"),
        ("work", signal.SIGINT, 130, "Stopped; nothing was written.\n"),
        ("report", signal.SIGKILL, -9, ""),
        ("report", signal.SIGTERM, 143, "Stopped; nothing was written.\n"),
    ],
)
def test_a_run_that_is_ended_leaves_no_worker_and_no_litter(
    out, lawns, bid_file, tmp_path, stage, number, status, said
):
    """The signal goes to the whole group, as from a terminal or `timeout`, while workers are
    starting (``work``) or the report is half written."""
    lawns((0, 0, 40, 30))
    old = contents(out)
    bid = bid_file()
    (hears, tells), (reads, says) = os.pipe(), os.pipe()

    def group():
        os.setpgid(0, 0)
        os.dup2(says, 2)
        os.close(says)
        nowhere = os.open(os.devnull, os.O_WRONLY)
        sys.stdout, sys.stderr = (os.fdopen(where, "w") for where in (nowhere, 2))
        return halting(stage, bid, out, tells)

    child = begin(group)
    os.close(tells)
    os.close(says)
    with os.fdopen(hears) as heard, os.fdopen(reads) as read:
        ids = [int(word) for word in heard.readline().split()]
        assert len(ids) == 2
        assert child not in [os.getpgid(worker) for worker in ids], "they would hear the signal too"
        os.killpg(child, number)
        err = read.read()  # ends when nobody is left who could write to it
    assert (status_of(child), err) == (status, said)
    assert soon(lambda: not any(alive(worker) for worker in ids))
    assert contents(out) == old
    left = list(tmp_path.glob(".out.*"))
    assert bool(left) == (stage == "report" and number == signal.SIGKILL)
    report.look(out)  # the next run
    assert not list(tmp_path.glob(".out.*"))
