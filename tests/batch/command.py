"""``pitchcam batch`` with the tests' measuring function, as a process: PLACES --record R --out O.

Run as ``python -m tests.batch.command``; killed and started again by the tests.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from pitchcam.batch import run
from pitchcam.batch.settings import Settings
from pitchcam.batch.source import list_photos
from pitchcam.errors import PitchcamError
from pitchcam.records import ScaleSpec
from tests.batch import double


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("places", nargs="+", type=Path)
    parser.add_argument("--record", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--cluster")
    args = parser.parse_args()
    settings = Settings(scale=ScaleSpec(source="pin", mm=8.0))
    call = run.Setup(
        record=args.record,
        out=args.out,
        processes=args.jobs,
        limit_s=60.0,
        sheets=False,
        cluster=args.cluster,
        measure=double.measure,
    )
    try:
        run.run_batch(call, list_photos(args.places, settings), lambda *_: None)
    except PitchcamError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
