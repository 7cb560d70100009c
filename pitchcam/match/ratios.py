"""Names without a reference: pitch over diameter, angle, taper and form are free of scale.

What is left of the scale is how far away a phone is held. Every scale within that is an
explanation (:mod:`pitchcam.match.scales`), and the candidates are the sum over all of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pitchcam.camera.held import U_HELD
from pitchcam.match.advice import real_range
from pitchcam.match.naming import LISTED_EACH, name_thread, posterior
from pitchcam.match.scales import Scales
from pitchcam.records import Candidate, Gender, Quantity, ThreadRatios, ThreadReading, Verdict
from pitchcam.series import find

#: Steps between the scales that are tried, as a share: with the doubt of half of it each, none is
#: missed.
STEP = 0.01
#: How many standard deviations of the distance are tried.
REACH = 2.7
#: A ratio alone makes a name only where nothing else has one in a thousand, whatever is common.
ONLY = 0.999
#: So many candidates are told in words; those less likely than this are not.
TOLD, TOLD_EACH = 6, 0.02


def any_scale(u_focal: float = 0.0) -> Scales:
    """Return what the scale may be where only a phone's usual distance is known.

    Parameters
    ----------
    u_focal
        Relative standard uncertainty of the focal length.
    """
    spread = math.hypot(U_HELD, u_focal)
    steps = np.arange(-REACH * spread, REACH * spread, STEP)
    weight = np.exp(-0.5 * (steps / spread) ** 2)
    return Scales(
        ratio=np.exp(steps), spread=np.full(len(steps), STEP / 2), weight=weight / weight.sum()
    )


def name_by_ratios(
    reading: ThreadReading, beside: Sequence[ThreadReading] = (), u_focal: float = 0.0
) -> Verdict:
    """Return what a thread may be whose lengths are known up to one common factor.

    Parameters
    ----------
    reading
        The thread, with its lengths at a phone's usual distance; its u's without the scale's.
    beside
        The other threads of the photo, which have the same factor.
    u_focal
        Relative standard uncertainty of the focal length.
    """
    told = [r for r in (reading, *beside) if r.pitch_mm is not None and r.major_mm is not None]
    scales = any_scale(u_focal)
    if told:
        scales = scales.after(told).likely()
    verdict = name_thread(reading, scales=scales)
    if reading.starts > 1:
        return verdict
    if verdict.status == "named":
        flat = posterior(reading, priors={}, scales=scales)
        if min(verdict.probability or 0.0, float(flat.probability[0])) >= ONLY:
            return verdict
    listed = [c for c in verdict.candidates if c.probability >= LISTED_EACH]
    if verdict.status == "off-series":
        return replace(verdict, next_step=f"{_MEASURE}, and state it with --major.")
    return Verdict(
        status="ambiguous",
        candidates=tuple(listed),
        notes=verdict.notes,
        next_step=caliper_step(listed, reading.gender),
    )


_MEASURE = "Measure the diameter over the crests with a caliper"


def caliper_step(candidates: Sequence[Candidate], gender: Gender) -> str:
    """Return the one caliper reading that settles the scale, and what each candidate would read.

    A cast of an internal thread is measured over its own crests.
    """
    some = [c for c in candidates if c.probability >= TOLD_EACH][:TOLD]
    read: dict[str, list[str]] = {}
    for c in some:
        low, high = real_range(find(c.designation), gender, cast=True)
        read.setdefault(f"{low:.2f} to {high:.2f} mm", []).append(c.designation)
    says = "; ".join(f"{' or '.join(names)} has {value}" for value, names in read.items())
    more = f"; {len(candidates) - len(some)} more are less likely" if len(candidates) > TOLD else ""
    return f"{_MEASURE}, and state it with --major: {says}{more}."


def ratios_of(reading: ThreadReading) -> ThreadRatios:
    """Return what of a reading is free of scale: pitch and diameters over the major diameter.

    An error that both share, as that of the scale, cancels (JCGM 100, 5.2).
    """

    def over(name: str) -> Quantity | None:
        top, base = getattr(reading, name), reading.major_mm
        if top is None or base is None:
            return None
        held = reading.correlation
        r = held.get((name, "major_mm"), held.get(("major_mm", name), 0.0))
        a, b = top.u / top.value, base.u / base.value
        value = top.value / base.value
        return Quantity(value=value, u=value * math.sqrt(max(a * a + b * b - 2 * r * a * b, 0.0)))

    return ThreadRatios(
        pitch_over_major=over("pitch_mm"),
        pitch_diameter_over_major=over("pitch_diameter_mm"),
        minor_over_major=over("minor_mm"),
    )
