"""What a run keeps and what it tries again."""

from __future__ import annotations

import errno
from collections.abc import Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from pitchcam.batch.answer import Answer, Line
from pitchcam.batch.pool import Finished
from pitchcam.batch.runner import Runner
from pitchcam.batch.settings import Job, Settings
from pitchcam.batch.source import list_photos
from pitchcam.batch.worker import measure_job
from pitchcam.errors import InputError, UnreadableError
from pitchcam.records import ScaleSpec
from pitchcam.store.entries import Outcome
from pitchcam.store.store import Store
from tests.batch import double

PIN = Settings(scale=ScaleSpec(source="pin", mm=8.0))


class Answers:
    """Workers that give every job one outcome."""

    def __init__(self, outcome: Outcome) -> None:
        self.outcome, self.jobs, self.asked = outcome, list[Job](), 0

    def free(self) -> int:
        return 1 - len(self.jobs)

    def submit(self, job: Job) -> None:
        self.jobs.append(job)
        self.asked += 1

    def wait(self, timeout_s: float) -> Sequence[Finished]:
        done, self.jobs = self.jobs, []
        return [Finished(job=job, outcome=self.outcome) for job in done]

    def busy(self) -> int:
        return len(self.jobs)

    def close(self) -> None:
        pass


class Together:
    """Two workers that end at the same time, and what happens in turn."""

    def __init__(self, happens: list[str]) -> None:
        self.jobs, self.happens = list[Job](), happens

    def free(self) -> int:
        return 2 - len(self.jobs)

    def submit(self, job: Job) -> None:
        self.jobs.append(job)
        self.happens.append(f"out {job.name}")

    def wait(self, timeout_s: float) -> Sequence[Finished]:
        done, self.jobs = self.jobs, []
        return [Finished(job=job, outcome=Outcome(status="failed")) for job in done]

    def busy(self) -> int:
        return len(self.jobs)

    def close(self) -> None:
        pass


def test_a_worker_has_its_next_photo_before_what_came_back_goes_to_the_disk(tmp_path: Path) -> None:
    for name in "abcde":
        double.write_photo(tmp_path / f"{name}.jpg", name=name)
    happens: list[str] = []
    with Store(tmp_path / "r.sqlite") as store:
        told = lambda job, *_: happens.append(f"kept {job.name}")  # noqa: E731
        Runner(store, Together(happens), told).run(list_photos([tmp_path], PIN))
    assert happens == [
        *("out a.jpg", "out b.jpg", "out c.jpg", "kept a.jpg", "kept b.jpg", "out d.jpg"),
        *("out e.jpg", "kept c.jpg", "kept d.jpg", "kept e.jpg"),
    ]


def test_what_came_back_is_kept_though_the_run_is_stopped(tmp_path: Path) -> None:
    for name in "abcd":
        double.write_photo(tmp_path / f"{name}.jpg", name=name)

    class Stopped(Together):
        def submit(self, job: Job) -> None:
            if job.name == "c.jpg":
                raise KeyboardInterrupt
            super().submit(job)

    with Store(tmp_path / "r.sqlite") as store:
        with pytest.raises(KeyboardInterrupt):
            Runner(store, Stopped([]), lambda *_: None).run(list_photos([tmp_path], PIN))
        assert len(store.ids()) == 2


@pytest.mark.parametrize(("lasting", "measured"), [(True, 1), (False, 2)])
def test_what_may_go_away_by_itself_is_tried_again_in_the_next_run(
    tmp_path: Path, lasting: bool, measured: int
) -> None:
    double.write_photo(tmp_path / "a.jpg")
    outcome = Outcome(status="failed", code="x", message="m", lasting=lasting)
    workers = Answers(outcome)
    with Store(tmp_path / "r.sqlite") as store:
        for _ in range(2):
            batch = Runner(store, workers, lambda *_: None).run(list_photos([tmp_path], PIN))
            assert bool(batch.passing) != lasting
        (photo,) = list_photos([tmp_path], PIN)
        assert store.has(*photo.job().key) is lasting
        assert len(store.ids()) == 1  # what was seen stands in the record either way
    assert workers.asked == measured


@pytest.mark.parametrize(
    ("error", "lasting"),
    [
        (MemoryError(), False),
        (OSError(errno.ENOSPC, "no space"), False),
        (OSError(errno.ESTALE, "stale"), False),
        (OSError(errno.EINVAL, "bad"), False),
        (ValueError("a fault of the program"), False),
        (InputError("the file is truncated.", "Send it again."), True),
        (UnreadableError("The outline is blurred.", "Retake.", code="blurred"), True),
    ],
)
def test_only_the_photo_s_own_failures_last(
    tmp_path: Path, error: Exception, lasting: bool
) -> None:
    path = double.write_photo(tmp_path / "a.jpg")
    (photo,) = list_photos([path], PIN)

    def fail(*_: object) -> dict[str, object]:
        raise error

    assert measure_job(photo.job(), fail).lasting is lasting


@pytest.mark.parametrize(
    ("statuses", "code"),
    [
        ((), 0),
        (("named",), 0),
        (("failed",), 1),
        (("ambiguous", "failed"), 3),
        (("off-series",), 3),
        (("failed", "refused", "ambiguous"), 4),
        (("unreadable",), 4),
    ],
)
def test_a_box_ends_with_the_largest_code_of_what_is_in_doubt(
    statuses: tuple[str, ...], code: int
) -> None:
    rows: list[Any] = [SimpleNamespace(status=s, settled=s == "named") for s in statuses]
    rows.append(SimpleNamespace(status="refused", settled=True))  # a person has named it
    lines = tuple(Line(number=i, row=row) for i, row in enumerate(rows, 1))
    assert Answer(lines=lines).exit_code == code
