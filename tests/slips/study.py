"""The rows of the slip table, and their counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.match.hand import HandReadings
from pitchcam.match.hand_posterior import hand_posterior
from pitchcam.match.priors import prior_weights
from pitchcam.records import Gender
from pitchcam.series import ThreadSize
from tests.slips.draw import What, careful, large_end_first, leaves, mixed, port, sizes
from tests.slips.judge import judge

Array = NDArray[np.float64]
Draw = Callable[[ThreadSize, np.random.Generator, int], list[HandReadings]]
#: From here on a wrong name is a sure one.
SURE = 0.99
#: An inch leaf held to a metric thread passes for its own up to this far off.
PASSES = (0.004, 0.025)
LOW_CRESTS_MM = 0.3


@dataclass(frozen=True, kw_only=True)
class Row:
    """One row: its sizes, how they are read, whether drawn as often as met, and with a judge."""

    title: str
    draw: Draw
    which: Callable[[ThreadSize], bool] = lambda size: True
    as_met: bool = False
    with_judge: bool = False
    stated: bool = False
    gender: Gender = "external"


@dataclass
class Beside:
    """The ideal judge's counts, and the wrong names that only one of the two gives."""

    named: int = 0
    wrong: int = 0
    ours_alone: int = 0
    judge_alone: int = 0


@dataclass
class Count:
    """Counts of one row; ``stated`` is how many sure names should be wrong by what they say."""

    title: str
    n: int = 0
    named: int = 0
    wrong: int = 0
    sure_wrong: int = 0
    stated: float | None = None
    judge: Beside | None = None
    pairs: Counter[str] = field(default_factory=Counter)


def run(row: Row, number: int, seed: int) -> Count:
    """Return the counts of one row over at least ``number`` readings."""
    every = sizes(row.gender)
    which = np.array([k for k, s in enumerate(every) if row.which(s) and has_leaf(s)])
    prior = prior_weights(every, None) if row.as_met else np.ones(len(every))
    count = Count(
        title=row.title,
        stated=0.0 if row.stated else None,
        judge=Beside() if row.with_judge else None,
    )
    for k, n in zip(which, _shares(prior[which], number, seed), strict=True):
        if n:
            rng = np.random.default_rng([seed, int(k)])
            for read in row.draw(every[k], rng, int(n)):
                if read.pitch_mm is not None and len(read.pitch_mm):
                    _count(count, int(k), read, prior)
    return count


def has_leaf(size: ThreadSize) -> bool:
    """Return whether any leaf fits: of 11 to 16 BA and M x 0.2 a hand says that none does."""
    return abs(leaves(size).right / size.pitch_mm - 1) < 0.005


def _shares(prior: Array, number: int, seed: int) -> NDArray[np.intp]:
    if np.ptp(prior) == 0:
        return np.full(len(prior), -(-number // len(prior)))
    drawn = np.random.default_rng([seed, 7]).multinomial(number, prior / prior.sum())
    return np.asarray(drawn, dtype=np.intp)


def _count(count: Count, k: int, read: HandReadings, prior: Array) -> None:
    after = hand_posterior(read)
    names, top = after.names(), after.probability.max(axis=1)
    wrong = (names >= 0) & (names != k)
    count.n += len(names)
    count.named += int((names >= 0).sum())
    count.wrong += int(wrong.sum())
    count.sure_wrong += int((wrong & (top >= SURE)).sum())
    if count.stated is not None:
        count.stated += float((1 - top)[(names >= 0) & (top >= SURE)].sum())
    for other in names[wrong]:
        count.pairs[f"{after.sizes[k].designation} as {after.sizes[other].designation}"] += 1
    if count.judge is not None:
        judged = judge(read, prior).names
        fooled = (judged >= 0) & (judged != k)
        count.judge.named += int((judged >= 0).sum())
        count.judge.wrong += int(fooled.sum())
        count.judge.ours_alone += int((wrong & ~fooled).sum())
        count.judge.judge_alone += int((fooled & ~wrong).sum())


def _careful(what: What) -> Draw:
    return lambda size, rng, n: [careful(size, what, rng, n)]


def _turned(size: ThreadSize, rng: np.random.Generator, n: int) -> list[HandReadings]:
    return [large_end_first(careful(size, What(two=True, angle=True), rng, n))]


def _mixed(what: What) -> Draw:
    return lambda size, rng, n: mixed(size, what, rng, n)


def _passing(size: ThreadSize) -> list[float]:
    """Return the inch leaves that pass for a metric thread's own."""
    if size.family not in ("M", "M taper"):
        return []
    low, high = PASSES
    return [x for x in set(leaves(size).other) if low <= abs(x / size.pitch_mm - 1) <= high]


def _inch_leaf(size: ThreadSize, rng: np.random.Generator, n: int) -> list[HandReadings]:
    return [replace(careful(size, What(), rng, n), pitch_mm=rng.choice(sorted(_passing(size)), n))]


def _step_off(size: ThreadSize, rng: np.random.Generator, n: int) -> list[HandReadings]:
    return [replace(careful(size, What(), rng, n), pitch_mm=rng.choice(leaves(size).beside, n))]


def _low(what: What) -> Draw:
    def draw(size: ThreadSize, rng: np.random.Generator, n: int) -> list[HandReadings]:
        read = careful(size, what, rng, n)
        assert read.diameter_mm is not None
        if what.form:
            read = replace(read, form="parallel")
        # No more is worn off than a quarter of the pitch: fine threads have not 0.3 mm to lose.
        loss = min(LOW_CRESTS_MM, 0.25 * size.pitch_mm)
        return [replace(read, diameter_mm=read.diameter_mm - loss)]

    return draw


def _all_kinds(size: ThreadSize, rng: np.random.Generator, n: int) -> list[HandReadings]:
    """Return the stated mix over the ways in which a thread is read, each as often."""
    kinds = (What(), What(form=True), What(angle=True), What(two=True), What(two=True, angle=True))
    return [
        read
        for i, what in enumerate(kinds)
        for read in mixed(size, what, rng, len(range(i, n, len(kinds))))
    ]


def _tapered(size: ThreadSize) -> bool:
    return bool(size.taper)


ROWS: Sequence[Row] = (
    Row(
        title="tapers, two diameters, large end first",
        which=_tapered,
        draw=lambda s, rng, n: [large_end_first(careful(s, What(two=True), rng, n))],
    ),
    Row(title="tapers, the same with a form gauge", which=_tapered, draw=_turned),
    Row(title="anywhere on the thread, one diameter", draw=_careful(What())),
    Row(title="the same with a form gauge", draw=_careful(What(angle=True))),
    Row(title="careful, two diameters", draw=_careful(What(two=True))),
    Row(title="careful, two diameters and form gauge", draw=_careful(What(two=True, angle=True))),
    Row(title="careful, with --form", draw=_careful(What(form=True))),
    Row(
        title="ports, one bore anywhere",
        gender="internal",
        draw=lambda s, rng, n: [port(s, two=False, rng=rng, n=n)],
    ),
    Row(
        title="ports, two bores",
        gender="internal",
        draw=lambda s, rng, n: [port(s, two=True, rng=rng, n=n)],
    ),
    Row(
        title="inch leaf on a metric part",
        draw=_inch_leaf,
        with_judge=True,
        which=lambda s: bool(_passing(s)),
    ),
    Row(
        title="inch leaf on a metric part, as met",
        draw=_inch_leaf,
        with_judge=True,
        which=lambda s: bool(_passing(s)),
        as_met=True,
    ),
    Row(title="leaf one step off", draw=_step_off, with_judge=True),
    Row(title="leaf one step off, as met", draw=_step_off, with_judge=True, as_met=True),
    Row(title="crests 0.3 mm low", draw=_low(What()), with_judge=True),
    Row(title="crests 0.3 mm low, as met", draw=_low(What()), with_judge=True, as_met=True),
    Row(
        title="crests 0.3 mm low, read parallel",
        draw=_low(What(form=True)),
        with_judge=True,
        which=lambda s: not s.taper,
    ),
    Row(
        title="crests 0.3 mm low, read parallel, as met",
        draw=_low(What(form=True)),
        with_judge=True,
        which=lambda s: not s.taper,
        as_met=True,
    ),
    Row(title="mix with the stated slips", draw=_all_kinds, with_judge=True),
    Row(
        title="mix with the stated slips, as met",
        draw=_all_kinds,
        with_judge=True,
        as_met=True,
        stated=True,
    ),
)


def common_sizes(seed: int, n: int = 60) -> dict[str, float]:
    """Return the share of careful readings named, for each common size, by leaf and --form."""
    found = {}
    for k, size in enumerate(sizes()):
        if size.commonness == "common":
            rng = np.random.default_rng([seed, k, 9])
            names = hand_posterior(careful(size, What(form=True), rng, n)).names()
            found[size.designation] = float((names == k).mean())
    return found
