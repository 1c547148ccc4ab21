"""What areas can be coloured by: words (product, phase, what was chosen) or classes of a number (waste, price, saving).

The colours are our own. The words' eight were sought by a random climb for the largest least CIELAB distance between any two,
and to the paper, in full colour vision and under simulated protanopia, deuteranopia (both Machado, Oliveira and Fernandes
2009) and tritanopia, with dark text on each at a contrast of 4.5 or more. The classes' five fall in lightness from each to the
next, so that they keep their order in any vision and in grey print.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from geoturf.maps.encode import ints

PAPER, INK = "#f6f3eb", "#1e2a28"
WORDS = ("#7aaa78", "#eddb7b", "#a3ccf5", "#e2a7b9", "#429de8", "#ab9647", "#9c87b2", "#c8f5b5")
CLASSES = ("#f5e9bf", "#cfdba0", "#a3cea2", "#7cb9b2", "#6c9fc4")
OTHER = "#c9c6bd"  # further words, and areas that have no value


def by_words(key: str, label: str, values: Any, none: str = "none given") -> dict[str, Any]:
    """A colouring by a text column (n,). The most frequent words get a colour of their own, the rest share one."""
    texts = np.array([str(value).strip() or none for value in values], dtype=object)
    words, code, count = np.unique(texts.astype(str), return_inverse=True, return_counts=True)
    order = sorted(range(len(words)), key=lambda k: (-count[k], words[k]))
    own = (
        sorted(order[: len(WORDS)], key=lambda k: words[k])
        if len(words) > len(WORDS)
        else sorted(order, key=lambda k: words[k])
    )
    place = np.full(len(words), len(own))
    place[own] = np.arange(len(own))
    entries = [_entry(words[k], WORDS[j], count[k]) for j, k in enumerate(own)]
    if len(words) > len(own):
        rest = [k for k in order if k not in set(own)]
        entries.append(_entry(f"{len(rest)} others", OTHER, int(count[rest].sum())))
    return {"key": key, "label": label, "entries": entries, "codes": ints(place[code])}


def by_classes(
    key: str, label: str, values: Any, unit: str = "", digits: int = 1, none: str = "no value"
) -> dict[str, Any]:
    """A colouring by a number column (n,), NaN where an area has none: up to five classes of about equal count."""
    numbers = np.round(np.asarray(values, dtype=float), digits)
    known = np.isfinite(numbers)
    breaks = _breaks(numbers[known])
    code = np.searchsorted(breaks, np.where(known, numbers, -np.inf), side="right")
    colours = _spread(len(breaks) + 1)
    entries = [
        _entry(text, colour, int(np.sum(known & (code == k))))
        for k, (text, colour) in enumerate(zip(_spans(numbers[known], breaks, unit, digits), colours, strict=True))
    ]
    if not known.all():
        code[~known] = len(entries)
        entries.append(_entry(none, OTHER, int(np.sum(~known))))
    return {"key": key, "label": label, "entries": entries, "codes": ints(code)}


def _entry(label: str, colour: str, count: int) -> dict[str, Any]:
    return {"label": str(label), "colour": colour, "count": int(count)}


def _breaks(numbers: np.ndarray) -> np.ndarray:
    """Up to four values that part the numbers into classes of about equal count, none empty."""
    if not len(numbers):
        return np.zeros(0)
    shares = np.arange(1, len(CLASSES)) / len(CLASSES)
    breaks = np.unique(np.quantile(numbers, shares, method="higher"))
    return breaks[breaks > numbers.min()]


def _spans(numbers: np.ndarray, breaks: np.ndarray, unit: str, digits: int) -> list[str]:
    if not len(numbers):
        return ["none"]
    texts = [f"{value:,.{digits}f}" for value in (numbers.min(), *breaks, numbers.max())]
    unit = f" {unit}" if unit else ""
    if len(texts) == 2:
        return [texts[0] + unit if texts[0] == texts[1] else f"{texts[0]} to {texts[1]}{unit}"]
    below = [f"{low} to under {high}{unit}" for low, high in pairwise(texts[:-1])]
    return [*below, f"{texts[-2]} to {texts[-1]}{unit}" if texts[-2] != texts[-1] else texts[-1] + unit]


def _spread(count: int) -> list[str]:
    """``count`` of the classes' colours, from first to last."""
    if count == 1:
        return [CLASSES[len(CLASSES) // 2]]
    return [CLASSES[round(k * (len(CLASSES) - 1) / (count - 1))] for k in range(count)]
