"""Outlines of known shapes, with holes, fibres and neighbours."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.ndimage import map_coordinates
from scipy.special import ndtri
from skimage.measure import find_contours

from pitchcam.objects.contour import Crop, _largest_ring, crop_object, outline
from pitchcam.objects.field import find_field
from tests.objects import drawing

SIZE = (1000, 800)
CENTRE, RADIUS, BLUR = np.array([480.3, 390.7]), 150.0, 1.2


def disc(centre=CENTRE, radius=RADIUS, blur=BLUR, dark=0.04) -> np.ndarray:
    """Light that a disc leaves: its border is blurred as a straight edge's, to 0.005 px."""
    corners = drawing.ring(centre, radius, 0.0, 720)[:, :2]
    return 1 - (1 - dark) * drawing.cover(SIZE, corners, blur)


def cut_out(light: np.ndarray, number: int = 0, **how: float) -> Crop:
    pixels = drawing.develop(0.6 * light * drawing.window(SIZE), gain=0.0, **how)
    field = find_field(pixels)
    blob = field.blobs[number]
    return crop_object(pixels, field, blob.label, blob.box_px)


@pytest.mark.parametrize("level", [0.3, 0.5, 0.86])
def test_disc_comes_back_at_every_level(level: float) -> None:
    crop = cut_out(disc())
    points = outline(crop, level)
    # Outside check: OpenCV's ellipse through the same points is a circle.
    (x, y), axes, _ = cv2.fitEllipseDirect(points.astype(np.float32))
    assert axes[0] == pytest.approx(axes[1], abs=0.1)
    radius = sum(axes) / 4
    assert np.hypot(x - CENTRE[0], y - CENTRE[1]) < 0.03
    # The blurred edge passes a level outside the true radius where the level is bright.
    expected = RADIUS + BLUR * ndtri((level - 0.04) / 0.96)
    assert radius == pytest.approx(expected, abs=0.05)
    assert crop.channel == "mean"
    assert crop.background_code == pytest.approx(0.6, rel=0.02)


@pytest.mark.parametrize("blur", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("level", [0.3, 0.5, 0.6])
def test_ring_is_that_of_marching_squares(blur: float, level: float) -> None:
    """Outside check: scikit-image's marching squares, on ragged islands of noise."""
    noise = np.random.default_rng(7).normal(size=(60, 80)).astype(np.float32)
    light = cv2.GaussianBlur(noise, (0, 0), blur)
    light = (light - light.min()) / np.ptp(light)
    for padded in (light, cv2.copyMakeBorder(light, 2, 2, 2, 2, cv2.BORDER_CONSTANT, value=1.0)):
        ring = _largest_ring(padded, level)
        of_all = np.concatenate(find_contours(padded, level))[:, ::-1]
        near = np.hypot(*(ring[:, None] - of_all[None]).T).T
        assert near.min(axis=1).max() < 1e-5
    # Nothing is cut by the padded picture's border: the ring is whole, in order.
    true = next(
        c for c in find_contours(padded, level) if np.hypot(*(c[:, ::-1] - ring[0]).T).min() < 1e-5
    )
    assert len(ring) == len(true)
    area, true_area = (cv2.contourArea(r.astype(np.float32)) for r in (ring, true))
    assert area == pytest.approx(true_area, rel=1e-4)


def test_mirrored_light_inside_is_no_edge() -> None:
    hole = drawing.ring(CENTRE, 100, 0.0, 360)[:, :2]
    light = np.maximum(disc(), 0.9 * drawing.cover(SIZE, hole, BLUR))
    points = outline(cut_out(light), 0.5)
    far = np.hypot(*(points - CENTRE).T)
    assert far.min() > RADIUS - 0.5
    assert far.max() < RADIUS + 0.5


def test_fibre_on_a_part_is_cut_off() -> None:
    fibre = np.zeros(SIZE[::-1])
    cv2.line(fibre, (600, 390), (760, 330), 1.0, 3)
    points = outline(cut_out(disc() * (1 - 0.8 * fibre)))
    far = np.hypot(*(points - CENTRE).T)
    # Its root goes with it: what is left lies within the blur of both.
    assert far.max() < RADIUS + 5
    assert np.mean(far > RADIUS + 2.5) < 0.05


def test_the_tip_of_a_crest_is_no_fibre() -> None:
    """Thinner than a fibre, but for a few pixels only."""
    tip = np.array([[-4.0, 6.0], [16.0, 0.0], [-4.0, -6.0]])
    way, across = np.array([0.8, -0.6]), np.array([0.6, 0.8])
    tooth = CENTRE + (RADIUS + tip[:, :1]) * way + tip[:, 1:] * across
    far = np.hypot(*(outline(cut_out(drawn(tooth))) - CENTRE).T)
    assert far.max() > RADIUS + 16


def drawn(*shapes: np.ndarray) -> np.ndarray:
    """Return the light around the disc and dark convex shapes, blurred as it is."""
    light = disc()
    for shape in shapes:
        light = light * (1 - drawing.cover(SIZE, shape, BLUR))
    return light


def strip(root_px: float, end_px: float, long_px: float = 150.0) -> np.ndarray:
    """Return a strip that goes out from the disc to the upper right, so wide at both ends, (4, 2).

    It begins inside the disc, and is so long beyond its edge.
    """
    way, across = np.array([0.8, -0.6]), np.array([0.6, 0.8])
    root, end = (CENTRE + (RADIUS + far) * way for far in (-20.0, long_px))
    sides = ((root, root_px), (end, end_px), (end, -end_px), (root, -root_px))
    return np.array([at + width / 2 * across for at, width in sides])


def test_a_blurred_fibre_is_cut_off_too() -> None:
    """As wide as a small thread's crests, but far longer than any."""
    points = outline(cut_out(drawn(strip(6.5, 6.5))))
    far = np.hypot(*(points - CENTRE).T)
    assert far.max() < RADIUS + 16  # its root is as wide as a crest
    assert np.mean(far > RADIUS + 2.5) < 0.05


@pytest.mark.parametrize("what", [(24.0, 2.0), (7.5, 7.5, 40.0), (13.0, 13.0)])
def test_what_is_no_fibre_stays(what: tuple[float, ...]) -> None:
    """A jaw's tip grows thinner, a tooth is short, a wire wide."""
    far = np.hypot(*(outline(cut_out(drawn(strip(*what)))) - CENTRE).T)
    long = what[2] if len(what) > 2 else 150.0
    assert far.max() > RADIUS + 0.8 * long


def test_neighbour_is_left_out() -> None:
    light = disc() * disc(centre=np.array([480.3 + 150 + 60 + 12, 390.7]), radius=60.0)
    far = np.hypot(*(outline(cut_out(light)) - CENTRE).T)
    assert far.max() < RADIUS + 3


def test_brass_is_read_in_luma() -> None:
    inner = drawing.ring(CENTRE, 120, 0.0, 360)[:, :2]
    shine = drawing.cover(SIZE, inner, BLUR)
    planes = [np.maximum(disc(), share * shine) for share in (0.2, 0.45, 0.55)]
    lit = drawing.window(SIZE)
    pixels = np.stack(
        [drawing.develop(0.6 * p * lit, colour=False, seed=i) for i, p in enumerate(planes)], axis=2
    )
    field = find_field(pixels)
    crop = crop_object(pixels, field, field.blobs[0].label, field.blobs[0].box_px)
    assert crop.channel == "luma"
    y, x = (CENTRE[::-1] - np.array(crop.origin_px)[::-1]).astype(int)
    luma = (np.sqrt([0.2, 0.45, 0.55]) @ [0.114, 0.587, 0.299]) ** 2
    assert crop.light[y, x] == pytest.approx(luma, abs=0.02)
    grey = cut_out(np.maximum(disc(), 0.5 * shine))
    assert grey.channel == "mean"


def test_colour_blurred_away_moves_no_edge() -> None:
    """A brass disc's edge, blue 0.25 and red 0.7 of the light, after a phone's denoising."""
    metal = (0.25, 0.6, 0.7)
    planes = [disc() + share * (1 - disc()) * 0.8 for share in metal]
    lit = 0.6 * drawing.window(SIZE)
    pixels = np.stack([drawing.develop(p * lit, colour=False) for p in planes], axis=2)
    luma = (pixels @ np.array([0.114, 0.587, 0.299]))[..., None]
    blurred = luma + cv2.GaussianBlur((pixels - luma), (0, 0), 2.0)
    crops = []
    for picture in (pixels, np.clip(np.rint(blurred), 0, 255).astype(np.uint8)):
        field = find_field(picture)
        crops.append(crop_object(picture, field, field.blobs[0].label, field.blobs[0].box_px))
    inside = np.sqrt(np.array(metal)) * 0.8**0.5 @ np.array([0.114, 0.587, 0.299])
    radii = []
    for crop in crops:
        y, x = (CENTRE[::-1] - np.array(crop.origin_px)[::-1]).astype(int)
        middle = float(np.median(crop.light[y - 20 : y + 20, x - 20 : x + 20]))
        assert middle == pytest.approx(inside**2, abs=0.06)
        points = outline(crop, (1 + middle) / 2, fill_px=6)
        radii.append(np.hypot(*(points - CENTRE).T).mean())
    assert radii[1] == pytest.approx(radii[0], abs=0.02)


def test_positions_are_the_photos() -> None:
    light = np.arange(35.0, dtype=np.float32).reshape(5, 7)
    crop = Crop(
        light=light,
        origin_px=(100, 50),
        mask=np.ones((5, 7), np.uint8),
        channel="grey",
        background_code=1.0,
    )
    assert crop.sample(np.array([[103.0, 52.0], [103.5, 52.0]])) == pytest.approx([17, 17.5])


def test_light_between_pixels_is_that_of_scipy() -> None:
    rng = np.random.default_rng(4)
    light = rng.uniform(size=(40, 60)).astype(np.float32)
    crop = Crop(
        light=light,
        origin_px=(7, 11),
        mask=np.ones((40, 60), np.uint8),
        channel="grey",
        background_code=1.0,
    )
    # Some lie beyond the crop, where its border goes on.
    xy = rng.uniform([2, 6], [75, 60], (500, 2))
    places = [xy[:, 1] - 11, xy[:, 0] - 7]
    expected = map_coordinates(light, places, order=1, mode="nearest", output=float)
    assert crop.sample(xy) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("size", [(40, 60), (30, 40_000)])
def test_a_grid_is_what_its_places_sampled_one_by_one_are(size):
    """Also of a picture wider than short integers reach, and beyond its borders."""
    light = np.random.default_rng(1).random(size).astype(np.float32)
    crop = Crop(
        light=light,
        origin_px=(300, 200),
        mask=np.ones(size, np.uint8),
        channel="mean",
        background_code=1.0,
    )
    down, right = np.array([-0.31, 0.95]), np.array([0.23, 0.11])
    first = np.array([300.0 + size[1] - 22.7, 203.4])
    places = first + np.arange(30)[:, None, None] * down + np.arange(140)[:, None] * right
    seen = crop.grid(first, (down, right), (30, 140))
    # Noise of this picture changes by 1 a pixel, and single precision places 40,000 to 0.002.
    assert seen == pytest.approx(crop.sample(places), abs=2e-7 * size[1])
