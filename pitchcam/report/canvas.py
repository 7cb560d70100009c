"""Drawing primitives of the annotated picture: panels of the photo, lines, text, scale bars."""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from pitchcam.frozen import dataclass

Image8 = NDArray[np.uint8]
Point = tuple[float, float]
Colour = tuple[int, int, int]

# Colours that people with any colour vision can tell apart (M. Okabe and K. Ito, 2008), as BGR.
OUTLINE: Colour = (0, 159, 230)
AXIS: Colour = (178, 114, 0)
CREST: Colour = (0, 94, 213)
FLANK: Colour = (115, 158, 0)
REFERENCE: Colour = (167, 121, 204)
INK: Colour = (40, 34, 30)
PAPER: Colour = (250, 248, 246)

_SHIFT = 4  # OpenCV's fixed-point fraction bits: lines drawn to 1/16 px
# A scale bar reads well at about a quarter of the panel.
_BAR_SHARE = 0.28


@dataclass(frozen=True, kw_only=True, slots=True)
class Panel:
    """A cut-out of the photo at a place on the canvas.

    ``matrix`` (2, 3) takes photo positions to canvas positions; ``scale`` is canvas px per photo
    px; ``box`` is (x, y, width, height) on the canvas.
    """

    matrix: NDArray[np.float64]
    scale: float
    box: tuple[int, int, int, int]

    def to_canvas(self, points: Sequence[Point]) -> NDArray[np.float64]:
        """Return canvas positions (n, 2) of photo positions."""
        array = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        moved: NDArray[np.float64] = array @ self.matrix[:, :2].T + self.matrix[:, 2]
        return moved


def to_bgr8(pixels: NDArray[Any]) -> Image8:
    """Return an 8-bit colour copy of (part of) a photo, for display."""
    eight = (pixels >> 8).astype(np.uint8) if pixels.dtype == np.uint16 else pixels
    if eight.ndim == 2:
        return np.ascontiguousarray(np.repeat(eight[:, :, None], 3, axis=2))
    return np.ascontiguousarray(eight)


def place_panel(
    canvas: Image8,
    pixels: NDArray[Any],
    *,
    corners: NDArray[np.float64],
    box: tuple[int, int, int, int],
) -> Panel:
    """Draw the photo's rectangle with the given corners into ``box`` of the canvas.

    Parameters
    ----------
    canvas
        The picture drawn on, changed in place.
    pixels
        The photo's pixels.
    corners
        (3, 2): top-left, top-right and bottom-left of the wanted (possibly turned) rectangle, in
        photo px. It is fitted into the box and centred.
    box
        (x, y, width, height) on the canvas.
    """
    top_left, top_right, bottom_left = corners
    width = float(np.hypot(*(top_right - top_left)))
    height = float(np.hypot(*(bottom_left - top_left)))
    x, y, box_w, box_h = box
    scale = min(box_w / width, box_h / height)
    out_w, out_h = max(1, round(width * scale)), max(1, round(height * scale))
    left, top = x + (box_w - out_w) // 2, y + (box_h - out_h) // 2
    # Rows of the rotation: unit vectors along the rectangle's sides.
    turn = np.stack([(top_right - top_left) / width, (bottom_left - top_left) / height]) * scale
    matrix = np.column_stack([turn, -turn @ top_left])
    canvas[top : top + out_h, left : left + out_w] = _cut(pixels, corners, matrix, out_w, out_h)
    matrix[:, 2] += (left, top)
    return Panel(matrix=matrix, scale=scale, box=(left, top, out_w, out_h))


def _cut(
    pixels: NDArray[Any], corners: NDArray[np.float64], matrix: NDArray[np.float64], w: int, h: int
) -> Image8:
    """Resample one rectangle; only its surroundings are copied, not the whole photo."""
    fourth = corners[1] + corners[2] - corners[0]
    around = np.vstack([corners, fourth])
    limit = np.array([pixels.shape[1], pixels.shape[0]])
    low = np.clip(np.floor(around.min(axis=0)).astype(int) - 4, 0, limit - 1)
    high = np.clip(np.ceil(around.max(axis=0)).astype(int) + 5, low + 1, limit)
    piece = to_bgr8(pixels[low[1] : high[1], low[0] : high[0]])
    local = matrix.copy()
    local[:, 2] += local[:, :2] @ low
    scale = float(np.hypot(local[0, 0], local[0, 1]))
    if scale < 0.5:  # average first: warping alone would skip pixels
        share = max(scale, 1.0 / min(piece.shape[:2]))
        size = (max(1, round(piece.shape[1] * share)), max(1, round(piece.shape[0] * share)))
        shrink = np.array([size[0] / piece.shape[1], size[1] / piece.shape[0]])
        piece = np.asarray(cv2.resize(piece, size, interpolation=cv2.INTER_AREA), np.uint8)
        local[:, :2] = local[:, :2] / shrink
    cut: Any = cv2.warpAffine(
        piece, local, (w, h), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(cut, np.uint8)


def lines(
    canvas: Image8,
    points: NDArray[np.float64],
    colour: Colour,
    *,
    width: int = 2,
    closed: bool = False,
) -> None:
    """Draw a polyline at sub-pixel positions."""
    if len(points) >= 2:
        fixed = np.round(points * (1 << _SHIFT)).astype(np.int32)
        cv2.polylines(canvas, [fixed], closed, colour, width, lineType=cv2.LINE_AA, shift=_SHIFT)


def dashes(
    canvas: Image8, start: NDArray[np.float64], end: NDArray[np.float64], colour: Colour
) -> None:
    """Draw a long-short-long line, as drawings show an axis."""
    length = float(np.hypot(*(end - start)))
    if length < 1.0:
        return
    along, at = (end - start) / length, 0.0
    for step, gap in _dash_pattern(length):
        lines(
            canvas,
            np.stack([start + along * at, start + along * min(at + step, length)]),
            colour,
            width=2,
        )
        at += step + gap


def _dash_pattern(length: float) -> list[tuple[float, float]]:
    pair = [(26.0, 7.0), (5.0, 7.0)]
    period = sum(step + gap for step, gap in pair)
    return pair * (math.ceil(length / period))


def dot(canvas: Image8, point: NDArray[np.float64], colour: Colour, radius: float = 5.0) -> None:
    """Draw a filled dot with a light rim, so that it shows on dark and bright ground."""
    centre = tuple(int(v) for v in np.round(point * (1 << _SHIFT)))
    for r, c in ((radius + 1.5, PAPER), (radius, colour)):
        cv2.circle(canvas, centre, int(r * (1 << _SHIFT)), c, -1, cv2.LINE_AA, _SHIFT)


@cache
def font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Return the sans-serif face that comes with matplotlib: it has degree and plus-minus."""
    spec = importlib.util.find_spec("matplotlib")
    folders = [] if spec is None else list(spec.submodule_search_locations or [])
    for folder in folders:
        path = Path(folder, "mpl-data", "fonts", "ttf", "DejaVuSans.ttf")
        if path.is_file():
            return ImageFont.truetype(str(path), size)
    return ImageFont.load_default(size)


def width_of(words: str, size: int) -> float:
    """Return how wide the words come out, in px."""
    return float(font(size).getlength(words))


class Lettering:
    """Text on a canvas, through one conversion for all of it."""

    def __init__(self, canvas: Image8) -> None:
        self._canvas = canvas
        self._image = Image.fromarray(canvas[:, :, ::-1])
        self._draw = ImageDraw.Draw(self._image)

    def write(
        self,
        at: Point,
        words: str,
        *,
        size: int = 24,
        colour: Colour = INK,
        anchor: str = "lm",
        halo: bool = False,
        most_px: float | None = None,
    ) -> None:
        """Write at a position.

        ``anchor`` is as Pillow names it, ``halo`` is for use on the photo, ``most_px`` the width
        that the words are cut to.
        """
        while most_px is not None and len(words) > 1 and width_of(words, size) > most_px:
            words = words.rstrip("…")[:-1].rstrip() + "…"
        self._draw.text(
            at,
            words,
            font=font(size),
            fill=colour[::-1],
            anchor=anchor,
            stroke_width=3 if halo else 0,
            stroke_fill=PAPER[::-1],
        )

    def finish(self) -> None:
        """Put the lettered picture back on the canvas."""
        self._canvas[:] = np.asarray(self._image)[:, :, ::-1]


def nice_length(target: float) -> float:
    """Return the 1, 2 or 5 times a power of ten next below ``target``."""
    power = 10.0 ** math.floor(math.log10(target))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= target * (1 + 1e-9))


def scale_bar(canvas: Image8, panel: Panel, mm_per_px: float) -> tuple[Point, str]:
    """Draw a bar of round length at the panel's lower left; return where its label goes."""
    x, y, w, h = panel.box
    px_per_mm = panel.scale / mm_per_px
    length_mm = nice_length(max(_BAR_SHARE * w / px_per_mm, 1e-3))
    left, level = x + 24.0, y + h - 26.0
    right = left + length_mm * px_per_mm
    for width, colour in ((8, PAPER), (3, INK)):
        lines(canvas, np.array([[left, level], [right, level]]), colour, width=width)
        for end in (left, right):
            lines(canvas, np.array([[end, level - 9], [end, level + 9]]), colour, width=width)
    return (right + 14.0, level), f"{length_mm:g} mm"
