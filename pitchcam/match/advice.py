"""The next measurement: which, with what is at hand, tells the leading candidates apart best."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pitchcam.match.means import CAST, EXTERNAL, INTERNAL, Means
from pitchcam.match.population import ANGLE, MAJOR, MINOR, PITCH, TAPER, population
from pitchcam.match.separation import separation
from pitchcam.normal import normal_cdf
from pitchcam.records import MM_PER_INCH, Gender, ThreadReading
from pitchcam.series import ThreadSize, load_uses, same_geometry

#: Two places for a taper lie five turns apart: what a short sender's thread has.
TURNS_APART = 5
#: The simpler measurement is named when it tells nearly as much apart as the best.
NEARLY_AS_GOOD = 0.9
#: A measurement that tells less than this share of what is open apart is not worth naming.
WORTH = 0.1
#: What one measurement gives is said for so many values, with so many sizes of each.
GROUPS, NAMES = 4, 3
#: Two candidates are told apart when their readings lie this many standard deviations apart: 99 %
#: of readings then fall on the right side of the middle (2 x 2.33).
TOLD_APART = 4.66


def best_measurement(
    sizes: Sequence[ThreadSize],
    probability: Sequence[float] | NDArray[np.float64],
    reading: ThreadReading,
    folder: Path | None = None,
    *,
    cast: bool = False,
) -> str:
    """Return in words the measurement that best tells the leading candidates apart.

    For each way to measure on, the separation of every two candidates is computed in standard
    deviations of reading and parts together; two measurements add in quadrature. The first single
    way in the order of ease that tells all apart is taken, else the first two that do, else what
    tells the most probability apart. ``cast`` says that a cast of the thread is at hand.
    """
    apart = distance_apart(sizes[0])
    parts = population(reading.gender, folder)
    rows = [parts.sizes.index(s) for s in sizes]
    pairs = [(i, j) for i in range(len(rows)) for j in range(i)]
    weight = np.array([float(probability[i] * probability[j]) for i, j in pairs])
    means = [m for m in ways(reading.gender, cast=cast) if _is_news(m, reading, apart)]
    distance = {
        m: np.array([separation(parts, rows[i], rows[j], m, apart) for i, j in pairs])
        for m in means
    }
    chosen = _choose(distance, weight)
    if not chosen:
        return _by_eye(sizes)
    said = [_say(m, sizes, reading.gender, apart) for m in chosen]
    casts = [m.needs_cast for m in chosen]
    if any(casts):
        # What needs no cast comes first, then a known plug, then the cast.
        said = [s for s, late in sorted(zip(said, casts, strict=True), key=lambda x: x[1])]
        said.insert(casts.count(False), _plug(sizes))
    text = " Then: ".join(said)
    left = np.sqrt(sum(distance[m] ** 2 for m in chosen)) < TOLD_APART
    return text + (f" {_by_eye(sizes)}" if len(chosen) > 1 and left.any() else "")


def distance_apart(size: ThreadSize) -> float:
    """Return how far apart two diameters are read for the taper, in mm."""
    return max(2.0, round(TURNS_APART * size.pitch_mm))


def ways(gender: Gender, *, cast: bool = False) -> tuple[Means, ...]:
    """Return the ways to measure a thread on, the easiest first."""
    if gender == "external":
        return EXTERNAL
    return CAST if cast else INTERNAL


def _choose(
    distance: Mapping[Means, NDArray[np.float64]], weight: NDArray[np.float64]
) -> tuple[Means, ...]:
    """Return one or two measurements, the more telling first; none where none is worth it."""
    best: tuple[Means, ...] = ()
    best_gain = WORTH
    for n in (1, 2):
        for some in itertools.combinations(distance, n):
            together = np.sqrt(sum(distance[m] ** 2 for m in some))
            if together.min() >= TOLD_APART:
                return tuple(sorted(some, key=lambda m: -_gain(distance[m], weight)))
            gain = _gain(together, weight)
            if gain * NEARLY_AS_GOOD > best_gain:
                best, best_gain = some, gain
    return tuple(sorted(best, key=lambda m: -_gain(distance[m], weight)))


def _gain(distance: NDArray[np.float64], weight: NDArray[np.float64]) -> float:
    """Return the share of the open pairs' weight that falls clear: 0 for none, 1 for all."""
    return float(weight @ (2 * normal_cdf(distance / 2) - 1) / weight.sum())


def tell_apart(first: ThreadSize, second: ThreadSize, gender: Gender) -> tuple[str, str, str]:
    """Return the one measurement that tells two sizes apart best: its name and both values."""
    parts, apart = population(gender), distance_apart(first)
    rows = parts.sizes.index(first), parts.sizes.index(second)
    means = ways(gender)
    distance = {m: separation(parts, *rows, m, apart) for m in means}
    enough = min(TOLD_APART, max(distance.values()))
    best = next(m for m in means if distance[m] >= enough)
    name = best.short.format(apart=apart)
    a, b = (_expected(best.quantity, s, gender, apart) for s in (first, second))
    return name, a, b


def _is_news(means: Means, reading: ThreadReading, apart: float) -> bool:
    """Return whether this measurement would be clearly better than the reading at hand."""
    held = {
        PITCH: reading.pitch_mm,
        MAJOR: reading.major_mm,
        MINOR: reading.minor_mm,
        ANGLE: reading.angle_deg,
        TAPER: reading.taper,
    }[means.quantity]
    return held is None or means.u_at(held.value, apart) < 0.7 * held.u


def _say(means: Means, sizes: Sequence[ThreadSize], gender: Gender, apart: float) -> str:
    """Return the measurement and what it gives for each size, sizes of one value together."""
    groups: dict[str, list[str]] = {}
    for s in sizes:
        groups.setdefault(_expected(means.quantity, s, gender, apart), []).append(s.designation)
    values = []
    for value, names in list(groups.items())[:GROUPS]:
        some = names if len(names) <= NAMES else [*names[:NAMES], f"{len(names) - NAMES} more"]
        said = ", ".join(some[:-1]) + f" and {some[-1]}" if len(some) > 1 else some[0]
        verb = value.replace("stays", "stay").replace("changes", "change")
        values.append(f"{said} {value if len(some) == 1 else verb}")
    return f"{means.tool.format(apart=apart)}: " + "; ".join(values) + "."


def _expected(quantity: int, size: ThreadSize, gender: Gender, apart: float) -> str:
    if quantity == PITCH:
        return f"{size.pitch_mm:.3f} mm ({MM_PER_INCH / size.pitch_mm:.4g} TPI)"
    if quantity == ANGLE:
        return f"{size.angle_deg:g} deg"
    if quantity == TAPER:
        return f"changes by {apart * size.taper:.2f} mm" if size.taper else "stays equal"
    low, high = real_range(size, gender)
    return f"{low:.2f} to {high:.2f} mm"


def real_range(size: ThreadSize, gender: Gender, *, cast: bool = False) -> tuple[float, float]:
    """Return the range of the diameter that a caliper reaches, over all classes, in mm.

    The major diameter of an external thread, at the small end face of a taper one; the minor
    diameter of an internal thread, at its mouth, or of a cast of it the major.
    """
    limits = size.limits(gender)
    zones = [(x.major_mm if gender == "external" or cast else x.minor_mm) for x in limits]
    shift = size.taper * (size.gauge_length_mm or 0.0) if gender == "external" else 0.0
    return min(z[0] for z in zones) - shift, max(z[1] for z in zones) - shift


def tell_twins(size: ThreadSize, gender: Gender, folder: Path | None = None) -> str | None:
    """Return what else tells the uses and twins of one geometry apart, or None if it has none."""
    seals: dict[str, list[str]] = {}
    for use in load_uses(folder):
        if use.twin and use.designation == size.designation and use.gender in (gender, "both"):
            seals.setdefault(use.seal, []).append(use.use)
    # A caution within goes with its case: "; " parts the cases.
    said = [
        f"{' or '.join(names)}: seals {seal.replace('; ', ', ')}" for seal, names in seals.items()
    ]
    if size.family in ("NPT", "NPTF"):
        said.append(
            "NPTF has the same size: look for its marking, or sharp unworn crests and "
            "roots; sealed with sealant either serves as NPT"
        )
    if size.family == "G" and gender == "internal":
        said.append("Rp has the same size: G has a sealing face round its mouth, Rp has none")
    if size.designation.startswith("1/4-26 BS"):
        said.append("the fine and the brass thread are one at 1/4 in")
    said += [
        f"{name} has the same crests and pitch, with rounded crests and a shallower thread: old "
        "cycle and motor-cycle parts"
        for name in same_geometry(size, gender, folder)
        if name.endswith(" BSC")
    ]
    if not said:
        return None
    return "One size serves several uses, told apart by seat or marking: " + "; ".join(said) + "."


def _plug(sizes: Sequence[ThreadSize]) -> str:
    names = [s.designation for s in sizes[:NAMES]]
    return f"Try a known plug of {' or '.join(names)} by hand, without force."


def _by_eye(sizes: Sequence[ThreadSize]) -> str:
    names = ", ".join(s.designation for s in sizes[:4])
    return (
        f"Size hardly tells {names} apart: try a known mate by hand without force, or compare "
        "the marking and the part it came from."
    )
