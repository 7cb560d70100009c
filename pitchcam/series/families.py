"""What each family is, and how its joints seal, in plain words."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from pathlib import Path

from pitchcam.frozen import dataclass
from pitchcam.series.table import read_table


@dataclass(frozen=True, kw_only=True, slots=True)
class Family:
    """One family of threads: its plain name, form (parallel or taper) and seal."""

    family: str
    name: str
    form: str
    seal: str
    standard: str


@functools.lru_cache(maxsize=4)
def load_families(folder: Path | None = None) -> Mapping[str, Family]:
    """Return the families by their short name."""
    return {
        row.text("family"): Family(
            family=row.text("family"),
            name=row.text("name"),
            form=row.choice("form", ("parallel", "taper")),
            seal=row.text("seal"),
            standard=row.text("standard"),
        )
        for row in read_table("families.csv", folder)
    }
