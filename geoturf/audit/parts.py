"""Work over many areas, some at a time, on all processors: GEOS lets go of the interpreter while it
reckons with arrays of shapes."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from typing import ParamSpec, TypeVar

Out = TypeVar("Out")
Given = ParamSpec("Given")

_SOME = 2000  # areas at a time: shapes that are made on the way are gone before the next are
_AT_ONCE = min(4, os.cpu_count() or 1)


@contextmanager
def beside(
    work: Callable[Given, Out], *given: Given.args, **named: Given.kwargs
) -> Iterator[Callable[[], Out]]:
    """``work`` is done while this thread goes on; gives what waits for it."""
    with ThreadPoolExecutor(1) as pool:
        try:
            wait = pool.submit(work, *given, **named).result
        except RuntimeError:  # no memory for a thread
            wait = partial(work, *given, **named)
        yield wait


def by_parts(work: Callable[[slice], Out], count: int) -> list[Out]:
    """``work(rows)`` of all ``count`` areas, some rows after another, in order."""
    parts = [slice(at, min(at + _SOME, count)) for at in range(0, count, _SOME)]
    if len(parts) < 2 or _AT_ONCE < 2:
        return [work(part) for part in parts]
    try:
        with ThreadPoolExecutor(_AT_ONCE) as pool:
            return list(pool.map(work, parts))
    except RuntimeError:  # no memory for a thread
        return [work(part) for part in parts]
