"""How probable readings by hand are for each size, careful or slipped.

Leaf, diameters, form gauge and the eye's word for the form are independent given the thread, and
each may slip by itself: the chance of a reading is a product of factors, each of which is a sum of
what a careful hand reads and of what each slip makes of it. Readings come in batches, (n,), that
are alike in what was read.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field, replace
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.match.diameters import Caliper, crest_densities
from pitchcam.match.leaves import leaf_chances
from pitchcam.match.likelihood import OFF_ANGLE_DEG, OFF_MAJOR_MM
from pitchcam.match.population import ANGLE_SCATTER_DEG, MAJOR, TAPER_SCATTER, Population
from pitchcam.match.slips import slip_shares
from pitchcam.records import MM_PER_INCH, Gender, Quantity

Array = NDArray[np.float64]
Form = Literal["parallel", "taper", "unsure"]

#: Two places of one parallel thread differ by so much besides the reading: first crests are low,
#: wear is uneven (judgement).
U_UNEVEN_MM = 0.02
#: The distance of two readings is set by eye or rule (judgement).
U_APART_MM = 0.5
#: A misread second diameter lies within this of where it should be (judgement).
SECOND_WITHIN_MM = 2.0
#: A caliper reading below this may be inches: no thread here has a larger one.
INCHES_BELOW = 5.0
#: Form gauges have these angles.
FORM_GAUGES_DEG = (47.5, 55.0, 60.0, 80.0)
#: One slip of the angle in ten is that of no form gauge, but any angle in this range (judgement).
NO_GAUGE, ANGLES_DEG = 0.1, (20.0, 120.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class HandReadings:
    """A batch of readings, all of the same kinds; arrays (n,), None where not read.

    ``diameter_mm`` is over the crests (of a cast where ``quantity`` is MAJOR inside), at one place
    or the mean of two; ``change_mm`` is the second less the first as typed, ``apart_mm`` between
    them. ``station_mm`` is the stated place of ``diameter_mm``, from the small end or the mouth.
    """

    gender: Gender = "external"
    quantity: int = MAJOR
    pitch_mm: Array | None = None
    diameter_mm: Array | None = None
    change_mm: Array | None = None
    apart_mm: float = 0.0
    angle_deg: Array | None = None
    form: Form | None = None
    station_mm: Quantity | None = None
    u_diameter_mm: float = 0.03
    u_gauge: float = 0.005
    u_angle_deg: float = 0.85


@dataclass(frozen=True, kw_only=True, slots=True)
class Factor:
    """One kind of reading: densities (n, sizes) of a careful hand and of each slip, shares in."""

    careful: Array
    slips: Mapping[str, Array] = field(default_factory=dict)

    @property
    def total(self) -> Array:
        """Density of the reading by whichever way, (n, sizes)."""
        return np.asarray(sum(self.slips.values(), self.careful))


def factors(read: HandReadings, parts: Population, folder: Path | None = None) -> list[Factor]:
    """Return the factors of a batch over all sizes of a population."""
    found = []
    if read.pitch_mm is not None:
        chances = leaf_chances(read.gender, read.u_gauge, folder)
        at = chances.place(read.pitch_mm)
        slips = {name: chance[:, at].T for name, chance in chances.slips.items()}
        found.append(Factor(careful=chances.careful[:, at].T, slips=slips))
    if read.diameter_mm is not None:
        found.append(_diameter(read, parts, slip_shares(folder)))
    if read.change_mm is not None:
        found.append(_change(read, parts, slip_shares(folder)))
    if read.angle_deg is not None:
        found.append(_angle(read, parts, slip_shares(folder)))
    if read.form in ("parallel", "taper"):
        found.append(_form(read.form, parts, slip_shares(folder)))
    return found


def off_series(read: HandReadings, folder: Path | None = None) -> Array:
    """Return the density of a batch for a thread of no series, (n,)."""
    total = np.ones(_count(read))
    if read.pitch_mm is not None:
        total /= len(leaf_chances(read.gender, read.u_gauge, folder).pitch_mm)
    if read.diameter_mm is not None:
        total *= _anywhere(read.diameter_mm)
    if read.change_mm is not None:
        total *= 0.5 / SECOND_WITHIN_MM
    if read.angle_deg is not None:
        mean, spread = OFF_ANGLE_DEG
        total *= _gauss(read.angle_deg - mean, math.hypot(spread, read.u_angle_deg))
    return total * (0.5 if read.form in ("parallel", "taper") else 1.0)


def _count(read: HandReadings) -> int:
    held = (read.pitch_mm, read.diameter_mm, read.angle_deg)
    return next(len(x) for x in held if x is not None)


def _diameter(read: HandReadings, parts: Population, shares: Mapping[str, float]) -> Factor:
    assert read.diameter_mm is not None
    two = read.change_mm is not None
    u = read.u_diameter_mm / math.sqrt(2) if two else read.u_diameter_mm
    caliper = Caliper(
        quantity=read.quantity,
        u_mm=u,
        station_mm=read.station_mm,
        span_mm=read.apart_mm if two else 0.0,
    )
    plain, worn = crest_densities(read.diameter_mm, parts, caliper)
    slips = {
        "worn": shares["worn"] * worn,
        "diameter-any": shares["diameter-any"]
        * np.repeat(_anywhere(read.diameter_mm)[:, None], len(parts.sizes), axis=1),
    }
    if read.diameter_mm.min() < INCHES_BELOW:
        mm = read.diameter_mm * MM_PER_INCH
        inches, _ = crest_densities(mm, parts, replace(caliper, u_mm=u * MM_PER_INCH))
        slips["diameter-unit"] = shares["diameter-unit"] * MM_PER_INCH * inches
    left = 1 - sum(shares[name] for name in slips)
    return Factor(careful=left * plain, slips=slips)


def _change(read: HandReadings, parts: Population, shares: Mapping[str, float]) -> Factor:
    """Return the factor of two diameters' difference; which end came first is open."""
    assert read.change_mm is not None
    sign = 1.0 if read.gender == "external" else -1.0
    grow = sign * parts.taper * read.apart_mm
    scatter = np.where(parts.taper > 0, TAPER_SCATTER[1], TAPER_SCATTER[0]) * read.apart_mm
    u = np.sqrt(
        2 * read.u_diameter_mm**2
        + 2 * U_UNEVEN_MM**2
        + scatter**2
        + (parts.taper * U_APART_MM) ** 2
    )
    change = read.change_mm[:, None]
    near = np.abs(change) < SECOND_WITHIN_MM
    misread = shares["second-any"] * np.where(near, 0.5 / SECOND_WITHIN_MM, 1e-9)
    left = 1 - shares["order"] - shares["second-any"]
    return Factor(
        careful=left * _gauss(change - grow, u),
        slips={
            "order": shares["order"] * _gauss(change + grow, u),
            "second-any": np.broadcast_to(misread, (len(change), len(grow))),
        },
    )


def _angle(read: HandReadings, parts: Population, shares: Mapping[str, float]) -> Factor:
    assert read.angle_deg is not None
    own = np.array([s.angle_deg for s in parts.sizes])
    u = math.hypot(read.u_angle_deg, ANGLE_SCATTER_DEG)
    angle, share = read.angle_deg[:, None], shares["angle-any"]
    gauges = sum(_gauss(angle - a, read.u_angle_deg) for a in FORM_GAUGES_DEG)
    other = (1 - NO_GAUGE) * gauges / len(FORM_GAUGES_DEG) + NO_GAUGE / np.ptp(ANGLES_DEG)
    return Factor(
        careful=(1 - share) * _gauss(angle - own, u),
        slips={"angle-any": share * np.broadcast_to(other, (len(angle), len(own)))},
    )


def _form(form: Form, parts: Population, shares: Mapping[str, float]) -> Factor:
    """Return the factor of what eye and rocking jaws say of the form, (1, sizes)."""
    tapered = parts.taper > 0
    wrong = np.where(tapered, shares["form-parallel"], shares["form-taper"])
    right = tapered == (form == "taper")
    return Factor(
        careful=np.where(right, 1 - wrong, 0.0)[None],
        slips={f"form-{form}": np.where(right, 0.0, wrong)[None]},
    )


def _anywhere(diameter_mm: Array) -> Array:
    """Return the density of a diameter that is any, even by its logarithm."""
    low, high = OFF_MAJOR_MM
    return np.asarray(1 / (np.clip(diameter_mm, low, high) * math.log(high / low)))


def _gauss(x: Array, u: Array | float) -> Array:
    return np.asarray(np.exp(-0.5 * (x / u) ** 2) / (u * math.sqrt(2 * math.pi)))
