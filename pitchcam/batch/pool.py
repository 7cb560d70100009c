"""Worker processes on this machine, each on one core and each with its own pipe.

A pipe per worker, rather than a shared queue, says at once which photo a dead worker had in hand,
and closes by itself when this process dies, so that no worker is left behind.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import signal
import time
import warnings
from collections.abc import Sequence
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from typing import Protocol

from pitchcam.batch.settings import Job
from pitchcam.batch.worker import Measure, keep_memory, measure_job, use_one_thread
from pitchcam.frozen import dataclass
from pitchcam.store.entries import Outcome

#: A worker that dies on a photo gets it once more: the system may have killed it for memory.
TRIES = 2


@dataclass(frozen=True, kw_only=True)
class Finished:
    """A job and what it came to."""

    job: Job
    outcome: Outcome


class Workers(Protocol):
    """Where photos are measured: processes here, or a cluster."""

    def free(self) -> int:
        """Return how many more jobs can be handed over now."""

    def submit(self, job: Job) -> None:
        """Hand over one job."""

    def wait(self, timeout_s: float) -> Sequence[Finished]:
        """Return finished jobs, at the latest after ``timeout_s`` seconds."""

    def busy(self) -> int:
        """Return the number of jobs in hand."""

    def close(self) -> None:
        """Stop at once; jobs in hand are dropped."""


@dataclass
class _Worker:
    process: SpawnProcess
    pipe: Connection
    job: Job | None = None
    since: float = 0.0


class LocalWorkers:
    """One process per core.

    Parameters
    ----------
    measure
        The measuring function, module-level.
    count
        Number of processes.
    limit_s
        A photo that takes longer is given up and its worker replaced.
    """

    def __init__(self, measure: Measure, count: int, *, limit_s: float) -> None:
        self._measure = measure
        self._count = count
        self._limit_s = limit_s
        self._context = multiprocessing.get_context("spawn")
        self._workers: list[_Worker] = []
        self._tries: dict[tuple[str, str], int] = {}

    def free(self) -> int:
        """Return the number of idle workers and of those not yet started."""
        return self._count - self.busy()

    def busy(self) -> int:
        """Return the number of jobs in hand."""
        return sum(w.job is not None for w in self._workers)

    def submit(self, job: Job) -> None:
        """Hand a job to an idle worker, started when there is none."""
        worker = next((w for w in self._workers if w.job is None), None) or self._start()
        worker.job, worker.since = job, time.monotonic()
        with contextlib.suppress(OSError):  # it died while idle: wait() finds that out
            worker.pipe.send(job)

    def _start(self) -> _Worker:
        ours, theirs = self._context.Pipe()
        process = self._context.Process(
            target=_serve, args=(theirs, self._measure), name="pitchcam-worker", daemon=True
        )
        process.start()
        theirs.close()
        worker = _Worker(process=process, pipe=ours)
        self._workers.append(worker)
        return worker

    def wait(self, timeout_s: float) -> list[Finished]:
        """Return what finished, crashed or ran out of time."""
        pipes = {w.pipe: w for w in self._workers if w.job is not None}
        if not pipes:
            time.sleep(timeout_s)
        speaking = wait(list(pipes), timeout_s)
        ready = [worker for pipe, worker in pipes.items() if pipe in speaking]
        done = [got for worker in ready for got in self._receive(worker)]
        now = time.monotonic()
        for worker in [w for w in self._workers if w.job and now - w.since > self._limit_s]:
            done += self._give_up(worker)
        return done

    def _receive(self, worker: _Worker) -> list[Finished]:
        job = worker.job
        assert job is not None
        try:
            outcome: Outcome = worker.pipe.recv()
        except (EOFError, OSError):
            return self._lost(worker, job)
        worker.job = None
        self._tries.pop(job.key, None)
        return [Finished(job=job, outcome=outcome)]

    def _lost(self, worker: _Worker, job: Job) -> list[Finished]:
        """Replace a dead worker; its photo gets another try before it is given up."""
        self._discard(worker)
        self._tries[job.key] = self._tries.get(job.key, 0) + 1
        if self._tries[job.key] < TRIES:
            self.submit(job)
            return []
        self._tries.pop(job.key)
        return [Finished(job=job, outcome=_CRASHED)]

    def _give_up(self, worker: _Worker) -> list[Finished]:
        job = worker.job
        assert job is not None
        self._discard(worker)
        return [Finished(job=job, outcome=too_slow(self._limit_s))]

    def _discard(self, worker: _Worker) -> None:
        self._workers.remove(worker)
        worker.process.kill()
        worker.process.join()
        worker.pipe.close()

    def close(self) -> None:
        """Kill the workers: nothing is kept by them, so nothing can be lost."""
        for worker in list(self._workers):
            self._discard(worker)


_CRASHED = Outcome(
    status="failed",
    code="crash",
    message="the process that measured this photo died, twice.",
    advice="Run it again with fewer --jobs; if it dies again, report the photo.",
    lasting=False,
)


def too_slow(limit_s: float) -> Outcome:
    """Return the outcome of a photo that took too long."""
    return Outcome(
        status="failed",
        code="slow",
        lasting=False,
        message=f"the photo took longer than {limit_s:g} s.",
        advice="Send a smaller one, or allow more with --limit.",
    )


def _serve(pipe: Connection, measure: Measure) -> None:
    """Measure jobs from the pipe until it closes, which it also does when the parent dies."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides when to stop
    use_one_thread()
    keep_memory()
    warnings.simplefilter("ignore")  # a library's remark on one photo is nothing for the terminal
    while True:
        try:
            job: Job = pipe.recv()
        except (EOFError, OSError):
            return
        outcome = measure_job(job, measure)
        try:
            pipe.send(outcome)
        except OSError:
            return
