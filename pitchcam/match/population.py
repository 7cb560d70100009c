"""What real parts of each size look like: the population that a reading is compared with.

Each size is a mixture of Gaussians over NAMING_QUANTITIES. The leading diameter (the major of an
external thread, the minor of an internal one) is spread evenly over its class limits, with a tail
for wear (external: smaller; internal: an oversize hole); it is cut into ``CELLS`` cells, each one
component. The other diameters of an external part follow it half way. All figures below are of
parts, not of reading.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pitchcam.records import NAMING_QUANTITIES, Gender
from pitchcam.series import ThreadSize, load_series
from pitchcam.series.records import Limits

Array = NDArray[np.float64]
PITCH, MAJOR, PITCH_DIAMETER, MINOR, ANGLE, TAPER = range(len(NAMING_QUANTITIES))
DIAMETERS = (MAJOR, PITCH_DIAMETER, MINOR)

#: Cells of the leading diameter: narrower than a caliper's u for common tolerances (0.25 mm).
CELLS = 9
#: Lead error of commercial threads as a share of the pitch (judgement: within 0.2 %).
LEAD_SCATTER = 0.001
#: Included angle of rolled and cut parts in degrees (judgement: nearly all within 1 degree).
ANGLE_SCATTER_DEG = 0.5
#: A parallel thread is round and straight to 0.01 mm in 10; a taper within +17 and -8 percent
#: (ASME B1.20.1), taken as one standard deviation of 7 percent.
TAPER_SCATTER = (0.001, 0.07 / 16)
#: One part in five is worn; its crests are low by this share of the pitch on average (judgement:
#: 0.1 to 0.3 mm is seen on badly worn 1.5 mm threads).
WORN_SHARE, WEAR_OF_PITCH = 0.2, 0.05
#: The usual class makes most parts; the other classes share the rest (judgement).
USUAL_CLASS_SHARE = 0.7
#: Form errors beside the limits, as shares of the pitch (judgement). The root of an external thread
#: is limited by no standard from below.
FLANK_SCATTER, ROOT_SCATTER, CREST_SCATTER = 0.02, 0.06, 0.03
#: How far pitch and minor diameter of an external part follow one that is made low: half, between
#: parts turned from thin stock (not at all) and parts cut deep (fully). Inside, the tap makes the
#: flanks and the drill the bore: nothing follows.
FOLLOW = {"external": 0.5, "internal": 0.0}


@dataclass(frozen=True, kw_only=True, slots=True)
class Population:
    """Parts of every size of one gender.

    ``lead`` is the leading diameter's place in NAMING_QUANTITIES. ``mean`` has shape (sizes, cells,
    6), ``log_weight`` (sizes, cells), ``covariance`` (sizes, 6, 6), all at the gauge plane of taper
    sizes. ``gauge_length_mm``, ``useful_length_mm`` and ``taper`` have shape (sizes,), 0 for
    parallel sizes.
    """

    sizes: tuple[ThreadSize, ...]
    lead: int
    mean: Array
    log_weight: Array
    covariance: Array
    taper: Array
    gauge_length_mm: Array
    useful_length_mm: Array


@functools.lru_cache(maxsize=4)
def population(gender: Gender, folder: Path | None = None) -> Population:
    """Return the parts of every size that exists in one gender."""
    sizes = tuple(s for s in load_series(folder) if gender in s.genders and s.limits(gender))
    n = len(sizes)
    mean = np.zeros((n, CELLS, len(NAMING_QUANTITIES)))
    weight = np.zeros((n, CELLS))
    covariance = np.zeros((n, len(NAMING_QUANTITIES), len(NAMING_QUANTITIES)))
    for i, size in enumerate(sizes):
        mean[i], weight[i], covariance[i] = _parts(size, gender)
    external = gender == "external"
    return Population(
        sizes=sizes, lead=_lead(gender), mean=mean, log_weight=np.log(weight),
        covariance=covariance,
        taper=np.array([s.taper for s in sizes]),
        # An internal thread is read at its mouth, which is the gauge plane.
        gauge_length_mm=np.array([(s.gauge_length_mm or 0.0) * external for s in sizes]),
        useful_length_mm=np.array([(s.useful_length_mm or 0.0) * external for s in sizes]),
    )  # fmt: skip


def _parts(size: ThreadSize, gender: Gender) -> tuple[Array, Array, Array]:
    """Return cells' means (cells, 6), weights (cells,) and the covariance (6, 6) of one size."""
    lead = _lead(gender)
    sign = 1.0 if gender == "external" else -1.0
    zones = _zones(size, gender, lead)
    p = size.pitch_mm
    wear = WEAR_OF_PITCH * p
    low = min(z[0] for z in zones) - 3 * wear
    edges = np.linspace(low, max(z[1] for z in zones), CELLS + 1)
    cumulative = np.zeros(CELLS + 1)
    for share, zone in zip(_class_shares(len(zones)), zones, strict=True):
        cumulative += share * _worn_cdf(edges, zone, wear)
    weight = np.maximum(np.diff(cumulative), 1e-6)
    centre = (edges[:-1] + edges[1:]) / 2
    mean = np.zeros((CELLS, len(NAMING_QUANTITIES)))
    mean[:, PITCH], mean[:, ANGLE], mean[:, TAPER] = p, size.angle_deg, size.taper
    covariance = np.zeros((len(NAMING_QUANTITIES), len(NAMING_QUANTITIES)))
    covariance[PITCH, PITCH] = (LEAD_SCATTER * p) ** 2
    covariance[ANGLE, ANGLE] = ANGLE_SCATTER_DEG**2
    covariance[TAPER, TAPER] = TAPER_SCATTER[size.taper > 0] ** 2
    middle = float(weight @ centre / weight.sum())
    for d in DIAMETERS:
        if d == lead:
            mean[:, d] = sign * centre
            # A Gaussian of half a cell's width per cell makes an even spread with soft ends.
            covariance[d, d] = (0.5 * (edges[1] - edges[0])) ** 2
        else:
            zone_mean, zone_u = _follower(size, gender, d)
            mean[:, d] = zone_mean + sign * FOLLOW[gender] * (centre - middle)
            covariance[d, d] = zone_u**2
    if size.taper:
        # One turn early or late moves all diameters together; uniform over the tolerance.
        position = size.position_mm[0 if gender == "external" else 1] * size.taper / np.sqrt(3)
        covariance[np.ix_(list(DIAMETERS), list(DIAMETERS))] += position**2
    return mean, weight / weight.sum(), covariance


def _lead(gender: Gender) -> int:
    return MAJOR if gender == "external" else MINOR


def _class_shares(n: int) -> tuple[float, ...]:
    if n == 1:
        return (1.0,)
    return (USUAL_CLASS_SHARE,) + ((1 - USUAL_CLASS_SHARE) / (n - 1),) * (n - 1)


def _field(limits: Limits, d: int) -> tuple[float, float]:
    return (limits.major_mm, limits.pitch_diameter_mm, limits.minor_mm)[d - MAJOR]


def _zones(size: ThreadSize, gender: Gender, lead: int) -> list[tuple[float, float]]:
    """Return each class's range of the leading diameter, negated inside: wear is then downward."""
    if size.taper:  # the gauge position is counted apart: only the crest's truncation is left
        depth = max(size.truncation_mm, CREST_SCATTER * size.pitch_mm)
        base = size.basic_major_mm if lead == MAJOR else -size.basic_minor_mm
        return [(base - depth, base)]
    zones = [_field(limits, lead) for limits in size.limits(gender)]
    return zones if lead == MAJOR else [(-high, -low) for low, high in zones]


def _follower(size: ThreadSize, gender: Gender, d: int) -> tuple[float, float]:
    """Return mean and standard deviation of a diameter that is not the leading one."""
    share = {PITCH_DIAMETER: FLANK_SCATTER, MINOR: ROOT_SCATTER, MAJOR: CREST_SCATTER}[d]
    form = share * size.pitch_mm
    if size.taper:
        basic = (size.basic_major_mm, size.basic_pitch_diameter_mm, size.basic_minor_mm)[d - MAJOR]
        inward = 0.0 if d == PITCH_DIAMETER else size.truncation_mm / 2
        return basic + (inward if d == MINOR else -inward), float(np.hypot(form, inward / 1.7))
    zones = np.array([_field(limits, d) for limits in size.limits(gender)])
    mix = np.array(_class_shares(len(zones)))
    middle = zones.mean(axis=1)
    mean = float(mix @ middle)
    # An even spread within each class, the classes mixed by their shares.
    variance = float(mix @ ((zones[:, 1] - zones[:, 0]) ** 2 / 12 + (middle - mean) ** 2))
    return mean, float(np.sqrt(variance + form**2))


def _worn_cdf(x: Array, zone: tuple[float, float], wear: float) -> Array:
    """Return the distribution of an even spread over ``zone``, a share of it worn exponentially."""
    a, b = zone
    width = max(b - a, 1e-6)
    even = np.clip((x - a) / width, 0.0, 1.0)
    inside = np.clip(x, a, b)
    worn = np.where(
        x < a,
        wear / width * (1 - np.exp(-width / wear)) * np.exp(np.minimum(x - a, 0.0) / wear),
        (inside - a) / width + wear / width * (1 - np.exp((inside - b) / wear)),
    )
    return np.asarray((1 - WORN_SHARE) * even + WORN_SHARE * np.clip(worn, 0.0, 1.0))
