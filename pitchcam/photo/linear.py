"""From coded pixel values to light, by the sRGB curve."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

# IEC 61966-2-1: the straight piece near black and the power law above it. Phones apply their own
# tone curve on top; sRGB is the first approximation, and all that the file itself tells.
_LINEAR_BELOW = 0.04045
_LINEAR_SLOPE = 12.92
_OFFSET = 0.055
_EXPONENT = 2.4


@cache
def _table(levels: int) -> NDArray[np.float32]:
    coded = np.linspace(0.0, 1.0, levels)
    light = np.where(
        coded <= _LINEAR_BELOW,
        coded / _LINEAR_SLOPE,
        ((coded + _OFFSET) / (1.0 + _OFFSET)) ** _EXPONENT,
    ).astype(np.float32)
    light.setflags(write=False)
    return light


def linear_table(dtype: Any) -> NDArray[np.float32]:
    """Return the table that turns coded values into linear light: ``table[pixels]``.

    Parameters
    ----------
    dtype
        ``uint8`` or ``uint16``, as of :attr:`Photo.pixels`.

    Returns
    -------
    ndarray
        256 or 65536 values from 0 (black) to 1 (full scale), float32, read-only.

    Raises
    ------
    TypeError
        For any other type.

    Notes
    -----
    The transfer function of IEC 61966-2-1 (sRGB).
    """
    kind = np.dtype(dtype)
    if kind not in (np.dtype(np.uint8), np.dtype(np.uint16)):
        raise TypeError(f"coded pixel values are uint8 or uint16, not {kind}")
    return _table(int(np.iinfo(kind).max) + 1)


def light_planes(pixels: NDArray[np.generic]) -> NDArray[np.float32]:
    """Return linear light as planes, shape (channels, h, w), of pixels (h, w) or (h, w, channels).

    Notes
    -----
    Planes, since what follows works through one channel after the other or takes the mean or the
    least of all of them: with the channels last that costs numpy ten times as much.
    """
    table = linear_table(pixels.dtype)
    coded: Any = pixels
    planes = (coded,) if coded.ndim == 2 else cv2.split(coded)
    light = np.empty((len(planes), *coded.shape[:2]), np.float32)
    for plane, to in zip(planes, light, strict=True):
        if pixels.dtype == np.uint8:
            cv2.LUT(plane, table, dst=to)
        else:
            np.take(table, plane, out=to)
    return light


def least_plane(planes: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the least of planes (channels, h, w) at each place, (h, w)."""
    return _of_planes(planes, cv2.min)


def largest_plane(planes: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the largest of planes (channels, h, w) at each place, (h, w)."""
    return _of_planes(planes, cv2.max)


def mean_plane(planes: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the mean of planes (channels, h, w) at each place, (h, w)."""
    total = _of_planes(planes, cv2.add)
    total /= np.float32(len(planes))
    return total


def _of_planes(planes: NDArray[np.float32], which: Callable[..., Any]) -> NDArray[np.float32]:
    """Put planes together two at a time: over their first axis NumPy takes twice as long."""
    out: NDArray[np.float32] = planes[0].copy()
    for plane in planes[1:]:
        which(out, plane, dst=out)
    return out
