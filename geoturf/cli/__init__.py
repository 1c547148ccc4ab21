"""The command line: ``geoturf run | check | draft | compare | audit | rules | explain | sample``.
The only room that prints.

    ending.py    what a command ends with: last words, status, signals, too little memory
    terminal.py  what is printed, made safe, and streams that fail

Heavy imports stay inside the commands: ``geoturf --help`` must answer at once.
"""

from __future__ import annotations

import argparse
import os
import sys

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
    from typing import Any, NoReturn

    from geoturf.audit import Told
    from geoturf.bid import Bid
    from geoturf.model import Finding, Result
    from geoturf.revision import Report

__all__ = ["DONE", "LEFT_OUT", "REFUSED", "UNPRINTED", "USAGE", "main", "parser", "safe"]

_SHOWN = 12  # findings of one severity shown on a terminal; all stand in findings.csv
_SAID = {
    "compile": "compiling the kernels (once on this machine)"
}  # of stages whose name does not say it
_UNKEPT = (
    "no folder found to keep compiled kernels in, so every run compiles them anew and takes up to a minute more; "
    "set NUMBA_CACHE_DIR to a folder that can be written"
)

_EPILOG = """\
example:
  geoturf run sample_gis/development.toml
  geoturf run lawns.geojson --out lawns_bid

exit status: 0 done; 1 the input is refused, nothing is written; 2 wrong usage;
3 done, but areas or files were left out (--strict makes that a refusal);
4 done, but standard output could not be written; 130 or 143 stopped by
Ctrl-C or SIGTERM
"""


class _Parser(argparse.ArgumentParser):
    """Says what is wrong with the arguments, which may be names of files, as safely as all else."""

    def exit(self, status: int = 0, message: str | None = None) -> NoReturn:
        super().exit(status, safe(message) if message else None)


def parser() -> argparse.ArgumentParser:
    top = _Parser(
        prog="geoturf",
        description="From polygons to a priced synthetic-turf bid, for thousands of sites at once.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="store_true", help="print the version and stop")
    commands = top.add_subparsers(
        dest="command", metavar="run | check | draft | compare | audit | rules | explain | sample"
    )

    run = commands.add_parser("run", help="read a bid file or GIS files and write the finished bid")
    run.add_argument(
        "inputs",
        nargs="+",
        metavar="INPUT",
        help="one bid file (.toml), or GIS files run with every default",
    )
    run.add_argument(
        "--out", metavar="DIR", help="folder to write; reports/<name of the input> if not given"
    )
    _add_engine(run)
    run.add_argument(
        "--strict", action="store_true", help="refuse the whole run when anything would be left out"
    )
    run.add_argument(
        "--papers",
        metavar="WHICH",
        help="papers to print: all, none, or readers such as crew,buyer; "
        "all for up to 200 sites and 5,000 pieces if not given",
    )
    run.add_argument(
        "--estimate",
        action="store_true",
        help="estimate turf and seams from the shapes instead of laying them",
    )
    run.add_argument(
        "--lay",
        nargs="+",
        metavar="SITE",
        help="lay these sites and estimate the others",
    )
    run.add_argument(
        "--quiet", action="store_true", help="print nothing but refusals and what was left out"
    )

    check = commands.add_parser("check", help="read only, and report what is odd about the input")
    check.add_argument(
        "inputs", nargs="+", metavar="INPUT", help="one bid file (.toml), or GIS files"
    )
    check.add_argument(
        "--strict", action="store_true", help="exit 1 when anything would be left out"
    )

    draft = commands.add_parser("draft", help="write a commented starter bid file for GIS files")
    draft.add_argument("inputs", nargs="+", metavar="GIS")
    draft.add_argument(
        "-o", "--out", metavar="BID.toml", help="file to write; printed if not given"
    )

    compare = commands.add_parser(
        "compare", help="what moved between two reports, and why, to the cent"
    )
    for name in ("old", "new"):
        compare.add_argument(
            name,
            metavar=name.upper(),
            help=f"the {name} report's folder, or a bid file (.toml), which is run first",
        )
    compare.add_argument(
        "--out", metavar="DIR", help="folder to write; reports/<OLD>_to_<NEW> if not given"
    )
    _add_engine(compare)
    compare.add_argument("--quiet", action="store_true", help="print nothing but refusals")

    again = commands.add_parser(
        "audit", help="reckon a report again, by other means, from the input and the bid"
    )
    again.add_argument("folder", metavar="FOLDER", help="a report that geoturf wrote")
    again.add_argument(
        "inputs",
        nargs="*",
        metavar="INPUT",
        help="the bid file (.toml) it is of, or its GIS files; without them "
        "what can be audited is, and the rest is said",
    )

    rules = commands.add_parser("rules", help="print every default, its range and its source")
    rules.add_argument(
        "words",
        nargs="*",
        metavar="WORD",
        help="only the rules whose name or text holds all these words",
    )

    explain = commands.add_parser(
        "explain", help="say what a column, code, rule or file of a report means"
    )
    explain.add_argument(
        "word", metavar="WORD", help="such as waste_pct, overlap, min_piece_width, cut_plan.csv"
    )

    sample = commands.add_parser("sample", help="write the sample bids")
    sample.add_argument(
        "folder", nargs="?", default="sample_gis", metavar="DIR", help="sample_gis if not given"
    )
    return top


def _add_engine(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--workers",
        type=_workers,
        metavar="N",
        help="processes for the layout; all cores if not given",
    )
    command.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="a Dask scheduler to lay out on instead (needs geoturf[cluster])",
    )


def _workers(text: str) -> int:
    if not text.isdigit() or not 1 <= int(text) <= 256:
        raise argparse.ArgumentTypeError(f"'{text}' is not a number of processes from 1 to 256")
    return int(text)


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


# ------------------------------------------------------------------------------------------------ run


def _run(args: argparse.Namespace) -> int:
    bid, notes, name = _bid_of(args.inputs)
    bid = _estimated(bid, args.estimate, args.lay)
    folder = args.out or f"reports/{name}"
    from geoturf import compiled, papers, pipeline, report

    readers = papers.asked(args.papers)
    papers.look(bid)
    report.look(folder)
    before = report.identity(folder)
    args.stands = lambda: "" if report.identity(folder) == before else folder
    if not (compiled.kept() or args.quiet):
        _warn(_UNKEPT)
    with _Bar(args.quiet) as bar, _engine(args) as engine:
        result = pipeline.run(bid, engine, bar.told, notes)
        if args.strict and result.source.left_out:
            _refuse_left_out(result.findings, result.source.left_out)
        bar.told("report", 0, 0)
        audited = report.write(result, folder, readers, engine)
    if not args.quiet:
        _say(result.findings)
    try:
        if not args.quiet:
            _summary(result, folder, audited)
            sys.stdout.flush()
    finally:  # said even where the summary cannot be
        if result.source.left_out:
            _say(
                [f for f in result.findings if f.severity == "error"] if args.quiet else [],
                all_of_them=True,
            )
            say(_not_priced(result.source.left_out), sys.stderr)
    return LEFT_OUT if result.source.left_out else DONE


def _bid_of(inputs: list[str]) -> tuple[Bid, list[Finding], str]:
    """The bid, the assumptions made for it, and a name for its folder."""
    from pathlib import PurePath

    from geoturf.bid import read_bid
    from geoturf.draft import bid_of_files

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

    return (
        Cluster(args.cluster)
        if args.cluster
        else Processes(args.workers, _quiet if args.quiet else _warn)
    )


def _warn(line: str) -> None:
    say(f"warning: {line}", sys.stderr)


def _quiet(line: str) -> None:
    pass


def _refuse_left_out(findings: Any, left_out: int) -> None:
    from geoturf.errors import InputError

    raise InputError([f for f in findings if f.severity != "note"])


def _not_priced(left_out: int) -> str:
    return f"NOT PRICED: {left_out} area{'s were' if left_out > 1 else ' or file was'} left out; see the findings."


class _Bar:
    """A progress bar on a terminal, nothing in a pipe."""

    def __init__(self, quiet: bool):
        self.live = sys.stderr.isatty() and not quiet
        self.bar: Any = None

    def __enter__(self) -> _Bar:
        if self.live:
            from rich.console import Console
            from rich.progress import (
                BarColumn,
                Progress,
                SpinnerColumn,
                TextColumn,
                TimeElapsedColumn,
            )

            self.bar = Progress(
                SpinnerColumn(), TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn(),
                console=Console(stderr=True), transient=True,
            )  # fmt: skip
            self.task = self.bar.add_task("reading", total=None)
            self.bar.start()
        return self

    def told(self, stage: str, done: int, of: int) -> None:
        if self.bar:
            self.bar.update(
                self.task, description=_SAID.get(stage, stage), completed=done, total=of or None
            )

    def __exit__(self, *_: object) -> None:
        if self.bar:
            self.bar.stop()


# ------------------------------------------------------------------------------------------------ what is said


def _say(
    findings: Any,
    severities: tuple[str, ...] = ("error", "warning"),
    all_of_them: bool = False,
    where: Any = None,
) -> None:
    """Errors and warnings on stderr, one line each; the rest of a long list is counted."""
    where = where or sys.stderr
    for severity in severities:
        lines = [f.line() for f in findings if f.severity == severity]
        shown = lines if all_of_them else lines[:_SHOWN]
        for line in shown:
            say(line, where)
        if len(lines) > len(shown):
            say(
                f"{severity}: and {len(lines) - len(shown)} more; all stand in the findings.csv of a run",
                where,
            )


def _summary(result: Result, folder: str, audited: Iterable[Told]) -> None:
    from rich.console import Console
    from rich.table import Table

    from geoturf import report, tables
    from geoturf.bid import assumed

    for line in _answer(result):
        say(line)
    table = Table(show_header=False, box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column()
    table.add_column(justify="right")
    for word, value in tables.summary(result):
        table.add_row(safe(word), safe(value))
    console = Console(highlight=False, markup=False)
    console.print(table)
    if said := assumed.in_words(result.bid, result.price.lines):
        say(said)
    say(_audit_in_words(audited))
    answer = f", {folder}/planner.html for the answer" if result.water else ""
    link = f" (a link to {os.path.realpath(folder)})" if report.is_link(folder) else ""
    say(f"report in {folder}{link}: open {folder}/index.html first{answer}")
    if len(result.ground.areas):
        say(f"for the client, prices only: {folder}/client")


def _answer(result: Result) -> list[str]:
    """What a comparison of water comes to; nothing where the bid has none."""
    from geoturf import planner

    return [*planner.lines(result), ""] if result.water else []


def _check(args: argparse.Namespace) -> int:
    bid, notes, _ = _bid_of(args.inputs)
    from geoturf import papers, pipeline

    papers.look(bid)
    source, land, findings = pipeline.check(bid, notes)
    _say(findings, ("error", "warning", "note"), where=sys.stdout)
    counts = {s: sum(f.severity == s for f in findings) for s in ("error", "warning", "note")}
    said = ", ".join(f"{n} {s}{'' if n == 1 else 's'}" for s, n in counts.items())
    say(f"{len(land.areas)} areas on {land.areas['site'].nunique()} sites; {said}")
    if source.left_out:
        say(_not_priced(source.left_out), sys.stderr)
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
    return LEFT_OUT if old.left_out or new.left_out else DONE


def _is_bid(path: str) -> bool:
    return path.lower().endswith(".toml")


def _short(path: str) -> str:
    """A name for what is compared: of a bid its file's, of a report its folder's."""
    from pathlib import Path

    name = Path(os.path.realpath(path)).name
    return name[: -len(".toml")] if _is_bid(name) else name


def _reported(path: str, args: argparse.Namespace) -> Report:
    """The report of a bid that is run for this."""
    from pathlib import Path
    from tempfile import TemporaryDirectory

    from geoturf import pipeline, revision, tables

    bid, notes, _ = _bid_of([path])
    with _Bar(args.quiet) as bar, _engine(args) as engine:
        result = pipeline.run(bid, engine, bar.told, notes)
    _say(result.findings, ("error",), all_of_them=True)
    with TemporaryDirectory(prefix="geoturf") as kept:
        tables.write(result, Path(kept))
        tables.write_run(result, Path(kept))
        return revision.read(kept, path)


def _audit(args: argparse.Namespace) -> int:
    from geoturf.audit import BROKEN, UNSEEN, Unreadable, audit, bid_of, home_of

    try:
        told = audit(args.folder, home_of(args.folder, args.inputs), bid_of(args.inputs))
    except Unreadable as fault:
        say(f"error: {fault}", sys.stderr)
        return REFUSED
    for one in told:
        say(one.line())
    say(_audit_in_words(told))
    verdicts = {one.verdict for one in told}
    if BROKEN in verdicts:
        return REFUSED
    return LEFT_OUT if UNSEEN in verdicts else DONE


def _audit_in_words(told: Iterable[Told]) -> str:
    from geoturf.audit import AGREES, BROKEN, UNSEEN

    verdicts = [one.verdict for one in told]
    counts = {word: verdicts.count(word) for word in (AGREES, BROKEN, UNSEEN)}
    said = f"audit: {counts[AGREES]} promises agree"
    more = [f"{counts[word]} {word}" for word in (BROKEN, UNSEEN) if counts[word]]
    return ", ".join([said, *more])


def _draft(args: argparse.Namespace) -> int:
    from geoturf.draft import draft

    text = draft(args.inputs, args.out)
    unused = text.count("\n# NOT USED: ")
    if unused:
        say(
            f"warning: layers that are not used: {unused}; see NOT USED in the draft for why",
            sys.stderr,
        )
    say(f"wrote {args.out}: read it through, then: geoturf run {args.out}" if args.out else text)
    return DONE


def _rules(args: argparse.Namespace) -> int:
    from geoturf.bid import every_rule, rule_in_words

    told = {row[:2]: rule_in_words(row) for row in every_rule()}
    found = [text for text in told.values() if _holds(text, args.words)]
    for text in found:
        say(text)
    if found:
        return DONE
    say(_no_rule(args.words, told), sys.stderr)
    return USAGE


def _holds(text: str, words: list[str]) -> bool:
    return all(word.lower() in text.lower() for word in words)


def _no_rule(words: list[str], told: dict[tuple[str, str], str]) -> str:
    """What no rule holds, and what comes near it among the words of the rules' names."""
    lost = [word for word in words if not any(_holds(text, [word]) for text in told.values())]
    if not lost:
        return f"no rule holds all of {' and '.join(map(_quoted, words))}; ask for fewer words"
    near = _near(lost, told)
    said = f"no rule holds {' or '.join(map(_quoted, lost))}"
    return said + (f"; near: {', '.join(near)}" if near else "; all rules: geoturf rules")


def _quoted(word: str) -> str:
    return f"'{word}'"


def _near(words: list[str], names: Iterable[tuple[str, str]]) -> list[str]:
    from difflib import get_close_matches

    known = sorted(
        {
            part
            for name in names
            for word in name
            for part in (word, *word.replace("_", ".").split("."))
        }
    )
    return list(
        dict.fromkeys(
            near for word in words for near in get_close_matches(word.lower(), known, cutoff=0.7)
        )
    )


def _explain(args: argparse.Namespace) -> int:
    from geoturf.explain import explain, near

    told = explain(args.word)
    if not told:
        like = f"; near it: {', '.join(found)}" if (found := near(args.word)) else ""
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
