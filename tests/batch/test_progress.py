"""Rate and time left."""

from __future__ import annotations

import io

from pitchcam.batch.progress import Progress, Rate
from pitchcam.batch.settings import Job, Settings
from pitchcam.records import ScaleSpec
from pitchcam.store.entries import Outcome


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


def test_rate_counts_only_what_is_measured_now() -> None:
    clock = Clock()
    rate = Rate(100, clock)
    for _ in range(40):
        rate.count(kept_before=True)
    assert rate.text() == "40 of 100 photos"
    clock.now = 10.0
    for _ in range(20):
        rate.count(kept_before=False)
    assert rate.per_second == 2.0
    assert rate.left_s == 20.0
    assert rate.text() == "60 of 100 photos, 2.00 photos/s, about 20 s left"


def test_long_times_are_told_in_minutes_and_hours() -> None:
    clock = Clock()
    rate = Rate(3001, clock)
    clock.now = 5.0
    rate.count(kept_before=False)
    assert rate.text().endswith("about 4 h 10 min left")
    rate.total = 26
    assert rate.text().endswith("about 2 min 05 s left")
    rate.total = None
    assert rate.text() == "1 photo, 0.20 photos/s"


def test_elsewhere_than_on_a_terminal_it_is_plain_lines() -> None:
    stream = io.StringIO()
    settings = Settings(scale=ScaleSpec())
    with Progress(1, stream) as progress:
        progress.tell(
            Job(path=None, name="a", sha256="", settings=settings),  # type: ignore[arg-type]
            Outcome(status="failed"),
            False,
        )
        progress.close_line()
    assert stream.getvalue().startswith("1 of 1 photo, ")
    assert "\x1b" not in stream.getvalue()
