"""What one photo measured of one thread, as an observation of the adjustment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.adjust.sharing import ANGLE_AGAIN, TAPER_AGAIN, Sharing, reference_again, sharing_of
from pitchcam.frozen import dataclass
from pitchcam.records import (
    NAMING_QUANTITIES,
    BudgetLine,
    Measurement,
    PartResult,
    Quantity,
    ThreadReading,
    ThreadResult,
)

Values = NDArray[np.float64]

PITCH, ANGLE, TAPER = (NAMING_QUANTITIES.index(k) for k in ("pitch_mm", "angle_deg", "taper"))
DIAMETERS = ("major_mm", "pitch_diameter_mm", "minor_mm")
IS_DIAMETER = np.isin(NAMING_QUANTITIES, DIAMETERS)
#: Faster tapers tell by themselves which end is which.
TAPER_SEEN = 0.03
#: A thread whose middle lies this share of its length off its part's middle shows which of its ends
#: is the free one.
OFF_MIDDLE = 0.12
#: Two photos whose threads end within this share of the thread's length at the same places of the
#: picture show one laying: nothing but noise is new in the second.
UNMOVED = 0.03
#: The budget's line of the scatter about the fit.
NOISE = "edge noise"
#: And that of flanks' edges which differ along the thread.
ALONG = "rim along the thread"


@dataclass(frozen=True, kw_only=True)
class Term:
    """One input of an observation: what its error of one u adds to each quantity, (6,).

    ``key`` names the input: observations with the same key share it. ``together`` says that one
    error moves all quantities, else each has its own.
    """

    source: str
    key: str
    shares: Values
    together: bool
    sharing: Sharing
    of_scale: bool = False
    kind: str = "B"


@dataclass(frozen=True, kw_only=True)
class Observation:
    """One thread in one photo.

    ``values`` (6,) in the order of NAMING_QUANTITIES, NaN where not measured; the taper is positive
    where the diameter grows from the free end, if the free end is known. ``photo`` is the photo's
    place in the list, ``exposure`` that of the first of the same exposure, of which another
    reference was stated. ``side`` is 1 or -1 by the side of the thread's axis on which the
    reference lies, 0 where neither or not known; ``joined`` says that several references gave its
    scale. ``station`` is where its diameters were moved to, None where they are as they were read.
    """

    photo: int
    part: PartResult
    thread: ThreadResult
    values: Values
    terms: tuple[Term, ...]
    laying: int = 0
    oriented: bool = True
    exposure: int = 0
    side: int = 0
    joined: bool = False
    station: Quantity | None = None

    def without(self, place: int) -> Observation:
        """Return the observation with one quantity as if it had not been measured."""
        values = self.values.copy()
        values[place] = np.nan
        keep = np.arange(6) != place
        terms = tuple(replace(t, shares=np.where(keep, t.shares, 0.0)) for t in self.terms)
        return replace(self, values=values, terms=terms)

    @property
    def measured(self) -> NDArray[np.bool_]:
        """Which quantities were measured, (6,)."""
        return np.isfinite(self.values)

    def covariance(self) -> Values:
        """Return the covariance of its values, (6, 6)."""
        return sum((_own(t) for t in self.terms), np.zeros((6, 6)))


def _own(term: Term) -> Values:
    c = term.shares
    return np.outer(c, c) if term.together else np.diag(c**2)


def observe(
    measurement: Measurement, photo: int, part: PartResult, thread: ThreadResult
) -> Observation:
    """Return a measured thread as an observation."""
    reading = thread.reading
    read = [getattr(reading, k) for k in NAMING_QUANTITIES]
    values = np.array([np.nan if q is None else q.value for q in read])
    u = np.array([0.0 if q is None else q.u for q in read])
    out, known = _orientation(part, thread)
    values[TAPER] *= out * thread.taper_sign
    terms = [
        stated
        for line in thread.budget
        for t in _terms(measurement, photo, line, out, values[PITCH])
        for stated in _at_large_end(t, reading, values[TAPER])
    ]
    terms = [replace(t, shares=np.where(np.isfinite(values), t.shares, 0.0)) for t in terms]
    had = sum((_own(t).diagonal() for t in terms), np.zeros(6))
    # What is in a u beside the budget's lines: of a cast its shrinkage.
    rest = np.sqrt(np.maximum(u**2 - had, 0.0))
    if (rest > 1e-3 * u).any():
        terms.append(
            Term(
                source="shrinkage" if reading.gender == "internal" else "beside the budget",
                key="part",
                shares=rest,
                together=False,
                sharing=Sharing(owner="part", lasting=1.0),
            )
        )
    return Observation(
        photo=photo,
        part=part,
        thread=thread,
        values=values,
        terms=tuple(terms),
        oriented=known,
        side=_side(measurement, thread),
    )


def _at_large_end(term: Term, reading: ThreadReading, taper: float) -> list[Term]:
    """Return a term as it moves what is stated: a taper's diameters at its large end.

    The budget has them in the middle, half the thread's length away, and an error of the taper
    moves all of them there alike.
    """
    station = reading.diameter_station_mm
    if station is None or not term.shares[TAPER] or not np.isfinite(taper):
        return [term]
    way = np.where(IS_DIAMETER, np.sign(taper) * station.value / 2, 0.0)
    moved = term.shares[TAPER] * way
    if term.together:
        return [replace(term, shares=term.shares + moved)]
    is_taper = np.arange(6) == TAPER
    moved[TAPER] = term.shares[TAPER]
    return [
        replace(term, shares=np.where(is_taper, 0.0, term.shares)),
        replace(term, key=f"{term.key}, its taper", shares=moved, together=True),
    ]


def _side(measurement: Measurement, thread: ThreadResult) -> int:
    """Return on which side of a thread's axis, run from left to right, the reference lies."""
    scale, span = measurement.scale, thread.span_px
    if scale is None or scale.box_px is None or span is None or span[0] == span[1]:
        return 0
    start, end = sorted(span)
    x0, y0, x1, y1 = scale.box_px
    corners = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) - np.array(start)
    along = np.array(end) - np.array(start)
    aside = np.sign(along[0] * corners[:, 1] - along[1] * corners[:, 0])
    return int(aside[0]) if np.all(aside == aside[0]) else 0


def _terms(
    measurement: Measurement, photo: int, line: BudgetLine, out: float, pitch_mm: float
) -> list[Term]:
    """Return a budget's line as a term, or as several where shares of it are of several owners.

    Of a reference the object, its kind and this photo's sight of it; of the edges' noise what is
    none in the angle, but the metal's light.
    """
    term = _term(measurement, photo, line, out)
    if term.source == NOISE and term.shares[ANGLE]:
        light = np.where(np.arange(6) == ANGLE, term.shares, 0.0) * np.sqrt(ANGLE_AGAIN)
        left = np.where(np.arange(6) == ANGLE, np.sqrt(1 - ANGLE_AGAIN), 1.0) * term.shares
        lasts = replace(
            term, key="part", shares=light, sharing=Sharing(owner="part", lasting=1.0), kind="B"
        )
        return [lasts, replace(term, shares=left)]
    if term.source == ALONG and term.shares[TAPER]:
        is_taper = np.arange(6) == TAPER
        whole = Sharing(owner="part", lasting=TAPER_AGAIN)
        tapers = replace(term, key="part's taper", shares=term.shares * is_taper, sharing=whole)
        return [replace(term, shares=np.where(is_taper, 0.0, term.shares)), tapers]
    if term.sharing.owner != "reference":
        return [term]
    scale = measurement.scale
    source, stated = ("", None) if scale is None else (scale.source, scale.stated_mm)
    relative = abs(line.contributions.get("pitch_mm", 0.0)) / pitch_mm
    again, kind = reference_again(source, stated, relative)
    parts = (
        (kind, f"any {source}", 1.0),
        (again - kind, term.key, 1.0),
        # Two references in one photo are seen each by itself.
        (1.0 - again, f"photo {photo}, {term.key}", 0.0),
    )
    return [
        replace(
            term,
            key=key,
            shares=term.shares * np.sqrt(share),
            sharing=replace(term.sharing, lasting=lasting),
        )
        for share, key, lasting in parts
        if share > 0
    ]


def _term(measurement: Measurement, photo: int, line: BudgetLine, out: float) -> Term:
    scale = measurement.scale
    source = "" if scale is None else scale.source
    share = None
    if scale is not None and scale.focal_px is not None:
        share = scale.focal_px.u / scale.focal_px.value
    sharing = sharing_of(line.source, share)
    keys = {
        "photo": f"photo {photo}",
        "part": "part",
        "camera": "camera" if measurement.photo is None else f"camera {measurement.photo.lens}",
        "reference": "reference" if scale is None else f"{source} {scale.stated_mm}",
    }
    shares = np.array([line.contributions.get(k, 0.0) for k in NAMING_QUANTITIES])
    if line.correlated:
        # Counted from the free end, what the camera makes of a taper changes sign with the way the
        # span runs; what the part makes of it (a chamfer, its body beside the light) does not. An
        # input that turns with the part changes sign itself, and with it all else that it moves.
        if sharing.turns:
            shares[np.arange(6) != TAPER] *= out
        elif sharing.owner != "part":
            shares[TAPER] *= out
    return Term(
        source=line.source,
        key=keys[sharing.owner],
        shares=shares,
        together=line.correlated,
        sharing=sharing,
        of_scale=line.of_scale,
        kind=line.kind,
    )


def _orientation(part: PartResult, thread: ThreadResult) -> tuple[float, bool]:
    """Return whether the span runs from the free end inward, 1 or -1, and whether that is told.

    Where it is not, the direction is that in which the diameter grows.
    """
    taper = thread.reading.taper
    if taper is not None and taper.value > TAPER_SEEN:
        return float(thread.taper_sign), True
    if thread.span_px is None or part.box_px is None or thread.span_px[0] == thread.span_px[1]:
        return float(thread.taper_sign), False
    (x0, y0), (x1, y1) = thread.span_px
    along = np.array([x1 - x0, y1 - y0])
    length = float(np.linalg.norm(along))
    bx0, by0, bx1, by1 = part.box_px
    inward = np.array([(bx0 + bx1) / 2, (by0 + by1) / 2]) - np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    share = float(inward @ along) / length**2
    if abs(share) <= OFF_MIDDLE:
        return float(thread.taper_sign), False
    return float(np.sign(share)), True


def layings(observations: Sequence[Observation], sizes: Sequence[object]) -> list[Observation]:
    """Give photos between which nothing was moved one number.

    ``sizes`` are the pictures' sizes, by the observation's photo.
    """
    out: list[Observation] = []
    for i, one in enumerate(observations):
        number = i
        for before in out:
            if sizes[before.photo] == sizes[one.photo] and _unmoved(before, one):
                number = before.laying
                break
        out.append(replace(one, laying=number))
    return out


def _unmoved(a: Observation, b: Observation) -> bool:
    if a.thread.span_px is None or b.thread.span_px is None:
        return False
    p, q = np.array(a.thread.span_px), np.array(b.thread.span_px)
    length = float(np.linalg.norm(p[1] - p[0]))
    off = min(np.abs(p - q).max(), np.abs(p - q[::-1]).max())
    return bool(off < UNMOVED * length)
