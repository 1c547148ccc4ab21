"""Working days: numbers from 1, and the dates they fall on."""

from __future__ import annotations

import datetime

from geoturf.rules.calendar import WEEK, CalendarRules

_DAY = datetime.timedelta(1)


class Days:
    """The working days about ``first``: day 1 is it, or the next that is worked; those before it
    are numbered 0, -1 … Without ``first`` no day has a date."""

    def __init__(self, rules: CalendarRules, first: datetime.date | None):
        self.week = {WEEK.index(day) for day in rules.working_days}
        self.holidays = set(rules.holidays)
        self.first = first and self._worked(first, _DAY)
        self.ahead = [self.first] if self.first else []  # days 1, 2 …
        self.behind = [self.first] if self.first else []  # days 1, 0, -1 …

    def date(self, number: int) -> datetime.date | None:
        """The date of a day; None where no start is known, or dates have come to an end."""
        walked, step = (self.ahead, _DAY) if number > 0 else (self.behind, -_DAY)
        at = number - 1 if number > 0 else 1 - number
        try:
            while walked and len(walked) <= at:
                walked.append(self._worked(walked[-1] + step, step))
        except OverflowError:  # the year 9999 is over
            return None
        return walked[at] if walked else None

    def number(self, day: datetime.date) -> int:
        """The number of a date, where a start is known; of one that is not worked, that of the next
        day that is."""
        day = self._worked(day, _DAY)
        number = 1
        while (at := self.date(number)) and at != day:
            number += 1 if at < day else -1
        return number

    def _worked(self, day: datetime.date, step: datetime.timedelta) -> datetime.date:
        """The day, or the next in the direction of ``step`` that is worked."""
        while day.weekday() not in self.week or day in self.holidays:
            day += step
        return day
