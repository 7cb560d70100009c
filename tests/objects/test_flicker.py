"""Bands of a light that flickers: found where they are, undone, and seen nowhere else."""

from __future__ import annotations

import re
from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

import pitchcam
from pitchcam.errors import UnreadableError
from pitchcam.objects.field import STEP, find_field
from pitchcam.objects.flicker import find_flicker
from pitchcam.photo.load import load_photo
from pitchcam.records import ScaleSpec
from tests.drawn_photo import Shot, Stud, draw
from tests.objects import drawing

HEIGHT, WIDTH = 400, 560
ROWS = np.arange(float(HEIGHT))
INSIDE = np.ones((HEIGHT, WIDTH), np.uint8)


def scene() -> np.ndarray:
    """Three channels of light that falls toward the corners, with dark things on it."""
    y, x = np.mgrid[-1 : 1 : HEIGHT * 1j, -1 : 1 : WIDTH * 1j]
    light = np.exp(-0.5 - 0.3 * (x**2 + y**2) + 0.1 * x)
    shade = np.zeros((HEIGHT, WIDTH))
    # A card's straight sides along the rows, and a round part.
    cv2.rectangle(shade, (60, 120), (420, 250), 0.98, -1)
    cv2.circle(shade, (480, 320), 50, 0.98, -1)
    light *= 1 - cv2.GaussianBlur(shade, (0, 0), 1.0)
    noise = 1 + np.random.default_rng(3).normal(0, 0.004, (3, HEIGHT, WIDTH))
    return np.asarray(np.array([1.0, 0.9, 0.7])[:, None, None] * light * noise, np.float32)


def bands(swing: float, period: float, kind: str = "sine") -> np.ndarray:
    """The logarithm of the light of pulses, flattened where an exposure is long."""
    wave = np.sin(2 * np.pi * ROWS / period + 0.7)
    wave = np.clip(2.5 * wave, -1, 1) if kind == "flat" else wave
    return np.log(1 - swing / 2 + swing / 2 * wave)


def beyond(log_light: np.ndarray) -> np.ndarray:
    """What of it no quadratic along the rows takes up."""
    return log_light - np.polynomial.Polynomial.fit(ROWS, log_light, 2)(ROWS)


@pytest.mark.parametrize("period", [25.0, 90.0, 310.0])
@pytest.mark.parametrize("kind", ["sine", "flat"])
def test_bands_are_found_as_they_are(kind: str, period: float) -> None:
    true = bands(0.4, period, kind)
    found = find_flicker(scene() * np.exp(true)[:, None].astype(np.float32), INSIDE, 1.5, 4.0)
    assert found is not None
    assert found.along == "rows"
    for channel in found.log_light:
        assert np.std(beyond(channel) - beyond(true)) < 0.004
    assert found.swing == pytest.approx(1 - np.exp(-np.ptp(beyond(true))), abs=0.02)


def test_each_colour_has_its_own_bands() -> None:
    true = np.stack([bands(s, 80.0) for s in (0.2, 0.3, 0.4)])
    found = find_flicker(scene() * np.exp(true)[:, :, None].astype(np.float32), INSIDE, 1.5, 4.0)
    assert found is not None
    for channel, own in zip(found.log_light, true, strict=True):
        assert np.std(beyond(channel) - beyond(own)) < 0.004
    # What is told of them is the colour that falls most.
    assert found.swing == pytest.approx(1 - np.exp(-np.ptp(beyond(true[2]))), abs=0.02)


def test_a_picture_made_smaller_shows_its_bands() -> None:
    light = scene() * np.exp(bands(0.4, 90.0))[:, None].astype(np.float32)
    small = np.stack([cv2.resize(p, (140, 100), interpolation=cv2.INTER_AREA) for p in light])
    found = find_flicker(small, np.ones(small.shape[1:], np.uint8), 1.5, 4.0)
    assert found is not None
    assert found.swing == pytest.approx(1 - np.exp(-np.ptp(beyond(bands(0.4, 90.0)))), abs=0.03)


def test_bands_of_a_phone_held_upright_lie_along_the_columns() -> None:
    upright = scene().transpose(0, 2, 1)[:, :, ::-1] * np.exp(bands(0.3, 60.0)).astype(np.float32)
    found = find_flicker(upright, np.ones(upright.shape[1:], np.uint8), 1.5, 4.0)
    assert found is not None
    assert found.along == "columns"
    rows, columns = 1.5 + 4.0 * np.arange(5.0), 1.5 + 4.0 * np.arange(HEIGHT)
    light = found.light(columns, rows[:, None]) * np.ones((3, 5, HEIGHT))
    assert np.allclose(light, np.exp(found.log_light)[:, None, :], rtol=1e-5)


def test_steady_light_has_none() -> None:
    assert find_flicker(scene(), INSIDE, 1.5, 4.0) is None


def test_bands_too_faint_to_move_anything_are_left() -> None:
    faint = scene() * np.exp(bands(0.03, 80.0))[:, None].astype(np.float32)
    assert find_flicker(faint, INSIDE, 1.5, 4.0) is None


def test_what_lies_in_one_place_is_no_flicker() -> None:
    """Shades that come and go along a third of the picture: the other strips are even."""
    share = np.clip((np.arange(WIDTH) - 360) / 60, 0, 1)
    wave = 0.3 * np.sin(2 * np.pi * ROWS / 60)[:, None] * share
    light = scene() * np.exp(wave).astype(np.float32)
    assert find_flicker(light, INSIDE, 1.5, 4.0) is None


def test_of_bands_both_ways_the_stronger_are_told() -> None:
    strong, weak = bands(0.4, 60.0), bands(0.1, 60.0)
    across = np.interp(np.arange(WIDTH), ROWS, weak)
    light = scene() * np.exp(strong[:, None] + across).astype(np.float32)
    for planes, along in ((light, "rows"), (light.transpose(0, 2, 1), "columns")):
        found = find_flicker(planes, np.ones(planes.shape[1:], np.uint8), 1.5, 4.0)
        assert found is not None and found.along == along


def test_light_that_is_clipped_to_white_shows_no_bands() -> None:
    """In half of the picture: what lies in the other half may be a shade."""
    noise = np.random.default_rng(5).normal(0, 0.004, (3, HEIGHT, WIDTH))
    light = np.asarray(0.6 * np.exp(bands(0.4, 60.0)[:, None] + noise), np.float32)
    light[:, :, WIDTH // 2 :] = 1.0
    assert find_flicker(light, INSIDE, 1.5, 4.0) is None


def test_bands_that_one_strip_alone_shows_are_none() -> None:
    """All else is covered, but for so few rows at the other end that they tell nothing."""
    inside = np.zeros((HEIGHT, WIDTH), np.uint8)
    inside[:, :90] = inside[170:230, 520:] = 1
    noise = np.random.default_rng(5).normal(0, 0.004, (3, HEIGHT, WIDTH))
    light = np.asarray(0.6 * np.exp(bands(0.4, 60.0)[:, None] + noise), np.float32)
    assert find_flicker(light, inside, 1.5, 4.0) is None
    assert find_flicker(light, INSIDE, 1.5, 4.0) is not None


def test_through_a_mesh_nothing_is_told() -> None:
    """Each fourth column, all that is looked at in so small a picture, is clear; no other is."""
    wires = np.random.default_rng(5).random((HEIGHT, WIDTH)) < 0.5
    wires[:, ::4] = False
    light = np.exp(bands(0.4, 60.0))[:, None] * np.where(wires, 0.01, 1.0) * np.ones((3, 1, 1))
    assert find_flicker(light.astype(np.float32), INSIDE, 1.5, 4.0) is None


def test_a_dark_bar_right_across_is_no_band() -> None:
    """A rod over the whole picture, blurred as edges are."""
    rod = np.where(abs(ROWS - 300) < 12, 0.02, 1.0)
    rod = gaussian_filter(rod, 0.7)
    assert find_flicker(scene() * rod[:, None].astype(np.float32), INSIDE, 1.5, 4.0) is None


def test_the_blurred_border_of_the_light_is_no_band() -> None:
    border = np.minimum(1.0, 0.1 + ROWS / 30) * np.minimum(1.0, 0.1 + ROWS[::-1] / 30)
    inside = np.repeat((border > 0.22)[:, None], WIDTH, axis=1).astype(np.uint8)
    assert find_flicker(scene() * border[:, None].astype(np.float32), inside, 1.5, 4.0) is None


@pytest.fixture(scope="module")
def steady(tmp_path_factory: pytest.TempPathFactory):
    path = tmp_path_factory.mktemp("flicker") / "steady.jpg"
    return load_photo(draw(Stud(), Shot(), 8.0, path))


def flickering(photo, swing: float, period: float):
    """Return the photo under pulses; what is drawn stays linear but for the coding."""
    coded = photo.pixels.astype(float) / 255
    light = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    wave = np.sin(2 * np.pi * np.arange(len(light)) / period)
    light *= (1 - swing / 2 + swing / 2 * wave)[:, None, None]
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return replace(photo, pixels=np.round(255 * coded).astype(np.uint8), sha256="0" * 64)


def test_a_thread_is_measured_under_bands_as_in_steady_light(steady) -> None:
    spec = ScaleSpec(source="pin", mm=8.0)
    before = pitchcam.identify(steady, spec, plots=False)
    after = pitchcam.identify(flickering(steady, 0.5, 330.0), spec, plots=False)
    assert [w.code for w in after.warnings] == [*(w.code for w in before.warnings), "flicker"]
    told = re.search(r"bands (\d+) % darker", after.warnings[-1].message)
    assert told is not None
    # The pulses' own: from 1 to 0.5, but for what a quadratic takes up of them.
    assert float(told[1]) == pytest.approx(50, abs=4)
    was, now = (m.parts[0].threads[0] for m in (before, after))
    assert now.verdict.designation == was.verdict.designation == "M14x1.5"
    for key in ("pitch_mm", "major_mm", "minor_mm", "angle_deg"):
        own, other = getattr(was.reading, key), getattr(now.reading, key)
        assert abs(own.value - other.value) < 0.4 * own.u, key
        assert other.u < 1.2 * own.u, key


def test_light_that_goes_out_in_bands_is_refused_for_that(steady) -> None:
    with pytest.raises(UnreadableError, match="goes out in bands") as caught:
        find_field(flickering(steady, 0.97, 330.0).pixels)
    assert caught.value.code == "flicker"


@pytest.mark.parametrize("turns", [2, 3])
def test_a_dark_band_at_the_end_of_the_light_is_no_end(turns: int) -> None:
    """Darker than what counts as lit it seemed to lie beyond, and was evened by the bright one."""
    size = (1500, 1240)
    window = drawing.window(size)
    disc = drawing.cover(size, drawing.ring((500.0, 270.0), 150.0, 0.0, 360)[:, :2], 1.0)
    light = 0.6 * window * (1 - 0.96 * disc)
    rows = np.flatnonzero(window[:, 500] > 0.5)
    wave = -np.cos(2 * np.pi * turns * (np.arange(size[1]) - rows[0]) / (rows[-1] - rows[0]))
    pulses = 0.59 + 0.41 * np.clip(2.5 * wave, -1, 1)
    steady = find_field(drawing.develop(light, gain=0.0))
    found = find_field(drawing.develop(light * pulses[:, None], gain=0.0))
    [own], [other] = steady.blobs, found.blobs
    assert not own.cut and not other.cut
    assert other.box_px == pytest.approx(own.box_px, abs=STEP / 2)


def test_the_background_has_the_bands_at_their_place(steady) -> None:
    """The share of the background's light is even again, on the photo's own pixels."""
    photo = flickering(steady, 0.4, 200.0)
    backdrop = find_field(photo.pixels).backdrop
    assert backdrop.flicker is not None
    assert backdrop.flicker.step_px == STEP
    rows = np.arange(300.0, 1500.0)
    x = np.full(1, 250.0)
    own = np.array([photo.pixels[300:1500, 250]], float)[0].mean(axis=1) / 255
    light = np.where(own <= 0.04045, own / 12.92, ((own + 0.055) / 1.055) ** 2.4)
    level = backdrop.level(x, rows[:, None])[:, :, 0].mean(axis=0)
    assert np.std(light / level) < 0.02
    column = np.asarray(np.repeat(light[None, :, None], 3, axis=0), np.float32)
    assert np.allclose(
        backdrop.divide(column.copy(), (250.0, 300.0), 1.0)[0, :, 0],
        light / backdrop.level(x, rows[:, None])[0, :, 0],
        rtol=2e-3,
    )
