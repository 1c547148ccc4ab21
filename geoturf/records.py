"""Rows of a table as typed records, for what is told or checked row by row."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any, TypeAlias, TypeVar

import pandas as pd
from numpy.typing import NDArray

R = TypeVar("R")
Column: TypeAlias = (
    "pd.Series[Any] | pd.Index[Any] | NDArray[Any] | list[Any]"  # as long as its table
)


def records(table: pd.DataFrame, kind: Callable[..., R]) -> list[R]:
    """A ``kind`` (a named tuple) for each row, of the columns that its fields name; plain Python
    values. Raises `KeyError` for a field that is no column."""
    columns = [table[name].tolist() for name in inspect.signature(kind).parameters]
    return [kind(*row) for row in zip(*columns, strict=True)]
