"""The lit window, its background, and the objects on it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from pitchcam.errors import UnreadableError
from pitchcam.objects.contour import crop_object, outline
from pitchcam.objects.field import STEP, find_field, to_photo
from pitchcam.photo.record import quartered
from tests.objects import drawing

SIZE = (1200, 900)


def grown(part: np.ndarray) -> pytest.approx:
    """Area of a box seen at the part level on 4 x 4 means: its border counts as part."""
    w, h = np.ptp(part, axis=0)
    return pytest.approx((w + STEP) * (h + STEP), rel=0.02)


def box(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], float)


def scene(*parts: np.ndarray, light: float | np.ndarray = 0.6, lit: np.ndarray | None = None):
    out = (drawing.window(SIZE) if lit is None else lit) * light
    for part in parts:
        out = out * (1 - 0.95 * drawing.cover(SIZE, part))
    return out


def test_background_follows_light_that_falls_off() -> None:
    x, y = np.meshgrid(np.arange(1200.0), np.arange(900.0))
    fall = np.exp(-0.25 * ((x - 500) / 600) ** 2 - 0.3 * ((y - 450) / 600) ** 2)
    level = np.stack([0.55 * fall, 0.6 * fall, 0.5 * fall])
    planes = [
        drawing.develop(scene(box(400, 300, 700, 500), light=plane), colour=False, seed=i)
        for i, plane in enumerate(level)
    ]
    found = find_field(np.stack(planes, axis=2))
    at = (np.array([150.0, 550.0, 1000.0]), np.array([200.0, 400.0, 750.0]))
    true = level[:, at[1].astype(int), at[0].astype(int)]
    assert found.backdrop.level(*at) == pytest.approx(true, rel=0.01)
    assert not found.full_frame
    # A row and a column give the grid.
    grid = found.backdrop.level(at[0][None, :], at[1][:, None])
    assert grid.shape == (3, 3, 3)
    assert grid[:, [0, 1, 2], [0, 1, 2]] == pytest.approx(found.backdrop.level(*at))


def test_fields_of_three_colours_are_no_background() -> None:
    """Nothing is bright in all channels: what is dark in one would be measured against nothing."""
    bands = (np.arange(SIZE[0]) * 3 // SIZE[0])[None, :]
    planes = [
        drawing.develop(scene(light=np.where(bands == i, 0.6, 0.02)), colour=False, seed=i)
        for i in range(3)
    ]
    with pytest.raises(UnreadableError, match="bright in every colour") as refused:
        find_field(np.stack(planes, axis=2))
    assert refused.value.code == "no-part"


def test_window_and_objects() -> None:
    parts = [box(300, 250, 500, 600), box(700, 300, 900, 400)]
    found = find_field(drawing.develop(scene(*parts)))
    assert np.abs(found.window_px.min(axis=0) - 60).max() < 2 * STEP
    assert np.abs(found.window_px.max(axis=0) - [1140, 840]).max() < 2 * STEP
    for blob, part in zip(found.blobs, parts, strict=True):
        assert np.abs(np.array(blob.box_px) - [*part[0], *part[2]]).max() <= STEP
        assert blob.area_px == grown(part)
        assert not blob.cut
        assert not blob.touching


@pytest.mark.parametrize(
    ("part", "cut"),
    [
        (box(20, 300, 400, 500), True),
        (box(800, 300, 1180, 500), True),
        (box(400, 20, 600, 300), True),
        (box(400, 600, 600, 880), True),
        (box(100, 300, 400, 500), False),
        (box(400, 100, 600, 800), False),
    ],
)
def test_part_over_any_border_is_cut(part: np.ndarray, cut: bool) -> None:
    found = find_field(drawing.develop(scene(part)))
    assert [b.cut for b in found.blobs] == [cut]


def test_a_cut_part_is_seen_as_far_as_the_light_and_is_cut_there() -> None:
    """Beyond the border, at x = 60, all is dark: it does not count to the part."""
    pixels = drawing.develop(scene(box(20, 300, 400, 500)))
    found = find_field(pixels)
    (blob,) = found.blobs
    where = np.array(blob.border_px)
    assert np.all(np.abs(where[:, 0] - 60) < 6 * STEP) and np.ptp(where[:, 1]) > 150
    whole, part = (
        outline(crop_object(pixels, found, blob.label, blob.box_px, cut=cut))
        for cut in (False, True)
    )
    assert np.ptp(whole[:, 1]) > 230
    assert np.ptp(part[:, 1]) == pytest.approx(200, abs=4 * STEP)


def test_light_that_fills_the_picture() -> None:
    lit = np.ones(SIZE[::-1])
    found = find_field(
        drawing.develop(scene(box(0, 300, 300, 500), box(600, 300, 800, 500), lit=lit))
    )
    assert found.full_frame
    # What runs out of the picture is cut, whatever the light does.
    assert [b.cut for b in found.blobs] == [True, False]


def test_parts_that_touch_are_parted() -> None:
    a, b = (drawing.ring((x, 450.0), r, 0.0)[:, :2] for x, r in ((400, 120), (615, 100)))
    found = find_field(drawing.develop(scene(a, b)))
    assert [blob.touching for blob in found.blobs] == [True, True]
    assert [blob.area_px for blob in found.blobs] == pytest.approx(
        [np.pi * 120**2, np.pi * 100**2], rel=0.05
    )


def test_what_lies_in_the_hole_of_a_parted_object_stays_an_object() -> None:
    """Two rings touch; a box lies in the hole of one, and belongs to neither."""
    rings = [((400, 450), 180), ((744, 450), 160)]
    light = scene()
    for (x, y), radius in rings:
        outer = drawing.cover(SIZE, drawing.ring((x, float(y)), radius, 0.0)[:, :2])
        inner = drawing.cover(SIZE, drawing.ring((x, float(y)), 0.7 * radius, 0.0)[:, :2])
        light = light * (1 - 0.95 * outer * (1 - inner))
    inside = box(370, 420, 430, 480)
    found = find_field(drawing.develop(light * (1 - 0.95 * drawing.cover(SIZE, inside))))
    assert sorted(blob.touching for blob in found.blobs) == [False, True, True]
    (own,) = [blob for blob in found.blobs if not blob.touching]
    assert np.abs(np.array(own.box_px) - [*inside[0], *inside[2]]).max() <= STEP
    assert own.area_px == grown(inside)
    for blob in found.blobs:
        assert (found.labels == blob.label).sum() * STEP**2 == pytest.approx(blob.area_px)


def test_fibres_and_specks_are_no_objects() -> None:
    light = scene(box(300, 250, 500, 600))
    fibres = np.zeros(SIZE[::-1], np.uint8)
    cv2.line(fibres, (600, 200), (1000, 700), 1, 3)
    cv2.line(fibres, (480, 300), (700, 300), 1, 3)
    cv2.circle(fibres, (800, 300), 12, 1, cv2.FILLED)
    found = find_field(drawing.develop(light * (1 - 0.9 * fibres)))
    assert len(found.blobs) == 1
    # The fibre's root beside the part may stay.
    assert found.blobs[0].area_px == pytest.approx(204 * 354, rel=0.04)


@pytest.mark.parametrize(("bright", "share"), [(0.7, 0.0), (1.3, 1.0)])
def test_over_exposed_share(bright: float, share: float) -> None:
    part = box(300, 250, 500, 600)
    pixels = drawing.develop(scene(part, light=bright))
    found = find_field(pixels)
    area = 70000 / (1080 * 780)
    assert found.clipped_share == pytest.approx(share * (1 - area), abs=0.02)


def test_half_of_the_light_over_exposed() -> None:
    x = np.arange(1200.0)[None, :] + np.zeros((900, 1))
    pixels = drawing.develop(scene(light=0.982 * np.exp((x - 600) / 3000)))
    assert find_field(pixels).clipped_share == pytest.approx(0.5, abs=0.06)


def test_parts_are_sought_where_told() -> None:
    parts = [box(300, 250, 500, 600), box(800, 300, 1000, 400)]
    found = find_field(drawing.develop(scene(*parts)), within_px=box(150, 150, 650, 750))
    assert len(found.blobs) == 1
    # The window stays that of all light.
    assert np.ptp(found.window_px[:, 0]) > 1000


def test_grey_and_sixteen_bits_serve_too() -> None:
    light = scene(box(300, 250, 500, 600))
    grey = drawing.develop(light, colour=False)
    deep = np.round(drawing.encode(light) * 65535).astype(np.uint16)
    for pixels in (grey, deep):
        assert find_field(pixels).blobs[0].area_px == grown(box(300, 250, 500, 600))


def test_dark_photo_is_refused() -> None:
    with pytest.raises(UnreadableError) as caught:
        find_field(np.full((900, 1200, 3), 9, np.uint8))
    assert caught.value.code == "no-part"


def test_shrunk_points_lie_at_their_means() -> None:
    ramp = np.tile(np.arange(0, 240, 1, np.uint8), (8, 1))
    small = quartered(ramp)
    assert small.shape == (2, 60)
    assert small[0, 10] == pytest.approx(ramp[0, 40:44].mean(), abs=0.51)
    assert quartered(ramp[:3]).size == 0
    assert to_photo(np.array([0.0, 10.0])) == pytest.approx([1.5, 41.5])


def test_the_dark_along_several_borders_is_no_object() -> None:
    """The panel's own border beyond three sides of the light: 28 pixels wide, 3000 long."""
    lit = np.ones((900, 1200))
    lit[:28], lit[:, :28], lit[:, -28:] = 0.5, 0.5, 0.5
    found = find_field(drawing.develop(scene(box(400, 300, 700, 500), lit=lit)))
    assert len(found.blobs) == 1 and not found.blobs[0].cut


def test_a_part_that_lies_along_a_border_is_an_object() -> None:
    found = find_field(drawing.develop(scene(box(300, -20, 800, 60), lit=np.ones((900, 1200)))))
    assert len(found.blobs) == 1 and found.blobs[0].cut
