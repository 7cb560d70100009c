"""Several references in one photo: each gives it a scale, and one scale is made of them.

All that is seen of the thread is the same, noise and all, whichever reference it is measured by:
only the scale is told several times. With x_i the logarithm of the scale by reference i, and c_ij
what the errors of two have in common, the best is that of generalised least squares, one number
with its variance. What is common is

- of the references themselves what any two of their kind share (``adjust/sharing.py``),
- of the tilt nothing where they lie on either side of the axis: what it makes longer beside one it
  makes shorter beside the other,
- of all else (height of the axis, lens) the smaller of the two errors.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.adjust.disagree import LENGTHS, RARE, Agreement, log_upper
from pitchcam.adjust.observed import NOISE, PITCH, Observation, Term
from pitchcam.adjust.system import NUGGET
from pitchcam.frozen import dataclass

Values = NDArray[np.float64]

#: The budget's line of the camera's tilt.
TILT = "tilt of the camera"
#: A reading of the thread itself: as good a scale, but what it is read at is no object beside it.
OF_THREAD = "major"


@dataclass(frozen=True, kw_only=True)
class Scale:
    """The scale that references give a photo: their weights (n,), ln of it, its variance."""

    weights: Values
    log: float
    variance: float


def one_scale(observations: Sequence[Observation]) -> Agreement:
    """Return one observation for each exposure, with the scale of all references in it.

    A reference that the others of its photo contradict is left out with its reason. Two that
    contradict each other accuse nobody, and it stays open.
    """
    groups: dict[int, list[Observation]] = {}
    for o in observations:
        groups.setdefault(o.exposure, []).append(o)
    kept: list[Observation] = []
    out: list[tuple[Observation, str]] = []
    for some in groups.values():
        agreed, others = _agreeing(some)
        if len(some) > 1 and len(agreed) <= len(others):
            # What another photo's references left out stays so.
            rest = tuple(o for o in observations if all(o is not gone for gone, _ in out))
            return Agreement(kept=rest, left_out=(*others, *out), open=True)
        out = [*others, *out]
        kept.append(agreed[0] if len(agreed) == 1 else joined(agreed))
    return Agreement(kept=tuple(kept), left_out=tuple(out))


def common(a: Observation, b: Observation, across: float = 0.0) -> dict[str, float]:
    """Return what the errors of two scales have in common, squared and relative, by source.

    ``across`` is the share that counts of an input that moves the two apart (the tilt where they
    lie on either side of the axis, the focal length where one lies above it): for the mean of both
    none, for the gap between them -1, each on the safe side.
    """
    out: dict[str, float] = {}
    theirs = _by_input(b)
    for (source, key), (term, mine) in _by_input(a).items():
        # Height, lens and tilt are the photo's, whichever place it has in the list.
        same = [
            share
            for (s, k), (_, share) in theirs.items()
            if s == source and (term.sharing.owner != "reference" or k == key)
        ]
        if not same:
            continue
        apart = mine * same[0] < 0 or (source == TILT and a.side * b.side < 0)
        by = across if apart else 1.0
        out[source] = out.get(source, 0.0) + by * min(abs(mine), abs(same[0])) ** 2
    return out


def _by_input(one: Observation) -> dict[tuple[str, str], tuple[Term, float]]:
    """Return the terms of the scale, each with its relative error, by source and key."""
    pitch = one.values[PITCH]
    return {(t.source, t.key): (t, float(t.shares[PITCH] / pitch)) for t in one.terms if t.of_scale}


def scale_of(observations: Sequence[Observation]) -> Scale:
    """Return the scale of references in one exposure, ln of the pitch that it makes.

    No reference counts negatively: what another tells better it does not tell.
    """
    n = len(observations)
    c = np.array([[sum(common(a, b).values()) for b in observations] for a in observations])
    c = c + NUGGET * np.diag(np.diagonal(c))
    used = list(range(n))
    while True:
        inverse = np.linalg.solve(c[np.ix_(used, used)], np.ones(len(used)))
        if inverse.min() >= 0 or len(used) == 1:
            break
        used.pop(int(np.argmin(inverse)))
    weights = np.zeros(n)
    weights[used] = inverse / inverse.sum()
    logs = np.log([o.values[PITCH] for o in observations])
    return Scale(weights=weights, log=float(weights @ logs), variance=float(1 / inverse.sum()))


def joined(observations: Sequence[Observation]) -> Observation:
    """Return one exposure's observation with the scale that all its references give.

    What the thread itself shows is taken from the measurement whose own scale is surest, an
    object's where there is one.
    """
    scale = scale_of(observations)
    base = min(observations, key=_rank)
    factor = math.exp(scale.log) / base.values[PITCH]
    values = base.values * np.where(LENGTHS, factor, 1.0)
    lengths = np.where(LENGTHS & base.measured, values, 0.0)
    left = _left(observations, scale)
    terms = []
    for term in base.terms:
        if not term.of_scale:
            terms.append(replace(term, shares=term.shares * np.where(LENGTHS, factor, 1.0)))
        elif term.sharing.owner != "reference":
            # By what diameters differ from the pitch (a bent picture, a slant) they differ still.
            own = float(term.shares[PITCH] / base.values[PITCH])
            scaled = term.shares * np.where(LENGTHS, factor, 1.0)
            now = math.copysign(left.pop(term.source, 0.0), own)
            terms.append(replace(term, shares=scaled + (now - own) * lengths))
    for o in observations:
        for term in o.terms:
            if term.of_scale and term.sharing.owner != "reference" and term.source in left:
                terms.append(replace(term, shares=left.pop(term.source) * lengths))
    terms += _references(observations, scale, lengths, base.photo)
    reading = base.thread.reading
    station = reading.diameter_station_mm
    if station is not None:
        station = replace(station, value=station.value * factor, u=station.u * factor)
    thread = replace(base.thread, reading=replace(reading, diameter_station_mm=station))
    return replace(base, values=values, terms=tuple(terms), thread=thread, joined=True)


def _rank(one: Observation) -> tuple[bool, float]:
    read = any(t.key.startswith(f"{OF_THREAD} ") for t in one.terms)
    return read, sum(common(one, one).values())


def _left(observations: Sequence[Observation], scale: Scale) -> dict[str, float]:
    """Return what is left of each input of the photo in its scale, relative, by source."""
    out: dict[str, float] = {}
    for w, a in zip(scale.weights, observations, strict=True):
        for v, b in zip(scale.weights, observations, strict=True):
            for source, squared in common(a, b).items():
                out[source] = out.get(source, 0.0) + float(w * v) * squared
    return {source: math.sqrt(max(squared, 0.0)) for source, squared in out.items()}


def _references(
    observations: Sequence[Observation], scale: Scale, lengths: Values, photo: int
) -> list[Term]:
    """Return the terms of all references, each by its weight; what two share is one term.

    What is one photo's own is that of ``photo``: they are of one exposure, under whose number the
    same reference is found in the next.
    """
    out: dict[tuple[str, str], Term] = {}
    for w, o in zip(scale.weights, observations, strict=True):
        for place, (term, share) in _by_input(o).items():
            if term.sharing.owner != "reference":
                continue
            had = out.get(place)
            shares = w * share * lengths + (0.0 if had is None else had.shares)
            _, at, what = term.key.partition(", ")
            key = f"photo {photo}, {what}" if at else term.key
            out[place] = replace(term, key=key, shares=shares)
    return list(out.values())


def _agreeing(
    some: Sequence[Observation],
) -> tuple[list[Observation], list[tuple[Observation, str]]]:
    """Leave out, one after the other, the reference that the rest of its photo contradicts most."""
    kept, out = list(some), []
    while len(kept) > 1:
        chances = [_chance(kept, i) for i in range(len(kept))]
        worst = int(np.argmin(chances))
        if chances[worst] > math.log(RARE / len(some)):
            break
        out.append((kept[worst], _reason(kept, worst)))
        kept.pop(worst)
    return kept, out


def _gap(kept: Sequence[Observation], i: int) -> tuple[float, float]:
    """Return by how much one reference's scale differs from the others', and the variance of it."""
    one, rest = kept[i], [o for j, o in enumerate(kept) if j != i]
    scale = scale_of(rest)
    shared = sum(
        float(w) * sum(common(one, o, across=-1.0).values())
        for w, o in zip(scale.weights, rest, strict=True)
    )
    # Measured twice, by other scales, edges are placed a little anew.
    noise = (
        sum(t.shares[PITCH] ** 2 for t in one.terms if t.source == NOISE) / one.values[PITCH] ** 2
    )
    own = sum(common(one, one).values())
    return math.log(one.values[PITCH]) - scale.log, own + scale.variance - 2 * shared + noise


def _chance(kept: Sequence[Observation], i: int) -> float:
    """Return the logarithm of the chance of so large a gap: far out the chance itself is zero."""
    gap, variance = _gap(kept, i)
    return log_upper(gap**2 / variance, 1)


def _reason(kept: Sequence[Observation], i: int) -> str:
    gap, _ = _gap(kept, i)
    return (
        f"by its reference all lengths are {100 * abs(math.expm1(gap)):.1f} % "
        f"{'larger' if gap > 0 else 'smaller'} than by the other{'s' if len(kept) > 2 else ''} in "
        "the same photo: one of them "
        "has another size than stated, or lies at another height"
    )
