"""Outlines for tests of a line's light."""

from __future__ import annotations

import numpy as np

from pitchcam.light.stations import Line, Stretch


def outline(line: Line, y, cos_b, lean=0.0, weights=None) -> Stretch:
    """Return outlines (p, k) at the line's own stations, or at those of the weights."""
    weights = line.stations[1] if weights is None else weights
    return Stretch(y=y, cos_b=cos_b, lean=lean * np.ones_like(y), weights=weights * np.ones_like(y))


def stations(line: Line) -> tuple[np.ndarray, np.ndarray]:
    """Return the stations of both sides apart, and the shares of light from each, (k,)."""
    z, weights = line.stations
    return np.concatenate([-z[::-1], z]), np.concatenate([weights[::-1], weights]) / 2
