"""What stands above a drawing: what it is of, its scale as words and as a bar, north and pile."""

from __future__ import annotations

from typing import Any

import numpy as np

from geoturf.papers.crew.lettering import STYLES, Layer
from geoturf.papers.letters import shortened

_HIGH_MM = 10.0  # as `drawing.typ` has it
_TITLE_MM, _SCALE_MM, _BAR_MM = 2.2, 7.2, 6.0  # where they stand, from above
_GAP_MM = 3.0
_ARROW_MM = 9.0  # of an arrow's place, and its shape there, pointing up
_ARROW = np.array(
    [(4.5, 0.2), (5.7, 3.4), (4.8, 3.4), (4.8, 8.8), (4.2, 8.8), (4.2, 3.4), (3.3, 3.4)]
)


def head(title: str, drawn: dict[str, Any], wide_mm: float) -> dict[str, Any]:
    """Of a drawing that has ``wide_mm`` for it. A title that is longer than what arrows leave of
    that is shortened: it stands in full at the area's list."""
    layer = Layer()
    arrows = [(drawn["pile"], "pile")]
    if drawn["north"] is not None:
        arrows.insert(0, (drawn["north"], "N"))
    names_mm = [STYLES["name"].wide(name) for _, name in arrows]
    room = wide_mm - sum(_GAP_MM + _ARROW_MM + one for one in names_mm)
    bar_mm, said = drawn["bar"]
    title_style = STYLES["title"]
    title = shortened(title, room, title_style.size_pt, title_style.bold)
    ends = [layer.write("title", title, 0.0, _TITLE_MM, 0.0)[2]]
    bar_at = layer.write("scale", drawn["scale"], 0.0, _SCALE_MM, 0.0)[2] + _GAP_MM
    ends.append(bar_at + bar_mm)
    layer.write("size", "0", bar_at, _BAR_MM + 2.4, 0.0)
    layer.write("size", said, bar_at + bar_mm, _BAR_MM + 2.4, 1.0)
    x = min(max(ends), room) + _GAP_MM
    shapes = []
    for (angle, name), name_mm in zip(arrows, names_mm, strict=True):
        shapes.append(_arrow(angle, x))
        layer.write("name", name, x + _ARROW_MM, _HIGH_MM / 2, 0.0)
        x += _ARROW_MM + name_mm + _GAP_MM
    return {
        "width": round(wide_mm, 2),
        "bar": [round(bar_at, 2), _BAR_MM, round(bar_mm / 4, 3)],
        "arrows": shapes,
        "words": layer.told()["words"],
    }


def _arrow(angle_deg: float, x: float) -> list[list[float]]:
    """An arrow's points, turned to the right from up the page."""
    angle = np.radians(angle_deg)
    turn = np.array([(np.cos(angle), np.sin(angle)), (-np.sin(angle), np.cos(angle))])
    middle = _ARROW_MM / 2
    points = (_ARROW - middle) @ turn + (x + middle, _HIGH_MM / 2)
    out: list[list[float]] = np.round(points, 2).tolist()
    return out
