"""Work spread over copies of this process: the same results, and nothing left behind."""

from __future__ import annotations

import os
import resource
import signal
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pytest

import pitchcam
from pitchcam.pipeline import beside
from pitchcam.pipeline.beside import in_copies

linux = pytest.mark.skipif(sys.platform != "linux", reason="copies are made on Linux alone")
#: This process; what ends here when it should not must not end the tests.
HERE = os.getpid()


@pytest.fixture(autouse=True)
def no_other_thread(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> None:
    """Whoever runs the tests may have threads of their own, which hold no lock of ours."""
    if request.function is not test_no_copy_is_made_beside_other_threads:
        monkeypatch.setattr(threading, "active_count", lambda: 1)


def children() -> set[str]:
    """Return the processes that this thread started and that are not ended and waited for."""
    return set(Path(f"/proc/self/task/{threading.get_native_id()}/children").read_text().split())


@pytest.fixture(autouse=True)
def none_left() -> Iterator[None]:
    before = children() if sys.platform == "linux" else set()
    yield
    assert sys.platform != "linux" or children() <= before


def by_whom(i: int) -> tuple[int, int]:
    return i * i, os.getpid()


@linux
@pytest.mark.parametrize("processes", [1, 2, 3, 8])
def test_results_come_in_their_order_from_as_many_processes(processes: int) -> None:
    found = in_copies(by_whom, [1.0, 5.0, 2.0, 2.0], processes)
    assert [r for r, _ in found] == [0, 1, 4, 9]
    assert len({p for _, p in found}) == min(processes, 4)
    assert HERE in {p for _, p in found}


def test_nothing_to_do_is_done() -> None:
    assert in_copies(by_whom, [], 4) == []


def test_what_is_dear_has_a_process_for_itself() -> None:
    assert beside._shares([1.0, 6.0, 2.0, 3.0], 2) == [[1], [3, 2, 0]]
    assert beside._shares([0.0, 0.0], 2) == [[0], [1]]


@linux
def test_no_copy_is_made_beside_other_threads() -> None:
    """A lock that another thread holds at the moment of copying would stay held in the copy."""
    end = threading.Event()
    other = threading.Thread(target=end.wait)
    other.start()
    try:
        found = in_copies(by_whom, [1.0] * 4, 4)
    finally:
        end.set()
        other.join()
    assert found == [(i * i, HERE) for i in range(4)]


@linux
def test_no_copy_is_made_where_ended_ones_are_not_waited_for() -> None:
    """Some programs start others so: the system then ends a copy's number with the copy."""
    before = signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    try:
        found = in_copies(by_whom, [1.0] * 3, 3)
    finally:
        signal.signal(signal.SIGCHLD, before)
    assert found == [(i * i, HERE) for i in range(3)]


@linux
def test_many_open_files_are_no_hindrance() -> None:
    """``select`` takes no descriptor from 1024 on."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, min(hard, 1200)), hard))
    held = [os.open(os.devnull, os.O_RDONLY)]
    try:
        while held[-1] < 1050:
            held.append(os.dup(held[0]))
        assert len({p for _, p in in_copies(by_whom, [1.0] * 3, 3)}) == 3
    finally:
        for descriptor in held:
            os.close(descriptor)
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


@linux
def test_a_copy_that_is_killed_loses_nothing() -> None:
    def work(i: int) -> tuple[int, int]:
        if os.getpid() != HERE:
            os.kill(os.getpid(), signal.SIGKILL)
        return by_whom(i)

    assert in_copies(work, [1.0] * 3, 3) == [(i * i, HERE) for i in range(3)]


@linux
def test_a_copy_that_hangs_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(beside, "MOST_WAIT_S", 0.05)

    def work(i: int) -> tuple[int, int]:
        if os.getpid() != HERE:
            time.sleep(600)
        return by_whom(i)

    assert in_copies(work, [1.0] * 2, 2) == [(0, HERE), (1, HERE)]


@linux
def test_what_fails_in_a_copy_fails_here() -> None:
    def work(i: int) -> int:
        if i == 1:
            raise ValueError("not to be measured")
        return i

    with pytest.raises(ValueError, match="not to be measured"):
        in_copies(work, [1.0] * 3, 3)


@linux
def test_no_room_for_a_process_is_no_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    def full() -> int:
        raise BlockingIOError("no more processes")

    monkeypatch.setattr(os, "fork", full)
    before = len(list(Path("/proc/self/fd").iterdir()))
    assert in_copies(by_whom, [1.0] * 3, 3) == [(i * i, HERE) for i in range(3)]
    assert len(list(Path("/proc/self/fd").iterdir())) == before


@linux
def test_a_copy_may_use_opencv_and_linear_algebra() -> None:
    """Both have threads of their own, of which a copy has none."""
    picture = np.random.default_rng(5).random((1500, 1500)).astype(np.float32)
    square = picture[:300, :300].astype(float)

    def work(i: int) -> tuple[float, float]:
        blurred = cv2.GaussianBlur(picture, (0, 0), 3.0 + i)
        own = cv2.getNumThreads() if os.getpid() != HERE else 1
        return float(blurred.sum() + np.linalg.slogdet(square @ square.T)[1]), own

    cv2.setNumThreads(2)
    here = [work(i) for i in range(3)]
    threads = cv2.getNumThreads()
    assert np.array(in_copies(work, [1.0] * 3, 3)) == pytest.approx(np.array(here), rel=1e-6)
    assert cv2.getNumThreads() == threads


@linux
def test_the_answer_is_the_same_to_the_last_digit(monkeypatch: pytest.MonkeyPatch) -> None:
    box = Path(__file__).parents[2] / "samples" / "p20-box-pin.jpg"
    pin = pitchcam.ScaleSpec(source="pin", mm=8.0)
    own, copies = beside._copy, []
    monkeypatch.setattr(beside, "_copy", lambda *a: copies.append(own(*a)) or copies[-1])
    spread = pitchcam.identify(box, pin, processes=2)
    assert len(copies) == 1
    assert spread.to_json() == pitchcam.identify(box, pin).to_json()
