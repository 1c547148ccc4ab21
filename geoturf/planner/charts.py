"""Charts as inline SVG: no script, no network; every mark has a title that a pointer or a reader can ask for."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from geoturf.planner.html import Markup, joined, tag

_WIDTH, _HEIGHT = 720, 300
_LEFT, _RIGHT, _TOP, _BOTTOM = 142, 56, 16, 46  # room for the names of billions beside the axes
_ROW = 15  # of a mark's name above the plot
Label = Callable[[float], str]


def ticks(most: float, least: float = 0.0, count: int = 5) -> list[float]:
    """Round steps from at most ``least`` to at least ``most``."""
    room = most - least
    if not room > 0 or not math.isfinite(room):
        return [least, least + 1.0]
    rough = room / count
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(size * factor for factor in (1, 2, 2.5, 5, 10) if size * factor >= rough * (1 - 1e-9))
    return [step * k for k in range(math.floor(least / step + 1e-9), math.ceil(most / step - 1e-9) + 1)]


def _x(value: float, most: float) -> float:
    return _LEFT + (_WIDTH - _LEFT - _RIGHT) * value / most


def _y(value: float, most: float) -> float:
    return _HEIGHT - _BOTTOM - (_HEIGHT - _TOP - _BOTTOM) * value / most


def _line(x1: float, y1: float, x2: float, y2: float, kind: str) -> Markup:
    return tag("line", x1=f"{x1:.1f}", y1=f"{y1:.1f}", x2=f"{x2:.1f}", y2=f"{y2:.1f}", class_=kind)


def _text(x: float, y: float, text: str, anchor: str = "middle", kind: str = "label") -> Markup:
    return tag("text", text, x=f"{x:.1f}", y=f"{y:.1f}", text_anchor=anchor, class_=kind)


def _svg(title: str, *children: Markup, height: int = _HEIGHT, above: int = 0) -> Markup:
    """The drawing, with ``above`` of room over its usual top; where the page is narrow it scrolls, as tables do."""
    drawn = tag(
        "svg",
        tag("title", title),
        *children,
        viewBox=f"0 {-above} {_WIDTH} {height + above}",
        role="img",
        aria_label=title,
        class_="chart",
    )
    return tag("div", drawn, class_="wide")


def _long(text: str) -> float:
    """At least the width of a text, in the drawing's units: 7.6 a letter holds for digits and words of 12 px type."""
    return 7.6 * len(text)


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
    places = [(word, _x(x, across[-1]), _y(y, upright[-1]), x_label(x), y_label(y)) for word, x, y in marks]
    foot = [_text(_x(step, across[-1]), _HEIGHT - _BOTTOM + 18, word) for step, word in _thinned(across, x_label)]
    foot.append(_text((_LEFT + _WIDTH - _RIGHT) / 2, _HEIGHT - 8, titles[1], "middle", "axis"))
    line = tag("polyline", points=path, class_="line")
    drawn = [_upright(upright, y_label, titles[2]), *foot, line, *dots, *_flags(places)]
    return _svg(titles[0], *drawn, above=_ROW * len(marks))


def _thinned(steps: Sequence[float], label: Label) -> list[tuple[float, str]]:
    """The steps of the axis across that are named: every one, or every second where they would run into one another."""
    words = [label(step) for step in steps]
    between = (_WIDTH - _LEFT - _RIGHT) / max(1, len(steps) - 1)
    every = 1 if max(map(_long, words)) < between else 2
    return list(zip(steps, words, strict=True))[::every]


def _flags(places: Sequence[tuple[str, float, float, str, str]]) -> list[Markup]:
    """Marks (word, x, y, value across, value upright), each with a line that hangs from its name above the plot.

    Every name has a row of its own, and a line starts at its own row. Names to the right of their lines stand left to right
    from the top, names to the left of theirs right to left: so none lies across another's line.
    """
    named = [(f"{word}: {up}", *place, f"{word}, {over}: {up}") for word, *place, over, up in places]
    rightward = all(x + 4 + _long(name) <= _WIDTH for name, x, _, _ in named)
    named.sort(key=lambda mark: mark[1], reverse=not rightward)
    shift, anchor = (4, "start") if rightward else (-4, "end")
    flags = []
    for row, (name, x, y, said) in enumerate(named):
        top = _TOP - 4 - _ROW * (len(named) - 1 - row)
        dot = tag("circle", tag("title", said), cx=f"{x:.1f}", cy=f"{y:.1f}", r="5", class_="mark")
        hung = _line(x, top - 10, x, _HEIGHT - _BOTTOM, "flag")
        flags.append(joined([hung, _text(x + shift, top, name, anchor, "flagword"), dot]))
    return flags


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


def spans(
    rows: Sequence[tuple[str, float, float]], middle: float, label: Label, titles: tuple[str, str], mark: str
) -> Markup:
    """One bar a row from low to high (word, value at the input's low end, at its high end) about the ``middle`` value, which
    ``mark`` names. ``titles``: of the chart, across."""
    ends = [middle, *(value for _, *both in rows for value in both)]
    steps = ticks(max(ends), min(ends), 4)
    left, right, top = 170, _WIDTH - 60, 24
    foot = top + 26 * len(rows)

    def at(value: float) -> float:
        return left + (right - left) * (value - steps[0]) / (steps[-1] - steps[0])

    drawn = [joined([_line(at(v), top, at(v), foot, "grid"), _text(at(v), foot + 18, f"{v:,.0f}")]) for v in steps]
    for k, (word, low_end, high_end) in enumerate(rows):
        y = top + 4 + 26 * k
        a, b = sorted((at(low_end), at(high_end)))
        drawn.append(_text(left - 12, y + 13, word, "end"))
        drawn.append(
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
    drawn.append(_line(at(middle), top - 4, at(middle), foot, "flag"))
    named = f"{mark}: {label(middle)}"
    inside = min(max(at(middle), _long(named) / 2), _WIDTH - _long(named) / 2)
    drawn.append(_text(inside, top - 8, named, "middle", "flagword"))
    drawn.append(_text((left + right) / 2, foot + 38, titles[1], "middle", "axis"))
    return _svg(titles[0], *drawn, height=foot + 46)
