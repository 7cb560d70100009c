"""Draws readings by hand, careful and slipped, of parts drawn from the standards' limits.

Parts come from :mod:`tests.confusion.parts`, which shares nothing with the model that names. The
slips are the hand's: another leaf, the other end first, inches for mm, worn crests.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.match.hand import FORM_GAUGES_DEG, Form, HandReadings
from pitchcam.match.population import ANGLE, MAJOR, MINOR, TAPER, population
from pitchcam.match.slips import slip_shares
from pitchcam.records import MM_PER_INCH, Gender
from pitchcam.series import ThreadSize
from pitchcam.series.gauges import load_leaves
from tests.confusion.parts import draw_parts

Array = NDArray[np.float64]
U_CALIPER_MM, U_BORE_MM, U_FORM_GAUGE_DEG, U_EYE = 0.03, 0.05, 0.85, 0.02
#: Two diameters lie five turns apart, at least 2 mm.
TURNS_APART = 5
ANY_MM = (0.7, 120.0)
SECOND_WITHIN_MM = 2.0


@dataclass(frozen=True, kw_only=True)
class What:
    """What is read besides the leaf and a diameter."""

    two: bool = False
    angle: bool = False
    form: bool = False


@functools.cache
def sizes(gender: Gender = "external") -> tuple[ThreadSize, ...]:
    """Return one size of each geometry."""
    parts = population(gender)
    return tuple(parts.sizes[i] for i in parts.leaders)


@dataclass(frozen=True, kw_only=True)
class Leaves:
    """The pitches of leaves as a size meets them: the right one, its set, and the wrong ones."""

    right: float
    own: list[float]
    beside: list[float]
    other: list[float]
    same_number: list[float]


_LEAVES: dict[str, Leaves] = {}


def leaves(size: ThreadSize) -> Leaves:
    """Return the leaves as a size meets them."""
    if size.designation not in _LEAVES:
        own, right = _leaf_set(size), _right_leaf(size)
        i = nearest(own, size.pitch_mm)
        _LEAVES[size.designation] = Leaves(
            right=right,
            own=own,
            beside=own[max(i - 1, 0) : i] + own[i + 1 : i + 2],
            other=_other_set(size),
            same_number=_same_number(right),
        )
    return _LEAVES[size.designation]


def _leaf_set(size: ThreadSize) -> list[float]:
    """Return the pitches of the set that a size's leaf belongs to, fine first."""
    if size.family in ("M", "M taper"):
        return [x.pitch_mm for x in load_leaves() if x.mark.endswith("mm")]
    if size.family == "BA":
        return [x.pitch_mm for x in load_leaves() if x.mark.endswith("ba")]
    sets = {
        a: [x.pitch_mm for x in load_leaves() if x.mark.endswith("tpi") and a in x.angles_deg]
        for a in (55.0, 60.0)
    }
    # 62 TPI stands in British sets only, 56 in American ones: the set that fits is taken.
    order = (55.0, 60.0) if size.angle_deg == 55.0 else (60.0, 55.0)
    fits = [a for a in order if min(abs(p / size.pitch_mm - 1) for p in sets[a]) < 1e-3]
    return sets[(fits or order)[0]]


def _other_set(size: ThreadSize) -> list[float]:
    """Return the pitches of the other unit's leaves, fine first."""
    end = "tpi" if size.family in ("M", "M taper", "BA") else "mm"
    return [x.pitch_mm for x in load_leaves() if x.mark.endswith(end)]


def nearest(pitches: Sequence[float], pitch: float) -> int:
    return int(np.abs(np.log(np.array(pitches) / pitch)).argmin())


def _right_leaf(size: ThreadSize) -> float:
    own = _leaf_set(size)
    best = own[nearest(own, size.pitch_mm)]
    if abs(best / size.pitch_mm - 1) < U_EYE:
        return best
    every = [x.pitch_mm for x in load_leaves()]  # no leaf of its own: the nearest of any set
    return every[nearest(every, size.pitch_mm)]


def _same_number(right: float) -> list[float]:
    """Return the leaf of the other unit with the right leaf's number, if a set has it."""
    mark = next(x.mark for x in load_leaves() if x.pitch_mm == right)
    swap = {"mm": "tpi", "tpi": "mm"}
    marks = [mark.removesuffix(a) + b for a, b in swap.items() if mark.endswith(a)]
    return [x.pitch_mm for x in load_leaves() if x.mark in marks]


def apart_mm(size: ThreadSize) -> float:
    return max(2.0, round(TURNS_APART * size.pitch_mm))


def careful(size: ThreadSize, what: What, rng: np.random.Generator, n: int) -> HandReadings:
    """Return ``n`` careful readings: the right leaf, the caliper anywhere on the useful thread."""
    parts = draw_parts(size, "external", rng, n)
    length = size.useful_length_mm or 0.0
    apart = apart_mm(size) if what.two else 0.0
    at = rng.uniform(min(apart / 2, length / 2), max(length - apart / 2, length / 2), n)
    middle = parts[:, MAJOR] + parts[:, TAPER] * at
    first = middle - parts[:, TAPER] * apart / 2 + U_CALIPER_MM * rng.standard_normal(n)
    second = middle + parts[:, TAPER] * apart / 2 + U_CALIPER_MM * rng.standard_normal(n)
    angle = parts[:, ANGLE] + U_FORM_GAUGE_DEG * rng.standard_normal(n)
    form: Form = "taper" if size.taper else "parallel"
    return HandReadings(
        pitch_mm=np.full(n, leaves(size).right),
        diameter_mm=(first + second) / 2 if what.two else first,
        change_mm=second - first if what.two else None,
        apart_mm=apart,
        angle_deg=angle if what.angle else None,
        form=form if what.form else None,
    )


def port(size: ThreadSize, *, two: bool, rng: np.random.Generator, n: int) -> HandReadings:
    """Return ``n`` careful readings of a port: the right leaf, one bore anywhere, or two."""
    parts = draw_parts(size, "internal", rng, n)
    length, apart = size.useful_length_mm or 0.0, apart_mm(size) if two else 0.0
    at = rng.uniform(min(apart / 2, length / 2), max(length - apart / 2, length / 2), n)
    middle = parts[:, MINOR] - parts[:, TAPER] * at
    mouth = middle + parts[:, TAPER] * apart / 2 + U_BORE_MM * rng.standard_normal(n)
    deep = middle - parts[:, TAPER] * apart / 2 + U_BORE_MM * rng.standard_normal(n)
    return HandReadings(
        gender="internal",
        quantity=MINOR,
        pitch_mm=np.full(n, leaves(size).right),
        diameter_mm=(mouth + deep) / 2 if two else mouth,
        change_mm=deep - mouth if two else None,
        apart_mm=apart,
        u_diameter_mm=U_BORE_MM,
    )


def large_end_first(read: HandReadings) -> HandReadings:
    """Return two diameters typed the other way round."""
    assert read.change_mm is not None
    return replace(read, change_mm=-read.change_mm)


def eyed_other(size: ThreadSize, rng: np.random.Generator, n: int) -> Array:
    """Return the leaf of the other set that looks nearest, (n,), with an eye of two percent."""
    other = np.array(leaves(size).other)
    seen = np.log(other / size.pitch_mm)
    mid = (seen[1:] + seen[:-1]) / 2
    return np.asarray(other[np.searchsorted(mid, U_EYE * rng.standard_normal(n))])


def mixed(size: ThreadSize, what: What, rng: np.random.Generator, n: int) -> list[HandReadings]:
    """Return ``n`` readings with slips at their stated shares, in batches of one said form."""
    share = slip_shares()
    read = careful(size, what, rng, n)
    assert read.pitch_mm is not None and read.diameter_mm is not None
    pitch = _mixed_leaf(size, read.pitch_mm, rng)
    diameter = _mixed_diameter(size, read.diameter_mm, rng)
    change, angle = read.change_mm, read.angle_deg
    if change is not None:
        kind = rng.uniform(size=n)
        change = np.where(kind < share["order"], -change, change)
        wild = rng.uniform(-SECOND_WITHIN_MM, SECOND_WITHIN_MM, n)
        change = np.where(kind > 1 - share["second-any"], wild, change)
    if angle is not None:
        other = rng.choice(FORM_GAUGES_DEG, n) + U_FORM_GAUGE_DEG * rng.standard_normal(n)
        angle = np.where(rng.uniform(size=n) < share["angle-any"], other, angle)
    read = replace(read, pitch_mm=pitch, diameter_mm=diameter, change_mm=change, angle_deg=angle)
    if not what.form:
        return [read]
    miss = rng.uniform(size=n) < share["form-parallel" if size.taper else "form-taper"]
    turned: Form = "parallel" if size.taper else "taper"
    return [some(read, ~miss), replace(some(read, miss), form=turned)]


def some(read: HandReadings, which: NDArray[np.bool_]) -> HandReadings:
    """Return some readings of a batch."""
    names = ("pitch_mm", "diameter_mm", "change_mm", "angle_deg")
    return replace(read, **{k: v[which] for k in names if (v := getattr(read, k)) is not None})


def _mixed_leaf(size: ThreadSize, right: Array, rng: np.random.Generator) -> Array:
    share, n = slip_shares(), len(right)
    kind, pitch = rng.uniform(size=n), right.copy()
    choices = {
        "leaf-step": rng.choice(leaves(size).beside, n),
        "leaf-other": eyed_other(size, rng, n),
        "leaf-any": rng.choice(sorted({x.pitch_mm for x in load_leaves()}), n),
    }
    if leaves(size).same_number:
        choices["leaf-unit"] = np.full(n, leaves(size).same_number[0])
    low = 0.0
    for name, leaf in choices.items():
        pitch = np.where((kind >= low) & (kind < low + share[name]), leaf, pitch)
        low += share[name]
    return pitch


def _mixed_diameter(size: ThreadSize, right: Array, rng: np.random.Generator) -> Array:
    share, n = slip_shares(), len(right)
    kind = rng.uniform(size=n)
    anything = np.exp(rng.uniform(np.log(ANY_MM[0]), np.log(ANY_MM[1]), n))
    worn = right - rng.uniform(0, 0.25 * size.pitch_mm, n)
    at = np.cumsum([share["worn"], share["diameter-any"], share["diameter-unit"]])
    inches = right / MM_PER_INCH
    return np.select(
        [kind < at[0], kind < at[1], (kind < at[2]) & (inches < 5)], [worn, anything, inches], right
    )
