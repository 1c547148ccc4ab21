"""The order in which lots are worked: as given, or a short walk from lot to lot."""

from __future__ import annotations

import numpy as np
import pandas as pd

from geoturf.errors import InputError
from geoturf.model import Finding, Ground

_STARTS = 8  # first lots tried
_PAIRS = (
    4_000_000  # of places looked at, all tries together: 700 lots are begun at all, 2,000 at one
)
_EARTH_M = 6_371_000.0  # a walk is compared, not measured
_MM = 1000.0  # distances are whole millimetres, so that equal walks are equal on every processor


def in_order(ground: Ground) -> list[str]:
    """Every site once. Where the layers give ``work_order`` it is kept; else phases follow each
    other as they first stand in the data, and the lots of each along a short walk, as the crow
    flies. Raises `InputError` for an order that misses a lot, gives one two numbers, or gives two
    lots the same."""
    areas = ground.areas
    given = areas["work_order"]
    if given.notna().any():
        return _as_given(areas)
    if not len(areas):
        return []
    lots = areas.drop_duplicates("site")
    place = _places_m(ground, lots["frame"].to_numpy(int))
    phases = pd.factorize(lots["phase"])[0]
    sites = lots["site"].astype(str).to_numpy()
    order: list[str] = []
    for phase in range(phases.max(initial=-1) + 1):
        mine = np.flatnonzero(phases == phase)
        order += sites[mine[walk(place[mine])]].tolist()
    return order


def _as_given(areas: pd.DataFrame) -> list[str]:
    """Sites by their number."""
    lots = areas.groupby("site", sort=False)["work_order"]
    least = lots.min()
    most = lots.max()
    faults = [_fault(areas, site, "order-missed", _MISSED) for site in least.index[least.isna()]]
    for site in least.index[least < most]:
        both = f"has the numbers {least[site]:g} and {most[site]:g} in work_order; give it one"
        faults.append(_fault(areas, site, "order-twofold", both))
    first: dict[float, str] = {}
    for site, number in least[least.notna()].items():
        other = first.setdefault(float(number), str(site))
        if other != site:
            same = (
                f"has the number {number:g} in work_order, as site {other} has; give each its own"
            )
            faults.append(_fault(areas, str(site), "order-repeated", same))
    if faults:
        raise InputError(faults)
    return [str(site) for site in least.sort_values(kind="stable").index]


_MISSED = (
    "has no number in work_order, as other lots have; number every lot, or leave the column out"
)


def _fault(areas: pd.DataFrame, site: str, code: str, message: str) -> Finding:
    row = areas[areas["site"] == site].iloc[0]
    file, layer, feature = (str(row[name]) for name in ("file", "layer", "feature"))
    return Finding("error", code, message, file, layer, feature, str(site))


def _places_m(ground: Ground, frames: np.ndarray) -> np.ndarray:
    """Metres east and north of each frame's origin, near enough to compare ways between lots."""
    lon = ground.frames.lon0_deg[frames]
    lat = ground.frames.lat0_deg[frames]
    east = np.radians((lon - lon[0] + 180) % 360 - 180) * np.cos(np.radians(lat.mean()))
    return np.column_stack([east, np.radians(lat - lat[0])]) * _EARTH_M


def walk(place_m: np.ndarray) -> np.ndarray:
    """An order (n,) of places (n, 2) in which the way from each to the next is short in all.

    From some of the places to the nearest not yet met, then stretches of the way turned about while
    that shortens it (2-opt), and single places moved (Or-opt); the shortest of these. Of very many
    places fewer are begun at."""
    n = len(place_m)
    if n < 3:
        return np.arange(n)
    apart = place_m[:, None, :] - place_m[None, :, :]
    way = np.rint(np.hypot(apart[..., 0], apart[..., 1]) * _MM).astype(np.int64)
    count = max(1, min(n, _STARTS, _PAIRS // n**2))
    starts = dict.fromkeys([0, *np.linspace(0, n - 1, count).astype(int).tolist()])
    tries = [_shortened(_nearest_first(way, start), way) for start in starts]
    return min(tries, key=lambda order: _length(order, way))


def _length(order: np.ndarray, way: np.ndarray) -> int:
    return int(way[order[:-1], order[1:]].sum())


def _nearest_first(way: np.ndarray, start: int) -> np.ndarray:
    far = int(way.max()) + 1
    order = [start]
    met = np.zeros(len(way), bool)
    met[start] = True
    while len(order) < len(way):
        order.append(int(np.argmin(np.where(met, far, way[order[-1]]))))
        met[order[-1]] = True
    return np.array(order)


def _shortened(order: np.ndarray, way: np.ndarray) -> np.ndarray:
    """The order with stretches turned and places moved while that makes it shorter."""
    length = _length(order, way)
    while True:
        order = _moved(_turned(order, way), way)
        now = _length(order, way)
        if now >= length:
            return order
        length = now


def _turned(order: np.ndarray, way: np.ndarray) -> np.ndarray:
    """Each stretch that is shorter walked the other way is turned; open at both ends."""
    n = len(order)
    order = order.copy()
    for i in range(n - 1):
        j = np.arange(i + 1, n)  # the stretch i .. j
        after = np.append(order[i + 2 :], -1)
        saved = np.where(after >= 0, way[order[j], after] - way[order[i], after], 0)
        if i:
            saved = saved + way[order[i - 1], order[i]] - way[order[i - 1], order[j]]
        best = int(np.argmax(saved))
        if saved[best] > 0:
            order[i : i + best + 2] = order[i : i + best + 2][::-1].copy()
    return order


def _moved(order: np.ndarray, way: np.ndarray) -> np.ndarray:
    """Each place that lies better between two others is moved there."""
    for one in order.tolist():
        at = int(np.flatnonzero(order == one)[0])
        rest = np.delete(order, at)
        into = way[rest, one]
        between = into[:-1] + into[1:] - way[rest[:-1], rest[1:]]
        more = np.concatenate([into[:1], between, into[-1:]])  # where it goes: before rest[k]
        best = int(np.argmin(more))
        if more[best] < more[at]:
            order = np.insert(rest, best, one)
    return order
