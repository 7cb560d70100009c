"""How common each thread is: a stated prior that a workshop may replace."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import UsageError
from pitchcam.series import ThreadSize
from pitchcam.series.table import read_table


@functools.lru_cache(maxsize=4)
def default_priors(folder: Path | None = None) -> Mapping[str, float]:
    """Return the catalogue's weights by designation, family or commonness, from ``priors.csv``.

    They say how often a fitter meets each thread on engines. No prior alone makes a name: it must
    also stand with all sizes equally common (``NAMED_BY_READING``).
    """
    return {r.text("name"): r.number("weight") for r in read_table("priors.csv", folder)}


#: What is photographed is what leaf and caliper did not settle: an odd thread is met more often in
#: photos than on engines. The cube root makes 60 to 1 about 4 to 1 (judgement).
PHOTO_TEMPER = 1 / 3


def prior_weights(
    sizes: tuple[ThreadSize, ...], priors: Mapping[str, float] | None, *, temper: float = 1.0
) -> NDArray[np.float64]:
    """Return each size's weight, shape (sizes,), before it is made to sum to 1.

    Parameters
    ----------
    sizes : tuple of ThreadSize
        The candidates.
    priors : mapping, optional
        Weights by designation, family or commonness, the most special winning; what it does not
        name keeps the catalogue's weight. An empty mapping makes every size equally common.
    temper : float
        Power to which the catalogue's own weights are taken; those of ``priors`` stand as given.

    Raises
    ------
    UsageError
        If a weight is not a positive finite number, or a key names nothing.
    """
    if priors is not None and not priors:
        return np.ones(len(sizes))
    weights = {k: v**temper for k, v in default_priors().items()} | dict(priors or {})
    for key, value in weights.items():
        if not (math.isfinite(value) and value > 0):
            raise UsageError(f"the prior of '{key}' is {value}.", "Give a number above 0.")
    if priors:
        _check_names(priors, sizes)
    return np.array(
        [weights.get(s.designation, weights.get(s.family, weights[s.commonness])) for s in sizes]
    )


def _check_names(priors: Mapping[str, float], sizes: tuple[ThreadSize, ...]) -> None:
    known = {k for s in sizes for k in (s.designation, s.family, s.commonness)}
    unknown = [k for k in priors if k not in known and k not in default_priors()]
    if unknown:
        raise UsageError(
            f"the priors name '{unknown[0]}', which is no designation or family here.",
            "See: pitchcam series",
        )
