"""Straight edges to a fraction of a pixel, and the edge-spread function they are blurred by."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.edges.edge_profiles import CODE_NOISE, EdgeProfile
from pitchcam.frozen import dataclass
from pitchcam.light.esf import decode, encode
from pitchcam.objects.contour import Crop
from pitchcam.objects.field import Field
from pitchcam.small import line, median, medians, sound_mean

Points = NDArray[np.float64]

#: Spacing of the samples along a profile across an edge, photo pixels.
PROFILE_STEP = 0.25
#: A line that a round moves by less than this at its ends lies on the edge.
STILL_PX = 0.01
#: Share of a piece's u that is its own, by which pieces of one edge differ: they scatter by 0.01 to
#: 0.05 px where u is 0.2 (renders of pins). Noise makes that a pixel and more.
OWN_SHARE = 0.25
#: Samples of a profile whose mean is a level of light: a pixel's.
NEAR = 5
#: How much deeper a sharpened edge's dip is than its rise, in coded values: 1.1 to 2.6 on drawn
#: pins of 4 % of the light, where the code is steep.
HALOS = 3.0
#: Coded value from which on a halo may be cut off at white: it tells of no dip then.
WHITE = 253 / 255
#: A part's own dark is below this share of the light; what mirrors more all over has none to see.
MOST_GROUND = 0.4
#: Light below which a share of it means nothing.
LEAST_LIGHT = 0.001


@dataclass(frozen=True, kw_only=True)
class EdgeProfiles:
    """Light along normals of a line: ``light`` (n, m) at distances ``across_px`` (m,).

    Positive distances lie outside the part. ``along_px`` (n,) is the position along the line.
    """

    along_px: NDArray[np.float64]
    across_px: NDArray[np.float64]
    light: NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Segment:
    """A straight piece of an object's border: its ends in the photo, and a direction out of it."""

    start: Points
    end: Points
    outside: Points

    @property
    def length_px(self) -> float:
        """Its length."""
        return float(np.hypot(*(self.end - self.start)))

    @property
    def along(self) -> Points:
        """Unit vector from start to end."""
        d: Points = (self.end - self.start) / self.length_px
        return d

    @property
    def normal(self) -> Points:
        """Unit normal that points out of the object."""
        d = self.along
        n = np.array([-d[1], d[0]])
        return -n if n @ self.outside < 0 else n


def line_profiles(
    crop: Crop,
    segment: Segment,
    *,
    reach_px: float = 10.0,
    step_px: float = 1.0,
    unit_px: float = 1.0,
) -> EdgeProfiles:
    """Sample the light across a segment, square to it; across in units of so many pixels."""
    start, d, n = segment.start, segment.along, segment.normal
    u = np.arange(0.0, segment.length_px + 1e-9, step_px)
    v = np.arange(-reach_px, reach_px + 1e-9, PROFILE_STEP)
    first, steps = start + unit_px * v[0] * n, (step_px * d, unit_px * PROFILE_STEP * n)
    return EdgeProfiles(along_px=u, across_px=v, light=crop.grid(first, steps, (len(u), len(v))))


def crossings(
    light: NDArray[np.float64], across: NDArray[np.float64], level: float
) -> NDArray[np.float64]:
    """Return the outermost place where each profile falls through ``level``; NaN where none.

    The search runs from outside (large ``across``) inward, so that a mirrored rim or a bright
    hole inside the part cannot be taken for the edge.
    """
    inward = light[:, ::-1] < level
    first = np.argmax(inward, axis=1)
    found = inward[np.arange(len(light)), first] & (first > 0)
    i = light.shape[1] - 1 - np.maximum(first, 1)
    rows = np.arange(len(light))
    low, high = light[rows, i], light[rows, i + 1]
    share = (level - low) / np.where(high > low, high - low, 1.0)
    place = across[i] + share * (across[1] - across[0])
    return np.where(found, place, np.nan)


def fit_line(
    crop: Crop, segment: Segment, *, level: float = 0.5, rounds: int = 3, reach_px: float = 10.0
) -> tuple[Segment, float]:
    """Fit a straight edge near the segment by its crossings of ``level``.

    Returns
    -------
    segment, scatter
        The segment moved onto the edge, and the standard deviation of single crossings, pixels.
    """
    scatter = np.nan
    for _ in range(rounds):
        p = line_profiles(crop, segment, reach_px=reach_px)
        place = crossings(p.light, p.across_px, level)
        ok = np.isfinite(place)
        if ok.sum() < 8:
            break
        for _ in range(4):
            slope, offset = line(p.along_px[ok], place[ok])
            deviation = place - slope * p.along_px - offset
            spread = 1.4826 * median(np.abs(deviation[ok]))
            ok = np.isfinite(place) & (np.abs(deviation) < max(3.5 * spread, 0.1))
        n, length = segment.normal, p.along_px[-1]
        segment = replace(
            segment,
            start=segment.start + offset * n,
            end=segment.end + (offset + slope * length) * n,
        )
        scatter = float(np.std(deviation[ok]))
        if max(abs(offset), abs(offset + slope * length)) < STILL_PX:
            break
    return segment, scatter


def reach_to_border(field: Field, point: Points, outward: Points) -> float:
    """Return the distance in pixels from a point along a direction to the border of the light."""
    return float(reaches_to_border(field, point[None], outward)[0])


def reaches_to_border(field: Field, points: Points, outward: Points) -> Points:
    """Return the distances, (n,), from points (n, 2) along a direction to the light's border.

    They are 0 where the direction meets no border.
    """
    corners = np.asarray(field.window_px, float)
    edge = np.roll(corners, -1, axis=0) - corners
    cross = outward[0] * edge[:, 1] - outward[1] * edge[:, 0]
    rel = corners - points[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (rel[..., 0] * edge[:, 1] - rel[..., 1] * edge[:, 0]) / cross
        u = (rel[..., 0] * outward[1] - rel[..., 1] * outward[0]) / cross
    meets = (np.abs(cross) >= 1e-9) & (t > 0) & (u >= -1e-9) & (u <= 1 + 1e-9)
    best = np.where(meets, t, np.inf).min(axis=1)
    out: Points = np.where(np.isfinite(best), best, 0.0)
    return out


#: Where the reach to the light's border changes by more than this share along an edge, its
#: mirrored band changes by twice that, and the edge is taken in shorter pieces.
REACH_STEP = 0.15
#: Pieces of an edge at most, and the rows that one of them needs for a quiet mean profile.
MOST_PIECES, PIECE_PX = 6, 30
#: How far to both sides the blur is looked for: a blur of 6 px has fallen within.
WIDE_PX = 24.0
#: Levels of the outer fall, and the standard deviations between them (normal distribution).
FALL, FALL_SIGMAS = (0.95, 0.80), 0.803
#: Level by which a straight edge is first laid: outside of what parts mirror.
EDGE_LEVEL = 0.85
#: Places along an edge at which its reach is looked up.
STATIONS = 9
#: A round edge is taken in at least so many pieces: the more they differ in reach, the less the
#: metal's loss and the edge's place are mistaken for each other.
FEWEST_PIECES = 3


@dataclass(frozen=True, kw_only=True)
class StraightEdge:
    """A straight edge of an object: its ends at the part level, outward normal and profiles.

    ``profiles`` has one mean profile per piece of the edge, in order; ``at`` their places along
    it, -1 at the start and +1 at the end. ``fall_px`` is the blur that the light's outer fall shows
    (:func:`outer_fall`).
    """

    start: Points
    end: Points
    normal: Points
    profiles: tuple[EdgeProfile, ...]
    at: tuple[float, ...]
    fall_px: float = 0.0

    def moved(self, outward_px: float, turn_px: float = 0.0) -> tuple[Points, Points]:
        """Return both ends moved along the normal, the end ``turn_px`` more, the start less."""
        return (
            self.start + (outward_px - turn_px) * self.normal,
            self.end + (outward_px + turn_px) * self.normal,
        )


@dataclass(frozen=True, kw_only=True)
class TrueEdge:
    """A straight edge of a pin, at its true place.

    ``start_px`` and ``end_px`` are points on it, ``u_px`` the standard uncertainty of its place,
    ``u_turn_px`` of how much farther out its end lies than its middle, by its pieces' scatter.
    """

    start_px: Points
    end_px: Points
    u_px: float
    u_turn_px: float = 0.0


def straight_edge(
    crop: Crop, field: Field, segment: Segment, radius_px: float | None, unit_px: float = 1.0
) -> StraightEdge:
    """Fit a straight edge near a segment and average its profile, in pieces where it changes.

    Parameters
    ----------
    crop, field
        The object's crop and the photo's lit field.
    segment
        A segment near the edge.
    radius_px
        Radius of curvature of the surface in the viewing direction; None for a sharp corner.
    unit_px
        Pixels to one unit of the profiles: above 1 they show a blurred photo as if it were so many
        times smaller.
    """
    segment, _ = fit_line(crop, segment, level=EDGE_LEVEL, reach_px=12.0)
    start, end, along, normal = segment.start, segment.end, segment.along, segment.normal
    p = line_profiles(crop, segment, reach_px=9.0, unit_px=unit_px)
    length = float(p.along_px[-1])
    pieces = 1
    if radius_px is not None:
        # At the light's corner the reach rises and falls again.
        stations = start + np.linspace(0.0, 1.0, STATIONS)[:, None] * (end - start)
        reaches = reaches_to_border(field, stations, normal)
        steps = float(np.abs(np.diff(np.log(reaches + 1))).sum()) / REACH_STEP
        most = int(min(MOST_PIECES, max(length / PIECE_PX, 1)))
        pieces = int(np.clip(np.ceil(steps), min(FEWEST_PIECES, most), most))
    profiles, at = [], []
    for rows in np.array_split(np.arange(len(p.along_px)), pieces):
        middle = float(p.along_px[rows].mean())
        reach = reach_to_border(field, start + middle * along, normal)
        profiles.append(
            mean_profile(
                p.across_px,
                p.light[rows],
                crop.background_code,
                None if radius_px is None else radius_px / unit_px,
                reach / unit_px,
            )
        )
        at.append(2 * middle / length - 1)
    return StraightEdge(
        start=start,
        end=end,
        normal=normal,
        profiles=tuple(profiles),
        at=tuple(at),
        fall_px=outer_fall(line_profiles(crop, segment, reach_px=WIDE_PX)),
    )


def outer_fall(p: EdgeProfiles) -> float:
    """Return the blur, standard deviation in pixels, that an edge's outermost fall shows.

    An edge blurred by sigma falls from 0.95 to 0.80 of its light over 0.80 sigma (normal
    distribution). A mirrored band begins inside of that and widens it by half at most; sharpening
    narrows it, but hardly where the blur is wider than the sharpening reaches. 0 where the
    profile shows no fall.
    """
    light, across = medians(p.light), p.across_px
    plain = median(light[across > 0.75 * across[-1]])
    dark = float(light.min())
    if plain <= dark:
        return 0.0
    share = ((light - dark) / (plain - dark))[None]
    high, low = (float(crossings(share, across, level)[0]) for level in FALL)
    fall = (high - low) / FALL_SIGMAS
    return fall if np.isfinite(fall) else 0.0


def mean_profile(
    across: NDArray[np.float64],
    rows: NDArray[np.float64],
    background: float,
    radius_px: float | None,
    reach_px: float,
) -> EdgeProfile:
    """Return the mean of an edge's profiles (n, m), relative to the plain light beside it."""
    light = sound_mean(rows)
    # Beside an edge of a picture of dots there may be no light at all.
    outer = max(median(light[across > 7.0]), LEAST_LIGHT)
    inner = median(light[across < -5.0])
    if radius_px is not None:
        light, inner = without_face(across, light, inner, background)
    # Half-pixel steps carry all that a blur of 0.8 px lets through.
    return EdgeProfile(
        across_px=across[::2],
        light=light[::2] / outer,
        dark=max(inner / outer, LEAST_LIGHT),
        background=background * outer,
        radius_px=radius_px,
        reach_px=reach_px,
    )


def without_face(
    across: Points, light: Points, inner: float, background: float
) -> tuple[Points, float]:
    """Return a round edge's profile without what its face mirrors of the room, and its own dark.

    From the edge's dark ground the face grows lighter inward, where it is turned to the camera's
    side: a pin of 8 mm by ten coded steps some 2 mm inside, which is well within the profile where
    a photo was made smaller. Read there, the dark is twice what it is at the edge, and the fit
    takes the rest for a mirrored band. The dip that sharpening leaves beside an edge is no ground:
    in coded values it is up to HALOS times as deep as the rise on the bright side is high. A rise
    that is cut off at white says nothing of it.
    """
    smooth = np.convolve(light, np.full(NEAR, 1 / NEAR), mode="same")
    smooth[: NEAR // 2] = light[: NEAR // 2]
    darkest = int(np.argmin(np.where(across < 0, smooth, np.inf)))
    outer = light[across > 0]
    plain = median(outer[len(outer) // 2 :])
    seen = np.array([smooth[darkest], inner, plain, outer.max()])
    lowest, deep, beside, top = encode(np.maximum(background * seen, 0.0))
    rise = max(top - beside, 0.0)
    if inner > MOST_GROUND * plain or top >= WHITE or deep - lowest <= HALOS * rise + CODE_NOISE:
        return light, inner
    ground = float(decode(np.array([lowest + rise]))[0]) / background
    deeper = np.arange(len(light)) < darkest
    return np.where(deeper, np.minimum(light, ground), light), ground


def turn_u_px(at: Points, rest: Points, u: Points) -> float:
    """Return what the pieces' own errors leave open of an edge's turn, pixels at its end.

    Few pieces tell little of their scatter: what is usual counts for one more. Two tell nothing,
    and each is as open by itself as it is in all.
    """
    usual = (OWN_SHARE if len(at) > 2 else 1.0) * float(u.mean())
    variance = (float(rest @ rest) + usual**2) / (len(at) - 1)
    return float(np.sqrt(variance / np.sum((at - at.mean()) ** 2)))
