"""What is odd about the areas of a bid: paid twice, too small, too large, too steep, outside their
parcel."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
import shapely

from geoturf import plane
from geoturf.ground import frames
from geoturf.model import PLACE, Finding, Ground
from geoturf.rules.ground import GroundRules
from geoturf.units import US, System

_LEAST_M2 = 1e-4  # overlaps under a square centimetre are round-off
_AT_ONCE = 40_000  # pairs of areas, each with a geometry of its own in the other's frame


def notice(ground: Ground, rules: GroundRules, told: System = US) -> tuple[Finding, ...]:
    """Findings about the areas as they will be priced, in the units of ``told``. Reads
    ``ground.overlaps`` where it is filled, else works it out."""
    twice = overlaps(ground) if ground.overlaps is None else ground.overlaps
    return (
        *_double_pay(ground, twice, rules, told),
        *_outside_parcel(ground, rules, told),
        *_sizes(ground, rules, told),
        *_steep(ground.areas, rules),
    )


def overlaps(ground: Ground) -> pd.DataFrame:
    """What would be paid twice: area_index < other_index, area_m2 (at the first one's scale), and
    same_m, how far apart the borders of two areas that mostly cover each other run at most (NaN for
    the others; 0 for exact copies).

    Copies of one shape are first told by their coordinates and stand once, against the first of
    them: a file of thousands of copies has as many rows, not their square.
    """
    areas = ground.areas
    frame = areas["frame"].to_numpy()
    geometry = areas["geometry"].to_numpy()
    degrees = frames.to_common_degrees(ground.frames, frame, geometry)
    first = _first_copy(degrees)
    is_first = first == np.arange(len(first))
    copies = np.flatnonzero(~is_first)
    singles = np.flatnonzero(is_first)
    i, j = (singles[rows] for rows in _meeting(degrees[singles]))
    some = [slice(k, k + _AT_ONCE) for k in range(0, len(i), _AT_ONCE)]
    found = [np.zeros((2, 0)), *(_shared(ground, i[part], j[part]) for part in some)]
    size, apart = np.hstack(found)
    whole = areas["ground_area_m2"].to_numpy()
    table = pd.DataFrame(
        {
            "area_index": np.concatenate([first[copies], i]),
            "other_index": np.concatenate([copies, j]),
            "area_m2": np.concatenate([whole[copies], size]),
            "same_m": np.concatenate([np.zeros(len(copies)), apart]),
        }
    )
    table = table[table["area_m2"] > _LEAST_M2]
    return table.sort_values(["area_index", "other_index"], ignore_index=True)


def _first_copy(degrees: np.ndarray) -> np.ndarray:
    """For each geometry the row of the first one with the same coordinates (to 0.1 mm), wherever
    its ring starts."""
    points = np.round(shapely.get_coordinates(degrees), 9)
    plain = shapely.normalize(shapely.set_coordinates(degrees.copy(), points))
    code, _ = pd.factorize(shapely.to_wkb(plain))
    _, row = np.unique(code, return_index=True)
    return row[code]


def _meeting(degrees: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs i < j that touch or overlap."""
    i, j = shapely.STRtree(degrees).query(degrees, predicate="intersects")
    once = i < j
    i = i[once]
    j = j[once]
    order = np.lexsort((j, i))
    return i[order], j[order]


def _shared(ground: Ground, i: np.ndarray, j: np.ndarray) -> np.ndarray:
    """Area that each pair covers both, and the distance of their borders where that is most of
    either; (2, n)."""
    mine, yours = _in_one_frame(ground, i, j)
    with plane.prepared(mine):
        meet = shapely.intersects(mine, yours) & ~shapely.touches(mine, yours)
    both = np.flatnonzero(meet)  # much cheaper told than overlaid
    common = plane.overlaid(shapely.intersection, mine[both], yours[both])
    size = np.zeros(len(i))
    size[both] = shapely.area(common)
    larger = np.maximum(shapely.area(mine), shapely.area(yours))
    alike = np.flatnonzero(size > 0.5 * larger)
    apart = np.full(len(i), np.nan)
    borders = (shapely.boundary(side[alike]) for side in (mine, yours))
    apart[alike] = shapely.hausdorff_distance(*borders)
    return np.stack([size, apart])


def _in_one_frame(ground: Ground, i: np.ndarray, j: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Geometries of the areas ``i`` and ``j``, pair by pair in the frame of ``i``."""
    geometry = ground.areas["geometry"].to_numpy()
    frame = ground.areas["frame"].to_numpy()
    mine = geometry[i]
    yours = geometry[j].copy()
    apart = np.flatnonzero(frame[i] != frame[j])
    old = frame[j[apart]]
    new = frame[i[apart]]
    yours[apart] = frames.moved(ground.frames, old, new, yours[apart])
    return mine, yours


def _double_pay(
    ground: Ground, twice: pd.DataFrame, rules: GroundRules, told: System
) -> Iterator[Finding]:
    places = ground.areas[[*PLACE]].to_numpy()
    first = places[twice["area_index"].to_numpy()]
    second = places[twice["other_index"].to_numpy()]
    size = twice["area_m2"].to_numpy(float)
    apart = twice["same_m"].to_numpy(float)
    copy = apart <= rules.duplicate_tolerance_m
    told_each = copy | (size > rules.sliver_m2)
    for row in np.flatnonzero(told_each):
        paid = f"{told.area(size[row])} would be paid twice"
        other = _called(first[row])
        if apart[row] == 0:
            message = f"is the same shape as {other}: {paid}; leave one out"
            yield Finding("warning", "duplicate", message, *second[row])
        elif copy[row]:
            near = f"agrees with {other} within {told.size(apart[row])}"
            yield Finding(
                "warning", "near-duplicate", f"{near}: {paid}; leave one out", *second[row]
            )
        else:
            message = f"overlaps {other}: {paid}; trim one of them"
            yield Finding("warning", "overlap", message, *second[row])
    small = size[~told_each]
    if len(small):
        least = told.area(rules.sliver_m2, 2)
        total = told.area(float(small.sum()), 2)
        message = f"{len(small)} overlaps of at most {least}, {total} in all, are paid twice"
        yield Finding("note", "small-overlaps", message)


def _outside_parcel(ground: Ground, rules: GroundRules, told: System) -> Iterator[Finding]:
    """Turf that leaves the parcels it meets; of what meets none only the number: parcels may be
    given for some sites only."""
    areas = ground.areas
    parcels = ground.context[ground.context["role"] == "parcel"]
    drawn = np.flatnonzero(areas["role"] == "turf")
    if not len(drawn) or not len(parcels):
        return
    geometry = areas["geometry"].to_numpy()[drawn]
    land = parcels["geometry"].to_numpy()
    frame = areas["frame"].to_numpy()[drawn]
    i, j = plane.near(geometry, frame, land, parcels["frame"].to_numpy())
    own = plane.united(land, i, j, len(drawn))
    out = shapely.area(plane.overlaid(shapely.difference, geometry, own))
    nowhere = out > 0.999 * shapely.area(geometry)
    for row in np.flatnonzero((out > rules.sliver_m2) & ~nowhere):
        message = f"{told.area(out[row])} of it lie outside the parcel; check site and border"
        yield Finding("warning", "outside-parcel", message, *areas.iloc[drawn[row]][[*PLACE]])
    if nowhere.any():
        yield Finding("note", "no-parcel", f"{nowhere.sum()} areas drawn as turf lie on no parcel")


def _sizes(ground: Ground, rules: GroundRules, told: System) -> Iterator[Finding]:
    areas = ground.areas
    size = areas["ground_area_m2"]
    for place, area in _places(areas, size < rules.sliver_m2, size):
        message = f"has only {told.area(area, 3)}; is it a left-over of drawing?"
        yield Finding("warning", "sliver", message, *place)
    width = _least_width(areas)
    thin = (width < rules.thin_m) & (size >= rules.sliver_m2)
    for place, width_m in _places(areas, thin, width):
        wide = f"has a part only {told.size(width_m)} wide on the mean"
        message = f"{wide}; is it turf, or a left-over of drawing?"
        yield Finding("warning", "thin", message, *place)
    for place, area in _places(areas, size > rules.large_m2, size):
        message = f"has {told.land(area)}; check the layer's CRS and that this is to be turf"
        yield Finding("warning", "large", message, *place)


def _least_width(areas: pd.DataFrame) -> pd.Series:
    """Mean width of the thinnest part of each area."""
    parts, owner = shapely.get_parts(areas["geometry"].to_numpy(), return_index=True)
    least = np.full(len(areas), np.inf)
    np.minimum.at(least, owner, plane.mean_width_m(parts))
    return pd.Series(least, index=areas.index)


def _steep(areas: pd.DataFrame, rules: GroundRules) -> Iterator[Finding]:
    slope = areas["slope_pct"]
    for place, percent in _places(areas, slope > rules.steep_pct, slope):
        message = (
            f"slopes {percent:.0f} %, over {rules.steep_pct:g} %: plant can overturn and base can "
            "slide; have the slope and its retention checked by a licensed professional and follow "
            "local rules"
        )
        yield Finding("warning", "steep", message, *place)


def _places(
    areas: pd.DataFrame, rows: pd.Series, value: pd.Series
) -> Iterator[tuple[list[str], float]]:
    part = areas.loc[rows, [*PLACE]].to_numpy().tolist()
    yield from zip(part, value[rows], strict=True)


def _called(place: np.ndarray) -> str:
    file, layer, feature, site, area = place
    name = f"area {area} of site {site}" if area else f"site {site}"
    where = ", ".join(text for text in (file, layer, f"feature {feature}") if text)
    return f"{name} ({where})"
