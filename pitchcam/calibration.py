"""Where the reference catalogue lies: inside the wheel, or beside the package in a checkout."""

from __future__ import annotations

from pathlib import Path


def calibration_path(*parts: str) -> Path:
    """Return the path of a calibration file, installed or in a checkout.

    Raises
    ------
    FileNotFoundError
        If neither place holds it, which means a broken installation.
    """
    here = Path(__file__).parent
    for root in (here / "_calibration", here.parent / "calibration"):
        path = root.joinpath(*parts)
        if path.exists():
            return path
    raise FileNotFoundError("calibration data missing: " + "/".join(parts))
