"""Whole photos drawn by exact means: a threaded stud and a pin over a panel, as a phone sees them.

A solid of revolution is the union of its meridian sections, so its shadow is the union of their
projections; a helicoid likewise, each section moved along by its share of the lead. Projection is
OpenCV's; nothing of the package is used. Surfaces are dead black: no rim.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter

from tests.objects.drawing import cover, develop, hull, pin, window
from tests.objects.union import union_cover
from tests.thread.helicoid import iso_profile

SIZE, F35_MM = (2520, 1890), 26
#: Diagonal of the 36 x 24 mm frame that 35-mm-equivalent focal lengths refer to.
FRAME_DIAGONAL_MM = 43.2666
#: Width of the dark card around the light.
WINDOW_PX = 100.0
#: The turns in degrees whose sections are drawn: between two of them a round part is drawn too
#: small by 1 um.
TURNS_DEG = np.arange(-32.0, 32.1, 2.0)
FOCAL_35MM_TAG, EXIF_IFD = 0xA405, 0x8769


@dataclass(frozen=True, kw_only=True)
class Stud:
    """A stud of two plain shanks with a thread between them, lying on the shanks."""

    pitch_mm: float = 1.5
    major_mm: float = 13.85
    shank_mm: float = 14.0
    thread_mm: float = 18.0
    shank_length_mm: float = 9.0

    @property
    def pitch_diameter_mm(self) -> float:
        """The basic pitch diameter below the major as made, ISO 68-1."""
        return float(iso_profile(self.pitch_mm, self.major_mm)[2])

    @property
    def minor_mm(self) -> float:
        """The root's flat, 5/8 of the flanks' triangle below the crest, ISO 68-1."""
        return self.major_mm - 2 * 5 / 16 * np.sqrt(3) * self.pitch_mm

    @property
    def ends_mm(self) -> tuple[float, float]:
        """Where the part begins and ends along its axis, from the thread's middle."""
        half = self.thread_mm / 2 + self.shank_length_mm
        return -half, half

    def radius(self, z, turn):
        """Return the radius at positions along the axis, for a section at an angle."""
        at, r, _ = iso_profile(self.pitch_mm, self.major_mm)
        place = (z + self.pitch_mm * turn / (2 * np.pi)) / self.pitch_mm
        groove = np.interp((place - np.round(place)) * self.pitch_mm, at, r)
        return np.where(np.abs(z) < self.thread_mm / 2, groove, self.shank_mm / 2)


@dataclass(frozen=True, kw_only=True)
class Shot:
    """How a photo differs from what a measurement takes for granted: its inputs' errors.

    ``lift_mm`` is how much higher the axis lies than on level shanks.
    """

    focal_share: float = 0.0
    tilt_rad: tuple[float, float] = (0.0, 0.0)
    incline_rad: float = 0.0
    lift_mm: float = 0.0
    pin_error_mm: float = 0.0
    corner_shift: float = 0.0
    heading_rad: float = 0.3
    distance_mm: float = 190.0
    noise: float = 0.006
    seed: int = 1
    size_px: tuple[int, int] = SIZE
    f35_mm: float = F35_MM

    @property
    def f_px(self) -> float:
        """The focal length, its error included."""
        stated = self.f35_mm / FRAME_DIAGONAL_MM * float(np.hypot(*self.size_px))
        return stated * (1 + self.focal_share)


def project(points, shot: Shot):
    """Project plate points (n, 3), the third number the height over the plate, with distortion."""
    f = shot.f_px
    centre = (np.array(shot.size_px) - 1) / 2
    matrix = np.array([[f, 0, centre[0]], [0, f, centre[1]], [0, 0, 1.0]])
    k1 = shot.corner_shift / float(np.hypot(*(centre / f))) ** 2
    there = np.asarray(points, float) * [1, 1, -1]
    turn, shift = np.array([*shot.tilt_rad, 0.0]), np.array([0.0, 0.0, shot.distance_mm])
    bend = np.array([k1, 0, 0, 0.0])
    return cv2.projectPoints(there, turn, shift, matrix, bend)[0][:, 0]


def stud_shadow(stud: Stud, shot: Shot, middle):
    """Return the share of light that a stud keeps off every pixel, before blur."""
    first, last = stud.ends_mm
    z = np.unique(
        np.concatenate(
            [
                np.arange(first, last, stud.pitch_mm / 150),
                [last],
                np.array([-1, 1]) * stud.thread_mm / 2,
                np.array([-1, 1]) * (stud.thread_mm / 2 - 1e-6),
            ]
        )
    )
    z = z[(z >= first) & (z <= last)]
    along = np.array([np.cos(shot.heading_rad), np.sin(shot.heading_rad), 0.0])
    across = np.array([-along[1], along[0], 0.0])
    c, s = np.cos(shot.incline_rad), np.sin(shot.incline_rad)
    along, up = c * along + s * np.array([0, 0, 1.0]), c * np.array([0, 0, 1.0]) - s * along
    origin = np.array([*middle, stud.shank_mm / 2 + shot.lift_mm])
    outlines = []
    for turn in np.radians(TURNS_DEG):
        out = np.cos(turn) * across + np.sin(turn) * up
        sides = [
            origin + z[:, None] * along + sign * stud.radius(z, turn + opposite)[:, None] * out
            for sign, opposite in ((1, 0.0), (-1, np.pi))
        ]
        outlines.append(project(np.concatenate([sides[0], sides[1][::-1]]), shot))
    around = np.radians(np.arange(0, 360, 2.0))[:, None]
    for end in (first, last):  # a face's rim comes nearer to the camera than its sections do
        r = stud.radius(np.array([end]), 0.0)[0]
        rim = origin + end * along + r * (np.cos(around) * across + np.sin(around) * up)
        outlines.append(project(rim, shot))
    every = np.concatenate(outlines)
    low = np.floor(every.min(axis=0)).astype(int) - 3
    w, h = np.ceil(every.max(axis=0)).astype(int) + 3 - low
    shade = union_cover((w, h), [outline - low for outline in outlines])
    out = np.zeros(shot.size_px[::-1])
    x0, y0 = np.maximum(low, 0)  # what lies beyond the frame is not seen
    x1, y1 = np.minimum(low + [w, h], shot.size_px)
    out[y0:y1, x0:x1] = shade[y0 - low[1] : y1 - low[1], x0 - low[0] : x1 - low[0]]
    return out


def draw(stud: Stud, shot: Shot, pin_mm: float, path: Path, *, blur_px: float = 0.8) -> Path:
    """Write the photo of a stud and a pin; its EXIF states the focal length as a phone does."""
    across = np.array([-np.sin(shot.heading_rad), np.cos(shot.heading_rad)])
    shade = gaussian_filter(stud_shadow(stud, shot, 8.0 * across), blur_px)
    lying = pin(-14.0 * across, shot.heading_rad, 40.0, pin_mm + shot.pin_error_mm)
    shade = np.maximum(shade, cover(SIZE, hull(project(lying, shot)), blur_px))
    light = 0.01 + 0.69 * (1 - shade) * window(SIZE, margin=WINDOW_PX)
    pixels = develop(light, noise=shot.noise, seed=shot.seed)
    exif = Image.Exif()
    exif.get_ifd(EXIF_IFD)[FOCAL_35MM_TAG] = F35_MM
    Image.fromarray(pixels).save(path, quality=95, exif=exif)
    return path
