"""Columns shared out to threads come back as one thread would give them."""

import threading

import numpy as np
import pytest
import shapely

from geoturf import plane, threads
from geoturf.threads import FEW, begin, by_rows, each

MANY = FEW + 1_003


def squares(count):
    rng = np.random.default_rng(1)
    x, y = rng.uniform(0, 100, (2, count))
    return shapely.box(x, y, x + 5, y + 5)


def test_many_rows_come_back_in_order_whatever_threads_there_are(monkeypatch):
    """As GEOS answers in one call."""
    these, those = squares(MANY), squares(MANY)[::-1]
    whole = shapely.to_wkb(shapely.difference(these, those))
    for parts in (1, 3, 16):
        monkeypatch.setattr(threads, "_PARTS", parts)
        assert (shapely.to_wkb(by_rows(shapely.difference, these, those)) == whole).all()


def test_few_rows_stay_in_this_thread_and_many_do_not():
    where = set()

    def work(column):
        where.add(threading.get_ident())
        return column

    by_rows(work, np.zeros(FEW - 1))
    assert where == {threading.get_ident()}
    by_rows(work, np.zeros(MANY))
    assert len(where) > 1


def test_without_memory_for_threads_all_is_done_in_this_one(monkeypatch):
    def none(self):
        raise RuntimeError("can't start new thread")

    monkeypatch.setattr(threading.Thread, "start", none)
    assert each(lambda k: k * k, range(5)) == [0, 1, 4, 9, 16]
    assert begin(lambda: "done")() == "done"


def test_no_two_threads_have_the_same_geometry():
    """One polygon in all rows: each has its own, since GEOS writes extents into it."""
    seen = []

    def work(column):
        seen.extend(column)
        return shapely.area(column)

    one = np.full(MANY, shapely.box(0, 0, 2, 3), object)
    assert (by_rows(work, one) == 6).all()
    assert len({id(geometry) for geometry in seen}) == MANY


def test_what_fails_in_a_thread_fails_here():
    def work(column):
        if MANY - 1 in column:
            raise ValueError("the last one")
        return column

    with pytest.raises(ValueError, match="the last one"):
        by_rows(work, np.arange(MANY))
    with pytest.raises(ZeroDivisionError):
        begin(lambda: 1 / 0)()


def test_each_and_begin_give_what_the_work_gives():
    assert each(str, range(20)) == [str(number) for number in range(20)]
    assert begin(lambda: 7)() == 7


def test_overlays_that_fail_are_mended_though_they_are_many(monkeypatch):
    """Where GEOS gives up on a row all are done again on a grid, as with few."""
    these, those = squares(MANY), squares(MANY)[::-1]
    asked = []

    def operation(one, other, grid_size=None):
        asked.append(grid_size)
        if grid_size is None:
            raise shapely.errors.GEOSException("no")
        return shapely.intersection(one, other, grid_size=grid_size)

    got = plane.overlaid(operation, these, those)
    assert asked[-1] == 1e-6 and len(got) == MANY
    plain = shapely.area(shapely.intersection(these, those))
    assert shapely.area(got) == pytest.approx(plain, abs=1e-4)
