"""What tags and size of a photo tell of its focal length."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pitchcam.camera.focal import (
    HELD_MM,
    Explanation,
    camera_for,
    explanations,
    settled,
    was_cropped,
    weighed,
)
from pitchcam.photo import Photo
from pitchcam.photo.origin import Origin


def photo(f35: float | None, size=(4032, 3024), *, source="exif", **origin) -> Photo:
    pixels = np.broadcast_to(np.uint8(0), size[::-1])
    four_thirds = abs(max(size) / min(size) - 4 / 3) < 0.01
    return Photo(
        path=Path("x.jpg"),
        sha256="",
        pixels=pixels,
        f35_mm=f35,
        f35_source=source,
        origin=Origin(sensor_aspect=four_thirds, **origin),
    )


def share(found, f_px: float, within: float = 0.01) -> float:
    return sum(e.weight for e in found if abs(e.f_px / f_px - 1) < within)


@pytest.mark.parametrize("size", [(4032, 3024), (3024, 4032), (8064, 6048)])
def test_a_stated_focal_length_refers_to_the_diagonal(size) -> None:
    # CIPA DC-008: the lens on a 36 mm x 24 mm frame with the same angle over the diagonal.
    f, u = settled(explanations(photo(26.0, size)))
    assert f == pytest.approx(26.0 / np.hypot(36, 24) * np.hypot(*size), rel=1e-3)
    assert u / f == pytest.approx(0.03, rel=0.01)


def test_wide_frames_have_the_tag_of_the_picture_or_of_the_lens() -> None:
    found = explanations(photo(26.0, (4032, 2268)))
    picture, lens = (26.0 / np.hypot(36, 24) * np.hypot(4032, h) for h in (2268, 3024))
    assert share(found, picture) == pytest.approx(share(found, lens), abs=0.02)
    f, u = settled(found)
    assert picture < f < lens
    assert abs(f - picture) < 1.96 * u
    assert abs(f - lens) < 1.96 * u


TAGS = [(26.0, 2.0, 52.0), (52.0, 2.0, 52.0), (24.0, 1.5, 36.0), (78.0, 3.0, 78.0)]


@pytest.mark.parametrize(("tag", "zoom", "true"), TAGS)
def test_digital_zoom_is_in_the_tag_if_a_lens_is_left_without_it(tag, zoom, true) -> None:
    found = explanations(photo(tag, zoom=zoom))
    f_px = true / np.hypot(36, 24) * np.hypot(4032, 3024)
    assert share(found, f_px) > 0.85
    f, u = settled(found)
    assert abs(f - f_px) < 1.96 * u


def test_an_odd_zoom_leaves_it_open_until_the_distance_tells() -> None:
    # 37 mm is neither a lens nor 1.5 times a usual one by much.
    found = explanations(photo(37.0, zoom=1.5))
    plain = 37.0 / np.hypot(36, 24) * np.hypot(4032, 3024)
    near, far = (weighed(found, mm / plain, 0.0) for mm in (80, 500))
    assert share(near, 1.5 * plain) > share(found, 1.5 * plain) > share(far, 1.5 * plain)


def test_without_a_tag_the_distance_tells_the_lens() -> None:
    found = explanations(photo(None, source="none"))
    f, u = settled(found)
    assert u / f > 0.2
    one, two = (f35 / np.hypot(36, 24) * np.hypot(4032, 3024) for f35 in (26, 51))
    # A scale at which the main lens would hang at half a metre and more, or under 100 mm.
    assert share(weighed(found, 130 / one, 0.0), two, 0.2) > 2 * share(found, two, 0.2) / 1.9
    f, u = settled(weighed(found, 330 / one, 0.0))
    assert f == pytest.approx(one, rel=0.1)
    assert abs(f - one) < 1.96 * u


def test_a_tag_that_cannot_be_gives_way() -> None:
    found = explanations(photo(200.0))
    by_tag = 200.0 / np.hypot(36, 24) * np.hypot(4032, 3024)
    assert share(found, by_tag) < 0.2
    # By the tag the phone hangs 1.7 m above; the main lens puts it at 220 mm.
    seen = weighed(found, HELD_MM / (26.0 / np.hypot(36, 24) * np.hypot(4032, 3024)), 0.0)
    settled_f, u = settled(seen)
    assert share(seen, by_tag) < 0.01
    assert settled_f == pytest.approx(26.0 / np.hypot(36, 24) * np.hypot(4032, 3024), rel=0.4)
    assert u / settled_f > 0.03


def test_a_smaller_copy_keeps_its_angle() -> None:
    f, _ = settled(explanations(photo(26.0, (2016, 1512), shrunk=0.5)))
    assert f == pytest.approx(26.0 / np.hypot(36, 24) * np.hypot(2016, 1512), rel=0.08)


def test_averages_follow_the_inverse() -> None:
    f, u = settled(
        [
            Explanation(f_px=3000.0, u_share=0.0, weight=1.0),
            Explanation(f_px=6000.0, u_share=0.0, weight=1.0),
        ]
    )
    assert f == pytest.approx(4000.0)
    assert u / f == pytest.approx(1 / 3)


@pytest.mark.parametrize(
    ("given", "cropped"),
    [
        (photo(26.0), False),
        (photo(26.0, (4032, 2268)), False),
        (photo(26.0, (4032, 1908)), False),
        (photo(26.0, (4000, 2500)), True),
        (photo(26.0, (4000, 2500), source="stated"), False),
        (photo(None, source="none"), False),
        (photo(None, (1080, 1920), source="none"), False),
        (photo(None, (1800, 1017), source="none"), False),
        (photo(None, (1717, 1480), source="none"), True),
        (photo(None, (3000, 3000), source="cropped"), True),
    ],
)
def test_a_crop_leaves_the_principal_point_open(given, cropped):
    """A shape that no camera gives is a crop's, where no tag says that the picture is whole."""
    assert was_cropped(given) == cropped
    camera = camera_for(given, explanations(given))
    side = np.sqrt(given.width_px * given.height_px)
    assert camera.u_centre_px == pytest.approx(0.1 * side if cropped else 0.0)


def test_a_crop_leaves_the_focal_length_open():
    """Any lens of a phone, and a picture enlarged by what was cut off."""
    whole, cut = (explanations(photo(None, s, source="none")) for s in ((1600, 1200), (1600, 1280)))
    diagonals = np.hypot(1600, 1200), np.hypot(1600, 1280)
    for a, b in zip(whole, cut, strict=True):
        assert b.f_px / diagonals[1] > 1.2 * a.f_px / diagonals[0]
        assert b.u_share > a.u_share


def test_a_crop_that_keeps_its_tag_has_a_longer_lens_than_that_says():
    """A sixth cut off on one side leaves fewer pixels on the diagonal for the same lens."""
    true = 26.0 / np.hypot(36, 24) * np.hypot(4032, 3024)
    f, u = settled(explanations(photo(26.0, (3360, 3024))))
    by_tag = 26.0 / np.hypot(36, 24) * np.hypot(3360, 3024)
    assert by_tag < 0.9 * true
    assert abs(f - true) < u
    assert u / f > 0.2
