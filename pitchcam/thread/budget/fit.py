"""The terms of the fit itself: scatter of its points, and what the model of a thread leaves out."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.flank_fit import NAMES, FlankFit
from pitchcam.records import BudgetLine
from pitchcam.thread.budget.geometry import Geometry, by_pitch
from pitchcam.thread.measure import ThreadShape

Values = NDArray[np.float64]

#: Places of the fit's parameters in its covariance.
PITCH, WIDTH = NAMES.index("pitch"), NAMES.index("width")
TANGENTS = (NAMES.index("tan+"), NAMES.index("tan-"))
SLOPES = (NAMES.index("slope+"), NAMES.index("slope-"))

#: Floors for what the model of a thread leaves out: the forms of crests and roots, which go with
#: the pitch, and roughness. Lengths as shares of the pitch. Of 292 rendered threads the pitch
#: diameter is off against the major by 0.003 pitches more than edges and noise say, the minor by
#: nothing; 0.005 leaves room for what no render draws (judgement, as is the pitch; of the angle 0.1
#: degrees draw 106 known threads best). Tapers of 445 known threads of two seeds are as likely with
#: none of it as at 0.0001, by four units of the logarithm less so at 0.0003.
U_MODEL = {
    "pitch_mm": 0.0002,
    "major_mm": 0.005,
    "pitch_diameter_mm": 0.003,
    "minor_mm": 0.005,
    "angle_deg": 0.1,
    "taper": 0.0001,
}


def edge_noise(shape: ThreadShape, place: Geometry) -> BudgetLine:
    """Return what the scatter of points and flanks contributes: type A, from this photo alone."""
    fit = shape.section.fit
    c = fit.covariance
    tips, roots = ([t.u_mm for t in both] for both in (shape.tips, shape.roots))
    angle = _u(c, TANGENTS, np.degrees(1 / (1 + np.array(fit.tan_half) ** 2)))
    if shape.outlined is not None:
        angle += shape.outlined.share * (shape.outlined.u_noise_deg - angle)
    return BudgetLine(
        source="edge noise",
        kind="A",
        correlated=False,
        degrees_of_freedom=fit.scatter.degrees_of_freedom,
        contributions={
            "pitch_mm": _u(c, [PITCH], [1.0]),
            "major_mm": float(np.hypot(tips[0], tips[1])) if len(tips) == 2 else 0.0,
            "pitch_diameter_mm": _u(c, [PITCH, WIDTH, *TANGENTS], _diameter_slopes(fit)),
            "minor_mm": float(np.hypot(roots[0], roots[1])) if len(roots) == 2 else 0.0,
            "angle_deg": angle,
            "taper": _u(c, SLOPES, [1.0, 1.0]),
        },
    )


def _u(covariance: Values, places: Sequence[int], sensitivity: Sequence[float] | Values) -> float:
    """Return the standard uncertainty of what depends on some of the fit's parameters."""
    part, c = covariance[np.ix_(places, places)], np.asarray(sensitivity)
    return float(np.sqrt(max(c @ part @ c, 0.0)))


def _diameter_slopes(fit: FlankFit) -> Values:
    """Return the pitch diameter's derivatives by pitch, ridge width and both tangents.

    The pitch line lies where ridge and groove are equally wide: r = ref + (w - P / 2) / (sum tan).
    """
    tan = sum(fit.tan_half)
    by_tan = -2 * (fit.width_mm - fit.pitch_mm / 2) / tan**2
    return np.array([-1 / tan, 2 / tan, by_tan, by_tan])


def form(shape: ThreadShape, place: Geometry) -> BudgetLine:
    """Return the floors of what a thread's form leaves open."""
    floors = by_pitch(shape, U_MODEL)
    if shape.outlined is not None:
        floors["angle_deg"] += shape.outlined.share * shape.outlined.u_form_deg
    return BudgetLine(source="form of the model", contributions=floors, correlated=False)
