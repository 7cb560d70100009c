"""What the whole outline says of each size: the likelihood of its form, beside the angle's."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pitchcam.match.population import Population
from pitchcam.records import Quantity, ThreadReading
from pitchcam.series import ThreadSize
from pitchcam.series.ridges import RIDGES, SHARINGS, ridge_shares

Array = NDArray[np.float64]

#: One outline in fifty is not what its fit took it for (a nicked or filed thread, a neighbour in
#: its light), and says nothing of the form (judgement): no form is out of the question by it.
ASTRAY = 0.02
#: Beside an angle only those outlines are weighed that it leaves open, an odd lot: of some 35 known
#: threads four spoke against their own form at 50 to 1 and more, all of brass or nickel, whose
#: flanks mirror.
ASTRAY_BESIDE_ANGLE = 0.1
#: An angle and a form are two readings of one outline, with half of their doubt in common
#: (judgement): where both tell, each counts by this share, 1 / (1 + 1/2).
SHARED = 2 / 3
#: An angle that leaves more than half of what lies between 55 and 60 degrees open tells nothing
#: that the form of the whole outline does not.
TELLS_DEG = 2.5


def beside_forms(reading: ThreadReading) -> ThreadReading:
    """Return the reading with its angle as it counts beside the forms that were weighed."""
    if not reading.forms or reading.angle_deg is None:
        return reading
    wide = Quantity(value=reading.angle_deg.value, u=reading.angle_deg.u / math.sqrt(SHARED))
    return replace(reading, angle_deg=wide if _both(reading) else None)


def log_told(reading: ThreadReading, parts: Population) -> Array | float:
    """Return what the reading's forms add to the logarithm of its density, (sizes,) or 0."""
    if not reading.forms:
        return 0.0
    if _both(reading):
        return SHARED * log_forms(reading.forms, parts, ASTRAY_BESIDE_ANGLE)
    return log_forms(reading.forms, parts)


def _both(reading: ThreadReading) -> bool:
    return reading.angle_deg is not None and reading.angle_deg.u < TELLS_DEG


def log_forms(forms: Mapping[str, float], parts: Population, astray: float = ASTRAY) -> Array:
    """Return the logarithm of what the forms' likelihoods are for each size, (sizes,).

    Parameters
    ----------
    forms
        Logarithms of the likelihood by form, but for a number common to all; what is absent was
        not weighed, and counts as the best. The likelihood of a size is the mean over its forms,
        and that of an outline astray, which tells nothing, is as large for all sizes as the best
        size's.
    parts
        The sizes.
    astray
        Share of outlines that say nothing of the form.
    """
    shares, names = _shares(parts.sizes), list(RIDGES)
    # The best is a size's, not a form's: that of three forms one fits is none of its faults.
    weighed = shares @ [name in forms for name in names] > 1 - 1e-9
    # However badly all of them fit: how they differ tells.
    asked = [name for i, name in enumerate(names) if shares[weighed, i].any()]
    top = max((forms[name] for name in asked), default=0.0)
    likely = shares @ [math.exp(min(forms.get(name, top) - top, 0.0)) for name in names]
    best = float(likely[weighed].max()) if weighed.any() else 1.0
    return np.asarray(np.log((1 - astray) * np.minimum(likely / best, 1.0) + astray))


def likest_angle(reading: ThreadReading) -> float | None:
    """Return the included angle, degrees, that the outline is likest; None unasked.

    It is that of the sizes whose forms fit best on the mean: of three forms that a thread may have,
    one may fit by chance where the others do not.
    """
    forms = reading.forms
    asked = [shares for shares in SHARINGS if shares.keys() <= forms.keys()]
    if not asked:
        return None
    top = max(forms[n] for shares in asked for n in shares)

    def fits(shares: Mapping[str, float]) -> float:
        return sum(p * math.exp(forms[n] - top) for n, p in shares.items())

    likest = max(asked, key=fits)
    return RIDGES[next(iter(likest))].angle_deg


def told_by_outline(reading: ThreadReading, left: Collection[float]) -> tuple[str, ...]:
    """Return a note of what angle the outline tells, where forms were weighed.

    ``left`` are the angles, degrees, of the sizes that the whole reading leaves. An outline that is
    likest none of theirs undoes no name: of those whose thread is known one in ten is so odd.
    """
    angle = likest_angle(reading)
    if angle is None:
        return ()
    told = f"Its outline is most like that of a thread of {angle:g} degrees"
    told += "." if angle in left else "; no size that fits the rest of the reading has that angle."
    return (told if reading.angle_deg is not None else f"Its flanks are hidden. {told}",)


@lru_cache(maxsize=4)
def _shares(sizes: tuple[ThreadSize, ...]) -> Array:
    """Return the share of each form in each size's threads, (sizes, forms)."""
    return np.array([[ridge_shares(size).get(name, 0.0) for name in RIDGES] for size in sizes])
