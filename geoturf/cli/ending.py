"""How a command ends, whatever happens on its way: its last words and its exit status."""

from __future__ import annotations

import os
import sys

from geoturf.cli.terminal import UnprintedError, say

TYPE_CHECKING = (
    False  # type checkers know the name; importing typing itself would double the time of --help
)
if TYPE_CHECKING:
    from typing import Any

DONE, REFUSED, USAGE, LEFT_OUT, UNPRINTED = range(5)
_MOST = 100  # lines of one severity that a refusal says
# bytes; the demo ran under 1.2 GB on two cores, and died or hung under 1.0 and 0.8
_LEAST_ADDRESSES = 1_200_000_000


def ended(fault: BaseException, signal_got: int, stands: str) -> int:
    """What is said of a command that did not come to its end, and its status. ``stands``: where a
    new report is whole, if one is."""
    what = f"the report is whole in {stands}" if stands else "nothing was written"
    if signal_got or isinstance(
        fault, KeyboardInterrupt
    ):  # an import that is stopped may raise anything
        return _last_words([f"Stopped; {what}."], 128 + (signal_got or 2))
    if isinstance(fault, UnprintedError):
        seen = f"the report is whole in {stands}" if stands else "not all was printed"
        return _last_words(
            [f"error: standard output cannot be written ({fault}); {seen}"], UNPRINTED
        )
    from geoturf.errors import (
        GeoturfError,
    )  # not before: a stop may have come in the midst of imports

    if isinstance(fault, GeoturfError):
        lines = []
        for severity in ("error", "warning"):
            lines += _some([f.line() for f in fault.findings if f.severity == severity], severity)
        return _last_words([*lines, f"Refused; {what}."], REFUSED)
    if _starved(fault):
        told = ""
        if str(fault):
            told = f" ({_one_line(fault)})"
        need = (
            f"error: not enough memory{told}; fewer areas at a time need less, and so does "
            "--workers 1"
        )
        return _last_words([need, f"Stopped; {what}."], REFUSED)
    return _last_words([_own_fault(fault), f"Stopped; {what}."], REFUSED)


def _some(lines: list[str], severity: str) -> list[str]:
    """All of a list, but of a very long one the first lines and the last, which says what comes of
    the others."""
    if len(lines) <= _MOST:
        return lines
    left = len(lines) - _MOST
    return [*lines[: _MOST - 1], f"{severity}: and {left:,} more; mend these first", lines[-1]]


def refuse_a_low_limit() -> None:
    """Under a low limit on addresses some libraries wait for ever for memory that does not come,
    rather than fail."""
    limit = _address_limit()
    if limit is not None and limit < _LEAST_ADDRESSES:
        asked = f"{limit / 1e6:,.0f} MB"
        needed = f"{_LEAST_ADDRESSES / 1e6:,.0f} MB"
        raise MemoryError(f"its limit, ulimit -v, is {asked}, and {needed} is the least")


def _address_limit() -> int | None:
    """Bytes of addresses this process may have; None where there is no limit."""
    try:
        import resource
    except ImportError:
        return None
    limit = resource.getrlimit(resource.RLIMIT_AS)[0]
    if limit == resource.RLIM_INFINITY:
        return None
    return limit


def _starved(fault: BaseException) -> bool:
    """Whether a fault comes of too little memory: under a limit, libraries that cannot be loaded
    and threads that cannot be started do."""
    if isinstance(fault, MemoryError):
        return True
    return _address_limit() is not None and isinstance(fault, (ImportError, OSError, RuntimeError))


def _one_line(fault: BaseException) -> str:
    return " ".join(str(fault).split())[:300]


def _last_words(lines: list[str], status: int) -> int:
    try:
        for line in lines:
            say(line, sys.stderr)
    except UnprintedError:
        pass  # nobody listens; the status is left
    return status


def _own_fault(fault: BaseException) -> str:
    """What geoturf did not foresee, in one line; the traceback for those who ask for it."""
    if os.environ.get("GEOTURF_TRACEBACK"):
        raise fault
    told = f"{type(fault).__name__}: {_one_line(fault)}"
    return (
        f"error: {told}; this is a fault of geoturf: please report it, with GEOTURF_TRACEBACK=1 set"
    )


class Signals:
    """While it lasts, a stop by a service or a time limit (SIGTERM) ends a command as Ctrl-C does:
    in good order. ``got`` is the signal that came, or 0."""

    def __init__(self) -> None:
        self.got = 0
        self.before: dict[int, Any] = {}

    def __enter__(self) -> Signals:
        import signal
        import threading

        if threading.current_thread() is threading.main_thread():
            for number in (signal.SIGINT, signal.SIGTERM):
                if signal.getsignal(number) in (signal.SIG_DFL, signal.default_int_handler):
                    self.before[number] = signal.signal(number, self._stop)
        return self

    def _stop(self, number: int, _: object) -> None:
        self.got = self.got or number
        raise KeyboardInterrupt

    def __exit__(self, *_: object) -> None:
        import signal

        for number, handler in self.before.items():
            signal.signal(number, handler)
