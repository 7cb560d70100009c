"""How a part lies, and the angles of its axis that are weighed against each other."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass

Values = NDArray[np.float64]

#: Inclinations that are considered, degrees: a plug on its collar's edge and the far end of a short
#: thread lies at up to 30 (of 77 parts laid as they fall one lay beyond 22).
GRID: Values = np.arange(-350, 351) / 10.0


@dataclass(frozen=True, kw_only=True)
class Pose:
    """A part's pose: angles in radians, lengths in mm, with standard uncertainties.

    ``incline_rad`` is that of the axis over the plate, positive where it rises with growing s, and
    ``axis_height_mm`` the height over it at the thread. ``slope_rad`` and ``height_mm`` are the
    same over the plate as the camera has it, to which the tilt that the picture shows is added;
    ``height_per_rad`` is how the one goes with the other, ``u_height_mm`` what is left then.
    ``lens`` is the logarithm by which the focal length comes out longer than the camera has it,
    ``u_lens`` its standard uncertainty: faces and thread see the axis through it. The slope goes
    with it by ``slope_per_lens``.
    ``u_across_rad`` is what is left open of the camera's tilt across the axis, where the tilt along
    it counts too; None where it was not weighed. ``turn_rad`` is a hexagon's turn about the axis
    from lying on a flat; None where there is none.
    ``log_evidence`` is how well the picture agrees with what the part is taken to rest on, all
    angles together: a logarithm, to be compared between two of one picture.
    """

    incline_rad: float
    u_incline_rad: float
    slope_rad: float
    u_slope_rad: float
    height_mm: float
    u_height_mm: float
    height_per_rad: float
    axis_height_mm: float = 0.0
    u_axis_height_mm: float = 0.0
    lens: float = 0.0
    u_lens: float = 0.0
    slope_per_lens: float = 0.0
    u_across_rad: float | None = None
    log_evidence: float = 0.0
    turn_rad: float | None = None
    u_turn_rad: float | None = None

    @property
    def own_u_slope_rad(self) -> float:
        """What is left of the slope's u where the focal length is known."""
        left = self.u_slope_rad**2 - (self.slope_per_lens * self.u_lens) ** 2
        return float(np.sqrt(max(left, 0.0)))


#: A part whose pose is not known lies inclined by about this: on a hexagon whose other end touches,
#: or whose flats are not true (common practice, no source; the sample photos of workshops reach 4.5
#: degrees).
U_INCLINE_RAD = float(np.radians(1.2))
UNKNOWN = Pose(
    incline_rad=0.0,
    u_incline_rad=U_INCLINE_RAD,
    slope_rad=0.0,
    u_slope_rad=U_INCLINE_RAD,
    height_mm=0.0,
    u_height_mm=0.0,
    height_per_rad=0.0,
)


def normal(off: Values, u: float) -> Values:
    """Return the normal distribution's density at distances from its mean."""
    out: Values = np.exp(-0.5 * (off / u) ** 2) / (np.sqrt(2 * np.pi) * u)
    return out
