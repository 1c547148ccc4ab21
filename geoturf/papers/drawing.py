"""Drawings of where a bid's areas lie: plain lines on white, north up, all sites in one frame.

A drawing is for the eye: the earth is taken for a ball here, so lengths are true to half a per cent
(the ellipsoid's radii of curvature, 6,335 to 6,400 km, against the mean radius), and nothing is
measured on it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from geoturf import ground, units
from geoturf.model import Result
from geoturf.units import FOOT_M

_EARTH_M = 6_371_008.8  # mean radius (Moritz 2000, from memory)
_FINE_PT = 0.12  # corners that stand out by less are not drawn
_SMALL_PT = 3.0  # a site drawn smaller is a dot
_DOT_PT = 2.6
_MARGIN = 0.03  # of the ground shown, about it
_LABEL_PT = 6.0
_LETTER = 0.55  # width of a letter over its height, about
_LONGEST = 24  # letters of a label
_OVER = 1.3  # a label may be so much wider than the site that it stands in
_DENSE = 0.15  # of a sheet taken by sites: from here on labels stand in them
_FEW = 60  # sites that are named where phases are shaded
_MOST_CONTEXT = 40_000  # corners of buildings and paving
_SHADES = ("#d4d4d4", "#8f8f8f", "#f1f1f1", "#b3b3b3")
_OWN = "#bdbdbd"
_OTHER = "#ffffff"
_BLACK = "#000000"
_FAINT = "#a8a8a8"
_SVG = 'xmlns="http://www.w3.org/2000/svg"'


@dataclass(frozen=True)
class Land:
    """Every area, building and piece of paving in one frame (m, x east, y north). ``site`` and
    ``phase`` are areas-aligned."""

    areas: np.ndarray
    site: np.ndarray
    phase: np.ndarray
    buildings: np.ndarray
    paving: np.ndarray


def called(phase: str) -> str:
    """A phase as it is called."""
    if phase.casefold().startswith("phase"):
        return phase
    return f"phase {phase}"


def land(result: Result) -> Land:
    """The ground of a bid as it is drawn."""
    table = result.ground.areas
    around = result.ground.context
    around = around[around["role"].isin(("building", "paving"))]
    around = around.drop_duplicates(["role", "file", "layer", "feature", "part"])
    if _corners(around["geometry"]) > _MOST_CONTEXT:
        around = around.iloc[:0]
    shapes = [table["geometry"].to_numpy(), around["geometry"].to_numpy()]
    frame = np.concatenate([table["frame"].to_numpy(int), around["frame"].to_numpy(int)])
    both = _in_one_frame(result, frame, np.concatenate(shapes))
    areas = both[: len(table)]
    others = both[len(table) :]
    built = (around["role"] == "building").to_numpy()
    site, phase = (table[name].astype(str).to_numpy() for name in ("site", "phase"))
    return Land(areas, site, phase, others[built], others[~built])


def _corners(shapes: Any) -> int:
    return int(shapely.get_num_coordinates(np.asarray(shapes, object)).sum())


def _in_one_frame(result: Result, frame: np.ndarray, shapes: np.ndarray) -> np.ndarray:
    """Equirectangular about the middle of all, which must not lie at a pole."""
    degrees = np.asarray(ground.to_degrees(result.ground.frames, frame, shapes), object)
    at = np.radians(shapely.get_coordinates(degrees))
    if np.ptp(at[:, 0]) > math.pi:  # on both sides of 180 degrees
        at[:, 0] %= 2 * math.pi
    middle = (at.min(axis=0) + at.max(axis=0)) / 2
    at = (at - middle) * [_EARTH_M * math.cos(middle[1]), _EARTH_M]
    return np.asarray(shapely.set_coordinates(degrees.copy(), at), object)


@dataclass(frozen=True)
class _Sheet:
    """From the frame to a sheet ``width`` by ``height`` points, y down."""

    left: float
    top: float
    per_m: float
    width: float
    height: float

    def of(self, shapes: np.ndarray) -> np.ndarray:
        fine = shapely.simplify(shapes, _FINE_PT / self.per_m)
        at = shapely.get_coordinates(fine) - [self.left, self.top]
        return np.asarray(shapely.set_coordinates(fine, at * [self.per_m, -self.per_m]), object)

    def holds(self, shapes: np.ndarray) -> np.ndarray:
        """Which shapes lie on it, if in part."""
        seen = shapely.box(
            self.left,
            self.top - self.height / self.per_m,
            self.left + self.width / self.per_m,
            self.top,
        )
        return np.asarray(shapely.intersects(shapes, seen))


def _sheet(shapes: np.ndarray, width: float, height: float) -> _Sheet:
    """The sheet, ``width`` by at most ``height`` points, that ``shapes`` fill."""
    x0, y0, x1, y1 = shapely.total_bounds(shapes)
    air = _MARGIN * max(x1 - x0, y1 - y0, 1.0)
    wide = x1 - x0 + 2 * air
    high = y1 - y0 + 2 * air
    per_m = min(width / wide, height / high)
    left = (x0 + x1) / 2 - width / per_m / 2
    return _Sheet(left, y1 + air, per_m, width, high * per_m)


def whole(drawn: Land, width: float, height: float, system: str) -> dict[str, Any]:
    """All areas, shaded by phase where there are few phases, else named; what ``drawing`` of
    ``type/house.typ`` takes."""
    sheet = _sheet(drawn.areas, width, height)
    phases = list(dict.fromkeys(drawn.phase.tolist()))
    shaded = 1 < len(phases) <= len(_SHADES)
    layers = _context(drawn, sheet)
    for place, phase in enumerate(phases if shaded else [""]):
        own = drawn.phase == phase if shaded else np.ones(len(drawn.areas), bool)
        layers.append(_turf(drawn, own, sheet, _SHADES[place]))
    legend = [[_SHADES[k], called(phase)] for k, phase in enumerate(phases)] if shaded else []
    everywhere = np.ones(len(drawn.areas), bool)
    named = not shaded or len(set(drawn.site.tolist())) <= _FEW
    labels = _labels(drawn, everywhere, sheet) if named else []
    return _drawn(sheet, layers, labels, system) | {"legend": legend}


def of_phase(drawn: Land, phase: str, width: float, height: float, system: str) -> dict[str, Any]:
    """A phase's areas, shaded, and what of the others lies about them."""
    own = drawn.phase == phase
    sheet = _sheet(drawn.areas[own], width, height)
    layers = [*_context(drawn, sheet), _turf(drawn, ~own, sheet, _OTHER, _FAINT)]
    layers.append(_turf(drawn, own, sheet, _OWN))
    return _drawn(sheet, layers, _labels(drawn, own, sheet), system) | {"legend": []}


def _context(drawn: Land, sheet: _Sheet) -> list[str]:
    paving = _paths(drawn.paving, sheet)
    built = _paths(drawn.buildings, sheet)
    return [
        f'<path d="{paving}" fill="none" stroke="#a8a8a8" stroke-width="0.25"/>',
        f'<path d="{built}" fill="none" stroke="#555555" stroke-width="0.4"/>',
    ]


def _turf(drawn: Land, own: np.ndarray, sheet: _Sheet, shade: str, line: str = _BLACK) -> str:
    """The areas that are ``own``; a site that would be a speck is a dot."""
    shapes = drawn.areas[own]
    if not len(shapes):
        return ""
    if _specks(drawn, sheet):
        dots = "".join(
            f'<circle cx="{(x0 + x1) / 2:.1f}" cy="{(y0 + y1) / 2:.1f}" r="{_DOT_PT}"/>'
            for x0, y0, x1, y1 in _boxes(drawn, own, sheet).values()
        )
        return f'<g fill="{shade}" stroke="{line}" stroke-width="0.5">{dots}</g>'
    return (
        f'<path d="{_paths(shapes, sheet)}" fill="{shade}" fill-rule="evenodd" '
        f'stroke="{line}" stroke-width="0.45"/>'
    )


def _specks(drawn: Land, sheet: _Sheet) -> bool:
    sizes = np.sqrt(shapely.area(drawn.areas)) * sheet.per_m
    return bool(np.median(sizes) < _SMALL_PT)


def _boxes(
    drawn: Land, own: np.ndarray, sheet: _Sheet
) -> dict[str, tuple[float, float, float, float]]:
    """The box on the sheet, y down, about what each site has of the ``own`` areas."""
    bounds = shapely.bounds(drawn.areas[own])
    sites, at = np.unique(drawn.site[own], return_inverse=True)
    low = np.full((len(sites), 2), np.inf)
    high = np.full((len(sites), 2), -np.inf)
    np.minimum.at(low, at, bounds[:, :2])
    np.maximum.at(high, at, bounds[:, 2:])
    left, bottom = ((low - [sheet.left, sheet.top]) * [sheet.per_m, -sheet.per_m]).T.tolist()
    right, top = ((high - [sheet.left, sheet.top]) * [sheet.per_m, -sheet.per_m]).T.tolist()
    return dict(zip(sites.tolist(), zip(left, top, right, bottom, strict=True), strict=True))


def _paths(shapes: np.ndarray, sheet: _Sheet) -> str:
    """Every ring of the shapes that lie on the sheet as one SVG path."""
    shapes = shapes[sheet.holds(shapes)] if len(shapes) else shapes
    lines = []
    for polygon in shapely.get_parts(sheet.of(shapes)):
        for ring in (polygon.exterior, *polygon.interiors):
            points = (f"{x:.1f} {y:.1f}" for x, y in shapely.get_coordinates(ring)[:-1])
            lines.append(f"M {' L '.join(points)} Z")
    return " ".join(lines)


def _labels(drawn: Land, own: np.ndarray, sheet: _Sheet) -> list[list[Any]]:
    """[text, x, y] of the sites whose name finds room, in points from the sheet's upper left: in
    the site's middle where sites lie close and it fits there, else below it. None at all where
    fewer than half find room."""
    if len(set(drawn.site.tolist())) < 2:
        return []
    kept: list[tuple[float, float, float]] = []
    labels: list[list[Any]] = []
    boxes = _boxes(drawn, own, sheet)
    taken = sum((x1 - x0) * (y1 - y0) for x0, y0, x1, y1 in boxes.values())
    dense = taken > _DENSE * sheet.width * sheet.height
    for site, (x0, y0, x1, y1) in boxes.items():
        half = _LETTER * _LABEL_PT * len(site) / 2
        inside = dense and 2 * half <= _OVER * (x1 - x0) and y1 - y0 > 2 * _LABEL_PT
        x = min(max((x0 + x1) / 2, half), sheet.width - half)
        y = (y0 + y1) / 2 if inside else max(y1, (y0 + y1) / 2 + _DOT_PT) + _LABEL_PT / 2 + 1
        if len(site) <= _LONGEST and y < sheet.height - _LABEL_PT / 2 and _free(kept, x, y, half):
            kept.append((x, y, half))
            labels.append([site, round(x, 1), round(y, 1)])
    if 2 * len(labels) >= len(boxes):
        return labels
    return []


def _free(kept: Sequence[tuple[float, float, float]], x: float, y: float, half: float) -> bool:
    return all(abs(x - a) > half + other + 1 or abs(y - b) > _LABEL_PT for a, b, other in kept)


def _drawn(
    sheet: _Sheet, layers: Iterable[str], labels: list[list[Any]], system: str
) -> dict[str, Any]:
    size = f'width="{sheet.width:.1f}" height="{sheet.height:.1f}"'
    box = f'viewBox="0 0 {sheet.width:.1f} {sheet.height:.1f}"'
    drawing = f"<svg {_SVG} {size} {box}>{''.join(layers)}</svg>"
    length_pt, said = _bar(sheet, system)
    return {
        "svg": drawing.encode("ascii"),
        "width": round(sheet.width, 1),
        "height": round(sheet.height, 1),
        "labels": labels,
        "bar": [round(length_pt, 2), said],
    }


def _bar(sheet: _Sheet, system: str) -> tuple[float, str]:
    """A round length that takes a quarter of the sheet at most: in points, and in words."""
    steps = (("ft", FOOT_M), ("miles", units.MILE_M)) if system == "us" else (("m", 1), ("km", 1e3))
    most_m = sheet.width / sheet.per_m / 4
    unit, size = steps[1] if most_m >= steps[1][1] else steps[0]
    power = 10 ** math.floor(math.log10(most_m / size))
    length = max(n * power for n in (1, 2, 5) if n * power <= most_m / size * (1 + 1e-9))
    named = unit
    if (length, unit) == (1, "miles"):
        named = "mile"
    return length * size * sheet.per_m, f"{length:,g} {named}"
