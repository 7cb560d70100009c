"""How a part lies: its radii along the axis, and the poses in which it rests on the plate.

A part of revolution touches the plate with its lower hull: laid down, it falls onto the edge of
that hull which lies under its centre of mass, and its axis is then inclined by that edge's slope.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.frozen import dataclass
from pitchcam.normal import normal_cdf
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.frame import AxisFrame
from pitchcam.small import line, median
from pitchcam.thread.pose.height import Rest

Values = NDArray[np.float64]

#: How far the centre of mass may lie off a solid part's, as a share of its length: bores, and
#: what of the part is of another metal.
U_MASS = 0.05
#: Radii of the points a part rests on: outline and metal, mm.
U_RADIUS_MM = 0.07
#: Slope of a chamfer's outline, by radius over length: chamfers of hexagons stand at 15 to 30
#: degrees to the face (common practice, no source), which is 1.7 and more; over so many pixels.
CHAMFER, OVER_PX = 0.25, 4
#: Fewest stations that make a thread.
FEWEST_STATIONS = 10
#: Depth of a hexagon's chamfer as a share of its width over flats: corners that end 0.155 of that
#: farther out, turned off at 30 degrees to its circle of 0.95 to 1 (common practice, no source).
CHAMFERED = 0.05
#: What stands out of a face's half ellipse by this share of it does so by itself.
OWN_RADIUS = 0.02
#: An edge of the hull shorter than this share of the length carries no part.
LEAST_EDGE = 0.02
#: What is clear of rounding where it is told on which side of a line a station lies, mm².
CLEARLY_MM2 = 1e-9


@dataclass(frozen=True, kw_only=True)
class PartRadii:
    """A part along its axis: stations z, radii as seen and toward the plate, mm, arrays (n,).

    They differ in a hexagon on its flat, which shows its corners. z is that of the frame.
    """

    z_mm: Values
    seen_mm: Values
    rests_mm: Values

    def axis_height_mm(self, incline_rad: Values | float) -> Values:
        """Return the height over the plate of the axis at z = 0, for inclinations (...,).

        The part touches the plate somewhere, whatever else may hold it.
        """
        a = np.asarray(incline_rad, dtype=float)[..., None]
        z, r = self.z_mm[self.corners], self.rests_mm[self.corners]
        out: Values = (r * np.cos(a) - z * np.sin(a)).max(axis=-1)
        return out

    @cached_property
    def corners(self) -> list[int]:
        """The stations on the hull of the side toward the plate, from the first to the last."""
        return _hull(self.z_mm, self.rests_mm)


@dataclass(frozen=True, kw_only=True)
class Fall:
    """One way to lie on the plate: the inclination, its standard uncertainty, its probability."""

    incline_rad: float
    u_incline_rad: float
    probability: float


@dataclass(frozen=True, kw_only=True)
class SeenPart:
    """A part as the photo shows it.

    ``stations`` are those along its ``axis`` in the photo with the outermost of both sides, of
    :func:`pitchcam.objects.axis.envelope`, of an outline that runs ``out_px`` outside its edge.
    ``heads`` are the stretches along the axis of hexagons other than the one it rests on,
    ``threads`` those of its threads.
    """

    stations: tuple[Values, Values, Values]
    axis: ImageAxis
    out_px: float = 0.0
    heads: Sequence[tuple[float, float]] = ()
    threads: Sequence[tuple[float, float]] = ()


def part_radii(seen: SeenPart, frame: AxisFrame, rest: Rest) -> PartRadii:
    """Return a part's radii from its outline.

    Parameters
    ----------
    seen
        The part as the photo shows it.
    frame
        The axis in space, inclined as it is taken to be.
    rest
        The feature the part would rest on if it were level, which may be a hexagon.
    """
    axis, out_px = seen.axis, seen.out_px
    s, upper, lower = seen.stations
    upper, lower = upper - out_px, lower + out_px
    sides = [frame.from_photo(axis.to_photo(np.stack([s, t], axis=1))) for t in (upper, lower)]
    z = (sides[0][:, 0] + sides[1][:, 0]) / 2
    width = np.abs(sides[0][:, 1] - sides[1][:, 1]) / 2
    for start, end in seen.threads:
        # One side shows a crest where the other shows the groove; the crests are rested on.
        on = (s >= start) & (s <= end)
        if on.sum() < FEWEST_STATIONS:
            continue
        both = (sides[0][on, 1] + sides[1][on, 1]) / 2
        # The outline's axis is a fraction of a degree off the thread's own.
        slope, offset = line(s[on] - start, both)
        middle = slope * (s[on] - start) + offset
        width[on] = np.maximum(*(np.abs(side[on, 1] - middle) for side in sides))
    away = np.hypot(frame.pinhole[2], frame.pinhole[0] - z)
    # A round body is seen along tangents, a little wider.
    shown = width * away / np.hypot(away, width)
    rests = shown.copy()
    mm_per_px = float(np.abs(np.diff(z)).mean())
    hexagons = [(rest.stretch, rest.height_mm)] if rest.hexagon else []
    for stretch in seen.heads:
        on = (s >= stretch[0]) & (s <= stretch[1])
        hexagons.append((stretch, median(width[on]) * np.sqrt(3) / 2))
    for stretch, flat_mm in hexagons:
        first, last = _hexagon(shown, s, stretch, mm_per_px)
        shown[first : last + 1] = width[first : last + 1]
        rests = np.minimum(rests, _lowered(shown, first, last, flat_mm))
        # The half ellipse of a face seen aslant stands this far out, in stations.
        out = np.abs(frame.pinhole[0] - z) / away * median(shown[first : last + 1]) / mm_per_px
        rests = np.minimum(rests, _unsmeared(shown, (first, last), flat_mm, out, mm_per_px))
    return PartRadii(z_mm=z, seen_mm=shown, rests_mm=rests)


def _hexagon(
    seen: Values, s: Values, stretch: tuple[float, float], mm_per_px: float
) -> tuple[int, int]:
    """Return first and last station of a hexagon: its straight stretch and chamfers as they fall.

    A collar beside it is round: the outline rises to it again, or runs on level.
    """
    first, last = (int(np.argmin(np.abs(s - end))) for end in stretch)
    step = OVER_PX
    while first >= step and seen[first] - seen[first - step] > CHAMFER * step * mm_per_px:
        first -= 1
    while last + step < len(s) and seen[last] - seen[last + step] > CHAMFER * step * mm_per_px:
        last += 1
    return first, last


def _lowered(seen: Values, first: int, last: int, flat_mm: float) -> Values:
    """Return the radii toward the plate: a hexagon's flats, and no more beside it than a collar's.

    Seen aslant, the hexagon's face smears over what lies beside it, by less than a collar's length.
    """
    out = seen.copy()
    out[first : last + 1] = np.minimum(seen[first : last + 1], flat_mm)
    reach = 4 * OVER_PX
    for near in (slice(max(first - reach, 0), first), slice(last + 1, last + 1 + reach)):
        beside = slice(max(near.start - reach, 0), near.stop + reach)
        opened = _opened(out[beside], 2 * OVER_PX)
        start = near.start - beside.start
        out[near] = opened[start : start + len(out[near])]
    return out


def _unsmeared(
    seen: Values, at: tuple[int, int], flat_mm: float, out: Values, mm_per_px: float
) -> Values:
    """Return the radii toward the plate beside a hexagon whose corners' ends are seen aslant.

    The half ellipses of its corners' ends, or its chamfers and then those of its faces, which are
    as wide as its flats, stand before what lies beside it, and the plate is touched by its flats
    there too. What stands out of them is another feature, with a radius of its own.
    """
    radii, (first, last) = seen.copy(), at
    deep = CHAMFERED * 2 * flat_mm / mm_per_px
    level = median(seen[first : last + 1])
    for way, end in ((-1, first), (1, last)):
        reach = out[end] + deep
        near = end + way * np.arange(1, int(min(reach, len(seen))) + 1)
        near = near[(near >= 0) & (near < len(seen))]
        beyond, aslant = np.abs(near - end), max(out[end], 1.0)
        corners = level * _ellipse(beyond / aslant)
        face = np.where(beyond < deep, level, flat_mm * _ellipse((beyond - deep) / aslant))
        smeared = near[seen[near] <= (1 + OWN_RADIUS) * np.maximum(corners, face)]
        radii[smeared] *= min(flat_mm / level, 1.0)
    return radii


def _ellipse(share: Values) -> Values:
    """Return the half width of an ellipse over its largest, at shares of its half length."""
    half: Values = np.sqrt(np.maximum(1 - share**2, 0.0))
    return half


def _opened(r: Values, width: int) -> Values:
    """Return the radii with whatever is narrower than a width cut off, mirrored at the ends."""
    kernel, border = np.ones((1, width), np.uint8), cv2.BORDER_REFLECT
    low = cv2.erode(r[None], kernel, anchor=(width // 2, 0), borderType=border)
    # An even kernel has no middle: growing back by the mirrored anchor keeps things in place.
    back = (width - 1 - width // 2, 0)
    return np.asarray(cv2.dilate(low, kernel, anchor=back, borderType=border)[0], float)


def falls(radii: PartRadii) -> list[Fall]:
    """Return the ways in which a part may lie, by the edges of its lower hull under its weight."""
    z, r = radii.z_mm, radii.rests_mm
    length = float(np.ptp(z))
    area = radii.seen_mm * radii.rests_mm
    weight = float(area @ z / area.sum())
    out = []
    below = normal_cdf((z[list(radii.corners)] - weight) / (U_MASS * length))
    for (i, j), share in zip(pairwise(radii.corners), np.diff(below).tolist(), strict=True):
        span = z[j] - z[i]
        if span < LEAST_EDGE * length or share < 1e-3:
            continue
        u = np.hypot(np.sqrt(2) * U_RADIUS_MM / span, np.radians(0.15))
        out.append(
            Fall(
                incline_rad=float(np.arctan((r[j] - r[i]) / span)),
                u_incline_rad=float(min(u, 0.2)),
                probability=share,
            )
        )
    return out


def _hull(z: Values, r: Values) -> list[int]:
    """Return the stations on the hull of one side, from the first to the last."""
    order, before = np.lexsort((-r, z)), 0
    while len(order) != before:
        # What lies clearly within the line from the one before to the next is on no hull.
        before, x, y = len(order), z[order], r[order]
        far = (x[1:-1] - x[:-2]) * (y[2:] - y[:-2]) - (y[1:-1] - y[:-2]) * (x[2:] - x[:-2])
        stays = np.ones(before, bool)
        stays[1:-1] = far < CLEARLY_MM2
        order = order[stays]
    along, out = z.tolist(), r.tolist()
    hull: list[int] = []
    for k in order.tolist():
        while len(hull) > 1:
            a, b = hull[-2], hull[-1]
            bent = (along[b] - along[a]) * (out[k] - out[a])
            if bent - (out[b] - out[a]) * (along[k] - along[a]) < 0:
                break
            hull.pop()
        hull.append(k)
    return hull
