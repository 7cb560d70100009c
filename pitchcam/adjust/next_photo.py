"""Which second photo would tell most: by what the budget of the first would leave of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.adjust.observed import ANGLE, TAPER, Observation, Term, observe
from pitchcam.adjust.sharing import ANY_OBJECT, SAME_OBJECT, Sharing
from pitchcam.adjust.system import Adjusted, adjust
from pitchcam.frozen import dataclass
from pitchcam.match.population import DIAMETERS, Population, population
from pitchcam.records import Measurement, PartResult, ThreadResult
from pitchcam.series import find

Values = NDArray[np.float64]

#: Relative standard uncertainty of the scale of a card as it usually comes out.
U_CARD = 0.0016
#: A phone is brought nearer by this factor, if it then still focuses.
NEARER, NEAREST_MM = 1.4, 150.0
#: A photo is worth taking if it moves the two likeliest threads apart by this factor, to so many
#: standard deviations at least: four errors in five then fall on the right side of the middle.
WORTH, ENOUGH = 1.15, 1.7
SCALE = "scale of the reference"
#: Lines whose shares grow with a shorter way, and such as shrink with more pixels.
BY_WAY = ("height of the axis", "focal length", "tilt of the camera")
BY_PIXELS = ("edge noise", "edge and rim", "rim along the thread")
#: Where the angle was not read: what a photo square to the axis gives (median over renders that
#: nothing was tuned on), and a value for it, which does not matter here.
U_ANGLE_DEG, USUAL_ANGLE_DEG = 0.9, 58.0


@dataclass(frozen=True, kw_only=True)
class Choice:
    """A second photo: what the photographer does, and what it would observe."""

    words: str
    seen: Callable[[Observation], Observation]


def next_photo(measurement: Measurement, part: PartResult, thread: ThreadResult) -> str | None:
    """Return in words the second photo that would tell the two likeliest threads apart best.

    None where the thread has a name, or where no photo would help much. Where the reference is in
    doubt a further photo beside the same one repeats the doubt, and beside a sound one contradicts
    it: a sound one alone tells the name.
    """
    if thread.verdict.status == "ambiguous" and _doubted(measurement):
        source = None if measurement.scale is None else measurement.scale.source
        return None if source == "card" else "Or take a new photo with a bank card beside the part."
    names = [c.designation for c in thread.verdict.candidates[:2]]
    if thread.verdict.status != "ambiguous" or len(names) < 2 or not thread.budget:
        return None
    first = observe(measurement, 0, part, thread)
    parts = population(thread.reading.gender)
    rows = [parts.sizes.index(find(n)) for n in names]
    before = separation(adjust([first]), parts, rows)
    best, most = None, max(WORTH * before, ENOUGH)
    for choice in choices(measurement, first):
        second = replace(choice.seen(_anew(first)), photo=1, laying=1)
        after = separation(adjust([first, second]), parts, rows)
        # A later choice, which asks for more, has to tell more.
        if after > most:
            best, most = choice, WORTH * after
    if best is None:
        return None
    return f"Or take one more photo, {best.words}, and have both measured together."


def _doubted(measurement: Measurement) -> bool:
    return any(w.code == "reference-size" for w in measurement.warnings)


def choices(measurement: Measurement, first: Observation) -> list[Choice]:
    """Return the photos that could be taken after a first one, the easiest first."""
    out = [Choice(words="the part turned end for end", seen=_turned)]
    along = sum(t.shares[ANGLE] ** 2 for t in first.terms if t.source == "view along the thread")
    if not first.measured[ANGLE] or along > first.covariance()[ANGLE, ANGLE] / 2:
        out.append(Choice(words="with the part under the middle of the camera", seen=_square))
    scale = measurement.scale
    if scale is None:
        return out
    height = scale.camera_height_mm
    if height is not None and height.value > NEARER * NEAREST_MM:
        to = int(height.value / NEARER / 10) * 10
        out.append(Choice(words=f"turned end for end and from {to} mm", seen=_nearer))
    if scale.source in ANY_OBJECT and scale.source != "card":
        out.append(Choice(words="turned end for end, with a bank card beside it", seen=_card))
    return out


def _anew(first: Observation) -> Observation:
    """Return the same observation with what is new in every photo under keys of its own."""
    return replace(
        first,
        terms=tuple(
            replace(t, key="photo 1") if t.sharing.owner == "photo" else t for t in first.terms
        ),
    )


def _turned(o: Observation) -> Observation:
    def turn(t: Term) -> Term:
        if not t.together:
            return t
        shares = t.shares.copy()
        shares[np.arange(6) != TAPER if t.sharing.turns else TAPER] *= -1.0
        return replace(t, shares=shares)

    return replace(o, terms=tuple(turn(t) for t in o.terms))


def _square(o: Observation) -> Observation:
    """Return what a view square to the axis would see: the angle, and no view along the thread."""
    terms = tuple(t for t in o.terms if t.source != "view along the thread")
    if o.measured[ANGLE]:
        return replace(o, terms=terms)
    values = o.values.copy()
    values[ANGLE] = USUAL_ANGLE_DEG
    own = Term(
        source="edge noise of the angle",
        key="photo 1",
        kind="A",
        together=False,
        shares=np.eye(6)[ANGLE] * U_ANGLE_DEG,
        sharing=Sharing(owner="photo", lasting=0.0),
    )
    return replace(o, values=values, terms=(*terms, own))


def _nearer(o: Observation) -> Observation:
    def grow(t: Term) -> Term:
        by = NEARER if t.source in BY_WAY else 1 / NEARER if t.source in BY_PIXELS else 1.0
        return replace(t, shares=t.shares * by)

    return replace(_turned(o), terms=tuple(grow(t) for t in _turned(o).terms))


def _card(o: Observation) -> Observation:
    lengths = np.where(np.isfinite(o.values), o.values, 0.0) * np.array([1, 1, 1, 1, 0, 0])
    card = Term(
        source=SCALE,
        key="any card",
        shares=U_CARD * lengths,
        together=True,
        of_scale=True,
        sharing=Sharing(owner="reference", lasting=SAME_OBJECT["card"]),
    )
    rest = tuple(t for t in _turned(o).terms if t.source != SCALE)
    return replace(o, terms=(card, *rest))


def separation(adjusted: Adjusted, parts: Population, rows: list[int]) -> float:
    """Return how far two sizes lie apart, in standard deviations of reading and parts together.

    The diameters of a taper go with the station, and are left out.
    """
    (a, ca), (b, cb) = (_typical(parts, r) for r in rows)
    keep = np.isfinite(adjusted.values)
    if any(parts.sizes[r].taper for r in rows):
        keep[list(DIAMETERS)] = False
    use = np.flatnonzero(keep)
    total = adjusted.covariance + (ca + cb) / 2
    gap = (a - b)[use]
    return float(np.sqrt(gap @ np.linalg.solve(total[np.ix_(use, use)], gap)))


def _typical(parts: Population, row: int) -> tuple[Values, Values]:
    """Return mean (6,) and covariance (6, 6) of a size's parts over classes and wear."""
    weight = np.exp(parts.log_weight[row])
    weight = weight / weight.sum()
    mean = np.einsum("kc,kcq->q", weight, parts.mean[row])
    off = parts.mean[row] - mean
    between = np.einsum("kc,kcq,kcr->qr", weight, off, off)
    within = np.einsum("k,kqr->qr", weight.sum(axis=1), parts.covariance[row])
    return mean, between + within
