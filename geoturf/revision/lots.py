"""Areas of one report found in the other, by name or else by shape, and how their ground moved."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from geoturf.revision.reports import Report

#: by more than half of both together, two areas can overlap with one partner only
_ALIKE = 0.5
#: of an area; less is what turning coordinates to and fro leaves
_NOTHING = 1e-6


class Pair(NamedTuple):
    """An area's places in the two tables, and what ground it ``gained`` and ``lost``, in the
    reports' unit."""

    old: int
    new: int
    gained: float
    lost: float

    @property
    def reshaped(self) -> bool:
        return self.gained + self.lost > 0


@dataclass(frozen=True)
class Lots:
    """``both``: areas that stand in both. ``gone``, ``come``: places of areas that stand in one
    only. ``before``, ``after``: outlines in one CRS, area by area."""

    both: list[Pair]
    gone: list[int]
    come: list[int]
    before: NDArray[np.object_]
    after: NDArray[np.object_]


def found(old: Report, new: Report) -> Lots:
    """Each area of ``old`` in ``new``: under its name where it overlaps it, else where both are
    more than half alike, else under its name elsewhere."""
    before = old.areas["geometry"].to_numpy(object)
    after = _in_crs_of(old, new)
    by_name = _same_names(old.areas, new.areas)
    pairs = [(a, b) for a, b in by_name if _common(before[a], after[b]) > 0]
    pairs += _alike(before, after, *_left(pairs, len(before), len(after)))
    taken = _left(pairs, len(before), len(after))
    pairs += [(a, b) for a, b in by_name if a in taken[0] and b in taken[1]]
    gone, come = _left(pairs, len(before), len(after))
    return Lots(_moved(old, new, sorted(pairs), before, after), gone, come, before, after)


def _in_crs_of(old: Report, new: Report) -> NDArray[np.object_]:
    import geopandas

    outlines = geopandas.GeoSeries(new.areas["geometry"].to_numpy(object), crs=new.crs)
    if old.crs is None or new.crs is None or old.crs == new.crs:
        return np.asarray(outlines, dtype=object)
    return np.asarray(outlines.to_crs(old.crs), dtype=object)


def _same_names(old: pd.DataFrame, new: pd.DataFrame) -> list[tuple[int, int]]:
    at = {name: k for k, name in enumerate(zip(new["site"], new["area"], strict=True))}
    names = enumerate(zip(old["site"], old["area"], strict=True))
    return [(k, at[name]) for k, name in names if name in at]


def _common(one: shapely.Geometry, other: shapely.Geometry) -> float:
    return float(shapely.area(shapely.intersection(one, other)))


def _left(pairs: list[tuple[int, int]], old: int, new: int) -> tuple[list[int], list[int]]:
    """Places of what no pair holds."""
    ones = {a for a, _ in pairs}
    others = {b for _, b in pairs}
    return [a for a in range(old) if a not in ones], [b for b in range(new) if b not in others]


def _alike(
    before: NDArray[np.object_], after: NDArray[np.object_], ones: list[int], others: list[int]
) -> Iterator[tuple[int, int]]:
    """Pairs that are more than half alike, the most alike first."""
    tree = shapely.STRtree(after[others]) if others else None
    near: list[list[int]] = []
    if tree and ones:
        near = tree.query(before[ones], predicate="intersects").T.tolist()
    shares = [(_likeness(before[ones[i]], after[others[j]]), ones[i], others[j]) for i, j in near]
    olds = set(ones)
    news = set(others)
    for share, a, b in sorted(shares, key=lambda one: (-one[0], *one[1:])):
        if share > _ALIKE and a in olds and b in news:
            olds.remove(a)
            news.remove(b)
            yield a, b


def _likeness(one: shapely.Geometry, other: shapely.Geometry) -> float:
    """What both cover over what either does."""
    common = _common(one, other)
    return common / (float(shapely.area(one)) + float(shapely.area(other)) - common)


def _moved(
    old: Report,
    new: Report,
    pairs: list[tuple[int, int]],
    before: NDArray[np.object_],
    after: NDArray[np.object_],
) -> list[Pair]:
    """What each pair gained and lost: the share of its outline that the other does not cover, of
    its ground."""
    a, b = np.array(pairs, dtype=np.int64).reshape(-1, 2).T
    common = shapely.area(shapely.intersection(before[a], after[b]))
    lost = _beyond(common, shapely.area(before[a])) * old.areas["ground_area"].to_numpy()[a]
    gained = _beyond(common, shapely.area(after[b])) * new.areas["ground_area"].to_numpy()[b]
    moved = zip(pairs, gained.tolist(), lost.tolist(), strict=True)
    return [Pair(*pair, more, less) for pair, more, less in moved]


def _beyond(common: NDArray[np.float64], whole: NDArray[np.float64]) -> NDArray[np.float64]:
    share = 1 - common / whole
    return np.where(share > _NOTHING, share, 0.0)
