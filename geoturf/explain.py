"""What a word of geoturf's means: a file or a column of a report, a finding's code, a rule of the
bid file."""

from __future__ import annotations

import difflib
from collections.abc import Iterator

from geoturf import columns, data
from geoturf.bid import every_rule, rule_in_words

SYSTEMS = ("us", "metric")


def explain(word: str) -> list[str]:
    """A paragraph for each thing that is called ``word`` (case does not matter), in no more than a
    few lines each."""
    wanted = word.strip().casefold()
    return [text for name, text in _every() if wanted in name]


def near(word: str) -> list[str]:
    """Words that look like it, the nearest first."""
    known = sorted({name for names, _ in _every() for name in names})
    return difflib.get_close_matches(word.strip().casefold(), known, n=5)


def _every() -> Iterator[tuple[set[str], str]]:
    """Names, in lower case, and what they mean."""
    yield from _files()
    yield from _columns()
    yield from _codes()
    yield from _rules()


def _files() -> Iterator[tuple[set[str], str]]:
    for row in data.rows_of("files"):
        when = ""
        if row["when"]:
            when = f", {row['when']}"
        yield (
            {row["file"], row["file"].rsplit(".", 1)[0]},
            f"file {row['file']}{when}\n    {row['meaning']}",
        )


def _columns() -> Iterator[tuple[set[str], str]]:
    """Columns that say the same are told once, with all their files."""
    told: dict[tuple[str, str, str], list[columns.Column]] = {}
    for column in columns.every():
        told.setdefault((column.base, column.quantity, column.meaning), []).append(column)
    for (base, _, meaning), same in told.items():
        names = list(dict.fromkeys(same[0].name(system) for system in SYSTEMS))
        units = list(dict.fromkeys(filter(None, (same[0].unit(system) for system in SYSTEMS))))
        files = ", ".join(column.file for column in same)
        unit = ""
        if units:
            unit = f" ({' or '.join(units)})"
        when = ""
        if same[0].when:
            when = f", {same[0].when}"
        yield {base, *names}, f"column {' or '.join(names)}{unit} of {files}{when}\n    {meaning}"


def _codes() -> Iterator[tuple[set[str], str]]:
    for row in data.rows_of("codes"):
        yield (
            {row["code"]},
            f"finding {row['code']}\n    {row['meaning']}\n    What to do: {row['mend']}",
        )


def _rules() -> Iterator[tuple[set[str], str]]:
    for row in every_rule():
        section = row[0].strip("[]").casefold()
        key = row[1].casefold()
        yield {key, f"{section}.{key}"}, f"rule {rule_in_words(row)}"
