"""One interface, one result, whoever does the work."""

import pytest

from geoturf.engine import Cluster, Processes, Serial


def square(x):
    return x * x


def fail(x):
    raise ValueError(f"no {x}")


@pytest.mark.parametrize(
    "engine", [Serial(), Processes(1), Processes(2)], ids=["serial", "one process", "two processes"]
)
def test_results_come_in_the_order_of_the_items(engine):
    told = []
    assert engine.map(square, range(20), told.append) == [x * x for x in range(20)]
    assert told == [1] * 20


def test_processes_are_kept_for_the_next_call_and_end_with_the_block():
    with Processes(2) as engine:
        engine.map(square, [1, 2])
        first = engine.pool
        engine.map(square, [3, 4])
        assert engine.pool is first
    assert engine.pool is None


@pytest.mark.parametrize(
    "engine", [Serial(), Processes(1), Processes(2)], ids=["serial", "one process", "two processes"]
)
def test_work_begun_is_waited_for(engine):
    begun = engine.begin(square, 7)
    assert engine.map(square, [3, 4]) == [9, 16]
    assert begun() == 49


def test_a_fault_in_a_worker_is_raised_here():
    with Processes(2) as engine, pytest.raises(ValueError, match="no 1"):
        engine.map(fail, [1, 2])


def test_a_dask_cluster_does_the_same():
    distributed = pytest.importorskip("distributed")
    local = distributed.LocalCluster(n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None)
    with local, Cluster(local.scheduler_address) as engine:
        begun = engine.begin(square, 7)
        assert engine.map(square, [1, 2, 3]) == [1, 4, 9]
        assert begun() == 49
