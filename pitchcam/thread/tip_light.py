"""The light along the middle of a crest or root, blurred.

Across the middle of a crest the light depends on how wide the ridge is at each radius: a ridge of
width w blurred by a Gaussian of standard deviation s covers erf(w / (2 sqrt 2 s)) of its centre
line. The flanks give w at every radius, so one number is left: the radius where the ridge ends.
A root is the same with groove for ridge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from pitchcam.normal import erf, ndtr
from pitchcam.thread.fitting import Section

Values = NDArray[np.float64]

#: Steps of the model's sum per standard deviation of the blur: more change nothing.
_STEPS = 6


@dataclass(frozen=True, kw_only=True)
class TipLight:
    """How dark the middle line of a crest (or root) is, for any radius of its end.

    ``sign`` is +1 for a crest and -1 for a root; ``meet_mm`` is the radius where the flanks would
    meet, beyond which no end can lie; ``y_mm`` are even radii, ascending; ``step_mm`` divides
    their distance; ``blur_mm`` is the blur's standard deviation.
    """

    sign: float
    meet_mm: float
    tan_sum: float
    y_mm: Values
    step_mm: float
    depth_mm: float
    blur_mm: float

    def dark(self, end: Values, is_round: Values) -> tuple[Values, Values]:
        """Return the dark share at every radius and its change per radius of the end.

        Parameters
        ----------
        end
            Radii of ends, (n, k).
        is_round
            1 for a tip that is a circle tangent to both flanks, 0 for one cut flat, (n, 1).

        Returns
        -------
        dark, slope
            Both (n, k, len(y_mm)).
        """
        short = np.maximum(self.sign * (self.meet_mm - end), 0.0)
        moves = self.sign * (self.meet_mm - end) > 0
        depth = np.arange(0.5, int(self.depth_mm / self.step_mm)) * self.step_mm
        width, wider = self._width(depth, short[..., None], is_round[..., None])
        scale = 1 / (2 * np.sqrt(2) * self.blur_mm)
        cover = erf(width * scale)
        change = 2 / np.sqrt(np.pi) * np.exp(-((width * scale) ** 2)) * scale * wider
        # Heights over the end are even, so the kernel is one row from which windows are taken.
        ratio = int(round((self.y_mm[1] - self.y_mm[0]) / self.step_mm))
        rise = self.sign * (self.y_mm - self.meet_mm)
        lowest = rise.min() + short
        count = (len(self.y_mm) - 1) * ratio + len(depth)
        row = lowest[..., None] + depth[0] + np.arange(count) * self.step_mm
        kernel = np.exp(-0.5 * (row / self.blur_mm) ** 2)
        kernel *= self.step_mm / (np.sqrt(2 * np.pi) * self.blur_mm)
        falls = -row / self.blur_mm**2 * kernel
        windows = _windows(np.stack([kernel, falls]), len(depth), ratio)
        sums = windows @ np.stack([cover, change], axis=-1)
        share, slope = sums[0, ..., 0], sums[0, ..., 1] + sums[1, ..., 0]
        # Below the last step all is covered.
        beneath = lowest[..., None] + np.arange(len(self.y_mm)) * ratio * self.step_mm + depth[-1]
        beneath = (beneath + self.step_mm / 2) / self.blur_mm
        share = share + ndtr(-beneath)
        slope = slope - np.exp(-0.5 * beneath**2) / (np.sqrt(2 * np.pi) * self.blur_mm)
        slope = -slope * moves[..., None]
        if self.sign < 0:
            # What is covered in a groove is light, and heights run down.
            return 1 - share[..., ::-1], slope[..., ::-1]
        return share, slope

    def _width(self, depth: Values, short: Values, is_round: Values) -> tuple[Values, Values]:
        """Return the width at depths below the end, and its change per length cut off."""
        straight = self.tan_sum * (short + depth)
        sine = np.sin(np.arctan(self.tan_sum / 2))
        # A circle tangent to both flanks whose top is the end: its radius follows from the
        # distance of the end from the flanks' meeting point.
        grow = 1 / (1 / sine - 1)
        radius = grow * short
        chord = 2 * np.sqrt(np.maximum(depth * (2 * radius - depth), 1e-12))
        curved = (is_round > 0) & (depth < radius * (1 - sine))
        width = np.where(curved, chord, straight)
        return width, np.where(curved, 4 * grow * depth / chord, self.tan_sum)


def _windows(row: Values, length: int, step: int) -> Values:
    # A copy in order multiplies quicker than rows that overlap.
    return np.ascontiguousarray(sliding_window_view(row, length, axis=-1)[..., ::step, :])


def tip_light(
    section: Section, y_mm: Values, blur_mm: float, lowest_mm: float, highest_mm: float,
    *, groove: bool,
) -> TipLight:  # fmt: skip
    """Return the model of a thread's crests or roots, whose ends lie between two radii.

    Parameters
    ----------
    section
        The fitted flanks, as seen.
    y_mm
        Even radii at which the light was read, ascending.
    blur_mm
        Standard deviation of the blur.
    lowest_mm, highest_mm
        Between them lie the ends.
    groove
        Roots instead of crests.
    """
    seen = section.seen
    tan_sum = float(sum(seen.tan_half))
    width = seen.width_mm - (abs(seen.pitch_mm) if groove else 0.0)
    apart = float(y_mm[1] - y_mm[0])
    reach = (y_mm.max() - lowest_mm) if groove else (highest_mm - y_mm.min())
    return TipLight(
        sign=-1.0 if groove else 1.0, meet_mm=seen.ref_radius_mm + width / tan_sum,
        tan_sum=tan_sum, y_mm=y_mm, step_mm=apart / np.ceil(_STEPS * apart / blur_mm),
        depth_mm=float(reach) + 4 * blur_mm, blur_mm=blur_mm,
    )  # fmt: skip
