"""Charts as inline SVG: no script, no network; every mark has a title that a pointer or a reader can ask for."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from geoturf.planner.html import Markup, joined, tag

_WIDTH, _HEIGHT = 720, 300
_LEFT, _RIGHT, _TOP, _BOTTOM = 116, 46, 16, 46
Label = Callable[[float], str]


def ticks(most: float, count: int = 5) -> list[float]:
    """Round steps from 0 to at least ``most``."""
    if not most > 0 or not math.isfinite(most):
        return [0.0, 1.0]
    rough = most / count
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(size * factor for factor in (1, 2, 2.5, 5, 10) if size * factor >= rough * (1 - 1e-9))
    return [step * k for k in range(math.ceil(most / step - 1e-9) + 1)]


def _x(value: float, most: float) -> float:
    return _LEFT + (_WIDTH - _LEFT - _RIGHT) * value / most


def _y(value: float, most: float) -> float:
    return _HEIGHT - _BOTTOM - (_HEIGHT - _TOP - _BOTTOM) * value / most


def _line(x1: float, y1: float, x2: float, y2: float, kind: str) -> Markup:
    return tag("line", x1=f"{x1:.1f}", y1=f"{y1:.1f}", x2=f"{x2:.1f}", y2=f"{y2:.1f}", class_=kind)


def _text(x: float, y: float, text: str, anchor: str = "middle", kind: str = "label") -> Markup:
    return tag("text", text, x=f"{x:.1f}", y=f"{y:.1f}", text_anchor=anchor, class_=kind)


def _svg(title: str, *children: Markup, height: int = _HEIGHT) -> Markup:
    return tag(
        "svg",
        tag("title", title),
        *children,
        viewBox=f"0 0 {_WIDTH} {height}",
        role="img",
        aria_label=title,
        class_="chart",
    )


def _upright(steps: Sequence[float], label: Label, title: str) -> Markup:
    """The upright axis with its grid."""
    marks = [
        joined(
            [
                _line(_LEFT, _y(step, steps[-1]), _WIDTH - _RIGHT, _y(step, steps[-1]), "grid"),
                _text(_LEFT - 8, _y(step, steps[-1]) + 4, label(step), "end"),
            ]
        )
        for step in steps
    ]
    return joined([*marks, tag("text", title, x="0", y="0", transform="translate(14 150) rotate(-90)", class_="axis")])


def curve(
    points: Sequence[tuple[float, float]],
    marks: Sequence[tuple[str, float, float]],
    x_label: Label,
    y_label: Label,
    titles: tuple[str, str, str],
) -> Markup:
    """A line through ``points`` with ``marks`` (word, x, y) on it. ``titles``: of the chart, across, upright."""
    across = ticks(max((x for x, _ in [*points, *((x, y) for _, x, y in marks)]), default=1.0))
    upright = ticks(max((y for _, y in points), default=1.0))
    path = " ".join(f"{_x(x, across[-1]):.1f},{_y(y, upright[-1]):.1f}" for x, y in points)
    dots = [
        tag(
            "circle",
            tag("title", f"{x_label(x)}: {y_label(y)}"),
            cx=f"{_x(x, across[-1]):.1f}",
            cy=f"{_y(y, upright[-1]):.1f}",
            r="3",
            class_="dot",
        )
        for x, y in points
    ]
    flags = [
        joined(
            [
                _line(_x(x, across[-1]), _TOP, _x(x, across[-1]), _HEIGHT - _BOTTOM, "flag"),
                _text(_x(x, across[-1]) + 4, _TOP + 12 + 14 * k, f"{word}: {y_label(y)}", "start", "flagword"),
                tag(
                    "circle",
                    tag("title", f"{word}, {x_label(x)}: {y_label(y)}"),
                    cx=f"{_x(x, across[-1]):.1f}",
                    cy=f"{_y(y, upright[-1]):.1f}",
                    r="5",
                    class_="mark",
                ),
            ]
        )
        for k, (word, x, y) in enumerate(marks)
    ]
    foot = [_text(_x(step, across[-1]), _HEIGHT - _BOTTOM + 18, x_label(step)) for step in across]
    foot.append(_text((_LEFT + _WIDTH - _RIGHT) / 2, _HEIGHT - 8, titles[1], "middle", "axis"))
    line = tag("polyline", points=path, class_="line")
    return _svg(titles[0], _upright(upright, y_label, titles[2]), *foot, line, *dots, *flags)


def pairs(
    names: Sequence[str], before: Sequence[float], after: Sequence[float], label: Label, titles: tuple[str, str]
) -> Markup:
    """Two bars a name, before and after. ``titles``: of the chart, upright."""
    upright = ticks(max([*before, *after], default=1.0))
    step = (_WIDTH - _LEFT - _RIGHT) / max(1, len(names))
    bars = []
    for k, name in enumerate(names):
        for shift, value, kind, word in ((0.14, before[k], "before", "before"), (0.5, after[k], "after", "after")):
            top = _y(value, upright[-1])
            bars.append(
                tag(
                    "rect",
                    tag("title", f"{name}, {word}: {label(value)}"),
                    x=f"{_LEFT + step * (k + shift):.1f}",
                    y=f"{top:.1f}",
                    width=f"{step * 0.36:.1f}",
                    height=f"{max(0.0, _HEIGHT - _BOTTOM - top):.1f}",
                    class_=kind,
                )
            )
        bars.append(_text(_LEFT + step * (k + 0.5), _HEIGHT - _BOTTOM + 18, name))
    key = [
        tag("rect", x=str(_LEFT), y=str(_HEIGHT - 18), width="12", height="12", class_="before"),
        _text(_LEFT + 18, _HEIGHT - 8, "before", "start"),
        tag("rect", x=str(_LEFT + 90), y=str(_HEIGHT - 18), width="12", height="12", class_="after"),
        _text(_LEFT + 108, _HEIGHT - 8, "after", "start"),
    ]
    return _svg(titles[0], _upright(upright, label, titles[1]), *bars, *key)


def spans(rows: Sequence[tuple[str, float, float]], middle: float, label: Label, title: str) -> Markup:
    """One bar a row from low to high (word, value at the input's low end, at its high end) about the ``middle``
    value."""
    height = 40 + 26 * len(rows) + 20
    low = min([middle, *(min(a, b) for _, a, b in rows)])
    high = max([middle, *(max(a, b) for _, a, b in rows)])
    room = (high - low) or 1.0
    left, right = 170, _WIDTH - 100

    def at(value: float) -> float:
        return left + (right - left) * (value - low) / room

    marks = [_line(at(middle), 14, at(middle), height - 24, "flag"), _text(at(middle), height - 8, label(middle))]
    for k, (word, low_end, high_end) in enumerate(rows):
        y = 20 + 26 * k
        a, b = sorted((at(low_end), at(high_end)))
        marks.append(_text(left - 12, y + 13, word, "end"))
        marks.append(
            tag(
                "rect",
                tag("title", f"{word}: {label(low_end)} at its low, {label(high_end)} at its high"),
                x=f"{a:.1f}",
                y=str(y),
                width=f"{max(1.5, b - a):.1f}",
                height="18",
                class_="span",
            )
        )
    return _svg(title, *marks, height=height)
