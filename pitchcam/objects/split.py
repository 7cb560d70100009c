"""Parts two objects that touch in the picture at a narrow neck."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Labels = NDArray[np.int32]

#: A neck narrower than this share of the narrower piece is a contact, not a shank: the slimmest
#: necks of fittings (undercuts, probe tips) keep more than half of what they join.
NECK_SHARE = 0.45
#: Each piece must be at least this share of the whole.
PIECE_SHARE = 0.12


def split_touching(mask: NDArray[np.uint8]) -> Labels | None:
    """Divide one object's mask at a narrow neck.

    Parameters
    ----------
    mask
        The object, (h, w), 1 inside.

    Returns
    -------
    labels
        1..n for the pieces, 0 outside and in the object's holes, where others may lie; None where
        nothing divides.

    Notes
    -----
    The mask is eroded by growing amounts until it falls apart; what falls apart by an erosion
    that is small against the pieces' own half width hung together by a contact only.
    """
    filled = _filled(mask)
    depth = cv2.distanceTransform(np.pad(filled, 1), cv2.DIST_L2, 5)[1:-1, 1:-1]
    whole = int(filled.sum())
    for radius in range(1, int(depth.max() * NECK_SHARE) + 1):
        count, labels = cv2.connectedComponents((depth > radius).astype(np.uint8), connectivity=4)
        if count < 3:
            continue
        areas = np.bincount(labels.ravel())
        keep = [
            k
            for k in range(1, count)
            if areas[k] > 0.5 * PIECE_SHARE * whole
            and radius < NECK_SHARE * float(depth[labels == k].max())
        ]
        if len(keep) >= 2:
            return _grow(mask, np.asarray(labels, np.int32), keep)
    return None


def _filled(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    out = np.zeros_like(mask)
    cv2.drawContours(out, contours, -1, 1, cv2.FILLED)
    return out


def _grow(mask: NDArray[np.uint8], labels: NDArray[np.int32], keep: list[int]) -> Labels:
    distances = [
        cv2.distanceTransform((labels != k).astype(np.uint8), cv2.DIST_L2, 5) for k in keep
    ]
    nearest = np.argmin(np.array(distances), axis=0) + 1
    out: Labels = np.where(mask > 0, nearest, 0).astype(np.int32)
    return out
