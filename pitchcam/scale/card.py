"""Scale, tilt and the lens's distortion from a card of the ISO/IEC 7810 ID-1 size.

A card is flat, square, straight and of known size both ways. Its four sides are fitted between
their rounded corners as curves in the photo, with the focal length and the distortion free within
what is known of them beforehand: a side that bends tells the lens, sides that converge the tilt
and, where it leans, the focal length.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.bend import REACH_PX, U_PIECE_PX, places
from pitchcam.edges.lines import Segment, fit_line, line_profiles
from pitchcam.errors import OutlineError, UnreadableError
from pitchcam.frozen import dataclass
from pitchcam.objects.field import PART_LEVEL
from pitchcam.objects.shapes import Shape
from pitchcam.records import ScaleSpec
from pitchcam.reference_kinds import CARD_MM
from pitchcam.scale.reference import Among, Reference

Points = NDArray[np.float64]

WIDTH_MM, HEIGHT_MM, THICKNESS_MM = CARD_MM
#: The standard allows 85.47-85.72 and 53.92-54.03 mm: half the range over sqrt 3.
U_WIDTH_MM, U_HEIGHT_MM = 0.125 / np.sqrt(3), 0.055 / np.sqrt(3)
#: Toward the picture's middle the lower edge makes the outline where the wall is dull, the upper
#: one where it mirrors: the edge seen is anywhere between.
WALL, U_WALL = 0.5, 0.3
#: All sides lie out or in together by veil, bloom and what is left of the blur; each by itself by
#: its own light, and along it by a bow of its own (judgement, by renders of cards).
U_EDGES_PX, U_SIDE_PX = 0.20, 0.12
#: Shares of a side that are fitted: the corners' radius is 3.18 mm, 6 % of the short side.
TRIM = 0.08
#: Fewest places of a side.
FEWEST = 6
#: Least share of a side whose other end lies beyond the border of the light: the other three tell
#: its heading, so that it tells where it lies however short it is, but for a bow of its own.
LEAST_SEEN = 0.15
#: Sides that would have to differ from the standard's by so many standard uncertainties are another
#: format's: business cards of 85 x 55 mm are off by twenty and more, the worst of ID-1 by two.
OTHER_FORMAT = 6.0


@dataclass(frozen=True, kw_only=True)
class _Side:
    """One side's places in the photo (n, 2), and whether it looks away from the middle."""

    places_px: Points
    away: bool


#: Distance (mm), middle (two, mm), heading (rad), normal (two), ln of the focal length over the
#: camera's, displacement at the corner, wall, edges (px), width and height (mm), and four sides'
#: own shifts (px).
PARAMETERS = 16


def references(among: Among, spec: ScaleSpec) -> list[Reference]:
    """Return every card; what is not seen over its sides, or is none, is not one."""
    found = []
    for shape in among.shapes:
        with suppress(OutlineError):
            found.append(card_reference(shape, among.camera))
    return found


def card_reference(shape: Shape, camera: Camera) -> Reference:
    """Return the camera with distance, tilt, focal length and distortion from a card's sides.

    Raises
    ------
    OutlineError
        If a side is not seen over enough of its length.
    UnreadableError
        If its sides are not in the standard's proportion.
    """
    from scipy.optimize import least_squares

    ends = _sides(shape)
    lengths = [side.length_px for side in ends]
    wide = int(np.argmax([lengths[0] + lengths[2], lengths[1] + lengths[3]]))
    size = (WIDTH_MM, HEIGHT_MM) if wide == 0 else (HEIGHT_MM, WIDTH_MM)
    sides = [_side(shape, camera, side) for side in ends]
    distance = camera.f_px * WIDTH_MM / max(lengths) * (1 - 2 * TRIM)
    middle = camera.rays(shape.centre_px[None])[0] * distance
    spread = _spread(camera, wide)
    start = np.zeros(PARAMETERS)
    start[:4] = [distance, middle[0], middle[1], np.arctan2(*ends[0].along[::-1])]
    start[4:9] = [*camera.normal[:2], 0.0, camera.corner, WALL]
    expected = start[4:].copy()

    def cost(q: Points) -> Points:
        off = _off_px(q, camera, sides, size) / U_PIECE_PX
        # Places share their side's error: sixteen of them are worth less than each by itself.
        return np.concatenate([off, (q[4:] - expected) / spread])

    fit = least_squares(
        cost,
        start,
        max_nfev=60,
        x_scale=[10, 1, 1, 0.01, 0.01, 0.01, 0.03, 0.004, 0.3, 0.2, 0.1, 0.1, *[0.1] * 4],
    )
    q, jac = np.asarray(fit.x, float), np.asarray(fit.jac, float)
    n = len(fit.fun) - len(expected)
    pulls = np.asarray(fit.fun[n:], float)
    if float(np.hypot(pulls[6], pulls[7])) > OTHER_FORMAT:
        _refuse_format(lengths, wide)
    poor = max(1.0, float(np.sqrt(np.mean(np.asarray(fit.fun[:n], float) ** 2))))
    # Distance and focal length are nearly one parameter: in columns of one length the little that
    # tells them apart, the tag or the card's lean, is no rounding error.
    even = 1 / np.linalg.norm(jac, axis=0)
    covariance = np.linalg.pinv((jac * even).T @ (jac * even)) * np.outer(even, even) * poor**2
    return _reference(q, covariance, shape, camera)


def _refuse_format(lengths: list[float], wide: int) -> None:
    long, short = (lengths[i] + lengths[i + 2] for i in (wide, 1 - wide))
    raise UnreadableError(
        f"The card is of another format: its sides are as {long / short:.3f} to 1, a bank card's "
        f"as {WIDTH_MM / HEIGHT_MM:.3f}.",
        "Lay a bank card there, or state something else that is in the picture.",
        code="reference-size",
    )


def _spread(camera: Camera, wide: int) -> Points:
    """Return the standard uncertainties of what is known beforehand, from the normal on."""
    u_tilt = max(camera.u_tilt_rad, 1e-4)
    u_size = (U_WIDTH_MM, U_HEIGHT_MM) if wide == 0 else (U_HEIGHT_MM, U_WIDTH_MM)
    return np.array(
        [
            u_tilt,
            u_tilt,
            max(camera.u_f_px / camera.f_px, 1e-5),
            max(camera.u_corner, 1e-6),
            U_WALL,
            U_EDGES_PX,
            *u_size,
            *[U_SIDE_PX] * 4,
        ]
    )


def _reference(q: Points, covariance: Points, shape: Shape, camera: Camera) -> Reference:
    f_px = camera.f_px * float(np.exp(q[6]))
    u_tilt = float(np.sqrt((covariance[4, 4] + covariance[5, 5]) / 2))
    seen = replace(camera, f_px=f_px, u_f_px=f_px * float(np.sqrt(covariance[6, 6])))
    seen = seen.bent(float(q[7]), float(np.sqrt(covariance[7, 7])))
    seen = seen.tilted(_normal(q[4:6]), u_tilt)
    # The scale in the card's plane is the distance over the focal length.
    slope = np.zeros(PARAMETERS)
    slope[0], slope[6] = 1 / q[0], -1.0
    u_scale = float(np.sqrt(slope @ covariance @ slope))
    return Reference(
        source="card",
        camera=seen.over_plate(float(q[0])),
        u_scale=u_scale,
        height_mm=THICKNESS_MM,
        u_height_mm=0.05,
        where_px=shape.centre_px,
        labels=(shape.blob.label,),
        outline_px=shape.outline_px,
    )


def _normal(lean: Points) -> Points:
    return np.array([lean[0], lean[1], np.sqrt(max(1e-6, 1 - lean[0] ** 2 - lean[1] ** 2))])


def _sides(shape: Shape) -> list[Segment]:
    box = cv2.boxPoints(cv2.minAreaRect(shape.outline_px.astype(np.float32))).astype(float)
    centre = box.mean(axis=0)
    out = []
    for a, b in zip(box, np.roll(box, -1, axis=0), strict=True):
        side = Segment(
            start=a + TRIM * (b - a), end=b - TRIM * (b - a), outside=(a + b) / 2 - centre
        )
        out.append(fit_line(shape.crop, side, level=0.5)[0])
    return out


def _side(shape: Shape, camera: Camera, side: Segment) -> _Side:
    middle = (side.start + side.end) / 2
    found = places(shape.crop, _seen(shape, side) if shape.blob.cut else side)
    if len(found) < FEWEST:
        raise OutlineError("a side of the card is not seen over its length")
    away = bool((middle - np.array(camera.centre_px)) @ side.outside > 0)
    return _Side(places_px=found, away=away)


def _seen(shape: Shape, side: Segment) -> Segment:
    """Return the longest stretch of a side that has light beside it, clear of the light's border.

    Raises
    ------
    OutlineError
        If it is too short.
    """
    p = line_profiles(shape.crop, side, reach_px=REACH_PX)
    lit = p.light[:, p.across_px > REACH_PX / 2].min(axis=1) > PART_LEVEL
    edges = np.flatnonzero(np.diff(np.concatenate([[0], lit.astype(int), [0]])))
    first, last = max(edges.reshape(-1, 2), key=np.ptp, default=(0, 0))
    # An end that is not the side's own lies in the border's blur.
    first, last = first + (first > 0) * 2 * REACH_PX, last - (last < len(lit)) * 2 * REACH_PX
    if last - first < LEAST_SEEN * side.length_px:
        raise OutlineError("a side of the card is not seen over its length")
    start, end = (side.start + s * side.along for s in (first, last - 1))
    return Segment(start=start, end=end, outside=side.outside)


def _off_px(q: Points, camera: Camera, sides: list[_Side], size: tuple[float, float]) -> Points:
    """Return how far the places lie outside the card's sides, pixels."""
    normal = _normal(q[4:6])
    unit = replace(camera, f_px=camera.f_px * float(np.exp(q[6]))).bent(float(q[7]), 0.0)
    unit = unit.tilted(normal, 0.0).over_plate(q[0])
    x = np.array([np.cos(q[3]), np.sin(q[3]), 0.0])
    x -= (x @ normal) * normal
    x /= np.linalg.norm(x)
    y = np.cross(normal, x)
    origin = np.array([q[1], q[2], 0.0])
    per_mm = unit.f_px / q[0]
    out = []
    # Sides 0 and 2 run along x at -y and +y of the middle, 1 and 3 along y.
    for i, side in enumerate(sides):
        height = THICKNESS_MM if side.away else THICKNESS_MM * q[8]
        points = unit.on_plane(side.places_px, height) - origin
        along_x = i % 2 == 0
        half = (size[1] + q[11] if along_x else size[0] + q[10]) / 2
        off = (np.abs(points @ (y if along_x else x)) - half) * per_mm
        out.append(off - q[9] - q[12 + i])
    return np.concatenate(out)
