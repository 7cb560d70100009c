"""Writing a picture."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
from numpy.typing import NDArray

from pitchcam.errors import InputError
from pitchcam.files import write_whole


def write_picture(path: Path, picture: NDArray[Any]) -> None:
    """Write a picture; its kind follows the name (.jpg or .png).

    Raises
    ------
    InputError
        If it cannot be encoded or written.
    FullError
        If the disk is full.
    """
    ok, coded = cv2.imencode(path.suffix.lower(), picture)
    if not ok:
        raise InputError(f"{path.name} cannot be encoded;", "name it .jpg or .png")
    write_whole(path, coded.tobytes())
