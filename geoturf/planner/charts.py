"""Charts as inline SVG: no script, no network; every mark has a title that a pointer or a reader
can ask for. Places are in the drawing's units, `_WIDTH` across, y downwards."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from markupsafe import Markup

from geoturf.planner.html import joined, tag

_WIDTH = 720
_HEIGHT = 300
_LEFT, _RIGHT, _TOP, _BOTTOM = 142, 56, 16, 46  # room for the names of billions beside the axes
_ROW = 15  # of a mark's name above the plot
_ACROSS = _WIDTH - _LEFT - _RIGHT
_UP = _HEIGHT - _TOP - _BOTTOM
_FOOT = _HEIGHT - _BOTTOM
Label = Callable[[float], str]


def ticks(most: float, least: float = 0.0, count: int = 5) -> list[float]:
    """Round steps from at most ``least`` to at least ``most``."""
    room = most - least
    if not room > 0 or not math.isfinite(room):
        return [least, least + 1.0]
    rough = room / count
    size = 10.0 ** math.floor(math.log10(rough))
    round_steps = [size * factor for factor in (1, 2, 2.5, 5, 10)]
    step = next(step for step in round_steps if step >= rough * (1 - 1e-9))
    first = math.floor(least / step + 1e-9)
    last = math.ceil(most / step - 1e-9)
    return [step * k for k in range(first, last + 1)]


def _x(value: float, most: float) -> float:
    return _LEFT + _ACROSS * value / most


def _y(value: float, most: float) -> float:
    return _FOOT - _UP * value / most


def _line(x1: float, y1: float, x2: float, y2: float, kind: str) -> Markup:
    ends = {
        "x1": x1,
        "y1": y1,
        "x2": x2,
        "y2": y2,
    }
    return tag("line", **{name: f"{place:.1f}" for name, place in ends.items()}, class_=kind)


def _text(x: float, y: float, text: str, anchor: str = "middle", kind: str = "label") -> Markup:
    return tag(
        "text",
        text,
        x=f"{x:.1f}",
        y=f"{y:.1f}",
        text_anchor=anchor,
        class_=kind,
    )


def _dot(x: float, y: float, said: str, radius: int, kind: str) -> Markup:
    centre = {"cx": f"{x:.1f}", "cy": f"{y:.1f}"}
    return tag(
        "circle",
        tag("title", said),
        **centre,
        r=str(radius),
        class_=kind,
    )


def _svg(title: str, *children: Markup, height: int = _HEIGHT, above: int = 0) -> Markup:
    """The drawing, with ``above`` of room over its usual top."""
    return tag(
        "svg",
        tag("title", title),
        *children,
        viewBox=f"0 {-above} {_WIDTH} {height + above}",
        role="img",
        aria_label=title,
        class_="chart",
    )


def _long(text: str) -> float:
    """At least the width of a text: 7.6 a letter holds for digits and words of 12 px type."""
    return 7.6 * len(text)


def _upright(steps: Sequence[float], label: Label, title: str) -> Markup:
    """The upright axis with its grid."""
    marks = []
    for step in steps:
        y = _y(step, steps[-1])
        grid = _line(_LEFT, y, _WIDTH - _RIGHT, y, "grid")
        marks += [grid, _text(_LEFT - 8, y + 4, label(step), "end")]
    turned = "translate(14 150) rotate(-90)"
    return joined(
        [
            *marks,
            tag(
                "text",
                title,
                x="0",
                y="0",
                transform=turned,
                class_="axis",
            ),
        ]
    )


class Flag(NamedTuple):
    """A mark at (``x``, ``y``) with its ``name`` above the plot, and what it says when asked."""

    name: str
    x: float
    y: float
    said: str


def curve(
    points: Sequence[tuple[float, float]],
    marks: Sequence[tuple[str, float, float]],
    x_label: Label,
    y_label: Label,
    titles: tuple[str, str, str],
) -> Markup:
    """A line through ``points`` with ``marks`` (word, x, y) on it. ``titles``: of the chart,
    across, upright."""
    xs = [x for x, _ in points] + [x for _, x, _ in marks]
    across = ticks(max(xs, default=1.0))
    upright = ticks(max((y for _, y in points), default=1.0))

    def at(x: float, y: float) -> tuple[float, float]:
        return _x(x, across[-1]), _y(y, upright[-1])

    path = " ".join("{:.1f},{:.1f}".format(*at(x, y)) for x, y in points)
    line = tag("polyline", points=path, class_="line")
    dots = [_dot(*at(x, y), f"{x_label(x)}: {y_label(y)}", 3, "dot") for x, y in points]
    flags = []
    for word, x, y in marks:
        up = y_label(y)
        flags.append(Flag(f"{word}: {up}", *at(x, y), f"{word}, {x_label(x)}: {up}"))
    named = _thinned(across, x_label)
    foot = [_text(_x(step, across[-1]), _FOOT + 18, word) for step, word in named]
    foot.append(_text((_LEFT + _WIDTH - _RIGHT) / 2, _HEIGHT - 8, titles[1], "middle", "axis"))
    drawn = [_upright(upright, y_label, titles[2]), *foot, line, *dots, *_flags(flags)]
    return _svg(titles[0], *drawn, above=_ROW * len(marks))


def _thinned(steps: Sequence[float], label: Label) -> list[tuple[float, str]]:
    """The steps of the axis across that are named: every one, or every second where they would run
    into one another."""
    words = [label(step) for step in steps]
    between = _ACROSS / max(1, len(steps) - 1)
    every = 1 if max(map(_long, words)) < between else 2
    return list(zip(steps, words, strict=True))[::every]


def _flags(flags: Sequence[Flag]) -> list[Markup]:
    """Each flag with a line that hangs from its name above the plot.

    Every name has a row of its own, and a line starts at its own row. Names to the right of their
    lines stand left to right from the top, names to the left of theirs right to left: so none lies
    across another's line.
    """
    rightward = all(flag.x + 4 + _long(flag.name) <= _WIDTH for flag in flags)
    in_rows = sorted(flags, key=lambda flag: flag.x, reverse=not rightward)
    shift, anchor = (4, "start") if rightward else (-4, "end")
    drawn = []
    for row, flag in enumerate(in_rows):
        top = _TOP - 4 - _ROW * (len(flags) - 1 - row)
        hung = _line(flag.x, top - 10, flag.x, _FOOT, "flag")
        name = _text(flag.x + shift, top, flag.name, anchor, "flagword")
        drawn.append(joined([hung, name, _dot(flag.x, flag.y, flag.said, 5, "mark")]))
    return drawn


def pairs(
    names: Sequence[str],
    before: Sequence[float],
    after: Sequence[float],
    label: Label,
    titles: tuple[str, str],
) -> Markup:
    """Two bars a name, before and after. ``titles``: of the chart, upright."""
    upright = ticks(max([*before, *after], default=1.0))
    step = _ACROSS / max(1, len(names))
    bars = []
    for k, name in enumerate(names):
        for shift, value, word in ((0.14, before[k], "before"), (0.5, after[k], "after")):
            said = f"{name}, {word}: {label(value)}"
            left = _LEFT + step * (k + shift)
            top = _y(value, upright[-1])
            bars.append(_bar(said, left, top, step * 0.36, word))
        bars.append(_text(_LEFT + step * (k + 0.5), _FOOT + 18, name))
    key = [*_key(_LEFT, "before"), *_key(_LEFT + 90, "after")]
    return _svg(titles[0], _upright(upright, label, titles[1]), *bars, *key)


def _bar(said: str, left: float, top: float, width: float, kind: str) -> Markup:
    """A bar that stands on the plot's foot."""
    return tag(
        "rect",
        tag("title", said),
        x=f"{left:.1f}",
        y=f"{top:.1f}",
        width=f"{width:.1f}",
        height=f"{max(0.0, _FOOT - top):.1f}",
        class_=kind,
    )


def _key(left: int, kind: str) -> tuple[Markup, Markup]:
    """A square of the colour of ``kind`` and its name."""
    square = tag(
        "rect",
        x=str(left),
        y=str(_HEIGHT - 18),
        width="12",
        height="12",
        class_=kind,
    )
    return square, _text(left + 18, _HEIGHT - 8, kind, "start")


def spans(
    rows: Sequence[tuple[str, float, float]],
    middle: float,
    label: Label,
    titles: tuple[str, str],
    mark: str,
) -> Markup:
    """One bar a row from low to high (word, value at the input's low end, at its high end) about
    the ``middle`` value, which ``mark`` names. ``titles``: of the chart, across."""
    ends = [middle, *(value for _, *both in rows for value in both)]
    steps = ticks(max(ends), min(ends), 4)
    left = 170
    right = _WIDTH - 60
    top = 24
    foot = top + 26 * len(rows)

    def at(value: float) -> float:
        return left + (right - left) * (value - steps[0]) / (steps[-1] - steps[0])

    drawn = []
    for step in steps:
        drawn.append(_line(at(step), top, at(step), foot, "grid"))
        drawn.append(_text(at(step), foot + 18, f"{step:,.0f}"))
    for k, (word, low_end, high_end) in enumerate(rows):
        y = top + 4 + 26 * k
        said = f"{word}: {label(low_end)} at its low, {label(high_end)} at its high"
        drawn.append(_text(left - 12, y + 13, word, "end"))
        drawn.append(_span(said, at(low_end), at(high_end), y))
    drawn.append(_line(at(middle), top - 4, at(middle), foot, "flag"))
    named = f"{mark}: {label(middle)}"
    half = _long(named) / 2
    inside = min(max(at(middle), half), _WIDTH - half)
    drawn.append(_text(inside, top - 8, named, "middle", "flagword"))
    drawn.append(_text((left + right) / 2, foot + 38, titles[1], "middle", "axis"))
    return _svg(titles[0], *drawn, height=foot + 46)


def _span(said: str, one_end: float, other_end: float, y: int) -> Markup:
    """A bar between two places across, wide enough to be seen."""
    return tag(
        "rect",
        tag("title", said),
        x=f"{min(one_end, other_end):.1f}",
        y=str(y),
        width=f"{max(1.5, abs(other_end - one_end)):.1f}",
        height="18",
        class_="span",
    )
