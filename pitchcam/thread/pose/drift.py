"""What a thread tells of its axis's angle: crests are even in space, and drawn larger where near.

An axis that rises toward the camera draws its pitch ever larger, by sin(a) / L per mm, and its
diameter with it. The first no real thread does; the second is what a taper does as well, and
tapers are none or one of the standards' few.
"""

from __future__ import annotations

from typing import overload

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.thread.crest_lines import CrestShape, remeasure_crests
from pitchcam.thread.measure import ThreadShape, remeasure
from pitchcam.thread.pose.records import GRID, normal
from pitchcam.thread.section_fit import PER_POINT

Values = NDArray[np.float64]

#: A thread measured whole, or by its crests alone.
Measured = ThreadShape | CrestShape
#: Angles at which the thread is fitted to find where it comes out even, degrees.
WIDE, CLOSE, MOST = 9.0, 2.5, 18.0
#: How much the flanks' points agree among each other beyond their own scatter.
INFLATE = 1.5
#: What drift is known to at best, degrees: unevenness of real threads and of mirrored light.
U_DRIFT_DEG = 0.4
#: Distortion at the corner of the frame that a phone leaves: it makes a drift of its own.
U_DISTORTION = 0.005
#: Tapers of the standards' threads with their shares, and what a real one and the light add.
TAPERS = ((0.0, 0.75), (1 / 16, 0.125), (-1 / 16, 0.125))
U_TAPER, U_TAPER_NEAR = 0.0025, 0.007
#: Share of threads that fit none of it: worn, bent, of another taper.
ODD, ODD_DEG, ODD_TAPER = 0.1, 25.0, 0.2


@overload
def again(
    shape: ThreadShape, camera: Camera, height_mm: float, slope_rad: float
) -> ThreadShape: ...
@overload
def again(
    shape: CrestShape, camera: Camera, height_mm: float, slope_rad: float
) -> CrestShape: ...
@overload
def again(shape: Measured, camera: Camera, height_mm: float, slope_rad: float) -> Measured: ...
def again(shape: Measured, camera: Camera, height_mm: float, slope_rad: float) -> Measured:
    """Return a thread fitted again in another pose: its kind is kept."""
    if isinstance(shape, CrestShape):
        return remeasure_crests(shape, camera, height_mm, slope_rad)
    return remeasure(shape, camera, height_mm, slope_rad)


def thread_sight(shape: Measured, camera: Camera, height_mm: float) -> Values:
    """Return the log likelihood of the axis's angle over GRID by one measured thread.

    Parameters
    ----------
    shape
        The thread.
    camera, height_mm
        The camera, and the axis's height over the plate at the thread.
    """
    def at(deg: float) -> tuple[float, float]:
        turned = again(shape, camera, height_mm, float(np.radians(deg)))
        if isinstance(turned, CrestShape):
            return turned.u_pitch_mm**2, turned.taper
        return turned.section.fit.rms_mm**2, turned.taper

    middle, _ = _lowest(np.array([-WIDE, 0.0, WIDE]), [at(a)[0] for a in (-WIDE, 0.0, WIDE)])
    for _ in range(3):
        middle = float(np.clip(middle, -MOST, MOST))
        angles = middle + np.array([-CLOSE, 0.0, CLOSE])
        squares, tapers = (np.array(column) for column in zip(*map(at, angles), strict=True))
        before, (middle, bend) = middle, _lowest(angles, squares)
        if bend == 0.0 or abs(middle - before) < CLOSE / 2:
            break
    return _by_drift(shape, camera, angles, squares) + _by_taper(shape, angles, tapers)


def _lowest(angles: Values, squares: list[float] | Values) -> tuple[float, float]:
    """Return where a parabola through three points is lowest, and its curvature."""
    bend, slope, _ = np.polyfit(angles, squares, 2)
    if bend <= 0:
        return 0.0, 0.0
    return float(-slope / (2 * bend)), float(bend)


def _by_drift(shape: Measured, camera: Camera, angles: Values, squares: Values) -> Values:
    best, bend = _lowest(angles, squares)
    if bend <= 0:
        return np.zeros(len(GRID))
    if isinstance(shape, CrestShape):
        points = max(float(len(shape.crests.xy) - 4), 1.0)
    else:
        points = PER_POINT * int(np.count_nonzero(shape.section.fit.used))
    own = INFLATE * float(np.sqrt(squares.min() / (bend * points)))
    # Scale grows as 1 + k r^2, lengths along a radius as 1 + 3 k r^2.
    centre = np.array(camera.centre_px)
    off = camera.project(shape.frame.origin) - centre
    along = abs(float(off @ np.array(shape.axis.direction)))
    bent = 6 * U_DISTORTION * camera.f_px * along / float(centre @ centre)
    u = float(np.sqrt(own**2 + U_DRIFT_DEG**2 + np.degrees(bent) ** 2))
    out: Values = np.log((1 - ODD) * normal(GRID - best, u) + ODD / (2 * ODD_DEG))
    return out


def _by_taper(shape: Measured, angles: Values, tapers: Values) -> Values:
    slope, start = np.polyfit(angles, tapers, 1)
    taper = start + slope * GRID
    if isinstance(shape, CrestShape):
        u = float(np.hypot(shape.u_taper, U_TAPER))
    else:
        u = U_TAPER + (U_TAPER_NEAR - U_TAPER) * shape.nearness
    likely = sum(share * normal(taper - t, u) for t, share in TAPERS)
    out: Values = np.log((1 - ODD) * likely + ODD / ODD_TAPER)
    return out
