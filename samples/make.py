"""Render photos: ``python -m samples.make [NAME ...] [-o FOLDER]``; needs the ``samples`` extra."""

from __future__ import annotations

import json
import time
from pathlib import Path

from samples.develop import develop, write
from samples.shots import Shot


def make(shot: Shot, folder: Path) -> float:
    """Render one shot and write NAME.jpg and NAME.json; return the seconds it took."""
    from samples import trace

    start = time.monotonic()
    light = trace.photo(shot.scene(), samples=shot.samples, seed=shot.seed)
    write(folder / f"{shot.name}.jpg", develop(light, shot.development, shot.seed))
    text = json.dumps(shot.truth(), indent=1) + "\n"
    write(folder / f"{shot.name}.json", text.encode())
    return time.monotonic() - start
