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
from geoturf.layout.simpler import made_simpler
from geoturf.model import Finding, Ground
from geoturf.rules import LayoutRules, Product
from geoturf.units import US, System


@dataclass(frozen=True)
class Task:
    """All areas of a ground, in order. ``bearings``: of the pile, degrees, NaN where free;
    ``groups``: rows that are seen together, ``turns`` how many degrees each may lean from its
    view's bearing, ``lots`` its site; ``where``: the row that each repeats, or its own; ``pools``:
    by who shares rolls (phase, site, area) a key for each area; areas of equal keys share;
    ``regular``: rows too large for a search, laid in regular strips, as ``findings`` say;
    ``sought``: the outlines by which those are chosen;
    ``families``: areas of equal ones are laid alike in a pool."""

    shapes: list[Shape]
    stock: list[tuple[Roll, ...]]
    bearings: np.ndarray
    groups: list[np.ndarray]
    turns: np.ndarray
    lots: list[str]
    where: list[Place]
    pools: dict[str, list[tuple[str, ...]]]
    regular: np.ndarray
    sought: list[Shape]
    families: list[int]
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
    bearings = stated_bearings(ground, rules)
    groups = groups_of(areas, bearings)
    keys, free = keys_of(areas, bearings, groups, rules.alike == "plan")
    where = places(shapes, keys, free, mirror=rules.alike == "plan")
    stock = [rolls[name] for name in areas["product"]]
    pools = {pool: ground.pool_keys(pool) for pool in ("phase", "site", "area")}
    regular, said = too_large(areas, shapes, rules, told)
    for group in groups:
        regular[group] = regular[group].any()
    sought, less = made_simpler(shapes, regular, rules, told)
    findings = (*said, *less)
    families = [place.of if rules.alike == "plan" else row for row, place in enumerate(where)]
    turns = turns_of(areas)
    lots = areas["site"].astype(str).tolist()
    turns = np.where(np.isnan(bearings), turns, 0.0)
    return Task(
        shapes,
        stock,
        bearings,
        groups,
        turns,
        lots,
        where,
        pools,
        regular,
        sought,
        families,
        findings,
    )


def keys_of(
    areas: Any, bearings: np.ndarray, groups: list[np.ndarray], alike: bool
) -> tuple[list[tuple[str, ...] | None], np.ndarray]:
    """Areas of equal keys (product first) may repeat each other, those of None no other; and which
    may be turned for it. Areas of a view repeat each other where lots of a plan are laid ``alike``;
    those of rows may be turned, where they then lean as they do (`geoturf.layout.rows`)."""
    product = areas["product"].tolist()
    view = areas["view"].tolist()
    turns = turns_of(areas)
    lots = areas["site"].tolist()
    keys: list[tuple[str, ...] | None] = [None] * len(areas)
    free = np.isnan(bearings)
    for group in groups:
        for k in group:
            if len(group) == 1:
                keys[k] = product[k], str(bearings[k])
            elif alike and turns[k]:
                alone = sum(lots[other] == lots[k] for other in group) == 1
                keys[k] = (product[k], "row") if alone else None
            elif alike:
                keys[k] = product[k], "view", view[k]
                free[k] = False  # its view's
    return keys, free


def groups_of(areas: Any, bearings: np.ndarray) -> list[np.ndarray]:
    """Rows that share a bearing because they are seen together, every other row alone; in order of
    their first row."""
    view = areas["view"].to_numpy(str)
    free = np.isnan(bearings) & (view != "")
    groups = [np.array([k]) for k in np.flatnonzero(~free)]
    groups += [np.flatnonzero(free & (view == name)) for name in np.unique(view[free])]
    return sorted(groups, key=lambda g: int(g[0]))


def turns_of(areas: Any) -> np.ndarray:
    """Degrees that each area may lean from its view's bearing."""
    told = areas["view_turn_deg"] if "view_turn_deg" in areas else np.zeros(len(areas))
    return np.asarray(told, float)


def stated_bearings(ground: Ground, rules: LayoutRules) -> np.ndarray:
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
