"""Doubts that a thread is one (rings, a gear, noise), as results keep them and photos add up."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

#: Below this a probability is not told: it moves no name.
LEAST_TOLD = 0.005
#: What stands for a photo's that is not told: most are far below.
UNTOLD = 0.0005


def told(probability: float) -> float:
    """Return a probability as results keep it: 0 where it is little."""
    return probability if probability >= LEAST_TOLD else 0.0


def together(layings: Sequence[Sequence[float]], prior: float) -> float:
    """Return a probability by several photos of one thread: its prior once, and what each tells.

    Parameters
    ----------
    layings
        The probability by each photo, those of one laying together: between them nothing was
        moved, so that axis, lens and place err alike, and they count as one photo.
    prior
        The probability before any photo.
    """
    before = _log_odds(prior)
    each = [float(np.mean([_log_odds(p or UNTOLD) - before for p in of])) for of in layings]
    return told(float(1 / (1 + np.exp(-(before + sum(each))))))


def _log_odds(probability: float) -> float:
    p = min(probability, 1 - 1e-12)
    return float(np.log(p / (1 - p)))
