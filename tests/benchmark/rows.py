"""The figures that are watched: each a ratio of two costs that are taken in turns.

Times are processor times (user and system) but for the gain by a second process, so that others at
work on the machine disturb little; memory is the largest resident set.
"""

from __future__ import annotations

import functools
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from tests.accuracy import scale_of
from tests.benchmark.compared import Row, row_of
from tests.benchmark.one_photo import measure, peak_mib

SAMPLES = Path(__file__).parents[2] / "samples"
ONE, FIVE = SAMPLES / "p05-unf12-pin.jpg", SAMPLES / "p20-box-pin.jpg"
STOCK = SAMPLES / "stock" / "bench.csv"
#: The same photo under as many names and digests makes a batch: a handful, whose start and sheets
#: cost as much as two photos, and a box, where they are little and cores alone should limit.
COPIES, MANY = 12, 96
_START = "from pitchcam.start import main; main()"
_DECODE = f"import cv2; cv2.imread({str(ONE)!r})"


@dataclass(frozen=True, kw_only=True)
class Kind:
    """How one run of a row is taken, and what is aimed at."""

    once: Callable[[], float]
    aim: str


def measured(name: str, runs: int) -> Row:
    """Take a row so many times."""
    return row_of([ROWS[name].once() for _ in range(runs)])


def _spent(work: Callable[[], object]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def _of_decoding(photo: Path) -> float:
    """Return the cost of measuring a photo in a process that is warm, over that of decoding it."""
    scale = scale_of(json.loads(photo.with_suffix(".json").read_text()))
    data = np.fromfile(photo, np.uint8)
    measure(photo, scale)
    times = [
        (
            _spent(lambda: measure(photo, scale)),
            _spent(lambda: cv2.imdecode(data, cv2.IMREAD_COLOR)),
        )
        for _ in range(3)
    ]
    return min(t for t, _ in times) / min(t for _, t in times)


@functools.cache
def _bytecode() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory()


def _environment() -> dict[str, str]:
    """Return the variables of a fresh Python: what is installed has its bytecode beside it."""
    own = {"PYTHONPATH": str(SAMPLES.parent), "PYTHONPYCACHEPREFIX": _bytecode().name}
    return {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | own


def _child(*arguments: str, code: str = _START, folder: str | None = None) -> tuple[float, float]:
    """Run a fresh Python; return its processor time in seconds and its largest size in MiB."""
    script = (
        "import atexit, sys\n"
        "def told():\n"
        "    own = open('/proc/self/status').read().split('VmHWM:')[1].split()[0]\n"
        "    sys.__stderr__.write(f'\\npeak {own}\\n')\n"
        "atexit.register(told)\n" + code
    )
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-c", script, *arguments],
        capture_output=True,
        text=True,
        check=False,
        cwd=folder,
        env=_environment(),
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if "Traceback" in done.stderr or "peak " not in done.stderr:
        raise RuntimeError(done.stderr)
    spent = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
    return spent, int(done.stderr.rsplit("peak ", 1)[1]) / 1024


def _over(arguments: tuple[str, ...], code: str) -> float:
    """Return the processor time of a whole command over that of a fresh Python with ``code``."""
    return min(_child(*arguments)[0] for _ in range(2)) / min(
        _child(code=code)[0] for _ in range(2)
    )


def _command(*arguments: str) -> Callable[[], float]:
    return lambda: _over(arguments, "import click")


def _identify(photo: Path, *reference: str) -> Callable[[], float]:
    return lambda: _over(("identify", str(photo), *reference), _DECODE)


def _batch(processes: int, copies: int = COPIES) -> tuple[float, float]:
    """Measure the copies of a photo; return processor seconds and seconds by the clock."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name, "photos")
        folder.mkdir()
        for i in range(copies):
            # What follows a JPEG's end is not looked at.
            (folder / f"{i:02}.jpg").write_bytes(ONE.read_bytes() + bytes([i]))
        start = time.perf_counter()
        spent, _ = _child("batch", str(folder), "--pin", "6", "--jobs", str(processes), folder=name)
        return spent, time.perf_counter() - start


@functools.cache
def _batch_compiled() -> None:
    """Run one batch beforehand: the first one writes bytecode, which others find."""
    _batch(1)


def _batch_of_decoding() -> float:
    _batch_compiled()
    data = np.fromfile(ONE, np.uint8)
    spent, _ = _batch(1)
    decode = min(_spent(lambda: cv2.imdecode(data, cv2.IMREAD_COLOR)) for _ in range(5))
    return spent / COPIES / decode


def _second_process(copies: int) -> float:
    _batch_compiled()
    return _batch(1, copies)[1] / _batch(2, copies)[1]


def _memory() -> float:
    scale = scale_of(json.loads(ONE.with_suffix(".json").read_text()))
    measure(ONE, scale)
    pixels: Any = cv2.imread(str(ONE))
    size = pixels.nbytes / 2**20
    del pixels
    return peak_mib(ONE, scale) / size


def _whole_memory() -> float:
    _child("identify", str(ONE), "--pin", "6")  # its bytecode is written
    return _child("identify", str(ONE), "--pin", "6")[1] / _child(code=_DECODE)[1]


_M14 = ("lookup", "-d", "13.8", "-g", "1.5", "--form", "parallel")
_ADAPT = ("adapt", "--port", "M18x1.5", "--part", "1/8-27 NPT", "--stock", str(STOCK))
#: Each figure by its name; those that begin with "gain" are better when larger.
ROWS: dict[str, Kind] = {
    "measuring one part / decoding": Kind(once=lambda: _of_decoding(ONE), aim="2.5"),
    "measuring five parts / decoding": Kind(once=lambda: _of_decoding(FIVE), aim="6"),
    "whole identify / import cv2 and decode": Kind(
        once=_identify(ONE, "--pin", "6"), aim="4, then 2.5"
    ),
    "whole lookup / Python with click": Kind(once=_command(*_M14), aim="3"),
    "whole mate / Python with click": Kind(once=_command("mate", "M10x1", "1/8-27 NPT"), aim="3"),
    "whole adapt / Python with click": Kind(once=_command(*_ADAPT), aim="3"),
    "whole help / Python with click": Kind(once=_command("--help"), aim=""),
    "a photo of a batch, one process / decoding": Kind(once=_batch_of_decoding, aim="4"),
    "gain by a second process": Kind(once=lambda: _second_process(COPIES), aim="1.95 or more"),
    f"gain by a second process, {MANY} photos": Kind(
        once=lambda: _second_process(MANY), aim="1.95 or more"
    ),
    "peak memory of measuring / decoded photo": Kind(once=_memory, aim="2"),
    "peak memory of identify / import cv2 and decode": Kind(once=_whole_memory, aim="1.5"),
}
