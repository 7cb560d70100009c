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
    """Return the catalogue's weights by commonness or family, from ``priors.csv``.

    They are kept flat, steeper only where a plain measurement tells (a taper): two threads that
    cannot be told apart by angle alone stay far from the naming threshold
    (2 to 1 is a probability of 0.67).
    """
    return {r.text("name"): r.number("weight") for r in read_table("priors.csv", folder)}


def prior_weights(
    sizes: tuple[ThreadSize, ...], priors: Mapping[str, float] | None
) -> NDArray[np.float64]:
    """Return each size's weight, shape (sizes,), before it is made to sum to 1.

    Parameters
    ----------
    sizes : tuple of ThreadSize
        The candidates.
    priors : mapping, optional
        Weights by designation, family or commonness, the most special winning; what it does not
        name keeps the catalogue's weight. An empty mapping makes every size equally common.

    Raises
    ------
    UsageError
        If a weight is not a positive finite number, or a key names nothing.
    """
    if priors is not None and not priors:
        return np.ones(len(sizes))
    weights = {**default_priors(), **(priors or {})}
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
