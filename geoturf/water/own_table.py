"""A user's CSV of climate or bills, read with one line for each fault: file, line, what is
wrong."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping
from pathlib import Path

from geoturf.errors import InputError
from geoturf.model import Finding
from geoturf.rules.limits import MIB
from geoturf.rules.water.climate import MONTHS
from geoturf.units import factors

LARGEST_MIB = 64  # a century of daily weather is 4 MiB
LENGTHS = factors("in", "mm", "cm")


def rows(path: Path, name: str) -> list[dict[str, str]]:
    if path.exists() and not path.is_file():
        raise _fault("table-unreadable", "is no regular file (a pipe, a device, a folder)", name)
    if path.exists() and path.stat().st_size > LARGEST_MIB * MIB:
        what = f"is of more than {LARGEST_MIB} MiB, which no table of climate or bills is"
        raise _fault("table-unreadable", what, name)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise _fault("no-table", "there is no such file beside the bid", name) from None
    except (OSError, UnicodeDecodeError):
        raise _fault("table-unreadable", "cannot be read as UTF-8 text", name) from None
    return [_cleaned(row) for row in csv.DictReader(text.splitlines())]


def _cleaned(row: Mapping[str, str]) -> dict[str, str]:
    """Names in small letters, texts without blanks about them; cells beyond the header left out."""
    named = [(str(column), str(cell or "")) for column, cell in row.items() if column]
    return {column.strip().lower(): cell.strip() for column, cell in named}


def _fault(code: str, text: str, name: str) -> InputError:
    return InputError(Finding("error", code, text, file=name))


def unit_column(
    table: list[dict[str, str]],
    word: str,
    name: str,
    needed: bool,
    units: Mapping[str, float] = LENGTHS,
) -> tuple[str, float]:
    """The column of ``word`` in one of ``units`` (name -> SI), and its factor; ("", 0) where it
    may be missing and is."""
    there = list(table[0]) if table else []
    columns = {f"{word}_{unit}": scale for unit, scale in units.items()}
    found = [(column, scale) for column, scale in columns.items() if column in there]
    if len(found) > 1:
        raise _fault("table-column", f"has two columns of {word}; keep one", name)
    if not found and needed:
        two = " or ".join(list(columns)[:2])
        has = ", ".join(there) or "no rows"
        raise _fault("table-column", f"needs a column {two} (it has: {has})", name)
    if found:
        return found[0]
    return ("", 0.0)


def amount(text: str, what: str, name: str, line: int) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise _fault("table-value", f"line {line}: {what} '{text}' is not a number", name)
    if value < 0:
        raise _fault("table-negative", f"line {line}: {what} {text} is negative", name)
    return value


def month_index(text: str, name: str, line: int) -> int:
    """0 to 11 from ``3``, ``Mar`` or ``March``."""
    if text.isdigit() and 1 <= int(text) <= 12:
        return int(text) - 1
    short = text[:3].title()
    if len(text) >= 3 and short in MONTHS:
        return MONTHS.index(short)
    raise _fault("table-month", f"line {line}: '{text}' is no month (1 to 12, or Jan)", name)


def refuse_missing(missing: Iterable[bool], name: str) -> None:
    gone = [month for month, is_gone in zip(MONTHS, missing, strict=True) if is_gone]
    if gone:
        fault = f"has no {', '.join(gone)}; all twelve months are needed"
        raise _fault("table-month-missing", fault, name)
