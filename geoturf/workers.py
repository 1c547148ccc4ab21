"""Worker processes that may end at any moment.

Each worker has a socket of its own and gets one task at a time; whoever waits for a result hands on
the next tasks meanwhile. There are no threads here, and nothing is shared between workers: one that
is killed, or cannot start, takes nothing with it, and its task goes to another. (Python's own pool
shares queues and locks, breaks as a whole when one worker ends, and waits for ever where memory
does not suffice to start its threads.)

A worker ends with this process, however that ends: its socket is closed then, and where it can the
kernel sees to it. It has a process group of its own, so that Ctrl-C and a stop of the whole group
reach this process alone, which ends its workers.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import pickle
import signal
import socket
import subprocess
import sys
import traceback
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue
from selectors import EVENT_READ, DefaultSelector
from threading import Thread
from typing import Any

_SERVE = "import sys; sys.path[:] = {path}; from geoturf.workers import serve; serve({socket})"
_WAITING, _DONE, _FAILED, _UNFIT = range(
    4
)  # of a task; unfit: the worker could not so much as begin it
_DEATH_SIGNAL = 1  # PR_SET_PDEATHSIG


@dataclass(eq=False)
class Task:
    """``work(*items)``, its state, and what it gave or raised."""

    work: Callable[..., Any]
    items: tuple[Any, ...]
    state: int = _WAITING
    out: Any = None


class Pool:
    """``count`` workers, or as many as can be started. ``told`` is given a line for each that ends
    before its time."""

    def __init__(self, count: int, told: Callable[[str], Any]):
        self.told = told
        self.waiting: deque[Task] = deque()
        self.idle: list[_Worker] = []
        self.busy: dict[_Worker, Task] = {}
        self.ready = DefaultSelector()
        try:
            while len(self.idle) < count and self._start():
                pass
        except BaseException:
            self.close()
            raise

    def submit(self, work: Callable[..., Any], *items: Any) -> Task:
        task = Task(work, items)
        self.waiting.append(task)
        self._hand_on()
        return task

    def result(self, task: Task) -> Any:
        """What a task gave; raises what it raised. Done here when no worker is left."""
        while task.state == _WAITING:
            if not self.busy:
                return task.work(*task.items)
            for key, _ in self.ready.select():
                self._take(key.data)
            self._hand_on()
        if task.state == _FAILED:
            raise task.out
        return task.out

    def close(self) -> None:
        """Ends all workers at once, whatever they are doing."""
        for worker in (*self.idle, *self.busy):
            worker.end()
        self.idle = []
        self.busy = {}
        self.ready.close()

    def _start(self) -> bool:
        try:
            worker = _Worker()
        except (OSError, MemoryError) as fault:
            self._tell(f"a worker cannot be started ({_words(fault)})")
            return False
        self.idle.append(worker)
        self.ready.register(worker.socket, EVENT_READ, worker)
        return True

    def _hand_on(self) -> None:
        while self.waiting and self.idle:
            task = self.waiting.popleft()
            worker = self.idle.pop(0)
            try:
                text = pickle.dumps((task.work, task.items), pickle.HIGHEST_PROTOCOL)
            except (pickle.PicklingError, AttributeError, TypeError) as fault:
                task.state = _FAILED
                task.out = fault
                self.idle.insert(0, worker)
                continue
            self.busy[worker] = task
            try:
                worker.send(text)
            except OSError:
                self._gone(worker, worker.last_words())

    def _take(self, worker: _Worker) -> None:
        """What a worker has to say: its answer, or that it is gone."""
        try:
            state, out = worker.receive()
        except (EOFError, OSError, pickle.UnpicklingError):
            self._gone(worker, worker.last_words())
            return
        if state == _UNFIT or isinstance(out, MemoryError):
            self._gone(worker, f"a worker could not go on ({_words(out)})")
            return
        task = self.busy.pop(worker)
        task.state = state
        task.out = out
        self.idle.append(worker)

    def _gone(self, worker: _Worker, what: str) -> None:
        """Its task is for the others."""
        self.ready.unregister(worker.socket)
        worker.end()
        if worker in self.busy:
            self.waiting.appendleft(self.busy.pop(worker))
        else:
            self.idle.remove(worker)
        self._tell(what)

    def _tell(self, what: str) -> None:
        left = len(self.idle) + len(self.busy)
        rest = "without workers"
        if left:
            rest = f"with {left} worker{'s' if left > 1 else ''}"
        self.told(f"{what}; going on {rest}, for the same result")


class _Worker:
    """One process and this side of its socket."""

    def __init__(self) -> None:
        self.socket, other = socket.socketpair()
        with other:
            other.set_inheritable(True)
            path = ascii([path or str(Path.cwd()) for path in sys.path])
            code = _SERVE.format(path=path, socket=other.fileno())
            # what a worker prints goes to standard error: standard output is for the summary
            self.process = subprocess.Popen(
                [sys.executable, "-c", code],
                stdin=subprocess.DEVNULL,
                stdout=2,
                **_handing_on(other),
            )
        self.written, self.read = self.socket.makefile("wb"), self.socket.makefile("rb")

    def send(self, text: bytes) -> None:
        """Raises OSError when the worker is gone."""
        pickle.dump(text, self.written, pickle.HIGHEST_PROTOCOL)
        self.written.flush()

    def receive(self) -> tuple[int, Any]:
        """State and result of its task. Raises EOFError, OSError or UnpicklingError when the worker
        is gone."""
        state, text = pickle.load(self.read)
        return state, pickle.loads(text)

    def last_words(self) -> str:
        """How it ended."""
        with contextlib.suppress(
            subprocess.TimeoutExpired
        ):  # its socket may be closed a moment before it ends
            self.process.wait(1)
        status = self.process.poll()
        if status is not None and status < 0:
            return f"a worker was ended by {_signal_name(-status)}, likely for want of memory"
        if status is None:
            return "a worker ended"
        return f"a worker ended (exit status {status})"

    def end(self) -> None:
        self.process.kill()
        self.process.wait()
        for side in (self.written, self.read, self.socket):
            with contextlib.suppress(OSError):  # what was not sent is not wanted
                side.close()


def _handing_on(other: socket.socket) -> dict[str, Any]:
    """How a new process gets a socket, and a process group of its own."""
    if sys.platform != "win32":
        return {"pass_fds": [other.fileno()], "process_group": 0}
    return {"close_fds": False, "creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}


def _signal_name(number: int) -> str:
    try:
        return signal.Signals(number).name
    except ValueError:
        return f"signal {number}"


def _words(fault: BaseException) -> str:
    return " ".join(str(fault).split())[:200] or type(fault).__name__


# ------------------------------------------------------------------------------------ in the worker


def serve(number: int) -> None:
    """What a worker does: tasks come by a socket, answers go by it. Never returns."""
    with contextlib.suppress(OSError, AttributeError):
        _end_with_the_parent()
    line = socket.socket(fileno=number)
    asked = line.makefile("rb")
    answers = line.makefile("wb")
    texts: SimpleQueue[bytes] = SimpleQueue()
    Thread(
        target=_listen,
        args=(asked, texts),
        daemon=True,
    ).start()
    while True:
        pickle.dump(_answer(texts.get()), answers, pickle.HIGHEST_PROTOCOL)
        answers.flush()


def _end_with_the_parent() -> None:
    """At once where the kernel does that (prctl(2) of Linux); elsewhere `_listen` ends the process
    as soon as what it is doing lets go of the interpreter."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(_DEATH_SIGNAL, signal.SIGKILL)


def _listen(asked: Any, texts: SimpleQueue[bytes]) -> None:
    """Ends the process when the socket is closed, whatever it is doing, and without taking down its
    modules one by one (which takes half a second)."""
    try:
        while True:
            texts.put(pickle.load(asked))
    finally:
        os._exit(0)


def _answer(text: bytes) -> tuple[int, bytes]:
    state = _UNFIT
    try:
        work, items = pickle.loads(text)  # imports what the work needs
        state = _FAILED
        return _DONE, pickle.dumps(work(*items), pickle.HIGHEST_PROTOCOL)
    except BaseException as fault:
        fault.add_note("".join(["in a worker:\n", *traceback.format_tb(fault.__traceback__)]))
        return state, _pickled(fault)


def _pickled(fault: BaseException) -> bytes:
    try:
        text = pickle.dumps(fault)
        pickle.loads(text)  # some can be taken apart, but not put together again
        return text
    except Exception:
        return pickle.dumps(RuntimeError(f"{type(fault).__name__}: {fault}"))
