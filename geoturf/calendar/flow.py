"""Lots through crews: a line in which a lot is with one crew at a time, and a crew of one count at
one lot."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

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
        first, last = min(self.start, other.start), max(self.finish, other.finish)
        return Span(first, last, self.hours + other.hours)


@dataclass
class Visits:
    """When each task of each phase is done, and when each of a lot, by its place among the lots, is
    begun; in hours of work since the first."""

    spans: dict[tuple[str, str], Span] = field(default_factory=dict)
    starts: dict[tuple[int, str], float] = field(default_factory=dict)  # of a lot's tasks
    finish: float = 0.0

    def add(self, at: int, phase: str, task: str, start: float, hours: float) -> float:
        """A task at the lot ``at``; the hour it is done."""
        span, key = Span(start, start + hours, hours), (phase, task)
        self.starts[at, task] = start
        self.spans[key] = span.with_(self.spans[key]) if key in self.spans else span
        self.finish = max(self.finish, span.finish)
        return span.finish

    def of(self, phase: str, task: str) -> Span | None:
        """None where the task takes no time in the phase."""
        return self.spans.get((phase, task))

    def crew(self, crew: Crew) -> Span:
        """All a crew does."""
        spans = [span for (_, task), span in self.spans.items() if task in crew.tasks]
        return _joined(spans) if spans else Span(0.0, 0.0, 0.0)


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
    for crew in crews:
        free = [0.0] * int(crew.count)  # the hour each crew of this name is free
        order = sorted(range(len(lots)), key=ready.__getitem__)
        for at in order:
            lot = lots[at]
            work = [(task, lot.hours.get(task, 0.0)) for task in crew.tasks]
            if not any(hours for _, hours in work):
                continue
            hour = max(ready[at], heapq.heappop(free))
            for task, hours in work:
                if hours > 0:
                    hour = visits.add(at, lot.phase, task, hour, hours)
            ready[at] = hour
            heapq.heappush(free, hour)
    return visits
