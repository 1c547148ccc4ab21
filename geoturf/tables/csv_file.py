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
_CRLF = "\r\n"  # RFC 4180


def write_csv(table: pd.DataFrame, path: Path) -> None:
    """UTF-8, RFC 4180, a header, no index; fixed decimals, so that equal input gives equal
    bytes."""
    out = pd.DataFrame(index=table.index)
    for name in table.columns:
        column = table[name]
        if not pd.api.types.is_numeric_dtype(column):
            out[name] = [as_text(value) for value in column]
        elif name in table.attrs.get("decimals", {}):
            digits = table.attrs["decimals"][name]
            out[name] = ["" if np.isnan(value) else f"{value:.{digits}f}" for value in column]
        else:
            out[name] = column
    head = [as_text(name) for name in table.columns]  # some are named by the input
    out.to_csv(
        path,
        index=False,
        header=head,
        lineterminator=_CRLF,
        encoding="utf-8",
    )


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
