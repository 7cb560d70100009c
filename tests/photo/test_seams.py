"""Signs of damage in the picture: by construction, on samples that are whole."""

import weakref
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image as Pillow

from pitchcam.photo import Photo, load_photo
from pitchcam.photo.record import luma_of, quartered
from pitchcam.photo.seams import few_shades
from pitchcam.pipeline import damage
from tests.photo.broken import find_seam

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.fixture(scope="module")
def whole():
    return cv2.resize(load_photo(SAMPLES / "p05-unf12-pin.jpg").pixels, (1600, 1200))


def recoded(pixels):
    return cv2.imdecode(cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, 88])[1], -1)


@pytest.mark.parametrize(
    "name", ["p05-unf12-pin", "p12-npt38-card", "p18-r14-sheet", "p19-m14x1.5-worn-disc"]
)
def test_whole_photos_have_no_seam(name):
    assert find_seam(load_photo(SAMPLES / f"{name}.jpg").pixels) is None


@pytest.mark.parametrize("turn", [0, 1])
def test_light_that_jumps(whole, turn):
    """As after a lost coefficient: from one coded unit on, all is brighter."""
    hurt = whole.astype(int)
    hurt[608:624, 400:] += 14
    hurt[624:] += 14
    hurt = np.rot90(np.clip(hurt, 0, 255).astype(np.uint8), turn)
    for pixels in (hurt, recoded(hurt), hurt[:, :, 0], hurt.astype(np.uint16) * 257):
        found = find_seam(pixels)
        assert found is not None and found.kind == "seam"
        assert found.along == ("row" if turn == 0 else "column")


def test_colour_that_jumps(whole):
    hurt = cv2.cvtColor(whole, cv2.COLOR_BGR2YCrCb)
    hurt[640:, :, 1] -= 9
    found = find_seam(cv2.cvtColor(hurt, cv2.COLOR_YCrCb2BGR))
    assert found is not None and found.kind == "seam"


def test_a_picture_moved_aside(whole):
    hurt = whole.copy()
    hurt[608:] = np.roll(whole[608:], 24, axis=1)
    found = find_seam(hurt)
    assert found is not None
    assert found.kind == "shift"
    assert found.at_px == pytest.approx(608, abs=2)


@pytest.mark.parametrize(
    "name, turn, row, by",
    [
        ("p08-g38-jaws", 1, 912, -8),
        ("p17-m14x1.5-sheet", 0, 296, 8),
        ("p20-box-pin", 0, 752, -8),
        ("p20-box-pin", 1, 1248, 64),
    ],
)
def test_a_picture_moved_aside_beside_edges_that_lie_along_the_rows(name, turn, row, by):
    """A marker's or a jaw's edge in the rows beside steps as much as the damage."""
    pixels = load_photo(SAMPLES / f"{name}.jpg").pixels
    size = (1800, round(pixels.shape[0] * 1800 / pixels.shape[1]))
    hurt = np.rot90(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), turn).copy()
    assert find_seam(recoded(hurt)) is None
    hurt[row:] = np.roll(hurt[row:], by, axis=1)
    found = find_seam(recoded(hurt))
    assert found is not None and found.kind == "shift"
    assert found.at_px == pytest.approx(row, abs=2)


def test_an_edge_all_but_along_the_rows_is_not_moved_aside():
    """A jaw's wall in a photo made smaller: like itself over many pixels."""
    pixels = load_photo(SAMPLES / "p15-npt18-jaws.jpg").pixels
    small = cv2.resize(pixels, None, fx=0.45, fy=0.45, interpolation=cv2.INTER_AREA)
    assert find_seam(small) is None


def test_rows_that_repeat(whole):
    hurt = whole.copy()
    hurt[500:540] = whole[500]
    found = find_seam(hurt)
    assert found is not None
    assert found.kind == "repeated"
    assert "row" in found.text


def test_a_lost_end(whole):
    hurt = whole.copy()
    hurt[900:] = 128
    assert find_seam(hurt) is not None


def test_bars_of_a_viewer_are_no_damage(whole):
    barred = cv2.copyMakeBorder(whole, 150, 150, 0, 0, cv2.BORDER_CONSTANT, value=(0, 0, 0))
    assert find_seam(barred) is None


def test_small_and_flat_pictures():
    assert find_seam(np.zeros((1, 1), np.uint8)) is None
    assert find_seam(np.full((200, 300, 3), 77, np.uint8)) is None


def test_a_step_in_the_noise_is_no_seam(whole):
    """What is as large as the steps of a noisy picture all around breaks nothing."""
    noise = np.random.default_rng(3).normal(0, 40, whole.shape)
    rough = np.clip(whole + noise, 0, 255).astype(np.uint8)
    assert find_seam(rough) is None
    rough[600:] = np.clip(rough[600:].astype(int) - 5, 0, 255)
    assert find_seam(rough) is None


def test_noise_that_a_coder_left_in_one_row_moves_nothing_aside():
    """In the dark beside a lit window, one row of coded units may begin noisier than the others."""
    rng = np.random.default_rng(5)
    dark = np.clip(46 + rng.normal(0, 2, (120, 2000)), 0, 255).astype(np.uint8)
    columns = rng.choice(2000, 70, replace=False)
    fading = np.linspace(18, 0, 16)[:, None] * np.where(np.arange(70) % 2, -1, 1)
    dark[24:40, columns] = np.rint(dark[23, columns] + fading)
    assert find_seam(dark) is None
    soft = np.clip(np.arange(2000) - 600, 0, 12) * 6.0 - np.clip(np.arange(2000) - 700, 0, 12) * 6.0
    dark += soft.astype(np.uint8)
    dark[24:] = np.roll(dark[24:], 24, axis=1)
    found = find_seam(dark)
    assert found is not None and (found.kind, found.at_px) == ("shift", 24)


def test_the_shrunk_picture_may_be_handed_in(whole):
    hurt = cv2.cvtColor(whole, cv2.COLOR_BGR2YCrCb)
    hurt[640:, :, 1] -= 9
    hurt = cv2.cvtColor(hurt, cv2.COLOR_YCrCb2BGR)
    assert find_seam(hurt, quartered(hurt)) == find_seam(hurt)
    assert find_seam(hurt, quartered(whole)) is None  # the colours are looked at there


def test_a_short_palette_or_a_threshold_leaves_too_few_shades(whole):
    """Pillow's own palettes; a camera's picture, grey or of more contrast, has enough."""
    picture = Pillow.fromarray(whole[:, :, ::-1])
    for colours in (2, 4, 8, 16):
        short = np.asarray(picture.quantize(colours).convert("RGB"))[:, :, ::-1]
        assert (few_shades(luma_of(short)) or 0) in range(2, colours + 1)
    cut = np.where(cv2.cvtColor(whole, cv2.COLOR_BGR2GRAY) > 100, 235, 20).astype(np.uint8)
    assert few_shades(cut) == 2
    assert few_shades(luma_of(cut.astype(np.uint16) * 257)) == 2
    grey = cv2.cvtColor(whole, cv2.COLOR_BGR2GRAY)
    for fine in (whole, grey, grey.astype(np.uint16) * 257, cv2.convertScaleAbs(grey, alpha=1.8)):
        assert few_shades(luma_of(fine)) is None
    assert few_shades(np.full((200, 300), 77, np.uint8)) is None


def test_the_luma_is_let_go_before_the_colours_are_looked_at(monkeypatch):
    """It is as large as a channel, at the time when most memory is in use."""
    photo, made, gone = load_photo(SAMPLES / "p05-unf12-pin.jpg"), [], []

    def luma(self):
        out = luma_of(self.pixels)
        made.append(weakref.ref(out))
        return out

    monkeypatch.setattr(Photo, "luma", luma)
    monkeypatch.setattr(damage, "seam_of_colours", lambda *_: gone.append(made[0]() is None))
    damage.refuse_damaged(photo)
    assert gone == [True]
