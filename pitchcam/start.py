"""Where the command starts: before anything is imported, so that stopping it then is quiet too."""

from __future__ import annotations

import os
import sys


def main() -> None:
    """Run the command line; every failure is one line on stderr and an exit code."""
    try:
        _open_standard_files()
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
