"""What is to be laid, as plain arrays: the shape of every area, the rolls it may be laid from, the
bearing asked for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from geoturf.errors import InputError
from geoturf.layout.large import too_large
from geoturf.layout.models import Place, places
from geoturf.layout.roll import Roll, stocked
from geoturf.layout.shape import Shape, shape_of
from geoturf.model import Finding, Ground
from geoturf.rules import LayoutRules, Product
from geoturf.units import US, System


@dataclass(frozen=True)
class Task:
    """All areas of a ground, in order. ``bearings``: of the pile, degrees, NaN where free;
    ``groups``: rows that share a bearing; ``where``: the row that each repeats, or its own;
    ``pools``: by who shares rolls (phase, site, area) a key for each area; areas of equal keys
    share; ``regular``: rows too large for a search, laid in regular strips, as ``findings`` say."""

    shapes: list[Shape]
    stock: list[tuple[Roll, ...]]
    bearings: np.ndarray
    groups: list[np.ndarray]
    where: list[Place]
    pools: dict[str, list[tuple[str, ...]]]
    regular: np.ndarray
    findings: tuple[Finding, ...] = ()


def task_of(
    ground: Ground, products: dict[str, Product], rules: LayoutRules, told: System = US
) -> Task:
    """The ground as plain arrays.

    Raises `InputError`, in the units of ``told``, where a product's roll is too small for any
    piece, or ``rules.toward`` names a layer that is not there."""
    areas = ground.areas
    rolls = {
        name: stocked(name, products[name], rules, told) for name in dict.fromkeys(areas["product"])
    }
    shapes = [shape_of(geometry) for geometry in areas["laid"]]
    bearings = _bearings(ground, rules)
    groups = _groups(areas, bearings)
    alone = {int(g[0]) for g in groups if len(g) == 1}
    keys = [
        (areas["product"].iat[k], str(bearings[k])) if k in alone else None
        for k in range(len(shapes))
    ]
    where = places(shapes, keys, np.isnan(bearings))
    stock = [rolls[name] for name in areas["product"]]
    pools = {pool: ground.pool_keys(pool) for pool in ("phase", "site", "area")}
    regular, said = too_large(areas, shapes, rules, told)
    for group in groups:
        regular[group] = regular[group].any()
    return Task(shapes, stock, bearings, groups, where, pools, regular, said)


def _groups(areas: Any, bearings: np.ndarray) -> list[np.ndarray]:
    """Rows that share a bearing because they are seen together, every other row alone; in order of
    their first row."""
    view = areas["view"].to_numpy(str)
    free = np.isnan(bearings) & (view != "")
    groups = [np.array([k]) for k in np.flatnonzero(~free)]
    groups += [np.flatnonzero(free & (view == name)) for name in np.unique(view[free])]
    return sorted(groups, key=lambda g: int(g[0]))


def _bearings(ground: Ground, rules: LayoutRules) -> np.ndarray:
    """Pile bearing of each area, NaN where free: its own, its view's (stated for another area),
    toward a layer, the rules'."""
    areas = ground.areas
    bearings = areas["pile_bearing_deg"].to_numpy(float).copy()
    view = areas["view"].to_numpy(str)
    for name in np.unique(view[(view != "") & ~np.isnan(bearings)]):
        seen = view == name
        first = bearings[seen & ~np.isnan(bearings)][0]
        bearings[seen & np.isnan(bearings)] = first
    if rules.toward:
        rows = np.flatnonzero(np.isnan(bearings))
        bearings[rows] = _toward(ground, rules.toward, rows)
        for name in np.unique(
            view[rows][view[rows] != ""]
        ):  # seen together: all lean as the first does
            seen = rows[view[rows] == name]
            bearings[seen] = next((b for b in bearings[seen] if not np.isnan(b)), np.nan)
    if rules.bearing != "free":
        bearings[np.isnan(bearings)] = float(rules.bearing)
    return bearings % 360


def _toward(ground: Ground, name: str, rows: np.ndarray) -> np.ndarray:
    """Bearing from each area's centroid to the nearest point of the view layer; NaN in a frame
    without one."""
    context = ground.context
    layer = context[context["role"] == "view"]
    if "layer" in layer and np.any(layer["layer"] == name):
        layer = layer[layer["layer"] == name]
    if not len(layer):
        message = f"toward = '{name}', but no layer of role \"view\" was read; add it to [[layers]]"
        raise InputError(Finding("error", "no-view-layer", message, layer=name))
    out = np.full(len(rows), np.nan)
    for k, row in enumerate(rows):
        area = ground.areas.iloc[row]
        near = layer[layer["frame"] == area["frame"]]["geometry"]
        if len(near):
            line = shapely.shortest_line(area["laid"].centroid, shapely.union_all(near.to_numpy()))
            (x0, y0), (x1, y1) = shapely.get_coordinates(line)
            out[k] = np.degrees(np.arctan2(x1 - x0, y1 - y0)) % 360
    return out
