"""What a whole box says that no single photo can: that its stated reference has another size."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from pitchcam.batch.settings import Settings
from pitchcam.records import Quantity, ThreadReading, u_as_stated
from pitchcam.store.rows import ThreadRow

#: So many threads tell the ratio; more would only take longer.
ENOUGH = 8
_READ = (
    "pitch_mm",
    "major_mm",
    "pitch_diameter_mm",
    "minor_mm",
    "angle_deg",
    "taper",
    "diameter_station_mm",
)


def reference_hints(rows: Iterable[ThreadRow], settings: Mapping[str, Settings]) -> tuple[str, ...]:
    """Return a sentence for every stated reference that the threads of its photos deny.

    Parameters
    ----------
    rows : iterable of ThreadRow
        The rows of all photos, in a fixed order.
    settings : mapping
        What the photos were measured with, by its key.
    """
    groups: dict[str, list[ThreadRow]] = defaultdict(list)
    for row in rows:
        if {"pitch_mm", "major_mm"} <= row.quantities.keys() and row.settings_key in settings:
            groups[row.settings_key].append(row)
    said = []
    for key, group in groups.items():
        if sum(r.status != "named" for r in group) < 2:
            continue
        # Few boxes come here, and what weighs the sizes takes long to load.
        from pitchcam.match.reference import box_doubt

        # Evenly through the box: the doubtful alone would not speak for a sound reference.
        step = -(-len(group) // ENOUGH)
        scale = settings[key].scale
        doubt = box_doubt([_reading(r) for r in group[::step]], scale)
        if doubt is not None:
            said.append(f"{scale.source}: {doubt}")
    return tuple(said)


def _reading(row: ThreadRow) -> ThreadReading:
    """Return what was read at the stated size: what is doubted of that is what the box is asked."""
    read = {n: Quantity(value=v, u=u) for n, (v, u) in row.quantities.items() if n in _READ}
    held: dict[str, Any] = {
        n: replace(q, u=u_as_stated(q, row.u_stated if n.endswith("_mm") else 0.0))
        for n, q in read.items()
    }
    return ThreadReading(gender="internal" if row.gender == "internal" else "external", **held)
