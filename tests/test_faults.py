"""Faults put in one after another: a report being written finds the old one or the new one, never
neither; a run that is ended leaves no worker and, after the next run, no litter."""

import os
import resource
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import geopandas
import pytest
from shapely.geometry import box

import geoturf
from geoturf import cli, report
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


def _empty_book(result, path):
    book = Book(path, "USD", "", "letter")
    book.sheet("Summary", (9,))
    book.close()


@pytest.mark.parametrize("exchange", [True, False], ids=["names exchanged", "moved aside"])
def test_each_step_of_writing_fails_in_turn(result, tmp_path, trap, monkeypatch, exchange):
    """Every step until all is written, then (waiting for the disk, putting in place, tidying up)
    every third. Tables are worked out once, the workbook has one empty sheet, pages and papers
    hold anything, and the papers are the buyer's alone: what is tried is the files."""
    from geoturf import front, maps, papers, portfolio, tables, workbook

    made, order = tables.tables(result), papers.order.data(result)
    monkeypatch.setattr(tables, "tables", lambda _: made)
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
def test_a_disk_that_fills_up_is_told_in_one_line(result, tmp_path, bytes_):
    """No file may grow beyond so many bytes: writes fail within the first table, within a later
    one, within the GeoPackage."""
    geoturf.write(result, tmp_path / "out")
    old = contents(tmp_path / "out")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (bytes_, hard))
    try:
        with pytest.raises(
            InputError, match=r"out: cannot be written: [^\n]+; name another with --out$"
        ):
            geoturf.write(result, tmp_path / "out")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert contents(tmp_path / "out") == old
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
    """The child is this process over again, so that nothing is imported or compiled anew; SIGXCPU
    is what a limit of processor time (`ulimit -t`) sends."""
    bid, out, names = stages
    assert {"read", "ground", "edges", "layout", "cuts", "price", "check"} <= set(names)
    old = contents(out)
    for name in names:
        child = os.fork()
        if child == 0:
            Clock.__call__ = noting(
                lambda stage, at=name: stage == at and os.kill(os.getpid(), number)
            )
            os._exit(run(bid, out))
        _, status = os.waitpid(child, 0)
        assert os.WIFSIGNALED(status) and os.WTERMSIG(status) == number, name
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


RUN = """
import sys, time
from geoturf import cli, edges, kernels, pipeline, report, workers
kernels._MANY, started, start = 1, [], workers._Worker.__init__
def noted(worker):
    start(worker)
    started.append(worker.process.pid)
workers._Worker.__init__ = noted
def halt(*_):
    time.sleep(0.5)  # workers are importing by now
    print(*started, flush=True)
    time.sleep(60)
if sys.argv[1] == "work":
    edges.classify = halt
elif sys.argv[1] == "report":
    report._settle = halt
sys.exit(cli.main(["run", sys.argv[2], "--out", sys.argv[3], "--workers", "2"]))
"""


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
    result, lawns, bid_file, tmp_path, stage, number, status, said
):
    """The signal goes to the whole group, as from a terminal or `timeout`, while workers are
    starting (``work``) or the report is half written."""
    lawns((0, 0, 40, 30))
    out = tmp_path / "out"
    geoturf.write(result, out)
    (out / "areas.csv").write_text("old")
    old = contents(out)
    command = [sys.executable, "-c", RUN, stage, str(bid_file()), str(out)]
    pipe = subprocess.PIPE
    with subprocess.Popen(command, stdout=pipe, stderr=pipe, text=True, process_group=0) as process:
        workers = [int(word) for word in process.stdout.readline().split()]
        assert len(workers) == 2
        assert process.pid not in [os.getpgid(worker) for worker in workers], (
            "they would hear the signal too"
        )
        os.killpg(process.pid, number)
        err = process.stderr.read()  # ends when nobody is left who could write to it
    assert (process.returncode, err) == (status, said)
    assert soon(lambda: not any(alive(worker) for worker in workers))
    assert contents(out) == old
    left = list(tmp_path.glob(".out.*"))
    assert bool(left) == (stage == "report" and number == signal.SIGKILL)
    report.look(out)  # the next run
    assert not list(tmp_path.glob(".out.*"))
