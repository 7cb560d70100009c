"""Small pictures: right side up, right part, small."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from pitchcam.batch.pictures import (
    CROWDED_SIDE_PX,
    SIDE_PX,
    coarse_enough,
    crowd_box,
    small_pictures,
)
from pitchcam.photo import load_photo


def photo(width: int, height: int) -> np.ndarray:
    """Return a bright picture with a red part at the upper left and a green one lower right."""
    pixels = np.full((height, width, 3), 235, np.uint8)
    pixels[height // 8 : height // 4, width // 8 : width // 4] = (200, 20, 20)
    pixels[height // 2 : -height // 8, width // 2 : -width // 8] = (20, 180, 20)
    return pixels


def document(width: int, height: int) -> dict[str, object]:
    boxes = [
        [width / 8, height / 8, width / 4, height / 4],
        [width / 2, height / 2, width * 7 / 8, height * 7 / 8],
    ]
    return {
        "photo": {"width_px": width, "height_px": height},
        "parts": [{"id": i, "box_px": box} for i, box in enumerate(boxes, 1)],
    }


def decode(jpeg: bytes) -> np.ndarray:
    return np.asarray(cv2.imdecode(np.frombuffer(jpeg, np.uint8), cv2.IMREAD_COLOR))


@pytest.mark.parametrize("name", ["a.jpg", "a.png"])
@pytest.mark.parametrize("size", [(640, 480), (3000, 2400)])
def test_each_part_is_cut_out(tmp_path: Path, name: str, size: tuple[int, int]) -> None:
    Image.fromarray(photo(*size)).save(tmp_path / name)
    made = small_pictures(tmp_path / name, document(*size))
    assert sorted(made) == [0, 1, 2]
    whole, red, green = (decode(made[i]) for i in range(3))
    box = crowd_box(document(*size))
    assert box is not None
    shrink = 4 if size[0] > 2400 and name == "a.jpg" else 1
    assert max(whole.shape) == pytest.approx(
        min(CROWDED_SIDE_PX, (box[2] - box[0]) / shrink), abs=2
    )
    assert max(red.shape) <= SIDE_PX
    assert np.median(red, axis=(0, 1)) == pytest.approx([20, 20, 200], abs=12)
    assert np.median(green, axis=(0, 1)) == pytest.approx([20, 180, 20], abs=12)


def test_the_orientation_tag_is_applied(tmp_path: Path) -> None:
    """The boxes of a document count in the upright picture."""
    upright = Image.fromarray(photo(2400, 3000))
    exif = Image.Exif()
    exif[0x0112] = 6  # stored turned by 90 degrees, TIFF 6.0
    upright.transpose(Image.Transpose.ROTATE_90).save(tmp_path / "a.jpg", exif=exif)
    made = small_pictures(tmp_path / "a.jpg", document(2400, 3000))
    assert np.median(decode(made[1]), axis=(0, 1)) == pytest.approx([20, 20, 200], abs=12)


def test_grey_and_deep_pictures(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "a.png"), np.full((90, 120), 40_000, np.uint16))
    (small,) = small_pictures(tmp_path / "a.png", {}).values()
    assert np.median(decode(small)) == pytest.approx(40_000 / 256, abs=2)


@pytest.mark.parametrize(("size", "opened_serves"), [((3000, 2400), True), ((640, 480), False)])
def test_a_photo_that_was_measured_is_not_decoded_again(
    tmp_path: Path, size: tuple[int, int], opened_serves: bool
) -> None:
    """Its pictures are those that a decoder makes at a quarter of the size, to a few codes."""
    name = tmp_path / "a.jpg"
    Image.fromarray(photo(*size)).save(name, quality=95)
    coarse = coarse_enough(load_photo(name))
    assert (coarse is not None) == opened_serves
    decoded = small_pictures(name, document(*size))
    if opened_serves:
        name.unlink()
    made = small_pictures(name, document(*size), coarse)
    for part, jpeg in made.items():
        here, there = decode(jpeg).astype(int), decode(decoded[part]).astype(int)
        assert here.shape == there.shape
        assert np.abs(here - there).mean() < 1.0
