"""Independent pieces of work side by side, in copies of this process, where cores are free."""

from __future__ import annotations

import os
import pickle
import select
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any, TypeVar

T = TypeVar("T")
#: A copy takes a second or so, as long as this process for its share; after these it is done here.
MOST_WAIT_S = 20.0


def cores() -> int:
    """Return the number of cores that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1


def in_copies(work: Callable[[int], T], costs: Sequence[float], processes: int) -> list[T]:
    """Return ``work(i)`` for every ``i``, those dear first and spread over copies of this process.

    Parameters
    ----------
    work
        What it returns is pickled. It must need no more than its own result: what it changes in a
        copy is lost.
    costs
        About what each ``i`` costs, in any unit; their count is that of ``i``.
    processes
        How many processes at most, this one counted.

    Returns
    -------
    list
        The results in the order of ``i``.

    Raises
    ------
    Exception
        What ``work`` raises here. A copy that fails, for whatever reason, says nothing: its share
        is done here again, and fails here again if it must.

    Notes
    -----
    A copy starts with all that was decoded and imported, in milliseconds; a fresh process would
    need a tenth of a second for the libraries alone. Copies are made by ``fork``, of Linux alone
    (elsewhere system libraries do not bear it), and where no other thread of Python runs, whose
    locks a copy would inherit held. OpenCV's own threads are ended before, NumPy's linear algebra
    ends its own.
    """
    shares = _shares(costs, processes if _may_copy() else 1)
    found: dict[int, T] = {}
    with _copied(work, shares[1:]) as copies:
        for i in shares[0]:
            found[i] = work(i)
        for share, read in copies:
            found |= (_read(read) if read >= 0 else {}) or {i: work(i) for i in share}
    return [found[i] for i in range(len(costs))]


def _shares(costs: Sequence[float], count: int) -> list[list[int]]:
    """Spread what is dearest first, always to whom has least so far; none is left empty."""
    shares: list[list[int]] = [[] for _ in range(max(1, min(count, len(costs))))]
    sums = [0.0] * len(shares)
    for i in sorted(range(len(costs)), key=lambda i: -costs[i]):
        least = sums.index(min(sums))
        shares[least].append(i)
        sums[least] += max(costs[i], 1e-9)
    return shares


def _may_copy() -> bool:
    # Where ended children are not to be waited for, their numbers may be others' at any time.
    waited = signal.getsignal(signal.SIGCHLD) is not signal.SIG_IGN
    return sys.platform == "linux" and threading.active_count() == 1 and waited


@contextmanager
def _copied(
    work: Callable[[int], T], shares: Sequence[Sequence[int]]
) -> Iterator[list[tuple[Sequence[int], int]]]:
    """Give each share with the pipe that its copy answers by; at the end no copy is left."""
    copies: list[tuple[Sequence[int], int]] = []
    children: list[int] = []
    try:
        if shares:
            with _without_threads(), suppress(OSError):
                # No room for another process: what has no copy finds no answer, and is done here.
                for share in shares:
                    read, write = os.pipe()
                    copies.append((share, read))
                    try:
                        children.append(_copy(work, share, write))
                    finally:
                        os.close(write)
            copies += [(share, -1) for share in shares[len(copies) :]]
        yield copies
    finally:
        for _, read in copies:
            if read >= 0:
                os.close(read)
        for child in children:
            # It has answered, or nobody waits for its answer any more.
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)


@contextmanager
def _without_threads() -> Iterator[None]:
    """End OpenCV's threads: a copy has none of them, and would wait for them for ever."""
    import cv2

    count = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(count)


def _copy(work: Callable[[int], T], share: Sequence[int], write: int) -> int:
    """Return the copy's number; the copy itself answers and ends here."""
    with warnings.catch_warnings():
        # Python from 3.12 on warns of any thread of the process, also of those that are idle.
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child:
        return child
    try:
        answer = pickle.dumps({i: work(i) for i in share}, pickle.HIGHEST_PROTOCOL)
        with open(write, "wb", closefd=False) as pipe:
            pipe.write(answer)
    finally:
        # Handlers, buffers and files are the first process's to end.
        os._exit(0)


def _read(read: int) -> dict[int, Any]:
    """Return a copy's results; none where it broke off, or says nothing for too long."""
    parts, answer = [], select.poll()
    answer.register(read, select.POLLIN)
    while answer.poll(1000 * MOST_WAIT_S):
        part = os.read(read, 1 << 20)
        if not part:
            break
        parts.append(part)
    try:
        found: dict[int, Any] = pickle.loads(b"".join(parts))  # our own copy wrote it
    except (EOFError, pickle.UnpicklingError):
        return {}
    return found
