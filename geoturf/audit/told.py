"""What an audit says: one line a promise."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

AGREES = "agrees"
BROKEN = "BROKEN"
UNSEEN = "not looked at"


class Told(NamedTuple):
    """A promise, whether it holds, and in words what was reckoned again or what is wrong; ``empty``
    where the report has nothing that it is about."""

    promise: str
    verdict: str
    said: str
    empty: bool = False

    def line(self) -> str:
        return f"{self.verdict}: {self.promise}: {self.said}"


def agrees(promise: str, said: str) -> Told:
    return Told(promise, AGREES, said)


def nothing(promise: str, what: str) -> Told:
    return Told(promise, AGREES, f"no {what}", empty=True)


def broken(promise: str, said: str) -> Told:
    return Told(promise, BROKEN, said)


def unseen(promise: str, why: str) -> Told:
    return Told(promise, UNSEEN, why)


def compared(
    promise: str,
    what: str,
    names: Sequence[str],
    told: ArrayLike,
    own: ArrayLike,
    slack: ArrayLike,
    unit: str = "",
) -> Told:
    """Figures that a report tells beside those reckoned here, (n,) each, which may differ by
    ``slack``."""
    return between(promise, what, names, told, np.subtract(own, slack), np.add(own, slack), unit)


def between(
    promise: str,
    what: str,
    names: Sequence[str],
    told: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    unit: str = "",
) -> Told:
    """Figures told, (n,), and the least and the most that each can be."""
    if not len(names):
        return nothing(promise, what)
    value, least, most = np.broadcast_arrays(*(np.asarray(one, float) for one in (told, low, high)))
    over = np.fmax(least - value, value - most)
    off = np.where(np.isfinite(value) & np.isfinite(over), over, np.inf)
    if not (off > 0).any():
        return agrees(promise, f"{what}, {len(names):,} reckoned again")
    worst = int(np.argmax(off))
    about = f"{least[worst]:,.6g} to {most[worst]:,.6g}"
    if np.isclose(least[worst], most[worst], rtol=1e-3, atol=0):
        about = f"{(least[worst] + most[worst]) / 2:,.6g}"
    one = f"{names[worst]}: {what} told {value[worst]:,.6g}, reckoned {about} {unit}".rstrip()
    return broken(promise, f"{one}; {int((off > 0).sum()):,} of {len(names):,} so")


def first_wrong(promise: str, what: str, wrong: Sequence[str], count: int) -> Told:
    """``wrong``: what is amiss, in words, of ``count`` things looked at."""
    if not (wrong or count):
        return nothing(promise, what)
    if not wrong:
        return agrees(promise, f"{what}, {count:,} looked at")
    more = ""
    if len(wrong) > 1:
        more = f"; {len(wrong):,} of {count:,} so"
    return broken(promise, f"{wrong[0]}{more}")
