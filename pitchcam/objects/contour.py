"""The outline of one object on the photo's own pixels, as the outermost edge of its shadow."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import OutlineError
from pitchcam.frozen import dataclass
from pitchcam.objects.background import Floats
from pitchcam.objects.field import PART_LEVEL, STEP, Field
from pitchcam.objects.grid import grid_of
from pitchcam.photo.linear import least_plane, light_planes, mean_plane
from pitchcam.small import median

#: Photo pixels kept around an object: room for the normals' profiles beyond the widest halo.
MARGIN = 28
#: Hairs and dust fibres are thinner than this in photo pixels; a crest's base is wider.
FIBRE_PX = 5
#: What is thin and reaches farther than this from what is not, pixels, is a fibre down to its root:
#: of a crest of 47.5 degrees, the sharpest, less than 6 pixels are thinner than a fibre.
TIP_PX = 10.0
#: A blurred fibre is wider, as wide as a small thread's crests: it is then thinner than this, this
#: many times as long as wide, which no crest is, and its last quarter is as wide as its first, to
#: this share: what is left of a jaw's tip goes from 9 to 5 pixels, and its quarters are as 0.65.
WIDE_FIBRE_PX, FIBRE_LONG, FIBRE_EVEN = 9, 5.0, 0.8
#: How far beyond its points of the shrunk picture an object's edge may lie, in those.
BEYOND = 2
#: Level of the light at which outlines are found before edges are placed: high enough that a
#: mirrored rim counts to the part, low enough to stand clear of the background's noise.
LIT_LEVEL = 0.85
#: Shares of blue, green and red in luma (ITU-R BT.601, as JPEG's files have it).
LUMA = (np.float32(0.114), np.float32(0.587), np.float32(0.299))
#: An outline of fewer points is that of a speck.
FEWEST_POINTS = 20
#: Places at which the light is sampled at a time.
STRIP = 8192


@dataclass(frozen=True, kw_only=True)
class Crop:
    """A part of the photo as light relative to the background (1 = background).

    ``light`` is (h, w) of the channel used; ``origin_px`` is the photo position of its (0, 0);
    ``mask`` is the object, filled, without its neighbours.
    """

    light: Floats
    origin_px: tuple[int, int]
    mask: NDArray[np.uint8]
    channel: str
    background_code: float

    def sample(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the relative light at photo positions, (..., 2) -> (...), linear between pixels.

        Beyond the crop it is that of the nearest pixel.
        """
        x, y = xy[..., 0], xy[..., 1]
        if x.size <= STRIP or x.ndim < 2:
            return self._sampled(x, y)
        # In strips, so that what lies between two steps stays near the processor.
        out, rows = np.empty(x.shape), max(1, STRIP * len(x) // x.size)
        for first in range(0, len(x), rows):
            strip = slice(first, first + rows)
            out[strip] = self._sampled(x[strip], y[strip])
        return out

    def grid(
        self,
        first: NDArray[np.float64],
        steps: tuple[NDArray[np.float64], NDArray[np.float64]],
        shape: tuple[int, int],
    ) -> NDArray[np.float64]:
        """Return the relative light on an even grid, ``shape``, linear between pixels.

        ``first`` is the photo position of its first point, ``steps`` the ways (2,) to the next
        row and to the next column: a tenth of the time of :meth:`sample`, in single precision.
        """
        return np.asarray(
            grid_of(self.light, first - np.array(self.origin_px), steps, shape), float
        )

    def _sampled(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        h, w = self.light.shape
        x = np.minimum(np.maximum(x - self.origin_px[0], 0), w - 1)
        y = np.minimum(np.maximum(y - self.origin_px[1], 0), h - 1)
        column = np.minimum(x.astype(np.intp), w - 2)
        row = np.minimum(y.astype(np.intp), h - 2)
        x -= column
        y -= row
        left, flat = 1 - x, self.light.ravel()
        row *= w
        row += column
        above: NDArray[np.float64] = left * flat[row]
        above += x * flat[row + 1]
        row += w
        left *= flat[row]
        left += x * flat[row + 1]
        left *= y
        np.subtract(1, y, out=y)
        above *= y
        above += left
        return above


def _channel(relative: Floats, inside: NDArray[np.uint8]) -> tuple[Floats, str]:
    """Choose luma for parts that mirror colour (brass, yellow zinc), else the mean."""
    if len(relative) == 1:
        return relative[0], "grey"
    blue, _, red = relative
    lit = (inside > 0) & (red > 0.12) & (red < 0.97)
    if lit.sum() > max(50, 0.03 * inside.sum()):
        warm = median(red[lit] / np.maximum(blue[lit], 0.02))
        if warm > 1.25:
            return _luma(relative), "luma"
    return mean_plane(relative), "mean"


def _luma(planes: Floats) -> Floats:
    """Return the luma of linear light (3, ...) in blue, green and red, as linear light.

    What differs by colour a phone blurs over pixels as noise, and JPEG keeps at half the picture's
    width: by any channel of its own a coloured rim ends elsewhere than it does, in blue, where
    brass mirrors least, by a quarter of a pixel too far out. Luma is left as it is. The root stands
    for the tone curve, which it is near.
    """
    root = LUMA[0] * np.sqrt(planes[0])
    for share, plane in zip(LUMA[1:], planes[1:], strict=True):
        root += share * np.sqrt(plane)
    out: Floats = root * root
    return out


def crop_object(
    pixels: NDArray[np.generic],
    field: Field,
    label: int,
    box_px: tuple[int, int, int, int],
    *,
    cut: bool = False,
) -> Crop:
    """Cut one object out of the photo, relative to its background.

    Parameters
    ----------
    pixels
        The photo, (h, w) or (h, w, 3) BGR, uint8 or uint16.
    field
        The lit field of the same photo.
    label, box_px, cut
        The object's label among the field's, its box, and whether the border of the light cuts it:
        beyond that all is dark.

    Raises
    ------
    OutlineError
        If none of it is dark on the photo's own pixels.
    """
    h, w = pixels.shape[:2]
    x0, y0 = max(0, box_px[0] - MARGIN), max(0, box_px[1] - MARGIN)
    x1, y1 = min(w, box_px[2] + MARGIN), min(h, box_px[3] + MARGIN)
    relative = field.backdrop.divide(light_planes(pixels[y0:y1, x0:x1]), (x0, y0), 1.0)
    if field.haze is not None:
        relative = field.haze.undone(relative)
    box = (x0, y0, x1, y1)
    own, territory = _places(field.labels, label, box)
    mask = (least_plane(relative) < PART_LEVEL).astype(np.uint8)
    if not territory.all():
        mask &= _enlarged(territory, box)
    if cut:
        near = np.ones((2 * BEYOND * STEP + 1,) * 2, np.uint8)
        mask &= np.asarray(cv2.dilate(_enlarged(own, box), near), np.uint8)
    whole = _largest_filled(mask, _middles(own, box))
    mask = _without_fibres(whole)
    core = np.asarray(cv2.erode(mask, np.ones((5, 5), np.uint8)), np.uint8)
    light, channel = _channel(relative, core)
    # Within two pixels of a part a fibre's root would be its edge.
    np.putmask(light, whole > mask, 1.0)
    level = field.backdrop.level(np.array([(x0 + x1) / 2]), np.array([(y0 + y1) / 2]))
    code = float(_luma(level)[0] if channel == "luma" else level.mean())
    return Crop(light=light, origin_px=(x0, y0), mask=mask, channel=channel, background_code=code)


def _places(
    labels: NDArray[np.int32], label: int, box: tuple[int, int, int, int]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return where an object lies in a box of the photo, and its territory there.

    Both are points of the shrunk picture over the box. The territory reaches the box's borders,
    but stops half way to a neighbour.
    """
    x0, y0, x1, y1 = box
    near = labels[y0 // STEP : -(-y1 // STEP), x0 // STEP : -(-x1 // STEP)]
    own, others = near == label, (near != label) & (near > 0)
    if not others.any():
        return own, np.ones(near.shape, bool)
    to_own, to_others = (
        cv2.distanceTransform((~m).astype(np.uint8), cv2.DIST_L2, 3) for m in (own, others)
    )
    return own, np.asarray(to_own <= to_others)


def _middles(
    own: NDArray[np.bool_], box: tuple[int, int, int, int]
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the pixels in the middle of an object's points of the shrunk picture: rows, columns.

    They are counted from the corner of the box.
    """
    rows, columns = np.nonzero(own)
    x0, y0, x1, y1 = box
    rows, columns = (STEP * i + STEP // 2 - o % STEP for i, o in ((rows, y0), (columns, x0)))
    inside = (rows >= 0) & (columns >= 0) & (rows < y1 - y0) & (columns < x1 - x0)
    return rows[inside], columns[inside]


def _enlarged(small: NDArray[np.bool_], box: tuple[int, int, int, int]) -> NDArray[np.uint8]:
    """Return the points of the shrunk picture over a box as pixels of the photo."""
    x0, y0, x1, y1 = box
    large = cv2.resize(
        small.astype(np.uint8), None, fx=STEP, fy=STEP, interpolation=cv2.INTER_NEAREST
    )[y0 % STEP :, x0 % STEP :][: y1 - y0, : x1 - x0]
    # The shrunk picture lacks what is left of the photo beyond a multiple of its step.
    below, right = y1 - y0 - large.shape[0], x1 - x0 - large.shape[1]
    whole = cv2.copyMakeBorder(large, 0, below, 0, right, cv2.BORDER_REPLICATE)
    return np.asarray(whole, np.uint8)


def _largest_filled(
    mask: NDArray[np.uint8], own: tuple[NDArray[np.intp], NDArray[np.intp]]
) -> NDArray[np.uint8]:
    """Return what hangs together and holds most of an object's pixels ``own``, filled."""
    _, labels = cv2.connectedComponents(mask, connectivity=4)
    counts = np.bincount(labels[own], minlength=2)
    counts[0] = 0
    if not counts.any():
        raise OutlineError("no pixel of the object is darker than the background")
    body = (labels == int(np.argmax(counts))).astype(np.uint8)
    contours, _ = cv2.findContours(body, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros_like(body)
    cv2.drawContours(filled, [max(contours, key=cv2.contourArea)], -1, 1, cv2.FILLED)
    return np.asarray(filled, np.uint8)


def _without_fibres(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Cut off fibres: what an opening removes, but for the stubs that are a crest's own tip."""
    opened = _opened(mask, FIBRE_PX)
    kept = mask & _near(opened)
    if (kept != mask).any():
        kept = kept & (1 - _rooted(mask & (1 - opened), opened))
    opened = _opened(kept, WIDE_FIBRE_PX)
    rest = kept & (1 - _near(opened))
    if not rest.any() or not opened.any():
        return kept
    away = cv2.distanceTransform(1 - opened, cv2.DIST_L2, 3)
    _, labels = cv2.connectedComponents(rest)
    for k in range(1, int(labels.max()) + 1):
        rows, columns = np.nonzero(labels == k)
        points = np.stack([columns, rows], axis=1).astype(np.float32)
        long = max(cv2.minAreaRect(points)[1]) + 1
        far = away[rows, columns]
        first, last = np.histogram(far, 4)[0][[0, 3]]
        if long**2 > FIBRE_LONG * len(points) and last > FIBRE_EVEN * first:
            kept[rows, columns] = 0
    return kept


def _rooted(thin: NDArray[np.uint8], body: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return what of the thin pixels hangs together with what reaches far from the body.

    The root of a fibre, left in a groove, stood between two crests as a third.
    """
    far = cv2.distanceTransform(1 - body, cv2.DIST_L2, 3) > TIP_PX
    _, labels = cv2.connectedComponents(thin)
    fibres = np.zeros(int(labels.max()) + 1, np.uint8)
    fibres[labels[(thin > 0) & far]] = 1
    return np.asarray(fibres[labels], np.uint8)


def _opened(mask: NDArray[np.uint8], width: int) -> NDArray[np.uint8]:
    """Return a mask without what is thinner than a width, pixels."""
    square = np.ones((width, width), np.uint8)
    return np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, square), np.uint8)


def _near(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return a mask with what lies within 4 pixels of it."""
    round_px = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9))
    return np.asarray(cv2.dilate(mask, round_px), np.uint8)


def outline(
    crop: Crop, level: float = PART_LEVEL, *, fill_px: int | None = None
) -> NDArray[np.float64]:
    """Return the object's outline at a level of the relative light, (n, 2) photo pixels, closed.

    The crossings between neighbouring pixels on the channel in use (marching squares); the interior
    (holes of mirrored light) is filled first, so that only the outermost crossing counts.
    ``fill_px`` is how deep inside the mask that begins: one pixel near the mask's own level, deeper
    at lower levels, whose crossing lies there.

    Raises
    ------
    OutlineError
        If nothing of the object is darker than the level, or hardly anything.
    """
    deep = fill_px if fill_px is not None else (1 if level > 0.7 else 6)
    core = cv2.erode(crop.mask, np.ones((2 * deep + 1, 2 * deep + 1), np.uint8))
    light = np.minimum(crop.light, np.float32(level * 0.8))
    cv2.copyTo(crop.light, 1 - core, light)
    outside = cv2.dilate(crop.mask, np.ones((5, 5), np.uint8)) == 0
    np.putmask(light, outside, 1.0)
    points: NDArray[np.float64] = _largest_ring(light, level) + np.array(crop.origin_px)
    if len(points) < FEWEST_POINTS:
        raise OutlineError(f"the outline has only {len(points)} points")
    return points


#: The eight neighbours (dx, dy), turning as the borders that OpenCV follows do.
_TURN = np.array([(1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1), (0, 1), (1, 1)])


def _largest_ring(light: Floats, level: float) -> NDArray[np.float64]:
    """Return where the light crosses a level around the largest dark object, (n, 2), closed.

    OpenCV follows the object's border from pixel to pixel. Turning at a pixel from the one before
    to the next, all neighbours on the way are bright; toward each of the four near ones lies a
    crossing. Where the object goes on beyond the picture there is none.
    """
    dark = (light < level).astype(np.uint8)
    contours, _ = cv2.findContours(dark, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        raise OutlineError("nothing of the object is darker than the level")
    border = max(contours, key=cv2.contourArea)[:, 0, :].astype(np.intp)
    step = np.roll(border, -1, axis=0) - border
    code = np.zeros((3, 3), np.intp)
    code[_TURN[:, 1], _TURN[:, 0]] = np.arange(8)
    ahead = code[step[:, 1], step[:, 0]]
    back = np.roll(ahead + 4, 1)
    turn = back[:, None] + np.arange(1, 8)
    passed = np.arange(1, 8) < (ahead - back - 1)[:, None] % 8 + 1
    pixel, at = np.nonzero(passed & (turn % 2 == 0))
    inner, way = border[pixel], _TURN[turn[pixel, at] % 8]
    outer = inner + way
    seen = ((outer >= 0) & (outer < dark.shape[::-1])).all(axis=1)
    inner, outer, way = inner[seen], outer[seen], way[seen]
    low, high = (light[p[:, 1], p[:, 0]].astype(float) for p in (inner, outer))
    ring = inner + ((level - low) / (high - low))[:, None] * way
    return np.concatenate([ring, ring[:1]])
