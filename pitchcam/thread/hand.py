"""The hand of a thread: by its flanks' lean, where its crests stand, and the light it mirrors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.flank_fit import NAMES
from pitchcam.edges.flank_points import Flanks
from pitchcam.edges.flanks import FlankEdge
from pitchcam.edges.section import PER_POINT, Section, Winding, fit_again
from pitchcam.edges.tips import Tip
from pitchcam.frozen import dataclass
from pitchcam.objects.frame import AxisFrame

Values = NDArray[np.float64]

#: One thread in so many is left-hand: some of fuel gas and of spindles (judgement).
LEFT_ONE_IN = 100
#: How far the crests of both sides of a sound thread lie apart besides their own u, pixels, and
#: what is open of how far out flanks are seen, as a share (rendered threads taken as of their hand
#: had 0.5 to 0.8 px, with flanks seen 2 to 7 px farther out on one side).
U_CRESTS_PX, U_COVERED = 0.5, 0.15
#: Now and then crests of one side are burred or misread, by 2.5 pixels where either hand leaves
#: less than one: Student's t with so many degrees of freedom (judgement).
FREEDOM = 5.0
#: Flanks' rises err with tails that their u does not tell, as angles do: of 237 angles' errors over
#: u the fourth moment is 4.2 times the second's square, that of so many degrees of freedom. A brass
#: thread close to a panel leaned left by 5 u, with crests as a right hand's.
LEAN_FREEDOM = 9.0
#: Log odds of the light for each unit of the logarithm by which either hand leaves more of it
#: undrawn, and the most that it says: the wrong hand leaves 1.4 times as much, 1.05 to 3.4 times
#: (rendered threads), and what else is odd in the light leaves more than either.
BY_LIGHT, MOST_BY_LIGHT = 5.0, 4.0


@dataclass(frozen=True, kw_only=True)
class Lean:
    """How far a thread's flanks lean as those of a right-hand thread do: 1, or -1 for a left one.

    ``u`` is its standard uncertainty: the points' noise, what is open of how a flank's edge rises
    in the light from its foot to its top, and rows of the picture that may be out of place.
    """

    value: float
    u: float

    @property
    def left(self) -> float:
        """Log odds for a left hand against a right one, both as common."""
        right, left = (
            np.log1p(((self.value - hand) / self.u) ** 2 / LEAN_FREEDOM) for hand in (1.0, -1.0)
        )
        return float((LEAN_FREEDOM + 1) / 2 * (right - left))


def flanks_lean(
    section: Section,
    flanks: Flanks,
    edges: tuple[FlankEdge, ...],
    frame: AxisFrame,
    u_shear_rad: float = 0.0,
) -> Lean:
    """Return how far the flanks lean, of a section that was fitted as a right hand's.

    The camera sees a flank's contour off the axial section by as much as the helix leans into the
    view, a little more the higher up the flank: undone for the wrong hand, all flanks of one side
    lean one way, and those of the other side the other way, which no parameter of the fit does.
    An edge that rises up one flank other than the light says does the same.

    Parameters
    ----------
    section, flanks
        The fit and the points on their true edges that it was made of.
    edges
        What is known of those edges.
    frame
        How the thread is seen.
    u_shear_rad
        How far rows of the picture that are out of place may shear it, each side by itself.
    """
    left = Winding(starts=section.winding.starts, hand=-section.winding.hand)
    other = fit_again(replace(section, winding=left), flanks, frame, abs(section.fit.pitch_mm))
    both = section.fit.used & other.fit.used
    right, wrong = _rest(section)[both], _rest(other)[both]
    # Both leave the same noise, and of the lean what their hand does not explain.
    whole = right - wrong
    size = float(whole @ whole)
    if size <= 0.0:
        return Lean(value=0.0, u=np.inf)
    lean = -float((right + wrong) @ whole) / size
    noise = (right + wrong + lean * whole) / 2
    scatter = float(noise @ noise) / max(PER_POINT * len(noise) - len(NAMES), 1.0)
    variance = 4 * scatter / size
    side, flank, height = (v[both] for v in (flanks.side, flanks.flank, flanks.height))
    for own in (1.0, -1.0):
        slope = section.fit.tan_half[0 if own > 0 else 1]
        along = frame.mm_per_px * np.hypot(1.0, slope)
        for at in (1.0, -1.0):
            group = (side == at) & (flank == own)
            u_px = [e.u_by_height_px for e in edges if e.side == at and e.flank == own]
            if not u_px or not group.any():
                continue
            up = (height[group] - height[group].mean()) * along * max(u_px)
            variance += (2 * float(up @ whole[group]) / size) ** 2
    out = section.points.r[both]
    for at in (1.0, -1.0):
        group = side == at
        if u_shear_rad and group.any():
            sheared = u_shear_rad * (out[group] - out[group].mean())
            variance += (2 * float(sheared @ whole[group]) / size) ** 2
    return Lean(value=lean, u=float(np.sqrt(variance)))


def crests_apart(section: Section, tips: tuple[Tip, ...], frame: AxisFrame) -> float:
    """Return the log odds for a left hand by how far both sides' crests lie off the flanks' axis.

    Under a slant each side's flanks are seen too far out, the more on the side on which the helix
    leans out of the view; crests hardly are. Undone for the wrong hand, the flanks' axis lies
    aside by what the sides differ in, and the crests stand off it by twice that.

    Parameters
    ----------
    section
        The flanks, fitted as a right hand's.
    tips
        Crests of its sides.
    frame
        How the thread is seen.
    """
    if len(tips) < 2:
        return 0.0
    radius = {t.side: t.radius_mm for t in tips}
    seen = {side: section.covered_mm(frame, side) for side in radius}
    off, covered = radius[1.0] - radius[-1.0], seen[1.0] - seen[-1.0]
    u2 = sum(t.u_mm**2 for t in tips) + (U_CRESTS_PX * frame.mm_per_px) ** 2
    u2 += (2 * U_COVERED * covered) ** 2
    # Of a right hand they are off by nothing, of a left one by twice what the sides differ in.
    right, left = (np.log1p(x**2 / (FREEDOM * u2)) for x in (off, off - 2 * covered))
    return float((FREEDOM + 1) / 2 * (right - left))


def _prior() -> float:
    return float(-np.log(LEFT_ONE_IN - 1))


def may_be_left(told: float) -> bool:
    """Whether the light could yet make a left hand of the log odds of lean and crests."""
    return told + _prior() + MOST_BY_LIGHT > 0


def is_left(told: float, *, right: float, left: float) -> bool:
    """Whether a thread is left-hand, by the log odds of lean and crests and by the light.

    ``right`` and ``left`` are the rms of the light that its flanks leave undrawn, taken as of
    either hand.
    """
    by_light = BY_LIGHT * float(np.log(max(right, 1e-9) / max(left, 1e-9)))
    return told + _prior() + float(np.clip(by_light, -MOST_BY_LIGHT, MOST_BY_LIGHT)) > 0


def _rest(section: Section) -> Values:
    """Return what each point leaves of the fit along the axis, 0 where it was not used."""
    rest = np.zeros(len(section.fit.used))
    rest[section.fit.used] = section.fit.scatter.rest_mm
    return rest
