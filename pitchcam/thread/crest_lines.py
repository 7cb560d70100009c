"""A thread whose grooves are hidden: pitch, major diameter and taper from its crests alone.

Seen under a slant, the ellipses of the crests cover the grooves, and no straight flank is left to
fit. The crests themselves stay where they are: each is the farthest point of its ridge, square to
the line of sight. The angle is told where a side still shows some
of its flanks (:mod:`pitchcam.thread.visible_flanks`).
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.crest_edges import CrestSide, crest_edge
from pitchcam.edges.sight import Sight
from pitchcam.errors import OutlineError
from pitchcam.frozen import dataclass
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.frame import AxisFrame
from pitchcam.small import median, solved
from pitchcam.thread.low_crests import lines_of_crests
from pitchcam.thread.outlined import OutlineAngle
from pitchcam.thread.visible_flanks import Along, visible_angle

Values = NDArray[np.float64]

#: How far outside a sharp edge the outline at LIT_LEVEL lies, in blurs, by the normal distribution.
LEVEL_BLURS = 1.04
#: What stays open of a crest's edge, pixels, besides what the fit of its light leaves open: one
#: panel's and one surface's light for all crests of a side.
U_EDGE_PX = 0.15
#: A crest's place is looked for within this share of a spacing on either side.
REACH = 0.2
#: Crests that a side must show, and both sides together: two whole ones beside one that a chamfer
#: turned down, three on the other.
FEWEST_CRESTS, BOTH_SIDES = 2, 5
#: What crests that are whole scatter by at least, pixels: an outline's crossings do by as much; and
#: the rounds in which least absolute deviations settle.
SCATTER_PX, ABSOLUTE_ROUNDS = 0.1, 20
#: They have settled where a round moves them by less than this share of that scatter: they choose
#: the crests of the last fit, and nothing else.
SETTLED = 1e-3
#: What worn ones do, pixels, and for how many crests that counts: three crests on a line by chance
#: do not make it certain (judgement).
WORN_PX, USUAL_WEIGHT = 0.4, 2
#: How far along the axis the tops of end crests stand off, in pitches: a chamfer or a run-out takes
#: one flank of an end in ten (see ``low_crests``), and moves the top by a tenth. 304 ends of
#: renders stand off by 0.036, rms, outward as often as inward.
END_ALONG = 0.036


@dataclass(frozen=True, kw_only=True)
class CrestPoints:
    """Crests in the photo, (n, 2) pixels on their true edges, with their side and number."""

    xy: Values
    side: Values
    number: Values


@dataclass(frozen=True, kw_only=True)
class CrestShape:
    """A thread measured by its crests: the geometry it was measured with and what came out.

    ``pitch_mm``, ``major_mm`` and ``taper`` are on the thread's own axis, the diameter at the
    frame's origin; ``u_pitch_mm``, ``u_major_mm``, ``u_taper`` and ``u_edge_mm`` are standard
    uncertainties from the crests' scatter, and of their edges; ``mm_per_px`` is the scale on the
    axis. ``outlined`` is the angle by the whole outline, where that was asked.
    """

    crests: CrestPoints
    sight: Sight
    pitch_mm: float
    major_mm: float
    taper: float
    u_pitch_mm: float
    u_major_mm: float
    u_taper: float
    u_edge_mm: float
    lag: float
    span_mm: tuple[float, float]
    outlined: OutlineAngle | None = None

    @property
    def signed_slant(self) -> float:
        """Tangent of the angle at which rays meet the axis's normal plane, along z."""
        return self.frame.slant()

    @property
    def half_angles_deg(self) -> tuple[float, float] | None:
        """Those of the + and the - flank; None where no side shows its flanks."""
        return None if self._flanks is None else self._flanks[:2]

    @property
    def u_angle_deg(self) -> float:
        """The included angle's standard uncertainty by what is left of flanks, 0 without them."""
        return 0.0 if self._flanks is None else self._flanks[2]

    @cached_property
    def _flanks(self) -> tuple[float, float, float] | None:
        # On demand: the pose is found from the crests alone, in twenty attempts.
        along = Along(pitch_mm=self.pitch_mm, radius_mm=self.major_mm / 2, taper=self.taper)
        return visible_angle(self.sight, along)

    @property
    def axis(self) -> ImageAxis:
        """The thread's own axis in the photo."""
        return self.sight.axis

    @property
    def frame(self) -> AxisFrame:
        """The axis in space."""
        return self.sight.frame

    @property
    def camera(self) -> Camera:
        """The camera it was measured with."""
        return self.sight.camera

    @property
    def outline_px(self) -> Values:
        """The part's outline, (n, 2)."""
        return self.sight.outline_px

    @property
    def mm_per_px(self) -> float:
        """The scale on the axis."""
        return self.sight.mm_per_px

    @property
    def spacing_px(self) -> float:
        """Spacing of the crests in the photo."""
        return self.sight.region.spacing_px

    @property
    def slant(self) -> float:
        """Tangent of the angle at which rays meet the axis's normal plane in mid-thread."""
        return self.sight.slant

    def quantities(self) -> dict[str, float]:
        """Return what was measured, by the names that naming uses."""
        found = {"pitch_mm": self.pitch_mm, "major_mm": self.major_mm, "taper": self.taper}
        if self.outlined is not None:
            found["pitch_mm"] *= self.outlined.longer
            found["angle_deg"] = self.outlined.at(self.signed_slant)
        elif self.half_angles_deg is not None:
            found["angle_deg"] = sum(self.half_angles_deg)
        return found


def measure_crests(sight: Sight) -> CrestShape:
    """Measure one threaded region by its crests, on their true edges.

    Raises
    ------
    OutlineError
        If a side shows too few crests.
    """
    return on_edges(outlined_crests(sight))


def outlined_crests(sight: Sight) -> CrestShape:
    """Measure one threaded region by its outline alone, as if it mirrored nothing.

    Raises
    ------
    OutlineError
        If a side shows too few crests.
    """
    crests = _crests(sight, LEVEL_BLURS * sight.blur_px)
    return _fitted(crests, sight, U_EDGE_PX * sight.mm_per_px)


def on_edges(shape: CrestShape) -> CrestShape:
    """Measure again with each side's crests moved to where their light says that they end."""
    sight, crests = shape.sight, shape.crests
    st, variances = sight.axis.to_axis(crests.xy), [U_EDGE_PX**2]
    for side in (1.0, -1.0):
        own = crests.side == side
        tops = CrestSide(tops=sight.to_frame(crests.xy[own]), pitch_mm=shape.pitch_mm)
        edge = crest_edge(sight, tops)
        st[own, 1] += side * edge.shift_px
        variances.append(edge.u_px**2 / 2)
    moved = replace(crests, xy=sight.axis.to_photo(st))
    return _fitted(moved, sight, float(np.sqrt(sum(variances))) * sight.mm_per_px)


def remeasure_crests(
    shape: CrestShape, camera: Camera, height_mm: float, incline_rad: float
) -> CrestShape:
    """Fit the same crests again with another geometry: for the uncertainty budget."""
    sight = shape.sight.laid(camera, height_mm, incline_rad)
    return replace(_fitted(shape.crests, sight, shape.u_edge_mm), outlined=shape.outlined)


def _crests(sight: Sight, outside_px: float) -> CrestPoints:
    """Return the crests' farthest points, drawn in from the level's crossing to the edge."""
    axis, region = sight.axis, sight.region
    st = axis.to_axis(sight.outline_px)
    xy, side, number = [], [], []
    for crests, sign in zip(region.crests, (1.0, -1.0), strict=True):
        first = crests[0]
        for s in crests:
            near = (np.abs(st[:, 0] - s) < REACH * region.spacing_px) & (st[:, 1] * sign > 0)
            if near.sum() < 3:
                continue
            # The crest as a parabola over its stations: its top, and where that lies.
            bend, slope, top = np.polyfit(st[near, 0] - s, sign * st[near, 1], 2)
            at = -slope / (2 * bend) if bend < 0 else 0.0
            at = float(np.clip(at, -REACH * region.spacing_px, REACH * region.spacing_px))
            high = top + slope * at + bend * at**2 - outside_px
            xy.append(axis.to_photo(np.array([s + at, sign * high])))
            side.append(sign)
            number.append(float(np.round((s - first) / region.spacing_px)))
    sides = np.array(side)
    counts = int(np.sum(sides > 0)), int(np.sum(sides < 0))
    if min(counts) < FEWEST_CRESTS or sum(counts) < BOTH_SIDES:
        raise OutlineError("too few crests on one side")
    return CrestPoints(xy=np.array(xy), side=sides, number=np.array(number))


def _fitted(crests: CrestPoints, sight: Sight, u_edge_mm: float) -> CrestShape:
    frame = sight.frame
    zy = sight.to_frame(crests.xy)
    reach = frame.pinhole[2]
    # A ray touches the crest's circle of radius r at r^2 / L toward the camera, and meets the
    # plane of the axis farther out and farther along than where it touches.
    radius = np.abs(zy[:, 1]) * reach / np.hypot(reach, zy[:, 1])
    z = frame.pinhole[0] + (zy[:, 0] - frame.pinhole[0]) * (1 - (radius / reach) ** 2)
    above = crests.side > 0
    places = np.stack([above, ~above, crests.number], axis=1).astype(float)
    place, u_place = _robust(places, z, SCATTER_PX * sight.mm_per_px)
    pitch = float(place[2])
    ends = _by_ends(places, z, (pitch, float(u_place[2])), SCATTER_PX * sight.mm_per_px)
    lag = float((place[1] - place[0]) / pitch)
    lines = lines_of_crests(z, radius, above, (abs(pitch), sight.mm_per_px))
    return CrestShape(
        crests=crests,
        sight=sight,
        pitch_mm=abs(pitch),
        major_mm=lines.major_mm,
        taper=lines.taper,
        u_pitch_mm=float(np.hypot(u_place[2], ends)),
        u_major_mm=lines.u_major_mm,
        u_taper=lines.u_taper,
        u_edge_mm=u_edge_mm,
        lag=abs(lag - round(lag)),
        span_mm=(float(z.min()), float(z.max())),
    )


def _by_ends(places: Values, z: Values, found: tuple[float, float], scatter: float) -> float:
    """Return what the end crests of both sides leave open of the pitch: a standard uncertainty.

    ``places`` as they are fitted: sides and numbers; ``found`` the pitch and its u by the crests'
    scatter. Tops of end crests may be moved inward at both ends alike, which their scatter does not
    tell: it is what the pitch differs by without them, beyond what scatter makes of that (fewer
    crests scatter by their own variance more). Where too few are left to say, it is what the usual
    ends move, each by itself: a crest weighs as far as it lies from the middle of its side.
    """
    pitch, u = found
    number, inner, weight = places[:, 2], np.zeros(len(z), bool), np.zeros(len(z))
    for side in (places[:, 0] > 0, places[:, 1] > 0):
        own = number[side]
        inner |= side & (number > own.min()) & (number < own.max())
        weight[side] = own - own.mean()
    if np.linalg.matrix_rank(places[inner]) < places.shape[1]:
        ends = float(np.linalg.norm(weight[~inner]) / (weight @ weight))
        return END_ALONG * abs(pitch) * ends
    within, u_within = _robust(places[inner], z[inner], scatter)
    by_chance = max(float(u_within[2] ** 2) - u**2, 0.0)
    return float(np.sqrt(max((float(within[2]) - pitch) ** 2 - by_chance, 0.0)))


def _robust(columns: Values, seen: Values, scatter: float) -> tuple[Values, Values]:
    """Return coefficients and their standard uncertainties, far outliers left out.

    ``scatter`` is what sound crests differ by at least. Of four or five crests one that is turned
    down by a chamfer draws least squares with it; least absolute deviations stay with the others.
    """
    weight, q = np.ones(len(seen)), np.zeros(columns.shape[1])
    for _ in range(ABSOLUTE_ROUNDS):
        weighted, before = columns.T * weight, q
        q = solved(weighted @ columns, weighted @ seen)
        off = np.abs(seen - columns @ q)
        if np.abs(q - before).max() < SETTLED * scatter:
            break
        weight = 1 / np.maximum(off, 0.1 * scatter)
    use = np.ones(len(seen), bool)
    for _ in range(5):
        keep = off < 3.5 * max(1.4826 * median(off[use]), scatter)
        if np.linalg.matrix_rank(columns[keep]) < columns.shape[1]:
            break
        q = np.linalg.lstsq(columns[keep], seen[keep], rcond=None)[0].astype(float)
        off = np.abs(seen - columns @ q)
        if (keep == use).all():
            break
        use = keep
    rest = seen[use] - columns[use] @ q
    freedom = int(use.sum()) - columns.shape[1]
    usual = (WORN_PX / SCATTER_PX * scatter) ** 2
    variance = (float(rest @ rest) + USUAL_WEIGHT * usual) / (freedom + USUAL_WEIGHT)
    u: Values = np.sqrt(np.diag(np.linalg.pinv(columns[use].T @ columns[use])) * variance)
    return q, u
