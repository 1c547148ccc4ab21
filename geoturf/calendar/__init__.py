"""Calendar: from the crew-hours of a takeoff to days, crew by crew.

days  working days, numbered from 1, and their dates
flow  lots through crews: who is where when

Lots are done in their order, those of one phase before the next. A crew does its tasks at a lot in
one visit and goes on to the next lot; the crew after it comes when it has left, and is free. So
tasks of different crews overlap, those of one crew do not. Nothing hangs on a clock: without a
start, days have numbers and no dates.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np
import pandas as pd

from geoturf.calendar.days import Days
from geoturf.calendar.flow import Lot, Visits, through
from geoturf.model import Calendar, Finding, Ground, Takeoff
from geoturf.rules.calendar import CalendarRules, Crew
from geoturf.rules.items import ITEMS
from geoturf.rules.offer import PhaseDates
from geoturf.units import whole_steps

__all__ = ["schedule"]

_DELIVERY = "delivery"
_LAYS = "turf"  # the task that turf is delivered for


def schedule(
    ground: Ground,
    takeoff: Takeoff,
    rules: CalendarRules,
    hours_a_day: float,
    dates: Mapping[str, PhaseDates],
    order: Sequence[str] = (),
) -> Calendar:
    """When each task of each phase is done. ``hours_a_day``: crew-hours in a working day;
    ``dates``: what is agreed of the phases; ``order``: sites in the order of work, where it is not
    that of the data."""
    hours = _ordered(_hours(ground, takeoff), order)
    phases = _in_order(list(dict.fromkeys(hours.index.get_level_values("phase"))), dates)
    days = Days(rules, _first(rules, phases, dates))
    lots = _lots(hours, phases, dates, days, hours_a_day)
    visits = through(lots, rules.crews)
    rows = _rows(visits, phases, rules, hours_a_day, days, dates)
    crews = _crews(lots, visits, rules, hours_a_day, days)
    late = tuple(_late(rows, dates))
    begun = _begun(hours, phases, visits, hours_a_day, days)
    return Calendar(rows, crews, _last_day(visits, hours_a_day), days.date(1), begun, late)


def _hours(ground: Ground, takeoff: Takeoff) -> pd.DataFrame:
    """Crew-hours by phase and site (index, as they come), a column a task."""
    tasks = [key for key in takeoff.areas.columns if key in ITEMS and ITEMS[key].kind == "labour"]
    by = [ground.areas[name].astype(str).to_numpy() for name in ("phase", "site")]
    named = takeoff.areas[tasks].rename(columns=lambda key: key.removeprefix("labour_"))
    return named.groupby(by, sort=False).sum().rename_axis(["phase", "site"])


def _ordered(hours: pd.DataFrame, order: Sequence[str]) -> pd.DataFrame:
    """The lots of each phase in the order of work."""
    rank = {site: at for at, site in enumerate(order)}
    turns = [rank.get(site, 0) for site in hours.index.get_level_values("site")]
    return hours.iloc[np.argsort(turns, kind="stable")]


def _in_order(phases: list[str], dates: Mapping[str, PhaseDates]) -> list[str]:
    """By the day each starts; those without a start follow, as they come."""
    return sorted(phases, key=lambda phase: _start(phase, dates) or date.max)


def _start(phase: str, dates: Mapping[str, PhaseDates]) -> date | None:
    if phase in dates:
        return dates[phase].start
    return None


def _first(rules: CalendarRules, phases: list[str], dates: Mapping[str, PhaseDates]) -> date | None:
    """The day the work starts, as far as it is known."""
    starts = [start for phase in phases if (start := _start(phase, dates))]
    return min([*starts, *([rules.start] if rules.start else [])], default=None)


def _lots(
    hours: pd.DataFrame,
    phases: list[str],
    dates: Mapping[str, PhaseDates],
    days: Days,
    hours_a_day: float,
) -> list[Lot]:
    """The lots in the order of their phases, each with the hour it may be begun."""
    lots: list[Lot] = []
    free = 0.0  # a phase without a start is begun no sooner than the one before it
    for phase in phases:
        start = _start(phase, dates)
        free = (days.number(start) - 1) * hours_a_day if start else free
        for row in hours.xs(phase, level="phase").to_numpy(float).tolist():
            own = dict(zip(map(str, hours.columns), row, strict=True))
            lots += [Lot(phase, free, own)]
    return lots


BEGUN = ["phase", "site", "task", "day", "date"]


def _begun(
    hours: pd.DataFrame, phases: list[str], visits: Visits, hours_a_day: float, days: Days
) -> pd.DataFrame:
    """A row for each task of a lot that takes time, in the order of the work."""
    lots = [(phase, site) for phase in phases for site in hours.xs(phase, level="phase").index]
    phase, site = (np.array([lot[k] for lot in lots], object) for k in (0, 1))
    task = np.repeat(
        np.array([one for one, _, _ in visits.starts], object),
        [len(at) for _, at, _ in visits.starts],
    )
    at = np.concatenate([np.zeros(0, int), *(at for _, at, _ in visits.starts)])
    hour = np.concatenate([np.zeros(0), *(hour for _, _, hour in visits.starts)])
    order = np.lexsort([at, hour])
    at = at[order]
    hour = hour[order]
    task = task[order]
    day = np.floor(hour / hours_a_day + _TINY).astype(int) + 1
    dated = {one: days.date(one) for one in np.unique(day).tolist()}
    columns = (phase[at], site[at], task, day, [dated[one] for one in day.tolist()])
    return pd.DataFrame(dict(zip(BEGUN, columns, strict=True)), columns=BEGUN)


def _rows(
    visits: Visits,
    phases: list[str],
    rules: CalendarRules,
    hours_a_day: float,
    days: Days,
    dates: Mapping[str, PhaseDates],
) -> pd.DataFrame:
    """A row a task of each phase that takes time, the turf's delivery before it is laid."""
    rows: list[tuple[object, ...]] = []
    for phase in phases:
        for crew in rules.crews:
            for task in crew.tasks:
                spent = visits.of(phase, task)
                if spent is None:
                    continue
                start = _day(spent.start, hours_a_day)
                finish = _end(spent.finish, hours_a_day)
                if task == _LAYS:
                    rows.append(_delivery(phase, start, rules, days, dates))
                told = (phase, task, ITEMS[f"labour_{task}"].title, crew.name, start, finish)
                when = (days.date(start), days.date(finish))
                rows.append((*told, *when, spent.hours / hours_a_day, spent.hours))
    return pd.DataFrame(rows, columns=COLUMNS)


COLUMNS = [
    "phase",
    "task",
    "description",
    "crew",
    "start_day",
    "finish_day",
    "start",
    "finish",
    "crew_days",
    "crew_hours",
]


def _delivery(
    phase: str, laid: int, rules: CalendarRules, days: Days, dates: Mapping[str, PhaseDates]
) -> tuple[object, ...]:
    """The day turf is delivered: the agreed one, or some working days before it is laid."""
    agreed = dates[phase].deliver_on if phase in dates else None
    number = laid - int(rules.delivery_lead)
    day = agreed or days.date(number)
    number = days.number(day) if day and days.first else number
    return (phase, _DELIVERY, "Delivery of turf", "", number, number, day, day, 0.0, 0.0)


def _day(hour: float, hours_a_day: float) -> int:
    """The number of the day that an hour begins in."""
    return int(np.floor(hour / hours_a_day + _TINY)) + 1


def _end(hour: float, hours_a_day: float) -> int:
    """The number of the day that an hour ends in."""
    return max(1, int(whole_steps(hour, hours_a_day)))


_TINY = 1e-6  # of a day: sums of hours lose their last digits


def _last_day(visits: Visits, hours_a_day: float) -> int:
    if visits.finish > 0:
        return _end(visits.finish, hours_a_day)
    return 0


def _crews(
    lots: list[Lot], visits: Visits, rules: CalendarRules, hours_a_day: float, days: Days
) -> pd.DataFrame:
    """crew, crews (how many of it), crew_hours, busy (part of the time from the first visit to the
    last that it works), days_sooner and finish: how much sooner all is done with one more of it."""
    rows = []
    last = _last_day(visits, hours_a_day)
    for at, crew in enumerate(rules.crews):
        more = [_one_more(one) if k == at else one for k, one in enumerate(rules.crews)]
        then = _last_day(through(lots, more), hours_a_day)
        spent = visits.crew(crew)
        between = (spent.finish - spent.start) * crew.count
        busy = 0.0
        if between > 0:
            busy = spent.hours / between
        rows.append((crew.name, int(crew.count), spent.hours, busy, last - then, days.date(then)))
    named = ["crew", "crews", "crew_hours", "busy", "days_sooner", "finish"]
    return pd.DataFrame(rows, columns=named)


def _one_more(crew: Crew) -> Crew:
    return crew.model_copy(update={"count": crew.count + 1})


def _late(rows: pd.DataFrame, dates: Mapping[str, PhaseDates]) -> list[Finding]:
    """What does not come by the day that is agreed."""
    found = []
    for phase, tasks in rows.groupby("phase", sort=False):
        agreed = dates.get(str(phase), PhaseDates())
        work = tasks[tasks["task"] != _DELIVERY]
        start = work["start"].min()
        finish = work["finish"].max()
        laid = work.loc[work["task"] == _LAYS, "start"].min()
        if agreed.start and start > agreed.start:
            found.append(_warn(f"phase {phase} begins {start}, not {agreed.start} as agreed"))
        if agreed.finish and pd.notna(finish) and finish > agreed.finish:
            found.append(_warn(f"phase {phase} is done {finish}, not by {agreed.finish} as agreed"))
        if agreed.deliver_on and pd.notna(laid) and agreed.deliver_on > laid:
            when = f"is delivered {agreed.deliver_on}, after it is to be laid, {laid}"
            found.append(_warn(f"phase {phase}: turf {when}"))
    return found


def _warn(what: str) -> Finding:
    mend = "change [calendar] crews or the dates in [terms.phases]"
    return Finding("warning", "late", f"{what}, with the crews and rates given; {mend}")
