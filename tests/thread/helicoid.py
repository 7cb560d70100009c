"""Exact outlines of screw threads by brute force: every turn of the surface, projected.

No condition on normals is used: at each station the outermost point of hundreds of sections
through the axis is taken, as a camera sees it.
"""

import functools

import numpy as np
from scipy.signal import find_peaks

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.flank_points import Flanks
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.frame import axis_frame

FINE = 4000


def iso_profile(pitch, major):
    """ISO 68-1: flats of P/8 and P/4, 60 degrees, the flanks' triangle H = 0.866 P."""
    z = np.linspace(-pitch / 2, pitch / 2, FINE)
    drop = np.clip(np.abs(z) - pitch / 16, 0, 5 * pitch / 16) * np.sqrt(3)
    return z, major / 2 - drop, major - 3 * np.sqrt(3) / 8 * pitch


def whitworth_profile(pitch, major):
    """BS 84: 55 degrees, H = 0.960491 P, h = 0.640327 P, crest and root radius 0.137329 P."""
    z = np.linspace(-pitch / 2, pitch / 2, FINE)
    half, rho, depth = np.radians(27.5), 0.137329 * pitch, 0.640327 * pitch
    off = np.abs(z)
    r = major / 2 + 0.960491 * pitch / 6 - off / np.tan(half)
    crest, root = off < rho * np.cos(half), pitch / 2 - off < rho * np.cos(half)
    r[crest] = major / 2 - rho + np.sqrt(rho**2 - off[crest] ** 2)
    r[root] = major / 2 - depth + rho - np.sqrt(rho**2 - (pitch / 2 - off[root]) ** 2)
    return z, r, major - depth


def seen_sides(profile, pitch, lead, pinhole, turns=6):
    """Return z and the outermost |y| of the + and the - side on the plane x = 0."""
    z, r, _ = profile
    hole = tuple(float(x) for x in pinhole)
    return _seen_sides(z.tobytes(), r.tobytes(), pitch, lead, hole, turns)


@functools.lru_cache(maxsize=64)
def _seen_sides(z, r, pitch, lead, pinhole, turns):
    """Draw the same once, however many tests see it: it takes half a second; nobody writes it."""
    z, r = np.frombuffer(z), np.frombuffer(r)
    beyond = turns // 2 + 6
    many = np.concatenate([z[:-1] + pitch * j for j in range(-beyond, beyond + 1)])
    radius = np.tile(r[:-1], 2 * beyond + 1)
    grid = np.arange(-turns / 2 * pitch, turns / 2 * pitch, pitch / 300)
    cz, cy, cx = pinhole
    out = []
    for side in (1, -1):
        best = np.full(len(grid), -np.inf)
        for turn in np.radians(np.linspace(-28, 28, 281)):
            theta = turn if side > 0 else np.pi - turn
            x, y = radius * np.sin(theta), radius * np.cos(theta)
            grow = cx / (cx - x)
            seen_z = cz + grow * (many + lead * theta / (2 * np.pi) - cz)
            seen_y = cy + grow * (y - cy)
            best = np.maximum(best, np.interp(grid, seen_z, side * seen_y))
        out.append(best)
    for array in (grid, *out):
        array.flags.writeable = False
    return grid, out[0], out[1]


def place(length_mm=200.0, off_mm=0.0, height_mm=9.0, tilt_deg=(0.0, 0.0), turn_deg=0.0):
    """Return a camera over a plate and an axis frame ``off_mm`` along the axis from its middle."""
    camera = Camera(
        f_px=3005.0, u_f_px=45.0, centre_px=(2015.5, 1511.5), distance_mm=length_mm
    ).tilted(np.array([*np.tan(np.radians(tilt_deg)), 1.0]), 0.01)
    d = (np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg)))
    axis = ImageAxis(point_px=(2045.5, 1471.5), direction=(float(d[0]), float(d[1])))
    return camera, axis_frame(camera, axis, 3005.0 * off_mm / (length_mm - height_mm), height_mm)


def flanks_of(frame, grid, upper, lower, pitch):
    """Sort the points of both sides into flanks, as seen, and put them into the photo."""
    rows = []
    for side, radius in ((1.0, upper), (-1.0, lower)):
        peaks, _ = find_peaks(radius, prominence=0.2 * pitch, distance=150)
        peaks = _middles(radius, peaks)
        crest, root = np.median(radius[peaks]), radius.min()
        for number, peak in enumerate(peaks):
            u, below = (grid - grid[peak]) / pitch, (crest - radius) / pitch
            on = (np.abs(u) < 0.46) & (below > 0.15) & (below < 0.5)
            on &= radius - root > 0.13 * pitch
            for zi, ri, ui, bi in zip(grid[on], radius[on], u[on], below[on], strict=True):
                rows.append((zi, side * ri, side, np.sign(ui), number, (ri - root), bi))
    z, y, side, flank, ridge, height, below = np.array(rows, float).T
    xy = frame.to_photo(np.stack([z, y, np.zeros_like(z)], axis=1))
    return Flanks(
        xy=xy,
        side=side,
        flank=flank,
        ridge=ridge,
        height=height,
        below=below,
        normal=np.zeros_like(xy),
    )


def _middles(radius, peaks):
    """Move each peak to the middle of its flat."""
    out = []
    for peak in peaks:
        near = np.arange(max(peak - 60, 0), min(peak + 60, len(radius)))
        out.append(int(np.mean(near[radius[near] > radius[peak] - 2e-3])))
    return np.array(out)
