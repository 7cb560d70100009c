"""Crest spacing by spectral analysis of both sides: a fundamental with harmonics.

A windowed spectrum shows the peak; the estimate itself is a non-linear least-squares fit of the
fundamental and its harmonics to both sides at once, on top of a straight crest line each. That
reaches the bound for a tone with harmonics (var(w) >= 24 s^2 / (N (N^2 - 1) sum l^2 A_l^2)),
where the peak of a windowed transform with few turns does not.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.sight import Sight
from pitchcam.errors import OutlineError
from pitchcam.objects.axis import Points
from pitchcam.objects.frame import AxisFrame

Values = NDArray[np.float64]

HARMONICS = 4
#: Zooms after which a step is 4e-5 of the period; a parabola does the rest.
_ZOOMS = 4


def side_profiles(
    outline: Points, frame: AxisFrame, span_mm: tuple[float, float], *, step_mm: float | None = None
) -> tuple[Values, Values, Values]:
    """Return both sides' radii over even stations along the axis, mm.

    Raises
    ------
    OutlineError
        If nothing of a side lies on the span.
    """
    zy = frame.from_photo(outline)
    inside = (zy[:, 0] > span_mm[0]) & (zy[:, 0] < span_mm[1])
    zy = zy[inside]
    step = step_mm or max((span_mm[1] - span_mm[0]) / 400, 1e-3)
    z = np.arange(span_mm[0], span_mm[1], step)
    sides = []
    for sign in (1, -1):
        side = zy[zy[:, 1] * sign > 0]
        if not len(side):
            raise OutlineError("one side of the thread shows no outline")
        order = np.argsort(side[:, 0], kind="stable")
        sides.append(np.interp(z, side[order, 0], np.abs(side[order, 1])))
    return z, sides[0], sides[1]


def spectrum(z: Values, upper: Values, lower: Values, pitch_mm: float) -> tuple[Values, Values]:
    """Return (periods per mm, amplitude in mm) of both sides' mean power up to six pitches."""
    step = float(z[1] - z[0])
    window = np.hanning(len(z))
    size = 8 * len(z)
    power = np.zeros(size // 2 + 1)
    for side in (upper, lower):
        flat = side - np.polyval(np.polyfit(z, side, 1), z)
        power += np.abs(np.fft.rfft(flat * window, size)) ** 2
    frequency = np.fft.rfftfreq(size, step)
    keep = frequency < 6 / pitch_mm
    amplitude = 2 * np.sqrt(power / 2) / window.sum()
    return np.asarray(frequency[keep], float), np.asarray(amplitude[keep], float)


def tone_period(z: Values, sides: tuple[Values, ...], guess_mm: float) -> float:
    """Return the period that fundamental and harmonics of all sides share.

    Parameters
    ----------
    z
        Even stations, mm.
    sides
        Radii at the stations, one array per side, mm.
    guess_mm
        Start within a tenth of the period.
    """
    trial = np.linspace(0.92, 1.08, 65) * guess_mm
    seen = np.stack(sides, axis=1)
    # Ever finer: each time what lies between the best one's neighbours is parted in eight.
    for _ in range(_ZOOMS):
        explained = _explained(z, seen, trial)
        best = int(np.argmax(explained))
        step = trial[1] - trial[0]
        trial = trial[best] + step * np.linspace(-1, 1, 9)
    # A parabola through the last three.
    at = int(np.clip(best, 1, len(explained) - 2))
    low, middle, high = explained[at - 1 : at + 2]
    bend = low - 2 * middle + high
    shift = 0.5 * (low - high) / bend if bend < 0 else 0.0
    return float(trial[4] + step * (shift + at - best))


def _explained(z: Values, seen: Values, periods: Values) -> Values:
    """Return how much of the sides' squares (n, sides) each period's waves explain."""
    model = np.empty((len(periods), 2 + 2 * HARMONICS, len(z)))
    model[:, 0], model[:, 1] = 1.0, z / np.ptp(z)
    turn = np.exp(2j * np.pi * z / periods[:, None])
    wave = np.ones_like(turn)
    for k in range(HARMONICS):
        wave *= turn
        model[:, 2 + 2 * k], model[:, 3 + 2 * k] = wave.real, wave.imag
    along = model @ seen
    weights = np.linalg.solve(model @ np.swapaxes(model, 1, 2), along)
    out: Values = np.sum(along * weights, axis=(1, 2))
    return out


def spectral_spacing(sight: Sight) -> float:
    """Return the crests' spacing from fundamental and harmonics of both sides' outlines, mm."""
    region, mm_per_px = sight.region, sight.mm_per_px
    half = 0.5 * (region.end_px - region.start_px) * mm_per_px
    z, upper, lower = side_profiles(sight.outline_px, sight.frame, (-half, half))
    return tone_period(z, (upper, lower), region.spacing_px * mm_per_px)
