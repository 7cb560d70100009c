"""The short answer for people, as plain text."""

from __future__ import annotations

from pitchcam.errors import one_line, printable
from pitchcam.records import Flag, Measurement, PartResult, Quantity, ScaleResult, ThreadResult
from pitchcam.report.figures import (
    inches,
    millimetres,
    taper_words,
    threads_per_inch,
    with_uncertainty,
)
from pitchcam.report.verdicts import headline, next_command, runners_up, step_lines, twins_to_tell
from pitchcam.series import find
from pitchcam.series.families import load_families

_LABEL_WIDTH = 16


def text(measurement: Measurement) -> str:
    """Return the answer as a person at a bench wants it: name, figures, next step, warnings."""
    blocks = [
        block
        for part in measurement.parts
        for block in _part_blocks(part, numbered=_needs_numbers(measurement))
    ]
    if not any(part.threads for part in measurement.parts):
        blocks = ["No thread was named."]
    if measurement.photos:
        blocks.append("\n".join(photo_lines(measurement)))
    elif measurement.scale is not None:
        blocks.append(scale_line(measurement))
    if measurement.warnings:
        # Two parts may have the same to be said of them.
        lines = dict.fromkeys(warning_line(flag) for flag in measurement.warnings)
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks) + "\n"


def figure_rows(thread: ThreadResult) -> list[tuple[str, str, str]]:
    """Return (quantity, value ± 2u, the same in the other unit) for what was measured."""
    reading = thread.reading
    rows: list[tuple[str, str, str]] = []
    if reading.pitch_mm is not None:
        rows.append(("pitch", millimetres(reading.pitch_mm), threads_per_inch(reading.pitch_mm)))
    for label, length in (
        ("major diameter", reading.major_mm),
        ("pitch diameter", reading.pitch_diameter_mm),
        ("minor diameter", reading.minor_mm),
    ):
        if length is not None:
            rows.append((label, millimetres(length), inches(length)))
    if thread.ratios is not None and thread.ratios.pitch_over_major is not None:
        ratio = thread.ratios.pitch_over_major
        # A thread is felt by how many pitches its diameter has.
        rows.append(
            (
                "pitch / major",
                with_uncertainty(ratio, ""),
                f"diameter {1 / ratio.value:.2f} pitches",
            )
        )
    if reading.angle_deg is not None:
        rows.append(("thread angle", with_uncertainty(reading.angle_deg, "°"), _flanks(thread)))
    if reading.taper is not None:
        rows.append(("taper", taper_words(reading.taper), _station(thread)))
    return rows


def seal_of(designation: str) -> str:
    """Return how the family of a designation seals."""
    return load_families()[find(designation).family].seal


def photo_lines(measurement: Measurement) -> list[str]:
    """Return what several photos were adjusted together, each with its own scale."""
    counted = sum(use.left_out is None for use in measurement.photos)
    files = len({use.info.sha256 for use in measurement.photos})
    what = "photos"
    if files < len(measurement.photos):
        what = f"references in {files} photo{'s' if files != 1 else ''}"
    lines = [f"Adjusted from {counted} of {len(measurement.photos)} {what}:"]
    for use in measurement.photos:
        said = scale_words(use.scale) if use.left_out is None else "does not count"
        lines.append(printable(f"  {use.info.file}: {said[:1].lower()}{said[1:]}"))
    return lines


def scale_line(measurement: Measurement) -> str:
    """Return one line on where the scale comes from."""
    return scale_words(measurement.scale)


def scale_words(scale: ScaleResult | None) -> str:
    """Return in words where a scale comes from."""
    if scale is None:
        return "Scale: none"
    if scale.mm_per_px is None:
        return "Scale: none; pitch over diameter, angle and form are what is left"
    per_px = with_uncertainty(scale.mm_per_px, "mm per pixel")
    height = scale.camera_height_mm
    camera = "" if height is None else f", camera {millimetres(height)} above"
    told, lens = scale.lens_photos, ""
    if told:
        lens = f"; the lens known from {told} photo{'s' if told != 1 else ''} with a card"
    return f"Scale from {_SOURCES.get(scale.source, scale.source)}: {per_px}{camera}{lens}"


def warning_line(flag: Flag) -> str:
    """Return a warning and what to do about it in one line."""
    return f"Warning: {one_line(flag.message, flag.advice)}"


_SOURCES = {
    "pin": "the plain pin",
    "disc": "the disc",
    "card": "the card",
    "jaws": "the caliper jaws",
    "major": "the caliper reading of the crests",
    "sheet": "the marker sheet",
}


def _needs_numbers(measurement: Measurement) -> bool:
    return len(measurement.parts) > 1 or any(len(p.threads) > 1 for p in measurement.parts)


def _part_blocks(part: PartResult, *, numbered: bool) -> list[str]:
    if not part.threads:
        return [f"Part {part.id}: no thread was measured on it"] if numbered else []
    blocks = []
    for index, thread in enumerate(part.threads, start=1):
        several = f", thread {index}" if len(part.threads) > 1 else ""
        title = f"Part {part.id}{several}: " if numbered else ""
        blocks.append(title + _thread_block(thread))
    return blocks


def _thread_block(thread: ThreadResult) -> str:
    verdict = thread.verdict
    lines = [headline(verdict)]
    twins = twins_to_tell(verdict)
    if twins:
        lines.append("  same size as " + "; ".join(twins))
    rows = figure_rows(thread)
    widest = max((len(value) for _, value, _ in rows), default=0)
    for label, value, other in rows:
        lines.append(f"  {label:<{_LABEL_WIDTH}}{value:<{widest}}   {other}".rstrip())
    if thread.turns is not None:
        lines.append(f"  {turns_words(thread)}")
    others = runners_up(verdict) if verdict.status == "named" else []
    if others:
        lines.append("  also possible: " + ", ".join(others))
    lines.extend(f"  note: {note}" for note in verdict.notes)
    if verdict.designation is not None:
        lines.append(f"  seal: {seal_of(verdict.designation)}")
    if verdict.next_step:
        lines += step_lines(verdict.next_step)
    if verdict.designation is not None:
        lines.append(f"  then: {next_command(verdict.designation, thread.reading.gender)}")
    return "\n".join(lines)


def turns_words(thread: ThreadResult) -> str:
    """Return how many turns are seen, of how many starts, and whether on a cast."""
    starts = thread.reading.starts
    kind = "single start" if starts == 1 else f"{starts} starts"
    gender = "" if thread.reading.gender == "external" else ", read on a cast"
    return f"{thread.turns:.1f} turns seen, {kind}{gender}"


def _flanks(thread: ThreadResult) -> str:
    halves = [h for h in thread.half_angles_deg if h is not None]
    if len(halves) < 2:
        return ""
    return "flanks " + " and ".join(_half(h) for h in halves)


def _half(half: Quantity) -> str:
    return with_uncertainty(half, "°")


def _station(thread: ThreadResult) -> str:
    station = thread.reading.diameter_station_mm
    taper = thread.reading.taper
    if station is None or taper is None or abs(taper.value) <= 2.0 * taper.u:
        return ""
    return f"diameters at {station.value:.1f} mm from the small end"
