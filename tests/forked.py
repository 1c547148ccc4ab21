"""Work done in a child that is this process over again, so that nothing is imported or compiled
anew."""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Callable


def begin(work: Callable[[], int | None]) -> int:
    """The id of a child that does ``work()``, which gives its exit status (None: 0)."""
    child = os.fork()
    if child == 0:
        _end(work)
    return child


def status_of(child: int) -> int:
    """Waits for a child's end: its exit status, or -N where signal N ended it."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _end(work: Callable[[], int | None]) -> None:
    """Never returns: what pytest does at its end is for the parent alone."""
    status = 1
    try:
        status = work() or 0
        sys.stderr.flush()
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(status)
