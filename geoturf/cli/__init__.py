"""The command line: ``geoturf run | check | draft | compare | audit | rules | explain | sample``.
The only room that prints.

    arguments.py what may be asked: commands and their arguments
    telling.py   what is told of a run, and how far it is
    ending.py    what a command ends with: last words, status, signals, too little memory
    terminal.py  what is printed, made safe, and streams that fail

Heavy imports stay inside the commands: ``geoturf --help`` must answer at once.
"""

from __future__ import annotations

import argparse
import os
import sys

from geoturf.cli import telling
from geoturf.cli.arguments import parser
from geoturf.cli.ending import (
    DONE,
    LEFT_OUT,
    REFUSED,
    UNPRINTED,
    USAGE,
    Signals,
    ended,
    refuse_a_low_limit,
)
from geoturf.cli.terminal import Streams, safe, say

TYPE_CHECKING = (
    False  # type checkers know the name; importing typing itself would double the time of --help
)
if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import Any

    from geoturf.bid import Bid
    from geoturf.model import Finding
    from geoturf.revision import Report

__all__ = ["DONE", "LEFT_OUT", "REFUSED", "UNPRINTED", "USAGE", "main", "parser", "safe"]

_UNKEPT = (
    "no folder found to keep compiled kernels in, so every run compiles them anew and takes up to "
    "a minute more; "
    "set NUMBA_CACHE_DIR to a folder that can be written"
)


def main(arguments: list[str] | None = None) -> int:
    top = parser()
    args = top.parse_args(arguments)
    args.stands = (
        str  # says what stands where the report goes, once a run knows; nothing until then
    )
    with Signals() as signals, Streams():
        try:
            status = _command(top, args)
            sys.stdout.flush()  # now, while a failure can still be told
            return status
        except (Exception, KeyboardInterrupt) as fault:
            return ended(fault, signals.got, args.stands())


def _command(top: argparse.ArgumentParser, args: argparse.Namespace) -> int:
    if args.version:
        from geoturf import __version__

        say(f"geoturf {__version__}")
        return DONE
    if not args.command:
        top.print_help()
        return USAGE
    if args.command in ("run", "check", "draft", "compare"):
        refuse_a_low_limit()
    return _COMMANDS[args.command](args)


def _run(args: argparse.Namespace) -> int:
    bid, notes, name = _bid_of(args.inputs)
    bid = _estimated(bid, args.estimate, args.lay)
    from geoturf import ahead

    with _engine(args) as engine:
        ahead.begin(engine, bid)
        return _run_by(engine, args, bid, notes, args.out or f"reports/{name}")


def _run_by(
    engine: Any, args: argparse.Namespace, bid: Bid, notes: list[Finding], folder: str
) -> int:
    from geoturf import compiled, papers, pipeline, report

    readers = papers.asked(args.papers)
    papers.look(bid)
    report.look(folder)
    before = report.identity(folder)
    args.stands = lambda: "" if report.identity(folder) == before else folder
    if not (compiled.kept() or args.quiet):
        telling.warning(_UNKEPT)
    with telling.Bar(args.quiet) as bar:
        result = pipeline.run(bid, engine, bar.told, notes)
        if args.strict and result.source.left_out:
            _refuse_left_out(result.findings, result.source.left_out)
        bar.told("report", 0, 0)
        audited = report.write(result, folder, readers, engine)
    if not args.quiet:
        telling.tell(result.findings)
    try:
        if not args.quiet:
            telling.summary(result, folder, audited)
            sys.stdout.flush()
    finally:  # said even where the summary cannot be
        if result.source.left_out:
            telling.tell(
                [f for f in result.findings if f.severity == "error"] if args.quiet else [],
                all_of_them=True,
            )
            say(telling.not_priced(result.source.left_out), sys.stderr)
    return LEFT_OUT if result.source.left_out else DONE


def _bid_of(inputs: list[str]) -> tuple[Bid, list[Finding], str]:
    """The bid, the assumptions made for it, and a name for its folder."""
    from pathlib import PurePath

    from geoturf.bid import read_bid

    tomls = [path for path in inputs if _is_bid(path)]
    if tomls and len(inputs) > 1:
        from geoturf.errors import BidError
        from geoturf.model import Finding

        raise BidError(
            Finding(
                "error", "mixed-inputs", "give one bid file, or GIS files, not both", file=tomls[0]
            )
        )
    if tomls:
        return read_bid(tomls[0]), [], PurePath(tomls[0]).stem
    from geoturf.draft import bid_of_files

    bid, notes = bid_of_files(inputs)
    return bid, list(notes), PurePath(inputs[0]).name.split(".")[0] or "bid"


def _estimated(bid: Bid, estimate: bool, lay: Iterable[str] | None) -> Bid:
    """The bid as the command line has it laid or estimated."""
    if not (estimate or lay):
        return bid
    asked = {"method": "estimate", "lay": tuple(lay or bid.layout.lay)}
    given = {**bid.given, "layout": {**bid.given.get("layout", {}), **asked}}
    rules = bid.layout.model_copy(update=asked)
    return bid.model_copy(update={"layout": rules, "given": given})


def _engine(args: argparse.Namespace) -> Any:
    from geoturf.engine import Cluster, Processes

    if args.cluster:
        return Cluster(args.cluster)
    return Processes(args.workers, telling.quiet if args.quiet else telling.warning)


def _refuse_left_out(findings: Any, left_out: int) -> None:
    from geoturf.errors import InputError

    raise InputError([f for f in findings if f.severity != "note"])


def _check(args: argparse.Namespace) -> int:
    bid, notes, _ = _bid_of(args.inputs)
    from geoturf import papers, pipeline

    papers.look(bid)
    source, land, findings = pipeline.check(bid, notes)
    telling.tell(findings, ("error", "warning", "note"), where=sys.stdout)
    counts = {s: sum(f.severity == s for f in findings) for s in ("error", "warning", "note")}
    said = ", ".join(f"{n} {s}{'' if n == 1 else 's'}" for s, n in counts.items())
    say(f"{len(land.areas)} areas on {land.areas['site'].nunique()} sites; {said}")
    if source.left_out:
        say(telling.not_priced(source.left_out), sys.stderr)
        return REFUSED if args.strict else LEFT_OUT
    return DONE


def _compare(args: argparse.Namespace) -> int:
    from geoturf import report, revision

    folder = args.out or f"reports/{_short(args.old)}_to_{_short(args.new)}"
    report.look(folder, revision.is_comparison)
    before = report.identity(folder)
    args.stands = lambda: "" if report.identity(folder) == before else folder
    paths = [args.old, args.new]
    known = {path: revision.read(path) for path in paths if not _is_bid(path)}  # bad ones now
    run = {path: _reported(path, args) for path in paths if _is_bid(path)}
    old, new = ((known | run)[path] for path in paths)
    changes = revision.compare(old, new)
    report.whole(folder, lambda fresh: revision.write(changes, fresh), revision.is_comparison)
    if not args.quiet:
        for line in revision.lines(changes):
            say(line)
        say(f"in {folder}: open {folder}/changes.html first")
    if old.left_out or new.left_out:
        return LEFT_OUT
    return DONE


def _is_bid(path: str) -> bool:
    return path.lower().endswith(".toml")


def _short(path: str) -> str:
    """A name for what is compared: of a bid its file's, of a report its folder's."""
    from pathlib import Path

    name = Path(os.path.realpath(path)).name
    if _is_bid(name):
        return name[: -len(".toml")]
    return name


def _reported(path: str, args: argparse.Namespace) -> Report:
    """The report of a bid that is run for this."""
    from pathlib import Path
    from tempfile import TemporaryDirectory

    from geoturf import pipeline, revision, tables

    bid, notes, _ = _bid_of([path])
    with telling.Bar(args.quiet) as bar, _engine(args) as engine:
        result = pipeline.run(bid, engine, bar.told, notes)
    telling.tell(result.findings, ("error",), all_of_them=True)
    with TemporaryDirectory(prefix="geoturf") as kept:
        tables.write(result, Path(kept))
        tables.write_run(result, Path(kept))
        return revision.read(kept, path)


def _audit(args: argparse.Namespace) -> int:
    from geoturf.audit import BROKEN, UNSEEN, Unreadable, audit, bid_of, home_of

    try:
        home = home_of(args.folder, args.inputs)
        bid = bid_of(args.inputs)
        told = audit(args.folder, home, bid)
    except Unreadable as fault:
        say(f"error: {fault}", sys.stderr)
        return REFUSED
    for line in telling.audit_of_a_folder(told, home is not None, bid is not None):
        say(line)
    verdicts = {one.verdict for one in told}
    if BROKEN in verdicts:
        return REFUSED
    return LEFT_OUT if UNSEEN in verdicts else DONE


def _draft(args: argparse.Namespace) -> int:
    from geoturf.draft import draft

    text = draft(args.inputs, args.out)
    unused = text.count("\n# NOT USED: ")
    if unused:
        say(
            f"warning: layers that are not used: {unused}; see NOT USED in the draft for why",
            sys.stderr,
        )
    say(telling.drafted(args.out, text) if args.out else text)
    return DONE


def _rules(args: argparse.Namespace) -> int:
    from geoturf.bid import every_rule, rule_in_words

    told = {row[:2]: rule_in_words(row) for row in every_rule()}
    found = [text for text in told.values() if telling.holds(text, args.words)]
    for text in found:
        say(text)
    if found:
        return DONE
    say(telling.no_rule(args.words, told), sys.stderr)
    return USAGE


def _explain(args: argparse.Namespace) -> int:
    from geoturf.explain import explain, near

    told = explain(args.word)
    if not told:
        like = ""
        if found := near(args.word):
            like = f"; near it: {', '.join(found)}"
        say(f"no column, code, rule or file is called '{args.word}'{like}", sys.stderr)
        return USAGE
    say("\n".join(told))
    return DONE


def _sample(args: argparse.Namespace) -> int:
    from geoturf import sample

    bids = sample.write(args.folder)
    say("\n".join(f"geoturf run {bid}" for bid in bids))
    return DONE


_COMMANDS = {
    "run": _run,
    "check": _check,
    "draft": _draft,
    "compare": _compare,
    "audit": _audit,
    "rules": _rules,
    "explain": _explain,
    "sample": _sample,
}
