"""What the bench remembers: its own reference, and the bars of its screens."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path
from typing import Any

from pitchcam.files import write_whole
from pitchcam.page import typed as forms
from pitchcam.page.setup import Setup
from pitchcam.records import json_text
from pitchcam.records.formats import document

_KEPT = ("source", "size", "reference_height", "axis_height")


def remembered(setup: Setup) -> dict[str, str]:
    """Return the form's fields of the bench's own reference; a card where none is kept."""
    kept = _load(setup).get("reference")
    if isinstance(kept, dict):
        with contextlib.suppress(Exception):  # a damaged file is no memory
            fields = {k: str(v) for k, v in kept.items() if k in _KEPT}
            forms.scale(fields)
            return fields
    if setup.reference is not None:
        return forms.reference_text(setup.reference)
    return {"source": "card", "size": ""}


def remember(setup: Setup, typed: forms.Typed) -> None:
    """Keep a form's reference as the bench's own.

    Raises
    ------
    UsageError
        If it is no reference.
    """
    forms.scale(typed)
    fields = {name: typed[name].strip() for name in _KEPT if typed.get(name, "").strip()}
    kept = document("bench", _load(setup) | {"reference": fields})
    write_whole(_file(setup), json_text(kept, indent=1).encode())


def _file(setup: Setup) -> Path:
    return setup.folder / "bench.json"


def _load(setup: Setup) -> dict[str, Any]:
    with contextlib.suppress(OSError, ValueError):
        kept = json.loads(_file(setup).read_text(encoding="utf-8"))
        if isinstance(kept, dict):
            return kept
    return {}
