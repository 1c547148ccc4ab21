"""Lots through crews: a line in which a lot is with one crew at a time, and a crew of one count at
one lot."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from geoturf.rules.calendar import Crew


class Lot(NamedTuple):
    """``free``: the hour from which it may be begun; ``hours``: crew-hours by task."""

    phase: str
    free: float
    hours: Mapping[str, float]


class Span(NamedTuple):
    """From the first hour to the last, and the crew-hours worked between them."""

    start: float
    finish: float
    hours: float

    def with_(self, other: Span) -> Span:
        first = min(self.start, other.start)
        last = max(self.finish, other.finish)
        return Span(first, last, self.hours + other.hours)


@dataclass
class Visits:
    """When each task of each phase is done, and when each of a lot, by its place among the lots, is
    begun; in hours of work since the first."""

    spans: dict[tuple[str, str], Span] = field(default_factory=dict)
    # of a task: lots that it takes time on, and the hour it is begun on each
    starts: list[tuple[str, np.ndarray, np.ndarray]] = field(default_factory=list)
    finish: float = 0.0

    def add(
        self,
        order: np.ndarray,
        phase: np.ndarray,
        tasks: Sequence[str],
        begun: np.ndarray,
        hours: np.ndarray,
    ) -> None:
        """Visits of a crew to the lots of an ``order``, as they are begun: of each its ``phase``
        (n,), the hour it is ``begun`` and the ``hours`` of each of the ``tasks`` (n, tasks), one
        after the other."""
        ends = np.cumsum(np.column_stack([begun, np.maximum(hours, 0.0)]), axis=1)
        for k, task in enumerate(tasks):
            some = hours[:, k] > 0
            self.starts.append((task, order[some], ends[some, k]))
        for name in dict.fromkeys(phase.tolist()):
            for k, task in enumerate(tasks):
                at = (phase == name) & (hours[:, k] > 0)
                if at.any():
                    spent = float(np.cumsum(hours[at, k])[-1])  # one by one, in their order
                    first = float(ends[at, k].min())
                    last = float(ends[at, k + 1].max())
                    self.spans[name, task] = Span(first, last, spent)
                    self.finish = max(self.finish, last)

    def of(self, phase: str, task: str) -> Span | None:
        """None where the task takes no time in the phase."""
        return self.spans.get((phase, task))

    def crew(self, crew: Crew) -> Span:
        """All a crew does."""
        spans = [span for (_, task), span in self.spans.items() if task in crew.tasks]
        if spans:
            return _joined(spans)
        return Span(0.0, 0.0, 0.0)


def _joined(spans: Iterable[Span]) -> Span:
    first, *rest = spans
    for one in rest:
        first = first.with_(one)
    return first


def through(lots: Sequence[Lot], crews: Sequence[Crew]) -> Visits:
    """The lots in their order, each with whichever crew of a name is free first: a visit starts
    when the crew before it has left the lot and one of its crews is free. With one crew of each
    name that is the recurrence of a permutation flow shop, finish[lot, crew] = max(finish[lot - 1,
    crew], finish[lot, crew - 1]) + hours (Johnson 1954, from memory)."""
    visits = Visits()
    ready = [lot.free for lot in lots]
    phase = np.array([lot.phase for lot in lots], object)
    for crew in crews:
        hours = np.array([[lot.hours.get(task, 0.0) for task in crew.tasks] for lot in lots], float)
        hours = hours.reshape(len(lots), len(crew.tasks))
        wanted = np.flatnonzero(hours.any(axis=1)).tolist()
        order = sorted(wanted, key=ready.__getitem__)
        begun = _begun(order, hours.tolist(), ready, int(crew.count))
        at = np.array(order, int)
        visits.add(at, phase[at], crew.tasks, np.array(begun), hours[at])
    return visits


def _begun(
    order: Sequence[int], hours: Sequence[Sequence[float]], ready: list[float], crews: int
) -> list[float]:
    """The hour that each lot of ``order`` is begun in by the first of so many crews that is free;
    ``ready`` is moved on to when each is done."""
    free = [0.0] * crews
    begun = []
    for at in order:
        hour = max(ready[at], free[0])
        begun.append(hour)
        for spent in hours[at]:
            if spent > 0:
                hour += spent
        ready[at] = hour
        heapq.heapreplace(free, hour)
    return begun
