"""Points on the straight part of the flanks, sorted by side, ridge and flank."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.frozen import dataclass
from pitchcam.objects.axis import ImageAxis, Points
from pitchcam.objects.frame import AxisFrame
from pitchcam.objects.regions import Region
from pitchcam.robust import robust_line
from pitchcam.small import distinct, line, median, medians, percentile

Values = NDArray[np.float64]

#: How far below the crest a flank is straight, in pitches, in the axial section. Where pixels are
#: few, a corner's blur leaves hardly any of it: no more than this is given up at the crest.
BELOW_CREST = (0.15, 0.50)
#: Beyond Whitworth's rounding, which ends 0.074 from crest and root (ISO 228-1, ISO 7-1; ISO 68-1's
#: no later), and so many blurs an edge is straight: its middle moves by a hundredth of a blur at
#: 1.7 of them from a corner. Cycle threads' ends at 0.083, BA's at 0.109:
#: its angle comes out wider by 0.01 degrees at 60 pixels a pitch, by 0.06 at 90 (blur of 0.8).
ROUNDED, BLURS = 0.074, 1.7
#: Seen along the thread, a flank's contour lies farther out than its section, by up to this.
SEEN_LOWER = 0.14
#: Squared cotangent of the half angle of 60 degree threads, within a tenth that of others; how far
#: from the crest's ellipse a flank's points are taken; and the depth over pitch below which the
#: ridges hide the root.
COT_SQUARED, CLEAR_OF_CREST, SHALLOW = 3.2, 0.03, 0.5

#: How near to a ridge's middle its top is looked for, in pitches, and which percentile of the
#: points there is the top; how far ridges may stand off their line and still be of it, along and
#: across, in pitches: what wear and a run-out do.
NEAR_TIP, HIGH, PLACED, EVEN = 0.15, 90.0, 0.1, 0.05

#: A side with fewer points on its contour, and a line through fewer of them, tell nothing.
FEWEST_POINTS, FEWEST_ON_LINE = 20, 4


@dataclass(frozen=True, kw_only=True)
class Flanks:
    """Flank points in the photo with their place in the thread; arrays of one length.

    ``height`` is the share of the flank's height from root to crest, ``below`` the distance below
    the crest line in pitches, both as seen; ``normal`` (n, 2) is the outward normal of the
    point's flank in the photo.
    """

    xy: Points
    side: Values
    flank: Values
    ridge: Values
    height: Values
    below: Values
    normal: Points

    def rays(self, camera: Camera) -> Points:
        """Return the points' directions, of :meth:`pitchcam.camera.pinhole.Camera.straight`.

        They are kept: fits in one pose after another ask for those of the same lens.
        """
        lens, kept = (camera.f_px, camera.centre_px, camera.k1, camera.k2), vars(self)
        if kept.get("_lens") != lens:
            kept["_rays"], kept["_lens"] = camera.straight(self.xy), lens
        return np.asarray(kept["_rays"])

    def only(self, keep: NDArray[np.bool_]) -> Flanks:
        """Return the points of a mask."""
        return Flanks(**{f.name: getattr(self, f.name)[keep] for f in fields(self)})


def contour_normals(outline: Points, reach: int = 3) -> Points:
    """Return unit normals of a closed outline that point away from its inside."""
    tangent = np.roll(outline, -reach, axis=0) - np.roll(outline, reach, axis=0)
    tangent /= np.maximum(np.hypot(tangent[:, 0], tangent[:, 1]), 1e-9)[:, None]
    normal = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    x, y = outline[:, 0], outline[:, 1]
    area = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    out: Points = normal if area > 0 else -normal
    return out


#: Widths of crest and root in pitches, ISO 68-1; round ones are as wide a little farther on.
FLAT_CREST, FLAT_ROOT = 0.125, 0.25


@dataclass(frozen=True, kw_only=True)
class Slant:
    """How a thread is seen: the standard deviation of the blur, the slant's tangent, its starts.

    ``swept_px`` is how far it was moved along its axis, to either side, while the shutter was open.
    """

    blur_px: float = 0.0
    swept_px: float = 0.0
    slant: float = 0.0
    starts: int = 1

    def lower(self, radius: float) -> float:
        """Return how far below the crest a flank's contour begins under the slant, in pitches.

        ``radius`` is in pitches. A crest's ellipse is a parabola z = T sqrt(2 r d) across the
        depth d; a flank of the half angle a comes out of it where both are as steep, at the depth
        r T^2 cot^2 a / 2.
        """
        return 0.5 * COT_SQUARED * radius * self.slant**2

    def blurred(self, spacing_px: float) -> float:
        """Return how far along a flank a corner's blur reaches, in pitches."""
        return BLURS * self.blur_px / spacing_px

    def below_crest(self, spacing_px: float) -> float:
        """Return how far below the crest a flank is straight, in pitches of its axial section."""
        return min(BELOW_CREST[0], ROUNDED + self.blurred(spacing_px))


def most_lower(slant: float, radius: float, starts: int = 1) -> float:
    """Return :meth:`Slant.lower` of the side on which the helix adds its own lean to the slant.

    ``radius`` is in pitches.
    """
    return Slant(slant=slant + starts / (2 * np.pi * radius)).lower(radius)


def flank_points(
    outline: Points, axis: ImageAxis, region: Region, frame: AxisFrame, seen: Slant | None = None
) -> Flanks:
    """Choose the outline's points on the straight parts of all flanks of a region.

    Parameters
    ----------
    outline
        Closed outline at one level of the light, (n, 2) photo pixels.
    axis
        The thread's own axis in the photo.
    region
        The threaded region, stations along the part's axis.
    frame
        The axis in space, for the sign of the sides.
    seen
        How the thread is seen; sharp and of one start by default. The slant is that of the frame.

    Raises
    ------
    numpy.linalg.LinAlgError
        If neither side shows flanks.
    """
    seen = seen or Slant()
    st = axis.to_axis(outline)
    normals = contour_normals(outline)
    zy = frame.from_photo(outline)
    names = ("xy", "side", "flank", "ridge", "height", "below", "normal")
    chosen: dict[str, list[Values]] = {k: [] for k in names}
    for crests, t_sign in zip(region.crests, (1.0, -1.0), strict=True):
        near = st[:, 1] * t_sign > 0
        if not near.any():
            continue
        sign = np.sign(median(zy[near, 1]))
        # On one side the helix leans into the view, on the other out of it.
        lean = seen.starts * region.spacing_px / (2 * np.pi * float(np.max(np.abs(st[near, 1]))))
        aslant = abs(frame.slant() - sign * lean)
        found = side_points(st, crests, t_sign, region.spacing_px, replace(seen, slant=aslant))
        if found is None:
            continue
        index, ridge, flank, height, below = found
        # The flank that faces growing s faces growing z when z grows with s.
        along = np.sign(line(st[index, 0], zy[index, 0])[0])
        groups = _group_normals(normals[index], flank)
        chosen["xy"].append(outline[index])
        chosen["side"].append(np.full(len(index), sign))
        chosen["flank"].append(flank * along)
        chosen["ridge"].append(ridge * along)
        chosen["height"].append(height)
        chosen["below"].append(below)
        chosen["normal"].append(groups)
    if not chosen["xy"]:
        raise np.linalg.LinAlgError("neither side shows flanks")
    return Flanks(**{k: np.concatenate(v) for k, v in chosen.items()})


def _group_normals(normals: Points, flank: Values) -> Points:
    out = np.empty_like(normals)
    for f in distinct(flank):
        mean = medians(normals[flank == f])
        out[flank == f] = mean / np.hypot(*mean)
    return out


def _each(number: Values, along: Values, height: Values, percent: float) -> tuple[Values, Values]:
    """Return place and height of each ridge's top, or of each groove's bottom, by a percentile.

    A grain on one ridge raises that one's alone.
    """
    groups = [number == k for k in distinct(number)]
    return (
        np.array([along[g].mean() for g in groups]),
        np.array([percentile(height[g], percent) for g in groups]),
    )


def side_points(
    st: Points, crests: Values, sign: float, spacing: float, seen: Slant
) -> tuple[NDArray[np.intp], Values, Values, Values, Values] | None:
    """Return the points of one side that lie on flanks, None where there are too few.

    They are the points' indices, and for each the ridge's number, the flank (+1 where it faces
    growing s), the share of the flank's height, and the distance below the crest in pitches.
    """
    number = np.round((crests - crests[0]) / spacing)
    fitted = robust_line(number, crests, least=PLACED * spacing)
    step, first = fitted.slope, fitted.offset
    inside = (st[:, 1] * sign > 0) & (st[:, 0] > crests[0] - 0.5 * spacing)
    inside &= st[:, 0] < crests[-1] + 0.5 * spacing
    index = np.flatnonzero(inside)
    if len(index) < FEWEST_POINTS:
        return None
    place = (st[index, 0] - first) / step
    ridge = np.round(place)
    phase = place - ridge
    height = st[index, 1] * sign
    # The crests' own line, so that a taper does not move the straight part.
    top, bottom = np.abs(phase) < NEAR_TIP, np.abs(phase) > 0.5 - NEAR_TIP
    # Beyond the last ridges there may be a shoulder.
    bottom &= (place > 0) & (place < number[-1])
    if np.count_nonzero(top) < FEWEST_ON_LINE or not bottom.any():
        return None
    along, highest = _each(ridge[top], st[index[top], 0], height[top], HIGH)
    slope = 0.0
    if len(along) > 1:
        slope = robust_line(along, highest, least=EVEN * spacing).slope
    level = height - slope * st[index, 0]
    crest = median(highest - slope * along)
    groove = np.floor(place[bottom])
    root = median(_each(groove, st[index[bottom], 0], level[bottom], 100 - HIGH)[1])
    if not crest > root:
        return None
    share = (level - root) / (crest - root)
    below = (crest - level) / spacing
    lower = seen.lower(median(height[top]) / spacing)
    straight = below > max(seen.below_crest(spacing), lower + CLEAR_OF_CREST)
    straight &= below < BELOW_CREST[1] + max(SEEN_LOWER, lower)
    if seen.swept_px:
        # A ridge or groove narrower than it was moved is lit, or dark, from both sides at once.
        wide = 2 * (seen.swept_px + seen.blur_px) / spacing
        straight &= below > (wide - FLAT_CREST) / 2 * COT_SQUARED**0.5
        straight &= (level - root) / spacing > (wide - FLAT_ROOT) / 2 * COT_SQUARED**0.5
    # Where the ridges hide the root, the notch between them is sharp but for the blur.
    notch = crest - root < SHALLOW * spacing
    above = seen.blurred(spacing) + (0.0 if notch else ROUNDED)
    straight &= (level - root) / spacing > above
    straight &= (np.abs(phase) > 0.08) & (np.abs(phase) < 0.46)
    if np.count_nonzero(straight) < FEWEST_ON_LINE:
        return None
    return (
        index[straight],
        ridge[straight],
        np.sign(phase[straight]),
        share[straight],
        below[straight],
    )
