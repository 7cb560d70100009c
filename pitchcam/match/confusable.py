"""Which sizes are easily taken for each other, and what tells each pair apart."""

from __future__ import annotations

import math
from collections.abc import Iterable

from pitchcam.frozen import dataclass
from pitchcam.match.advice import tell_apart
from pitchcam.match.means import Means
from pitchcam.match.population import MAJOR, MINOR, PITCH, Population, population
from pitchcam.match.separation import separation
from pitchcam.records import Gender
from pitchcam.series import ThreadSize

#: What an eye with a rule and a leaf held loosely tells: 0.15 mm and 2.5 percent (judgement).
LOOSE_MAJOR = Means(quantity=MAJOR, u=0.15, tool="", short="")
LOOSE_MINOR = Means(quantity=MINOR, u=0.15, tool="", short="")
LOOSE_PITCH = Means(quantity=PITCH, u=0.025, relative=True, tool="", short="")
#: Pairs nearer than this many standard deviations of such a look are easily confused.
EASILY = 3.5


@dataclass(frozen=True, kw_only=True, slots=True)
class Confusable:
    """Two sizes taken for each other: how near they look, and the measurement that tells.

    ``values`` is what that measurement gives for the first and for the second.
    """

    first: ThreadSize
    second: ThreadSize
    nearness: float
    measurement: str
    values: tuple[str, str]


def confusables(size: ThreadSize, gender: Gender = "external") -> tuple[Confusable, ...]:
    """Return what one size is easily taken for, nearest first; twins of its geometry left out."""
    parts = population(gender)
    if size not in parts.sizes:
        return ()
    i, seen, found = parts.sizes.index(size), {size.geometry}, []
    for j, other in enumerate(parts.sizes):
        if other.geometry in seen or abs(other.basic_major_mm - size.basic_major_mm) > 3:
            continue
        near = _nearness(parts, i, j, gender)
        if near < EASILY:
            seen.add(other.geometry)
            found.append(_pair(size, other, near, gender))
    return tuple(sorted(found, key=lambda c: c.nearness))


def confused_pairs(
    sizes: Iterable[ThreadSize], gender: Gender = "external"
) -> tuple[Confusable, ...]:
    """Return every easily confused pair among some sizes, each pair once, nearest first."""
    chosen, done, found = {s.geometry: s for s in sizes}, set(), []
    for size in chosen.values():
        for c in confusables(size, gender):
            pair = frozenset((size.geometry, c.second.geometry))
            if c.second.geometry in chosen and pair not in done:
                done.add(pair)
                found.append(c)
    return tuple(sorted(found, key=lambda c: c.nearness))


def _nearness(parts: Population, i: int, j: int, gender: Gender) -> float:
    crest = LOOSE_MAJOR if gender == "external" else LOOSE_MINOR
    apart = (separation(parts, i, j, what, 1.0) for what in (crest, LOOSE_PITCH))
    return math.hypot(*apart)


def _pair(first: ThreadSize, second: ThreadSize, near: float, gender: Gender) -> Confusable:
    name, a, b = tell_apart(first, second, gender)
    return Confusable(first=first, second=second, nearness=near, measurement=name, values=(a, b))
