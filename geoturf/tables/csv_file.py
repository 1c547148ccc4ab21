"""A table as a CSV file that a spreadsheet takes for no formula (OWASP, CSV injection)."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd

# Where a spreadsheet may take what follows for a formula: at the start of a cell, which a
# semicolon, a tab or a line's end makes too where the file is opened with other separators;
# full-width signs (U+FF1D and others) count as their narrow ones.
_FORMULA = re.compile(r"(?:^|(?<=[;\t\r\n]))(?=(?:[^\S\t\r\n]|\")*[=+\-@\uff1d\uff0b\uff0d\uff20])")
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]*)?([eE][+-]?[0-9]+)?")
_BLANK_STARTS = ("\t", "\r", "\n")  # OWASP: these at the start are themselves a way in
_SIGNS = "=+-@\uff1d\uff0b\uff0d\uff20\t\r\n"  # what the two of them look for
_CRLF = "\r\n"  # RFC 4180
_QUOTED = ',"\r\n'  # RFC 4180 too


def write_csv(table: pd.DataFrame, path: Path) -> None:
    """UTF-8, RFC 4180, a header, no index; fixed decimals, so that equal input gives equal
    bytes."""
    decimals = table.attrs.get("decimals", {})
    head = _fields([as_text(name) for name in table.columns])  # some are named by the input
    cells = [_cells(table[name], decimals.get(name)) for name in table.columns]
    blank = '""' if len(head) == 1 else ""  # else it would be an empty line
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(",".join(head) + _CRLF)
        file.writelines((",".join(row) or blank) + _CRLF for row in zip(*cells, strict=True))


def _cells(column: pd.Series, digits: int | None) -> list[str]:
    """A column as it is written."""
    if not pd.api.types.is_numeric_dtype(column):
        return _fields(_texts([str(value) for value in column]))
    write = str if digits is None else f"{{:.{digits}f}}".format
    written = list(map(write, column.tolist()))
    for k in np.flatnonzero(column.isna()).tolist():
        written[k] = ""
    return written


def _texts(texts: list[str]) -> list[str]:
    """`as_text` of each: nothing is done where no sign of a formula stands in any."""
    together = "".join(texts)
    if any(sign in together for sign in _SIGNS):
        return [as_text(text) for text in texts]
    return texts


def _fields(texts: list[str]) -> list[str]:
    """In quotes where they have to be."""
    together = "".join(texts)
    if not any(sign in together for sign in _QUOTED):
        return texts
    return [_quoted(text) if any(sign in text for sign in _QUOTED) else text for text in texts]


def _quoted(text: str) -> str:
    doubled = text.replace('"', '""')
    return f'"{doubled}"'


def as_text(value: object) -> str:
    """Text with an apostrophe wherever a spreadsheet would start a formula; a number written as
    text (money, an id such as 0012 or -4) stays as it is."""
    text = str(value)
    if text.isalnum() or _NUMBER.fullmatch(text):  # most are names, or numbers
        return text
    guarded = _FORMULA.sub("'", text)
    if guarded.startswith(_BLANK_STARTS):
        return f"'{guarded}"
    return guarded
