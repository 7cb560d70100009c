"""How far the batch is: photos a second and time left, on stderr."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from types import TracebackType
from typing import TextIO

from pitchcam.batch.settings import Job
from pitchcam.store.entries import Outcome

#: Seconds between lines where there is no terminal: rare enough for a log file.
_LINE_EVERY_S = 10.0


class Rate:
    """Photos measured in this run, and how fast; those kept before do not count.

    Parameters
    ----------
    total
        Number of photos, or None where it is not known (a followed folder).
    clock
        Seconds, monotonic; for tests.
    """

    def __init__(self, total: int | None, clock: Callable[[], float] = time.monotonic) -> None:
        self.total = total
        self.done = 0
        self.measured = 0
        self._clock = clock
        self._start_s = clock()

    def count(self, *, kept_before: bool) -> None:
        """Count one answered photo."""
        self.done += 1
        self.measured += not kept_before

    @property
    def per_second(self) -> float | None:
        """Photos measured a second, or None before the first."""
        passed = self._clock() - self._start_s
        return self.measured / passed if self.measured and passed > 0 else None

    @property
    def left_s(self) -> float | None:
        """Seconds left, if the rest goes as fast; None where that cannot be said."""
        if self.total is None or self.per_second is None:
            return None
        return max(0, self.total - self.done) / self.per_second

    def text(self) -> str:
        """Return the figures as one short line."""
        of = "" if self.total is None else f" of {self.total}"
        plural = "" if (self.total or self.done) == 1 else "s"
        parts = [f"{self.done}{of} photo{plural}"]
        if self.per_second is not None:
            parts.append(f"{self.per_second:.2f} photos/s")
        if self.left_s is not None:
            parts.append(f"about {_clock_text(self.left_s)} left")
        return ", ".join(parts)


def _clock_text(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes:02d} min"
    return f"{minutes} min {rest:02d} s" if minutes else f"{rest} s"


class Progress:
    """Shows :class:`Rate`: a bar on a terminal, a line now and then elsewhere."""

    def __init__(self, total: int | None, stream: TextIO | None = None) -> None:
        self.rate = Rate(total)
        self._stream = stream or sys.stderr
        self._next_line_s = time.monotonic() + _LINE_EVERY_S
        self._bar = _make_bar(total, self._stream) if self._stream.isatty() else None

    def __enter__(self) -> Progress:
        if self._bar is not None:
            self._bar.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def tell(self, job: Job, outcome: Outcome, kept_before: bool) -> None:
        """Count one photo and show the figures."""
        self.rate.count(kept_before=kept_before)
        if self._bar is not None:
            self._bar.update(self._bar.task_ids[0], completed=self.rate.done, rate=self.rate.text())
        elif time.monotonic() >= self._next_line_s:
            self._next_line_s = time.monotonic() + _LINE_EVERY_S
            print(self.rate.text(), file=self._stream, flush=True)

    def close_line(self) -> None:
        """Print the last figures where there is no bar."""
        if self._bar is None and self.rate.measured:
            print(self.rate.text(), file=self._stream, flush=True)


def _make_bar(total: int | None, stream: TextIO):  # type: ignore[no-untyped-def]
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn
    from rich.progress import Progress as Bar

    # Answers on a terminal are drawn above the bar; answers into a pipe stay untouched.
    bar = Bar(
        BarColumn(),
        TextColumn("{task.fields[rate]}"),
        console=Console(file=stream),
        redirect_stdout=sys.stdout.isatty(),
    )
    bar.add_task("photos", total=total, rate="")
    return bar
