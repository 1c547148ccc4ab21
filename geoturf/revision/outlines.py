"""Both outlines of a site's areas, drawn: the old one broken, the new one whole."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise
from typing import TypeAlias

import pandas as pd
import shapely

from geoturf.planner.html import tag
from geoturf.revision.lots import Lots
from geoturf.revision.reports import Report

_WIDE, _HIGH, _EDGE = 420.0, 320.0, 12.0  # of a drawing, in its own units
_Placed: TypeAlias = "Callable[[float, float], str]"  # x and y on the ground -> on the drawing
_SAME, _OLD, _NEW = "same", "old", "new"  # classes of page.css


def drawings(old: Report, new: Report, lots: Lots) -> Iterator[tuple[str, object]]:
    """Site and drawing of each site whose outlines are not what they were, as they come in the new
    report, then in the old one."""
    by_site: dict[str, list[tuple[str, shapely.Geometry]]] = {}
    changed: set[str] = set()
    for name, kind, outline in _outlines(old.areas, new.areas, lots):
        by_site.setdefault(name, []).append((kind, outline))
        changed |= {name} if kind != _SAME else set()
    order = dict.fromkeys([*new.areas["site"], *old.areas["site"]])
    degrees = old.crs is not None and old.crs.is_geographic
    for name in order:
        if name in changed:
            yield name, _drawn(name, by_site[name], degrees)


def _outlines(
    old: pd.DataFrame, new: pd.DataFrame, lots: Lots
) -> Iterator[tuple[str, str, shapely.Geometry]]:
    """Site, class and outline of all areas; an area that is now of another site is drawn with the
    new one."""
    for pair in lots.both:
        site = str(new["site"].iloc[pair.new])
        yield site, _NEW if pair.reshaped else _SAME, lots.after[pair.new]
        if pair.reshaped:
            yield site, _OLD, lots.before[pair.old]
    for at in lots.gone:
        yield str(old["site"].iloc[at]), _OLD, lots.before[at]
    for at in lots.come:
        yield str(new["site"].iloc[at]), _NEW, lots.after[at]


def _drawn(name: str, outlines: list[tuple[str, shapely.Geometry]], degrees: bool) -> object:
    """North up, all of the site in sight; the old outlines lie on top."""
    west, south, east, north = shapely.total_bounds([outline for _, outline in outlines])
    narrow = 1.0
    if degrees:
        narrow = math.cos(math.radians((south + north) / 2))
    wide = max((east - west) * narrow, 1e-12)
    high = max(north - south, 1e-12)
    scale = min((_WIDE - 2 * _EDGE) / wide, (_HIGH - 2 * _EDGE) / high)

    def placed(x: float, y: float) -> str:
        return f"{_EDGE + (x - west) * narrow * scale:.1f} {_EDGE + (north - y) * scale:.1f}"

    order = (_SAME, _NEW, _OLD)
    paths = [
        tag("path", d=_path(outline, placed), class_=kind)
        for kind, outline in sorted(outlines, key=lambda one: order.index(one[0]))
    ]
    size = f"0 0 {wide * scale + 2 * _EDGE:.0f} {high * scale + 2 * _EDGE:.0f}"
    said = f"{name}: outlines before (broken lines) and after (whole lines)"
    return tag(
        "svg",
        tag("title", said),
        *paths,
        viewBox=size,
        role="img",
        class_="outline",
    )


def _path(outline: shapely.Geometry, placed: _Placed) -> str:
    return " ".join(_ring(ring, placed) for part in _polygons(outline) for ring in _rings(part))


def _polygons(outline: shapely.Geometry) -> Iterable[shapely.Polygon]:
    return [part for part in shapely.get_parts(outline) if part.geom_type == "Polygon"]


def _rings(polygon: shapely.Polygon) -> list[shapely.LinearRing]:
    return [polygon.exterior, *polygon.interiors]


def _ring(ring: shapely.LinearRing, placed: _Placed) -> str:
    """Points that fall on the one before are left out."""
    points = [placed(x, y) for x, y in shapely.get_coordinates(ring)]
    kept = points[:1] + [point for last, point in pairwise(points) if point != last]
    return f"M{'L'.join(kept)}Z"
