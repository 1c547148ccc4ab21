"""Memory that is done with, given back to the system.

The C library keeps what was freed for later, in pieces: a run in stages, each with large arrays of
its own, would come to hold the most of all of them at once.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from contextlib import suppress
from functools import cache


def give_back() -> None:
    """Milliseconds; nothing where the C library cannot (it is glibc that can)."""
    _trim()(0)


@cache
def _trim() -> Callable[[int], object]:
    with suppress(AttributeError, OSError, TypeError):
        found: Callable[[int], object] = ctypes.CDLL(None).malloc_trim
        return found
    return lambda kept: None
