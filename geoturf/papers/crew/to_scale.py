"""From an area's pile coordinates to millimetres of the page: scales, and what a drawing shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from geoturf import plane
from geoturf.units import FOOT_M, INCH_M, System

Points = NDArray[np.float64]
Box = tuple[float, float, float, float]

_MM = 1e3  # in a metre
#: feet an inch, and metres a metre: scales that a rule is divided in
_US_SCALES = (
    2,
    3,
    4,
    5,
    6,
    8,
    10,
    12,
    16,
    20,
    30,
    40,
    50,
    60,
    80,
    100,
    150,
    200,
    300,
    400,
    600,
    800,
    1000,
)
_METRIC_SCALES = (25, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000, 1500, 2000, 2500, 5000, 10000)  # fmt: skip
RIM_MM, MARGIN_MM = 13.0, 5.0  # left and above, for dimensions; right and below, for names
BAR_MM = 32.0  # of a scale bar, at most


class Scale(NamedTuple):
    """``mm`` on the page are a metre of ground."""

    text: str
    mm: float
    bar: tuple[float, str]  # length on the page in mm, and what it is


@cache
def scales(system: System) -> tuple[Scale, ...]:
    """Largest first."""
    return tuple(_us_scales() if system.name == "us" else _metric_scales())


def _us_scales() -> Iterator[Scale]:
    for feet in _US_SCALES:
        ratio = feet * FOOT_M / INCH_M
        mm = _MM / ratio
        bar = max(k for k in (1, 2, 5, 10, 20, 50, 100, 200, 500) if k * FOOT_M * mm <= BAR_MM)
        yield Scale(f"1 in = {feet} ft (1:{ratio:.0f})", mm, (bar * FOOT_M * mm, f"{bar} ft"))


def _metric_scales() -> Iterator[Scale]:
    for ratio in _METRIC_SCALES:
        mm = _MM / ratio
        bar = max(k for k in (0.5, 1, 2, 5, 10, 20, 50, 100, 200) if k * mm <= BAR_MM)
        yield Scale(f"1:{ratio}", mm, (bar * mm, f"{bar:g} m"))


@dataclass(frozen=True)
class View:
    """From pile coordinates to the page: ``window`` is u and v from, u and v to; ``turns`` quarter
    turns to the right bring what points up the page along the pile."""

    window: Box
    turns: int
    scale: Scale

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in mm, its rim in."""
        u0, v0, u1, v1 = self.window
        along = (u1 - u0) * self.scale.mm
        across = (v1 - v0) * self.scale.mm
        width, height = (along, across) if self.turns % 2 else (across, along)
        return width + RIM_MM + MARGIN_MM, height + RIM_MM + MARGIN_MM

    def page(self, u: Any, v: Any) -> Points:
        """Points (..., 2) on the page."""
        u0, v0, u1, v1 = self.window
        u = np.asarray(u, float)
        v = np.asarray(v, float)
        x, y = (
            (v - v0, u1 - u),
            (u - u0, v - v0),
            (v1 - v, u - u0),
            (u1 - u, v1 - v),
        )[self.turns]
        points: Points = np.stack([x, y], axis=-1) * self.scale.mm + RIM_MM
        return points

    def box(self, window: Box) -> Box:
        """Left, top, right and bottom of a window on the page."""
        u0, v0, u1, v1 = self.window
        low, left, high, right = window
        x0, y0, x1, y1 = (
            (left - v0, u1 - high, right - v0, u1 - low),
            (low - u0, left - v0, high - u0, right - v0),
            (v1 - right, low - u0, v1 - left, high - u0),
            (u1 - high, v1 - right, u1 - low, v1 - left),
        )[self.turns]
        mm = self.scale.mm
        return x0 * mm + RIM_MM, y0 * mm + RIM_MM, x1 * mm + RIM_MM, y1 * mm + RIM_MM

    def shows(self, u: Any, v: Any) -> Any:
        """Whether points lie in the window."""
        u0, v0, u1, v1 = self.window
        return (u0 <= u) & (u <= u1) & (v0 <= v) & (v <= v1)

    def shape(self, geometry: shapely.Geometry) -> shapely.Geometry:
        """What is seen of a geometry, on the page."""
        seen = plane.in_box(geometry, self.window)
        return shapely.transform(seen, lambda uv: self.page(uv[:, 0], uv[:, 1]))


def turns_of(bearing_deg: float) -> int:
    """Quarter turns that bring the pile to within an eighth of a turn of its bearing, north up."""
    return round(bearing_deg / 90) % 4
