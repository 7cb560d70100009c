"""How hands slip: the shares of slips, each with its reason, as a table that may be replaced."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from pathlib import Path

from pitchcam.errors import InputError
from pitchcam.series.table import read_table

#: Every slip that is counted. Leaf: one step off or missing from the set, of the other unit's set,
#: the unit's word, any other. Two diameters: large end first, second one misread. Diameter: inches
#: typed as mm, any other, worn crests. Form gauge misread. Form (by eye) wrong. Wrong
#: reference, by its kind.
SLIPS = (
    "leaf-step",
    "leaf-other",
    "leaf-unit",
    "leaf-any",
    "order",
    "second-any",
    "diameter-unit",
    "diameter-any",
    "worn",
    "angle-any",
    "form-parallel",
    "form-taper",
    "reference-pin",
    "reference-disc",
    "reference-card",
    "reference-jaws",
    "reference-major",
    "reference-sheet",
)
#: Slips of one kind of reading together stay under this: the rest are read as they should be.
MOST = 0.5


@functools.lru_cache(maxsize=4)
def slip_shares(folder: Path | None = None) -> Mapping[str, float]:
    """Return the share of readings that each slip spoils, from ``slips.csv``.

    Raises
    ------
    InputError
        If a slip is missing or unknown, or a share is not above 0 and below one half.
    """
    shares: dict[str, float] = {}
    for row in read_table("slips.csv", folder):
        name, share = row.choice("name", SLIPS), row.number("share")
        row.text("source")
        if share >= MOST:
            raise row.error("share", f"is {share:g}", f"write a share below {MOST:g}")
        shares[name] = share
    missing = [name for name in SLIPS if name not in shares]
    if missing:
        raise InputError(f"slips.csv has no row '{missing[0]}'.", "Restore the row.")
    return shares
