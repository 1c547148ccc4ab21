"""How per-area work is carried out: one after another, in processes, or on a Dask cluster. One interface, one result.

Work is a plain function of one picklable item. Results come back in the order of the items, so that the outcome does not
depend on who did the work.
"""

from __future__ import annotations

import atexit
import os
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import Any, Protocol, TypeVar

Item = TypeVar("Item")
Out = TypeVar("Out")


class Engine(Protocol):
    workers: int

    def prepare(self, work: Callable[[], Any]) -> None:
        """Workers start up and do ``work`` each, while this process goes on."""

    def begin(self, work: Callable[[Item], Out], item: Item) -> Callable[[], Out]:
        """A worker does ``work(item)`` while this process goes on. Gives what waits for it (or, without workers, does it)."""

    def map(
        self, work: Callable[[Item], Out], items: Sequence[Item], tick: Callable[[int], Any] | None = None
    ) -> list[Out]:
        """``[work(item) for item in items]``; ``tick(n)`` is told when n more are done."""


class Serial:
    """In this process."""

    workers = 1

    def prepare(self, work: Callable[[], Any]) -> None:
        pass

    def begin(self, work: Callable[[Item], Out], item: Item) -> Callable[[], Out]:
        return partial(work, item)

    def map(
        self, work: Callable[[Item], Out], items: Sequence[Item], tick: Callable[[int], Any] | None = None
    ) -> list[Out]:
        done = []
        for item in items:
            done.append(work(item))
            if tick:
                tick(1)
        return done


class Processes:
    """In ``workers`` processes, started afresh (never forked: GDAL and PROJ do not survive a fork) at the first use and kept for
    the next. Leave with `close`, or use it in a ``with`` statement."""

    def __init__(self, workers: int | None = None):
        self.workers = workers or os.cpu_count() or 1
        self.pool: Any = None

    def map(
        self, work: Callable[[Item], Out], items: Sequence[Item], tick: Callable[[int], Any] | None = None
    ) -> list[Out]:
        if self.workers == 1 or len(items) < 2:
            return Serial().map(work, items, tick)
        done = []
        for out in self._started().map(work, items):
            done.append(out)
            if tick:
                tick(1)
        return done

    def prepare(self, work: Callable[[], Any]) -> None:
        if self.workers > 1:
            for _ in range(self.workers):
                self._started().submit(work)

    def begin(self, work: Callable[[Item], Out], item: Item) -> Callable[[], Out]:
        return partial(work, item) if self.workers == 1 else self._started().submit(work, item).result

    def _started(self) -> Any:
        if self.pool is None:
            from concurrent.futures import ProcessPoolExecutor
            from multiprocessing import get_context

            self.pool = ProcessPoolExecutor(self.workers, get_context("spawn"), initializer=_leave_at_once)
        return self.pool

    def close(self) -> None:
        if self.pool is not None:
            self.pool.shutdown(cancel_futures=True)
            self.pool = None

    def __enter__(self) -> Processes:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _leave_at_once() -> None:
    """A worker goes when it is told to, without taking down its modules one by one: that takes half a second, and the run would
    wait for it."""
    atexit.register(os._exit, 0)


class Cluster:
    """On a Dask cluster; ``address`` is the scheduler's. Needs the cluster extra."""

    def __init__(self, address: str):
        from distributed import Client

        self.client = Client(address)
        self.workers = max(1, len(self.client.scheduler_info()["workers"]))

    def prepare(self, work: Callable[[], Any]) -> None:
        self.client.run(work, wait=False)

    def begin(self, work: Callable[[Item], Out], item: Item) -> Callable[[], Out]:
        return self.client.submit(work, item, pure=False).result

    def map(
        self, work: Callable[[Item], Out], items: Iterable[Item], tick: Callable[[int], Any] | None = None
    ) -> list[Out]:
        done = []
        for future in self.client.map(work, list(items), pure=False):
            done.append(future.result())
            if tick:
                tick(1)
        return done

    def __enter__(self) -> Cluster:
        return self

    def __exit__(self, *_: object) -> None:
        self.client.close()
