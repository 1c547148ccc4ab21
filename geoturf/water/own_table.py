"""A user's CSV of climate or bills, read with one line for each fault: file, line, what is wrong."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping
from pathlib import Path

from geoturf.errors import InputError
from geoturf.model import Finding
from geoturf.rules.water.climate import MONTHS
from geoturf.units import INCH_M

LENGTHS = {"in": INCH_M, "mm": 1e-3, "cm": 1e-2}


def rows(path: Path, name: str) -> list[dict[str, str]]:
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError(Finding("error", "no-table", "there is no such file beside the bid", file=name)) from None
    except (OSError, UnicodeDecodeError):
        raise InputError(Finding("error", "table-unreadable", "cannot be read as UTF-8 text", file=name)) from None
    read = list(csv.DictReader(text.splitlines()))
    return [{str(k).strip().lower(): str(v or "").strip() for k, v in row.items() if k} for row in read]


def unit_column(
    table: list[dict[str, str]], word: str, name: str, needed: bool, units: Mapping[str, float] = LENGTHS
) -> tuple[str, float]:
    """The column of ``word`` in one of ``units`` (name -> SI), and its factor; ("", 0) where it may be missing and is."""
    found = [(f"{word}_{unit}", scale) for unit, scale in units.items() if table and f"{word}_{unit}" in table[0]]
    if len(found) > 1:
        raise InputError(Finding("error", "table-column", f"has two columns of {word}; keep one", file=name))
    if not found and needed:
        two = " or ".join(f"{word}_{unit}" for unit in list(units)[:2])
        fault = f"needs a column {two} (it has: {', '.join(table[0]) if table else 'no rows'})"
        raise InputError(Finding("error", "table-column", fault, file=name))
    return found[0] if found else ("", 0.0)


def amount(text: str, what: str, name: str, line: int) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(Finding("error", "table-value", f"line {line}: {what} '{text}' is not a number", file=name))
    if value < 0:
        raise InputError(Finding("error", "table-negative", f"line {line}: {what} {text} is negative", file=name))
    return value


def month_index(text: str, name: str, line: int) -> int:
    """0 to 11 from ``3``, ``Mar`` or ``March``."""
    if text.isdigit() and 1 <= int(text) <= 12:
        return int(text) - 1
    short = text[:3].title()
    if len(text) >= 3 and short in MONTHS:
        return MONTHS.index(short)
    raise InputError(Finding("error", "table-month", f"line {line}: '{text}' is no month (1 to 12, or Jan)", file=name))


def refuse_missing(missing: Iterable[bool], name: str) -> None:
    gone = [month for month, is_gone in zip(MONTHS, missing, strict=True) if is_gone]
    if gone:
        fault = f"has no {', '.join(gone)}; all twelve months are needed"
        raise InputError(Finding("error", "table-month-missing", fault, file=name))
