"""How a broken promise is said."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from geoturf.model import Finding, Result


def told(code: str, wrong: NDArray[np.bool_], say: Callable[[int], str]) -> list[Finding]:
    """One finding for all rows that are ``wrong`` (bool), in the words ``say`` has for the first of
    them."""
    rows = np.flatnonzero(wrong)
    if not len(rows):
        return []
    more = ""
    if len(rows) > 1:
        more = f" (and {len(rows) - 1} more)"
    message = f"{say(int(rows[0]))}{more}; this is a fault of geoturf: please report it"
    return [Finding("error", code, message)]


def always(words: str) -> Callable[[int], str]:
    """The same words whichever row it is."""
    return lambda row: words


def is_not(name: Callable[[int], str], column: str, wanted: NDArray[Any]) -> Callable[[int], str]:
    """That the ``column`` of the row called ``name`` is not what is ``wanted`` of it."""
    return lambda row: f"{name(row)}: {column} is not {wanted[row]:.6g}"


def area_name(result: Result, row: int) -> str:
    """``site 12, area front``."""
    area = result.ground.areas.iloc[row]
    if area["area"]:
        return f"site {area['site']}, area {area['area']}"
    return f"site {area['site']}"
