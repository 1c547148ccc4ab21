"""The texts of a drawing, each at its place in millimetres of the page, so that nothing of them is
left to lay out in print: that took most of its time.

Texts of one style go together. What runs up the page is told as it lies once the page is turned to
the right: there a point (x, y) of the page is (-y, x).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from geoturf.papers.crew.to_scale import Box
from geoturf.papers.letters import CAP, PT_MM, wide_mm

_INSET_MM = 0.4 * PT_MM  # by which the white behind a text reaches over it
_LEADING = 0.28  # between lines of a label, in their size
_BESIDE_MM, _BELOW_MM = 0.8, 0.7  # from a number to what stands beside or below it
_OFF_MM = 2.6  # from a point on the border to the middle of its name
_IN_MM = 0.5  # from a frame to its name: less than from there to turf, which stays in sight
_RIM_MM = 8.6  # where dimensions at the rims end


class Style(NamedTuple):
    """As `drawing.typ` has it."""

    size_pt: float
    bold: bool = False

    def wide(self, text: str) -> float:
        return wide_mm(text, self.size_pt, self.bold)

    @property
    def high(self) -> float:
        """Of its capitals, mm."""
        return CAP * self.size_pt * PT_MM


STYLES = {
    "number": Style(9.0, bold=True),
    "size": Style(6.5),
    "name": Style(8.0, bold=True),
    "detail": Style(7.0),
    "title": Style(8.5, bold=True),
    "scale": Style(7.5),
}


class Layer:
    """Texts over white, which hides what is below them."""

    def __init__(self) -> None:
        self.backs: list[Box] = []
        self.words: dict[str, list[list[Any]]] = {}
        self.turned: dict[str, list[list[Any]]] = {}

    def told(self) -> dict[str, Any]:
        backs = [_rounded(box) for box in self.backs]
        return {"backs": backs, "words": [*self.words.items()], "turned": [*self.turned.items()]}

    def write(
        self,
        style: str,
        text: str,
        x: float,
        y: float,
        lean: float = 0.5,
        turned: bool = False,
    ) -> Box:
        """A text whose middle is at y, and its beginning, middle or end at x, by ``lean``. Gives
        its box on the (turned) page."""
        wide = STYLES[style].wide(text)
        high = STYLES[style].high
        left = x - lean * wide
        top = y - high / 2
        to = self.turned if turned else self.words
        to.setdefault(style, []).append([*_rounded((left, top)), text])
        return left, top, left + wide, top + high

    def back(self, box: Box, turned: bool = False) -> None:
        x0, y0, x1, y1 = box
        grown = (x0 - _INSET_MM, y0 - _INSET_MM, x1 + _INSET_MM, y1 + _INSET_MM)
        if turned:
            left, top, right, bottom = grown
            grown = (top, -right, bottom, -left)
        self.backs.append(grown)


def layers(drawn: dict[str, Any]) -> list[dict[str, Any]]:
    """Of a drawing as `drawing.drawn` gives it, the lowest first: dimensions at the rims, labels of
    pieces, names of points and of details."""
    dims = Layer()
    for dim in drawn["dims"]:
        if dim["rim"] == "top":
            dims.write("size", dim["text"], -_RIM_MM, dim["place"], 0.0, turned=True)
        else:
            dims.write("size", dim["text"], _RIM_MM, dim["place"], 1.0)
    labels = Layer()
    for one in drawn["labels"]:
        _label(labels, one)
    names = Layer()
    for point in (*drawn["corners"], *drawn["marks"]):
        a, b = point["side"]
        x, y = point["x"] + _OFF_MM * a, point["y"] + _OFF_MM * b
        names.back(names.write("name", point["name"], x, y))
    taken = [*labels.backs, *names.backs]
    for frame in drawn["details"]:
        box = _named(names, frame, taken)
        names.back(box)
        taken.append(box)
    return [layer.told() for layer in (dims, labels, names)]


def _label(layer: Layer, one: dict[str, Any]) -> None:
    """A piece's number with its lines beside it, or below it where it stands above them."""
    turned = one["turned"]
    x, y = (-one["y"], one["x"]) if turned else (one["x"], one["y"])
    number = STYLES["number"]
    small = STYLES["size"]
    lines = one["lines"]
    line_mm = small.high + _LEADING * small.size_pt * PT_MM
    rows_mm = small.high + line_mm * (len(lines) - 1) if lines else 0.0
    text_mm = max(map(small.wide, lines), default=0.0)
    number_mm = number.wide(one["number"])
    if not lines:
        boxes = [layer.write("number", one["number"], x, y, turned=turned)]
    elif one["above"]:
        top = y - (number.high + _BELOW_MM + rows_mm) / 2
        boxes = [layer.write("number", one["number"], x, top + number.high / 2, turned=turned)]
        middle = top + number.high + _BELOW_MM + small.high / 2
        boxes += _lines(layer, lines, (x, middle), line_mm, 0.5, turned)
    else:
        left = x - (number_mm + _BESIDE_MM + text_mm) / 2
        boxes = [layer.write("number", one["number"], left, y, 0.0, turned)]
        start = (left + number_mm + _BESIDE_MM, y - (rows_mm - small.high) / 2)
        boxes += _lines(layer, lines, start, line_mm, 0.0, turned)
    layer.back(_about(boxes), turned)


def _lines(
    layer: Layer,
    lines: Sequence[str],
    start: tuple[float, float],
    line_mm: float,
    lean: float,
    turned: bool,
) -> list[Box]:
    x, y = start
    return [
        layer.write("size", line, x, y + k * line_mm, lean, turned) for k, line in enumerate(lines)
    ]


def _named(layer: Layer, frame: dict[str, Any], taken: Iterable[Box]) -> Box:
    """Writes a detail's name in a corner of its frame, or outside of one, where it touches no other
    text: of what is drawn there only lines."""
    text = f"detail {frame['name']}"
    style = STYLES["detail"]
    wide = style.wide(text)
    lefts = (frame["x"] + _IN_MM, frame["x"] + frame["width"] - _IN_MM - wide)
    inner, outer = style.high / 2 + _IN_MM, -style.high / 2 - _IN_MM
    bottom = frame["y"] + frame["height"]
    rows = (frame["y"] + inner, bottom - inner, frame["y"] + outer, bottom - outer)
    places = [(left, row) for row in rows for left in lefts]
    free = (at for at in places if not _touches((*at, at[0] + wide), style.high, taken))
    left, row = next(free, places[0])
    return layer.write("detail", text, left, row, 0.0)


def _touches(line: tuple[float, float, float], high: float, boxes: Iterable[Box]) -> bool:
    left, row, right = line
    top, bottom = row - high / 2, row + high / 2
    return any(left < x1 and x0 < right and top < y1 and y0 < bottom for x0, y0, x1, y1 in boxes)


def _about(boxes: Sequence[Box]) -> Box:
    x0, y0, x1, y1 = zip(*boxes, strict=True)
    return min(x0), min(y0), max(x1), max(y1)


def _rounded(values: Iterable[float]) -> list[float]:
    """To a hundredth of a millimetre: finer than ink."""
    return [round(value, 2) for value in values]
