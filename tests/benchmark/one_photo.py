"""What one measurement costs, stage by stage; the scale comes from its truth file.

Prints the time of the whole measurement as a ratio to OpenCV's decoding of the same file in the
same run, its peak memory as a ratio to the decoded picture, the share of each stage, and the time
of ``pitchcam --help`` as a ratio to importing scipy.signal and cv2.
"""

from __future__ import annotations

import argparse
import ctypes
import gc
import json
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

import pitchcam
from pitchcam.errors import UnreadableError
from pitchcam.records import ScaleSpec
from tests.accuracy import scale_of

_HELP = "import sys; sys.argv = ['pitchcam', '--help']; from pitchcam.cli import main; main()"
_IMPORT = "import scipy.signal, cv2"


def measure(photo: Path, scale: ScaleSpec, progress: Callable[[str], None] | None = None) -> None:
    """Measure once; a refusal is a measurement too."""
    try:
        pitchcam.identify(photo, scale, plots=False, progress=progress)
    except UnreadableError as refusal:
        print(f"refused: {refusal}", file=sys.stderr)


def timed(work: Callable[[], object]) -> float:
    """Return the seconds that one call takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def times(photo: Path, scale: ScaleSpec, runs: int) -> tuple[float, float, dict[str, float]]:
    """Return median seconds of measuring and of decoding, taken in turns, and of each stage."""
    data = np.fromfile(photo, np.uint8)
    whole, decode = [], []
    stages: dict[str, list[float]] = {}
    measure(photo, scale)  # imports and tables are loaded once
    for _ in range(runs):
        decode.append(timed(lambda: cv2.imdecode(data, cv2.IMREAD_COLOR)))
        marks: list[tuple[str, float]] = []
        start = time.perf_counter()
        measure(photo, scale, lambda text, to=marks: to.append((text, time.perf_counter())))
        end = time.perf_counter()
        whole.append(end - start)
        marks = [("before the first stage", start), *marks, ("", end)]
        for (name, since), (_, until) in zip(marks, marks[1:], strict=False):
            stages.setdefault(name, []).append(until - since)
    shares = {name: sum(seconds) / sum(whole) for name, seconds in stages.items()}
    return statistics.median(whole), statistics.median(decode), shares


def status_kib(key: str) -> int:
    """Return a line of this process's memory status (Linux)."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith(key + ":"):
            return int(line.split()[1])
    raise KeyError(key)


def peak_mib(photo: Path, scale: ScaleSpec) -> float:
    """Return how far one measurement raises this process's memory at its highest, in MiB."""
    gc.collect()
    ctypes.CDLL(None).malloc_trim(0)
    Path("/proc/self/clear_refs").write_text("5")  # resets the high-water mark
    before = status_kib("VmRSS")
    measure(photo, scale)
    return (status_kib("VmHWM") - before) / 1024.0


def script_seconds(code: str, runs: int = 7) -> float:
    """Return the best time of a fresh interpreter that runs ``code``."""
    command = [sys.executable, "-c", code]
    return min(
        timed(lambda: subprocess.run(command, check=False, capture_output=True))
        for _ in range(runs)
    )


def show(photo: Path, runs: int, parser: argparse.ArgumentParser) -> None:
    """Print the figures of one photo."""
    truth = photo.with_suffix(".json")
    scale = scale_of(json.loads(truth.read_text())) if truth.is_file() else ScaleSpec()
    whole, decode, shares = times(photo, scale, runs)
    pixels = cv2.imread(str(photo))
    if pixels is None:
        parser.error("OpenCV cannot read that photo")
    picture = pixels.nbytes / 2**20
    del pixels
    peak = peak_mib(photo, scale)
    print(f"photo            {photo.name}, {picture:.1f} MiB decoded")
    print(f"measurement      {whole:.3f} s, {whole / decode:.2f} x decoding ({decode:.3f} s)")
    for name, share in sorted(shares.items(), key=lambda item: -item[1]):
        print(f"  {100 * share:5.1f} %        {name}")
    print(f"peak memory      {peak:.1f} MiB, {peak / picture:.2f} x the decoded picture")
    help_s, import_s = script_seconds(_HELP), script_seconds(_IMPORT)
    print(
        f"pitchcam --help  {help_s:.3f} s, {help_s / import_s:.2f} x importing scipy.signal "
        f"and cv2 ({import_s:.3f} s)"
    )
