"""Workers that die, hang or run out of memory cost their own photo at most."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pitchcam.batch.pool import Finished, LocalWorkers
from pitchcam.batch.settings import Settings
from pitchcam.batch.source import list_photos
from pitchcam.records import ScaleSpec
from tests.batch import double

PIN = Settings(scale=ScaleSpec(source="pin", mm=8.0))


def work(folder: Path, count: int = 2, limit_s: float = 60.0) -> dict[str, Finished]:
    """Measure a folder and return what came, by name."""
    workers = LocalWorkers(double.measure, count, limit_s=limit_s)
    waiting = [photo.job() for photo in list_photos([folder], PIN)]
    came: dict[str, Finished] = {}
    try:
        while waiting or workers.busy():
            while waiting and workers.free() > 0:
                workers.submit(waiting.pop(0))
            came |= {f.job.name: f for f in workers.wait(1.0)}
    finally:
        workers.close()
    return came


def test_a_worker_loads_neither_the_record_nor_what_is_made_of_it() -> None:
    code = (
        "import sys\n"
        "from pitchcam.batch import pool\n"
        "print(*{'sqlite3', 'pitchcam.batch.answer', 'pitchcam.batch.runner', 'click'}"
        " & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "\n"


@pytest.mark.parametrize(
    ("wrong", "status", "code", "lasting"),
    [
        ("unreadable", "refused", "blurred", True),
        ("input", "failed", "error", True),
        ("fault", "failed", "fault", False),
        ("memory", "failed", "out-of-memory", False),
        ("die", "failed", "crash", False),
    ],
)
def test_one_bad_photo_does_not_stop_the_rest(
    tmp_path: Path, wrong: str, status: str, code: str, lasting: bool
) -> None:
    double.write_photo(tmp_path / "0-bad.jpg", wrong=wrong)
    for i in range(3):
        double.write_photo(tmp_path / f"{i + 1}.jpg", n=i)
    came = work(tmp_path)
    bad = came.pop("0-bad.jpg").outcome
    assert (bad.status, bad.code, bad.lasting) == (status, code, lasting)
    assert "\n" not in bad.message and "Traceback" not in bad.message
    assert [f.outcome.status for f in came.values()] == ["measured"] * 3


def test_a_photo_whose_worker_is_killed_once_is_measured_all_the_same(tmp_path: Path) -> None:
    double.write_photo(tmp_path / "a.jpg", wrong="die once")
    assert work(tmp_path)["a.jpg"].outcome.status == "measured"


def test_a_photo_that_hangs_is_given_up(tmp_path: Path) -> None:
    double.write_photo(tmp_path / "a.jpg", wrong="hang")
    double.write_photo(tmp_path / "b.jpg")
    came = work(tmp_path, limit_s=2.0)
    assert came["a.jpg"].outcome.code == "slow"
    assert came["b.jpg"].outcome.status == "measured"


def test_a_file_that_changes_while_it_waits_is_not_kept_under_its_old_hash(tmp_path: Path) -> None:
    double.write_photo(tmp_path / "a.jpg")
    (job,) = [photo.job() for photo in list_photos([tmp_path], PIN)]
    double.write_photo(tmp_path / "a.jpg", [["G 1/4"]])
    workers = LocalWorkers(double.measure, 1, limit_s=60)
    workers.submit(job)
    (came,) = workers.wait(30)
    workers.close()
    assert (came.outcome.code, came.outcome.lasting) == ("changed", False)


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks at processes in /proc")
def test_no_worker_outlives_a_killed_batch(tmp_path: Path) -> None:

    pids = tmp_path / "pids"
    code = (
        "import time\n"
        "from pathlib import Path\n"
        "from pitchcam.batch.pool import LocalWorkers\n"
        "from pitchcam.batch.source import list_photos\n"
        "from tests.batch import double\n"
        "from tests.batch.test_pool import PIN\n"
        "if __name__ == '__main__':\n"
        "    workers = LocalWorkers(double.measure, 2, limit_s=60)\n"
        f"    for photo in list_photos([Path({str(tmp_path)!r})], PIN):\n"
        "        workers.submit(photo.job())\n"
        "    while workers.busy():\n"
        "        workers.wait(30)\n"
        "    pids = ' '.join(str(w.process.pid) for w in workers._workers)\n"
        f"    Path({str(pids)!r}).write_text(pids)\n"
        "    time.sleep(60)\n"
    )
    script = tmp_path / "batch_to_kill.py"
    script.write_text(code)
    for name in "ab":
        double.write_photo(tmp_path / f"{name}.jpg", n=name)
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    batch = subprocess.Popen([sys.executable, str(script)], env=env)
    try:
        _until(lambda: pids.exists() and len(pids.read_text().split()) == 2)
        workers = [int(p) for p in pids.read_text().split()]
    finally:
        batch.send_signal(signal.SIGKILL)
        batch.wait()
    _until(lambda: not any(_alive(pid) for pid in workers))


def _alive(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except OSError:
        return False
    return state != "Z"


def _until(true: object) -> None:
    end = time.monotonic() + 30
    while not true():  # type: ignore[operator]
        assert time.monotonic() < end, "waited half a minute in vain"
        time.sleep(0.05)
