"""How wide a text is on paper, by the very font that it is printed with."""

from __future__ import annotations

from functools import cache, lru_cache

from geoturf.papers import press
from geoturf.units import INCH_M

PT_MM = INCH_M * 1e3 / 72
CAP = 0.658  # height of a capital in its size; the bold face's is a fiftieth less
_OTHER = 1.0  # the width of letters that the font does not have, in their size


@lru_cache(maxsize=1 << 16)
def wide_mm(text: str, size_pt: float, bold: bool = False) -> float:
    """Width of a text of one line, without kerning: digits and capitals have next to none."""
    widths = _widths(bold)
    return sum(widths.get(letter, _OTHER) for letter in text) * size_pt * PT_MM


def shortened(text: str, most_mm: float, size_pt: float, bold: bool = False) -> str:
    """A text that takes at most ``most_mm``: of a longer one its beginning and its end."""
    if wide_mm(text, size_pt, bold) <= most_mm:
        return text
    for kept in range(len(text) - 1, 1, -1):
        head = (kept + 1) // 2
        short = f"{text[:head].rstrip()}…{text[head - kept :].lstrip()}"
        if wide_mm(short, size_pt, bold) <= most_mm:
            return short
    return "…"


@cache
def _widths(bold: bool) -> dict[str, float]:
    return {chr(code): (heavy if bold else plain) / 1e3 for code, plain, heavy in press.letters()}
