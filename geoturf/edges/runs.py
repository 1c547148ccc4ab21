"""Runs: stretches of one kind that follow each other round a ring."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from geoturf.edges.borders import Borders
from geoturf.edges.contact import Stretches

KINDS = ("open", "planter", "fence", "paving", "building", "shared")


def number(label: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """The run each stretch is in: equal labels side by side round a ring, over its first vertex
    too; int (n,), rising."""
    if not len(label):
        return np.empty(0, dtype=np.int64)
    new_ring = np.append(True, ring[1:] != ring[:-1])
    begins = new_ring | np.append(True, label[1:] != label[:-1])
    run = np.cumsum(begins) - 1
    first = np.flatnonzero(new_ring)
    last = np.append(first[1:], len(ring)) - 1
    over = (label[first] == label[last]) & (run[first] != run[last])
    joined = np.arange(run[-1] + 1)
    joined[run[last[over]]] = run[first[over]]
    return np.unique(joined[run], return_inverse=True)[1]


def settle(
    contact: np.ndarray, along: np.ndarray, length: np.ndarray, ring: np.ndarray, tolerance_m: float
) -> np.ndarray:
    """Contact as a person would see it; bool (n,).

    A gap in a contact is none if it is no longer than two tolerances: the corner of a house one
    tolerance away leaves one. What then is in touch for no more than three tolerances, and for less
    than half of that running along, merely touches or crosses, and is dropped: the corner of a
    house that points at the edge is near it for up to 2.5."""
    run = number(contact, ring)
    touched = np.bincount(ring, contact, minlength=ring.max(initial=0) + 1) > 0
    short = np.bincount(run, length)[run] <= 2 * tolerance_m
    contact = contact | (short & touched[ring])  # a new array: the caller's stays
    run = number(contact, ring)
    total = np.bincount(run, length)
    sure = np.bincount(run, length * along)
    stays = (total > 3 * tolerance_m) | (2 * sure >= total)
    contact &= stays[run]
    return contact


def carry_on(neighbour: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """Fills -1 from the stretch before it round the ring; rings that are all -1 stay so."""
    here = np.where(neighbour >= 0, np.arange(len(ring)), -1)
    last = np.full(ring.max(initial=0) + 1, -1)
    np.maximum.at(last, ring, here)
    before = np.maximum.accumulate(here)
    same = (before >= 0) & (ring[before] == ring)
    source = np.where(same, before, last[ring])
    return np.where(source >= 0, neighbour[source], -1)


def runs_of(
    mine: Borders, cuts: Stretches, kind: np.ndarray, neighbour: np.ndarray
) -> pd.DataFrame:
    """The runs, in the order of areas and rings. ``kind``: index in `KINDS`, ``neighbour``: row or
    -1, one a stretch."""
    ring = mine.ring[cuts.segment]
    run = number(kind * (neighbour.max(initial=-1) + 2) + neighbour + 1, ring)
    order, first, last = _in_turn(run, ring)
    whole = np.bincount(ring)[ring[first]] == np.bincount(run)
    return pd.DataFrame(
        {
            "area_index": mine.owner[cuts.segment[first]],
            "kind": np.array(KINDS, dtype=object)[kind[first]],
            "neighbour": neighbour[first],
            "closed": whole,
            "length_m": np.bincount(run, cuts.length),
            "geometry": _lines(mine, cuts, run, order, first, last),
        }
    )


def _in_turn(run: np.ndarray, ring: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stretches ordered by run and, within it, as one walks along it; first and last stretch of
    each run."""
    here = np.arange(len(run))
    ring_first = np.searchsorted(ring, ring)
    ring_last = np.searchsorted(ring, ring, side="right") - 1
    before = np.where(here == ring_first, ring_last, here - 1)
    first = np.unique(run, return_index=True)[
        1
    ]  # right for whole rings; the others begin after another run
    begins = np.flatnonzero(run[before] != run)
    first[run[begins]] = begins
    turn = (here - first[run]) % (ring_last - ring_first + 1)
    order = np.lexsort([turn, run])
    last = (
        order[np.append(np.flatnonzero(np.diff(run[order])), len(run) - 1)] if len(run) else order
    )
    return order, first, last


def _lines(
    mine: Borders,
    cuts: Stretches,
    run: np.ndarray,
    order: np.ndarray,
    first: np.ndarray,
    last: np.ndarray,
) -> np.ndarray:
    """LineStrings of the runs: vertices of the ring, and the cuts at both ends."""
    leads = np.zeros(len(run), dtype=bool)
    leads[first] = True
    shown = order[(leads | (cuts.begin == 0))[order]]
    segment = cuts.segment[last]
    finish = cuts.finish[last]
    whole = (finish == mine.length[segment])[:, None]
    ends = np.where(whole, mine.end[segment], mine.at(segment, finish))
    xy = np.concatenate([mine.at(cuts.segment[shown], cuts.begin[shown]), ends])
    of = np.concatenate([run[shown], run[last]])
    sort = np.argsort(of, kind="stable")
    return np.asarray(shapely.linestrings(xy[sort], indices=of[sort]))
