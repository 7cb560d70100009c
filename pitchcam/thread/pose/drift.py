"""What a thread tells of its axis's angle: crests are even in space, and drawn larger where near.

An axis that rises toward the camera draws its pitch ever larger, by sin(a) / L per mm, and its
diameter with it. The first no real thread does; the second is what a taper does as well, and
tapers are none or one of the standards' few.
"""

from __future__ import annotations

from typing import TypeVar, overload

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.section import PER_POINT
from pitchcam.frozen import dataclass
from pitchcam.small import line
from pitchcam.thread.crest_lines import CrestShape, remeasure_crests
from pitchcam.thread.measure import ThreadShape, remeasure
from pitchcam.thread.pose.records import GRID, normal

Values = NDArray[np.float64]

#: A thread measured whole, or by its crests alone.
Measured = ThreadShape | CrestShape
#: The same kind of both, where one goes in and comes out.
Kind = TypeVar("Kind", ThreadShape, CrestShape)
#: Angles at which the thread is fitted to find where it comes out even, degrees: wide apart, then
#: close about the best of them, which is sought no farther than any part lies (that of
#: :data:`~pitchcam.thread.pose.records.GRID`); beyond, the parabola through them goes on.
WIDE, CLOSE, MOST = 9.0, 2.5, 30.0
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
def again(shape: CrestShape, camera: Camera, height_mm: float, slope_rad: float) -> CrestShape: ...
@overload
def again(shape: Measured, camera: Camera, height_mm: float, slope_rad: float) -> Measured: ...
def again(shape: Measured, camera: Camera, height_mm: float, slope_rad: float) -> Measured:
    """Return a thread fitted again in another pose: its kind is kept."""
    if isinstance(shape, CrestShape):
        return remeasure_crests(shape, camera, height_mm, slope_rad)
    return remeasure(shape, camera, height_mm, slope_rad)


@dataclass(frozen=True, kw_only=True)
class ThreadSight:
    """What one thread tells of its axis's angle, for any focal length.

    ``even`` is the log likelihood over GRID that its crests are even in space. Its taper is that
    measured level, ``taper``, and grows by ``per_deg`` for each degree; ``unfolded`` of it is what
    the helix's shadow took from it. ``u_taper`` is its standard uncertainty.
    """

    even: Values
    taper: float
    per_deg: float
    unfolded: float
    u_taper: float

    def at(self, longer: Values) -> Values:
        """Return the log likelihood (n, GRID) with focal lengths (n,) that many times as long.

        Drift and perspective's share of the taper go with sin(a) / L; the shadow's with
        (s / L) / L.
        """
        longer = longer[:, None]
        taper = self.taper + self.unfolded * (1 - 1 / longer**2) + self.per_deg * GRID / longer
        likely = sum(share * normal(taper - t, self.u_taper) for t, share in TAPERS)
        even = np.interp(GRID / longer, GRID, self.even)
        out: Values = even + np.log((1 - ODD) * likely + ODD / ODD_TAPER)
        return out


def thread_sight(shape: Measured, camera: Camera, height_mm: float) -> ThreadSight:
    """Return what one measured thread tells of its axis's angle.

    Parameters
    ----------
    shape
        The thread.
    camera, height_mm
        The camera, and the axis's height over the plate at the thread.
    """
    level = again(shape, camera, height_mm, 0.0)

    def at(deg: float) -> tuple[float, float]:
        turned = level if deg == 0.0 else again(shape, camera, height_mm, float(np.radians(deg)))
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
    per_deg, taper = line(angles, tapers)
    return ThreadSight(
        even=_by_drift(shape, camera, angles, squares),
        taper=float(taper),
        per_deg=float(per_deg),
        unfolded=_unfolded(level),
        u_taper=_u_taper(shape),
    )


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


def _unfolded(level: Measured) -> float:
    """Return the taper that the helix's shadow makes of a level thread off the optical axis.

    The shadow widens a diameter by (d / 2) T^2 / tan^2 a at a slant T, which grows by 1 / L along
    the thread. Crests have no slope, and no shadow.
    """
    if isinstance(level, CrestShape):
        return 0.0
    _, _, x = level.section.pinhole(level.frame)
    slant = -level.section.slant(level.frame, sum(level.span_mm) / 2)
    tan = float(np.mean(level.section.fit.tan_half))
    return float(level.pitch_diameter_mm * slant / (x * tan**2))


def _u_taper(shape: Measured) -> float:
    if isinstance(shape, CrestShape):
        return float(np.hypot(shape.u_taper, U_TAPER))
    return U_TAPER + (U_TAPER_NEAR - U_TAPER) * shape.nearness
