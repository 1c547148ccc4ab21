"""What a run takes: times each stage and tells how far it is."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import ParamSpec, TypeVar

from geoturf.memory import give_back

P = ParamSpec("P")
T = TypeVar("T")
Progress = Callable[[str, int, int], object]  # stage, done, of


class Clock:
    """``seconds`` by stage; what a stage calls by the clock itself counts as that other stage's.
    What a stage is done with is given back when it ends."""

    def __init__(self, progress: Progress | None = None):
        self.seconds: dict[str, float] = {}
        self._progress = progress or _nobody
        self._whole = ""  # what all stages count as, while it lasts
        self._told = 0.0  # seconds of stages within the stage that is on

    def __call__(self, stage: str, work: Callable[P, T], *given: P.args, **named: P.kwargs) -> T:
        """What ``work`` gives, told and timed as ``stage``."""
        self._progress(self._whole or stage, 0, 0)
        start = time.perf_counter()
        before = self._told
        out = work(*given, **named)
        give_back()
        spent = time.perf_counter() - start - (self._told - before)
        self._told += spent
        if not self._whole:
            self._add(stage, spent)
        return out

    @contextmanager
    def whole(self, stage: str) -> Iterator[None]:
        """Work that has stages of its own, told and timed as one."""
        start = time.perf_counter()
        self._whole = stage
        yield
        self._whole = ""
        self._add(stage, time.perf_counter() - start)

    def tick(self, stage: str, of: int) -> Callable[[int], None]:
        """What is told, of a stage, that so many more of its things are done."""
        done = 0

        def told(more: int) -> None:
            nonlocal done
            done += more
            self._progress(self._whole or stage, done, of)

        return told

    def _add(self, stage: str, spent: float) -> None:
        self.seconds[stage] = round(self.seconds.get(stage, 0.0) + spent, 4)


def _nobody(stage: str, done: int, of: int) -> None:
    """Hears no progress."""
