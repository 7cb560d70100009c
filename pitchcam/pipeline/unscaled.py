"""A photo without a reference: measured as if from a phone's usual distance, told in ratios.

The picture of a thread twice as large from twice as far is the same. Whatever distance is assumed,
ratios and angles come out alike; lengths are taken back before anybody sees them.
"""

from __future__ import annotations

from dataclasses import replace

from pitchcam.camera.held import HELD_MM
from pitchcam.camera.pinhole import Camera
from pitchcam.errors import UnreadableError
from pitchcam.flags import FLAGS, flag
from pitchcam.match.ratios import name_by_ratios, ratios_of
from pitchcam.records import BudgetLine, Flag, Measurement, PartResult, ThreadResult, Verdict

#: Of what is told beside a refusal: threads, names of each, the least probability of one, and what
#: names must hold together for there to be no others.
MOST_TOLD, MOST_NAMES, WORTH_TELLING, NEARLY_ALL = 2, 3, 0.05, 0.95

LENGTHS = ("pitch_mm", "major_mm", "pitch_diameter_mm", "minor_mm")


def assumed(camera: Camera) -> Camera:
    """Return the camera at the distance from which a phone is usually held."""
    return camera.over_plate(HELD_MM)


def told_in_ratios(parts: list[PartResult], camera: Camera, flags: list[Flag]) -> list[PartResult]:
    """Return the parts with candidates by ratio, and with no length in them."""
    threads = [t for p in parts for t in p.threads if t.verdict.status != "unreadable"]
    u_focal = camera.u_f_px / camera.f_px
    new: dict[int, ThreadResult] = {}
    for thread in threads:
        beside = [t.reading for t in threads if t is not thread]
        verdict = name_by_ratios(thread.reading, beside, u_focal)
        new[id(thread)] = _without_lengths(replace(thread, verdict=verdict))
    if threads:
        flags.append(flag("no-scale"))
    return [replace(p, threads=tuple(new.get(id(t), t) for t in p.threads)) for p in parts]


def told_without(error: UnreadableError, found: Measurement) -> UnreadableError:
    """Return a refusal for want of the reference, with what the photo tells without any.

    Parameters
    ----------
    error
        Why the reference is not there.
    found
        The photo measured without one: candidates by ratios, which name nothing.
    """
    threads = [(p, t) for p in found.parts for t in p.threads if t.verdict.candidates]
    told = [
        (f"part {p.id}: " if len(threads) > 1 else "") + _leading(t.verdict) for p, t in threads
    ]
    if not told:
        return error
    more = f"; {len(told) - MOST_TOLD} more threads" if len(told) > MOST_TOLD else ""
    says = f"Pitch over diameter, angle and taper alone say {'; '.join(told[:MOST_TOLD])}{more}"
    advice = f"{error.advice.rstrip('.')}. {says}"
    if "--major" not in error.advice:
        advice += f"; {FLAGS['no-scale'][1]}"
    return UnreadableError(error.message, advice, code=error.code)


def _leading(verdict: Verdict) -> str:
    first = [c for c in verdict.candidates[:MOST_NAMES] if c.probability >= WORTH_TELLING]
    first = first or list(verdict.candidates[:1])
    names = " or ".join(f"{c.designation} ({100 * c.probability:.0f} %)" for c in first)
    return names if sum(c.probability for c in first) > NEARLY_ALL else f"{names} or others"


def _without_lengths(thread: ThreadResult) -> ThreadResult:
    reading = replace(
        thread.reading,
        pitch_mm=None,
        major_mm=None,
        pitch_diameter_mm=None,
        minor_mm=None,
        diameter_station_mm=None,
        correlation={},
    )
    plots = thread.plots
    if plots is not None:
        # What is drawn over the photo stays; curves in mm go.
        plots = replace(plots, spectrum=((), ()), folded=((), ()), drift=((), ()))
    return replace(
        thread,
        reading=reading,
        ratios=ratios_of(thread.reading),
        plots=plots,
        budget=tuple(_angles_only(line) for line in thread.budget),
        pose=replace(thread.pose, axis_height_mm=None),
    )


def _angles_only(line: BudgetLine) -> BudgetLine:
    kept = {k: u for k, u in line.contributions.items() if k not in LENGTHS}
    return replace(line, contributions=kept)
