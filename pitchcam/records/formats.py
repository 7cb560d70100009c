"""The documents that commands print as JSON, each with its format key."""

from __future__ import annotations

from collections.abc import Mapping

#: Document -> the commands that print it. Its schema is docs/schema/NAME.json.
FORMATS: Mapping[str, str] = {
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
