"""Files and bids with damaged bytes, each looked at by `geoturf check` and run by `geoturf run`:
whatever ends otherwise than whole or refused in a line is printed.

    python tests/bench/damage.py [first seed] [minutes] [part of a file's name]

A seed's damage is always the same. As expected is: status 0, 1 or 3; each line one of `LINES`, and
none a fault of geoturf; a whole report or none, and nothing else beside it; all lots of the good file
priced or told of; and the same status of both, since all that damage does can be known without
laying. Each command is a fork of this process, stopped after `LIMIT_S`; one ended by a signal is no
expected end.
"""

from __future__ import annotations

import csv
import json
import os
import re
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent))
from damaging import HOWS, LOTS, Change, damaged, good, sent

from geoturf import cli, kernels, papers, pipeline, report  # noqa: F401 - before the forks

LIMIT_S = 60
UNEXPECTED = "not as expected"
BIDS = 0.25  # of what is damaged
ALONE = ["--workers", "1", "--papers", "none"]
LINES = re.compile(r"(error|warning|note): |Refused; |Stopped; |NOT PRICED: ")
WORDS = [  # what stands in a text file instead of a word or a number of it
    b"nan", b"inf", b"-1", b"0", b"1e999", b"1e-9", b"\xff", b"\x1b[2J", "\u202e".encode(), b"[]", b"{}", b'""',
    b"9" * 400, b"=1+1", b"\x00", b"null", b"true", b"1 ft", b"5 %", b"\n", b"'",
]  # fmt: skip
VALUES = [  # and instead of a value of a bid
    b'"0 ft"', b'"0.1 ft"', b'"33.3 ft"', b'"7 cm"', b'"12 in"', b'"1000 ft"', b'"9 mi"', b'"5 %"', b'"0 %"',
    b'"100 %"', b'"0 USD/ft^2"', b'"30 USD/m"', b'"400 USD/roll"', b'"1 EUR/m^2"', b'"sand"', b'"site"', b'"area"',
    b'"lots.kml"', b'"lots.shp"', b'"*"', b'"EPSG:4326"', b'"\\u001b[2J"', b'["1 ft", "2 ft"]', b'["100 ft"]',
]  # fmt: skip
A_WORD = re.compile(rb"[\w.]+|\"[^\"]*\"")
A_VALUE = re.compile(rb"(?<== )(?:\"[^\"]*\"|\[[^\]]*\])")
TEXTS = (".toml", ".geojson", ".gml", ".kml", ".csv", ".dxf", ".prj", ".cpg")


def main() -> None:
    seed, minutes, part = [*sys.argv[1:], *["1", "5", ""][len(sys.argv) - 1 :]]
    end, done = time.monotonic() + 60 * float(minutes), Counter()
    seed = int(seed)
    with tempfile.TemporaryDirectory() as folder:
        (whole := Path(folder) / "good").mkdir()
        files = _files_of(good(whole), part)
        warmed(whole)
        while time.monotonic() < end:
            rng = np.random.default_rng(seed)
            name = str(rng.choice(list(files)))
            *parts, own_bid = files[name]
            one = own_bid if not parts or rng.random() < BIDS else str(rng.choice(parts))
            case = Path(folder) / f"case{seed}"
            spoil(rng, whole, case, one)
            told = tried(case, f"{name}.toml")
            kind = "bid" if one.endswith(".toml") else Path(name).suffix[1:]
            done[kind, told.pop(0)] += 1
            if told:
                done[kind, UNEXPECTED] += 1
                print(f"seed {seed}: {one}", *told, sep="\n    ", flush=True)
            shutil.rmtree(case)
            seed += 1
    print(f"next seed {seed}\n\n{table(done)}")


def table(done: Counter[tuple[str, str]]) -> str:
    """How the damaged files of each kind ended."""
    ends = ("whole", "left out and told", "refused", "else", UNEXPECTED)
    lines = [f"| damaged | tried | {' | '.join(ends)} |", "|---" * (len(ends) + 2) + "|"]
    for kind in [*sorted({kind for kind, _ in done}), "all"]:
        counts = [
            sum(n for (one, how), n in done.items() if how == end and kind in (one, "all"))
            for end in ends
        ]
        lines.append(f"| {kind} | {sum(counts[:-1])} | {' | '.join(map(str, counts))} |")
    return "\n".join(lines)


def _files_of(layers: dict[str, tuple[str, ...]], part: str) -> dict[str, list[str]]:
    """What may be damaged of each layer: its own files and its bid."""
    files = {
        name: [one for one in (*parts, f"{name}.toml") if part in one]
        for name, parts in layers.items()
    }
    return {name: asked for name, asked in files.items() if asked}


def warmed(whole: Path) -> None:
    """A run in this process, so that its forks have all that is compiled in memory."""
    out = whole.with_name("warm")
    bid = str(whole / "lots.gpkg.toml")
    status = cli.main(["run", bid, "--out", str(out), *ALONE, "--quiet"])
    assert status == 0
    shutil.rmtree(out)


def spoil(rng: np.random.Generator, whole: Path, case: Path, part: str) -> None:
    """The good files with one damaged: some bytes changed, or a word of a text."""
    content = (whole / part).read_bytes()
    if part.endswith(TEXTS) and rng.random() < 0.6:
        sent(whole, case, part, [])
        own = part.endswith(".toml") and rng.random() < 0.7
        what = (A_VALUE, VALUES) if own else (A_WORD, WORDS)
        (case / part).write_bytes(_another(rng, content, *what))
        return
    near = len(content) if rng.random() < 0.6 else min(len(content), 400)
    changes = [
        Change(
            str(rng.choice(HOWS, p=[0.1, 0.15, 0.5, 0.15, 0.1])),
            int(rng.integers(near)),
            int(rng.choice([1, 1, 1, 2, 4, 8, 100])),
            int(rng.choice([0, 255, 128, rng.integers(256)])),
        )
        for _ in range(rng.integers(1, 5))
    ]
    sent(whole, case, part, changes)
    assert (case / part).read_bytes() == damaged(content, changes)


def _another(
    rng: np.random.Generator, content: bytes, what: re.Pattern[bytes], words: list[bytes]
) -> bytes:
    """One of ``words`` in place of something that is like ``what``."""
    found = list(what.finditer(content))
    old = found[rng.integers(len(found))]
    return content[: old.start()] + words[rng.integers(len(words))] + content[old.end() :]


def tried(case: Path, bid: str) -> list[str]:
    """How a run ended, then what was not as expected."""
    before = _files(case)
    out = case.with_name(f"{case.name}_out")
    checked, said_first = _forked(["check", str(case / bid)], case)
    status, said = _forked(["run", str(case / bid), "--out", str(out), *ALONE], case)
    wrong = [*_status("check", checked, said_first), *_status("run", status, said)]
    if checked != status:
        wrong.append(f"check {checked}, run {status}: {said[-300:]}")
    wrong += [f"left behind: {path}" for path in case.parent.glob(f".{out.name}*")]
    if _files(case) != before:
        wrong.append("the input's folder is not as it was")
    wrong += _report(out, status, said)
    shutil.rmtree(out, ignore_errors=True)
    return [{0: "whole", 1: "refused", 3: "left out and told"}.get(status, "else"), *wrong]


def _files(folder: Path) -> dict[str, int]:
    return {str(p): p.stat().st_size for p in folder.rglob("*") if p.is_file()}


def _status(command: str, status: int, said: str) -> list[str]:
    wrong = []
    if status not in (0, 1, 3):
        wrong.append(f"{command}: status {status}: {said[-300:]}")
    if "Traceback" in said or "fault of geoturf" in said:
        wrong.append(f"{command}: {said[-400:]}")
    if status == 1 and not said.startswith(("error: ", "warning: ")):
        wrong.append(f"{command}: refused without a line: {said[:200]}")
    if status and (odd := [line for line in said.splitlines() if not LINES.match(line)]):
        wrong.append(f"{command}: no line of its own: {odd[0]!r:.200}")
    if "\x1b" in said or "\u202e" in said:
        wrong.append(f"{command}: an escape reaches the terminal")
    return wrong


def _report(out: Path, status: int, said: str) -> list[str]:
    """What is wrong with what was written, or that it was."""
    if status == 1:
        return [f"refused, and yet there is {out}"] * out.exists()
    if not (out / "run.json").is_file():
        return ["no report"]
    made = json.loads((out / "run.json").read_text(), parse_constant=lambda name: 1 / 0)
    assert made
    rows = list(csv.DictReader((out / "areas.csv").open(encoding="utf-8-sig")))
    if len(rows) < LOTS and status == 0 and "warning: " not in said:
        return [f"lost in silence: {len(rows)} of {LOTS} lots, and said {said[:300]}"]
    return []


def _forked(arguments: list[str], case: Path) -> tuple[int, str]:
    """Status of a command (minus the signal that ended it), and what it said."""
    said = case.with_name("said")
    child = os.fork()
    if not child:
        _command(arguments, said)
    end = time.monotonic() + LIMIT_S
    while True:
        pid, code = os.waitpid(child, os.WNOHANG)
        if pid:
            break
        if time.monotonic() > end:
            os.kill(child, signal.SIGKILL)
        time.sleep(0.005)
    return os.waitstatus_to_exitcode(code), said.read_text(errors="replace")


def _command(arguments: list[str], said: Path) -> None:
    """In the fork: the command, and no way back."""
    status = 99
    try:
        for number, path in ((1, "/dev/null"), (2, said)):
            os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
        status = cli.main(arguments)
        sys.stderr.flush()
    finally:
        os._exit(status)


if __name__ == "__main__":
    main()
