"""What is printed, and where it goes: the only way to the terminal."""

from __future__ import annotations

import os
import sys

TYPE_CHECKING = (
    False  # type checkers know the name; importing typing itself would double the time of --help
)
if TYPE_CHECKING:
    from typing import Any, TextIO

_KEPT = (
    "\n\t\u00a0\u202f\u200c\u200d"  # line ends, spaces, and the joiners that scripts and emoji need
)


def safe(text: str) -> str:
    """``text`` with whatever a terminal would act on, or that turns or hides what stands beside it
    (ESC, BEL, carriage return, marks of direction, lone surrogates), written out as TOML does:
    \\u001b."""
    return "".join(c if c.isprintable() or c in _KEPT else _escaped(ord(c)) for c in text)


def _escaped(code: int) -> str:
    if code < 0x10000:
        return f"\\u{code:04x}"
    return f"\\U{code:08x}"


def say(text: str, stream: TextIO | None = None) -> None:
    """The only way to the terminal: names come from files that anybody may have made."""
    print(safe(text), file=stream)


class UnprintedError(Exception):
    """Standard output or error cannot be written: its reader is gone, or the disk is full."""


class _Stream:
    """A text stream whose failures are told from those of other files and pipes."""

    def __init__(self, stream: Any):
        self.stream = stream

    def write(self, text: str) -> int:
        self._tried(self.stream.write, text)
        return len(text)

    def flush(self) -> None:
        self._tried(self.stream.flush)

    def _tried(self, call: Any, *given: str) -> None:
        try:
            call(*given)
        except OSError as error:
            self._let_go()
            raise UnprintedError(error.strerror or error) from None

    def _let_go(self) -> None:
        """What is left in the buffer goes nowhere, or Python would try again at the end and
        complain."""
        try:
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self.stream.fileno())
            os.close(nowhere)
        except OSError:
            pass

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)


class Streams:
    """Standard output and error as `_Stream`, while it lasts."""

    def __enter__(self) -> None:
        self.before = sys.stdout, sys.stderr
        sys.stdout, sys.stderr = _Stream(sys.stdout), _Stream(sys.stderr)

    def __exit__(self, *_: object) -> None:
        sys.stdout, sys.stderr = self.before
