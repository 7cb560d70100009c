"""What each input of the fuzz is held to: an answer, or one clear line."""

from __future__ import annotations

import contextlib
import random
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
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
    inside: int = 0
    quantities: int = 0

    def count(self, outcome: str) -> None:
        self.outcomes[outcome] = self.outcomes.get(outcome, 0) + 1


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
    path = _folder() / f"input{suffix}"
    path.write_bytes(data)
    return path


@cache
def _folder() -> Path:
    # Memory where there is some: a disk would be worn out by a million small files.
    memory = Path("/dev/shm")
    return Path(tempfile.mkdtemp(prefix="pitchcam-fuzz-", dir=memory if memory.is_dir() else None))


@contextlib.contextmanager
def promised(tally: Tally) -> Any:
    """Let pass the errors that pitchcam raises on purpose, if each is one clear line."""
    try:
        yield
    except InnerFaultError as error:
        raise BrokenError(f"inner fault: {error}") from error.__cause__
    except PitchcamError as error:
        text = str(error)
        if not text.isprintable() or not error.advice:
            raise BrokenError(f"no clear line: {text!r}") from None
        tally.count(type(error).__name__)
    else:
        tally.count("answered")
