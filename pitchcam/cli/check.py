"""``pitchcam check``: compare a photo with what a pitch gauge said."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from pitchcam.cli._options import Progress, scale_options, scale_spec
from pitchcam.errors import Exit, UnreadableError
from pitchcam.frozen import dataclass
from pitchcam.records import json_text
from pitchcam.records.formats import format_of

if TYPE_CHECKING:
    from pitchcam.match.leaf import LeafChance, LeafVerdict
    from pitchcam.records import Quantity, ThreadReading, ThreadResult
    from pitchcam.series.gauges import Leaf


@dataclass(frozen=True, kw_only=True, slots=True)
class Checked:
    """One thread of the photo beside the leaf that was read."""

    part: int
    number: int
    pitch: Quantity
    angle: Quantity | None
    verdict: LeafVerdict
    angle_agrees: bool | None
    reference: str | None = None


@click.command(no_args_is_help=True)
@click.argument("photo", metavar="PHOTO")
@click.option("--gauge", "-g", required=True, metavar="LEAF", help="What was read: 19tpi, 1.5mm.")
@scale_options
@click.option("--cast", is_flag=True, help="The photo shows a cast of an internal thread.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")
def command(photo: str, gauge: str, cast: bool, as_json: bool, **scale: Any) -> None:
    """Say whether PHOTO agrees with the gauge leaf that was read, and how sure that is.

    Example: pitchcam check sender.jpg --pin 8 -g 1.5mm

    Exit code: 0 agrees, 3 disagrees or cannot tell, 4 unreadable photo.
    """
    import pitchcam
    from pitchcam.match.stated_size import as_stated
    from pitchcam.series.gauges import parse_leaf

    leaf = parse_leaf(gauge)
    spec = scale_spec(**scale)
    with Progress() as progress:
        found_alone = pitchcam.identify(photo, spec, cast=cast, plots=False, progress=progress)
    # The leaf itself tells of what size the reference is.
    measurement = as_stated(found_alone)
    found = [
        _checked(part.id, number, thread, thread.reading.pitch_mm, leaf)
        for part in measurement.parts
        for number, thread in enumerate(part.threads, start=1)
        if thread.reading.pitch_mm is not None
    ]
    if not found:
        warnings = measurement.warnings
        raise UnreadableError(
            warnings[0].message if warnings else "no pitch could be measured in the photo",
            warnings[0].advice if warnings else "retake the photo",
            code=warnings[0].code if warnings else "not-read",
        )
    doubts = [w for w in measurement.warnings if w.code == "reference-size"]
    if as_json:
        document = {
            "format": format_of("check"),
            "threads": [_document(f) for f in found],
            "warnings": [w.to_json() for w in doubts],
        }
        click.echo(json_text(document, indent=1))
    else:
        lines = [_text(f, several=len(found) > 1) for f in found]
        lines += [f"{w.message}; {w.advice}" for w in doubts]
        click.echo("\n\n".join(lines))
    agreed = all(f.verdict.status == "agrees" and f.angle_agrees is not False for f in found)
    click.get_current_context().exit(Exit.NAMED if agreed else Exit.OPEN)


def _checked(part: int, number: int, thread: ThreadResult, pitch: Quantity, leaf: Leaf) -> Checked:
    from pitchcam.match.leaf import angle_agrees, compare_leaf

    reading, verdict = thread.reading, compare_leaf(pitch, leaf)
    reference = None
    if verdict.status == "disagrees" and thread.verdict.status != "named":
        reference = _reference_words(reading, leaf.pitch_mm / pitch.value)
    return Checked(
        part=part,
        number=number,
        pitch=pitch,
        angle=reading.angle_deg,
        verdict=verdict,
        angle_agrees=angle_agrees(reading.angle_deg, leaf),
        reference=reference,
    )


def _reference_words(reading: ThreadReading, ratio: float) -> str | None:
    """Return what the leaf says of the reference, if with it the photo names a thread."""
    from pitchcam.match import name_thread
    from pitchcam.match.evidence import rescaled
    from pitchcam.match.reference import RATIOS

    if not RATIOS[0] < ratio < RATIOS[1] or reading.major_mm is None:
        return None
    verdict = name_thread(rescaled(reading, ratio))
    if verdict.designation is None:
        return None
    return (
        f"if the leaf is right, the reference is {ratio:.3f} times as large as stated: pitch over "
        f"diameter is then that of {verdict.designation}. Measure the reference."
    )


def _document(checked: Checked) -> dict[str, Any]:
    verdict = checked.verdict

    def leaf(c: LeafChance) -> dict[str, Any]:
        return {
            "leaf": c.leaf.mark,
            "pitch_mm": c.leaf.pitch_mm,
            "probability": c.probability,
            "turns_to_visible_gap": c.turns_to_gap,
        }

    return {
        "part": checked.part,
        "thread": checked.number,
        "pitch_mm": checked.pitch.to_json(),
        "angle_deg": None if checked.angle is None else checked.angle.to_json(),
        "status": verdict.status,
        "angle_agrees": checked.angle_agrees,
        "no_leaf": verdict.no_leaf,
        "reference": checked.reference,
        "read": leaf(verdict.read),
        "neighbours": [leaf(c) for c in verdict.neighbours],
    }


def _text(checked: Checked, *, several: bool) -> str:
    from pitchcam.report.figures import millimetres, threads_per_inch
    from pitchcam.units import percent

    verdict, pitch = checked.verdict, checked.pitch
    mark = verdict.read.leaf.mark
    line = {
        "agrees": f"The photo agrees with {mark}",
        "disagrees": f"The photo disagrees with {mark}",
        "cannot tell": f"The photo cannot tell whether {mark} is right",
    }[verdict.status]
    if verdict.status == "agrees" and checked.angle_agrees is False:
        line = f"The photo agrees with the pitch of {mark}, but not with its angle"
    lines = [
        (f"Part {checked.part}, thread {checked.number}: " if several else "")
        + f"{line} (probability of {mark}: {percent(verdict.probability)})",
        f"  pitch {millimetres(pitch)}, {threads_per_inch(pitch)}",
        f"  {_agreed(checked)}",
    ]
    if verdict.status != "agrees" and verdict.read.turns_to_gap is not None:
        lines.append(f"  {_drift(verdict.read)}")
    if verdict.neighbours:
        lines.append("  neighbouring leaves:")
    lines += [
        f"    {c.leaf.mark:<8} {c.leaf.pitch_mm:.4g} mm  {percent(c.probability)}; {_drift(c)}"
        for c in verdict.neighbours
    ]
    step = checked.reference or _next_step(verdict)
    return "\n".join(lines + ([f"  next step: {step}"] if step else []))


def _agreed(checked: Checked) -> str:
    """Return in one line what agreed and what did not."""
    from pitchcam.report.figures import with_uncertainty

    pitch = {
        "agrees": "the pitch agrees",
        "disagrees": "the pitch does not agree",
        "cannot tell": "the pitch is not sure enough to tell",
    }[checked.verdict.status]
    if checked.angle is None:
        return f"{pitch}; the angle could not be measured"
    forms = " or ".join(f"{a:g}" for a in checked.verdict.read.leaf.angles_deg)
    words = {True: "agrees", False: "does not", None: "is not sure enough to tell"}
    angle = with_uncertainty(checked.angle, "\u00b0")
    return (
        f"{pitch}; the angle {words[checked.angle_agrees]} ({angle}; the leaf's form has {forms} "
        "degrees)"
    )


def _next_step(verdict: LeafVerdict) -> str | None:
    if verdict.no_leaf >= 0.5:
        return (
            "no leaf of any set has this pitch. Suspect the reference first: measure it, and look "
            "which object is which; then hold the leaf again."
        )
    if verdict.status == "cannot tell":
        return (
            "hold the leaf over as many turns as it has teeth and look against the light, or "
            "retake the photo closer."
        )
    return None


def _drift(chance: LeafChance) -> str:
    from pitchcam.match.leaf import VISIBLE_GAP_MM

    if chance.turns_to_gap is None:
        return f"leaf {chance.leaf.mark} fits within the measurement's uncertainty"
    turns = chance.turns_to_gap
    return (
        f"leaf {chance.leaf.mark} shows a gap of {VISIBLE_GAP_MM:g} mm at both ends of "
        f"{turns:.1f} turns"
    )
