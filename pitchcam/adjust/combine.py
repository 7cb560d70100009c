"""One answer from several photos: matched, held against one another, adjusted and named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pitchcam.adjust.copies import copies, exposures, same_file
from pitchcam.adjust.disagree import Agreement, agreeing
from pitchcam.adjust.matching import match
from pitchcam.adjust.observed import IS_DIAMETER, TAPER, Observation, Term, layings, observe
from pitchcam.adjust.out_of_round import note, rolled
from pitchcam.adjust.references import one_scale
from pitchcam.adjust.sharing import Sharing, sharing_of
from pitchcam.adjust.system import Adjusted, adjust, effect
from pitchcam.frozen import dataclass
from pitchcam.match import name_thread
from pitchcam.records import (
    NAMING_QUANTITIES,
    BudgetLine,
    Candidate,
    Measurement,
    PartResult,
    Quantity,
    Span,
    ThreadReading,
    ThreadResult,
    Verdict,
)
from pitchcam.thread.doubts import together as weighed
from pitchcam.thread.in_step import PRIOR as RINGS
from pitchcam.thread.likeness import PRIOR as NO_THREAD

Values = NDArray[np.float64]

#: Why a photo of several parts does not count where none of its parts is one of the others'.
APART = "it shows none of the threads that the others show"
#: Correlations are kept this far below one: naming inverts their matrix.
MOST_CORRELATION = 0.999
#: The line of how far from a taper's small end the diameters lie.
STATION = "place on the taper"


@dataclass(frozen=True, kw_only=True)
class Together:
    """The parts that several photos show, and why a photo does not count, by its place.

    ``open`` are the codes (:mod:`pitchcam.flags`) of what contradicts so that nobody is accused.
    """

    parts: tuple[PartResult, ...]
    left_out: dict[int, str]
    open: tuple[str, ...]
    unmoved: bool


def combine(measurements: Sequence[Measurement | None]) -> Together:
    """Adjust what photos of one part measured, each by itself.

    Parameters
    ----------
    measurements
        One per photo, None for a photo that gave nothing.

    Returns
    -------
    Together
        Parts whose threads have one reading, verdict and budget each, and a span per photo.
    """
    sizes = [
        None if m is None or m.photo is None else (m.photo.width_px, m.photo.height_px)
        for m in measurements
    ]
    again, exposed = copies(measurements), exposures(measurements)
    photos = [
        [] if m is None or i in again else _seen(m, i, exposed[i], measurements[exposed[i]])
        for i, m in enumerate(measurements)
    ]
    matched = match(photos)
    left_out: dict[int, str] = {i: _copy_words(measurements[j]) for i, j in again.items()}
    parts, is_open, unmoved = [], dict[str, None](), False
    for number, threads in enumerate(matched, start=1):
        results = []
        for observations in threads:
            found, still, s_mm = _held_together(observations, sizes)
            unmoved |= still
            if found.open:
                is_open["references-disagree" if _of_one_photo(found) else "photos-disagree"] = None
            # Whom two accuse that contradict each other is not known: only others are left out.
            left_out |= {o.photo: why for o, why in found.left_out if not _still_in(found, o)}
            spans = {o.photo: o.thread.span_px for o in observations}
            by_photo = tuple(map(spans.get, range(len(measurements))))
            results.append(_thread(found, by_photo, s_mm))
        first = threads[0][0]
        boxes = {o.photo: o.part.box_px for t in threads for o in t}
        parts.append(
            PartResult(
                id=number,
                box_px=first.part.box_px,
                threads=tuple(results),
                outline_px=first.part.outline_px,
                boxes_px=tuple(boxes.get(i) for i in range(len(measurements))),
            )
        )
    shown = {o.photo for threads in matched for t in threads for o in t}
    left_out |= {i: APART for i, seen in enumerate(photos) if seen and i not in shown}
    return Together(parts=tuple(parts), left_out=left_out, open=tuple(is_open), unmoved=unmoved)


def _held_together(
    observations: Sequence[Observation], sizes: Sequence[object]
) -> tuple[Agreement, bool, float]:
    """Return what agrees of a thread's observations, and what several sides of it tell.

    That is whether nothing was moved between two, and how far it is out of round, mm.
    """
    found = one_scale(at_one_station(observations))
    if found.open:
        return found, False, 0.0
    aligned = layings(found.kept, sizes)
    seen = rolled(aligned)
    rest = agreeing(seen.observations)
    both = replace(rest, left_out=(*found.left_out, *rest.left_out))
    return both, len({o.laying for o in aligned}) < len(aligned), seen.s_mm


def _copy_words(original: Measurement | None) -> str:
    name = "another" if original is None or original.photo is None else original.photo.file
    return f"it is the same exposure as {name}, turned, mirrored or shrunk, and tells nothing new"


def _seen(
    measurement: Measurement, photo: int, exposure: int, first: Measurement | None
) -> list[tuple[Observation, ...]]:
    """Return a photo's threads by parts, ``first`` the first measurement of its exposure."""
    # A copy may be mirrored: then nobody knows which side is which.
    upright = first is not None and same_file(measurement, first)

    def seen(part: PartResult, thread: ThreadResult) -> Observation:
        one = observe(measurement, photo, part, thread)
        return replace(one, exposure=exposure, side=one.side if upright else 0)

    parts = [
        tuple(
            seen(p, t)
            for t in p.threads
            if t.verdict.status != "unreadable" and t.reading.pitch_mm is not None
        )
        for p in measurement.parts
    ]
    return [p for p in parts if p]


def oriented(observations: Sequence[Observation]) -> list[Observation]:
    """Return observations whose tapers may be averaged: signed the same way.

    Where an end of a parallel thread is not told in every photo, its taper's sign means nothing,
    and only the best known taper is kept.
    """
    told = all(o.oriented or not o.measured[TAPER] for o in observations)
    have = [o for o in observations if o.measured[TAPER]]
    if told or len(have) < 2:
        return list(observations)
    best = min(have, key=lambda o: float(o.covariance()[TAPER, TAPER]))
    return [o if o is best else o.without(TAPER) for o in observations]


def at_one_station(observations: Sequence[Observation]) -> list[Observation]:
    """Return observations of a taper thread with their diameters at one place of it.

    That is the place whose distance from the small end is known best. What the distances in other
    exposures leave open moves their diameters, all alike, by the taper.
    """
    stations = [o.thread.reading.diameter_station_mm for o in observations]
    tapers = [o.values[TAPER] for o in observations if o.measured[TAPER]]
    if any(s is None for s in stations) or not tapers:
        return list(observations)
    at = [s for s in stations if s is not None]
    target, taper = min(at, key=lambda s: s.u), float(np.mean(tapers))
    exposure = observations[at.index(target)].exposure
    moved = []
    for o, s in zip(observations, at, strict=True):
        values = o.values.copy()
        values[IS_DIAMETER] += taper * (target.value - s.value)
        seen_there = o.exposure == exposure
        own = () if seen_there else _misplaced(o, taper * s.u, -taper * target.u)
        moved.append(replace(o, values=values, terms=(*o.terms, *own), station=target))
    return moved


def _misplaced(one: Observation, own_mm: float, common_mm: float) -> tuple[Term, Term]:
    """Return how an observation's diameters move with its own station, and with the one it is at.

    The first is new with each photo, the second the same for all that were moved there.
    """
    diameters = (IS_DIAMETER & one.measured).astype(float)
    return (
        Term(
            source=STATION,
            key=f"photo {one.photo}",
            shares=own_mm * diameters,
            together=True,
            sharing=sharing_of(STATION, None),
        ),
        Term(
            source=STATION,
            key="where the diameters are stated",
            shares=common_mm * diameters,
            together=True,
            sharing=Sharing(owner="part", lasting=1.0),
        ),
    )


def _thread(found: Agreement, spans: tuple[Span | None, ...], s_mm: float) -> ThreadResult:
    kept = found.kept
    best = min(kept, key=lambda o: float(o.covariance()[0, 0]))
    base = replace(best.thread, turns=max(o.thread.turns or 0.0 for o in kept), spans_px=spans)
    if found.open:
        return replace(base, verdict=_contradicting(found))
    if len(kept) == 1 and not best.joined:
        return base
    kept = tuple(oriented(kept))
    adjusted = adjust(kept)
    reading = _reading(adjusted, kept)
    verdict = name_thread(reading)
    if s_mm:
        verdict = replace(verdict, notes=(*verdict.notes, note(s_mm)))
    return replace(
        base,
        reading=reading,
        budget=_budget(adjusted, kept),
        verdict=verdict,
        in_step=_by_layings(kept, "in_step", RINGS),
        no_thread=_by_layings(kept, "no_thread", NO_THREAD),
    )


def _by_layings(kept: Sequence[Observation], doubt: str, prior: float) -> float:
    """Return how likely a doubt of the thread is by what each laying tells of it."""
    layings: dict[int, list[float]] = {}
    for o in kept:
        layings.setdefault(o.laying, []).append(getattr(o.thread, doubt))
    return weighed(list(layings.values()), prior)


def _reading(adjusted: Adjusted, kept: Sequence[Observation]) -> ThreadReading:
    values, covariance = adjusted.values.copy(), adjusted.covariance.copy()
    if values[TAPER] < 0:
        # A reading's taper has no sign; what errs with it then errs the other way.
        values[TAPER] *= -1
        covariance[TAPER] *= -1
        covariance[:, TAPER] *= -1
    u = np.sqrt(covariance.diagonal())
    read: dict[str, Any] = {
        name: Quantity.measured(float(values[i]), float(u[i])) if np.isfinite(values[i]) else None
        for i, name in enumerate(NAMING_QUANTITIES)
    }
    names = [i for i in range(6) if u[i] > 0]
    correlation = {
        (NAMING_QUANTITIES[i], NAMING_QUANTITIES[j]): float(
            np.clip(covariance[i, j] / (u[i] * u[j]), -MOST_CORRELATION, MOST_CORRELATION)
        )
        for i in names
        for j in names
        if i < j
    }
    first = kept[0].thread.reading
    # Photos share what a fit of the forms leaves open: one that weighed them speaks for all.
    forms = next((o.thread.reading.forms for o in kept if o.thread.reading.forms), {})
    station = kept[0].station or first.diameter_station_mm
    return replace(first, correlation=correlation, forms=forms, diameter_station_mm=station, **read)


def _budget(adjusted: Adjusted, kept: Sequence[Observation]) -> tuple[BudgetLine, ...]:
    """Return one line per source of error, with what of it is left in the adjusted quantities.

    A line's u are exact; what of several photos moves quantities together is given by its leading
    direction. The reading's correlations are the exact ones.
    """
    lines = []
    sources = {t.source: t for o in kept for t in o.terms}
    apart = {t.source for o in kept for t in o.terms if not t.together}
    for source, term in sources.items():
        left = effect(kept, adjusted, source)
        u = np.sqrt(np.maximum(left.diagonal(), 0.0))
        largest = np.linalg.eigh(left / np.outer(u + 1e-12, u + 1e-12))[1][:, -1]
        sign = np.where(largest < 0, -1.0, 1.0)
        lines.append(
            BudgetLine(
                source=source,
                kind="A" if term.kind == "A" else "B",
                correlated=source not in apart,
                of_scale=term.of_scale,
                contributions={
                    k: float(sign[i] * u[i])
                    for i, k in enumerate(NAMING_QUANTITIES)
                    if np.isfinite(adjusted.values[i])
                },
            )
        )
    return tuple(lines)


def _still_in(found: Agreement, one: Observation) -> bool:
    return any(o is one for o in found.kept)


def _accused(found: Agreement) -> tuple[Observation, str]:
    """Return of what is open the first that contradicts, and why: not what was left out before."""
    return next(of for of in found.left_out if _still_in(found, of[0]))


def _of_one_photo(found: Agreement) -> bool:
    """Whether it is references of one photo that contradict, not photos: those count once each."""
    exposure = _accused(found)[0].exposure
    return sum(o.exposure == exposure for o in found.kept) > 1


def _contradicting(found: Agreement) -> Verdict:
    """Return the verdict of photos that contradict one another: every photo's candidates, no name.

    The figures beside it are one photo's, never an average of the contradiction.
    """
    share = 1.0 / len(found.kept)
    total: dict[str, Candidate] = {}
    for o in found.kept:
        for c in o.thread.verdict.candidates:
            had = total.get(c.designation)
            p = share * c.probability + (had.probability if had else 0.0)
            total[c.designation] = replace(c, probability=p)
    one, why = _accused(found)
    if _of_one_photo(found):
        photo = "the photo" if len({o.exposure for o in found.kept}) == 1 else "a photo"
        said = f"The references of {photo} contradict one another: {why}. The figures are "
        said += "those of one reference."
        step = "Measure each reference with a caliper, and state what it reads."
    else:
        said = f"The photos contradict one another: of photo {one.photo + 1}, {why}. The "
        said += "figures are those of one photo."
        step = "Check that all photos show the same part and that each reference is as stated; "
        step += "then take one more photo, which tells which of them is right."
    return Verdict(
        status="ambiguous",
        candidates=tuple(sorted(total.values(), key=lambda c: -c.probability)),
        notes=(said,),
        next_step=step,
    )
