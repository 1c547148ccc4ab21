"""Lots of a plan in rows of front yards: which of them lean alike, and so are laid alike.

Areas of one shape are repeats of the first of them wherever they stand. Each lies in a row of its
own that says how its pile leans: only those that lean alike, as their shape is turned, take one
layout.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geoturf.layout.models import Place, as_first, from_another, leaning
from geoturf.layout.task import Task
from geoturf.layout.together import SAME_DEG
from geoturf.model import Choices


def by_lean(task: Task, done: dict[int, Choices]) -> Task:
    """The task with repeats in rows parted by how they lean on the first of their shape. ``done``:
    the choices of every area of a row."""
    where = list(task.where)
    families = list(task.families)
    known: dict[int, list[tuple[float, int]]] = {}  # by first of a shape: how one leans, which
    for row in np.flatnonzero(task.turns).tolist():
        place = task.where[row]
        lean = as_first(_bearing(done[row]), place)
        met = known.setdefault(place.of, [])
        apart = min(SAME_DEG, task.turns[row])
        same = next((k for other, k in met if _off(lean, other) <= apart), row)
        if same == row:
            met.append((lean, row))
            where[row] = Place(row, 0.0, np.zeros(2))
        else:
            where[row] = _leaning_as(done, from_another(place, task.where[same], same), row)
        families[row] = same if families[row] == place.of else families[row]
    return replace(task, where=where, families=families)


def _leaning_as(done: dict[int, Choices], place: Place, row: int) -> Place:
    """The place, with the pile to the end that the row's was to lean to."""
    apart = (leaning(_bearing(done[place.of]), place) - _bearing(done[row]) + 180) % 360 - 180
    return replace(place, other_end=bool(abs(apart) > 90))


def _bearing(choices: Choices) -> float:
    return choices.layouts[0].bearing_deg


def _off(one: float, other: float) -> float:
    """Degrees between two bearings, half turns aside."""
    return abs((one - other + 90) % 180 - 90)
