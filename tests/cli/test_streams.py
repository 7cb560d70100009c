"""Starts, signals and outputs that are closed or full: one line, and no traceback."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

START = [sys.executable, "-m", "pitchcam"]
SERIES = [*START, "series", "--json"]


def lines(text: str) -> list[str]:
    return [line for line in text.splitlines() if line.strip()]


def test_the_module_runs_as_the_command_does():
    done = subprocess.run([*START, "--version"], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("pitchcam")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_output_is_one_line():
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(SERIES, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 1
    assert len(lines(done.stderr)) == 1
    assert "the answer cannot be written (No space left on device)" in done.stderr


def test_a_reader_that_goes_away_is_no_matter():
    program = subprocess.Popen(SERIES, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert program.stdout is not None and program.stderr is not None
    program.stdout.read(10)
    program.stdout.close()
    told = program.stderr.read()
    program.stderr.close()
    assert program.wait(timeout=60) in (0, 1)
    assert told == b""


@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_closed_streams(tmp_path, closed):
    """The record must not get the number of stderr, nor anything written into it."""
    record = tmp_path / "r.sqlite"
    from tests.store.test_damage import filled

    ids = filled(record)
    command = f"{sys.executable} -m pitchcam log list --record {record} {closed}"
    done = subprocess.run(["/bin/sh", "-c", command], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert "Traceback" not in done.stderr + done.stdout
    if ">&-" not in closed or closed == "2>&-":
        assert done.stdout.count("photo") == len(ids)


def test_a_photo_is_answered_where_stderr_is_closed():
    """Progress and warnings have no place to go; the answer has."""
    photo = Path(__file__).parents[1] / "findings" / "photos" / "no-roots.jpg"
    command = f"{sys.executable} -m pitchcam identify {photo} --pin 8 2>&-"
    done = subprocess.run(["/bin/sh", "-c", command], capture_output=True, text=True, check=False)
    assert done.returncode in (0, 3)
    assert "M18x1.5" in done.stdout


@pytest.mark.parametrize("after_s", [0.05, 0.15, 0.3, 0.6])
def test_interrupted_at_the_start(after_s):
    """Python's own start cannot be answered for; from our first line on it is quiet."""
    program = subprocess.Popen(
        [*START, "identify", "none.jpg", "--pin", "8"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    time.sleep(after_s)
    if program.poll() is None:
        program.send_signal(signal.SIGINT)
    _, told = program.communicate(timeout=60)
    if "pitchcam/start.py" in told or "pitchcam/cli" in told:
        raise AssertionError(told)
    assert told.count("Traceback") == 0 or "site" in told or "runpy" in told


def test_names_with_escapes_stay_on_one_line(tmp_path):
    name = tmp_path / "a\n\x1b[31mred.jpg"
    name.write_bytes(b"no photo at all")
    done = subprocess.run(
        [*START, "identify", str(name), "--pin", "8"], capture_output=True, check=False
    )
    told = done.stderr.decode()
    (line,) = [x for x in told.split("\n") if x.startswith("pitchcam:")]
    assert r"a\n\x1b[31mred.jpg is not a photo" in line
    assert done.returncode == 1
    assert b"\x1b[31m" not in done.stderr
    listed = subprocess.run(
        [
            *START,
            "batch",
            str(tmp_path),
            "--pin",
            "8",
            "--record",
            str(tmp_path / "r.sqlite"),
            "--out",
            str(tmp_path / "box"),
            "--jobs",
            "1",
            "--tables-only",
        ],
        capture_output=True,
        check=False,
    )
    assert b"\x1b" not in listed.stdout + listed.stderr
    assert rb"a\n\x1b[31mred.jpg: failed" in listed.stdout
    assert os.listdir(tmp_path / "box")  # noqa: PTH208


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="threads are counted on Linux")
def test_the_linear_algebra_starts_no_thread_that_waits():
    """One for each core, each spinning as it starts: of 64 cores a look-up used seconds."""
    code = (
        "import sys; sys.argv = ['pitchcam', '--version']\n"
        "from pitchcam.start import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "import numpy\n"
        "print(open('/proc/self/status').read().split('Threads:')[1].split()[0])\n"
    )
    asked = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
    env = {k: v for k, v in os.environ.items() if k not in asked}
    done = subprocess.run(
        [sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True
    )
    assert done.stdout.split()[-1] == "1"
