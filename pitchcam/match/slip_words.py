"""What a slip is called, and what to read again: one sentence or two for each."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping

from pitchcam.frozen import dataclass
from pitchcam.match.advice import real_range
from pitchcam.match.hand import HandReadings
from pitchcam.match.leaf import VISIBLE_GAP_MM
from pitchcam.match.leaves import right_leaf
from pitchcam.match.naming import Posterior
from pitchcam.records import MM_PER_INCH
from pitchcam.series import ThreadSize
from pitchcam.series.gauges import SAME_LEAF, Leaf, load_leaves

#: A size as likely as this share of the best one is named beside it: its leaf is held as well.
RIVAL = 0.25


@dataclass(frozen=True, kw_only=True, slots=True)
class Slip:
    """The slip that explains the readings best, its probability and the size it speaks for."""

    name: str
    chance: float
    size: ThreadSize


def slip_words(slip: Slip, read: HandReadings, ranked: Posterior) -> str:
    """Return which reading is doubted and why, and what to repeat."""
    return _WORDS[slip.name](slip, read, ranked)


def _leaf_name(pitch_mm: float) -> str:
    return min(load_leaves(), key=lambda x: abs(x.pitch_mm - pitch_mm)).mark


def _several(ranked: Posterior, read: HandReadings, n: int = 3) -> str:
    return ", ".join(s.designation for s in ranked.sizes[:n])


def _near_leaf(slip: Slip, read: HandReadings, ranked: Posterior) -> str:
    assert read.pitch_mm is not None
    held, right = _leaf_name(read.pitch_mm[0]), right_leaf(slip.size)
    pitches = [right.pitch_mm, float(read.pitch_mm[0])]
    fits, leaves, wrong = f"{slip.size.designation}, whose leaf is {right.mark}", right.mark, "the"
    rival = _rival(slip, ranked, pitches)
    if rival is not None:
        leaf = right_leaf(rival)
        fits += f", or {rival.designation}, whose leaf is {leaf.mark}"
        leaves, wrong = f"{leaves}, {leaf.mark}", "a"
        pitches.append(leaf.pitch_mm)
    # Any of them may be the right one: the two that are most alike want the most turns.
    drift = min(abs(a - b) for a, b in itertools.combinations(pitches, 2))
    turns = max(2.0, 2 * VISIBLE_GAP_MM / max(drift, 1e-3))
    return (
        f"Hold the leaf again: the rest fits {fits}. Hold {leaves} and {held} in turn against the "
        f"light; over {turns:.0f} turns {wrong} wrong one shows a gap of {VISIBLE_GAP_MM:g} mm at "
        "both ends."
    )


def _rival(slip: Slip, ranked: Posterior, known: list[float]) -> ThreadSize | None:
    """Return the likeliest size of a leaf of another pitch, None where it is far behind."""
    order = list(zip(ranked.sizes, ranked.probability, strict=True))
    own = max((float(p) for s, p in order if s == slip.size), default=float("inf"))
    likely = (s for s, p in order if p > RIVAL * own and not _like(right_leaf(s), known))
    return next(likely, None)


def _like(leaf: Leaf, pitches_mm: list[float]) -> bool:
    """Whether a leaf has one of some pitches, as that of 0 BA has that of 1 mm."""
    return any(abs(leaf.pitch_mm / p - 1) < SAME_LEAF for p in pitches_mm)


def _leaf_unit(slip: Slip, read: HandReadings, ranked: Posterior) -> str:
    return (
        f"Look at the leaf's unit again: the rest fits {slip.size.designation}, whose leaf is "
        f"{right_leaf(slip.size).mark}."
    )


def _leaf_any(slip: Slip, read: HandReadings, ranked: Posterior) -> str:
    assert read.pitch_mm is not None
    return (
        f"Read the leaf again: {_leaf_name(read.pitch_mm[0])} does not go with the rest, which "
        f"fits {_several(ranked, read)}."
    )


def _inches(slip: Slip, read: HandReadings, ranked: Posterior) -> str:
    assert read.diameter_mm is not None
    mm = read.diameter_mm[0]
    return (
        f"Is the caliper on inches? {mm:g} in is {mm * MM_PER_INCH:.2f} mm, which fits "
        f"{slip.size.designation}: write {mm:g}in."
    )


def _diameter_any(slip: Slip, read: HandReadings, ranked: Posterior) -> str:
    what = "bore" if read.gender == "internal" else "diameter"
    return (
        f"Read the {what} again: it does not go with the rest, which fits {_several(ranked, read)}."
    )


def _worn(slip: Slip, read: HandReadings, ranked: Posterior) -> str:
    assert read.diameter_mm is not None
    low, high = real_range(slip.size, read.gender)
    if slip.size.taper and read.station_mm is None and read.gender == "external":
        high += slip.size.taper * (slip.size.useful_length_mm or 0.0)
    off = low - read.diameter_mm[0] if read.gender == "external" else read.diameter_mm[0] - high
    if off > 0:
        said = f"{off:.2f} mm {'below' if read.gender == 'external' else 'above'} its range"
    else:
        said = "among its smallest" if read.gender == "external" else "among its largest"
    return (
        f"Measure again where the crests are whole: {slip.size.designation} has {low:.2f} to "
        f"{high:.2f} mm there, and this reading is {said}: worn crests, or another thread."
    )


def _second(slip: Slip, read: HandReadings, ranked: Posterior) -> str:
    assert read.change_mm is not None
    change = abs(float(read.change_mm[0]))
    return (
        f"Read both diameters and their distance again: {change:.2f} mm over {read.apart_mm:g} mm "
        f"is the taper of no thread; 1:16 makes {read.apart_mm / 16:.2f} mm."
    )


def _angle(slip: Slip, read: HandReadings, ranked: Posterior) -> str:
    assert read.angle_deg is not None
    return (
        f"Hold the form gauge again: {read.angle_deg[0]:g} degrees does not go with the rest, "
        f"which fits {slip.size.designation} ({slip.size.angle_deg:g} degrees)."
    )


def _form(slip: Slip, read: HandReadings, ranked: Posterior) -> str:
    form = "taper" if slip.size.taper else "parallel"
    return (
        f"Measure two diameters a few turns apart: it is called {read.form}, but "
        f"{slip.size.designation}, which is {form}, fits as well."
    )


_WORDS: Mapping[str, Callable[[Slip, HandReadings, Posterior], str]] = {
    "leaf-step": _near_leaf,
    "leaf-other": _near_leaf,
    "leaf-unit": _leaf_unit,
    "leaf-any": _leaf_any,
    "diameter-unit": _inches,
    "diameter-any": _diameter_any,
    "worn": _worn,
    "second-any": _second,
    "angle-any": _angle,
    "form-parallel": _form,
    "form-taper": _form,
}
