"""Flanks that are not straight: by how much their outer half opens more than the inner one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pitchcam.edges.flank_points import Flanks
from pitchcam.edges.section import Section, fit_again
from pitchcam.objects.frame import AxisFrame
from pitchcam.small import median

#: Multiple of the standard uncertainties up to which a bend is chance: neighbouring points share
#: more of their noise than the fit counts.
CHANCE = 2.0
#: The next ridge shades a flank's foot, and a little higher the panel is free: most of what
#: mirrored light moves of an edge up its flank it moves in the inner half, which opens. By so much
#: of what it moves of the whole edge the rise of the inner half is the larger, and that share's
#: standard uncertainty (98 known threads in renders that are not worn: likelier than with none of
#: it by 28 units of the logarithm; black ones show none).
LIGHT_BENDS, U_LIGHT_BENDS = 0.48, 0.31


def bend(
    flanks: Flanks, section: Section, frame: AxisFrame, spacing_mm: float, moved_px: float
) -> float:
    """Return by how much the flanks' outer half opens more than the inner one, degrees.

    What light makes of it and what chance does are taken off: straight flanks have no bend.

    Parameters
    ----------
    flanks
        Points moved to the edges.
    section
        The fit to them.
    frame
        In which they are seen.
    spacing_mm
        Of the ridges.
    moved_px
        How far mirrored light moves the edges (:func:`pitchcam.edges.flanks.moved_px`).
    """
    middle = median(flanks.below)
    angles, variances = [], []
    for part in (flanks.below <= middle, flanks.below > middle):
        own = replace(section, fit=replace(section.fit, used=section.fit.used[part]))
        try:
            half = fit_again(own, flanks.only(part), frame, spacing_mm).fit
        except np.linalg.LinAlgError:
            return 0.0
        slopes = np.degrees(1 / (1 + np.array(half.tan_half) ** 2))
        angles.append(half.angle_deg)
        variances.append(float(slopes @ half.covariance[4:6, 4:6] @ slopes))
    by_light = 2 * _turned_deg(flanks, section, frame) * moved_px
    bent = angles[0] - angles[1] + LIGHT_BENDS * by_light
    variance = sum(variances) + (U_LIGHT_BENDS * by_light) ** 2
    left = max(bent**2 - CHANCE**2 * variance, 0.0)
    return float(np.copysign(np.sqrt(left), bent))


def _turned_deg(flanks: Flanks, section: Section, frame: AxisFrame) -> float:
    """Return what an edge that rises by a pixel from foot to top turns of a flank, degrees."""
    used = section.fit.used
    cosine = np.cos(np.arctan(np.mean(section.fit.tan_half)))
    along_px = float(np.std(section.points.r[used])) / cosine / frame.mm_per_px
    return float(np.degrees(np.std(flanks.height[used]) / along_px))
