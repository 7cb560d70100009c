"""What a doubted reference is called, and how its size is asked for."""

from __future__ import annotations

#: How a doubted size is asked for: a caliper's own jaws are read, not measured.
ASKED = {
    "jaws": "Read the caliper again: do its jaws stand at",
    "major": "Read the crests again with a caliper:",
    "sheet": "Measure the marker sheet's bar with a caliper, and state it with --sheet-bar:",
}
#: What the reference is called, where its stated size is doubted.
WORDS = {
    "pin": ("the pin", "be"),
    "disc": ("the disc", "be"),
    "card": ("the card", "be"),
    "jaws": ("the caliper jaws", "stand at"),
    "major": ("the crests", "measure"),
    "sheet": ("the marker sheet's bar", "be"),
}


def asked(kind: str) -> str:
    """Return the question for a reference's size, up to the sizes."""
    return ASKED.get(kind, f"Measure {WORDS[kind][0]} with a caliper:")


def told_how(kind: str) -> str | None:
    """Return how a size is told that a caliper said in the first place; None for the usual way."""
    read = kind in ("jaws", "major")
    return "read the caliper again, and state what it says" if read else None


def size_words(size_mm: float, listed: bool) -> str:
    """Return a size as such references have it; one that the threads tell to half a percent."""
    return f"{size_mm:.4g}" if listed else f"{size_mm:.3g}"
