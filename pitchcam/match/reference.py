"""Whether a photo's reference is what it was stated to be: one statement of evidence.

Pitch over diameter is free of scale, and so are angle, taper and form. At the stated size of the
reference the threads of a photo are such as exist, or they are not; at another size they may be.
Each other size competes as an explanation, at the share of photos in which it is met
(``slips.csv``, ``references.csv``). What threads are called is then the sum over all explanations:
a name that only a coincidence makes fit does not stand, and where another size explains all of
them, the photo says so.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.held import HELD_MM, U_HELD
from pitchcam.flags import flag
from pitchcam.frozen import dataclass
from pitchcam.match.evidence import log_evidences, with_common
from pitchcam.match.naming import NAMED, name_thread
from pitchcam.match.reference_words import WORDS, asked, size_words, told_how
from pitchcam.match.scales import LEFT_OUT, Scales
from pitchcam.match.slips import slip_shares
from pitchcam.records import Flag, PartResult, ScaleSpec, ThreadReading, ThreadResult, Verdict
from pitchcam.reference_kinds import CARD_MM
from pitchcam.series.table import read_table

Array = NDArray[np.float64]
KINDS = ("pin", "disc", "card", "jaws", "major", "sheet")
#: A wrong size is within these ratios of the stated one: farther off nobody mistakes it.
RATIOS = (1 / 1.7, 1.7)
#: Sizes nearer to the stated one than this are it, as worn or as read.
NEAR = 0.03
#: Share of wrong references that have none of the listed sizes but any, and the ratios these have:
#: jaws move and the wrong crests are read by anything, a sheet shrinks with the page (judgement).
ANY = {
    "pin": (0.2, RATIOS),
    "disc": (0.3, RATIOS),
    "card": (0.1, (0.9, 1.1)),
    "jaws": (0.7, RATIOS),
    "major": (0.7, RATIOS),
    "sheet": (1.0, (0.9, 1.03)),
}
#: A caliper's dial or main scale is misread by a whole turn or line, which is a millimetre.
MISREAD_MM = {"jaws": 1.0, "major": 1.0}
#: Any size is tried in steps, each with so much doubt of its own that none is missed; the best is
#: then looked at as finely as a pitch is known. Any size nearer than a step is the stated one.
STEP, FINE = 0.010, 0.002
#: From this probability on that the reference is of another size, a name says what it would then
#: be: one photo cannot tell M8x1 beside a pin of 8 mm from M10x1.25 beside one of 10; how many
#: sizes are said, and among how many they are looked for.
SAID, MOST_SAID, MOST_TRIED = 0.003, 2, 6
#: How often another reference lies there than was stated is known to a factor: tasks done with
#: scant attention fail in 0.09, routine ones in 0.02 (the source in ``slips.csv``), and 0.04 is
#: counted. A name has to stand at the odds of scant attention as well.
SCANT = (0.09 / 0.91) / (0.04 / 0.96)
#: A pitch whose reference is told in this share of the explanations is told.
TOLD = 0.5
#: A batch's reference is doubted from this probability on, and by two threads or more.
DOUBTED, FEWEST = 0.9, 2


@dataclass(frozen=True, kw_only=True, slots=True)
class SizeBelief:
    """What the reference may be: the explanations of the scale, the first as stated.

    ``sizes_mm`` is the reference's size under each, ``ratio`` the likeliest other one over the
    stated one, ``share`` the part of all that is wrong which lies there, ``threads`` how many told
    and ``wrong_before`` the probability that the stated size is wrong before they were asked.
    """

    scales: Scales
    sizes_mm: tuple[float, ...]
    ratio: float
    share: float
    threads: int
    wrong_before: float = 0.0

    @property
    def listed(self) -> bool:
        """Whether the likeliest other size is one that such references usually have."""
        return bool(np.isin(self.ratio, self.scales.ratio))

    @property
    def wrong(self) -> float:
        """Probability that the stated size is wrong."""
        return 1 - float(self.scales.weight[0])

    @property
    def mute(self) -> bool:
        """Whether the threads say nothing of the size: without crests they fit beside many."""
        return self.wrong <= self.wrong_before and self.share < TOLD

    @property
    def other_mm(self) -> float:
        """The likeliest other size."""
        return self.sizes_mm[0] * self.ratio


@functools.lru_cache(maxsize=16)
def _usual(kind: str, folder: Path | None) -> tuple[tuple[float, float], ...]:
    """Return (size in mm, weight) of what a kind of reference usually is."""
    found: dict[float, float] = {}
    for row in read_table("references.csv", folder):
        if row.choice("kind", KINDS) != kind:
            continue
        low, high, step = (row.number(c) for c in ("from_mm", "to_mm", "step_mm"))
        weight = row.number("weight")
        row.text("source")
        for i in range(int((high - low) / step + 1e-6) + 1):
            size = round(low + i * step, 4)
            found[size] = found.get(size, 0.0) + weight
    return tuple(sorted(found.items()))


def stated_mm(spec: ScaleSpec) -> float | None:
    """Return the stated size of a reference, a card's width, a sheet's bar; None for none."""
    if spec.source == "card":
        return CARD_MM[0]
    if spec.source in ("auto", "sheet"):
        return 100.0
    return spec.mm


def explanations(spec: ScaleSpec, folder: Path | None = None) -> tuple[Scales, tuple[float, ...]]:
    """Return what the scale may be before a thread was seen, and the reference's size under each.

    The first explanation is the stated size.
    """
    kind = "sheet" if spec.source == "auto" else spec.source
    mm = stated_mm(spec)
    if mm is None or kind not in ANY or (kind == "sheet" and spec.sheet_bar_mm is not None):
        alone = np.ones(1)
        return Scales(ratio=alone, spread=np.zeros(1), weight=alone), (mm or 1.0,)
    wrong = slip_shares(folder)[f"reference-{kind}"]
    share, (low, high) = ANY[kind]
    off = MISREAD_MM.get(kind)
    sizes = _usual(kind, folder) if off is None else ((mm - off, 1.0), (mm + off, 1.0))
    usual = [
        (size / mm, weight)
        for size, weight in sizes
        if abs(size / mm - 1) > (NEAR if kind != "card" else 0.0) and low <= size / mm <= high
    ]
    share = share if usual else 1.0
    steps = np.arange(math.log(low), math.log(high), STEP)
    steps = steps[np.abs(steps) > STEP]
    ratio = np.array([1.0, *(r for r, _ in usual), *np.exp(steps)])
    listed = np.array([w for _, w in usual])
    weight = np.concatenate(
        [
            [1 - wrong],
            wrong * (1 - share) * listed / max(listed.sum(), 1e-9),
            np.full(len(steps), wrong * share / len(steps)),
        ]
    )
    spread = np.concatenate([np.zeros(1 + len(usual)), np.full(len(steps), STEP / 2)])
    return (
        Scales(ratio=ratio, spread=spread, weight=weight / weight.sum()),
        tuple(float(mm * r) for r in ratio),
    )


def size_belief(
    readings: Sequence[ThreadReading],
    spec: ScaleSpec,
    distance_mm: float | None = None,
    folder: Path | None = None,
) -> SizeBelief:
    """Return what the threads of one photo say of its reference.

    Parameters
    ----------
    readings : sequence of ThreadReading
        The threads that share the reference; those without pitch or diameter tell nothing.
    spec : ScaleSpec
        The reference as stated.
    distance_mm : float, optional
        The camera's from the plate as the stated size gives it; another size puts it elsewhere,
        where a phone is held more often or less.
    folder : Path, optional
        Another folder of tables.
    """
    held = [r for r in readings if r.pitch_mm is not None and r.major_mm is not None]
    prior, sizes = explanations(spec, folder)
    if distance_mm is not None and math.isfinite(distance_mm) and distance_mm > 0:
        away = np.log(distance_mm * prior.ratio / HELD_MM) / U_HELD
        weight = prior.weight * np.exp(-0.5 * (away**2 - away[0] ** 2))
        prior = replace(prior, weight=weight / weight.sum())
    before = 1 - float(prior.weight[0])
    if not held or len(sizes) == 1:
        found = SizeBelief(scales=prior, sizes_mm=sizes, ratio=1.0, share=0.0, threads=0)
    else:
        found = _belief(prior.after(held), sizes, held)
    return replace(found, wrong_before=before)


def _belief(after: Scales, sizes: tuple[float, ...], held: Sequence[ThreadReading]) -> SizeBelief:
    rest = after.weight[1:]
    best = 1 + int(rest.argmax())
    ratio = float(after.ratio[best])
    # Neighbours of an open size are the same explanation.
    near = np.abs(np.log(after.ratio / ratio)) < 2 * STEP
    near[0] = False
    if after.spread[best] > 0:
        fine = ratio * np.exp(np.arange(-1.5 * STEP, 1.5 * STEP, FINE))
        fit = np.sum([log_evidences(with_common(r, FINE / 2), fine) for r in held], axis=0)
        weight = np.exp(fit - fit.max())
        ratio = float((weight * fine).sum() / weight.sum())
    share = float(after.weight[near].sum() / max(rest.sum(), 1e-300))
    return SizeBelief(scales=after, sizes_mm=sizes, ratio=ratio, share=share, threads=len(held))


def agreeing(readings: Sequence[ThreadReading], ratio: float) -> int:
    """Return how many threads are of some series if all lengths are ``ratio`` times as long."""
    verdicts = (
        name_thread(r, scales=_one(ratio))
        for r in readings
        if r.pitch_mm is not None and r.major_mm is not None
    )
    return sum(v.status != "off-series" for v in verdicts)


def _one(ratio: float, spread: float = 0.0) -> Scales:
    wide = np.array([max(spread, FINE)])
    return Scales(ratio=np.array([ratio]), spread=wide, weight=np.ones(1))


def belief_of(parts: Sequence[PartResult], spec: ScaleSpec, distance_mm: float) -> SizeBelief:
    """Return what the threads of a photo's parts say of its reference; see :func:`size_belief`."""
    threads = [t for p in parts for t in p.threads if t.verdict.status != "unreadable"]
    return size_belief([t.reading for t in threads], spec, distance_mm)


def doubted(
    parts: list[PartResult], spec: ScaleSpec, belief: SizeBelief, flags: list[Flag]
) -> list[PartResult]:
    """Return the parts with names that stand against other sizes of the reference.

    Names that do not are undone, and a flag says what the reference would have to be.
    """
    threads = [t for p in parts for t in p.threads if t.verdict.status != "unreadable"]
    if not threads or belief.wrong < LEFT_OUT:
        return parts
    scales = belief.scales.likely()
    again = {id(t): _again(t, belief, scales, spec) for t in threads}
    undone = any(
        t.verdict.status == "named" and again[id(t)].verdict.status != "named" for t in threads
    )
    if not undone and belief.wrong < TOLD:
        return [_with(p, again) for p in parts]
    flags.append(flag("reference-size", doubt_words(belief, spec), told_how(spec.source)))
    return [_with(p, again) for p in parts]


def _with(part: PartResult, again: dict[int, ThreadResult]) -> PartResult:
    return replace(part, threads=tuple(again.get(id(t), t) for t in part.threads))


def doubt_words(belief: SizeBelief, spec: ScaleSpec) -> str:
    """Return what is said of a doubted reference, with the size that would fit."""
    what, verb = WORDS["sheet" if spec.source == "auto" else spec.source]
    # One thread that any size would make fit may as well be of no series.
    sure = belief.wrong >= TOLD and (belief.listed or belief.threads > 1)
    plural = spec.source in ("jaws", "major")
    seems = ("do not seem to" if plural else "does not seem to") if sure else "may not"
    says = f"{what} {seems} {verb} {belief.sizes_mm[0]:g} mm"
    if belief.share < TOLD:
        return f"{says}: several other sizes would fit"
    about = "" if belief.listed else "about "
    return (
        f"{says}: with {about}{size_words(belief.other_mm, belief.listed)} mm everything would fit"
    )


def _again(
    thread: ThreadResult, belief: SizeBelief, scales: Scales, spec: ScaleSpec
) -> ThreadResult:
    """Return a thread with its verdict over all explanations of the scale."""
    stated = thread.verdict
    if stated.status == "off-series" and (thread.reading.starts > 1 or belief.wrong < TOLD):
        return thread
    verdict = name_thread(thread.reading, scales=scales)
    if stated.status == "named" and verdict.status == "named" and belief.wrong < TOLD:
        scant = _at_scant_odds(thread.reading, verdict, belief)
        if scant.status == "named":
            notes = (*verdict.notes, *_rests_on(thread, verdict, belief, spec))
            return replace(thread, verdict=replace(verdict, notes=notes))
        verdict = scant
    if stated.status == "ambiguous" and belief.wrong < TOLD:
        # The next step is still that between the threads, at the scale as stated.
        return replace(
            thread, verdict=replace(stated, candidates=verdict.candidates or stated.candidates)
        )
    kind = "sheet" if spec.source == "auto" else spec.source
    what, _ = WORDS[kind]
    other, instead = _instead(thread.reading, belief)
    return replace(
        thread,
        verdict=Verdict(
            status="ambiguous",
            candidates=verdict.candidates,
            notes=(
                *stated.notes,
                f"As stated it would be {_first(stated)}; with {what} of {other} mm {instead}.",
            ),
            next_step=f"{asked(kind)} {belief.sizes_mm[0]:g} or {other} mm?",
        ),
    )


def _at_scant_odds(reading: ThreadReading, verdict: Verdict, belief: SizeBelief) -> Verdict:
    """Return the verdict with wrong references as frequent as where nobody looks closely."""
    if belief.mute or SCANT * (1 - (verdict.probability or 0.0)) < 1 - NAMED:
        return verdict
    return name_thread(reading, scales=belief.scales.doubted(SCANT).likely())


def _rests_on(
    thread: ThreadResult, verdict: Verdict, belief: SizeBelief, spec: ScaleSpec
) -> tuple[str, ...]:
    """Return the note of what a named thread would be beside another size, or none."""
    if belief.wrong < SAID:
        return ()
    others = itertools.islice(_other_names(thread.reading, verdict, belief), MOST_SAID)
    said = [f"with {size} mm it would be {first}" for size, first in others]
    if not said:
        return ()
    what, verb = WORDS["sheet" if spec.source == "auto" else spec.source]
    verb = "is" if verb == "be" else verb
    return (f"That {what} {verb} {belief.sizes_mm[0]:g} mm is taken as stated; {', '.join(said)}.",)


def _instead(reading: ThreadReading, belief: SizeBelief) -> tuple[str, str]:
    """Return the other size that is asked for, in words, and what the thread would then be."""
    # Threads that tell nothing of the size leave the usual ones.
    usual = float(belief.scales.ratio[1 + int(belief.scales.weight[1:].argmax())])
    ratio = belief.ratio if belief.threads else usual
    best = name_thread(reading, scales=_one(ratio))
    listed = bool(np.isin(ratio, belief.scales.ratio))
    return size_words(belief.sizes_mm[0] * ratio, listed), _first(best)


def _other_names(
    reading: ThreadReading, verdict: Verdict, belief: SizeBelief
) -> Iterator[tuple[str, str]]:
    """Yield the reference's likeliest other sizes, in words, and the other name at each."""
    scales, names = belief.scales, {verdict.designation, *verdict.same_geometry}
    for k in 1 + np.argsort(-scales.weight[1:], kind="stable")[:MOST_TRIED]:
        open_ = float(scales.spread[k])
        instead = name_thread(reading, scales=_one(float(scales.ratio[k]), open_))
        first = _first(instead)
        if first in names or not instead.candidates or instead.candidates[0].probability < TOLD:
            continue
        yield f"about {belief.sizes_mm[k]:.3g}" if open_ else f"{belief.sizes_mm[k]:.4g}", first
        names.add(first)


def _first(verdict: Verdict) -> str:
    if verdict.status == "off-series" or not verdict.candidates:
        return "of no series"
    return verdict.candidates[0].designation


def box_doubt(
    readings: Sequence[ThreadReading], spec: ScaleSpec, folder: Path | None = None
) -> str | None:
    """Return what threads of many photos say of the one reference stated for all, or None."""
    held = [r for r in readings if r.pitch_mm is not None and r.major_mm is not None]
    belief = size_belief(held, spec, folder=folder)
    if belief.wrong < DOUBTED:
        return None
    agree = agreeing(held, belief.ratio)
    if agree < max(FEWEST, len(held) / 2):
        return None
    size = f"{belief.other_mm:.2f} mm ({belief.sizes_mm[0]:g} mm was stated)"
    return (
        f"Measure the reference: {agree} of {len(held)} threads fit the series if it is {size}; "
        "then state that and measure again."
    )
