"""Markers of the sheet in a photo; corners are where lines fitted to their sides meet."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.photo import linear_table
from pitchcam.sheet.layout import CELLS
from pitchcam.small import median

Points = NDArray[np.float64]
Gray = NDArray[np.uint8]

#: Markers are looked for in a copy about this wide: a 14 mm marker seen by a phone's main camera
#: from 350 mm is then still 30 px wide, four to a cell.
SEARCH_WIDTH = 1200

#: Share of a side that is left out at both its ends, where blur rounds the corner.
CORNER_SHARE = 0.15
SAMPLES_ALONG = 24

#: A side narrower than this has cells too small for a line fit that is better than the search.
SMALLEST_SIDE_PX = 24.0


@dataclass(frozen=True, kw_only=True)
class Found:
    """Markers found: numbers (n,) and corners (n, 4, 2), clockwise from the marker's upper left."""

    ids: NDArray[np.int64]
    corners_px: Points


def find_markers(gray: Gray) -> Found:
    """Find the sheet's markers; none found is an empty result, not an error.

    Parameters
    ----------
    gray : ndarray of uint8, (rows, columns)
        The photo in coded (sRGB) values.
    """
    detector = _detector()
    width = gray.shape[1]
    for search in (SEARCH_WIDTH, 2 * SEARCH_WIDTH):
        shrink = max(1, round(width / search))
        small = (
            gray
            if shrink == 1
            else cv2.resize(gray, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
        )
        corners, ids, _ = detector.detectMarkers(small)
        if ids is not None and (len(ids) >= 4 or shrink == 1):
            break
        if ids is None:
            return Found(ids=np.zeros(0, np.int64), corners_px=np.zeros((0, 4, 2)))
    rough = (np.asarray(corners, float).reshape(-1, 4, 2) + 0.5) * shrink - 0.5
    keep, fine = [], []
    for number, square in zip(np.asarray(ids).ravel(), rough, strict=True):
        refined = refine(gray, square)
        if refined is not None:
            keep.append(int(number))
            fine.append(refined)
    return Found(ids=np.array(keep, np.int64), corners_px=np.array(fine).reshape(-1, 4, 2))


def _detector() -> cv2.aruco.ArucoDetector:
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    settings = cv2.aruco.DetectorParameters()
    # One window size: markers are of one size, dark on lit paper, and every size costs a pass.
    settings.adaptiveThreshWinSizeMin = 35
    settings.adaptiveThreshWinSizeMax = 35
    settings.minMarkerPerimeterRate = 0.03
    return cv2.aruco.ArucoDetector(family, settings)


def refine(gray: Gray, square: Points) -> Points | None:
    """Return corners (4, 2) where lines fitted to the sides meet; None where a side is not seen.

    Parameters
    ----------
    gray : ndarray of uint8
        The photo.
    square : ndarray (4, 2)
        The corners to about half a cell.
    """
    for reach_px in (None, 8.0):
        side = float(np.min(np.linalg.norm(square - np.roll(square, 1, axis=0), axis=1)))
        if side < SMALLEST_SIDE_PX:
            return None
        cell = 0.7 * side / CELLS
        reach = cell if reach_px is None else min(cell, reach_px)
        low = np.floor(square.min(axis=0) - reach - 2).astype(int)
        high = np.ceil(square.max(axis=0) + reach + 3).astype(int)
        if low.min() < 0 or high[0] > gray.shape[1] or high[1] > gray.shape[0]:
            return None
        patch = linear_table(gray.dtype)[gray[low[1] : high[1], low[0] : high[0]]]
        lines = [_side(patch, square[i] - low, square[(i + 1) % 4] - low, reach) for i in range(4)]
        if any(line is None for line in lines):
            return None
        sides = np.array(lines)
        meet = np.cross(sides[[3, 0, 1, 2]], sides)
        square = meet[:, :2] / meet[:, 2:] + low
    return square


def _side(patch: NDArray[np.float32], start: Points, end: Points, reach: float) -> Points | None:
    """Return the line (a, b, c), a x + b y + c = 0, of one side; None without a clear edge."""
    along = end - start
    outward = np.array([along[1], -along[0]]) / np.linalg.norm(along)
    at = np.linspace(CORNER_SHARE, 1 - CORNER_SHARE, SAMPLES_ALONG)[:, None]
    depth = np.arange(-reach, reach + 0.25, 0.5)
    xy = (start + at * along)[:, None, :] + depth[:, None] * outward
    grid = xy.astype(np.float32)
    light = cv2.remap(patch, grid[..., 0], grid[..., 1], cv2.INTER_LINEAR)
    third = len(depth) // 3
    black, white = (
        median(np.ravel(x).astype(float)) for x in (light[:, :third], light[:, -third:])
    )
    if white < 1.5 * black + 0.02:
        return None
    level = (black + white) / 2
    above = light >= level
    first = np.argmax(above, axis=1)
    seen = (first > 0) & above.any(axis=1)
    if seen.sum() < SAMPLES_ALONG // 2:
        return None
    row, column = np.flatnonzero(seen), first[seen]
    before, after = light[row, column - 1], light[row, column]
    offset = depth[column] - 0.5 * (after - level) / np.maximum(after - before, 1e-6)
    points = (start + at * along)[row] + offset[:, None] * outward
    return _line(points)


def _line(points: Points) -> Points:
    """Fit a line by total least squares, once more without what lies off it."""
    for _ in range(2):
        middle = points.mean(axis=0)
        normal = np.linalg.svd(points - middle)[2][1]
        off = np.abs((points - middle) @ normal)
        points = points[off <= max(0.1, 3 * 1.4826 * median(off))]
    return np.array([normal[0], normal[1], -normal @ middle])
