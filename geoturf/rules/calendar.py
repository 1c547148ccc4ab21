"""Rules of time: crews and their tasks, working days, when what is delivered."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

from pydantic import field_validator, model_validator

from geoturf.rules.base import COMMON, Number, Rules, rule
from geoturf.rules.items import of_kind
from geoturf.rules.offer import OWN, Day

WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
#: every task of a lot, in the order of the work
TASKS = tuple(item.key.removeprefix("labour_") for item in of_kind("labour"))
#: tasks whose place among the others hangs on the lot: trenches, boards and heads may come sooner
_ANY_TIME = ("drain", "edging", "caps")


class Crew(Rules):
    """Who does some of the tasks of every lot."""

    name: str = rule(..., "what the crew is called", source=OWN)
    tasks: tuple[str, ...] = rule(TASKS, "what it does at a lot, in this order", source=COMMON)
    count: Number = rule(1, "how many such crews work side by side, each at its own lot")

    @field_validator("tasks")
    @classmethod
    def _are_tasks(cls, tasks: tuple[str, ...]) -> tuple[str, ...]:
        strange = [task for task in tasks if task not in TASKS]
        if strange:
            raise ValueError(f"'{strange[0]}' is no task; tasks are {', '.join(TASKS)}")
        return tasks

    @field_validator("count")
    @classmethod
    def _is_whole(cls, count: float) -> float:
        if count != int(count) or not 1 <= count <= MOST_CREWS:
            raise ValueError(f"count must be a whole number, 1 to {MOST_CREWS}")
        return count


MOST_CREWS = 1000  # of one name


class CalendarRules(Rules):
    """When the work is done. Lots are done one after another: a crew does its tasks at a lot in one
    visit, and goes on; crews come to a lot in the order they are listed."""

    crews: tuple[Crew, ...] = rule(
        ({"name": "Crew"},), "a list of tables with name, tasks and count, in the order of the work"
    )
    working_days: tuple[Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"], ...] = rule(
        WEEK[:5], "days of the week that are worked", source=COMMON
    )
    holidays: tuple[Day, ...] = rule((), "days that are not worked, whatever day of the week")
    start: Day | None = rule(
        None,
        "first day of the work; without it, and without a phase's start, days are only numbered",
        source=OWN,
    )
    delivery_lead: Number = rule(
        3, "working days that turf is delivered before it is laid", least=0, most=250
    )

    @field_validator("working_days")
    @classmethod
    def _some_are_worked(cls, days: tuple[str, ...]) -> tuple[str, ...]:
        if not days:
            raise ValueError('no day is worked; list some, as in ["mon", "tue"]')
        return days

    @field_validator("delivery_lead")
    @classmethod
    def _are_days(cls, lead: float) -> float:
        if lead != int(lead):
            raise ValueError(f"{lead:g} is no whole number of working days")
        return lead

    @model_validator(mode="after")
    def _every_task_is_done(self) -> CalendarRules:
        done = [task for crew in self.crews for task in crew.tasks]
        names = [crew.name for crew in self.crews]
        twice = [task for task in TASKS if done.count(task) > 1]
        lacking = [task for task in TASKS if task not in done]
        if len(set(names)) < len(names):
            raise ValueError("crews: two have one name")
        if twice:
            raise ValueError(f"crews: '{twice[0]}' is done twice; take it off one list of tasks")
        if lacking:
            raise ValueError(f"crews: nobody does '{lacking[0]}'; put it on a crew's list of tasks")
        fixed = [task for task in done if task not in _ANY_TIME]
        for one, then in pairwise(fixed):
            if TASKS.index(one) > TASKS.index(then):
                raise ValueError(f"crews: '{one}' would come before '{then}', which it lies on")
        return self
