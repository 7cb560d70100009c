"""What real parts of each size look like: the population that a reading is compared with.

Each tolerance class of each size is a mixture of Gaussians over NAMING_QUANTITIES. The leading
diameter (the major of an external thread, the minor of an internal one) is spread evenly over its
limits, with a tail for wear (external: smaller; internal: an oversize hole); it is cut into
``CELLS`` cells, each one component. The other diameters lie in the same class but do not follow the
leading one within it: wear takes crests alone, and die or tap and blank or drill are set apart.
All figures below are of parts, not of reading.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.records import NAMING_QUANTITIES, Gender
from pitchcam.series import ThreadSize, load_series
from pitchcam.series.records import Range
from pitchcam.series.wear import BADLY_OF_PITCH, BADLY_SHARE, WEAR_OF_PITCH, WORN_SHARE

Array = NDArray[np.float64]
#: Range of each diameter, by its place in NAMING_QUANTITIES.
Fields = dict[int, Range]
PITCH, MAJOR, PITCH_DIAMETER, MINOR, ANGLE, TAPER = range(len(NAMING_QUANTITIES))
DIAMETERS = (MAJOR, PITCH_DIAMETER, MINOR)

#: Which family stands for designations of one geometry.
LEADERS = ("M", "UNC", "UNF", "NPT", "R", "G", "Rc", "BSF")
#: Cells of the leading diameter within a class: 0.05 mm each for M14x1.5 and its tail of wear,
#: little beside the u of a reading.
CELLS = 27
#: Weight of a class that a size does not have.
NOTHING = 1e-300
#: Lead error of commercial threads as a share of the pitch (judgement: within 0.2 %).
LEAD_SCATTER = 0.001
#: Included angle of rolled and cut parts in degrees (judgement: nearly all within 1 degree).
ANGLE_SCATTER_DEG = 0.5
#: A parallel thread is round and straight to 0.01 mm in 10; a taper within +17 and -8 percent
#: (ASME B1.20.1), taken as one standard deviation of 7 percent.
TAPER_SCATTER = (0.001, 0.07 / 16)
#: Wear is followed to so many means of the worst: 0.75 pitches, six tenths of a thread's depth.
#: Where it ended at 0.45, a BSW worn by half was UNC, whose widest class has its lower limit lower.
TAIL = 5.0
#: The usual class makes most parts; the other classes share the rest (judgement).
USUAL_CLASS_SHARE = 0.7
#: Form errors beside the limits, as shares of the pitch (judgement): parts just out of their class,
#: and roots, which no standard limits on an external thread but by the form of a new tool.
FLANK_SCATTER, ROOT_SCATTER, CREST_SCATTER = 0.01, 0.03, 0.03
FORM_SCATTER = {PITCH_DIAMETER: FLANK_SCATTER, MINOR: ROOT_SCATTER, MAJOR: CREST_SCATTER}


@dataclass(frozen=True, kw_only=True, slots=True)
class Population:
    """Parts of every size of one gender.

    ``crest`` is the crest diameter's place in NAMING_QUANTITIES. ``mean`` has shape (sizes,
    classes, cells, 6), ``log_weight`` (sizes, classes, cells) of parts in everyday wear and
    ``log_weight_worn`` with the badly worn among them, ``covariance`` (sizes, classes, 6, 6), all
    at the gauge plane of taper sizes; ``classes`` (sizes,) is how many of them a size has,
    the first ones. ``low`` and ``high`` (sizes, 6) are the ends of the
    means, ``variance`` (sizes, 6) is the largest of any class. ``gauge_length_mm``,
    ``useful_length_mm`` and ``taper`` have shape (sizes,), 0 for parallel sizes. ``leaders`` are
    the places of the sizes that stand for each geometry.
    """

    sizes: tuple[ThreadSize, ...]
    leaders: tuple[int, ...]
    crest: int
    mean: Array
    log_weight: Array
    log_weight_worn: Array
    covariance: Array
    classes: NDArray[np.intp]
    low: Array
    high: Array
    variance: Array
    taper: Array
    gauge_length_mm: Array
    useful_length_mm: Array

    @property
    def external(self) -> bool:
        """Whether these are external threads."""
        return self.crest == MAJOR


def population(gender: Gender, folder: Path | None = None) -> Population:
    """Return the parts of every size that exists in one gender."""
    return _population(gender, folder)  # with and without the second argument it is one


@functools.lru_cache(maxsize=4)
def geometries(gender: Gender, folder: Path | None) -> Population:
    """Return the parts of the sizes alone that stand for each geometry."""
    every = population(gender, folder)
    first = list(every.leaders)
    held: dict[str, Any] = {
        f.name: value[first]
        for f in fields(every)
        if isinstance(value := getattr(every, f.name), np.ndarray)
    }
    return replace(
        every, sizes=tuple(every.sizes[i] for i in first), leaders=tuple(range(len(first))), **held
    )


@functools.lru_cache(maxsize=4)
def _population(gender: Gender, folder: Path | None) -> Population:
    sizes = tuple(s for s in load_series(folder) if gender in s.genders and s.limits(gender))
    n, q = len(sizes), len(NAMING_QUANTITIES)
    classes = max(len(s.limits(gender)) for s in sizes)
    zones = [_zones(size, gender) for size in sizes]
    # A size of fewer classes repeats its last one, without weight.
    fields = [z[min(k, len(z) - 1)] for z in zones for k in range(classes)]
    parts = _class_parts(sizes, gender, fields)
    mean = parts[0].reshape(n, classes, CELLS, q)
    covariance = parts[2].reshape(n, classes, q, q)
    weight = np.full((2, n, classes, CELLS), NOTHING)
    count = np.array([len(z) for z in zones])
    for held in set(count.tolist()):
        own = count == held
        cells = parts[1].reshape(2, n, classes, CELLS)[:, own, :held]
        weight[:, own, :held] = np.array(_class_shares(held))[:, None] * cells
    log_weight, log_weight_worn = np.log(weight)
    # From cell to cell the crest alone moves, and all one way.
    ends = mean[:, :, [0, -1]].reshape(n, -1, q)
    external = gender == "external"
    return Population(
        sizes=sizes,
        leaders=_leaders(sizes),
        crest=_crest(gender),
        mean=mean,
        log_weight=log_weight,
        log_weight_worn=log_weight_worn,
        covariance=covariance,
        classes=count,
        low=ends.min(axis=1),
        high=ends.max(axis=1),
        variance=np.diagonal(covariance, axis1=2, axis2=3).max(axis=1),
        taper=np.array([s.taper for s in sizes]),
        # An internal thread is read at its mouth, which is the gauge plane.
        gauge_length_mm=np.array([(s.gauge_length_mm or 0.0) * external for s in sizes]),
        useful_length_mm=np.array([(s.useful_length_mm or 0.0) * external for s in sizes]),
    )


def _leaders(sizes: tuple[ThreadSize, ...]) -> tuple[int, ...]:
    """Return the place of the size that stands for each geometry."""
    best: dict[str, int] = {}
    for i, size in enumerate(sizes):
        held = best.get(size.geometry)
        if held is None or _rank(size) < _rank(sizes[held]):
            best[size.geometry] = i
    return tuple(best.values())


def _rank(size: ThreadSize) -> int:
    return LEADERS.index(size.family) if size.family in LEADERS else len(LEADERS)


def _class_parts(
    sizes: Sequence[ThreadSize], gender: Gender, fields: list[Fields]
) -> tuple[Array, Array, Array]:
    """Return the cells of n classes, as many of each size.

    Returns
    -------
    means, weights, covariances
        Shapes (n, cells, 6), (2, n, cells), everyday and with the badly worn, and (n, 6, 6).
    """
    crest, n, each = _crest(gender), len(fields), len(fields) // len(sizes)
    sign = 1.0 if gender == "external" else -1.0
    p = np.repeat([s.pitch_mm for s in sizes], each)
    taper = np.repeat([s.taper for s in sizes], each)
    zone = np.sort(sign * np.array([f[crest] for f in fields]), axis=1)
    # Crests alone are worn badly, not the roots that a cast shows as its crests.
    share, reach = (BADLY_SHARE, BADLY_OF_PITCH) if gender == "external" else (0.0, WEAR_OF_PITCH)
    edges = np.linspace(zone[:, 0] - TAIL * reach * p, zone[:, 1], CELLS + 1, axis=1)
    everyday = _worn_cdf(edges, zone, WEAR_OF_PITCH * p[:, None])
    badly = _less(edges, zone, BADLY_OF_PITCH * p[:, None])
    weight = np.stack([everyday, (1 - share) * everyday + share * badly])
    weight = np.maximum(np.diff(weight), 1e-6)
    covariance = np.zeros((n, len(NAMING_QUANTITIES), len(NAMING_QUANTITIES)))
    covariance[:, PITCH, PITCH] = (LEAD_SCATTER * p) ** 2
    covariance[:, ANGLE, ANGLE] = ANGLE_SCATTER_DEG**2
    covariance[:, TAPER, TAPER] = np.array(TAPER_SCATTER)[(taper > 0).astype(int)] ** 2
    # A Gaussian of half a cell's width per cell makes an even spread with soft ends.
    covariance[:, crest, crest] = (0.5 * (edges[:, 1] - edges[:, 0])) ** 2
    mean = np.zeros((n, CELLS, len(NAMING_QUANTITIES)))
    mean[:, :, PITCH], mean[:, :, TAPER] = p[:, None], taper[:, None]
    mean[:, :, ANGLE] = np.repeat([s.angle_deg for s in sizes], each)[:, None]
    mean[:, :, crest] = sign * (edges[:, :-1] + edges[:, 1:]) / 2
    for d in set(DIAMETERS) - {crest}:
        low, high = np.array([f[d] for f in fields]).T
        mean[:, :, d] = ((low + high) / 2)[:, None]
        covariance[:, d, d] = (high - low) ** 2 / 12 + (FORM_SCATTER[d] * p) ** 2
    # One turn early or late moves all diameters together; uniform over the tolerance.
    either = 0 if gender == "external" else 1
    position = np.repeat([s.position_mm[either] if s.taper else 0.0 for s in sizes], each)
    position = position * taper / np.sqrt(3)
    covariance[:, MAJOR : MINOR + 1, MAJOR : MINOR + 1] += (position**2)[:, None, None]
    return mean, weight / weight.sum(axis=-1, keepdims=True), covariance


def _crest(gender: Gender) -> int:
    return MAJOR if gender == "external" else MINOR


def _class_shares(n: int) -> tuple[float, ...]:
    if n == 1:
        return (1.0,)
    return (USUAL_CLASS_SHARE,) + ((1 - USUAL_CLASS_SHARE) / (n - 1),) * (n - 1)


def _zones(size: ThreadSize, gender: Gender) -> list[Fields]:
    """Return the range of each diameter of each class, the usual class first."""
    if not size.taper:
        return [
            {MAJOR: x.major_mm, PITCH_DIAMETER: x.pitch_diameter_mm, MINOR: x.minor_mm}
            for x in size.limits(gender)
        ]
    # The gauge position is counted apart: only what crests and roots may be by themselves is left.
    moved = size.position_mm[int(gender == "internal")] * size.taper
    least = CREST_SCATTER * size.pitch_mm
    (held,) = size.limits(gender)
    fields = {
        MAJOR: _inside(held.major_mm, moved),
        PITCH_DIAMETER: _inside(held.pitch_diameter_mm, moved),
        MINOR: _inside(held.minor_mm, moved),
    }
    crest = _crest(gender)
    low, high = fields[crest]
    if high - low < least:
        fields[crest] = (high - least, high) if crest == MAJOR else (low, low + least)
    return [fields]


def _inside(limits: Range, moved: float) -> Range:
    """Return limits less what the gauge position moves either way."""
    low, high = limits
    return low + moved, max(high - moved, low + moved)


def _worn_cdf(x: Array, zone: Array, wear: Array) -> Array:
    """Return the distribution of an even spread over ``zone``, a share of it worn exponentially.

    ``x`` is (n, m), ``zone`` (n, 2), ``wear`` (n, 1).
    """
    even = np.clip((x - zone[:, :1]) / np.maximum(np.diff(zone), 1e-6), 0.0, 1.0)
    return np.asarray((1 - WORN_SHARE) * even + WORN_SHARE * _less(x, zone, wear))


def _less(x: Array, zone: Array, wear: Array) -> Array:
    """Return the distribution of an even spread over ``zone`` less an exponential of mean wear."""
    a, b = zone[:, :1], zone[:, 1:]
    width = np.maximum(b - a, 1e-6)
    inside = np.clip(x, a, b)
    worn = np.where(
        x < a,
        wear / width * (1 - np.exp(-width / wear)) * np.exp(np.minimum(x - a, 0.0) / wear),
        (inside - a) / width + wear / width * (1 - np.exp((inside - b) / wear)),
    )
    return np.asarray(np.clip(worn, 0.0, 1.0))
