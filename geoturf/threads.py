"""Columns worked on in threads of this process, where the work lets go of the interpreter: most of
GEOS does, and numpy on long arrays.

Unlike workers (`geoturf.engine`) threads share memory: nothing is copied to hand it over. The
outcome is that of one thread, since only rows that have nothing to do with each other are parted.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import TypeVar

import numpy as np
import shapely

Item = TypeVar("Item")
Out = TypeVar("Out")

THREADS = min(os.cpu_count() or 1, 4)
FEW = 4_000  # rows: fewer are not worth a thread
_PARTS = 4 * THREADS  # several each, as some rows are more work than others


def each(work: Callable[[Item], Out], items: Iterable[Item]) -> list[Out]:
    """``[work(item) for item in items]``."""
    todo = list(items)
    try:
        with ThreadPoolExecutor(THREADS) as threads:
            return list(threads.map(work, todo))
    except RuntimeError:  # no memory for a thread
        return [work(item) for item in todo]


def begin(work: Callable[[], Out]) -> Callable[[], Out]:
    """``work()`` while this thread goes on. Gives what waits for it."""
    with_one = ThreadPoolExecutor(1)
    try:
        wait = with_one.submit(work).result
    except RuntimeError:  # no memory for a thread
        return work
    with_one.shutdown(wait=False)
    return wait


def by_rows(work: Callable[..., np.ndarray], *columns: np.ndarray) -> np.ndarray:
    """``work(*columns)``, of work that gives a row for each row of the columns (n, ...) and looks
    at no other."""
    size = len(columns[0])
    if size < FEW:
        return work(*columns)
    columns = tuple(map(_each_its_own, columns))
    ends = np.linspace(0, size, _PARTS + 1).astype(int)
    parts = [slice(*pair) for pair in pairwise(ends.tolist())]
    done = each(lambda part: work(*(column[part] for column in columns)), parts)
    return np.concatenate(done)


def _each_its_own(column: np.ndarray) -> np.ndarray:
    """With an object of its own in every row of geometries (n, ...): GEOS notes extents within a
    geometry when first asked, which no two threads may do at once."""
    if column.dtype != object or len({id(one) for one in column.flat}) == column.size:
        return column
    own: np.ndarray = shapely.force_2d(column)
    return own
