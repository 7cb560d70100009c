"""The design profile of a thread in axial section, as points."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pitchcam.frozen import dataclass
from pitchcam.series.records import ThreadSize

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

#: Places (along the axis, out of it).
Points = list[tuple[float, float]]


@dataclass(frozen=True, kw_only=True, slots=True)
class Form:
    """Truncation of crest and root as a share of the pitch, each sharp-cornered or round."""

    crest: float
    root: float
    crest_round: bool
    root_round: bool


def form_of(size: ThreadSize) -> Form:
    """Return the form of the external thread's crest and root.

    ISO 68-1 and ASME B1.1: crest H/8 flat, root H/6 round; BS 84, ISO 228-1, ISO 7-1, BS 93, BS 31
    and DIN 40430: both round and alike; ASME B1.20.1: both flat, 0.033 P.
    """
    height = 0.5 / math.tan(math.radians(size.angle_deg / 2))
    if size.family.startswith("NPT"):
        return Form(crest=0.033, root=0.033, crest_round=False, root_round=False)
    if size.angle_deg == 60.0:
        return Form(crest=height / 8, root=height / 6, crest_round=False, root_round=True)
    depth = (size.basic_major_mm - size.basic_pitch_diameter_mm) / size.pitch_mm
    cut = (height - depth) / 2
    return Form(crest=cut, root=cut, crest_round=True, root_round=True)


def depth_of(size: ThreadSize) -> float:
    """Return the design depth of the external thread in mm, crest to root, on the radius."""
    form = form_of(size)
    height = 0.5 / math.tan(math.radians(size.angle_deg / 2))
    return (height - form.crest - form.root) * size.pitch_mm


def axial_profile(size: ThreadSize, turns: float, points_per_arc: int = 8) -> Array:
    """Return the external thread's profile over some turns, shape (n, 2).

    Returns
    -------
    ndarray of float64, shape (n, 2)
        Columns: position along the axis in mm from a crest's middle; radius below (-) the basic
        major radius in mm. A taper thread rises along the axis by half its taper.
    """
    import numpy as np

    return np.array(profile_points(size, turns, points_per_arc))


def profile_points(size: ThreadSize, turns: float, points_per_arc: int = 8) -> Points:
    """Return what :func:`axial_profile` does as a list: labels need no library of arrays."""
    form, p = form_of(size), size.pitch_mm
    half = math.radians(size.angle_deg / 2)
    height = 0.5 / math.tan(half)
    crest = _end(form.crest, form.crest_round, half, points_per_arc)
    root = _end(form.root, form.root_round, half, points_per_arc)
    # Quarter profiles from the apexes: crest apex at z = 0, root apex half a pitch on.
    rise = [(z, -down) for z, down in crest] + [(0.5 - z, down - height) for z, down in root[::-1]]
    one = rise + [(1.0 - z, r) for z, r in rise[-2::-1]]
    whole = [(z + k, r + form.crest) for k in range(math.ceil(turns)) for z, r in one]
    seen = [(z * p, r * p) for z, r in whole if z <= turns + 1e-9]
    return [(z, r + z * size.taper / 2) for z, r in seen]


def _end(cut: float, rounded: bool, half: float, n: int) -> Points:
    """Return (across, down from the sharp apex) from the middle of a crest to its flank."""
    if not rounded:
        return [(0.0, cut), (cut * math.tan(half), cut)]
    radius = cut * math.sin(half) / (1 - math.sin(half))
    turns = [(math.pi / 2 - half) * i / (n - 1) for i in range(n)]
    return [(radius * math.sin(a), cut + radius * (1 - math.cos(a))) for a in turns]
