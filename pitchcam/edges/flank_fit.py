"""The straight flanks of a thread, fitted together: pitch, half angles, pitch line and axis.

Every flank of every ridge on both sides is one straight line in the axial section, and all of
them hang together by few numbers. One linear least-squares fit takes the pitch, both half
angles, the ridge's width, the taper and the rest of the axis's position from all flank points
at once; using both flanks of both sides cancels what a single flank would get wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pitchcam.small import median

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
    """What the flanks of one thread give, at the frame's origin z = 0.

    ``phase_mm`` is the middle of ridge 0 on the + side, ``lag_mm`` how far ridge 0 of the - side
    lies behind it; ``width_mm`` the ridge's width at ``ref_radius_mm``; ``tan_half`` the tangents
    of the half angles of the + and the - flank; ``offset_mm`` and ``turn_rad`` where the axis
    really lies (y = offset + turn z); ``taper`` the change of diameter per length.
    ``normal`` (9, 9) is the matrix of the normal equations for NAMES, ``u_squared`` the variance
    of one point that stands for its scatter, each flank of each ridge counted as one observation
    per blur width.
    """

    pitch_mm: float
    phase_mm: float
    lag_mm: float
    width_mm: float
    tan_half: tuple[float, float]
    offset_mm: float
    turn_rad: float
    taper: float
    ref_radius_mm: float
    normal: Values
    u_squared: float
    rms_mm: float
    used: NDArray[np.bool_]

    @cached_property
    def covariance(self) -> Values:
        """That of NAMES, (9, 9)."""
        return np.asarray(np.linalg.pinv(self.normal) * self.u_squared, float)

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


NAMES = ("phase", "pitch", "lag", "width", "tan+", "tan-", "offset", "slope+", "slope-")


def _columns(p: FlankPoints, ref: float) -> Values:
    """Return what the model of z is linear in, (12, n): the last six stand beside a tangent."""
    depth = p.r - ref
    plus = p.flank > 0
    half, below = p.flank / 2, p.side < 0
    out = np.empty((12, len(p.z)))
    out[0], out[1], out[2], out[3] = 1.0, p.ridge, below, half
    out[4], out[5] = np.where(plus, -depth, 0.0), np.where(plus, 0.0, depth)
    slopes = p.flank * p.z
    out[6], out[8] = p.flank * p.side, np.where(below, 0.0, slopes)
    out[10] = np.where(below, slopes, 0.0)
    out[7::2] = out[6::2]
    out[6::2] *= plus
    out[7::2] *= ~plus
    return out


def _folded(tan: Values) -> Values:
    """Return the matrix (12, 9) that folds the columns to those of NAMES."""
    fold = np.zeros((12, len(NAMES)))
    fold[np.arange(6), np.arange(6)] = 1.0
    for k in range(3):
        fold[6 + 2 * k : 8 + 2 * k, 6 + k] = tan
    return fold


def fit_flanks(
    p: FlankPoints,
    *,
    tan_guess: float | Values,
    per_point: float = 1.0,
    use: NDArray[np.bool_] | None = None,
    rounds: int = 6,
) -> FlankFit:
    """Fit all flanks of a thread in the axial section.

    Parameters
    ----------
    p
        Flank points; ``r`` from the present axis, z from the frame's origin.
    tan_guess
        Start for the tangents of the half angles, one for both flanks or (2,).
    per_point
        Independent observations per point: below one where points lie closer together than the
        blur, so that neighbours share their noise.
    use
        The points to begin with, all by default.
    rounds
        Repetitions, in each of which points far from the fit are left out.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the points do not determine the fit: too few are left, or one flank or ridge only.

    Notes
    -----
    Deviations are measured along the axis. On a flank z = z_ridge + flank (w / 2 - (r - ref -
    slope z) tan a): an offset of the axis and the slopes of both sides come in through r. The
    mean of both slopes is half the taper, half their difference the axis's turn.
    """
    if len(p.r) <= len(NAMES):
        raise np.linalg.LinAlgError(f"only {len(p.r)} points on the flanks")
    ref = median(p.r)
    columns = _columns(p, ref)
    use = np.ones(len(p.z), bool) if use is None else use
    tan = np.broadcast_to(np.asarray(tan_guess, float), (2,))
    for _ in range(rounds):
        fold, used, before = _folded(tan), columns[:, use], tan
        # Columns in millimetres and whole numbers: the normal equations lose no digit that counts.
        normal = fold.T @ (used @ used.T) @ fold
        beta = np.linalg.solve(normal, fold.T @ (used @ p.z[use]))
        tan = beta[4:6]
        deviation = p.z - (fold @ beta) @ columns
        off = np.abs(deviation)
        keep = off < 3.5 * max(1.4826 * median(off[use]), 1e-4)
        if (keep == use).all() and np.abs(tan - before).max() < 1e-6:
            break
        use = keep
    residual = deviation[use]
    freedom = max(per_point * use.sum() - len(NAMES), 1.0)
    variance = per_point * float(residual @ residual) / freedom
    fold, used = _folded(tan), columns[:, use]
    return FlankFit(
        pitch_mm=float(beta[1]),
        phase_mm=float(beta[0]),
        lag_mm=float(beta[2]),
        width_mm=float(beta[3]),
        tan_half=(float(tan[0]), float(tan[1])),
        offset_mm=float(beta[6]),
        turn_rad=float(beta[7] - beta[8]) / 2,
        taper=float(beta[7] + beta[8]),
        ref_radius_mm=ref,
        normal=fold.T @ (used @ used.T) @ fold,
        u_squared=variance / per_point,
        rms_mm=float(np.sqrt(variance)),
        used=use,
    )
