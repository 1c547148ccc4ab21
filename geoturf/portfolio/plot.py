"""A small map: a dot a site, darker where the ground costs more."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import shapely

from geoturf import ground
from geoturf.model import Result
from geoturf.planner.html import note, section, tag
from geoturf.portfolio.figures import Land

_WIDTH = 720.0
_MOST_HEIGHT = 460.0
_LEAST_HEIGHT = 160.0
_AIR = 14.0
_SHADES = 4


def drawn(result: Result, land: Land, rows: pd.DataFrame) -> object:
    """The map with its key. North is up."""
    at, height = _placed(_degrees(result, land))
    each = rows["each"].to_numpy(float)
    edges = np.quantile(each, np.linspace(0, 1, _SHADES + 1)[1:-1])
    shade = np.searchsorted(edges, each, side="right")
    parts = [_dots(at, "ring")]
    parts += [_dots(at[shade == kind], f"shade{kind}") for kind in range(_SHADES)]
    title = f"Where the {len(rows):,} sites lie"
    size = f"0 0 {_WIDTH:g} {height:.0f}"
    map_ = tag(
        "svg",
        tag("title", title),
        *parts,
        viewBox=size,
        role="img",
        class_="map",
    )
    key = [_key(kind, edges, land) for kind in sorted(set(shade.tolist()))]
    return section(title, map_, tag("p", *key, class_="key"), note("A dot a site; north is up."))


def _degrees(result: Result, land: Land) -> np.ndarray:
    """(n, 2) longitude and latitude of a point on each site's first area."""
    table = result.ground.areas
    first = np.flatnonzero(~land.areas["site"].duplicated().to_numpy())
    inner = shapely.point_on_surface(table["geometry"].to_numpy()[first])
    frame = table["frame"].to_numpy(int)[first]
    return np.asarray(
        shapely.get_coordinates(ground.to_degrees(result.ground.frames, frame, inner))
    )


def _placed(lonlat: np.ndarray) -> tuple[np.ndarray, float]:
    """Places on the drawing, equirectangular about the middle, and its height."""
    if np.ptp(lonlat[:, 0]) > 180:  # on both sides of 180 degrees
        lonlat = np.column_stack([lonlat[:, 0] % 360, lonlat[:, 1]])
    middle = (lonlat.min(axis=0) + lonlat.max(axis=0)) / 2
    flat = (lonlat - middle) * [math.cos(math.radians(middle[1])), -1.0]
    wide, high = np.maximum(np.ptp(flat, axis=0), 1e-9)
    inner = _WIDTH - 2 * _AIR
    scale = min(inner / wide, (_MOST_HEIGHT - 2 * _AIR) / high)
    height = max(_LEAST_HEIGHT, high * scale + 2 * _AIR)
    return flat * scale + [_WIDTH / 2, height / 2], height


def _dots(at: np.ndarray, kind: str) -> object:
    """Round ends of lines without length: one mark for all of a kind."""
    path = "".join(f"M{x:.1f} {y:.1f}h0" for x, y in at.tolist())
    return tag("path", d=path, class_=kind)


def _key(kind: int, edges: np.ndarray, land: Land) -> object:
    ends = [f"{edge:,.2f}" for edge in edges]
    if kind == 0:
        said = f"under {ends[0]}"
    elif kind == _SHADES - 1:
        said = f"{ends[-1]} and more"
    else:
        said = f"{ends[kind - 1]} to {ends[kind]}"
    dots = _dots(np.array([[8.0, 8.0]]), "ring"), _dots(np.array([[8.0, 8.0]]), f"shade{kind}")
    square = tag("svg", *dots, viewBox="0 0 16 16", aria_hidden="true")
    return tag("span", square, f" {said} {land.currency} a {land.square} ")
