"""The terms of the fit itself: scatter of its points, and what the model of a thread leaves out."""

from __future__ import annotations

import numpy as np

from pitchcam.records import BudgetLine
from pitchcam.thread.budget.geometry import Geometry, by_pitch
from pitchcam.thread.measure import ThreadShape

#: Floors for what the model of a thread leaves out (crest form, roughness of the flanks):
#: judgement. The pitch as a share.
U_MODEL = {
    "pitch_mm": 0.0002, "major_mm": 0.015, "pitch_diameter_mm": 0.012, "minor_mm": 0.03,
    "angle_deg": 0.25, "taper": 0.0008,
}  # fmt: skip


def edge_noise(shape: ThreadShape, place: Geometry) -> BudgetLine:
    """Return what the scatter of the edge points contributes: type A, from this photo alone."""
    fit = shape.section.fit
    c = fit.covariance
    # d(angle) = d tan / (1 + tan^2) for each flank.
    slopes = np.degrees(1 / (1 + np.array(fit.tan_half) ** 2))
    width = np.sqrt(c[3, 3]) / sum(fit.tan_half)
    tips, roots = ([t.u_mm for t in both] for both in (shape.tips, shape.roots))
    observations = shape.section.per_point * int(np.sum(fit.used))
    return BudgetLine(
        source="edge noise", kind="A", correlated=False,
        degrees_of_freedom=max(observations - len(c), 1.0),
        contributions={
            "pitch_mm": float(np.sqrt(c[1, 1])),
            "major_mm": float(np.hypot(tips[0], tips[1])) if len(tips) == 2 else 0.0,
            "pitch_diameter_mm": 2 * float(width),
            "minor_mm": float(np.hypot(roots[0], roots[1])) if len(roots) == 2 else 0.0,
            "angle_deg": float(np.sqrt(slopes @ c[4:6, 4:6] @ slopes)),
            "taper": float(np.sqrt(max(c[7, 7] + c[8, 8] + 2 * c[7, 8], 0.0))),
        },
    )  # fmt: skip


def form(shape: ThreadShape, place: Geometry) -> BudgetLine:
    """Return the floors of what a thread's form leaves open."""
    return BudgetLine(
        source="form of the model", contributions=by_pitch(shape, U_MODEL), correlated=False
    )
