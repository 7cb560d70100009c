"""What people type into the forms: lengths, numbers, the reference of a photo."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from pitchcam.errors import UsageError
from pitchcam.records import ScaleSpec
from pitchcam.reference_kinds import REFERENCE_KINDS, SIZED
from pitchcam.units import parse_length

Typed = Mapping[str, str]

#: The references of a photo, the best first, as the page offers them: name, what it is, and
#: whether it has a size to state.
REFERENCES = tuple((kind.name, kind.label, kind.name in SIZED) for kind in REFERENCE_KINDS.values())


def length(text: str | None) -> float | None:
    """Return a typed length in mm, None where nothing was typed."""
    return parse_length(text) if text and text.strip() else None


def number(text: str | None, what: str) -> float | None:
    """Return a typed number, None where nothing was typed.

    Raises
    ------
    UsageError
        If it is no number.
    """
    if not text or not text.strip():
        return None
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        raise UsageError(f"'{text[:40]}' is no {what};", "write a number") from None


def scale(typed: Typed) -> ScaleSpec:
    """Return the reference that a form states, checked as the command line checks it."""
    from pitchcam.cli._options import scale_spec

    source = typed.get("source") or "auto"
    options: dict[str, Any] = {
        "reference_height": length(typed.get("reference_height")),
        "axis_height": length(typed.get("axis_height")),
    }
    if source in SIZED:
        size = length(typed.get("size"))
        if size is None:
            raise UsageError(
                f"no size was typed for {REFERENCE_KINDS[source].says};",
                "measure it and type it in mm",
            )
        options[source] = size
    elif source == "sheet":
        options["sheet_bar"] = length(typed.get("size")) or 100.0
    elif source in REFERENCE_KINDS:
        options[REFERENCE_KINDS[source].key] = True
    elif source != "auto":
        raise UsageError("there is no such reference;", "choose one of the list")
    return scale_spec(**options)


def reference_text(text: str) -> dict[str, str]:
    """Read 'pin 8', 'disc 23.25', 'card', 'sheet 99.6' as the form's fields.

    Raises
    ------
    UsageError
        If it is no reference.
    """
    source, _, size = text.strip().partition(" ")
    typed = {"source": source.lower(), "size": size.strip()}
    scale(typed)
    return typed


def settings(typed: Typed) -> Any:
    """Return what a photo is measured with, as ``batch`` keeps it."""
    from pitchcam.batch.settings import Settings

    cast = bool(typed.get("cast"))
    percent = number(typed.get("shrinkage"), "shrinkage")
    if percent is not None and not cast:
        raise UsageError("a shrinkage is of a cast;", "tick the cast, or leave it out")
    if percent is not None and not 0.0 <= percent <= 5.0:
        raise UsageError("a cast shrinks by 0 to 5 percent;", "see the compound's sheet")
    return Settings(scale=scale(typed), cast=cast, shrinkage_percent=percent)


def reference_of(spec_text: str) -> dict[str, str]:
    """Return the form's fields for the settings text that the record keeps; none for several."""
    kept = json.loads(spec_text)
    if "scale" not in kept:
        # The answer of several photos: each has a reference of its own.
        return {}
    spec = kept["scale"]
    source = "sheet" if spec["source"] == "auto" else spec["source"]
    size = spec["mm"] if source != "sheet" else spec["sheet_bar_mm"]
    shown = {
        "source": source,
        "size": size,
        "reference_height": spec["height_mm"],
        "axis_height": spec["axis_height_mm"],
        "shrinkage": kept["shrinkage_percent"],
    }
    typed = {k: v if isinstance(v, str) else f"{v:g}" for k, v in shown.items() if v is not None}
    return typed | ({"cast": "yes"} if kept["cast"] else {})


def spec_of(spec_text: str) -> ScaleSpec:
    """Return the reference of the settings text that the record keeps."""
    kept = json.loads(spec_text).get("scale", {})
    return ScaleSpec(**{f.name: kept[f.name] for f in fields(ScaleSpec) if f.name in kept})
