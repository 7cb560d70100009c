"""Light that a hazy lens spreads: found on both sides of edges, undone, and seen nowhere else."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt, gaussian_filter

from pitchcam.objects.contour import crop_object
from pitchcam.objects.field import find_field
from pitchcam.objects.haze import USUAL, Haze, find_haze

STEP, HEIGHT, WIDTH = 4, 220, 320
CODED = 0.6


def bars() -> np.ndarray:
    """Dark things on the light, in the photo's pixels: a pin, a part, a disc."""
    shade = np.zeros((STEP * HEIGHT, STEP * WIDTH), np.float32)
    cv2.rectangle(shade, (240, 160), (960, 290), 1.0, -1)
    cv2.rectangle(shade, (240, 420), (720, 600), 1.0, -1)
    cv2.circle(shade, (960, 560), 110, 1.0, -1)
    return shade


def seen(light: np.ndarray, share: float, width_px: float) -> np.ndarray:
    """The light behind a lens, by SciPy: a sharp bell and the wide one."""
    sharp = gaussian_filter(light, 1.2)
    noise = np.random.default_rng(2).normal(0, 0.004, light.shape)
    return ((1 - share) * sharp + share * gaussian_filter(sharp, width_px) + noise).astype("f4")


def shrunk(light: np.ndarray) -> np.ndarray:
    return cv2.resize(light, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)


def found(light: np.ndarray) -> Haze | None:
    objects = (shrunk(bars()) > 0.5).astype(np.uint8)
    return find_haze(shrunk(light), objects, STEP)


@pytest.mark.parametrize("width_px", [7.0, 12.0])
@pytest.mark.parametrize("share", [0.06, 0.15])
@pytest.mark.parametrize("dark", [0.0, 0.25])
def test_what_is_spread_is_found_as_it_is(share: float, width_px: float, dark: float) -> None:
    """A veil besides (``dark``) changes nothing: it is even."""
    haze = found(seen(1 - (1 - dark) * bars(), share, width_px))
    assert haze is not None
    assert haze.share == pytest.approx(share, rel=0.2)
    assert haze.width_px == pytest.approx(width_px, rel=0.2)


def test_a_clean_lens_spreads_no_more_than_usual() -> None:
    for width_px in (7.0, 12.0):
        assert found(seen(1 - bars(), 0.016, width_px)) is None


def test_a_panel_that_parts_shade_is_no_haze() -> None:
    """Light lost outside that is not gained inside."""
    away = distance_transform_edt(bars() < 0.5)
    shaded = (1 - 0.1 * np.exp(-away / 12)) * (1 - bars())
    assert found(seen(shaded, 0.01, 7.0)) is None


def test_metal_that_mirrors_along_its_edge_is_no_haze() -> None:
    """Light gained inside that is not lost outside."""
    deep = distance_transform_edt(bars() > 0.5)
    shining = 1 - bars() + bars() * 0.15 * np.exp(-deep / 12)
    assert found(seen(shining, 0.01, 7.0)) is None


def test_both_at_once_are_none_where_they_differ() -> None:
    """Shaded a little outside, and mirrored so much more inside that no lens does both."""
    little, much = (seen(1 - bars(), share, 9.0) for share in (0.04, 0.2))
    assert found(little) is not None
    assert found(much) is not None
    assert found(np.where(bars() > 0.5, much, little)) is None


def test_a_shadow_beside_an_object_tells_nothing() -> None:
    """Where the light itself is dark, the points are another's."""
    light = 1 - bars()
    light[300:410, 240:960] *= 0.6
    assert found(seen(light, 0.01, 7.0)) is None


def test_few_points_tell_nothing() -> None:
    """Around a speck; inside of wires, which have no points clear of their edges."""
    for rows, columns in ((slice(100, 109), slice(100, 109)), (slice(100, 104), slice(20, -20))):
        light = np.ones((HEIGHT, WIDTH), np.float32)
        light[rows, columns] = 0.0
        hazy = 0.8 * light + 0.2 * gaussian_filter(light, 2.5)
        assert find_haze(hazy, (light < 0.5).astype(np.uint8), STEP) is None


def test_where_little_light_is_told_beside_objects_no_haze_is() -> None:
    shade, hazy = shrunk(bars()), shrunk(seen(1 - bars(), 0.15, 9.0))
    objects = np.where(shade > 0.5, 1, 2).astype(np.uint8)
    objects[:40, 60:120] = 0  # of the light, that above a third of the pin
    assert find_haze(hazy, objects, STEP) is None


def test_one_object_of_the_picture_tells_it_wherever_it_lies() -> None:
    """What is looked at is cut out around it; at the picture's border, no less of it is seen."""
    hazy = shrunk(seen(1 - bars(), 0.15, 9.0))
    objects = (shrunk(bars()) > 0.5).astype(np.uint8)
    for turn in range(4):
        turned = find_haze(np.rot90(hazy, turn).copy(), np.rot90(objects, turn).copy(), STEP)
        assert turned is not None
        assert turned.share == pytest.approx(0.15, rel=0.2)
    edge = 1 - np.roll(bars(), -170, axis=0)
    at_border = find_haze(
        shrunk(seen(edge, 0.15, 9.0)), (shrunk(edge) < 0.5).astype(np.uint8), STEP
    )
    assert at_border is not None


def test_undone_it_is_what_a_clean_lens_shows() -> None:
    """Beside edges and in grooves of ten pixels, to half a percent of the light."""
    light = 1 - bars()
    light[420:430, 240:720:20] = 1.0
    hazy, clean = seen(light, 0.15, 9.0), seen(light, USUAL, 9.0)
    undone = Haze(share=0.15, width_px=9.0).undone(hazy[None])[0]
    inner = (slice(40, -40),) * 2
    assert np.abs(hazy - clean)[inner].max() > 0.05
    away = distance_transform_edt(bars() < 0.5) + distance_transform_edt(bars() > 0.5)
    off = gaussian_filter(undone - clean, 3.0)[(away > 3.0) & (away < 12.0)]
    assert np.sqrt(np.mean(off**2)) < 0.0015


def coded(light: np.ndarray) -> np.ndarray:
    """A photo of three channels, coded by sRGB (IEC 61966-2-1)."""
    light = np.clip(CODED * light, 0, 1)
    code = np.where(light < 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.repeat(np.rint(255 * code).astype(np.uint8)[..., None], 3, axis=2)


def test_a_photo_s_parts_are_cut_out_without_it() -> None:
    hazy = coded(seen(1 - 0.9 * bars(), 0.15, 9.0))
    field = find_field(hazy)
    assert field.haze is not None
    blob = field.blobs[0]
    crop = crop_object(hazy, field, blob.label, blob.box_px)
    as_it_is = crop_object(hazy, replace(field, haze=None), blob.label, blob.box_px)
    # Beside the part's upper side, in its middle.
    x, y = (blob.box_px[0] + blob.box_px[2]) / 2, blob.box_px[1] - 2.0
    beside = np.stack(np.broadcast_arrays(x + np.arange(-60.0, 60.0), y), axis=-1)
    assert as_it_is.sample(beside).mean() < 0.97
    assert crop.sample(beside).mean() == pytest.approx(1.0, abs=0.01)


def test_the_light_s_own_border_tells_nothing() -> None:
    """A window in a dark card: its border is no object's."""
    light = np.zeros((STEP * HEIGHT, STEP * WIDTH), np.float32)
    light[60:-60, 60:-60] = (1 - 0.9 * bars())[60:-60, 60:-60]
    field = find_field(coded(seen(light, 0.12, 9.0)))
    assert field.haze is not None
    assert field.haze.share == pytest.approx(0.12, rel=0.2)
    assert find_field(coded(seen(light, 0.01, 7.0))).haze is None
