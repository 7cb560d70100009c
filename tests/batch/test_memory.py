"""What a worker of a batch keeps from photo to photo."""

from __future__ import annotations

import platform
import subprocess
import sys

import pytest

#: Pages that the system clears while the same arrays are made again and again.
_CODE = """
import resource
import numpy as np
from pitchcam.batch.worker import keep_memory
if {keep}:
    keep_memory()
def work():
    for size in (300_000, 2_000_000, 4_500_000):
        np.ones(size)
def faults():
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt
work()
before = faults()
for _ in range(20):
    work()
print(faults() - before)
"""


def pages(*, keep: bool) -> int:
    code = _CODE.format(keep=keep)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return int(done.stdout)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only glibc can be told")
def test_memory_is_kept_for_the_next_photo() -> None:
    """Counted by the system: pages that were fresh, with large ones at least 18 a time else."""
    assert pages(keep=True) < pages(keep=False) / 4
