"""A measuring function for tests of everything around the measurement.

A test photo is a text file with a JSON object: ``threads`` (designation and status of each, by
part), and what shall go wrong. Nothing here is a picture, so no small pictures come of it.
"""

from __future__ import annotations

import hashlib
import json
import os
import signal
import time
from pathlib import Path
from typing import Any

from pitchcam.batch.settings import Settings
from pitchcam.errors import InputError, UnreadableError
from pitchcam.records import FORMAT


def write_photo(path: Path, parts: list[list[str]] | None = None, **what: Any) -> Path:
    """Write a test photo; each part is a list of designations, '?' for an ambiguous one."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps({"parts": [["M14x1.5"]] if parts is None else parts, **what}))
    return path


def measure(path: Path, settings: Settings) -> dict[str, Any]:
    """Return the document that the test photo asks for, or go wrong as it says."""
    data = path.read_bytes()
    try:
        spec = json.loads(data)
    except ValueError:
        raise InputError(f"{path.name} is truncated;", "send it again") from None
    _note(path, spec)
    time.sleep(spec.get("sleep_s", 0.0))
    _go_wrong(path, spec)
    sha256 = hashlib.sha256(data).hexdigest()
    wobble = int(sha256[:6], 16) / 0xFFFFFF - 0.5
    return {
        "format": FORMAT,
        "photo": {"file": str(path), "sha256": sha256, "width_px": 400, "height_px": 300},
        "scale": {
            "source": settings.scale.source,
            "mm_per_px": {"value": 0.04, "u": 1e-5},
            "camera_height_mm": None,
        },
        "parts": [
            {
                "id": i,
                "box_px": [50.0 * i, 20.0, 50.0 * i + 40, 90.0],
                "threads": [_thread(name, wobble, spec) for name in names],
            }
            for i, names in enumerate(spec["parts"], 1)
        ],
        "warnings": spec.get("warnings", []),
    }


def _note(path: Path, spec: dict[str, Any]) -> None:
    """Leave a mark for every measurement made, so that tests can count them."""
    if "log" in spec:
        with Path(spec["log"]).open("a") as log:
            log.write(path.read_text().strip() + "\n")


def _go_wrong(path: Path, spec: dict[str, Any]) -> None:
    wrong = spec.get("wrong")
    if wrong == "unreadable":
        raise UnreadableError("the outline is out of focus.", "Retake.", code="blurred")
    if wrong == "input":
        raise InputError(f"{path.name} is damaged;", "send it again")
    if wrong == "fault":
        raise ZeroDivisionError("a fault\nof the program")
    if wrong == "memory":
        raise MemoryError
    if wrong == "die":
        os.kill(os.getpid(), signal.SIGKILL)
    if wrong == "die once":
        marker = path.with_suffix(".died")
        if not marker.exists():
            marker.touch()
            os.kill(os.getpid(), signal.SIGKILL)
    if wrong == "hang":
        time.sleep(3600)


def _thread(name: str, wobble: float, spec: dict[str, Any]) -> dict[str, Any]:
    named = name != "?"
    fits = [("M14x1.5", "ISO 261", 0.6), ("1/4-18 NPT", "ASME B1.20.1", 0.4)]
    if named:
        fits = [(name, "ISO 261", 0.99)]
    major = spec.get("major_mm", 13.8) + 0.01 * wobble
    return {
        "pitch_mm": {"value": 1.5 + 0.001 * wobble, "u": 0.0015},
        "tpi": {"value": 16.93, "u": 0.017},
        "major_mm": {"value": major, "u": 0.02},
        "pitch_diameter_mm": None,
        "minor_mm": None,
        "angle_deg": {"value": 60 + wobble, "u": 0.4},
        "half_angles_deg": [None, None],
        "taper": {"value": 0.0001, "u": 0.002},
        "diameter_station_mm": None,
        "gender": "external",
        "starts": 1,
        "turns": 8.5,
        "span_px": [[0, 0], [10, 0]],
        "budget": [],
        "verdict": {
            "status": "named" if named else "ambiguous",
            "designation": name if named else None,
            "standard": "ISO 261" if named else None,
            "probability": 0.99 if named else None,
            "same_geometry": [],
            "candidates": [{"designation": d, "standard": s, "probability": p} for d, s, p in fits],
            "next_step": None if named else "Measure the taper.",
            "notes": [],
        },
    }
