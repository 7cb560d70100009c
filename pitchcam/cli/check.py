"""``pitchcam check``: compare a photo with what a pitch gauge said."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from pitchcam.cli._options import Progress, scale_options, scale_spec
from pitchcam.errors import UnreadableError
from pitchcam.records import json_text

if TYPE_CHECKING:
    from pitchcam.match.leaf import LeafChance, LeafVerdict
    from pitchcam.records import Quantity


@click.command(no_args_is_help=True)
@click.argument("photo", metavar="PHOTO")
@click.option("--gauge", "-g", required=True, metavar="LEAF", help="What was read: 19tpi, 1.5mm.")
@scale_options
@click.option("--cast", is_flag=True, help="The photo shows a cast of an internal thread.")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")
def command(photo: str, gauge: str, cast: bool, as_json: bool, **scale: Any) -> None:
    """Say whether PHOTO agrees with the gauge leaf that was read, and how sure that is.

    Exit code: 0 agrees, 3 disagrees or cannot tell, 4 unreadable photo.
    """
    import pitchcam
    from pitchcam.match.leaf import compare_leaf
    from pitchcam.series.gauges import parse_leaf

    leaf = parse_leaf(gauge)
    spec = scale_spec(**scale)
    with Progress() as progress:
        measurement = pitchcam.identify(photo, spec, cast=cast, plots=False, progress=progress)
    pitches = [
        (part.id, number, thread.reading.pitch_mm)
        for part in measurement.parts
        for number, thread in enumerate(part.threads, start=1)
        if thread.reading.pitch_mm is not None
    ]
    if not pitches:
        warnings = measurement.warnings
        raise UnreadableError(
            warnings[0].message if warnings else "no pitch could be measured in the photo",
            warnings[0].advice if warnings else "retake the photo",
            code=warnings[0].code if warnings else "not-read",
        )
    found = [(part, number, pitch, compare_leaf(pitch, leaf)) for part, number, pitch in pitches]
    if as_json:
        click.echo(json_text({"threads": [_document(*f) for f in found]}, indent=1))
    else:
        click.echo("\n\n".join(_text(*f, several=len(found) > 1) for f in found))
    agreed = all(f[3].status == "agrees" for f in found)
    click.get_current_context().exit(0 if agreed else 3)


def _document(part: int, number: int, pitch: Quantity, verdict: LeafVerdict) -> dict[str, Any]:
    def leaf(c: LeafChance) -> dict[str, Any]:
        return {
            "leaf": c.leaf.mark, "pitch_mm": c.leaf.pitch_mm, "probability": c.probability,
            "turns_to_visible_gap": c.turns_to_gap,
        }  # fmt: skip

    return {
        "part": part, "thread": number, "pitch_mm": pitch.to_json(), "status": verdict.status,
        "read": leaf(verdict.read), "neighbours": [leaf(c) for c in verdict.neighbours],
    }  # fmt: skip


def _text(part: int, number: int, pitch: Quantity, verdict: LeafVerdict, *, several: bool) -> str:
    from pitchcam.report.figures import millimetres, percent, threads_per_inch

    mark = verdict.read.leaf.mark
    line = {
        "agrees": f"The photo agrees with {mark}",
        "disagrees": f"The photo disagrees with {mark}",
        "cannot tell": f"The photo cannot tell whether {mark} is right",
    }[verdict.status]
    lines = [
        (f"Part {part}, thread {number}: " if several else "")
        + f"{line} (probability of {mark}: {percent(verdict.probability)})",
        f"  pitch {millimetres(pitch)}, {threads_per_inch(pitch)}",
    ]
    if verdict.status != "agrees" and verdict.read.turns_to_gap is not None:
        lines.append(f"  {_drift(verdict.read)}")
    lines.append("  neighbouring leaves:")
    lines += [
        f"    {c.leaf.mark:<8} {c.leaf.pitch_mm:.4g} mm  {percent(c.probability)}; {_drift(c)}"
        for c in verdict.neighbours
    ]
    if verdict.status == "cannot tell":
        lines.append(
            "  next step: hold the leaf over as many turns as it has teeth and look against the "
            "light, or retake the photo closer."
        )
    return "\n".join(lines)


def _drift(chance: LeafChance) -> str:
    from pitchcam.match.leaf import VISIBLE_GAP_MM

    if chance.turns_to_gap is None:
        return f"leaf {chance.leaf.mark} fits within the measurement's uncertainty"
    turns = chance.turns_to_gap
    return (
        f"leaf {chance.leaf.mark} shows a gap of {VISIBLE_GAP_MM:g} mm at both ends of "
        f"{turns:.1f} turns"
    )
