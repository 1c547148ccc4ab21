"""When the work is done: the last day, what holds it up, and a bar a task."""

from __future__ import annotations

from datetime import date
from typing import NamedTuple

from geoturf.model import Calendar, CalendarTask
from geoturf.planner.html import MOST_ROWS, cut, folded, section, table, tag
from geoturf.records import records

_WIDTH = 1000  # of a bar's drawing, whatever the days


def told(calendar: Calendar) -> object:
    """The section; nothing where no work takes time."""
    if not len(calendar.rows):
        return ""
    lines = [tag("p", line) for line in in_words(calendar)]
    return section("When", *lines, folded("Task by task", _bars(calendar), cut(len(calendar.rows))))


def in_words(calendar: Calendar) -> list[str]:
    """The last day and each crew, the one that holds the work up most first."""
    if calendar.days == 0:
        return []
    days = f"{calendar.days:,} working days"
    finish = max((day for day in calendar.rows["finish"] if day), default=None)
    dates = ""
    if calendar.first and finish:
        dates = f", {calendar.first} to {finish}"
    crews = sorted(records(calendar.crews, _Crew), key=lambda crew: -crew.days_sooner)
    return [f"{days}{dates}, lot after lot.", *(_crew(crew) for crew in crews if crew.crew_hours)]


class _Crew(NamedTuple):
    crew: str
    crews: int
    crew_hours: float
    busy: float
    days_sooner: int
    finish: date | None


def _crew(crew: _Crew) -> str:
    """How busy a crew is, and what one more would bring."""
    sooner = {0: "no day sooner", 1: "a day sooner"}.get(
        crew.days_sooner, f"{crew.days_sooner:,} days sooner"
    )
    then = ""
    if crew.finish and crew.days_sooner > 0:
        then = f", {crew.finish}"
    name = crew.crew
    if crew.crews > 1:
        name = f"{crew.crew} ({crew.crews})"
    busy = f"at work {100 * crew.busy:.0f} % of its time"
    return (
        f"{name}: {crew.crew_hours:,.0f} crew-hours, {busy}; one more, and all is done "
        f"{sooner}{then}."
    )


def _bars(calendar: Calendar) -> object:
    heads = ("phase", "task", "crew", "from", "to", "crew days", "")
    rows = records(calendar.rows.head(MOST_ROWS), CalendarTask)
    first = min(1, int(calendar.rows["start_day"].min()))
    last = max(calendar.days, int(calendar.rows["finish_day"].max()))
    return table(heads, [_row(task, first, last) for task in rows], text=(0, 1, 2, 3, 4, 6))


def _row(task: CalendarTask, first: int, last: int) -> tuple[object, ...]:
    start = task.start or f"day {task.start_day}"
    finish = task.finish or f"day {task.finish_day}"
    days = ""
    if task.crew:
        days = f"{task.crew_days:,.1f}"
    bar = _bar(task.start_day - first, task.finish_day - first + 1, last - first + 1)
    return (task.phase, task.description, task.crew, start, finish, days, bar)


def _bar(start: int, end: int, days: int) -> object:
    """From one day to another of all ``days``, at least a hair wide."""
    x = _WIDTH * start / days
    width = max(4.0, _WIDTH * (end - start) / days)
    size = {
        "x": f"{x:.1f}",
        "y": "0",
        "width": f"{width:.1f}",
        "height": "10",
        "fill": "#555",
    }
    box = {
        "viewBox": f"0 0 {_WIDTH} 10",
        "preserveAspectRatio": "none",
        "aria_hidden": "true",
    }
    return tag("svg", tag("rect", **size), class_="bar", **box)
