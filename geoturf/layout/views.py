"""Areas that are seen together, told by the data: their pile leans one way.

seen_together(ground, rules, origins) -> the ground with a view for areas that the data show to be
of one told_views(ground, choices, rules, origins) -> what that costs, and where areas of two views
meet

Three things tell it. Front yards (an area or its use is called front, or no building stands between
it and the street) are seen in a row, where they lie beside each other on one side of a street: the
next one is near, and the lots face much the same way. Areas of a site without buildings are seen at
once, as a park's are. Other areas of a site are seen together where but a path parts them. What
states a view or a bearing keeps it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from geoturf.model import Choices, Finding, Ground
from geoturf.rules import LayoutRules

FRONT = "front"  # in what an area or its use is called
BESIDE_M = 12.0  # front yards of neighbours are no further apart: a drive and two side yards
FACING_DEG = 30.0  # that front yards of one row face apart, at the most: beyond, the street turned
STREET_M = 30.0  # a front yard is no further from its street
PATH_M = 3.6  # a path is no wider
PARK_M = 90.0  # from an area of a park to the next, at the most
MEET_M = 1.0  # areas so near meet


@dataclass(frozen=True)
class _Land:
    """What is looked at, all in one plane: of each area its laid shape and site, whether it may be
    given a view and whether it is called a front yard; buildings and streets."""

    shape: np.ndarray
    site: np.ndarray
    free: np.ndarray
    named_front: np.ndarray
    around: dict[str, shapely.STRtree]


class _Groups:
    """Rows joined in groups (union-find); a group is called by its first row."""

    def __init__(self, count: int):
        self.first = list(range(count))

    def of(self, row: int) -> int:
        while self.first[row] != row:
            row = self.first[row]
        return row

    def join(self, one: int, other: int) -> None:
        a, b = sorted((self.of(one), self.of(other)))
        self.first[b] = a


def seen_together(ground: Ground, rules: LayoutRules, origins_m: np.ndarray) -> Ground:
    """The ground with ``view`` filled in for areas that are seen together, where the rules ask for
    it; the ground itself otherwise. ``origins_m`` (n, 2): where each frame's origin lies in a
    plane."""
    if rules.view == "given":
        return ground
    land = _looked_at(ground, origins_m)
    groups = _Groups(len(land.shape))
    called = dict[int, str]()
    facing = _facing(land)
    fronts = np.flatnonzero(~np.isnan(facing))
    _join_rows(land, facing, fronts, groups)
    called |= dict.fromkeys(fronts.tolist(), "front yards")
    for row, other in _of_one_site(land, fronts):
        groups.join(row, other)
    names = _names(groups, called, set(ground.areas["view"].astype(str)))
    view = [names.get(row, given) for row, given in enumerate(ground.areas["view"].astype(str))]
    in_rows = {names[row] for row in fronts.tolist() if row in names}
    turns = [rules.view_turn if name in in_rows else 0.0 for name in view]
    return replace(ground, areas=ground.areas.assign(view=view, view_turn_deg=turns))


def _looked_at(ground: Ground, origins_m: np.ndarray) -> _Land:
    areas = ground.areas
    context = ground.context
    called = areas["area"].astype(str) + " " + areas["use"].astype(str)
    around = {
        role: shapely.STRtree(_in_one_plane(some["geometry"], some["frame"], origins_m))
        for role in ("building", "street")
        if len(some := context[context["role"] == role])
    }
    free = areas["view"].astype(str).eq("") & areas["pile_bearing_deg"].isna()
    return _Land(
        _in_one_plane(areas["laid"], areas["frame"], origins_m),
        areas["site"].astype(str).to_numpy(),
        free.to_numpy(bool),
        called.str.casefold().str.contains(FRONT, regex=False).to_numpy(bool),
        around,
    )


def _in_one_plane(shapes: pd.Series, frame: pd.Series, origins_m: np.ndarray) -> np.ndarray:
    """Shapes of several frames beside each other: each moved by its frame's origin (n, 2)."""
    made = shapes.to_numpy(object).copy()
    xy, of = shapely.get_coordinates(made, return_index=True)
    moved = xy + origins_m[frame.to_numpy(int)[of]]
    return np.asarray(shapely.set_coordinates(made, moved), object)


def _facing(land: _Land) -> np.ndarray:
    """Degrees that each front yard faces: to its street, or as the nearest building's walls do
    where no street is drawn; NaN for what is no front yard, or may not be given a view."""
    out = np.full(len(land.shape), np.nan)
    for row in np.flatnonzero(land.free).tolist():
        middle = land.shape[row].centroid
        street = _nearest(land, "street", middle)
        house = _nearest(land, "building", land.shape[row])
        ahead = None if street is None else shapely.shortest_line(middle, street)
        if ahead is not None and ahead.length <= STREET_M and not _blocked(land, ahead):
            out[row] = _bearing(ahead)
        elif land.named_front[row] and house is not None:
            ahead = shapely.linestrings([*house.centroid.coords, *middle.coords])
            out[row] = _along_walls(house, _bearing(ahead))
    return out


def _along_walls(house: BaseGeometry, bearing: float) -> float:
    """The bearing along a house's longest wall, or across it, that is nearest: where a yard lies
    before a house tells to some tens of degrees only which side of it is its front."""
    walls = [shapely.get_coordinates(part.exterior) for part in shapely.get_parts(house)]
    run = np.concatenate([np.diff(corners, axis=0) for corners in walls])
    longest = run[int(np.argmax(np.round(np.hypot(*run.T), 3)))]
    wall = np.degrees(np.arctan2(*longest))
    return float((wall + 90 * np.round((bearing - wall) / 90)) % 360)


def _bearing(line: BaseGeometry) -> float:
    """Compass degrees of a line from its first point to its last."""
    (x0, y0), (x1, y1) = shapely.get_coordinates(line)
    return float(np.degrees(np.arctan2(x1 - x0, y1 - y0)) % 360)


def _nearest(land: _Land, role: str, to: BaseGeometry) -> BaseGeometry | None:
    """What is nearest of a role."""
    tree = land.around.get(role)
    if tree is None:
        return None
    nearest: BaseGeometry = tree.geometries[int(tree.query_nearest(to, all_matches=False)[0])]
    return nearest


def _blocked(land: _Land, line: BaseGeometry) -> bool:
    """Whether a building stands on the line of sight."""
    tree = land.around.get("building")
    return tree is not None and len(tree.query(line, predicate="crosses")) > 0


def _join_rows(land: _Land, facing: np.ndarray, fronts: np.ndarray, groups: _Groups) -> None:
    """Joins front yards beside each other, the nearest first, as long as all of a group face much
    the same way."""
    low = dict.fromkeys(fronts.tolist(), 0.0)  # what a group faces, about its first
    high = dict(low)
    for one, other in _near(land, fronts, BESIDE_M):
        if land.site[one] == land.site[other]:
            continue
        a = groups.of(one)
        b = groups.of(other)
        if a == b:
            continue
        a, b = min(a, b), max(a, b)
        turn = (facing[b] - facing[a] + 180) % 360 - 180
        least = min(low[a], low[b] + turn)
        most = max(high[a], high[b] + turn)
        if most - least <= FACING_DEG:
            groups.join(a, b)
            low[a] = least
            high[a] = most


def _near(land: _Land, rows: np.ndarray, most_m: float) -> Iterator[tuple[int, int]]:
    """Pairs of rows no further apart than ``most_m``, with no building between them, the
    nearest first."""
    tree = shapely.STRtree(land.shape[rows])
    one, other = tree.query(land.shape[rows], predicate="dwithin", distance=most_m)
    one = rows[one]
    other = rows[other]
    one, other = one[one < other], other[one < other]
    lines = shapely.shortest_line(land.shape[one], land.shape[other])
    order = np.lexsort([other, one, np.round(shapely.length(lines), 3)])
    for k in order.tolist():
        if not _blocked(land, lines[k]):
            yield int(one[k]), int(other[k])


def _of_one_site(land: _Land, fronts: np.ndarray) -> Iterator[tuple[int, int]]:
    """Pairs of areas of one site that are seen together: all where no building stands among them,
    else those that a path parts. Front yards and others of a site are not."""
    is_front = np.isin(np.arange(len(land.shape)), fronts)
    rows = np.flatnonzero(land.free)
    open_sites = {
        site: not _among(land, rows[land.site[rows] == site]) for site in np.unique(land.site[rows])
    }
    for one, other in _near(land, rows, PARK_M):
        if land.site[one] != land.site[other] or is_front[one] != is_front[other]:
            continue
        gap = land.shape[one].distance(land.shape[other])
        if open_sites[land.site[one]] or gap <= PATH_M:
            yield one, other


def _among(land: _Land, rows: np.ndarray) -> bool:
    """Whether a building stands among the areas of a site."""
    tree = land.around.get("building")
    hull = shapely.convex_hull(shapely.union_all(land.shape[rows]))
    return tree is not None and len(tree.query(hull, predicate="intersects")) > 0


def _names(groups: _Groups, called: dict[int, str], taken: set[str]) -> dict[int, str]:
    """A name for each group of two and more, by row: numbered in the order of their first rows."""
    members: dict[int, list[int]] = {}
    for row in range(len(groups.first)):
        members.setdefault(groups.of(row), []).append(row)
    out: dict[int, str] = {}
    number = 0
    for first, rows in members.items():
        if len(rows) < 2:
            continue
        number += 1
        while f"{called.get(first, 'seen together')} {number}" in taken:
            number += 1
        out |= dict.fromkeys(rows, f"{called.get(first, 'seen together')} {number}")
    return out


def told_views(
    ground: Ground, choices: Sequence[Choices], rules: LayoutRules, origins_m: np.ndarray
) -> tuple[Finding, ...]:
    """What sharing the pile costs where views were told by the data; and, whoever told them, where
    areas of two views meet whose piles lean apart."""
    view = ground.areas["view"].astype(str).to_numpy()
    found = _meeting(ground, choices, view, origins_m)
    seen = [row for row in np.flatnonzero(view != "").tolist() if choices[row].layouts]
    if rules.view == "given" or not seen:
        return tuple(found)
    least = [min(one.cost for one in choices[row].layouts) for row in seen]
    free = [choices[row].free_cost for row in seen]
    more = sum(max(0.0, a - b) for a, b in zip(least, free, strict=True) if not np.isnan(b))
    every = sum(min(one.cost for one in some.layouts) for some in choices if some.layouts)
    message = (
        f"{len(seen):,} areas share the pile with those that they are seen with, in "
        f"{len(set(view[seen])):,} views{_turning(ground, rules)}; for that they take "
        f"{100 * more / every:.2f} % of all turf and "
        'seams more than if each leaned as suits it best; an alternate with change.layout.view = "given" '
        "prices that to the cent"
    )
    return (Finding("note", "views-told", message), *found)


def _turning(ground: Ground, rules: LayoutRules) -> str:
    """What is said where lots of a row may lean a little apart."""
    if not ground.areas["view_turn_deg"].any():
        return ""
    return (
        f" (lots of a row within {rules.view_turn:g} degrees of one bearing, as their street bends)"
    )


def _meeting(
    ground: Ground, choices: Sequence[Choices], view: np.ndarray, origins_m: np.ndarray
) -> list[Finding]:
    """A note for each pair of views that meet, naming the first areas that do."""
    areas = ground.areas
    rows = np.array([k for k in np.flatnonzero(view != "").tolist() if choices[k].layouts])
    if len(rows) < 2:
        return []
    shape = _in_one_plane(areas["laid"], areas["frame"], origins_m)
    tree = shapely.STRtree(shape[rows])
    one, other = tree.query(shape[rows], predicate="dwithin", distance=MEET_M)
    found: dict[tuple[str, str], tuple[int, int]] = {}
    for a, b in sorted(zip(rows[one].tolist(), rows[other].tolist(), strict=True)):
        apart = choices[a].layouts[0].bearing_deg - choices[b].layouts[0].bearing_deg
        if a < b and view[a] != view[b] and abs(_turn(apart)) > 1e-6:
            found.setdefault((view[a], view[b]), (a, b))
    return [_met(ground, a, b, views) for views, (a, b) in found.items()]


def _turn(degrees: float) -> float:
    return (degrees + 180) % 360 - 180


def _met(ground: Ground, a: int, b: int, views: tuple[str, str]) -> Finding:
    (site, area), (other, there) = (
        (str(ground.areas[key].iat[k]) for key in ("site", "area")) for k in (a, b)
    )
    message = (
        f"it meets {other}, {there}, which is seen otherwise (views {views[0]} and "
        f"{views[1]}): their piles lean apart; give both one view if that shows"
    )
    return Finding("note", "views-meet", message, site=site, area=area)
