"""One input of the fuzz under a clock, and what it broke."""

from __future__ import annotations

import hashlib
import os
import signal
import time
import traceback
from pathlib import Path
from types import FrameType

import pitchcam
from tests.fuzz.promises import Tally, Target, folder

FINDINGS = Path(__file__).parents[1] / "findings"
#: A run that takes longer hangs: seconds of computing, and by the clock, which a busy machine
#: draws out.
HANG_S, HANG_CLOCK_S = 20.0, 300.0
#: The promises that can break, in the table's order: text that tells one -> its name.
PROMISES = {
    "hang": "hangs",
    "BrokenError: wrong name": "wrong names",
    "BrokenError: named": "wrong names",
    "BrokenError: inner fault": "foreign exceptions",
    "BrokenError": "unclear lines",
    "": "foreign exceptions",
}


class HangError(BaseException):
    """A run took longer than HANG_S; not an Exception, so that no boundary catches it."""


def _alarm(signum: int, frame: FrameType | None) -> None:
    raise HangError


def run(target: Target, data: bytes, tally: Tally) -> str | None:
    """Run one input; return where and how it broke a promise, None where it held."""
    for number in (signal.SIGALRM, signal.SIGPROF):
        signal.signal(number, _alarm)
    signal.setitimer(signal.ITIMER_PROF, HANG_S)
    signal.setitimer(signal.ITIMER_REAL, HANG_CLOCK_S)
    (folder() / f"last-{os.getpid()}").write_bytes(target.name.encode() + b"\0" + data)
    start = time.process_time()
    try:
        why = _broken(target, data, tally)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.setitimer(signal.ITIMER_REAL, 0)
        passed = time.process_time() - start
        tally.runs += 1
        tally.seconds += passed
        tally.slowest_s = max(tally.slowest_s, passed)
    if why is not None:
        kind = next(name for text, name in PROMISES.items() if text in why)
        tally.broken[kind] = tally.broken.get(kind, 0) + 1
    return why


def _broken(target: Target, data: bytes, tally: Tally) -> str | None:
    try:
        target.check(data, tally)
    except HangError:
        return "hang"
    except Exception as error:
        return f"{_place(error.__cause__ or error)} {type(error).__name__}: {error}"
    return None


def _place(error: BaseException) -> str:
    """Return the last line of our own that an error passed: a library's own says nothing."""
    frames = traceback.extract_tb(error.__traceback__)
    house = Path(pitchcam.__file__).parent
    own = [f for f in frames if house in Path(f.filename).parents] or frames
    return f"{Path(own[-1].filename).name}:{own[-1].lineno}"


def keep(target: Target, data: bytes, why: str) -> None:
    """Write a finding to a file of its own."""
    kind = FINDINGS / target.name.replace(" ", "-")
    kind.mkdir(parents=True, exist_ok=True)
    path = kind / hashlib.sha256(data).hexdigest()[:12]
    path.write_bytes(data)
    print(f"  {target.name}: {why}\n    kept as {path}", flush=True)
