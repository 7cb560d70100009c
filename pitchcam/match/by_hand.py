"""From typed readings to a name, or to the slip they betray and what to read again."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from pitchcam.match.advice import best_measurement, tell_twins
from pitchcam.match.hand import HandReadings
from pitchcam.match.hand_posterior import HARMLESS, HandPosterior, hand_posterior
from pitchcam.match.naming import DOUBTFUL, NAMED, NAMED_BY_READING, Posterior, candidates, leading
from pitchcam.match.population import MAJOR, MINOR
from pitchcam.match.readings import U_ANGLE_DEG, U_GAUGE, Typed, gender_of, to_reading, u_diameter
from pitchcam.match.slip_words import Slip, slip_words
from pitchcam.records import Quantity, Verdict
from pitchcam.series import same_geometry

#: A slip is said from this share on: it then competes with the careful readings.
SAID = 0.2
U_STATION_MM = 0.5
#: Candidates are listed until they hold this share: 'any other leaf' has a long tail.
LISTED = 0.98


def name_readings(
    typed: Typed, *, priors: Mapping[str, float] | None = None, folder: Path | None = None
) -> Verdict:
    """Name a thread from readings by hand, or say which reading slipped and what to do next.

    Order and place of the diameters are open: a taper's may be read anywhere on the useful thread,
    either end first. Slips compete with careful readings at the shares of ``slips.csv``; where one
    wins there is no name, but a sentence of what to read again.

    Parameters
    ----------
    typed : Typed
        What was read and typed.
    priors : mapping, optional
        How common threads are, by designation, family or commonness; None takes the catalogue's
        own (``priors.csv``), an empty mapping takes all as equally common.
    folder : Path, optional
        Another folder of series tables.

    Raises
    ------
    ReadingError
        If the readings cannot be those of a thread.

    Examples
    --------
    >>> from pitchcam.series.gauges import parse_leaf
    >>> read = Typed(diameter_mm=13.8, leaf=parse_leaf("1.5mm"), form="parallel")
    >>> name_readings(read).designation
    'M14x1.5'
    """
    reading = to_reading(typed)
    read = to_hand(typed)
    after = hand_posterior(read, priors=priors, folder=folder)
    ranked = _ranked(after)
    top = int(after.probability[0].argmax())
    notes = _order_note(read, after, top)
    listed = candidates(ranked, LISTED)
    if after.off_series[0] >= NAMED:
        return Verdict(
            status="off-series",
            candidates=listed,
            notes=notes,
            next_step="Read it all once more. If the readings stand, no series here has this "
            "thread: nearest are " + ", ".join(s.designation for s in ranked.sizes[:3]) + ".",
        )
    if after.names()[0] >= 0:
        size = after.sizes[top]
        return Verdict(
            status="named",
            designation=size.designation,
            standard=size.standard,
            probability=float(ranked.probability[0]),
            candidates=listed,
            notes=notes,
            same_geometry=same_geometry(size, read.gender, folder),
            next_step=tell_twins(size, read.gender, folder),
        )
    slip = _slip(after)
    if slip is not None:
        step = slip_words(slip, read, ranked)
    elif after.off_series[0] > DOUBTFUL:
        step = "Read it all once more: together the readings are those of no series here."
    else:
        open_ = leading(ranked)
        step = best_measurement(
            open_, ranked.probability[: len(open_)], reading, folder, cast=typed.cast
        )
    return Verdict(
        status="ambiguous",
        candidates=listed,
        next_step=step,
        notes=(*notes, *_prior_note(after, top)),
    )


def to_hand(typed: Typed) -> HandReadings:
    """Return typed readings as a batch of one."""
    first = typed.bore_mm if typed.bore_mm is not None else typed.diameter_mm
    middle, change = first, None
    if first is not None and typed.second_mm is not None:
        middle, change = (first + typed.second_mm) / 2, np.array([typed.second_mm - first])
    station = typed.station_mm
    if station is not None and change is not None and typed.apart_mm is not None:
        # The place of the mean: toward the larger diameter, which lies farther from the small end.
        station = max(station + math.copysign(typed.apart_mm / 2, change[0]), typed.apart_mm / 2)
    return HandReadings(
        gender=gender_of(typed),
        quantity=MINOR if typed.bore_mm is not None else MAJOR,
        pitch_mm=None if typed.leaf is None else np.array([typed.leaf.pitch_mm]),
        diameter_mm=None if middle is None else np.array([middle]),
        change_mm=change,
        apart_mm=typed.apart_mm or 0.0,
        angle_deg=None if typed.angle_deg is None else np.array([typed.angle_deg]),
        form=typed.form,
        station_mm=None if station is None else Quantity(value=station, u=U_STATION_MM),
        u_diameter_mm=u_diameter(typed),
        u_gauge=typed.u_gauge or U_GAUGE,
        u_angle_deg=typed.u_angle_deg or U_ANGLE_DEG,
    )


def _ranked(after: HandPosterior) -> Posterior:
    order = np.argsort(-after.probability[0], kind="stable")
    return Posterior(
        sizes=tuple(after.sizes[i] for i in order),
        probability=after.probability[0][order],
        off_series=float(after.off_series[0]),
    )


def _slip(after: HandPosterior) -> Slip | None:
    """Return the slip that explains most, with the size it speaks for, if it is worth saying."""
    best: Slip | None = None
    for name, share in after.slips.items():
        mass = after.probability[0] * share[0]
        chance = float(mass.sum())
        if name not in HARMLESS and chance >= SAID and (best is None or chance > best.chance):
            best = Slip(name=name, chance=chance, size=after.sizes[int(mass.argmax())])
    return best


def _order_note(read: HandReadings, after: HandPosterior, top: int) -> tuple[str, ...]:
    if read.change_mm is None or after.slips["order"][0, top] < 0.5 or not after.sizes[top].taper:
        return ()
    small = "second" if read.gender == "external" else "first"
    return (f"Taken as read from the large end: the {small} diameter is the smaller.",)


def _prior_note(after: HandPosterior, top: int) -> tuple[str, ...]:
    alone = float(after.flat[0, top])
    if after.probability[0, top] < NAMED or alone >= NAMED_BY_READING:
        return ()
    return (
        f"{after.sizes[top].designation} leads by how common it is said to be; the readings alone "
        f"give it {alone:.2f}, which is no name.",
    )
