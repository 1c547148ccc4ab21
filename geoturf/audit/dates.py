"""calendar.csv from the takeoff's crew-hours: as many days as they take, on days that are
worked."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Any

from geoturf.audit.folder import Folder, Table
from geoturf.audit.told import Told, between, first_wrong

_WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_LAYS = "turf"


def promises(folder: Folder) -> Iterator[Told]:
    table = folder.table("calendar")
    yield _hours(folder, table)
    yield _crew_days(folder, table)
    yield from _capacity(folder, table)
    yield _dates(folder, table)
    yield _deliveries(folder, table)


def _hours(folder: Folder, table: Table) -> Told:
    """A task takes the crew-hours of its phase in the takeoff; no task of the takeoff is
    missing."""
    items = folder.table("materials")
    keys = zip(items.text("scope"), items.text("item"), strict=True)
    crew = [unit == "crew-hour" for unit in items.text("order_unit")]
    rows = zip(keys, items.numbers("net_quantity"), crew, strict=True)
    due = {key: hours for key, hours, labour in rows if labour and key[0] != "bid"}
    named = zip(table.text("phase"), table.text("description"), strict=True)
    told = {
        (f"phase {phase}", task): hours
        for (phase, task), hours in zip(named, table.numbers("crew_hours"), strict=True)
        if hours > 0
    }
    keys_ = list(dict.fromkeys((*due, *told)))
    names = [f"{scope}, {task}" for scope, task in keys_]
    own = [due.get(key, 0.0) for key in keys_]
    return between(
        "crew-hours",
        "crew-hours of tasks",
        names,
        [told.get(key, 0.0) for key in keys_],
        [hours - 0.056 for hours in own],  # one decimal beside two
        [hours + 0.056 for hours in own],
        "h",
    )


def _crew_days(folder: Folder, table: Table) -> Told:
    hours = table.numbers("crew_hours")
    day = _day_h(folder)
    own = hours / day
    room = 0.0051 + 0.051 / day
    told = table.numbers("crew_days")
    names = _names(table)
    return between("crew-days", "days of a crew", names, told, own - room, own + room)


def _capacity(folder: Folder, table: Table) -> Iterator[Told]:
    """No crew works more in the days of a task, or of all its tasks, than it has hours; and a task
    is not begun after it is done."""
    day = _day_h(folder)
    crews = _crews(folder)
    first = table.numbers("start_day")
    last = table.numbers("finish_day")
    hours = table.numbers("crew_hours")
    names = _names(table)
    of = table.text("crew")
    most = [
        (b - a + 1) * day * crews.get(crew, 0.0) for a, b, crew in zip(first, last, of, strict=True)
    ]
    room = 0.051 + 1e-6
    working = [k for k, crew in enumerate(of) if crew]
    yield between(
        "days of tasks",
        "crew-hours in its days of a task",
        [names[k] for k in working],
        [hours[k] for k in working],
        0.0,
        [most[k] + room for k in working],
        "h",
    )
    spans = {crew: [k for k in working if of[k] == crew] for crew in dict.fromkeys(of) if crew}
    yield between(
        "days of crews",
        "crew-hours from a crew's first day to its last",
        list(spans),
        [sum(hours[k] for k in rows) for rows in spans.values()],
        0.0,
        [
            (max(last[k] for k in rows) - min(first[k] for k in rows) + 1) * day * crews[crew]
            + room * len(rows)
            for crew, rows in spans.items()
        ],
        "h",
    )


def _dates(folder: Folder, table: Table) -> Told:
    """Day numbers count the working days from the first, and every date is its number's."""
    rules = folder.settings["calendar"]
    week = {_WEEK.index(day) for day in rules["working_days"]}
    holidays = {datetime.date.fromisoformat(day) for day in rules["holidays"]}
    dated = _dated(table)
    wrong = []
    count = 0
    for (name, number, day), (_, other, before) in zip(dated, [*dated[:1], *dated], strict=False):
        count += 1
        worked = _worked(min(day, before), max(day, before), week, holidays)
        if number - other != (worked if day >= before else -worked):
            wrong.append(f"{name}: {day} is {worked} working days from {before}, day {other:.0f}")
        if _off(day, week, holidays) and name.split(", ")[-1] != "Delivery of turf":
            wrong.append(f"{name}: {day} is not worked")
    return first_wrong("dates", "dates of tasks", wrong, count)


def _dated(table: Table) -> list[tuple[str, float, datetime.date]]:
    """What is told a date, but for deliveries, which may be agreed on any day: day number and
    date."""
    out = []
    for end in ("start", "finish"):
        days = table.numbers(f"{end}_day")
        dates = table.text(end)
        rows = zip(_names(table), table.text("crew"), days, dates, strict=True)
        out += [
            (name, number, datetime.date.fromisoformat(date))
            for name, crew, number, date in rows
            if crew and date
        ]
    return out


def _off(day: datetime.date, week: set[int], holidays: set[datetime.date]) -> bool:
    return day.weekday() not in week or day in holidays


def _worked(
    first: datetime.date, last: datetime.date, week: set[int], holidays: set[datetime.date]
) -> int:
    """Working days after ``first``, up to ``last``: whole weeks, the rest, less holidays."""
    weeks, rest = divmod((last - first).days, 7)
    days = weeks * len(week) + sum(
        (last - datetime.timedelta(back)).weekday() in week for back in range(rest)
    )
    return days - sum(first < day <= last and day.weekday() in week for day in holidays)


def _deliveries(folder: Folder, table: Table) -> Told:
    """Turf is there when it is laid, the bid's lead before, but where another day is agreed."""
    lead = folder.settings["calendar"]["delivery_lead"]
    agreed = folder.settings["terms"].get("phases") or {}
    rows = zip(table.text("phase"), table.text("task"), table.numbers("start_day"), strict=True)
    days = {(phase, task): day for phase, task, day in rows}
    wrong = []
    count = 0
    for (phase, task), day in days.items():
        if task != _LAYS or (agreed.get(phase) or {}).get("deliver_on"):
            continue
        count += 1
        told = days.get((phase, "delivery"))
        if told != day - lead:
            wrong.append(f"phase {phase}: delivered on day {told}, laid from day {day:.0f}")
    return first_wrong("deliveries", "deliveries of turf", wrong, count)


def _names(table: Table) -> list[str]:
    pairs = zip(table.text("phase"), table.text("description"), strict=True)
    return [f"phase {phase}, {task}" for phase, task in pairs]


def _day_h(folder: Folder) -> float:
    rules: dict[str, Any] = folder.settings["materials"]
    return float(rules["hours_a_day"])


def _crews(folder: Folder) -> dict[str, float]:
    """How many crews there are of each name."""
    crews: dict[str, float] = {}
    for one in folder.settings["calendar"]["crews"]:
        name = str(one["name"]).replace("'", "")
        crews[name] = crews.get(name, 0.0) + float(one["count"])
    return crews
