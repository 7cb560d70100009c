"""Stains on the glass: soft areas are evened, beside parts as well; what ends sharply is left."""

from __future__ import annotations

import re
from dataclasses import replace

import cv2
import numpy as np
import pytest

import pitchcam
from pitchcam.objects.field import PART_LEVEL, STEP, find_field
from pitchcam.objects.stain import Stain, find_stain
from pitchcam.photo.load import load_photo
from pitchcam.records import ScaleSpec
from tests.drawn_photo import Shot, Stud, draw

HEIGHT, WIDTH = 400, 560
INNER = np.ones((HEIGHT, WIDTH), np.uint8)
#: The part of the scene: rows and columns.
PART = (slice(120, 250), slice(150, 300))


def stains(depth: float, shape: tuple[int, int] = (HEIGHT, WIDTH)) -> np.ndarray:
    """The share of the light that two soft smears let through; one reaches under the part."""
    smear = np.zeros(shape)
    h, w = shape
    scale = h / HEIGHT
    for at, axes in (((300, 200), (90, 50)), ((80, 330), (50, 40))):
        centre = (round(at[0] / WIDTH * w), round(at[1] / HEIGHT * h))
        cv2.ellipse(smear, centre, tuple(round(a * scale) for a in axes), 20, 0, 360, 1.0, -1)
    return np.asarray(1 - depth * cv2.GaussianBlur(smear, (0, 0), 7.0 * scale))


def part(blur: float = 0.7) -> np.ndarray:
    """The light beside a part whose face mirrors it, shut in by dark edges."""
    dark = np.zeros((HEIGHT, WIDTH))
    dark[PART] = 0.98
    dark[150:220, 180:270] = 0.22
    return np.asarray(1 - cv2.GaussianBlur(dark, (0, 0), blur))


def lit(share: np.ndarray) -> np.ndarray:
    noise = 1 + np.random.default_rng(3).normal(0, 0.004, (3, HEIGHT, WIDTH))
    return np.asarray(share * noise, np.float32)


def found(light: np.ndarray) -> Stain | None:
    return find_stain(light, light.min(axis=0), INNER, PART_LEVEL, 4.0)


@pytest.mark.parametrize("depth", [0.2, 0.3, 0.5])
def test_a_stain_is_told_as_it_is_beside_a_part_too(depth: float) -> None:
    true = stains(depth)
    stain = found(lit(true * part()))
    assert stain is not None
    assert stain.darkest == pytest.approx(1 - depth, abs=0.02)
    off = np.abs(stain.share / true - 1)
    dark = (part() < 0.5).astype(np.uint8)
    dark[PART] = 1
    light = cv2.dilate(dark, np.ones((17, 17), np.uint8)) == 0
    assert np.percentile(off[:, light], 99) < 0.01
    # Where edges are placed it is told from the light around, which changes slowly.
    edge = (cv2.dilate(dark, np.ones((5, 5), np.uint8)) > 0) & (part() > 0.3)
    edge[PART[0].start + 5 : PART[0].stop - 5, PART[1].start + 5 : PART[1].stop - 5] = False
    assert np.percentile(off[:, edge], 95) < 0.25 * depth


def test_the_end_of_a_blurred_edge_does_not_count_as_light() -> None:
    """What an edge blurred by 10 pixels still takes, where it is no longer steep, is the part's."""
    away = stains(0.3)
    away[:, 120:] = 1.0
    away[:260] = 1.0
    stain = found(lit(away * part(2.5)))
    assert stain is not None
    edge = stain.share[:, 125:245, 146:150]
    assert edge.min() > 0.985


def test_each_colour_has_its_own_share() -> None:
    true = np.stack([stains(s) for s in (0.4, 0.3, 0.2)])
    stain = found(lit(true))
    assert stain is not None
    assert np.abs(stain.share / true - 1).max() < 0.02
    assert stain.darkest == pytest.approx(0.6, abs=0.02)


def test_a_clean_glass_has_none() -> None:
    assert found(lit(part())) is None


def test_a_stain_too_faint_to_pass_for_an_object_is_left() -> None:
    assert found(lit(stains(0.1) * part())) is None


@pytest.mark.parametrize("blur", [3.0, 6.0, 8.0])
def test_a_part_out_of_focus_is_no_stain(blur: float) -> None:
    """A blur of 24 pixels is more than any thread is read through; its border is as soft at 32."""
    assert found(lit(part(blur))) is None


def test_a_tinted_sheet_with_sharp_edges_is_no_stain() -> None:
    tint = np.ones((HEIGHT, WIDTH))
    tint[300:380, 350:500] = 0.7
    assert found(lit(part() * cv2.GaussianBlur(tint, (0, 0), 1.0))) is None


def test_a_face_that_mirrors_the_light_stays_the_parts() -> None:
    """It is as light as a stain, and not evened by another stain's being there."""
    stain = found(lit(stains(0.3) * part()))
    assert stain is not None
    face = stain.share[:, 165:205, 185:215]
    assert face.min() > 0.9


@pytest.fixture(scope="module")
def clean(tmp_path_factory: pytest.TempPathFactory):
    path = tmp_path_factory.mktemp("stain") / "clean.jpg"
    return load_photo(draw(Stud(), Shot(), 8.0, path))


def stained(photo, depth: float):
    """Return the photo on a stained glass; coded by sRGB (IEC 61966-2-1), as it was."""
    coded = photo.pixels.astype(float) / 255
    light = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    light *= stains(depth, light.shape[:2])[:, :, None]
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return replace(photo, pixels=np.round(255 * coded).astype(np.uint8), sha256="0" * 64)


@pytest.mark.parametrize("depth", [0.2, 0.35])
def test_a_thread_is_measured_on_a_stained_glass_as_on_a_clean_one(clean, depth: float) -> None:
    spec = ScaleSpec(source="pin", mm=8.0)
    before = pitchcam.identify(clean, spec, plots=False)
    after = pitchcam.identify(stained(clean, depth), spec, plots=False)
    assert [w.code for w in after.warnings] == [*(w.code for w in before.warnings), "stained"]
    told = re.search(r"up to (\d+) % darker", after.warnings[-1].message)
    assert told is not None
    assert float(told[1]) == pytest.approx(100 * depth, abs=3)
    was, now = (m.parts[0].threads[0] for m in (before, after))
    assert len(after.parts) == len(before.parts)
    assert now.verdict.designation == was.verdict.designation == "M14x1.5"
    for key in ("pitch_mm", "major_mm", "minor_mm", "angle_deg"):
        own, other = getattr(was.reading, key), getattr(now.reading, key)
        assert abs(own.value - other.value) < np.hypot(own.u, other.u), key
        # A third of the light gone doubles what the roots' light leaves open, and no more.
        assert other.u < 2.5 * own.u, key


def test_the_background_has_the_stain_at_its_place(clean) -> None:
    """Level and light against it are even again, on the photo's own pixels."""
    backdrop = find_field(stained(clean, 0.3).pixels).backdrop
    assert backdrop.stain is not None
    assert backdrop.stain.step_px == STEP
    plain = replace(backdrop, stain=None)
    true = stains(0.3, clean.pixels.shape[:2])
    h, w = true.shape
    x, y = np.linspace(0.05 * w, 0.25 * w, 40), np.linspace(0.7 * h, 0.95 * h, 30)
    share = backdrop.level(x, y[:, None]) / plain.level(x, y[:, None])
    own = true[np.round(y).astype(int)[:, None], np.round(x).astype(int)]
    assert np.percentile(np.abs(share / own - 1), 95) < 0.03
    corner, one = (0.1 * w // 1, 0.75 * h // 1), np.ones((3, 300, 200), np.float32)
    against = plain.divide(one.copy(), corner, 1.0) / backdrop.divide(one.copy(), corner, 1.0)
    rows, columns = (
        slice(int(c), int(c) + n) for c, n in zip(corner[::-1], (300, 200), strict=True)
    )
    assert np.abs(against / true[rows, columns] - 1).max() < 0.03
