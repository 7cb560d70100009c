"""What the outline of hidden flanks says of each size: the likelihood of its form."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pitchcam.match.population import Population
from pitchcam.series import ThreadSize
from pitchcam.series.ridges import RIDGES, ridge_shares

Array = NDArray[np.float64]

#: One outline in fifty is not what its fit took it for (a nicked or filed thread, a neighbour in
#: its light), and says nothing of the form (judgement): no form is out of the question by it.
ASTRAY = 0.02


def log_forms(forms: Mapping[str, float], parts: Population) -> Array:
    """Return the logarithm of what the forms' likelihoods are for each size, (sizes,).

    Parameters
    ----------
    forms
        Logarithms of the likelihood by form, the best one's 0; what is absent was not weighed, and
        counts as the best.
    parts
        The sizes.
    """
    names = list(RIDGES)
    likely = np.array([math.exp(min(forms.get(name, 0.0), 0.0)) for name in names])
    likely = (1 - ASTRAY) * likely + ASTRAY
    return np.asarray(np.log(_shares(parts.sizes) @ likely))


def told_by_outline(forms: Mapping[str, float]) -> tuple[str, ...]:
    """Return a note of what angle the outline tells, where forms were weighed."""
    if not forms:
        return ()
    angle = RIDGES[max(forms, key=lambda name: forms[name])].angle_deg
    return (
        "Its flanks are hidden. Of the forms in question, drawn as they would be seen, its outline "
        f"is likest that of {angle:g} degrees.",
    )


@lru_cache(maxsize=4)
def _shares(sizes: tuple[ThreadSize, ...]) -> Array:
    """Return the share of each form in each size's threads, (sizes, forms)."""
    return np.array([[ridge_shares(size).get(name, 0.0) for name in RIDGES] for size in sizes])
