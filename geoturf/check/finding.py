"""How a broken promise is said."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from geoturf.model import Finding, Result


def told(code: str, wrong: np.ndarray, say: Callable[[int], str]) -> list[Finding]:
    """One finding for all rows that are ``wrong`` (bool), in the words ``say`` has for the first of them."""
    rows = np.flatnonzero(wrong)
    if not len(rows):
        return []
    more = f" (and {len(rows) - 1} more)" if len(rows) > 1 else ""
    message = f"{say(int(rows[0]))}{more}; this is a fault of geoturf: please report it"
    return [Finding("error", code, message)]


def area_name(result: Result, row: int) -> str:
    """``site 12, area front``."""
    area = result.ground.areas.iloc[row]
    return f"site {area['site']}, area {area['area']}" if area["area"] else f"site {area['site']}"
