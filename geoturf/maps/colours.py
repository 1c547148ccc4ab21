"""What areas can be coloured by: words (product, phase, what was chosen) or classes of a number
(waste, price, saving).

The colours are our own. The words' eight were sought by a random climb for the largest least
CIELAB distance between any two, and to the paper, in full colour vision and under simulated
protanopia, deuteranopia (both Machado, Oliveira and Fernandes 2009) and tritanopia, with dark text
on each at a contrast of 4.5 or more. The classes' five fall in lightness from each to the next, so
that they keep their order in any vision and in grey print.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any, SupportsInt

import numpy as np

from geoturf.maps.encode import ints

PAPER = "#f6f3eb"
INK = "#1e2a28"
WORDS = ("#7aaa78", "#eddb7b", "#a3ccf5", "#e2a7b9", "#429de8", "#ab9647", "#9c87b2", "#c8f5b5")
CLASSES = ("#f5e9bf", "#cfdba0", "#a3cea2", "#7cb9b2", "#6c9fc4")
OTHER = "#c9c6bd"  # further words, and areas that have no value


def by_words(key: str, label: str, values: Any, none: str = "none given") -> dict[str, Any]:
    """A colouring by a text column (n,). The most frequent words get a colour of their own, the
    rest share one."""
    texts = np.array([str(value).strip() or none for value in values], dtype=object)
    words, code, count = np.unique(texts.astype(str), return_inverse=True, return_counts=True)
    most_first = sorted(range(len(words)), key=lambda k: (-count[k], words[k]))
    own = sorted(most_first[: len(WORDS)], key=lambda k: words[k])
    rest = most_first[len(WORDS) :]
    place = np.full(len(words), len(own))
    place[own] = np.arange(len(own))
    coloured = zip(own, WORDS, strict=False)
    entries = [_entry(words[k], colour, count[k]) for k, colour in coloured]
    if rest:
        entries.append(_entry(f"{len(rest)} others", OTHER, count[rest].sum()))
    return {
        "key": key,
        "label": label,
        "entries": entries,
        "codes": ints(place[code]),
    }


def by_classes(
    key: str, label: str, values: Any, unit: str = "", digits: int = 1, none: str = "no value"
) -> dict[str, Any]:
    """A colouring by a number column (n,), NaN where an area has none: up to five classes of about
    equal count."""
    numbers = np.round(np.asarray(values, dtype=float), digits)
    known = np.isfinite(numbers)
    breaks = _breaks(numbers[known])
    code = np.searchsorted(breaks, np.where(known, numbers, -np.inf), side="right")
    spans = _spans(numbers[known], breaks, unit, digits)
    count = np.bincount(code[known], minlength=len(spans))
    classes = zip(spans, _spread(len(spans)), count, strict=True)
    entries = [_entry(*of_class) for of_class in classes]
    if not known.all():
        code[~known] = len(entries)
        entries.append(_entry(none, OTHER, np.sum(~known)))
    return {
        "key": key,
        "label": label,
        "entries": entries,
        "codes": ints(code),
    }


def _entry(label: str, colour: str, count: SupportsInt) -> dict[str, Any]:
    return {
        "label": str(label),
        "colour": colour,
        "count": int(count),
    }


def _breaks(numbers: np.ndarray) -> np.ndarray:
    """Up to four values that part the numbers into classes of about equal count, none empty."""
    if not len(numbers):
        return np.zeros(0)
    shares = np.arange(1, len(CLASSES)) / len(CLASSES)
    breaks = np.unique(np.quantile(numbers, shares, method="higher"))
    parting: np.ndarray = breaks[breaks > numbers.min()]
    return parting


def _spans(numbers: np.ndarray, breaks: np.ndarray, unit: str, digits: int) -> list[str]:
    if not len(numbers):
        return ["none"]
    ends = (numbers.min(), *breaks, numbers.max())
    texts = [f"{value:,.{digits}f}" for value in ends]
    behind = f" {unit}" if unit else ""
    below = [f"{low} to under {high}{behind}" for low, high in pairwise(texts[:-1])]
    low, high = texts[-2:]
    last = high if low == high else f"{low} to {high}"
    return [*below, f"{last}{behind}"]


def _spread(count: int) -> list[str]:
    """``count`` of the classes' colours, from first to last."""
    if count == 1:
        return [CLASSES[len(CLASSES) // 2]]
    step = (len(CLASSES) - 1) / (count - 1)
    return [CLASSES[round(k * step)] for k in range(count)]
