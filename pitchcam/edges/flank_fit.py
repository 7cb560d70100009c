"""The straight flanks of a thread, fitted together: pitch, half angles, pitch line and axis.

Every flank of every ridge on both sides is one straight line in the axial section, and all of
them hang together by few numbers. One linear least-squares fit takes the pitch, both half
angles, the ridge's width, the taper and the rest of the axis's position from all flank points
at once; using both flanks of both sides cancels what a single flank would get wrong.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.axial_points import FlankPoints, Groups
from pitchcam.frozen import dataclass
from pitchcam.small import distinct, median, solved

Values = NDArray[np.float64]


NAMES = ("phase", "pitch", "lag", "width", "tan+", "tan-", "offset", "slope+", "slope-")

#: Points farther off than so many standard deviations are not the thread's (judgement), and what is
#: left of a flank of which less than this share is: a grain's foot has a slope of its own.
FAR, MOSTLY = 3.5, 0.6
#: The least spread, mm: of whole flanks that of edges in photos, some 0.1 px, by which those differ
#: that nothing spoils; of points what keeps exact outlines exact.
LEAST_OF_FLANK_MM, LEAST_MM = 0.004, 1e-4
#: Rounds from least squares to the least sum of distances: the places settle to a tenth of the
#: points' scatter (drawn threads, a third of their flanks moved).
START_ROUNDS = 8
#: Flanks from which on the others tell which of them is spoiled: those of three turns.
FEWEST_TO_VOTE = 12
#: How many ridges of a side the starts leave out at its low and its high end: a run-out is one to
#: two turns long, a chamfer one.
ENDS = ((1, 0), (0, 1), (1, 1), (2, 0), (0, 2))
#: Flanks from which on two spoiled ridges a side, eight flanks, are too few to draw the others.
MANY_FLANKS = 32
#: Another start must leave less than this share of what the first one does: the least of several
#: is the lesser by chance alone (judgement; of a run-out that drew the fit a third was left).
CLEARLY = 0.8
#: Flanks from which on their scatter tells more than that of their points: twice the parameters.
FEWEST_FLANKS = 18
#: Whole flanks' variance over what their points make it, less one, times the root of its freedom,
#: as chance makes it one time in twenty (chi squared: 2.84, 2.83, 2.74 at one, two and four).
MORE_BY_CHANCE = 2.8
#: Share of a flank's scatter that a fit must leave for it to count.
LEAST_LEFT = 1e-6
#: Degrees of freedom that must be exceeded: up to two, Student's t has no variance, and nothing is
#: known of a scatter that is told by so few (JCGM 101, 6.4.9.4).
NO_VARIANCE = 2.0

_TANGENTS = np.array([name in ("tan+", "tan-") for name in NAMES])
#: What of the folding matrix is the same for all tangents.
_FOLD = np.concatenate([np.eye(6, len(NAMES)), np.zeros((6, len(NAMES)))])


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """What a fit's points leave of it.

    ``columns`` (12, n) is what the model is linear in, with the tangents ``tan``; ``rest_mm`` (n,)
    what remains, ``group`` (n,) a number for the flank that a point is of; ``per_point`` as in
    :func:`fit_flanks`.
    """

    columns: Values
    tan: Values
    rest_mm: Values
    group: NDArray[np.intp]
    per_point: float

    @cached_property
    def slopes(self) -> Values:
        """The derivatives of z by NAMES, (n, 9)."""
        return (_folded(self.tan).T @ self.columns).T

    @cached_property
    def flank(self) -> NDArray[np.intp]:
        """Which flank of which ridge a point is of, from 0 in their order, (n,)."""
        return np.asarray((np.cumsum(np.bincount(self.group) > 0) - 1)[self.group])

    @property
    def flanks(self) -> int:
        """How many flanks of ridges the points are of."""
        return int(self.flank.max()) + 1

    @property
    def by_flanks(self) -> bool:
        """Whether there are flanks enough to tell what each of them does."""
        return self.flanks >= FEWEST_FLANKS

    @property
    def degrees_of_freedom(self) -> float:
        """Of the covariance: by the flanks, or by independent points."""
        return float(max(self._freedom, 1.0))

    @property
    def _freedom(self) -> float:
        if self.by_flanks:
            return float(self.flanks - 1)
        return self.per_point * len(self.rest_mm) - len(NAMES)

    @property
    def determined(self) -> bool:
        """Whether enough is left over to tell how well the fit is known."""
        return self._freedom > NO_VARIANCE

    @property
    def rms_mm(self) -> float:
        """The points' standard deviation."""
        freedom = max(self.per_point * len(self.rest_mm) - len(NAMES), 1.0)
        return float(np.sqrt(self.per_point * (self.rest_mm @ self.rest_mm) / freedom))

    def covariance(self) -> Values:
        """Return the covariance of NAMES.

        Dirt, a nick or a worn crest moves or turns a flank of one ridge as a whole, which its
        points by themselves do not tell: what remains on each flank is one observation, less what
        the fit took of it (bias-reduced linearization: Bell and McCaffrey, Survey Methodology 28,
        2002). So few flanks that this says little count by their points. How well the scatter
        itself is known counts as Student's t has it (JCGM 101, 6.4.9.4).
        """
        inverse: Values = np.linalg.pinv(self.slopes.T @ self.slopes).astype(float)
        if not self.by_flanks:
            # A flank that lies off as a whole keeps its slope.
            by_points = _student(self._freedom) * self.rms_mm**2
            variance = np.where(_TANGENTS, by_points, max(by_points, self._of_wholes))
            u = np.sqrt(variance / self.per_point)
            return np.asarray(inverse * u * u[:, None])
        moved = self._pulls(inverse) @ inverse
        return np.asarray(_student(self._freedom) * (moved.T @ moved))

    @property
    def _of_wholes(self) -> float:
        """The points' variance that whole flanks show, where chance makes none so much, or 0."""
        size = np.bincount(self.flank)
        freedom, within = len(size) - len(NAMES), len(self.rest_mm) - len(size)
        if min(freedom, within) < 1:
            return 0.0
        mean = np.bincount(self.flank, self.rest_mm) / size
        alone = float(np.sum((self.rest_mm - mean[self.flank]) ** 2)) / within
        between = self.per_point * float(size @ mean**2) / freedom
        by_chance = (1 + MORE_BY_CHANCE / freedom**0.5) * alone
        return between * _student(freedom) if between > by_chance else 0.0

    def _pulls(self, inverse: Values) -> Values:
        """Return how each flank pulls at the normal equations, (flanks, 9)."""
        points = np.bincount(self.flank)
        of = np.split(np.argsort(self.flank, kind="stable"), np.cumsum(points)[:-1])
        pulls = np.empty((len(points), len(NAMES)))
        # Flanks of as many points at once.
        for many in np.flatnonzero(np.bincount(points)).tolist():
            which = np.flatnonzero(points == many)
            index = np.stack([of[k] for k in which])
            own, rest = self.slopes[index], self.rest_mm[index][..., None]
            left, axes = np.linalg.eigh(np.eye(many) - own @ inverse @ np.swapaxes(own, 1, 2))
            # What the fit took whole leaves nothing to tell.
            grow = np.where(left > LEAST_LEFT, 1 / np.sqrt(np.maximum(left, LEAST_LEFT)), 0.0)
            grown = axes @ (grow[..., None] * (np.swapaxes(axes, 1, 2) @ rest))
            pulls[which] = (np.swapaxes(own, 1, 2) @ grown)[..., 0]
        return pulls


def _student(freedom: float) -> float:
    """Return Student's t's variance: what a scatter of few observations is itself uncertain by."""
    freedom = max(freedom, NO_VARIANCE + 0.5)
    return freedom / (freedom - NO_VARIANCE)


@dataclass(frozen=True, kw_only=True)
class FlankFit:
    """What the flanks of one thread give, at the frame's origin z = 0.

    ``phase_mm`` is the middle of ridge 0 on the + side, ``lag_mm`` how far ridge 0 of the - side
    lies behind it; ``width_mm`` the ridge's width at ``ref_radius_mm``; ``tan_half`` the tangents
    of the half angles of the + and the - flank; ``offset_mm`` and ``turn_rad`` where the axis
    really lies (y = offset + turn z); ``taper`` the change of diameter per length.
    ``scatter`` is what the points leave of it.
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
    rms_mm: float
    used: NDArray[np.bool_]
    scatter: Scatter

    @cached_property
    def covariance(self) -> Values:
        """The covariance of NAMES, from the scatter of the points."""
        return self.scatter.covariance()

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
    fold = _FOLD.copy()
    # Columns 6, 8, 10 and 7, 9, 11 in those of the offset and both slopes.
    flat, beside = fold.reshape(-1), len(NAMES)
    flat[6 * beside + 6 :: 2 * beside + 1] = tan[0]
    flat[7 * beside + 6 :: 2 * beside + 1] = tan[1]
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
        If the points do not determine the fit: too few are left, or one flank or ridge only, or
        their ridges lie so far apart in number that no pitch can have counted them.

    Notes
    -----
    Deviations are measured along the axis. On a flank z = z_ridge + flank (w / 2 - (r - ref -
    slope z) tan a): an offset of the axis and the slopes of both sides come in through r. The
    mean of both slopes is half the taper, half their difference the axis's turn.
    """
    if len(p.r) <= len(NAMES):
        raise np.linalg.LinAlgError(f"only {len(p.r)} points on the flanks")
    ref = median(p.r)
    columns, (group, size) = _columns(p, ref), p.groups
    tan: Values = np.empty(2)
    tan[:] = tan_guess
    mostly = MOSTLY if np.count_nonzero(size) >= FEWEST_TO_VOTE else 0.0
    if use is None and mostly:
        use = _start(p, columns, tan, mostly)
    elif use is None:
        use = np.ones(len(p.z), bool)
    for _ in range(rounds):
        fold, used, before = _folded(tan), columns[:, use], tan
        # Columns in millimetres and whole numbers: the normal equations lose no digit that counts.
        normal = fold.T @ (used @ used.T) @ fold
        beta = solved(normal, fold.T @ (used @ p.z[use]))
        tan = beta[4:6]
        deviation = p.z - (fold @ beta) @ columns
        keep = _sound(deviation, p.groups, mostly, use)
        if (keep == use).all() and np.abs(tan - before).max() < 1e-6:
            break
        use = keep
    if np.count_nonzero(use) <= len(NAMES):
        raise np.linalg.LinAlgError("hardly a point lies on flanks of one thread")
    scatter = Scatter(
        columns=columns[:, use],
        tan=tan,
        rest_mm=deviation[use],
        group=group[use],
        per_point=per_point,
    )
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
        rms_mm=scatter.rms_mm,
        used=use,
        scatter=scatter,
    )


def _start(p: FlankPoints, columns: Values, tan: Values, mostly: float) -> NDArray[np.bool_]:
    """Return the points that the fit begins with.

    Flanks are spoiled at the ends, by chamfer and run-out, all to the same sense: of few turns
    they can draw the least sum of distances with them, off sound flanks of the middle. So where
    not all flanks lie on the first line, starts without the end ridges compete: that which is
    nearest to most points by far, the farther ones all alike, wins.
    """
    group, size = p.groups
    found = [_least_sum(columns, p.z, tan)]
    first = _flanks(group, _sound(found[0], p.groups, mostly))
    count = np.count_nonzero(size)
    odd = _spread(np.abs(found[0])) > LEAST_OF_FLANK_MM or len(first) < count
    if odd and count < MANY_FLANKS:
        for ends in ENDS:
            kept = _without_ends(p, ends)
            if len(_flanks(group, kept)) >= FEWEST_TO_VOTE and not kept.all():
                found.append(_least_sum(columns, p.z, tan, kept))
    far = FAR * max(min(_spread(np.abs(off)) for off in found), LEAST_OF_FLANK_MM)
    sums = [float(np.minimum(np.abs(off), far).sum()) for off in found]
    best = int(np.argmin(sums))
    return _sound(found[best if sums[best] < CLEARLY * sums[0] else 0], p.groups, mostly)


def _flanks(group: NDArray[np.intp], use: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return which flanks some of the points are of."""
    return distinct(group[use])


def _without_ends(p: FlankPoints, ends: tuple[int, int]) -> NDArray[np.bool_]:
    """Return which points are of no end ridge of their side: so many first, so many last ones."""
    kept = np.ones(len(p.z), bool)
    for side in (1.0, -1.0):
        own = p.side == side
        ridges = distinct(p.ridge[own])
        inner = ridges[ends[0] : len(ridges) - ends[1]]
        kept[own] = np.isin(p.ridge[own], inner)
    return kept


def _least_sum(
    columns: Values, z: Values, tan: Values, use: NDArray[np.bool_] | None = None
) -> Values:
    """Return deviations from the fit whose sum of distances is least: a third may be spoiled."""
    kept = np.ones(len(z)) if use is None else use.astype(float)
    weight = kept
    for _ in range(START_ROUNDS):
        slopes = _folded(tan).T @ columns
        weighted = slopes * weight
        beta = solved(weighted @ slopes.T, weighted @ z)
        tan = beta[4:6]
        deviation = z - beta @ slopes
        off = np.abs(deviation)
        weight = kept / np.maximum(off, max(median(off) / 2, LEAST_OF_FLANK_MM))
    return np.asarray(deviation)


def _spread(off: Values) -> float:
    """Return the standard deviation of distances from a fit, by their median."""
    return float(1.4826 * median(off))


def _sound(
    deviation: Values, groups: Groups, mostly: float, use: NDArray[np.bool_] | None = None
) -> NDArray[np.bool_]:
    """Return which points are near the fit, on flanks of whose points this share is."""
    off, (group, size) = np.abs(deviation), groups
    spread = _spread(off if use is None else off[use])
    whole = off < FAR * max(spread, LEAST_OF_FLANK_MM)
    share = np.bincount(group, whole) / np.maximum(size, 1)
    near = whole if use is None else off < FAR * max(spread, LEAST_MM)
    return np.asarray(near & (share[group] >= mostly))
