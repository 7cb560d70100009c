"""A disk that is full for real: a small file system in memory, where we may mount one."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.batch import double
from tests.batch.test_resume import TABLES, finish, start


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=400k", "tmpfs", str(disk)]
    try:
        done = subprocess.run(mount, capture_output=True, check=False)
    except OSError:
        pytest.skip("no mount command here")
    if done.returncode:
        pytest.skip("this user may not mount a file system")
    yield disk
    subprocess.run(["umount", "-l", str(disk)], check=True)


def test_a_full_disk_stops_with_one_line_and_the_next_run_goes_on(
    small_disk: Path, tmp_path: Path
) -> None:
    photos, log = tmp_path / "photos", tmp_path / "log"
    for i in range(80):
        double.write_photo(photos / f"{i:02}.jpg", [["M14x1.5"], ["?"]], n=i, log=str(log))
    expected = finish(photos, tmp_path / "roomy")
    log.unlink()
    for _ in range(2):  # a second try on the full disk says the same, and harms nothing
        batch = start(photos, small_disk)
        _, told = batch.communicate(timeout=60)
        assert batch.returncode == 1
        assert told.decode().count("\n") == 1
        assert "is full; all that was finished is kept." in told.decode()
    before = len(set(log.read_text().splitlines()))
    assert 0 < before < 80
    subprocess.run(["mount", "-o", "remount,size=8m", str(small_disk)], check=True)
    log.unlink()
    assert finish(photos, small_disk) == expected
    # Only photos that were in hand when the disk ran full are measured again, two processes twice.
    assert len(log.read_text().splitlines()) <= 80 - before + 4
    assert sorted(p.name for p in (small_disk / "box").iterdir()) == sorted(TABLES)
