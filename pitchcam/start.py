"""Where the command starts: before anything is imported, so that stopping it then is quiet too."""

from __future__ import annotations

import gc
import os
import sys

#: Objects that may come before rubbish is looked for. Python's 700 is passed a hundred times by
#: imports and tables alone, of which nothing is rubbish: a twelfth of a command's time.
_BEFORE_COLLECTING = 100_000
#: The linear algebra starts a thread for each core as it is loaded, and each waits busily for work
#: that no photo has: on 64 cores that takes a hundred times as long as a table is looked up. With
#: one, the last digits of a sum are the same on every machine too.
_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def main() -> None:
    """Run the command line; every failure is one line on stderr and an exit code."""
    try:
        _open_standard_files()
        gc.set_threshold(_BEFORE_COLLECTING)
        for name in _ONE_THREAD:
            os.environ.setdefault(name, "1")
        from pitchcam.cli import run
    except KeyboardInterrupt:
        sys.stderr.write("stopped\n")
        sys.exit(1)
    sys.exit(run())


def _open_standard_files() -> None:
    """Give the places of stdin, stdout and stderr to the null device where they are closed.

    The next file that is opened would get such a place, and be written to as if it were a terminal.
    """
    for descriptor in range(3):
        try:
            os.fstat(descriptor)
        except OSError:
            # The lowest free number is the one that is missing.
            os.open(os.devnull, os.O_RDWR)
    if sys.stderr is None:  # closed when Python began; notes and progress are written there
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123


if __name__ == "__main__":
    main()
