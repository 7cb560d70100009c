"""The documents that are printed, written or answered as JSON, each with its format key."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

#: Document -> the commands that print it.
PRINTED: Mapping[str, str] = {
    "measurement": "identify, lookup, batch (one a line), log show",
    "check": "check",
    "size": "series NAME",
    "series": "series",
    "mating": "mate",
    "matings": "mate --both",
    "chains": "adapt",
    "joining": "join",
    "job": "job",
    "stock": "stock list",
}
#: Document -> the files it is written to, for people and other programs.
WRITTEN: Mapping[str, str] = {
    "threads": "batch --out (box.json), log export FILE.json, the page's record.json",
    "measurements": "batch --together (together.json)",
    "camera": "calibrate (camera.json)",
    "lenses": "identify, serve (pitchcam-lenses.json)",
}
#: Document -> where the page keeps it, or what it answers with it.
OF_THE_PAGE: Mapping[str, str] = {
    "run": "the answer to a photo that was sent",
    "refusal": "the answer to what is not done",
    "kept": "the answer to a reference that was stated",
    "frame": "the answer to a frame of the live view",
    "view": "pitchcam-page: view.json of each photo",
    "plots": "pitchcam-page: plots.json of each photo",
    "bench": "pitchcam-page: bench.json",
    "browsers": "pitchcam-page: browsers.json",
    "box": "pitchcam-page: a file for each box",
}
#: Every document -> where it is met. Its schema is docs/schema/NAME.json.
FORMATS: Mapping[str, str] = {**PRINTED, **WRITTEN, **OF_THE_PAGE}


def document(name: str, keys: Mapping[str, Any]) -> dict[str, Any]:
    """Return a document: its format key, then its keys.

    Raises
    ------
    KeyError
        If there is no such document.
    """
    return {"format": format_of(name), **keys}


def format_of(name: str) -> str:
    """Return a document's format key: its revision is raised when a key changes its meaning.

    Raises
    ------
    KeyError
        If there is no such document.
    """
    if name not in FORMATS:
        raise KeyError(name)
    return f"pitchcam.{name}/1"
