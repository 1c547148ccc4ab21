"""One interface, one result, whoever does the work."""

import ctypes
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

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


def square_or_die_once(item):
    """Kills its process the first time anybody does it."""
    x, mark = item
    try:
        mark.touch(exist_ok=False)
    except FileExistsError:
        return x * x
    return os.kill(os.getpid(), signal.SIGKILL)


def square_at_home(item):
    """Kills every process but the one that is named."""
    x, home = item
    if os.getpid() != home:
        os.kill(os.getpid(), signal.SIGKILL)
    return x * x


def square_within_memory(item):
    x, home = item
    if os.getpid() != home:
        raise MemoryError
    return x * x


def test_what_a_killed_worker_was_doing_another_does(tmp_path):
    told = []
    with Processes(2, told.append) as engine:
        assert engine.map(square_or_die_once, [(x, tmp_path / "mark") for x in range(9)]) == [
            x * x for x in range(9)
        ]
    assert told == [
        "a worker was ended by SIGKILL, likely for want of memory; going on with 1 worker, for the "
        "same result"
    ]


@pytest.mark.parametrize("work", [square_at_home, square_within_memory])
def test_when_no_worker_is_left_this_process_does_it(work):
    told = []
    with Processes(3, told.append) as engine:
        begun = engine.begin(work, (5, os.getpid()))
        assert engine.map(work, [(x, os.getpid()) for x in range(9)]) == [x * x for x in range(9)]
        assert begun() == 25
    assert len(told) == 3 and told[-1].endswith("going on without workers, for the same result")


@pytest.mark.parametrize(
    "program",
    ["/nowhere/python", "/dev/null", "/bin/false"],
    ids=["gone", "not ours to run", "ends at once"],
)
def test_workers_that_cannot_start_are_done_without(program, monkeypatch):
    told = []
    monkeypatch.setattr(sys, "executable", program)
    with Processes(2, told.append) as engine:
        assert engine.map(square, range(5)) == [0, 1, 4, 9, 16]
    assert 1 <= len(told) <= 2 and told[-1].endswith("without workers, for the same result")


def test_leaving_by_a_fault_ends_workers_at_once():
    start = time.monotonic()
    with pytest.raises(KeyboardInterrupt), Processes(2) as engine:
        for seconds in (60, 60):
            engine.begin(time.sleep, seconds)
        processes = [worker.process for worker in engine.pool.busy]
        raise KeyboardInterrupt
    assert time.monotonic() - start < 20
    assert [process.returncode for process in processes] == [-signal.SIGKILL] * 2


def hold_the_interpreter(seconds):
    """No other thread of the process runs meanwhile."""
    ctypes.PyDLL(None).sleep(seconds)


def test_a_worker_ends_when_its_socket_is_closed_whatever_it_is_doing():
    with Processes(2) as engine:
        engine.begin(time.sleep, 60)
        (worker,) = engine.pool.busy
        worker.socket.shutdown(socket.SHUT_RDWR)
        assert worker.process.wait(20) == 0


@pytest.mark.skipif(sys.platform != "linux", reason="a way of its kernel")
def test_a_worker_that_holds_the_interpreter_ends_with_its_parent_too():
    code = (
        "import os, signal, sys, time\n"
        "from geoturf.workers import Pool\n"
        f"sys.path.insert(0, {str(Path(__file__).parent)!r})\n"
        "from test_engine import hold_the_interpreter\n"
        "pool = Pool(1, print)\n"
        "pool.result(pool.submit(time.sleep, 0))\n"
        "pool.submit(hold_the_interpreter, 60)\n"
        "time.sleep(1.5)\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    start = time.monotonic()
    # done when nobody is left who could write to the pipe: worker and parent share it
    subprocess.run([sys.executable, "-c", code], stderr=subprocess.PIPE)
    assert time.monotonic() - start < 40


def test_a_dask_cluster_does_the_same():
    distributed = pytest.importorskip("distributed")
    local = distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    )
    with local, Cluster(local.scheduler_address) as engine:
        begun = engine.begin(square, 7)
        assert engine.map(square, [1, 2, 3]) == [1, 4, 9]
        assert begun() == 49
