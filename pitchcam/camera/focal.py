"""The focal length before anything is measured: what tags and size tell of it, as explanations.

A phone's tag is one of several explanations of its picture. It is rounded to whole mm, holds for a
far focus, may or may not follow a crop or a digital zoom, and may be missing. Each explanation has
its focal length, uncertainty and weight; the scale of a reference then tells how far away the phone
would have been held, and weighs them again.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pitchcam.camera.held import HELD_MM, U_HELD, without_tails
from pitchcam.camera.pinhole import DIAGONAL_35MM, Camera
from pitchcam.frozen import dataclass
from pitchcam.photo import Photo
from pitchcam.photo.exif import same_aspect

#: A stated focal length: rounded to whole mm; a lens that focuses at 150-350 mm stands farther from
#: its sensor by a few percent, corrections crop, and tags of phones have been met 3 to 8 % off.
U_STATED = 0.03
#: Phones' lenses where nothing is stated, in mm on a 36 x 24 frame, relative spread, weight: main
#: lens, twofold (which the guide asks for), longer, ultra-wide (common practice, no source).
UNSTATED = ((26.0, 0.05, 0.55), (51.0, 0.08, 0.30), (74.0, 0.12, 0.10), (14.5, 0.10, 0.05))
#: Share of photos whose tag belongs to another lens or another picture, and of those whose tag no
#: phone's lens has: ultra-wide to fivefold (judgement).
WRONG_TAG, ODD_TAG = 0.03, 0.9
USUAL_F35_MM = (12.0, 135.0)
#: Lenses as they are built, the same way; what a stated digital zoom leaves of a tag is one.
BUILT = ((26.0, 0.07, 0.80), (14.5, 0.10, 0.05), (51.0, 0.08, 0.07), (74.0, 0.12, 0.08))
#: Share of phones whose tag stays that of the lens when the picture is cropped to another shape or
#: zoomed into: both kinds are met (judgement).
TAG_OF_LENS_CROP, TAG_OF_LENS_ZOOM = 0.5, 0.3
#: A side that differs by no more from the recorded one is of the same size: some tags are those of
#: the sensor's frame, of which a lens's correction trims a little (judgement).
SAME_SIZE = 0.01
#: Share of smaller copies of the same shape that were cropped, not shrunk (judgement).
CROPPED_COPY = 0.1
#: What a crop by hand leaves of the picture's sides: a half to all of it. Placed anywhere, that
#: moves the middle by 0.14 of what is left, about the picture's middle not at all; between the two
#: lies what people crop (judgement).
U_CROP, U_CROP_CENTRE = 0.25, 0.10
#: Frames that phones and cameras give (common practice, no source).
FRAMES = (4 / 3, 3 / 2, 16 / 9, 1.0, 2.0, 19 / 9, 19.5 / 9, 20 / 9)


@dataclass(frozen=True, kw_only=True)
class Explanation:
    """A focal length in pixels, its relative standard uncertainty, and the explanation's weight."""

    f_px: float
    u_share: float
    weight: float


def explanations(photo: Photo) -> tuple[Explanation, ...]:
    """Return what tags and size of a photo tell of its focal length; the weights add up to 1."""
    long, short = max(photo.width_px, photo.height_px), min(photo.width_px, photo.height_px)
    diagonal = float(np.hypot(long, short))
    origin = photo.origin
    cropped = was_cropped(photo)
    extra = U_CROP if cropped else 0.0
    # A crop leaves fewer pixels on the diagonal for the same lens.
    enlarged = np.exp(U_CROP) if cropped else 1.0
    unstated = [
        (f35 * enlarged, float(np.hypot(share, extra)), weight) for f35, share, weight in UNSTATED
    ]
    stated: list[tuple[float, float, float]] = []
    if photo.f35_mm is not None:
        stated = [(photo.f35_mm * enlarged, float(np.hypot(U_STATED, extra)), 1.0)]
        if not cropped and not origin.sensor_aspect and long / short > 4 / 3:
            # The sensor's frame is as long and higher; a tag of the lens refers to its diagonal.
            by_lens = float(np.hypot(long, 0.75 * long)) / diagonal
            stated = _both(stated, by_lens, TAG_OF_LENS_CROP)
        if origin.zoom is not None and origin.zoom > 1.0:
            stated = _both(stated, origin.zoom, _tag_of_lens(photo.f35_mm, origin.zoom))
        if origin.shrunk is not None and 0.0 < origin.shrunk < 1 - SAME_SIZE:
            stated = _both(stated, 1 / origin.shrunk, CROPPED_COPY)
    share = 1.0
    if photo.f35_mm is not None:
        low, high = USUAL_F35_MM
        lens = photo.f35_mm / max(origin.zoom or 1.0, 1.0)
        share = WRONG_TAG if low <= lens <= high else ODD_TAG
    every = [(f, u, w * (1 - share)) for f, u, w in stated]
    every += [(f, u, w * share) for f, u, w in unstated]
    return tuple(
        Explanation(f_px=float(f) / DIAGONAL_35MM * diagonal, u_share=u, weight=w)
        for f, u, w in every
    )


def was_cropped(photo: Photo) -> bool:
    """Return whether a photo's tags or its shape tell that it was cropped after it was taken.

    A picture of a shape that no camera gives was, and a program that crops leaves the tag of the
    focal length as it was. One of a camera's shape seldom is: that is a tail, which a standard
    uncertainty does not tell. A focal length that the caller states is that of the picture.
    """
    if photo.f35_source == "stated":
        return False
    long, short = max(photo.width_px, photo.height_px), min(photo.width_px, photo.height_px)
    framed = any(same_aspect((long, short), (aspect, 1.0)) for aspect in FRAMES)
    return photo.f35_source == "cropped" or not framed


def _tag_of_lens(f35_mm: float, zoom: float) -> float:
    """Return the probability that a tag beside a digital zoom is the lens's, without the zoom."""

    def built(f35: float) -> float:
        return sum(
            w / u * float(np.exp(-0.5 * (np.log(f35 / lens) / u) ** 2)) for lens, u, w in BUILT
        )

    without = TAG_OF_LENS_ZOOM * built(f35_mm) + 1e-12
    included = (1 - TAG_OF_LENS_ZOOM) * built(f35_mm / zoom) + 1e-12
    return without / (without + included)


def _both(
    found: Sequence[tuple[float, float, float]], factor: float, share: float
) -> list[tuple[float, float, float]]:
    """Return each explanation as it is, and with a share as its multiple by a factor."""
    return [
        (f * by, u, w * part)
        for f, u, w in found
        for by, part in ((1.0, 1 - share), (factor, share))
    ]


def settled(found: Sequence[Explanation]) -> tuple[float, float]:
    """Return one focal length in pixels and its standard uncertainty for explanations together.

    What is measured follows 1 / f, so that is averaged; the least likely explanations are left out.
    """
    weights = np.array([e.weight for e in found])
    share = without_tails(weights / weights.sum())
    inverse = np.array([1 / e.f_px for e in found])
    mean = float(share @ inverse)
    spread = np.array([e.u_share for e in found]) * inverse
    variance = float(share @ (spread**2 + (inverse - mean) ** 2))
    return 1 / mean, float(np.sqrt(variance)) / mean**2


#: No phone focuses on what touches its lens.
NEAREST_MM = 5.0


def log_held(distance_mm: float, u_share: float) -> float:
    """Return how likely a phone is held at a distance, as a logarithm of a normal distribution.

    ``u_share`` is the relative standard uncertainty of the focal length that the distance is by.
    """
    far = float(np.log(max(distance_mm, NEAREST_MM) / HELD_MM))
    return -0.5 * far**2 / (U_HELD**2 + u_share**2)


def weighed(
    found: Sequence[Explanation], mm_per_px: float, height_mm: float
) -> tuple[Explanation, ...]:
    """Weigh explanations by how far away the phone was held.

    Parameters
    ----------
    found
        The explanations.
    mm_per_px, height_mm
        Scale in a reference's plane, and that plane's height over the plate.
    """
    distance = mm_per_px * np.array([e.f_px for e in found]) + height_mm
    # A reference that is none may come out behind the camera: nothing is held nearer than a lens.
    far = np.log(np.maximum(distance, NEAREST_MM) / HELD_MM)
    spread = np.hypot(U_HELD, [e.u_share for e in found])
    likely = np.exp(-0.5 * (far / spread) ** 2) / spread
    weight = np.array([e.weight for e in found]) * np.maximum(likely, 1e-300)
    weight /= weight.sum()
    return tuple(
        Explanation(f_px=e.f_px, u_share=e.u_share, weight=float(w))
        for e, w in zip(found, weight, strict=True)
    )


def camera_for(photo: Photo, found: Sequence[Explanation]) -> Camera:
    """Return the camera that explanations of a photo's focal length give together."""
    f_px, u_f_px = settled(found)
    return Camera(
        f_px=f_px,
        u_f_px=u_f_px,
        centre_px=((photo.width_px - 1) / 2, (photo.height_px - 1) / 2),
        u_centre_px=u_centre_px(photo),
    )


def u_centre_px(photo: Photo) -> float:
    """Return the standard uncertainty of the principal point in each direction, pixels.

    What a lens that follows the hand moves, 1 to 2 % of the width, is left to other terms.
    """
    side = float(np.sqrt(photo.width_px * photo.height_px))
    return U_CROP_CENTRE * side if was_cropped(photo) else 0.0
