"""How high over the plate a part's axis lies: a part rests on its largest feature."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.lines import Segment, crossings, line_profiles
from pitchcam.edges.section import Section
from pitchcam.frozen import dataclass
from pitchcam.objects.frame import AxisFrame
from pitchcam.objects.shapes import Shape, stands_out, widest_stretch
from pitchcam.small import median, medians
from pitchcam.thread.pose.hexagon import hexagon_share
from pitchcam.thread.pose.records import UNKNOWN, Pose

Values = NDArray[np.float64]

#: A hexagon's corners are broken by a chamfer or a small radius, which takes up to 2 % of its
#: width (common practice, no source).
U_CORNERS = 0.008

#: How well any radius is read from an outline, pixels: it is taken at one level of the light, and
#: what a rim mirrors is not undone there (234 level parts in renders of known scenes: 0.7).
U_OUTLINE_PX = 0.7
#: What lies between a brushed part and the glass, a hair or a grain of dust, mm (judgement).
U_UNDER_MM = 0.03
#: What stands out on one side, an arm or what lies over the part, may carry it instead: it is about
#: as thick as the part, by this share (judgement). How far out it reaches says nothing of that.
U_CARRIED = 0.25
#: How well the scale is known of which a height is made: that of the median photo beside a pin,
#: disc or jaws, by the budget.
U_SCALE = 0.005

#: How far outside a sharp corner the outline's level lies, in blurs: 1.08 by the normal
#: distribution, a quarter less in a photo that is sharpened. A round edge's rim makes up for it.
CORNER_SHIFT = 0.8


@dataclass(frozen=True, kw_only=True)
class Rest:
    """The feature a part rests on: its width in the picture, and the axis's height over the plate.

    ``hexagon`` says that it was taken as a hexagon lying on a flat, ``share`` with what probability
    it is what it was taken as; ``stretch`` are its stations along the axis, pixels. Once the part
    is laid, ``pose`` says how, and the height is that of the axis at the thread.
    """

    width_mm: float
    height_mm: float
    u_height_mm: float
    hexagon: bool
    stretch: tuple[float, float]
    share: float = 1.0
    pose: Pose = UNKNOWN


def rest_height(shape: Shape, camera: Camera, blur_px: float = 0.0) -> Rest:
    """Return the height of a part's axis over the plate, by what its widest stretch most likely is.

    Parameters
    ----------
    shape
        The part's outline.
    camera
        The camera over the plate (distance set).
    blur_px
        Standard deviation of the photo's blur.

    Notes
    -----
    A hexagon on a flat shows its width across corners w and has its axis at w sqrt(3) / 4; a
    round collar or the thread itself has it at w / 2. For a hexagon that
    is turned see :func:`turned`. Where the widest feature is the thread or a long cylinder, it is
    round; what else tells is in :mod:`pitchcam.thread.pose.hexagon`.
    """
    start, end, width_px = widest_stretch(shape)
    share = hexagon_share(shape, (start, end), width_px, blur_px)
    hexagon = share > 0.5
    found = rest_as(shape, camera, blur_px, hexagon=hexagon)
    return replace(found, share=share if hexagon else 1 - share)


def rest_as(shape: Shape, camera: Camera, blur_px: float, *, hexagon: bool) -> Rest:
    """Return the height of a part's axis with its widest stretch taken as a hexagon, or as round.

    Parameters as of :func:`rest_height`.
    """
    start, end, width_px = widest_stretch(shape)
    middle = shape.axis.to_photo(np.array([[(start + end) / 2, 0.0]]))
    height = 0.433 * width_px * camera.distance_mm / camera.f_px
    if hexagon:
        width_px -= 2 * CORNER_SHIFT * blur_px
    width_mm = 0.0
    for _ in range(4):
        point = camera.on_plane(middle, height)[0]
        # On a plane square to the view the scale is the depth's, however far off its middle.
        width_mm = width_px * float(point[2]) / camera.f_px
        # The wide feature's contour is at the axis's height for a hexagon's corners; a round one
        # is seen along tangents, a little wider.
        if not hexagon:
            radius = width_mm / 2
            width_mm *= float(np.sqrt(1 - (radius / np.linalg.norm(point)) ** 2))
        height = width_mm * (np.sqrt(3) / 4 if hexagon else 0.5)
    u = (
        U_SCALE * height,
        U_CORNERS * height if hexagon else 0.0,
        U_OUTLINE_PX * float(point[2]) / camera.f_px,
        U_UNDER_MM,
        U_CARRIED * height if stands_out(shape) else 0.0,
    )
    return Rest(
        width_mm=width_mm,
        height_mm=height,
        u_height_mm=float(np.linalg.norm(u)),
        hexagon=hexagon,
        stretch=(start, end),
    )


@dataclass(frozen=True, kw_only=True)
class Roll:
    """A hexagon's turn about its axis, 0 to 30 degrees, in radians, and its uncertainty.

    ``shown`` is the share of its width over corners that stands square to the line of sight, by
    that of a hexagon on its flat.
    """

    turn_rad: float
    u_turn_rad: float
    shown: float


def outer_corners(part: Shape, rest: Rest) -> list[Values]:
    """Return the photo positions (2,) of both outer corners of a hexagon, of those that are seen.

    ``rest`` is the stretch of the part that is taken for one.
    """
    return [c for side in (1.0, -1.0) if (c := _corner(part, rest, side)) is not None]


def hexagon_roll(corners: Sequence[Values], section: Section, frame: AxisFrame) -> Roll:
    """Return how far a hexagon is turned about the axis.

    A hexagon on its flat has both outer corners at the axis's height over the plate. Turned by a
    against the line of sight, one is nearer to the camera by w tan a than the other, and therefore
    stands farther from the thread's axis in the picture: by w^2 tan a / (2 L) in all. The line of
    sight itself meets the plate aslant where the part lies off the camera's foot.

    Parameters
    ----------
    corners
        Its :func:`outer_corners`.
    section, frame
        A thread measured on the part, whose axis is known far better than the outline's middle.
    """
    if len(corners) < 2:
        return Roll(turn_rad=0.0, u_turn_rad=0.0, shown=1.0)
    y = [section.to_axis(frame.from_photo(c))[1] for c in corners]
    above, below = float(max(y)), float(-min(y))
    width, reach = above + below, float(np.linalg.norm(frame.origin))
    seen = np.arctan(2 * (above - below) * reach / width**2)
    up = -np.array(frame.camera.normal)
    slant = np.arctan2(-up @ frame.across, up @ frame.toward)
    sixth = np.pi / 3
    turn = float((seen - slant + sixth / 2) % sixth - sixth / 2)
    # The axis's direction, carried from the thread to the hexagon, is good to 0.03-0.05 mm.
    u = float(2 * 0.04 * reach / width**2)
    # What lies within its own uncertainty is no turn.
    turn *= turn**2 / (turn**2 + u**2)
    shown = float(np.cos(slant + turn) / np.cos(slant))
    return Roll(turn_rad=abs(turn), u_turn_rad=min(u, 0.3), shown=shown)


def _corner(part: Shape, rest: Rest, side: float) -> Values | None:
    """Return the photo position of the middle of a hexagon's outer corner, None where unseen.

    A turned hexagon shows the face beside its farther corner, which mirrors the panel: one level of
    the light would lie farther in there than at a dark corner. Half way between the light on both
    sides of it is where a sharp corner ends.
    """
    st = part.axis.to_axis(part.outline_px)
    trim = 0.2 * (rest.stretch[1] - rest.stretch[0])
    low, high = rest.stretch[0] + trim, rest.stretch[1] - trim
    on = (st[:, 0] > low) & (st[:, 0] < high) & (side * st[:, 1] > 0)
    if on.sum() < 8:
        return None
    ends = part.axis.to_photo(np.array([[low, 0.0], [high, 0.0]]))
    out = part.axis.to_photo(np.array([[low, side]]))[0] - ends[0]
    offset = median(np.abs(st[on, 1]))
    segment = Segment(start=ends[0] + offset * out, end=ends[1] + offset * out, outside=out)
    p = line_profiles(part.crop, segment, reach_px=7.0)
    light = medians(p.light)
    beside = [median(light[on]) for on in (p.across_px > 4.0, p.across_px < -3.0)]
    edge = float(crossings(light[None], p.across_px, sum(beside) / 2)[0])
    if not np.isfinite(edge):
        return None
    middle: Values = ends.mean(axis=0) + (offset + edge) * out
    return middle


def turned(rest: Rest, roll: Roll) -> Rest:
    """Return the rest of a hexagon that is turned about the axis.

    Notes
    -----
    A turned hexagon lies on an edge or is held by something else, so
    that its axis stands between half its flats and what its lowest edge demands; the former is
    taken, and a quarter of the difference left open.
    """
    if not rest.hexagon:
        return rest
    corners = rest.width_mm / roll.shown
    height = corners * np.sqrt(3) / 4
    lowest = corners / 2 * np.cos(np.radians(30) - roll.turn_rad)
    u = (
        rest.u_height_mm,
        height * np.tan(roll.turn_rad) * roll.u_turn_rad,
        0.25 * (lowest - height),
    )
    return replace(rest, height_mm=float(height), u_height_mm=float(np.linalg.norm(u)))
