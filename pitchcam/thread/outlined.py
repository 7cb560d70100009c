"""An included angle by the whole outline of a thread, and what it is not known by."""

from __future__ import annotations

import math

from pitchcam.frozen import dataclass


@dataclass(frozen=True, kw_only=True)
class OutlineAngle:
    """An included angle by the whole outline, degrees, as seen under a slant (its tangent, signed).

    ``by_slant_deg`` is what it goes with the slant by, per radian; the others are standard
    uncertainties: by the scatter of points, by what no drawn thread explains of the outline, by the
    light on the flanks and by what crests and roots may be like. Beside an angle by straight flanks
    it counts by ``share``, and ``u_apart_deg`` is what their contradiction leaves of the mean of
    both, whole. ``longer`` is the pitch by which the whole outline is drawn best, over
    that by the crests' tops, and ``u_longer`` its relative standard uncertainty by the points.
    """

    angle_deg: float
    u_noise_deg: float
    u_bend_deg: float
    u_light_deg: float
    u_form_deg: float
    by_slant_deg: float
    slant: float
    share: float = 1.0
    u_apart_deg: float = 0.0
    longer: float = 1.0
    u_longer: float = 0.0

    @property
    def u_deg(self) -> float:
        """The standard uncertainty by itself, the slant's left out."""
        return math.hypot(self.u_noise_deg, self.u_bend_deg, self.u_light_deg, self.u_form_deg)

    def at(self, slant: float) -> float:
        """Return the angle as it is under another slant: that of another pose or lens."""
        return self.angle_deg + self.by_slant_deg * (slant - self.slant)

    def beside(self, by_flanks_deg: float, slant: float) -> float:
        """Return the mean of this angle and that by the flanks."""
        return by_flanks_deg + self.share * (self.at(slant) - by_flanks_deg)
