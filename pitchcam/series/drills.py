"""Drills in the rack, and the tapping drill of a size with the engagement that it leaves."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Literal, cast

from pitchcam.errors import UsageError
from pitchcam.frozen import dataclass
from pitchcam.records import MM_PER_INCH
from pitchcam.series.records import ThreadSize
from pitchcam.series.table import read_table

Kind = Literal["metric", "number", "letter", "fraction"]
METRIC: tuple[Kind, ...] = ("metric",)
INCH: tuple[Kind, ...] = ("number", "letter", "fraction")

#: Share of the full thread that a tapped hole is drilled for (common practice: above it a tap
#: breaks sooner and the joint hardly gains).
ENGAGEMENT = 0.75


@dataclass(frozen=True, kw_only=True, slots=True)
class Drill:
    """One drill of the rack, as it is marked."""

    name: str
    diameter_mm: float
    kind: Kind


@dataclass(frozen=True, kw_only=True, slots=True)
class TapDrill:
    """The tapping drill of a size.

    ``engagement`` is the depth of thread left, as a share of the basic profile's; None for a taper
    thread, where it changes along the hole. ``in_limits`` says whether the hole lies within the
    usual class's limits of the minor diameter; a taper thread has the tabulated drill for tapping
    without a reamer, and its limits are not asked.
    """

    drill: Drill
    engagement: float | None
    in_limits: bool
    source: str


@functools.lru_cache(maxsize=4)
def load_drills(folder: Path | None = None) -> tuple[Drill, ...]:
    """Return the drills of the rack, small to large."""
    drills = []
    for row in read_table("drills.csv", folder):
        factor = MM_PER_INCH if row.choice("unit", ("mm", "in")) == "in" else 1.0
        kind = cast(Kind, row.choice("kind", ("metric", "number", "letter", "fraction")))
        drills.append(
            Drill(name=row.text("drill"), diameter_mm=row.number("diameter") * factor, kind=kind)
        )
    return tuple(sorted(drills, key=lambda d: d.diameter_mm))


@functools.lru_cache(maxsize=4)
def _tabulated(folder: Path | None) -> Mapping[str, tuple[str, str]]:
    rows = read_table("tap_drills.csv", folder)
    return {r.text("designation"): (r.text("drill"), r.text("source")) for r in rows}


def full_depth_mm(size: ThreadSize) -> float:
    """Return the depth on the diameter that counts as 100 % engagement.

    Twice the distance from the basic major to the basic pitch diameter: 1.299 P for 60 degree
    threads, 1.281 P for Whitworth form, as workshop tables reckon it.
    """
    return 2 * (size.basic_major_mm - size.basic_pitch_diameter_mm)


def engagement(size: ThreadSize, hole_mm: float) -> float:
    """Return the share of the full thread that a hole leaves, 0 to 1 and beyond."""
    return (size.basic_major_mm - hole_mm) / full_depth_mm(size)


def tapping_drill(size: ThreadSize, kinds: Sequence[Kind] = METRIC) -> TapDrill:
    """Return a size's drill: the tabulated one, else by rule within the limits of the bore.

    Metric threads on the metric rack follow ISO 2306, major diameter less pitch; the others the
    drill nearest to 75 % engagement.

    Raises
    ------
    UsageError
        If the size has no internal thread, or no drill of the rack is near.

    Examples
    --------
    >>> from pitchcam.series import find
    >>> tapping_drill(find("M14x1.5")).drill.name
    '12.5 mm'
    """
    if "internal" not in size.genders or not size.internal:
        raise UsageError(f"{size.designation} is never tapped.", "Its mate is: see pitchcam mate.")
    drills = [d for d in load_drills() if d.kind in kinds]
    if size.taper:
        return _taper_drill(size, drills)
    low, high = size.internal[0].minor_mm
    target = size.basic_major_mm - ENGAGEMENT * full_depth_mm(size)
    source = "nearest to 75 % engagement within the limits of the bore"
    if size.family == "M" and "metric" in kinds:
        target = size.basic_major_mm - size.pitch_mm
        source = "ISO 2306: major diameter less pitch"
        name, listed = _tabulated(None).get(size.designation, ("", ""))
        held = next((d for d in drills if d.name == name), None)
        if held is not None:
            return TapDrill(
                drill=held,
                engagement=engagement(size, held.diameter_mm),
                in_limits=low - 1e-6 <= held.diameter_mm <= high + 1e-6,
                source=listed,
            )
    inside = [d for d in drills if low - 1e-6 <= d.diameter_mm <= high + 1e-6]
    best = min(inside or drills, key=lambda d: abs(d.diameter_mm - target))
    if abs(best.diameter_mm - target) > 0.5 * full_depth_mm(size):
        raise UsageError(f"no drill here is near {target:.2f} mm.", "Bore the hole to size.")
    return TapDrill(
        drill=best,
        engagement=engagement(size, best.diameter_mm),
        in_limits=bool(inside),
        source=source,
    )


def _taper_drill(size: ThreadSize, drills: Sequence[Drill]) -> TapDrill:
    """Return the tabulated drill, or the one of another rack that is nearest and not smaller."""
    name = size.designation.replace("NPTF", "NPT")
    table = _tabulated(None)
    if name not in table:
        raise UsageError(f"no tapping drill of {size.designation} is tabulated.", "Ask the tap.")
    mark, source = table[name]
    held = next((d for d in load_drills() if d.name == mark), None)
    if held is None:
        raise UsageError(f"the drill {mark} of {name} is in no rack.", "Correct tap_drills.csv.")
    larger = [d for d in drills if d.diameter_mm >= held.diameter_mm]
    near = min(larger or drills, key=lambda d: abs(d.diameter_mm - held.diameter_mm))
    drill = held if held in drills else near
    return TapDrill(
        drill=drill,
        engagement=None,
        in_limits=True,
        source=source if drill is held else f"{source}; nearest drill to {mark}",
    )
