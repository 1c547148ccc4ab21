"""How per-area work is carried out: one after another, in processes, or on a Dask cluster. One
interface, one result.

Work is a plain function of one picklable item. Results come back in the order of the items, so that
the outcome does not depend on who did the work.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import Any, Protocol, TypeVar

from geoturf.workers import Pool

Item = TypeVar("Item")
Out = TypeVar("Out")


class Engine(Protocol):
    workers: int

    @property
    def started(self) -> bool:
        """Whether workers are there already, so that little work is worth handing to them."""

    def prepare(self, work: Callable[[], object]) -> None:
        """Workers start up and do ``work`` each, while this process goes on."""

    def begin(self, work: Callable[[Item], Out], item: Item) -> Callable[[], Out]:
        """A worker does ``work(item)`` while this process goes on. Gives what waits for it (or,
        without workers, does it)."""

    def map(
        self,
        work: Callable[[Item], Out],
        items: Sequence[Item],
        tick: Callable[[int], object] | None = None,
    ) -> list[Out]:
        """``[work(item) for item in items]``; ``tick(n)`` is told when n more are done."""


class Serial:
    """In this process."""

    workers = 1
    started = False

    def prepare(self, work: Callable[[], object]) -> None:
        pass

    def begin(self, work: Callable[[Item], Out], item: Item) -> Callable[[], Out]:
        return partial(work, item)

    def map(
        self,
        work: Callable[[Item], Out],
        items: Sequence[Item],
        tick: Callable[[int], object] | None = None,
    ) -> list[Out]:
        done = []
        for item in items:
            done.append(work(item))
            if tick:
                tick(1)
        return done


class Processes:
    """In ``workers`` processes, started afresh (never forked: GDAL and PROJ do not survive a fork)
    at the first use and kept for the next. Leave with `close`, or use it in a ``with`` statement.

    Work of a worker that ends on the way is done by the others, and by this process when none is
    left; ``told`` is given a line about it."""

    def __init__(self, workers: int | None = None, told: Callable[[str], object] | None = None):
        self.workers = workers or os.cpu_count() or 1
        self.told = told or (lambda line: None)
        self.pool: Pool | None = None

    @property
    def started(self) -> bool:
        return self.pool is not None

    def map(
        self,
        work: Callable[[Item], Out],
        items: Sequence[Item],
        tick: Callable[[int], object] | None = None,
    ) -> list[Out]:
        if self.workers == 1 or len(items) < 2:
            return Serial().map(work, items, tick)
        done = []
        for wait in [self.begin(work, item) for item in items]:
            done.append(wait())
            if tick:
                tick(1)
        return done

    def prepare(self, work: Callable[[], object]) -> None:
        if self.workers > 1:
            for _ in range(self.workers):
                self._started().submit(work)

    def begin(self, work: Callable[[Item], Out], item: Item) -> Callable[[], Out]:
        if self.workers == 1:
            return partial(work, item)
        pool = self._started()
        return partial(pool.result, pool.submit(work, item))

    def _started(self) -> Pool:
        if self.pool is None:
            self.pool = Pool(self.workers, self.told)
        return self.pool

    def close(self) -> None:
        if self.pool is not None:
            self.pool.close()
            self.pool = None

    def __enter__(self) -> Processes:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Cluster:
    """On a Dask cluster; ``address`` is the scheduler's. Needs the cluster extra."""

    started = True

    def __init__(self, address: str):
        from distributed import Client

        connect: Callable[[str], Any] = Client  # which distributed types in part only
        self.client = connect(address)
        self.workers = max(1, len(self.client.scheduler_info()["workers"]))

    def prepare(self, work: Callable[[], object]) -> None:
        self.client.run(work, wait=False)

    def begin(self, work: Callable[[Item], Out], item: Item) -> Callable[[], Out]:
        future = self.client.submit(work, item, pure=False)
        wait: Callable[[], Out] = future.result
        return wait

    def map(
        self,
        work: Callable[[Item], Out],
        items: Iterable[Item],
        tick: Callable[[int], object] | None = None,
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
