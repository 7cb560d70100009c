"""Deliberate breaks: one-line edits that make the program wrong, each of which a test must catch.

``breaks.toml`` holds them as data, in groups of one file: old text, new text, what is then wrong,
and the tests that are run for the group. ``python -m tests.breaks`` makes them one at a time.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
LIST = Path(__file__).with_name("breaks.toml")


@dataclass(frozen=True)
class Break:
    """One edit of one file, what it breaks, and the tests that are run for it."""

    file: str
    old: str
    new: str
    says: str
    tests: tuple[str, ...]

    @property
    def title(self) -> str:
        """The file and what is wrong."""
        return f"{self.file.removeprefix('pitchcam/')}: {self.says}"

    def applied(self, text: str) -> str | None:
        """Return the broken text; None where the old text is not there exactly once: stale."""
        return text.replace(self.old, self.new) if text.count(self.old) == 1 else None


def load_breaks(path: Path = LIST) -> list[Break]:
    """Return all breaks in the order of the list."""
    groups = tomllib.loads(path.read_text(encoding="utf-8"))["group"]
    return [
        Break(group["file"], old, new, says, tuple(group["tests"]))
        for group in groups
        for old, new, says in group["breaks"]
    ]


def stale(breaks: list[Break], root: Path = ROOT) -> list[Break]:
    """Return the breaks whose old text is no longer in the source, exactly once."""
    return [
        b
        for b in breaks
        if not (root / b.file).is_file()
        or b.applied((root / b.file).read_text(encoding="utf-8")) is None
    ]
