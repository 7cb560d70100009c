"""Threads whose flanks tell little of their angle are asked by their whole outline."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from typing import TypeVar

import numpy as np

from pitchcam.records import BudgetLine
from pitchcam.thread.aslant.angle import flanks_outline_angle, outline_angle
from pitchcam.thread.budget import Geometry, budget
from pitchcam.thread.budget.edges import bent_flanks
from pitchcam.thread.budget.fit import edge_noise
from pitchcam.thread.crest_lines import CrestShape
from pitchcam.thread.measure import ThreadShape

Shape = TypeVar("Shape", CrestShape, ThreadShape)

#: Standard uncertainty of an angle by straight flanks from which on the outline is asked, degrees:
#: below, it is weighed at a tenth and less.
LEAST_U_DEG = 0.7
#: Correlation of both angles' errors, which share points and light (35 known threads of fewer than
#: 26 pixels a pitch in renders: 0.54).
ALIKE = 0.5
#: Standard deviations by which both angles differ by chance; what is more is that one of them reads
#: light as form, and nothing tells which (of a thread of 9 pixels a pitch over a panel 40 mm below,
#: 58 and 66 degrees, each to 2): the angle lies anywhere between.
BY_CHANCE = 2.0


def budgeted(shape: Shape, place: Geometry) -> tuple[Shape, tuple[BudgetLine, ...]]:
    """Return a thread as :func:`with_outline` does, and its budget."""
    shape = with_outline(shape, place)
    return shape, budget(shape, place)


def with_outline(shape: Shape, place: Geometry) -> Shape:
    """Return a thread with the angle that its whole outline tells, where that is worth asking.

    Seen by its crests, it is where some of its flanks are seen: wholly hidden ones are left to the
    forms that are held against the outline. An outline that tells none leaves the shape as it is.
    """
    with suppress(np.linalg.LinAlgError):
        if isinstance(shape, CrestShape):
            if shape.half_angles_deg is not None:
                return replace(shape, outlined=outline_angle(shape, place.u_slope_rad))
            return shape
        terms = (bent_flanks(shape, place), edge_noise(shape, place))
        u = float(np.linalg.norm([t.contributions["angle_deg"] for t in terms if t is not None]))
        if u > LEAST_U_DEG:
            told = flanks_outline_angle(shape, place.u_slope_rad)
            # The mean of the least variance.
            both = ALIKE * u * told.u_deg
            apart = u**2 + told.u_deg**2 - 2 * both
            share = float(np.clip((u**2 - both) / apart, 0.0, 1.0))
            differ = told.at(shape.section.slant(shape.frame)) - shape.section.fit.angle_deg
            more = _between(float(np.sqrt(max(differ**2 - BY_CHANCE**2 * apart, 0.0))), share)
            return replace(shape, outlined=replace(told, share=share, u_apart_deg=more))
    return shape


def _between(apart: float, share: float) -> float:
    """Return the rms distance of what lies anywhere between two values from a mean of both.

    The mean lies by ``share`` of their distance from the first.
    """
    return apart * float(np.sqrt(1 / 3 - share + share**2))
