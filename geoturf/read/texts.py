"""A column of text: each different text once, and which of them a row has. Names of sites and
phases repeat; what is done to the few different ones need not be done to each row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc


@dataclass(frozen=True)
class Texts:
    """``codes``: (n,) which of ``values`` a row has; ``values``: (k,) str, each once."""

    codes: np.ndarray
    values: np.ndarray

    def each(self) -> np.ndarray:
        """(n,) str."""
        each: np.ndarray = self.values[self.codes]
        return each

    def at(self, row: int) -> str:
        """The text of one row."""
        return str(self.values[self.codes[row]])

    def are(self, text: str) -> np.ndarray:
        """Mask of the rows that have a text."""
        return np.take(self.values == text, self.codes)

    def filled(self, text: str) -> Texts:
        """With this text where there is none."""
        empty = self.values == ""
        if empty.any():
            return _once(self.codes, np.where(empty, text, self.values))
        return self


def same(text: str, n: int) -> Texts:
    """One text for all of ``n`` rows."""
    return Texts(np.zeros(n, np.intp), np.array([text], object))


def of(texts: np.ndarray) -> Texts:
    """From (n,) str."""
    at: dict[str, int] = {}  # pandas takes a text for the same as what stands in it before a NUL
    codes = np.fromiter(
        (at.setdefault(text, len(at)) for text in texts.tolist()), np.intp, len(texts)
    )
    return Texts(codes, np.array(list(at), object))


def together(columns: Sequence[Texts]) -> Texts:
    """One column after the other."""
    if len(columns) == 1:
        return columns[0]
    first = np.cumsum([0, *(len(one.values) for one in columns)])
    codes = [one.codes + before for one, before in zip(columns, first, strict=False)]
    none = np.empty(0, object)
    return _once(
        np.concatenate([np.empty(0, np.intp), *codes]),
        np.concatenate([none, *(one.values for one in columns)]),
    )


def of_arrow(column: pa.ChunkedArray) -> Texts:
    """A column as text, as written: ``0012`` stays, 12.0 from a column of numbers is ``12``,
    nothing is ``""``."""
    kind = column.type
    if pa.types.is_dictionary(kind):
        column = column.cast(kind.value_type)
        kind = kind.value_type
    if pa.types.is_floating(kind):
        codes, values = pd.factorize(column.to_pandas().to_numpy(float), use_na_sentinel=False)
        return _once(codes, np.array([number_text(v) for v in values.tolist()], object))
    if not (pa.types.is_string(kind) or pa.types.is_large_string(kind)):
        column = _as_text(column)
    coded = pc.fill_null(column, "").dictionary_encode().combine_chunks()
    written = coded.dictionary
    codes = coded.indices.to_numpy()
    trimmed = pc.utf8_trim_whitespace(written)
    values = trimmed.to_pandas(deduplicate_objects=False).to_numpy(object)
    if trimmed.equals(written):
        return Texts(codes, values)
    return _once(codes, values)


def _as_text(column: pa.ChunkedArray) -> pa.ChunkedArray:
    try:
        return column.cast(pa.string())
    except pa.ArrowException:
        return pa.chunked_array(
            [pa.array([None if v is None else str(v) for v in column.to_pylist()], pa.string())]
        )


def number_text(value: float) -> str:
    if np.isnan(value):
        return ""
    if value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return repr(value)


def _once(codes: np.ndarray, values: np.ndarray) -> Texts:
    """The same, where ``values`` may hold a text twice."""
    once = of(values)
    return Texts(once.codes[codes], once.values)
