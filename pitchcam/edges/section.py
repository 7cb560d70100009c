"""From flank points in the photo to the thread's axial section, fitted through the camera."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.axial_points import FlankPoints
from pitchcam.edges.flank_fit import FlankFit, fit_flanks
from pitchcam.edges.flank_points import Flanks
from pitchcam.edges.unfold import unfold_flank
from pitchcam.frozen import dataclass
from pitchcam.objects.frame import AxisFrame, slant_from
from pitchcam.small import median

Values = NDArray[np.float64]

#: Independent observations per point: outline points are 0.7 px apart on average, the noise's reach
#: after blur and demosaicing is about 1.5 px.
PER_POINT = 0.4
#: A pitch that is so many times the spacing of the crests, or as much less, is not theirs: fits of
#: threads end within hundredths of it.
OTHER_PITCH = 2.0
#: Tangents of half angles that helix and perspective are undone with: those of 23 and 113 degrees.
TAN_HALF = (0.2, 1.5)


@dataclass(frozen=True, kw_only=True)
class Winding:
    """How a thread is wound: its number of starts, and 1 for a right hand, -1 for a left one."""

    starts: int = 1
    hand: float = 1.0

    @property
    def lead(self) -> float:
        """Advance per turn in spacings of the crests."""
        return self.hand * self.starts


#: Right-hand, single start.
USUAL = Winding()


@dataclass(frozen=True, kw_only=True)
class Section:
    """A thread's flanks in the axial section and as seen, on its own axis.

    ``fit`` holds the true section; ``points`` are those it was fitted to, ``seen_points`` the same
    without the helix's shadow undone (what the picture shows); ``turn_rad`` and ``offset_mm`` lead
    from the frame to the axis.
    """

    fit: FlankFit
    points: FlankPoints
    seen_points: FlankPoints
    turn_rad: float
    offset_mm: float
    winding: Winding

    @cached_property
    def seen(self) -> FlankFit:
        """The flanks as the picture shows them; crests and roots alone ask for it."""
        return fit_flanks(
            self.seen_points, tan_guess=np.array(self.fit.tan_half), per_point=PER_POINT
        )

    def to_axis(self, zy: Values) -> Values:
        """Map (z, y) on the frame's axis plane to the thread's own axis."""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        z, y = zy[..., 0], zy[..., 1] - self.offset_mm
        out = np.empty(zy.shape)
        out[..., 0], out[..., 1] = c * z + s * y, c * y - s * z
        return out

    def from_axis(self, zy: Values) -> Values:
        """Undo :meth:`to_axis`."""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        z, y = zy[..., 0], zy[..., 1]
        return np.stack([c * z - s * y, c * y + s * z + self.offset_mm], axis=-1)

    def own_frame(self, frame: AxisFrame) -> AxisFrame:
        """Return the frame on the thread's own axis."""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        return AxisFrame(
            camera=frame.camera,
            origin=frame.origin + self.offset_mm * frame.across,
            along=c * frame.along + s * frame.across,
            across=c * frame.across - s * frame.along,
            toward=frame.toward,
        )

    def covered_mm(self, frame: AxisFrame, side: float) -> float:
        """Return how far out of its section a side's flanks are seen: roots lie behind them.

        Under a slant T a flank of the half angle a is seen by r T^2 cot^2 a / 2 too far out, and a
        groove's root no deeper than where its flanks so meet. The helix leans into the view on one
        side of the axis and out of it on the other.
        """
        fit, middle = self.fit, float(np.mean(self.points.z[self.fit.used]))
        radius = fit.pitch_radius_mm
        lean = self.winding.lead * abs(fit.pitch_mm) / (2 * np.pi * radius)
        slant = self.slant(frame, middle) - side * lean
        return float(0.5 * radius * slant**2 * np.mean(np.array(fit.tan_half) ** -2.0))

    def slant(self, frame: AxisFrame, z_mm: float = 0.0) -> float:
        """Return :meth:`AxisFrame.slant` at ``z_mm`` of the thread's own axis."""
        return slant_from(self.pinhole(frame), z_mm)

    def pinhole(self, frame: AxisFrame) -> Values:
        """Return the camera (z, y, x) seen from the thread's own axis."""
        z, y, x = frame.pinhole
        moved = self.to_axis(np.array([z, y]))
        return np.array([moved[0], moved[1], x])


def _aligned_ridges(flanks: Flanks, z: Values, spacing_mm: float) -> Values:
    """Renumber the ridges of the - side to lie behind those of the + side by < 1 pitch."""
    ridge = flanks.ridge.copy()
    minus = flanks.side < 0
    if minus.any() and (~minus).any():
        start = [median(z[m] - ridge[m] * spacing_mm) for m in (~minus, minus)]
        ridge[minus] += np.floor((start[1] - start[0]) / spacing_mm + 0.25)
    return ridge


def fit_section(
    flanks: Flanks,
    frame: AxisFrame,
    spacing_mm: float,
    winding: Winding = USUAL,
    *,
    rounds: int = 5,
) -> Section:
    """Fit the flanks in the axial section, helix and perspective undone.

    Parameters
    ----------
    flanks
        Flank points, photo pixels, moved onto the true edges.
    frame
        The axis in space under the camera.
    spacing_mm
        Approximate spacing of the crests.
    winding
        Starts and hand: the lead is as many spacings.
    rounds
        Repetitions of unfolding and fitting; the corrections are small and settle in three.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the points determine no fit, or another thread's: scattered ones may end anywhere.
    """
    return _fitted(flanks, frame, spacing_mm, winding, _Course(rounds=rounds))


def fit_again(section: Section, flanks: Flanks, frame: AxisFrame, spacing_mm: float) -> Section:
    """Fit a section's flanks again as another camera sees them, in another pose.

    It begins with the same points, since which of them dirt spoils does not go with the geometry,
    and where the section lies: two rounds settle it as well as three from nothing.
    """
    course = _Course(rounds=2, since=section)
    return _fitted(flanks, frame, spacing_mm, section.winding, course)


@dataclass(frozen=True, kw_only=True)
class _Course:
    """How many rounds a fit takes, and the section that it begins with, if there is one."""

    rounds: int
    since: Section | None = None


def _within(tan_half: tuple[float, float]) -> Values:
    """Return the tangents of half angles that helix and perspective are undone with."""
    low, high = TAN_HALF
    return np.array([min(max(t, low), high) for t in tan_half])


def _fitted(
    flanks: Flanks, frame: AxisFrame, spacing_mm: float, winding: Winding, course: _Course
) -> Section:
    raw = frame.from_rays(flanks.rays(frame.camera))
    ridge = _aligned_ridges(flanks, raw[:, 0], spacing_mm)
    points = FlankPoints(
        z=raw[:, 0], r=raw[:, 1], side=flanks.side, flank=flanks.flank, ridge=ridge
    )
    pinhole, plus = frame.pinhole.tolist(), flanks.flank > 0
    turn, offset, lead = 0.0, 0.0, winding.lead * spacing_mm
    tan, use = np.array([0.55, 0.55]), None
    if course.since is not None:
        turn, offset, fit = course.since.turn_rad, course.since.offset_mm, course.since.fit
        tan, use = _within(fit.tan_half), fit.used
        lead = winding.lead * abs(fit.pitch_mm)
    for left in reversed(range(course.rounds)):
        c, s = np.cos(turn), np.sin(turn)
        z, y = raw[:, 0], raw[:, 1] - offset
        zy = np.array([c * z + s * y, c * y - s * z]).T
        pz, py, px = pinhole
        hole = np.array([c * pz + s * (py - offset), c * (py - offset) - s * pz, px])
        tan_half = np.where(plus, tan[0], tan[1])
        z_section, r = unfold_flank(zy, hole, flanks.side, flanks.flank, lead, tan_half)
        points = points.moved(z_section, r)
        # Only the last fit is one that stays.
        fit = fit_flanks(
            points, tan_guess=tan, per_point=PER_POINT, use=use, rounds=2 if left else 6
        )
        if not 1 / OTHER_PITCH < abs(fit.pitch_mm) / spacing_mm < OTHER_PITCH:
            raise np.linalg.LinAlgError("the points determine no thread of that spacing")
        use = fit.used
        turn_now, offset_now = turn, offset
        tan = _within(fit.tan_half)
        lead = winding.lead * abs(fit.pitch_mm)
        turn += fit.turn_rad
        offset += fit.offset_mm
    seen_points = points.moved(zy[:, 0], np.abs(zy[:, 1]))
    return Section(
        fit=fit,
        points=points,
        seen_points=seen_points,
        turn_rad=turn_now,
        offset_mm=offset_now,
        winding=winding,
    )
