"""The straight flanks of a thread, fitted together: pitch, half angles, pitch line and axis.

Every flank of every ridge on both sides is one straight line in the axial section, and all of
them hang together by few numbers. One linear least-squares fit takes the pitch, both half
angles, the ridge's width, the taper and the rest of the axis's position from all flank points
at once; using both flanks of both sides cancels what a single flank would get wrong.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class FlankPoints:
    """Points on flanks in the axial section.

    ``z``, ``r`` in mm; ``side`` and ``flank`` as +1/-1; ``ridge`` the whole number of the ridge
    on its side, counted so that the same number on both sides is half a pitch apart or less.
    """

    z: Values
    r: Values
    side: Values
    flank: Values
    ridge: Values


@dataclass(frozen=True, kw_only=True)
class FlankFit:
    """What the flanks of one thread give, with the covariance of the numbers.

    ``phase_mm`` is the middle of ridge 0 on the + side, ``lag_mm`` that of the - side after it;
    ``width_mm`` is the ridge's width at ``ref_radius_mm``; ``tan_half`` the tangents of the half
    angles of the + and the - flank; ``offset_mm`` and ``turn`` move the axis: y = offset +
    turn z; ``parameters`` lists all in the order of ``covariance``.
    """

    pitch_mm: float
    phase_mm: float
    lag_mm: float
    width_mm: float
    tan_half: tuple[float, float]
    offset_mm: float
    ref_radius_mm: float
    covariance: Values
    rms_mm: float
    used: NDArray[np.bool_]

    @property
    def half_angles_deg(self) -> tuple[float, float]:
        """Half angles of the + and the - flank, to the normal of the axis."""
        a, b = np.degrees(np.arctan(self.tan_half))
        return float(a), float(b)

    @property
    def angle_deg(self) -> float:
        """The included angle."""
        return sum(self.half_angles_deg)

    @property
    def pitch_radius_mm(self) -> float:
        """The radius at which ridge and groove are equally wide."""
        return self.ref_radius_mm + (self.width_mm - self.pitch_mm / 2) / sum(self.tan_half)


NAMES = ("phase", "pitch", "lag", "width", "tan+", "tan-", "offset")


def _design(p: FlankPoints, ref: float) -> tuple[Values, Values]:
    """Return the linear model of z: columns as NAMES."""
    depth = p.r - ref
    plus, minus = p.flank > 0, p.flank < 0
    one = np.ones_like(p.z)
    columns = [
        one,
        p.ridge,
        (p.side < 0) * one,
        p.flank / 2,
        -depth * plus,
        depth * minus,
        np.zeros_like(one),
    ]
    return np.stack(columns, axis=1), p.z


def fit_flanks(p: FlankPoints, *, taper: float, tan_guess: float, rounds: int = 6) -> FlankFit:
    """Fit all flanks of a thread in the axial section.

    Parameters
    ----------
    p
        Flank points; ``r`` from the present axis.
    taper
        Change of diameter per length: the ridges of a taper thread step outward by it, while
        their flanks keep their angle to the axis.
    tan_guess
        Start for the tangent of the half angles.

    Notes
    -----
    Deviations are measured along the axis. The axis's sideways offset changes r by -side times
    it and is fitted with the rest; a turn of the axis is left to the caller's taper and axis
    lines, since it is one number with the difference of both sides' tapers.
    """
    ref = float(np.median(p.r))
    use = np.ones(len(p.z), bool)
    tan = np.array([tan_guess, tan_guess])
    beta = np.zeros(7)
    for _ in range(rounds):
        radius = p.r - 0.5 * taper * p.z
        model, z = _design(
            FlankPoints(z=p.z, r=radius, side=p.side, flank=p.flank, ridge=p.ridge), ref
        )
        slope = np.where(p.flank > 0, tan[0], tan[1])
        model[:, 6] = p.flank * p.side * slope
        beta, *_ = np.linalg.lstsq(model[use], z[use], rcond=None)
        tan = beta[4:6]
        deviation = z - model @ beta
        spread = 1.4826 * float(np.median(np.abs(deviation[use])))
        use = np.abs(deviation) < 3.5 * max(spread, 1e-4)
    residual = (z - model @ beta)[use]
    freedom = max(int(use.sum()) - 7, 1)
    variance = float(residual @ residual) / freedom
    covariance = np.linalg.pinv(model[use].T @ model[use]) * variance
    return FlankFit(
        pitch_mm=float(beta[1]), phase_mm=float(beta[0]), lag_mm=float(beta[2]),
        width_mm=float(beta[3]), tan_half=(float(tan[0]), float(tan[1])),
        offset_mm=float(beta[6]), ref_radius_mm=ref, covariance=covariance,
        rms_mm=float(np.sqrt(variance)), used=use,
    )  # fmt: skip
