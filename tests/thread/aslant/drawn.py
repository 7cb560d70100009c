"""Outlines of threads seen aslant, as a blurred photo shows them, by brute force."""

from dataclasses import replace

import numpy as np
from scipy.stats import norm

from pitchcam.edges.flank_points import contour_normals
from pitchcam.edges.rims import UNLEARNT
from pitchcam.thread.aslant.rise import BLACK_BLURS, DEPTH
from pitchcam.thread.crest_lines import CrestShape
from tests.thread.test_crest_lines import seen

PITCH, MAJOR, OFF_MM = 1.5, 14.0, 48.0
BLUR_PX = 1.2
#: The level at which a black part's outline of LIT_LEVEL is found.
LEVEL = norm.cdf(norm.ppf(0.85) - BLACK_BLURS)
BLURRED = replace(UNLEARNT, spread=replace(UNLEARNT.spread, blur_px=BLUR_PX))


def seen_blurred(profile, noise_px=0.05, lump_px=0.0, off_mm=OFF_MM):
    """A thread seen so far aside, by default at 14 degrees: no flank leaves its crest's ellipse.

    Its outline is that of the blurred light, by convolution over a fine grid, at the level where a
    black part's is found. A lump may lie on two ridges of the upper side.
    """
    shape = seen(profile(PITCH, MAJOR), PITCH, off_mm)
    zy = shape.sight.to_frame(shape.sight.outline_px)
    sides = [zy[np.sign(zy[:, 1]) == side].T for side in (1.0, -1.0)]
    out = [_blurred(z, np.abs(y), BLUR_PX * shape.mm_per_px) for z, y in sides]
    upper, lower = (
        shape.sight.to_photo(np.stack([z, side * y, 0 * z], axis=1))
        for side, (z, y) in zip((1.0, -1.0), out, strict=True)
    )
    points = np.concatenate([upper, lower[::-1]])
    points = points + noise_px * np.random.default_rng(1).normal(size=points.shape)
    upper = points[:, 1] > np.median(points[:, 1])
    near = np.abs(points[:, 0] - np.median(points[:, 0])) < 70.0
    points[upper & near, 1] += lump_px
    return replace(shape, sight=replace(shape.sight, rims=BLURRED, outline_px=points))


def _blurred(z, y, blur):
    """Return stations and heights where blurred light over an edge has LEVEL."""
    order = np.argsort(z)
    z, y = z[order], y[order]
    grid = np.arange(z[0], z[-1], blur / 12)
    near = np.arange(-48, 49)
    kernel = np.exp(-0.5 * (near / 12) ** 2) / np.exp(-0.5 * (near / 12) ** 2).sum()
    edge = np.interp(grid, z, y)
    heights = edge[np.clip(np.arange(len(grid))[:, None] + near, 0, len(grid) - 1)]
    low, high = heights.min(axis=1) - 3 * blur, heights.max(axis=1) + 3 * blur
    for _ in range(30):
        middle = (low + high) / 2
        above = norm.cdf((middle[:, None] - heights) / blur) @ kernel > LEVEL
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return grid[::4], middle[::4]


def inside(shape: CrestShape, px: float) -> CrestShape:
    """Return the thread with its whole outline so much farther inside."""
    sight = shape.sight
    moved = sight.outline_px - px * contour_normals(sight.outline_px)
    return replace(shape, sight=replace(sight, outline_px=moved))


def tops_inside(shape: CrestShape, rise_px: float) -> CrestShape:
    """Return the thread with its flanks' tops drawn so much farther inside than their feet."""
    sight = shape.sight
    zy = sight.to_frame(sight.outline_px)
    below = (shape.major_mm / 2 - np.abs(zy[:, 1])) / (DEPTH * shape.pitch_mm)
    height = np.clip(1 - below, 0, 1) - 0.5
    moved = sight.outline_px - rise_px * height[:, None] * contour_normals(sight.outline_px)
    return replace(shape, sight=replace(sight, outline_px=moved))


def left_handed(shape: CrestShape) -> CrestShape:
    """Return a right-hand thread as its mirror image in the axis shows it."""
    axis_y = shape.axis.point_px[1]

    def mirrored(xy):
        return np.stack([xy[:, 0], 2 * axis_y - xy[:, 1]], axis=1)

    return replace(
        shape,
        crests=replace(shape.crests, xy=mirrored(shape.crests.xy), side=-shape.crests.side),
        sight=replace(shape.sight, outline_px=mirrored(shape.sight.outline_px)),
    )
