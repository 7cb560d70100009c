"""Processes that decode and measure photos, each with a limit of memory and of time.

Whatever a file does to a decoder, it does to one of these processes: the server replaces it and
answers on. Photos wait in one line per browser, served in turn, so that a box of photos from one
phone does not hold up the single photo of another.
"""

from __future__ import annotations

import asyncio
import contextlib
import multiprocessing
import time
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any

from pitchcam.page.measuring import Task, serve_tasks
from pitchcam.store.entries import Outcome

#: A worker is replaced after so many photos, so that what libraries keep does not add up.
_PHOTOS_PER_WORKER = 60
#: A worker that is not ready after so long never will be.
_START_S = 120.0

Say = Callable[[str], None]


class BusyError(Exception):
    """More photos wait than will be measured soon."""


class LostError(Exception):
    """The worker died or was stopped on this task; ``slow`` says that its time was up."""

    def __init__(self, *, slow: bool) -> None:
        super().__init__("too slow" if slow else "died")
        self.slow = slow


@dataclass
class _Worker:
    process: SpawnProcess
    pipe: Connection
    done: int = 0


@dataclass
class _Waiting:
    task: Task
    say: Say
    future: asyncio.Future[Any]
    limit_s: float


@dataclass
class Workers:
    """A pool of measuring processes.

    Parameters
    ----------
    count
        How many.
    memory_bytes
        Address space that each may take.
    most_waiting
        Tasks that may wait; more are refused.
    """

    count: int
    memory_bytes: int
    most_waiting: int
    _lines: OrderedDict[str, deque[_Waiting]] = field(default_factory=OrderedDict)
    _idle: list[_Worker] = field(default_factory=list)
    _busy: int = 0
    _tasks: set[asyncio.Task[None]] = field(default_factory=set)
    _working: dict[int, _Worker] = field(default_factory=dict)
    _closed: bool = False

    async def warm(self) -> None:
        """Start the processes, so that the first photo finds the libraries loaded."""
        with contextlib.suppress(LostError):  # the first task will tell
            while len(self._idle) + self._busy < self.count and not self._closed:
                self._idle.append(await asyncio.to_thread(self._start))

    async def run(self, owner: str, task: Task, say: Say, limit_s: float) -> Any:
        """Return what a task comes to; ``say`` hears each step, on the event loop.

        Raises
        ------
        BusyError
            If too many tasks wait.
        LostError
            If the worker died on it or took longer than ``limit_s``.
        """
        if sum(len(line) for line in self._lines.values()) >= self.most_waiting:
            raise BusyError
        future: asyncio.Future[Any] = asyncio.get_running_loop().create_future()
        self._lines.setdefault(owner, deque()).append(_Waiting(task, say, future, limit_s))
        self._feed()
        return await future

    def waiting(self) -> int:
        """Return how many tasks wait for a worker."""
        return sum(len(line) for line in self._lines.values())

    def close(self) -> None:
        """Stop at once; what was not finished is not kept."""
        self._closed = True
        for worker in [*self._idle, *self._working.values()]:
            self._discard(worker)
        self._idle.clear()

    def _feed(self) -> None:
        while self._busy < self.count and self._lines and not self._closed:
            owner, line = next(iter(self._lines.items()))
            waiting = line.popleft()
            del self._lines[owner]
            if line:
                self._lines[owner] = line  # to the end: the other browsers come first
            if waiting.future.cancelled():
                continue
            self._busy += 1
            task = asyncio.create_task(self._work(waiting))
            self._tasks.add(task)
            task.add_done_callback(self._tasks.discard)

    async def _work(self, waiting: _Waiting) -> None:
        try:
            worker = self._idle.pop() if self._idle else await asyncio.to_thread(self._start)
            if self._closed:
                self._discard(worker)
                raise LostError(slow=False)
            self._working[id(worker)] = worker
            try:
                result = await self._ask(worker, waiting)
            finally:
                self._working.pop(id(worker), None)
            if not waiting.future.done():
                waiting.future.set_result(result)
        except LostError as lost:
            if not waiting.future.done():
                waiting.future.set_exception(lost)
        finally:
            self._busy -= 1
            self._feed()

    async def _ask(self, worker: _Worker, waiting: _Waiting) -> Any:
        until = time.monotonic() + waiting.limit_s
        try:
            worker.pipe.send(waiting.task)
        except OSError:
            self._discard(worker)
            raise LostError(slow=False) from None
        while True:
            hearing = asyncio.ensure_future(asyncio.to_thread(worker.pipe.recv))
            await asyncio.wait({hearing}, timeout=max(0.0, until - time.monotonic()))
            slow = not hearing.done()
            if slow:
                worker.process.kill()  # which ends the hearing too
            try:
                kind, what = await hearing
            except (EOFError, OSError):
                self._discard(worker)
                raise LostError(slow=slow) from None
            if kind != "step":
                break
            waiting.say(what)
        worker.done += 1
        # What ran out of memory leaves a process that may have none for the next photo.
        worn = isinstance(what, Outcome) and not what.lasting
        if worker.done >= _PHOTOS_PER_WORKER or self._closed or slow or worn:
            self._discard(worker)
        else:
            self._idle.append(worker)
        return what

    def _start(self) -> _Worker:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(
            target=serve_tasks, args=(theirs, self.memory_bytes), name="pitchcam-page", daemon=True
        )
        process.start()
        theirs.close()
        worker = _Worker(process=process, pipe=ours)
        # Loading the libraries is nobody's time: a task's limit begins when the worker is ready.
        try:
            if ours.poll(_START_S):
                ours.recv()
                return worker
        except (EOFError, OSError):
            pass
        self._discard(worker)
        raise LostError(slow=False)

    def _discard(self, worker: _Worker) -> None:
        worker.process.kill()
        worker.process.join(5.0)
        worker.pipe.close()
