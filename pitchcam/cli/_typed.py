"""The answer to typed readings: as text for people, as the contract's document."""

from __future__ import annotations

from typing import Any

from pitchcam.match.advice import real_range
from pitchcam.records import (
    MM_PER_INCH,
    Measurement,
    PartResult,
    Quantity,
    ThreadReading,
    ThreadResult,
    Verdict,
)
from pitchcam.report.figures import (
    inches,
    millimetres,
    taper_words,
    threads_per_inch,
    with_uncertainty,
)
from pitchcam.report.verdicts import (
    headline_of_readings,
    listed,
    next_command,
    step_lines,
    twins_to_tell,
)
from pitchcam.series import ThreadSize, find, load_uses
from pitchcam.series.families import load_families
from pitchcam.units import percent

#: More candidates than this do not help at the bench; the rest are counted.
SHOWN = 8


def as_document(reading: ThreadReading, verdict: Verdict) -> dict[str, Any]:
    """Return the measurement document of readings without a photo: what a photo gives is null."""
    thread = ThreadResult(
        reading=reading,
        half_angles_deg=(None, None),
        turns=None,
        span_px=None,
        budget=(),
        verdict=verdict,
    )
    part = PartResult(id=1, box_px=None, threads=(thread,))
    return Measurement(photo=None, scale=None, parts=(part,)).to_json()


def as_text(reading: ThreadReading, verdict: Verdict) -> str:
    """Return the answer in lines: name, readings, candidates, use and seal, next step."""
    lines = [headline_of_readings(verdict)]
    lines += [f"  read: {label:<10}{value:<22}{other}" for label, value, other in _read(reading)]
    if verdict.status != "named":
        lines += _table(verdict, reading)
    elif len(verdict.candidates) > 1:
        lines.append("  also possible: " + ", ".join(listed(verdict)[1:]))
    twins = twins_to_tell(verdict)
    if twins:
        lines.append("  same size as " + "; ".join(twins))
    lines += [f"  note: {note}" for note in verdict.notes]
    if verdict.designation is not None:
        # Uses with a name of their own stand in the next step, with the seat that tells them.
        lines += use_lines(find(verdict.designation), reading.gender, twins=False)
    if verdict.next_step:
        lines += step_lines(verdict.next_step)
    if verdict.designation is not None:
        lines.append(f"  then: {next_command(verdict.designation, reading.gender)}")
    return "\n".join(lines)


def _read(reading: ThreadReading) -> list[tuple[str, str, str]]:
    inside = reading.gender == "internal"
    rows = []
    if reading.pitch_mm is not None:
        rows.append(("pitch", millimetres(reading.pitch_mm), threads_per_inch(reading.pitch_mm)))
    lengths: tuple[tuple[str, Quantity | None], ...] = (
        ("cast" if inside else "diameter", reading.major_mm),
        ("bore", reading.minor_mm),
    )
    rows += [(name, millimetres(q), inches(q)) for name, q in lengths if q is not None]
    if reading.angle_deg is not None:
        rows.append(("angle", with_uncertainty(reading.angle_deg, "°"), ""))
    if reading.taper is not None:
        rows.append(("taper", taper_words(reading.taper), ""))
    return rows


def _table(verdict: Verdict, reading: ThreadReading) -> list[str]:
    lines = []
    for c in verdict.candidates[:SHOWN]:
        size = find(c.designation)
        cast = reading.gender == "internal" and reading.major_mm is not None
        low, high = real_range(size, reading.gender, cast=cast)
        what = "cast" if cast else "bore" if reading.gender == "internal" else "crests"
        chance = percent(c.probability) if verdict.status == "ambiguous" else ""
        form = "taper 1:16, at its small end" if size.taper else "parallel"
        if size.taper and reading.gender == "internal":
            form = "taper 1:16, at its mouth"
        lines.append(
            f"  {chance:>13}  {c.designation:<19}{size.pitch_mm:.3f} mm "
            f"({MM_PER_INCH / size.pitch_mm:.4g} TPI)  {what} {low:.2f} to {high:.2f} mm  "
            f"{size.angle_deg:g} deg  {form}"
        )
    more = len(verdict.candidates) - SHOWN
    return lines + ([f"  and {more} more, each less likely"] if more > 0 else [])


def use_lines(size: ThreadSize, gender: str, *, twins: bool = True) -> list[str]:
    """Return what a size is used for and how it seals, one line each; with ``twins`` all uses."""
    lines = [f"  seal: {load_families()[size.family].seal}"]
    by_seal: dict[str, list[str]] = {}
    for use in load_uses():
        if use.twin and not twins:
            continue
        if use.designation == size.designation and use.gender in (gender, "both"):
            by_seal.setdefault(use.seal, []).append(use.use)
    lines += [f"  use: {', '.join(names)}: seals {seal}" for seal, names in by_seal.items()]
    return lines
