"""Names taken back: of what may be no thread or shows too few pixels, whatever its lengths say."""

from __future__ import annotations

import math
from dataclasses import replace

from pitchcam.flags import FLAGS
from pitchcam.match.advice import best_measurement
from pitchcam.match.forms import likest_angle
from pitchcam.match.naming import NAMED
from pitchcam.records import Candidate, PartResult, ThreadResult
from pitchcam.series import find

#: A thread's crests lie on a line, evenly, and its flanks are straight. Where their scatter leaves
#: the taper open by half of a pipe thread's 1/16, the pitch by nearly the step from 27 to 28 TPI,
#: or the angle by a third of itself, what was seen may be no thread: a gear's teeth, noise along a
#: hexagon's face, a spring wound close. 900 fresh threads named rightly came to 0.013, 0.026 and
#: 9 degrees at most.
MOST_U_TAPER, MOST_U_PITCH, MOST_U_ANGLE_DEG = 1 / 32, 0.03, 20.0
#: Lines of the budget that say nothing of that, besides those of the scale: a lens nobody stated
#: and a pin of no sure width make no crests uneven.
OF_THE_LENS = ("focal length", "principal point")
#: Pixels a pitch below which a name has to be surer, and how sure: so few show flanks of two or
#: three pixels, whose twins differ by a tenth of one. Of some 15,000 samples that were turned, cut
#: and shrunk five threads were named wrongly, all at 8 to 10 pixels and at 0.96 to 0.986.
FEW_PX, SURE_OF_FEW = 10.0, 0.99
#: An angle that lies within so many of its u of another one does not exclude it.
BOTH_ANGLES = 2.0
#: What may be open of a stated diameter so that no name stands.
WHICH_READ = ("which-thread", "which-place")
IF_UNEVEN = (
    "Look whether one groove winds round the part from end to end; if it does, retake it sharp, "
    "with more of its turns and nearer."
)
IF_RINGS = (
    "Look whether one groove winds round the part from end to end; or lay it under the middle of "
    "the camera and retake."
)

IF_SMALL = "Retake it nearer, so that a turn of the thread covers 20 pixels or more."


def left_open(result: ThreadResult, next_step: str, *notes: str) -> ThreadResult:
    """Take back the name of a thread: its scale may be another's, or it may be none."""
    if result.verdict.status != "named":
        return result
    verdict = replace(
        result.verdict,
        status="ambiguous",
        designation=None,
        standard=None,
        probability=None,
        same_geometry=(),
        next_step=next_step,
        notes=(*result.verdict.notes, *notes),
    )
    return replace(result, verdict=verdict)


def all_left_open(parts: list[PartResult], which: str) -> list[PartResult]:
    """Take back all names, for one of :data:`WHICH_READ`."""
    step = f"{FLAGS[which][1]}.".capitalize()
    return [replace(p, threads=tuple(left_open(t, step) for t in p.threads)) for p in parts]


def if_a_thread(result: ThreadResult) -> ThreadResult:
    """Take back the name of what may be rings or no thread, is too uneven for one, or too small.

    And of what looks like a twin of another angle.
    """
    return _if_of_its_angle(_if_large(_if_even(_if_likely(result))))


def _if_likely(result: ThreadResult) -> ThreadResult:
    """Take back a name that is not sure where it may be rings, or no thread."""
    told = result.verdict.probability
    if told is None or told * (1 - result.in_step) * (1 - result.no_thread) >= NAMED:
        return result
    if result.no_thread > result.in_step:
        note = f"By its outline it may be no thread ({100 * result.no_thread:.0f} %)."
        return left_open(result, IF_UNEVEN, note)
    note = (
        "So far from the picture's middle its crests may stand opposite each other "
        f"({100 * result.in_step:.0f} %), as those of rings or of a thread of two starts do."
    )
    return left_open(result, IF_RINGS, note)


def _if_even(result: ThreadResult) -> ThreadResult:
    """Take back the name of what repeats so unevenly that it may be no thread."""
    taper, angle = _uneven(result, "taper"), _uneven(result, "angle_deg")
    pitch = result.reading.pitch_mm
    even = pitch is None or _uneven(result, "pitch_mm") <= MOST_U_PITCH * pitch.value
    if even and taper <= MOST_U_TAPER and angle <= MOST_U_ANGLE_DEG:
        return result
    note = "Its crests or flanks lie so far from lines, or so unevenly, that it may be no thread."
    return left_open(result, IF_UNEVEN, note)


def _uneven(result: ThreadResult, name: str) -> float:
    """Return what all but scale and lens leave open of a quantity (u), 0 of one not read."""
    read = getattr(result.reading, name)
    if read is None:
        return 0.0
    rest = (
        line.contributions.get(name, 0.0)
        for line in result.budget
        if not (line.of_scale or line.source.startswith(OF_THE_LENS))
    )
    # What other threads of the photo told of its scale is in no line.
    return min(float(read.u), math.hypot(*rest))


def _pixels(result: ThreadResult) -> float | None:
    """Return how many pixels a pitch shows, None where it is not known."""
    if result.span_px is None or result.turns is None:
        return None
    (x0, y0), (x1, y1) = result.span_px
    return math.hypot(x1 - x0, y1 - y0) / result.turns


def _if_large(result: ThreadResult) -> ThreadResult:
    """Take back a name that is not quite sure of a thread of few pixels a pitch."""
    px = _pixels(result)
    if px is None or px >= FEW_PX or (result.verdict.probability or 0.0) >= SURE_OF_FEW:
        return result
    note = f"It shows only {px:.0f} pixels a pitch, too few to be so sure of its name."
    return left_open(result, IF_SMALL, note)


def _if_of_its_angle(result: ThreadResult) -> ThreadResult:
    """Take back a name whose twin of another angle the outline is likest, or cannot exclude.

    Twins of 55 and 60 degrees differ by their roots as well, which few pixels fill: a name that
    stands by those alone, against the angle or beside an open one, is not sure.
    """
    verdict = result.verdict
    if verdict.designation is None:
        return result
    own = find(verdict.designation).angle_deg
    rivals = [c for c in verdict.candidates if find(c.designation).angle_deg != own]
    likest = likest_angle(result.reading)
    by_outline = [c for c in rivals if find(c.designation).angle_deg == likest]
    if by_outline:
        note = f"Its outline is most like that of a thread of {likest:g} degrees, and "
        return left_open(
            result, _told_apart(result, by_outline[0]), f"{note}{verdict.designation} has {own:g}."
        )
    px, angle = _pixels(result), result.reading.angle_deg
    if px is None or px >= FEW_PX or angle is None:
        return result
    for c in rivals:
        other = find(c.designation).angle_deg
        if abs(angle.value - other) < BOTH_ANGLES * angle.u:
            note = f"At {px:.0f} pixels a pitch its angle leaves {other:g} degrees open, "
            return left_open(
                result, f"{_told_apart(result, c)} {IF_SMALL}", f"{note}those of {c.designation}."
            )
    return result


def _told_apart(result: ThreadResult, rival: Candidate) -> str:
    """Return what tells a named thread from a rival."""
    own = next(c for c in result.verdict.candidates if c.designation == result.verdict.designation)
    both = (own, rival)
    sizes = [find(c.designation) for c in both]
    return best_measurement(sizes, [c.probability for c in both], result.reading)
