"""Revision against revision: what moved from one report to another, and why, to the cent.

reports.py  a report, read back from its folder
lots.py     areas of one report found in the other, and how their ground moved
money.py    price lines of both, and how an amount goes from the one to the other
causes.py   what can have moved a figure
rows.py     changes.csv
told.py     the same in few words
page.py     changes.html
outlines.py both outlines of a site, drawn
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from geoturf import columns, tables
from geoturf.revision import lots, money, page, rows, told
from geoturf.revision.causes import Causes
from geoturf.revision.reports import Report, refuse_unlike

__all__ = ["Changes", "Report", "compare", "is_comparison", "lines", "read", "write"]

_TABLE = "changes.csv"
_PAGE = "changes.html"


@dataclass(frozen=True)
class Changes:
    """Two reports and what moved between them. ``table``: the rows of changes.csv."""

    old: Report
    new: Report
    lots: lots.Lots
    table: pd.DataFrame


def read(folder: str | Path, name: str = "") -> Report:
    """The report in ``folder``, called ``name`` (the folder's, if it is not given). Raises
    `InputError` where it holds no whole report."""
    return Report.read(Path(folder), name or str(folder))


def compare(old: Report, new: Report) -> Changes:
    """What moved from ``old`` to ``new``. Raises `InputError` where they are in different units or
    currencies."""
    refuse_unlike(old, new)
    found = lots.found(old, new)
    causes = Causes.of(old, new, found)
    values = rows.rows(old, new, found, money.moves(old, new, causes), causes)
    return Changes(old, new, found, columns.table_of("changes", new.units, values))


def write(changes: Changes, folder: Path) -> None:
    """changes.csv and changes.html in ``folder``."""
    tables.write_csv(changes.table, folder / _TABLE)
    said = page.page(changes.old, changes.new, changes.lots, changes.table)
    (folder / _PAGE).write_text(said, encoding="utf-8", errors="replace")


def lines(changes: Changes) -> list[str]:
    """What moved, on a few lines."""
    return told.told(changes.old, changes.new, changes.lots, changes.table)


def is_comparison(folder: Path) -> bool:
    """Whether ``folder`` holds what `write` writes and nothing else."""
    return {entry.name for entry in folder.iterdir()} == {_TABLE, _PAGE}
