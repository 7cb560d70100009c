"""The lit field: where the background shines, how bright it is, and what lies dark on it."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from pitchcam.errors import UnreadableError
from pitchcam.flags import FLAGS
from pitchcam.frozen import dataclass
from pitchcam.objects.background import FEWEST_POINTS, Backdrop, Floats, fit_backdrop
from pitchcam.objects.flicker import Flicker, find_flicker
from pitchcam.objects.haze import Haze, find_haze
from pitchcam.objects.split import split_touching
from pitchcam.objects.stain import find_stain
from pitchcam.objects.window import window_sides
from pitchcam.photo.linear import largest_plane, least_plane, light_planes, mean_plane
from pitchcam.photo.record import QUARTER, quartered
from pitchcam.small import percentile

Ints = NDArray[np.intp]

#: The search works on means of 4 x 4 pixels: a quarter of a crest at the usual 15-20 px/mm, while
#: edges are placed later on the photo's own pixels.
STEP = QUARTER
#: Share of the background's light under which a point belongs to a part. High, since a part
#: mirrors the panel along its edge and the outermost edge, however faint, is the part's edge.
PART_LEVEL = 0.86
#: The lit window is what exceeds this share of the brightest light; vignetting and a panel's own
#: fall-off reach 0.4 in the corners of a phone photo (common practice, no source).
LIT_SHARE = 0.22
#: Linear light above which a channel is taken as clipped (code value 253 of 255).
CLIPPED = 0.982

#: A strip along the light's border that is narrower than this on the mean is no object.
SLIVER_PX = 40.0
#: Shorter pictures are refused: three turns of the seven pixels a pitch that a thread needs, with
#: the room that edges are looked for in on both sides (28 px, see outline.contour).
FEWEST_PX = 77
#: So many points tell a surface of 15 terms to a few parts in ten thousand (noise of a mean of
#: 4 x 4 pixels: under one in a hundred).
POINTS = 3000
#: A lens spreads a part's darkness over some 15 pixels (three standard deviations of the bloom in
#: renders are 21): a point counts that has no light darker than this share of its own so many
#: points of the shrunk picture away. Where few are so clear, all count.
CLEAR, BESIDE_DARK, FEWEST_CLEAR = 6, 0.9, 0.3
#: More objects than a box of parts ever has in one photo: print, gravel, a pattern, noise.
MOST_OBJECTS = 400

#: Widest border of the light, in points of the shrunk picture: a window far out of focus.
MOST_BORDER = 40


@dataclass(frozen=True, kw_only=True)
class Blob:
    """A dark object in the lit window: its box in photo pixels.

    ``cut`` says that the border of the light or of the picture cuts it, at ``border_px``, photo
    positions; ``touching`` that it was parted from a neighbour it touches in the picture.
    """

    box_px: tuple[int, int, int, int]
    area_px: float
    cut: bool
    touching: bool
    label: int
    border_px: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, kw_only=True)
class Field:
    """The lit window with its background and the objects on it.

    ``window_px`` is the window's convex outline (n, 2) in photo pixels; ``full_frame`` says that
    the light reaches all borders of the picture, so that its own border is not in view; ``light``
    is the shrunk picture, the mean of the channels. ``haze`` is the light that the lens spreads
    widely, None where that is no more than usual.
    """

    backdrop: Backdrop
    window_px: NDArray[np.float64]
    full_frame: bool
    blobs: tuple[Blob, ...]
    labels: NDArray[np.int32]
    light: Floats
    clipped_share: float
    haze: Haze | None = None

    @cached_property
    def sides(self) -> tuple[NDArray[np.float64] | None, ...]:
        """Places along the four sides of the window, of :func:`window_sides`."""
        return window_sides(self.light, self.window_px, STEP)


def to_photo(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Map positions in the shrunk picture to photo pixels (centres of pixels are integers)."""
    return np.asarray(points, dtype=float) * STEP + (STEP - 1) / 2


def _window(light: Floats) -> tuple[NDArray[np.uint8], NDArray[np.int32]]:
    """Return where the light shines, (h, w), and its convex outline; ``light`` is (h, w)."""
    bright = percentile(light[::4, ::4].ravel(), 99.0)
    if bright < 0.02:
        raise UnreadableError(
            "The photo is dark: no lit background was found.", FLAGS["no-part"][1], code="no-part"
        )
    lit: Any = (light > LIT_SHARE * bright).astype(np.uint8)
    lit = cv2.morphologyEx(lit, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    contours, _ = cv2.findContours(lit, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    if not contours:
        raise UnreadableError("No lit background was found.", FLAGS["no-part"][1], code="no-part")
    # A part or a fibre may divide the light; the parts of the light belong together.
    areas = [cv2.contourArea(c) for c in contours]
    large = [c for c, area in zip(contours, areas, strict=True) if area >= 0.1 * max(areas)]
    hull = cv2.convexHull(np.vstack(large))
    inside = np.zeros_like(lit)
    cv2.fillConvexPoly(inside, hull, 1)
    return inside, np.asarray(hull[:, 0, :], np.int32)


def _inner(inside: NDArray[np.uint8], ratio: Floats, full_frame: bool) -> NDArray[np.uint8]:
    """Erode the window past its own blurred border, which is dark without being a part."""
    if full_frame:
        return inside
    depth = cv2.distanceTransform(np.pad(inside, 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
    near = np.flatnonzero((depth >= 1) & (depth < MOST_BORDER))
    ring = depth.ravel()[near].astype(np.intp)
    shines = ratio.ravel()[near] > PART_LEVEL
    points = np.bincount(ring, minlength=MOST_BORDER)[1:]
    bright = np.bincount(ring[shines], minlength=MOST_BORDER)[1:]
    clear = np.flatnonzero((points == 0) | (bright > 0.80 * points))
    # Two points beyond the first ring that is bright all round.
    margin = int(clear[0]) + 3 if len(clear) else MOST_BORDER
    return (depth >= margin).astype(np.uint8)


def _objects(
    dark: NDArray[np.uint8], smallest: float
) -> tuple[NDArray[np.int32], list[tuple[slice, slice, bool]]]:
    """Give the objects numbers from 1 on, those that touch parted.

    Returns
    -------
    labels, places
        The objects' numbers, and in their order a window around each (rows, columns) and whether
        it was parted from a neighbour.
    """
    labels = np.zeros(dark.shape, np.int32)
    places: list[tuple[slice, slice, bool]] = []
    contours, _ = cv2.findContours(dark, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    for contour in contours:
        x, y, w, h = cv2.boundingRect(contour)
        if w * h < smallest:
            continue
        rows, columns = slice(y, y + h), slice(x, x + w)
        filled = np.zeros((h, w), np.uint8)
        cv2.drawContours(filled, [contour], -1, 1, cv2.FILLED, offset=(-x, -y))
        # What hangs together by corners only is two objects.
        count, found, stats, _ = cv2.connectedComponentsWithStats(
            filled & dark[rows, columns], connectivity=4
        )
        for k in range(1, count):
            if stats[k, cv2.CC_STAT_AREA] < smallest:
                continue
            own = (found == k).astype(np.uint8)
            pieces = split_touching(own)
            # A number that no point carries would be an object that is nowhere.
            for number in range(1, 2 if pieces is None else int(pieces.max()) + 1):
                of_it = own > 0 if pieces is None else pieces == number
                if of_it.any():
                    places.append((rows, columns, pieces is not None))
                    labels[rows, columns][of_it] = len(places)
            if len(places) > MOST_OBJECTS:
                raise UnreadableError(
                    f"More than {MOST_OBJECTS} dark objects lie on the light: a pattern or print, "
                    "no parts.",
                    FLAGS["no-part"][1],
                    code="no-part",
                )
    return labels, places


def _inside_of(light: Floats, outline_px: NDArray[np.float64]) -> NDArray[np.uint8]:
    small = (outline_px - (STEP - 1) / 2) / STEP
    inside = np.zeros(light.shape[1:], np.uint8)
    cv2.fillConvexPoly(inside, np.round(small).astype(np.int32), 1)
    return inside


def _on_background(light: Floats, inside: NDArray[np.bool_]) -> tuple[Ints, Ints]:
    """Return rows and columns of an even grid of points, clear of what lies dark on the light."""
    step = max(1, int(np.sqrt(np.count_nonzero(inside) / POINTS)))
    ys, xs = np.nonzero(inside[step // 2 :: step, step // 2 :: step])
    ys, xs = ys * step + step // 2, xs * step + step // 2
    own, clear = light[ys, xs] * BESIDE_DARK, np.ones(len(xs), bool)
    h, w = light.shape
    for down, right in ((CLEAR, 0), (-CLEAR, 0), (0, CLEAR), (0, -CLEAR)):
        clear &= light[np.clip(ys + down, 0, h - 1), np.clip(xs + right, 0, w - 1)] > own
    if np.count_nonzero(clear) > FEWEST_CLEAR * len(clear):
        return ys[clear], xs[clear]
    return ys, xs


def _even(
    light: Floats, flicker: Flicker
) -> tuple[Floats, Floats, tuple[NDArray[np.uint8], NDArray[np.int32]]]:
    """Return the shrunk picture as steady light shows it: planes, mean, window and its outline."""
    if flicker.too_dark:
        raise UnreadableError(
            "The light flickers: it goes out in bands across the picture.",
            FLAGS["flicker"][1],
            code="flicker",
        )
    x, y = (to_photo(np.arange(float(n))) for n in light.shape[:0:-1])
    light = np.asarray(light / flicker.light(x, y[:, None]), np.float32)
    mean = mean_plane(light)
    return light, mean, _window(mean)


def find_field(
    pixels: NDArray[np.generic],
    *,
    smallest_px: float = 1500.0,
    within_px: NDArray[np.float64] | None = None,
    quarter: NDArray[np.generic] | None = None,
) -> Field:
    """Find the lit window of a photo, its background light and the objects lying on it.

    Parameters
    ----------
    pixels
        The photo, (h, w) or (h, w, 3), uint8 or uint16, as stored (not linear).
    smallest_px
        Objects of fewer photo pixels are specks and left out.
    within_px
        Convex outline (n, 2) of the only place where parts lie: a sheet's window. The field's
        ``window_px`` stays that of all light, which is what rims mirror.
    quarter
        The photo at a quarter of its size (:func:`pitchcam.photo.record.quartered`), where it is
        at hand.

    Raises
    ------
    UnreadableError
        If nothing in the photo shines, or it goes out in bands, or has too few pixels, or a pattern
        instead of parts.
    """
    h, w = pixels.shape[:2]
    if min(h, w) < FEWEST_PX:
        raise UnreadableError(
            f"The picture has only {w} x {h} pixels, too few for a thread and its edges.",
            FLAGS["too-small"][1],
            code="too-small",
        )
    light = light_planes(quartered(pixels) if quarter is None else quarter)
    clipped = largest_plane(light) > CLIPPED
    mean = mean_plane(light)
    inside, hull = _window(mean)
    first = float(to_photo(np.zeros(1))[0])
    flicker = find_flicker(light, inside, first, STEP)
    if flicker is not None:
        # A dark band at the window's end seemed to lie beyond it: nothing evened it.
        _, _, (whole, _) = _even(light, flicker)
        flicker = find_flicker(light, whole, first, STEP) or flicker
        light, mean, (inside, hull) = _even(light, flicker)
    if within_px is not None:
        inside = _inside_of(light, within_px)
    h, w = inside.shape
    border = np.concatenate([inside[0], inside[-1], inside[:, 0], inside[:, -1]])
    full_frame = bool(border.mean() > 0.5)
    core = cv2.erode(inside, np.ones((9, 9), np.uint8))
    ys, xs = _on_background(mean, np.asarray(core, np.uint8).view(np.bool_))
    if len(xs) < FEWEST_POINTS:
        raise UnreadableError(
            "The lit background is too small to be measured against.",
            FLAGS["no-part"][1],
            code="no-part",
        )
    backdrop = fit_backdrop(
        light[:, ys, xs],
        to_photo(xs.astype(float)),
        to_photo(ys.astype(float)),
        (w * STEP, h * STEP),
    )
    relative = backdrop.divide(light, (first, first), STEP)
    ratio = least_plane(relative)
    inner = _inner(inside, ratio, full_frame)
    stain = find_stain(relative, ratio, inner, PART_LEVEL, STEP)
    if stain is not None:
        relative = np.asarray(relative / stain.share, np.float32)
        ratio = least_plane(relative)
        mean = np.asarray(mean / mean_plane(stain.share), np.float32)
        inner = _inner(inside, ratio, full_frame)
    # Of three channels one is enough from here on.
    grey = mean_plane(relative)
    del relative
    dark = ((ratio < PART_LEVEL) & (inner > 0)).astype(np.uint8)
    # Fibres and scratches are thinner than two points of the shrunk picture; parts are not.
    # An even kernel has no middle: growing back by the mirrored anchor keeps objects in place.
    two = np.ones((2, 2), np.uint8)
    opened = cv2.dilate(cv2.erode(dark, two, anchor=(0, 0)), two, anchor=(1, 1))
    labels, places = _objects(np.asarray(opened, np.uint8), smallest_px / STEP**2)
    edge = cv2.morphologyEx(inner, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)) > 0
    edge[[0, -1], :] = True
    edge[:, [0, -1]] = True
    blobs = []
    for k, (rows, columns, touching) in enumerate(places, start=1):
        own = labels[rows, columns] == k
        ys, xs = np.nonzero(own)
        x, y = columns.start, rows.start
        box = tuple(
            int(v) * STEP for v in (x + xs.min(), y + ys.min(), x + xs.max() + 1, y + ys.max() + 1)
        )
        ends = np.argwhere(edge[rows, columns] & own)[:, ::-1] + (x, y)
        cut = len(ends) > 0
        area_px = float(len(xs) * STEP**2)
        # A strip may run along several borders: it is as long as it touches them.
        if cut and area_px < SLIVER_PX * max(box[2] - box[0], box[3] - box[1], len(ends) * STEP):
            continue  # the border of the light itself, or of the panel
        blobs.append(
            Blob(
                box_px=(box[0], box[1], box[2], box[3]),
                area_px=area_px,
                cut=cut,
                touching=touching,
                label=k,
                border_px=tuple((float(a), float(b)) for a, b in to_photo(ends)),
            )
        )
    return Field(
        backdrop=replace(backdrop, flicker=flicker, stain=stain),
        window_px=to_photo(hull.astype(float)),
        full_frame=full_frame,
        blobs=tuple(sorted(blobs, key=lambda b: -b.area_px)),
        labels=labels,
        light=mean,
        clipped_share=float(clipped[inner > 0].mean()) if inner.any() else 0.0,
        haze=find_haze(grey, np.where(labels > 0, 1, 2 * (1 - inner)), STEP),
    )
