"""Explanations of a focal length, one by one: each weight and each u against its own arithmetic."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from pitchcam.camera.focal import (
    BUILT,
    CROPPED_COPY,
    FRAMES,
    HELD_MM,
    ODD_TAG,
    TAG_OF_LENS_CROP,
    U_CROP,
    U_HELD,
    U_STATED,
    UNSTATED,
    USUAL_F35_MM,
    WRONG_TAG,
    Explanation,
    camera_for,
    explanations,
    settled,
    u_centre_px,
    was_cropped,
    weighed,
)
from pitchcam.camera.held import LEAST_SHARE
from pitchcam.photo import Photo
from pitchcam.photo.origin import origin_of

ZOOM = 0xA404
FRAME = math.hypot(36, 24)


def photo(f35: float | None, size=(4000, 3000), source="exif", **tags: float) -> Photo:
    ifd = {ZOOM: tags["zoom"]} if "zoom" in tags else {}
    if "recorded" in tags:
        ifd |= {0xA002: tags["recorded"], 0xA003: tags["recorded"] * size[1] / size[0]}
    return Photo(
        path=Path("x.jpg"),
        sha256="",
        pixels=np.broadcast_to(np.uint8(0), size[::-1]),
        f35_mm=f35,
        f35_source=source,
        origin=origin_of(ifd, *size),
    )


def mm(e: Explanation, size=(4000, 3000)) -> float:
    """Its focal length on the 36 x 24 mm frame."""
    return e.f_px / math.hypot(*size) * FRAME


CASES = {
    "stated": photo(26.0),
    "none": photo(None, source="none"),
    "wide": photo(26.0, (4000, 2250)),
    "zoomed": photo(52.0, zoom=2.0),
    "copy": photo(26.0, (2000, 1500), recorded=4000),
    "cropped": photo(26.0, (4000, 2500)),
    "absurd": photo(900.0),
}


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_weights_add_up_and_every_focal_length_is_one(case: Photo) -> None:
    found = explanations(case)
    assert sum(e.weight for e in found) == pytest.approx(1.0)
    assert all(e.weight > 0 and e.f_px > 0 and 0 < e.u_share < 1 for e in found)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_upright_or_across_makes_no_difference(case: Photo) -> None:
    turned = Photo(
        path=case.path,
        sha256="",
        pixels=case.pixels.T,
        f35_mm=case.f35_mm,
        f35_source=case.f35_source,
        origin=case.origin,
    )
    assert explanations(turned) == explanations(case)
    assert was_cropped(turned) == was_cropped(case)
    assert u_centre_px(turned) == u_centre_px(case)


def test_twice_the_pixels_are_twice_the_focal_length() -> None:
    small, large = (explanations(photo(26.0, s)) for s in ((2000, 1500), (4000, 3000)))
    assert [e.f_px for e in large] == pytest.approx([2 * e.f_px for e in small])
    assert [e.weight for e in large] == [e.weight for e in small]


def test_a_stated_tag_leaves_three_percent_for_every_other_lens() -> None:
    first, *others = explanations(CASES["stated"])
    assert mm(first) == pytest.approx(26.0, rel=1e-6)
    assert (first.u_share, first.weight) == (U_STATED, pytest.approx(1 - WRONG_TAG))
    assert [mm(e) for e in others] == pytest.approx([f for f, _, _ in UNSTATED], rel=1e-6)
    assert [e.weight for e in others] == pytest.approx([WRONG_TAG * w for _, _, w in UNSTATED])
    assert [e.u_share for e in others] == [u for _, u, _ in UNSTATED]


@pytest.mark.parametrize("f35", [11.9, 136.0, 900.0])
def test_a_tag_that_no_phone_has_counts_a_tenth(f35: float) -> None:
    assert explanations(photo(f35))[0].weight == pytest.approx(1 - ODD_TAG)


@pytest.mark.parametrize("f35", [*USUAL_F35_MM, 26.0])
def test_a_usual_tag_counts(f35: float) -> None:
    assert explanations(photo(f35))[0].weight == pytest.approx(1 - WRONG_TAG)


def test_a_long_tag_beside_its_zoom_is_usual_by_its_lens() -> None:
    """Fivefold zoom of a 52 mm lens: 260 mm are no lens, 52 are."""
    found = explanations(photo(260.0, zoom=5.0))
    assert sum(e.weight for e in found[:2]) == pytest.approx(1 - WRONG_TAG)
    assert sum(e.weight for e in explanations(photo(260.0))[:1]) == pytest.approx(1 - ODD_TAG)


def test_a_wide_frame_of_a_four_by_three_sensor() -> None:
    """4000 x 2250 of 4000 x 3000: the tag is that of the picture's diagonal or of the sensor's."""
    picture, sensor, *_ = explanations(CASES["wide"])
    assert picture.f_px == pytest.approx(26.0 / FRAME * math.hypot(4000, 2250), rel=1e-6)
    assert sensor.f_px == pytest.approx(26.0 / FRAME * math.hypot(4000, 3000), rel=1e-6)
    assert picture.weight == pytest.approx((1 - TAG_OF_LENS_CROP) * (1 - WRONG_TAG))
    assert sensor.weight == pytest.approx(TAG_OF_LENS_CROP * (1 - WRONG_TAG))


def test_zoom_by_a_lens_that_is_built() -> None:
    """52 mm beside a zoom of 2: a 26 mm lens with the zoom in its tag, or a 52 mm lens without."""
    included, without, *_ = explanations(CASES["zoomed"])
    assert (mm(included), mm(without)) == pytest.approx((52.0, 104.0), rel=1e-6)

    def built(f35: float) -> float:
        return sum(w * norm.pdf(math.log(f35), math.log(lens), u) for lens, u, w in BUILT)

    a, b = 0.7 * built(26.0), 0.3 * built(52.0)
    assert without.weight / included.weight == pytest.approx(b / a, rel=1e-6)


def test_no_zoom_changes_nothing() -> None:
    assert explanations(photo(26.0, zoom=1.0)) == explanations(CASES["stated"])
    assert explanations(photo(26.0, zoom=0.5)) == explanations(CASES["stated"])


def test_a_smaller_copy_was_shrunk_or_for_a_tenth_cropped() -> None:
    shrunk, cropped, *_ = explanations(CASES["copy"])
    assert shrunk.f_px == pytest.approx(26.0 / FRAME * 2500, rel=1e-6)
    assert cropped.f_px == pytest.approx(2 * shrunk.f_px)
    assert cropped.weight / (cropped.weight + shrunk.weight) == pytest.approx(CROPPED_COPY)
    whole = explanations(photo(26.0, (2000, 1500), recorded=2010))
    assert len(whole) == len(explanations(CASES["stated"])), "half a percent is the same size"


def test_a_crop_enlarges_every_lens_and_doubts_it() -> None:
    found = explanations(CASES["cropped"])
    size = (4000, 2500)
    assert mm(found[0], size) == pytest.approx(26.0 * math.exp(U_CROP), rel=1e-6)
    assert found[0].u_share == pytest.approx(math.hypot(U_STATED, U_CROP))
    for e, (f35, u, _) in zip(found[1:], UNSTATED, strict=True):
        assert mm(e, size) == pytest.approx(f35 * math.exp(U_CROP), rel=1e-6)
        assert e.u_share == pytest.approx(math.hypot(u, U_CROP))


SIZES = {
    "4:3": (4032, 3024),
    "3:2": (6000, 4000),
    "16:9": (3840, 2160),
    "1:1": (3000, 3000),
    "2:1": (4000, 2000),
    "19:9": (3800, 1800),
    "19.5:9": (3900, 1800),
    "20:9": (4000, 1800),
}


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_every_frame_of_a_camera_is_whole(size: tuple[int, int]) -> None:
    assert len(SIZES) == len(FRAMES)
    assert not was_cropped(photo(26.0, size))
    assert u_centre_px(photo(26.0, size)) == 0.0
    assert was_cropped(photo(26.0, size, source="cropped")), "its tags say so"


@pytest.mark.parametrize("aspect", [1.1, 1.2, 1.42, 1.6, 1.9, 2.05, 2.3, 3.0])
def test_every_other_shape_was_cropped(aspect: float) -> None:
    size = (4000, round(4000 / aspect))
    assert was_cropped(photo(26.0, size))
    assert u_centre_px(photo(26.0, size)) == pytest.approx(0.1 * math.sqrt(size[0] * size[1]))
    assert not was_cropped(photo(26.0, size, source="stated")), "the caller means this picture"


@pytest.mark.parametrize("away", [150.0, 220.0, 350.0])
def test_a_phone_is_held_at_a_span_of_its_logarithm(away: float) -> None:
    """150 to 350 mm: each end lies within one spread of the middle, 0.45 of the logarithm."""
    usual, other = (Explanation(f_px=f, u_share=1e-6, weight=0.5) for f in (3000.0, 30_000.0))
    share = weighed([usual, other], away / 3000.0, 0.0)[0].weight
    near, far = ((math.log(d / 220.0) / 0.45) ** 2 / 2 for d in (away, 10 * away))
    assert share == pytest.approx(1 / (1 + math.exp(near - far)), rel=1e-4)


@pytest.mark.parametrize(
    ("f35", "low", "high"),
    [(14.5, 0.9, 1.1), (26.0, 0.95, 1.05), (51.0, 0.92, 1.08), (74.0, 0.88, 1.12)],
)
def test_without_a_tag_every_lens_of_a_phone_is_one_explanation(f35, low, high) -> None:
    """Main, twofold, longer and ultra-wide lens (common practice, no source)."""
    (one,) = [e for e in explanations(CASES["none"]) if abs(mm(e) / f35 - 1) < 1e-3]
    assert (1 - one.u_share, 1 + one.u_share) == pytest.approx((low, high))


def test_one_explanation_settles_as_it_is() -> None:
    assert settled([Explanation(f_px=3000.0, u_share=0.03, weight=0.2)]) == pytest.approx(
        (3000.0, 90.0)
    )


def test_weights_are_relative() -> None:
    two = [Explanation(f_px=f, u_share=0.03, weight=w) for f, w in ((3000.0, 3.0), (4000.0, 1.0))]
    same = [Explanation(f_px=e.f_px, u_share=e.u_share, weight=e.weight / 40) for e in two]
    assert settled(two) == pytest.approx(settled(same))


def test_u_is_that_of_draws_of_the_inverse() -> None:
    """Drawn from the explanations: 1 / f is normal about each, and its spread is u / f^2."""
    found = [
        Explanation(f_px=3000.0, u_share=0.03, weight=0.5),
        Explanation(f_px=3400.0, u_share=0.05, weight=0.3),
        Explanation(f_px=2800.0, u_share=0.10, weight=0.2),
    ]
    rng = np.random.default_rng(2)
    which = rng.choice(3, 200_000, p=[0.5, 0.3, 0.2])
    inverse = 1 / np.array([3000.0, 3400, 2800])[which]
    draws = inverse * (1 + np.array([0.03, 0.05, 0.10])[which] * rng.normal(size=len(which)))
    f, u = settled(found)
    assert f == pytest.approx(1 / draws.mean(), rel=1e-3)
    assert u / f == pytest.approx(draws.std() / draws.mean(), rel=0.01)


def test_tails_do_not_count() -> None:
    main = Explanation(f_px=3000.0, u_share=0.03, weight=1.0)
    tail = Explanation(f_px=9000.0, u_share=0.03, weight=0.9 * LEAST_SHARE)
    assert settled([main, tail]) == pytest.approx(settled([main]))
    heavy = Explanation(f_px=9000.0, u_share=0.03, weight=1.2 * LEAST_SHARE)
    assert settled([main, heavy])[1] > 2 * settled([main])[1]


def test_the_distance_weighs_by_a_log_normal_about_a_hand_span() -> None:
    found = [
        Explanation(f_px=f, u_share=u, weight=0.5) for f, u in ((3000.0, 0.03), (6000.0, 0.08))
    ]
    seen = weighed(found, 0.06, 12.0)
    expected = [
        0.5
        * norm.pdf(math.log(0.06 * e.f_px + 12), math.log(HELD_MM), math.hypot(U_HELD, e.u_share))
        for e in found
    ]
    assert [e.weight for e in seen] == pytest.approx(np.array(expected) / sum(expected), rel=1e-9)
    assert [(e.f_px, e.u_share) for e in seen] == [(e.f_px, e.u_share) for e in found]


def test_a_phone_held_at_a_hand_span_favours_neither_way() -> None:
    near, far = (Explanation(f_px=f, u_share=0.03, weight=0.5) for f in (2000.0, 8000.0))
    middle = HELD_MM / 4000.0
    a, b = weighed([near, far], middle, 0.0)
    assert a.weight == pytest.approx(b.weight)
    assert weighed([near, far], 0.8 * middle, 0.0)[1].weight > 0.5
    assert weighed([near, far], 1.2 * middle, 0.0)[0].weight > 0.5


def test_a_reference_behind_the_camera_still_weighs_in_numbers() -> None:
    found = [Explanation(f_px=3000.0, u_share=0.03, weight=0.5)] * 2
    seen = weighed(found, 0.05, -500.0)
    assert [e.weight for e in seen] == pytest.approx([0.5, 0.5])


def test_the_camera_has_what_the_explanations_settle() -> None:
    found = explanations(CASES["stated"])
    camera = camera_for(CASES["stated"], found)
    assert (camera.f_px, camera.u_f_px) == settled(found)
    assert camera.centre_px == (1999.5, 1499.5)
    assert camera.u_centre_px == 0.0
    cut = camera_for(CASES["cropped"], explanations(CASES["cropped"]))
    assert cut.u_centre_px == pytest.approx(0.1 * math.sqrt(4000 * 2500))
