"""What the commands say of a run: its findings, its figures in brief, and how far it is."""

from __future__ import annotations

import os
import sys

from geoturf.cli.terminal import safe, say

TYPE_CHECKING = (
    False  # type checkers know the name; importing typing itself would double the time of --help
)
if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from typing import Any

    from geoturf.audit import Told
    from geoturf.model import Result

_SHOWN = 12  # findings of one severity shown on a terminal; all stand in findings.csv
_SAID = {
    "compile": "compiling the kernels (once on this machine)"
}  # of stages whose name does not say it


def warning(line: str) -> None:
    say(f"warning: {line}", sys.stderr)


def quiet(line: str) -> None:
    pass


def tell(
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
                f"{severity}: and {len(lines) - len(shown)} more; all stand in the findings.csv of "
                "a run",
                where,
            )


def summary(result: Result, folder: str, audited: Iterable[Told]) -> None:
    from rich.console import Console
    from rich.table import Table

    from geoturf import report, tables
    from geoturf.bid import assumed

    for line in _answer(result):
        say(line)
    table = Table(
        show_header=False,
        box=None,
        pad_edge=False,
        padding=(0, 2, 0, 0),
    )
    table.add_column()
    table.add_column(justify="right")
    for word, value in tables.summary(result):
        table.add_row(safe(word), safe(value))
    console = Console(highlight=False, markup=False)
    console.print(table)
    if said := assumed.in_words(result.bid, result.price.lines):
        say(said)
    say(audit_in_words(audited))
    answer = ""
    if result.water:
        answer = f", {folder}/planner.html for the answer"
    link = ""
    if report.is_link(folder):
        link = f" (a link to {os.path.realpath(folder)})"
    say(f"report in {folder}{link}: open {folder}/index.html first{answer}")
    if result.any_turf:
        say(f"for the client, prices only: {folder}/client")


def _answer(result: Result) -> list[str]:
    """What a comparison of water comes to; nothing where the bid has none."""
    from geoturf import planner

    if result.water:
        return [*planner.lines(result), ""]
    return []


def not_priced(left_out: int) -> str:
    return (
        f"NOT PRICED: {left_out} area{'s were' if left_out > 1 else ' or file was'} left out; "
        "see the findings."
    )


def audit_in_words(told: Iterable[Told]) -> str:
    from geoturf.audit import AGREES, BROKEN, UNSEEN

    verdicts = [one.verdict for one in told if not one.empty]
    counts = {word: verdicts.count(word) for word in (AGREES, BROKEN, UNSEEN)}
    said = f"audit: {counts[AGREES]} promises agree"
    more = [f"{counts[word]} {word}" for word in (BROKEN, UNSEEN) if counts[word]]
    return ", ".join([said, *more])


def audit_of_a_folder(told: Sequence[Told], input_at_hand: bool, bid_at_hand: bool) -> list[str]:
    """A line a promise, what needs a reader's eye last; then what all of it says, and of what."""
    from geoturf.audit import AGREES, BROKEN, UNSEEN

    empty = [one.promise for one in told if one.empty]
    some = [one for one in told if not one.empty]
    lines = [one.line() for one in some if one.verdict == AGREES]
    if empty:
        lines.append(f"nothing here: the report has none of what these look at: {', '.join(empty)}")
    lines += [one.line() for word in (UNSEEN, BROKEN) for one in some if one.verdict == word]
    lines += ["", audit_in_words(told)]
    files = "the input files" if input_at_hand else "the report alone"
    bid = " and the bid" if bid_at_hand else ""
    lines.append(f"reckoned again from {files}{bid}")
    if not input_at_hand:
        lines.append(
            "what agrees, agrees within the report; whether it is of your properties is not told: "
            "give the bid file, or the GIS files that it was made from"
        )
    elif not bid_at_hand:
        lines.append("rules and prices are taken as the report states them; no bid file was given")
    if any(one.verdict == BROKEN for one in told):
        lines.append(
            "a report with a BROKEN promise (figures in SI units) is not what geoturf wrote of this "
            "input: do not rely on it, run the bid again"
        )
    return lines


def holds(text: str, words: list[str]) -> bool:
    return all(word.lower() in text.lower() for word in words)


def no_rule(words: list[str], told: dict[tuple[str, str], str]) -> str:
    """What no rule holds, and what comes near it among the words of the rules' names."""
    lost = [word for word in words if not any(holds(text, [word]) for text in told.values())]
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


class Bar:
    """A progress bar on a terminal, nothing in a pipe."""

    def __init__(self, quiet: bool):
        self.live = sys.stderr.isatty() and not quiet
        self.bar: Any = None

    def __enter__(self) -> Bar:
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


def drafted(path: str, text: str) -> str:
    """What to do with a draft that was written: what it leaves to the reader stands marked in
    it."""
    marks = [mark for mark in ("FILL IN", "ASSUMED", "GUESS") if mark in text]
    return f"wrote {path}: read through what is marked {', '.join(marks)}, then: geoturf run {path}"
