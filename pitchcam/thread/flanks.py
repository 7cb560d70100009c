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
    """What the flanks of one thread give, at the frame's origin z = 0.

    ``phase_mm`` is the middle of ridge 0 on the + side, ``lag_mm`` how far ridge 0 of the - side
    lies behind it; ``width_mm`` the ridge's width at ``ref_radius_mm``; ``tan_half`` the tangents
    of the half angles of the + and the - flank; ``offset_mm`` and ``turn_rad`` where the axis
    really lies (y = offset + turn z); ``taper`` the change of diameter per length.
    ``covariance`` is that of NAMES, from the scatter of the points, each flank of each ridge
    counted as one observation per blur width.
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


NAMES = ("phase", "pitch", "lag", "width", "tan+", "tan-", "offset", "slope+", "slope-")


def _columns(p: FlankPoints, ref: float) -> Values:
    """Return what the model of z is linear in, (n, 12): the last six stand beside a tangent."""
    depth = p.r - ref
    plus, minus = p.flank > 0, p.flank < 0
    above, below = p.side > 0, p.side < 0
    return np.stack(
        [
            np.ones_like(p.z),
            p.ridge,
            below,
            p.flank / 2,
            -depth * plus,
            depth * minus,
            *(
                p.flank * part * on
                for part in (p.side, p.z * above, p.z * below)
                for on in (plus, minus)
            ),
        ],
        axis=1,
    )


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
    ref = float(np.median(p.r))
    columns = _columns(p, ref)
    use = np.ones(len(p.z), bool) if use is None else use
    tan = np.broadcast_to(np.asarray(tan_guess, float), (2,))
    for _ in range(rounds):
        fold, used, before = _folded(tan), columns[use], tan
        # Columns in millimetres and whole numbers: the normal equations lose no digit that counts.
        normal = fold.T @ (used.T @ used) @ fold
        beta = np.linalg.solve(normal, fold.T @ (used.T @ p.z[use]))
        tan = beta[4:6]
        deviation = p.z - columns @ (fold @ beta)
        spread = 1.4826 * float(np.median(np.abs(deviation[use])))
        keep = np.abs(deviation) < 3.5 * max(spread, 1e-4)
        if (keep == use).all() and np.abs(tan - before).max() < 1e-6:
            break
        use = keep
    residual = deviation[use]
    freedom = max(per_point * use.sum() - len(NAMES), 1.0)
    variance = per_point * float(residual @ residual) / freedom
    fold = _folded(tan)
    normal = fold.T @ (columns[use].T @ columns[use]) @ fold
    covariance = np.linalg.pinv(normal) * variance / per_point
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
        covariance=covariance,
        rms_mm=float(np.sqrt(variance)),
        used=use,
    )
