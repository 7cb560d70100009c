"""Print the versions that are installed here, of all that pitchcam and its tests need.

``python .ci/constraints.py > .ci/constraints.txt``, after a run in which everything held. The
check of a fresh clone installs these, so that a library's new version cannot turn it red by
itself; people get whatever the ranges of ``pyproject.toml`` allow.
"""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

PROJECT = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8"))[
    "project"
]


def stated(name: str) -> list[str]:
    """Return a package's requirements; those of pitchcam as they stand in the tree."""
    if name != "pitchcam":
        return metadata.requires(name) or []
    extras = PROJECT["optional-dependencies"]
    return PROJECT["dependencies"] + [
        f"{line}; extra == '{extra}'" for extra, lines in extras.items() for line in lines
    ]


def needed(name: str, extras: frozenset[str], seen: dict[str, str]) -> None:
    """Add what a package needs, by name, with the version that is installed."""
    for line in stated(name):
        what, _, marker = line.partition(";")
        wanted = re.match(r"([\w.-]+)(?:\[([\w, -]+)\])?", what.strip())
        extra = re.search(r"extra == ['\"]([\w-]+)['\"]", marker)
        if wanted is None or (extra and extra[1] not in extras):
            continue
        key = re.sub(r"[-_.]+", "-", wanted[1]).lower()
        asked = frozenset(re.split(r"[ ,]+", wanted[2])) if wanted[2] else frozenset()
        if key == "pitchcam":
            needed(name, asked, seen)
            continue
        if key in seen and not asked:
            continue
        try:
            seen[key] = metadata.version(key)
        except metadata.PackageNotFoundError:
            continue  # of another system or interpreter
        needed(key, asked, seen)


if __name__ == "__main__":
    found: dict[str, str] = {}
    needed("pitchcam", frozenset({"dev"}), found)
    print("# Written by .ci/constraints.py; see there.")
    for package, version in sorted(found.items()):
        print(f"{package}=={version}")
