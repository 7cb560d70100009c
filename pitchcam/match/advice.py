"""The next measurement: which, with what is at hand, tells the leading candidates apart best."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pitchcam.match.means import EXTERNAL, INTERNAL, Means
from pitchcam.match.population import ANGLE, MAJOR, MINOR, PITCH, TAPER, Population, population
from pitchcam.records import MM_PER_INCH, Gender, ThreadReading
from pitchcam.series import ThreadSize, load_uses

#: Two places for a taper lie five turns apart: what a short sender's thread has.
TURNS_APART = 5
#: The simpler measurement is named when it tells nearly as much apart as the best.
NEARLY_AS_GOOD = 0.9
#: A measurement that tells less than this share of what is open apart is not worth naming.
WORTH = 0.1
#: Two candidates are told apart when their readings lie this many standard deviations apart: 99 %
#: of readings then fall on the right side of the middle (2 x 2.33).
TOLD_APART = 4.66


def best_measurement(
    sizes: Sequence[ThreadSize], probability: Sequence[float] | np.ndarray, reading: ThreadReading
) -> str:
    """Return in words the measurement that best tells the leading candidates apart.

    For each way to measure on, the separation of every two candidates is computed in standard
    deviations of reading and parts together; the way that tells the most probability apart is
    taken, and a second one for what it leaves.
    """
    parts = population(reading.gender)
    apart = max(2.0, round(TURNS_APART * sizes[0].pitch_mm))
    rows = [_index(parts, s) for s in sizes]
    pairs = [(i, j) for i in range(len(rows)) for j in range(i)]
    weight = {(i, j): float(probability[i] * probability[j]) for i, j in pairs}
    means = [m for m in (EXTERNAL if reading.gender == "external" else INTERNAL)
             if _is_news(m, reading, apart)]  # fmt: skip
    said = []
    left = set(pairs)
    for _ in range(2):
        apart_by = {
            m: {p: _separation(parts, rows[p[0]], rows[p[1]], m, apart) for p in left}
            for m in means
        }
        gain = {m: sum(weight[p] * _power(d) for p, d in apart_by[m].items()) for m in means}
        if not left or not gain or max(gain.values()) < WORTH * sum(weight[p] for p in left):
            break
        enough = NEARLY_AS_GOOD * max(gain.values())
        best = next(m for m in means if gain[m] >= enough)
        said.append(_say(best, sizes, reading.gender, apart))
        left -= {p for p, d in apart_by[best].items() if d >= TOLD_APART}
        means.remove(best)
    if not said:
        return _by_eye(sizes)
    text = " Then: ".join(said)
    return text + (f" {_by_eye(sizes)}" if left and len(said) == 2 else "")


def _power(separation: float) -> float:
    """Return the share of readings that fall clear of the middle: 0 for none, 1 for all."""
    return math.erf(separation / (2 * math.sqrt(2)))


def _index(parts: Population, size: ThreadSize) -> int:
    return parts.sizes.index(size)


def _separation(parts: Population, i: int, j: int, means: Means, apart: float) -> float:
    """Return how far two sizes' readings lie apart, in standard deviations of one of them."""
    a, b = _typical(parts, i, means.quantity), _typical(parts, j, means.quantity)
    spread = math.sqrt((a[1] ** 2 + b[1] ** 2) / 2 + means.u_at(max(a[0], b[0]), apart) ** 2)
    return abs(a[0] - b[0]) / spread


def _typical(parts: Population, i: int, quantity: int) -> tuple[float, float]:
    """Return mean and standard deviation of one quantity over a size's parts, at the small end."""
    weight = np.exp(parts.log_weight[i])
    values = parts.mean[i, :, quantity]
    mean = float(weight @ values)
    variance = float(weight @ (values - mean) ** 2) + float(parts.covariance[i, quantity, quantity])
    if quantity in (MAJOR, MINOR):
        mean -= float(parts.taper[i] * parts.gauge_length_mm[i])
    return mean, math.sqrt(variance)


def _is_news(means: Means, reading: ThreadReading, apart: float) -> bool:
    """Return whether this measurement would be clearly better than the reading at hand."""
    held = {
        PITCH: reading.pitch_mm, MAJOR: reading.major_mm, MINOR: reading.minor_mm,
        ANGLE: reading.angle_deg, TAPER: reading.taper,
    }[means.quantity]  # fmt: skip
    return held is None or means.u_at(held.value, apart) < 0.7 * held.u


def _say(means: Means, sizes: Sequence[ThreadSize], gender: Gender, apart: float) -> str:
    shown = sizes[:4]
    values = [f"{s.designation} {_expected(means.quantity, s, gender, apart)}" for s in shown]
    return f"{means.tool.format(apart=apart)}: " + ", ".join(values) + "."


def _expected(quantity: int, size: ThreadSize, gender: Gender, apart: float) -> str:
    if quantity == PITCH:
        return f"{size.pitch_mm:.3f} mm ({MM_PER_INCH / size.pitch_mm:.4g} TPI)"
    if quantity == ANGLE:
        return f"{size.angle_deg:g} deg"
    if quantity == TAPER:
        return f"changes by {apart * size.taper:.2f} mm" if size.taper else "stays equal"
    low, high = real_range(size, gender)
    return f"{low:.2f} to {high:.2f} mm"


def real_range(size: ThreadSize, gender: Gender) -> tuple[float, float]:
    """Return the range of the diameter that a caliper reaches, over all classes, in mm.

    The major diameter of an external thread, at the small end face of a taper one; the minor
    diameter of an internal thread, at its mouth.
    """
    limits = size.limits(gender)
    zones = [(x.major_mm if gender == "external" else x.minor_mm) for x in limits]
    shift = size.taper * (size.gauge_length_mm or 0.0) if gender == "external" else 0.0
    return min(z[0] for z in zones) - shift, max(z[1] for z in zones) - shift


def tell_twins(size: ThreadSize, gender: Gender) -> str | None:
    """Return what else tells the uses and twins of one geometry apart, or None if it has none."""
    seals: dict[str, list[str]] = {}
    for use in load_uses():
        if use.twin and use.designation == size.designation and use.gender in (gender, "both"):
            seals.setdefault(use.seal, []).append(use.use)
    said = [f"{' or '.join(names)}: seals {seal}" for seal, names in seals.items()]
    if size.family in ("NPT", "NPTF"):
        said.append("NPTF has the same size: look for its marking, or sharp unworn crests and "
                    "roots; sealed with sealant either serves as NPT")  # fmt: skip
    if size.family == "G" and gender == "internal":
        said.append("Rp has the same size: G has a sealing face round its mouth, Rp has none")
    if size.designation.startswith("1/4-26 BS"):
        said.append("the fine and the brass thread are one at 1/4 in")
    if not said:
        return None
    return "The size is one, its use is told by the seat: " + "; ".join(said) + "."


def _by_eye(sizes: Sequence[ThreadSize]) -> str:
    names = ", ".join(s.designation for s in sizes[:4])
    return (f"Size hardly tells {names} apart: try a known mate by hand without force, or compare "
            "the marking and the part it came from.")  # fmt: skip
