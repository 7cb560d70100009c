"""The basic profile of a thread as a polyline at true size, for bin labels."""

from __future__ import annotations

import math
from collections.abc import Callable

from pitchcam.series import ThreadSize

#: Straight pieces that a rounded crest or root is drawn with: under 2 µm off at a 4 mm pitch.
_ARC_STEPS = 12

#: Families of Whitworth and BA form have round crests and roots (BS 84, ISO 228-1, ISO 7-1,
#: BS 93); those at 60 degrees are drawn with flats (ISO 68-1).
_ROUND_BELOW_DEG = 58.0

Point = tuple[float, float]


def basic_profile(size: ThreadSize, length_mm: float) -> list[Point]:
    """Return the axial section of one side, from a groove's middle on, in mm.

    Parameters
    ----------
    size
        The thread; taper threads have their large end at the end of the polyline.
    length_mm
        Length along the axis.

    Returns
    -------
    list of (z, r)
        Position along the axis and radius. The radius is the basic one at the end of a parallel
        thread, and at the gauge plane, placed in the middle, of a taper thread.

    Notes
    -----
    By construction: flanks pass the pitch diameter at a quarter of the pitch from the middle of
    the ridge; crest and root are cut flat, or rounded with the radius that touches both flanks.
    """
    half = math.radians(size.angle_deg / 2)
    pitch_r = size.basic_pitch_diameter_mm / 2
    above = size.basic_major_mm / 2 - pitch_r
    below = pitch_r - size.basic_minor_mm / 2
    rounded = size.angle_deg < _ROUND_BELOW_DEG
    ridge = _turn(size.pitch_mm, half, above, rounded)
    groove = _turn(size.pitch_mm, half, below, rounded)
    lean = size.taper / 2
    points: list[Point] = []
    for turn in range(math.ceil(length_mm / size.pitch_mm)):
        middle = (turn + 0.5) * size.pitch_mm
        points += _shifted(groove[len(groove) // 2 :], middle - size.pitch_mm / 2, -1.0)
        points += _shifted(ridge, middle, 1.0)
        points += _shifted(groove[: (len(groove) + 1) // 2], middle + size.pitch_mm / 2, -1.0)
    return [(z, pitch_r + r + lean * (z - length_mm / 2)) for z, r in points if z <= length_mm]


def _turn(pitch: float, half_rad: float, top: float, rounded: bool) -> list[Point]:
    """Return one ridge above the pitch line, (z from its middle, height), left to right."""
    flank: Callable[[float], float] = lambda y: pitch / 4 - y * math.tan(half_rad)  # noqa: E731
    if not rounded:
        return [(-pitch / 4, 0.0), (-flank(top), top), (flank(top), top), (pitch / 4, 0.0)]
    apex = pitch / 4 / math.tan(half_rad)
    radius = (apex - top) * math.sin(half_rad) / (1 - math.sin(half_rad))
    centre = top - radius
    reach = math.pi / 2 - half_rad
    angles = [reach * (2 * i / _ARC_STEPS - 1) for i in range(_ARC_STEPS + 1)]
    arc = [(radius * math.sin(a), centre + radius * math.cos(a)) for a in angles]
    return [(-pitch / 4, 0.0), *arc, (pitch / 4, 0.0)]


def _shifted(points: list[Point], middle: float, sign: float) -> list[Point]:
    return [(middle + z, sign * y) for z, y in points]
