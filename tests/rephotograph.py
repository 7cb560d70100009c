"""Takes photos again in simulation: the camera turned a little, other light, noise and compression.

``python -m tests.rephotograph PHOTO.jpg... --out DIR --count 200`` writes the photos and a
``list.csv`` for ``pitchcam batch --list``, with the scale from the truth file beside each source
and part and camera labels for a study. The camera only turns about its own centre, which an image
shows exactly by a homography of its pixels; so scale, heights and focal length stay true.
"""

from __future__ import annotations

import argparse
import csv
import json
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

#: Diagonal of the 36 x 24 mm frame that 35-mm-equivalent focal lengths refer to.
FRAME_DIAGONAL_MM = 43.27
_F35_TAG, _EXIF_IFD = 41989, 0x8769  # Exif 3.0
#: Focal length of photos without one: what most phones' main cameras have.
_USUAL_F35_MM = 26.0


@dataclass(frozen=True, kw_only=True)
class Shake:
    """How much photos of one part differ (standard deviations); an invented but careful hand."""

    roll_deg: float = 3.0
    lean_deg: float = 0.4
    gain: float = 0.05
    noise: float = 0.004
    blur_px: tuple[float, float] = (0.0, 0.5)
    quality: tuple[int, int] = (84, 95)


#: Cameras of the study: each with its own share of light, blur and compression.
CAMERAS = {"north": Shake(), "south": Shake(noise=0.007, blur_px=(0.3, 0.7), quality=(78, 88))}


def rephotograph(
    source: Path, target: Path, rng: np.random.Generator, width_px: int, shake: Shake
) -> None:
    """Write one new photo of what ``source`` shows, ``width_px`` wide, with its EXIF."""
    with Image.open(source) as opened:
        exif = opened.getexif()
        f35_mm = float(exif.get_ifd(_EXIF_IFD).get(_F35_TAG, _USUAL_F35_MM))
    pixels = cv2.imread(str(source), cv2.IMREAD_COLOR)
    assert pixels is not None, source
    light = cv2.LUT(pixels, (np.arange(256, dtype=np.float32) / 255) ** 2.2)
    shrink = width_px / pixels.shape[1]
    size = (width_px, round(pixels.shape[0] * shrink))
    light = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    light = cv2.warpPerspective(
        light,
        _turn(size, f35_mm, rng, shake),
        size,
        flags=cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )
    blur = rng.uniform(*shake.blur_px)
    if blur > 0.05:
        light = cv2.GaussianBlur(light, (0, 0), blur)
    light = cv2.max(light, 0.0) * np.float32(np.exp(rng.normal(0, shake.gain)))
    cv2.setRNGSeed(int(rng.integers(2**31)))
    noise = cv2.randn(np.empty_like(light), (0, 0, 0), (shake.noise,) * 3)
    light += noise * cv2.sqrt(cv2.max(light, 0.01))  # shot noise grows with the root of the light
    coded = np.rint(cv2.pow(np.clip(light, 0, 1), 1 / 2.2) * 255).astype(np.uint8)
    exif.pop(0x0112, None)  # the pixels are upright already
    Image.fromarray(np.ascontiguousarray(coded[..., ::-1])).save(
        target, quality=int(rng.integers(*shake.quality)), exif=exif
    )


def _turn(
    size: tuple[int, int], f35_mm: float, rng: np.random.Generator, shake: Shake
) -> np.ndarray:
    """Return the homography K R K^-1 of a camera turned about its centre."""
    f_px = f35_mm / FRAME_DIAGONAL_MM * float(np.hypot(*size))
    camera = np.array([[f_px, 0, (size[0] - 1) / 2], [0, f_px, (size[1] - 1) / 2], [0, 0, 1]])
    angles = np.radians(rng.normal(0, [shake.lean_deg, shake.lean_deg, shake.roll_deg]))
    turn, _ = cv2.Rodrigues(angles)
    return np.asarray(camera @ turn @ np.linalg.inv(camera))


def write_photos(sources: list[Path], out: Path, count: int, seed: int, width_px: int) -> None:
    """Write ``count`` photos and their list, each source and camera in turn."""
    out.mkdir(parents=True, exist_ok=True)
    lines = []
    for i in range(count):
        source = sources[i % len(sources)]
        camera = list(CAMERAS)[i // len(sources) % len(CAMERAS)]
        target = out / f"{i:04}-{source.stem}.jpg"
        rephotograph(source, target, np.random.default_rng([seed, i]), width_px, CAMERAS[camera])
        truth = json.loads(source.with_suffix(".json").read_text(encoding="utf-8"))
        scale = truth.get("scale", {})
        lines.append(
            [target.name, scale.get("source", "auto"), scale.get("mm", ""), source.stem, camera]
        )
    with (out / "list.csv").open("w", newline="", encoding="utf-8") as handle:
        writer = csv.writer(handle)
        writer.writerow(["file", "source", "mm", "part", "camera"])
        writer.writerows(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photos", nargs="+", type=Path)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--width", type=int, default=4032)
    args = parser.parse_args()
    write_photos(args.photos, args.out, args.count, args.seed, args.width)


if __name__ == "__main__":
    main()
