"""The ridges that the series' threads have: angle, crest, and how high that stands."""

from __future__ import annotations

import math
from collections.abc import Mapping

from pitchcam.frozen import dataclass
from pitchcam.series.records import ThreadSize


@dataclass(frozen=True, kw_only=True)
class Ridge:
    """A form: included angle, the crest's rounding, and its height over the pitch line.

    ``radius`` is in pitches. A ``cut`` crest is a circle touching both flanks, with whatever stands
    over the crest's height taken off; of others the corners alone are round, 0 for sharp ones.
    ``crest`` and ``u_crest`` are mean and standard deviation of the height, in pitches, over the
    tolerances of both diameters.
    """

    angle_deg: float
    radius: float
    crest: float
    u_crest: float = 0.03
    cut: bool = True

    @property
    def tan_half(self) -> float:
        """The tangent of the half angle."""
        return math.tan(math.radians(self.angle_deg / 2))

    def whole(self, tan_half: float) -> float:
        """Return the height over the pitch line, in pitches, at which a crest's circle is whole."""
        return 0.25 / tan_half - self.radius * (math.hypot(1.0, 1 / tan_half) - 1)


#: ISO 68-1 and ASME B1.1; the same as rolling leaves it; ASME B1.20.1; BS 84 and ISO 228-1; BS 93;
#: BS 811 and DIN 40430 (both from memory). Heights by the tables of limits: half of the mean major
#: diameter less the mean pitch diameter.
RIDGES: dict[str, Ridge] = {
    "flat60": Ridge(angle_deg=60.0, radius=0.0, crest=0.30, u_crest=0.035, cut=False),
    "worn60": Ridge(angle_deg=60.0, radius=0.054127, crest=0.30, u_crest=0.035, cut=False),
    "rolled60": Ridge(angle_deg=60.0, radius=0.108253, crest=0.30, u_crest=0.035, cut=False),
    "pipe60": Ridge(angle_deg=60.0, radius=0.0, crest=0.38, u_crest=0.02, cut=False),
    "round55": Ridge(angle_deg=55.0, radius=0.137329, crest=0.305),
    "round47.5": Ridge(angle_deg=47.5, radius=0.180835, crest=0.285),
    "round60": Ridge(angle_deg=60.0, radius=1 / 6, crest=0.25),
    "round80": Ridge(angle_deg=80.0, radius=0.107, crest=0.238),
}

#: ISO 68-1 and ASME B1.1 draw 60 degree crests flat; tools wear, and rolled ones come out round
#: (common practice, no source): as many of each (judgement). A cut pipe thread's are not round.
_CUT = {"flat60": 1 / 2, "worn60": 1 / 2}
_ANY = {"flat60": 1 / 3, "worn60": 1 / 3, "rolled60": 1 / 3}
_BY_ANGLE = {55.0: "round55", 47.5: "round47.5", 80.0: "round80"}
_ALONE = ("pipe60", "round55", "round47.5", "round60", "round80")
#: All that :func:`ridge_shares` returns.
SHARINGS: tuple[Mapping[str, float], ...] = (_CUT, _ANY, *({name: 1.0} for name in _ALONE))


def ridge_shares(size: ThreadSize) -> Mapping[str, float]:
    """Return which of :data:`RIDGES` the external threads of a size have, with their shares.

    Parallel pipe threads of 60 degrees are cut, and their crests flat.
    """
    if size.angle_deg != 60.0:
        return {_BY_ANGLE[size.angle_deg]: 1.0}
    if size.family == "NPSM":
        return _CUT
    if size.family.startswith("NPT"):
        return {"pipe60": 1.0}
    return {"round60": 1.0} if size.family == "BSC" else _ANY
