"""What each input of the fuzz is held to: an answer, or one clear line."""

from __future__ import annotations

import contextlib
import random
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from multiprocessing.util import Finalize
from pathlib import Path
from typing import Any

from pitchcam.errors import InnerFaultError, PitchcamError


class BrokenError(AssertionError):
    """A promise that did not hold."""


@dataclass
class Tally:
    """What a target's runs came to."""

    runs: int = 0
    seconds: float = 0.0
    slowest_s: float = 0.0
    outcomes: dict[str, int] = field(default_factory=dict)
    broken: dict[str, int] = field(default_factory=dict)
    inside: int = 0
    quantities: int = 0

    def count(self, outcome: str) -> None:
        self.outcomes[outcome] = self.outcomes.get(outcome, 0) + 1

    def add(self, other: Tally) -> None:
        """Take in another process's runs."""
        self.runs += other.runs
        self.seconds += other.seconds
        self.slowest_s = max(self.slowest_s, other.slowest_s)
        self.inside += other.inside
        self.quantities += other.quantities
        for own, more in ((self.outcomes, other.outcomes), (self.broken, other.broken)):
            for name, count in more.items():
                own[name] = own.get(name, 0) + count


@dataclass(frozen=True)
class Target:
    """One kind of input: ``make`` gives bytes, ``check`` raises BrokenError or what is foreign."""

    name: str
    make: Callable[[random.Random], bytes]
    check: Callable[[bytes, Tally], None]
    share: float
    guided: bool = False


def kept(data: bytes, suffix: str) -> Path:
    """Write data to the same file of this process each time."""
    path = folder() / f"input{suffix}"
    path.write_bytes(data)
    return path


@cache
def folder() -> Path:
    """Return this process's folder; it goes with the process, unless that dies."""
    made = Path(tempfile.mkdtemp(prefix="pitchcam-fuzz-", dir=memory()))
    Finalize(None, shutil.rmtree, args=(made, True), exitpriority=1)  # atexit passes children over
    return made


def memory() -> Path:
    """Return a folder in memory where there is one: a million small files wear out a disk."""
    shared = Path("/dev/shm")
    return shared if shared.is_dir() else Path(tempfile.gettempdir())


@contextlib.contextmanager
def promised(tally: Tally, *kinds: type[PitchcamError]) -> Any:
    """Let pass the errors that pitchcam raises on purpose, if each is one clear line.

    With ``kinds`` only these: a photo's measurement may speak of nothing but the photo.
    """
    try:
        yield
    except InnerFaultError as error:
        raise BrokenError(f"inner fault: {error}") from error.__cause__
    except PitchcamError as error:
        text = str(error)
        fitting = not kinds or isinstance(error, kinds)
        if not text.isprintable() or not error.advice or not fitting:
            raise BrokenError(f"no clear line: {text!r}") from None
        tally.count(type(error).__name__)
    else:
        tally.count("answered")
