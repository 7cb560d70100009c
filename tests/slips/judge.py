"""What an ideal judge names, who knows how :mod:`tests.slips.draw` draws its readings.

Its densities are those of the draw itself, in closed form where there is one. It shares no code
with the model that names; shares of slips and the rule for a name are the same, as they are stated.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pitchcam.match.hand import FORM_GAUGES_DEG, HandReadings
from pitchcam.match.slips import slip_shares
from pitchcam.records import MM_PER_INCH
from pitchcam.series import ThreadSize
from pitchcam.series.gauges import load_leaves
from tests.confusion.ideal import gauss, tapers, worn_density
from tests.confusion.parts import ANGLE_SCATTER_DEG, WEAR_OF_PITCH, class_shares
from tests.slips.draw import (
    ANY_MM,
    SECOND_WITHIN_MM,
    U_CALIPER_MM,
    U_EYE,
    U_FORM_GAUGE_DEG,
    leaves,
    nearest,
    sizes,
)

Array = NDArray[np.float64]
NAMED, BY_READING, SOUND = 0.95, 0.9, 0.5
#: Nodes for a taper's place, and for the loss of a worn crest.
PLACES, LOSSES = 40, 12
#: Sizes whose crests lie farther off than this, wear and a taper's length apart, have no share but
#: that of 'any diameter': seven standard deviations of a caliper, and the widest class.
RIVAL_MM = 0.7


@dataclass(frozen=True, kw_only=True)
class Judged:
    """The ideal judge's name for each reading, by place in ``sizes()``, -1 for none; its chance."""

    names: NDArray[np.intp]
    chance: Array


def judge(read: HandReadings, prior: Array) -> Judged:
    """Return the ideal judge's names for a batch, with sizes as common as ``prior``."""
    n = len(read.pitch_mm) if read.pitch_mm is not None else 0
    total, sound = np.ones((n, len(sizes()))), np.ones((n, len(sizes())))
    for good, bad in (_leaf(read), _diameter(read), _change(read), _angle(read), _form(read)):
        both = np.maximum(good + bad, 1e-300)
        total, sound = total * both, sound * good / both
    after, flat = _normal(total, prior), _normal(total, np.ones(len(prior)))
    rows, top = np.arange(n), after.argmax(axis=1)
    sure = (after[rows, top] >= NAMED) & (flat[rows, top] >= BY_READING)
    sure &= sound[rows, top] >= SOUND
    return Judged(names=np.where(sure, top, -1), chance=after[rows, top])


def _normal(density: Array, prior: Array) -> Array:
    mass = density * prior / prior.sum()
    return np.asarray(mass / mass.sum(axis=1, keepdims=True))


@functools.cache
def _leaf_tables() -> tuple[Array, Array, Array]:
    """Return all pitches, and for each size (sizes, pitches) the right leaf and the slips."""
    share = slip_shares()
    pitches = np.array(sorted({x.pitch_mm for x in load_leaves()}))
    good, bad = np.zeros((2, len(sizes()), len(pitches)))
    for k, size in enumerate(sizes()):
        slips = np.zeros(len(pitches))

        def add(leaf: float, chance: float, slips: Array = slips) -> None:
            slips[nearest(list(pitches), leaf)] += chance

        held = leaves(size)
        for leaf in held.beside:
            add(leaf, share["leaf-step"] / len(held.beside))
        for leaf, chance in zip(held.other, _eyed(size), strict=True):
            add(leaf, share["leaf-other"] * chance)
        for leaf in held.same_number[:1]:
            add(leaf, share["leaf-unit"])
        slips += share["leaf-any"] / len(pitches)
        bad[k] = slips
        good[k, nearest(list(pitches), held.right)] = 1 - slips.sum()
    return pitches, good, bad


def _eyed(size: ThreadSize) -> Array:
    seen = np.log(np.array(leaves(size).other) / size.pitch_mm)
    edges = np.concatenate([[-np.inf], (seen[1:] + seen[:-1]) / 2, [np.inf]])
    return np.asarray(np.diff(ndtr(edges / U_EYE)))


def _leaf(read: HandReadings) -> tuple[Array, Array]:
    pitches, good, bad = _leaf_tables()
    assert read.pitch_mm is not None
    at = np.abs(np.log(pitches / read.pitch_mm[:, None])).argmin(axis=1)
    return good[:, at].T, bad[:, at].T


def _diameter(read: HandReadings) -> tuple[Array, Array]:
    share = slip_shares()
    d = read.diameter_mm
    assert d is not None
    u = U_CALIPER_MM / math.sqrt(2) if read.change_mm is not None else U_CALIPER_MM
    plain, worn, inches = np.zeros((3, len(d), len(sizes())))
    for k, size in enumerate(sizes()):
        if _near(d, size):
            plain[:, k] = _crest(d, size, u, read.apart_mm)
            worn[:, k] = _badly_worn(d, size, u, read.apart_mm)
        if d.min() < 5 and _near(d * MM_PER_INCH, size):
            inches[:, k] = MM_PER_INCH * _crest(
                d * MM_PER_INCH, size, u * MM_PER_INCH, read.apart_mm
            )
    anything = 1 / (np.clip(d, *ANY_MM) * math.log(ANY_MM[1] / ANY_MM[0]))
    bad = share["worn"] * worn + share["diameter-any"] * anything[:, None]
    left = 1 - share["worn"] - share["diameter-any"] - share["diameter-unit"]
    return left * plain, bad + share["diameter-unit"] * inches


def _near(d: Array, size: ThreadSize) -> bool:
    along = size.taper * ((size.useful_length_mm or 0.0) + 2 * size.position_mm[0])
    low = size.basic_major_mm - RIVAL_MM - 0.35 * size.pitch_mm - along
    return bool(d.max() > low and d.min() < size.basic_major_mm + 0.3 + along)


def _crest(d: Array, size: ThreadSize, u: float, apart: float) -> Array:
    """Return the density of a diameter over the crests, wherever on the useful thread."""
    wear = WEAR_OF_PITCH * size.pitch_mm
    if not size.taper:
        classes = size.external
        parts = zip(class_shares(len(classes)), classes, strict=True)
        return np.asarray(sum(w * worn_density(d, *x.major_mm, u, wear) for w, x in parts))
    total = np.zeros(len(d))
    for taper, weight in tapers(size):
        shift, chance = _places(size, taper, apart)
        cut = max(size.truncation_mm, 1e-5)
        top = size.basic_major_mm + shift
        total += weight * (chance * worn_density(d[:, None] - top, -cut, 0.0, u, wear)).sum(axis=1)
    return total


def _places(size: ThreadSize, taper: float, apart: float) -> tuple[Array, Array]:
    """Return nodes of how far a taper's diameter is from the basic one, and their weights.

    Place along the thread and the gauge plane's own place are both even: their sum is a trapezoid.
    """
    length = size.useful_length_mm or 0.0
    low, high = min(apart / 2, length / 2), max(length - apart / 2, length / 2)
    a, b = taper * (high - low) / 2, size.taper * size.position_mm[0]
    middle = taper * ((low + high) / 2 - (size.gauge_length_mm or 0.0))
    if min(a, b) < 1e-6:
        return np.array([middle]), np.ones(1)
    at = (np.arange(PLACES) + 0.5) / PLACES * 2 * (a + b) - (a + b)
    chance = np.minimum(a + b - np.abs(at), 2 * min(a, b))
    return middle + at, chance / chance.sum()


def _badly_worn(d: Array, size: ThreadSize, u: float, apart: float) -> Array:
    loss = (np.arange(LOSSES) + 0.5) / LOSSES * 0.25 * size.pitch_mm
    wide = math.hypot(u, 0.25 * size.pitch_mm / LOSSES / math.sqrt(12))
    return _crest((d[:, None] + loss).ravel(), size, wide, apart).reshape(len(d), -1).mean(axis=1)


def _change(read: HandReadings) -> tuple[Array, Array]:
    if read.change_mm is None:
        return np.ones((1, 1)), np.zeros((1, 1))
    share, change = slip_shares(), read.change_mm
    good, bad = np.zeros((2, len(change), len(sizes())))
    kinds: dict[tuple[bool, bool], list[int]] = {}
    for k, size in enumerate(sizes()):
        kinds.setdefault((bool(size.taper), size.family.startswith("NPT")), []).append(k)
    u = U_CALIPER_MM * math.sqrt(2)
    wild = np.where(np.abs(change) < SECOND_WITHIN_MM, 0.5 / SECOND_WITHIN_MM, 0.0)
    for which in kinds.values():
        plain, turned = (
            sum(w * gauss(x - t * read.apart_mm, u) for t, w in tapers(sizes()[which[0]]))
            for x in (change, -change)
        )
        straight = (1 - share["order"] - share["second-any"]) * plain + share["order"] * turned
        good[:, which] = straight[:, None]
        bad[:, which] = (share["second-any"] * wild)[:, None]
    return good, bad


def _angle(read: HandReadings) -> tuple[Array, Array]:
    if read.angle_deg is None:
        return np.ones((1, 1)), np.zeros((1, 1))
    share = slip_shares()["angle-any"]
    own = np.array([s.angle_deg for s in sizes()])
    u = math.hypot(U_FORM_GAUGE_DEG, ANGLE_SCATTER_DEG)
    other = sum(gauss(read.angle_deg - a, U_FORM_GAUGE_DEG) for a in FORM_GAUGES_DEG)
    good = (1 - share) * gauss(read.angle_deg[:, None] - own, u)
    return good, share / len(FORM_GAUGES_DEG) * np.repeat(np.asarray(other)[:, None], len(own), 1)


def _form(read: HandReadings) -> tuple[Array, Array]:
    if read.form not in ("parallel", "taper"):
        return np.ones((1, 1)), np.zeros((1, 1))
    share = slip_shares()
    taper = np.array([bool(s.taper) for s in sizes()])
    wrong = np.where(taper, share["form-parallel"], share["form-taper"])
    right = taper == (read.form == "taper")
    return np.where(right, 1 - wrong, 0.0)[None], np.where(right, 0.0, wrong)[None]
