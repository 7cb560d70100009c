"""Tone curve, edges and mirrored rims: the limits and symmetries that any such law must have."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.ndimage import gaussian_filter
from scipy.special import ndtr

from pitchcam.light.esf import (
    DEFAULT_SPREAD,
    GRAZING,
    Spread,
    decode,
    edge_light,
    encode,
    encode_slope,
    reflected,
    smoothing,
    unsharpen,
)
from pitchcam.light.metal import UNSEEN, Known, Metal

X = np.linspace(-12, 8, 201)
BLUR, LOSS, SOFT = 1.0, 0.6, 0.3


def light(place=0.0, radius=90.0, angle=0.25, loss=LOSS, soft=SOFT, polish=1.0, blur=BLUR, x=X):
    return edge_light(x, blur, place, radius, angle, loss, soft, polish)[0]


def test_the_tone_curve_keeps_black_and_white_and_rises_between() -> None:
    v = np.linspace(0, 1, 1001)
    assert encode(v)[[0, -1]] == pytest.approx([0, 1], abs=1e-12)
    assert decode(v)[[0, -1]] == pytest.approx([0, 1], abs=1e-12)
    assert (np.diff(encode(v)) > 0).all()
    assert (encode(v[1:-1]) > v[1:-1]).all(), "codes lie above the light they stand for"


def test_the_tone_curve_is_the_standards_two_pieces() -> None:
    """IEC 61966-2-1: 12.92 near black, and 1.055 v^(1/2.4) - 0.055 above."""
    v = np.array([0.0, 0.001, 0.003, 0.0035, 0.05, 0.18, 0.5, 0.9])
    by_hand = [0.0, 0.01292, 0.03876, 1.055 * 0.0035 ** (1 / 2.4) - 0.055]
    by_hand += [1.055 * w ** (1 / 2.4) - 0.055 for w in (0.05, 0.18, 0.5, 0.9)]
    assert encode(v) == pytest.approx(by_hand, abs=1e-12)
    assert decode(np.array([0.02, 0.04])) == pytest.approx([0.02 / 12.92, 0.04 / 12.92])
    assert decode(np.array([0.05, 0.7])) == pytest.approx(
        [((c + 0.055) / 1.055) ** 2.4 for c in (0.05, 0.7)]
    )


def test_the_tone_curve_clips_and_spares_its_argument() -> None:
    v = np.array([-0.3, 0.4, 1.8])
    assert encode(v) == pytest.approx([0.0, encode(np.array([0.4]))[0], 1.0])
    assert v.tolist() == [-0.3, 0.4, 1.8]
    c = np.array([-0.2, 0.5, 1.1])
    assert decode(c)[0] == 0.0
    assert decode(c)[2] > 1.0, "sharpening overshoots, and is undone beyond 1"
    assert c.tolist() == [-0.2, 0.5, 1.1]
    single = np.array([0.2, 0.7], np.float32)
    assert encode(single).dtype == decode(single).dtype == np.float32


def test_the_codes_slope_by_hand() -> None:
    assert encode_slope(np.array([0.001, -0.5, 1.5])) == pytest.approx([12.92, 0.0, 0.0])
    assert encode_slope(np.array([1.0])) == pytest.approx([1.055 / 2.4])
    # In the dark one code is worth a tenth and less of the light that it is in the bright.
    dark, bright = encode_slope(np.array([0.01, 0.8]))
    assert dark / bright > 10


@pytest.mark.parametrize("step", [0.25, 1.0])
@pytest.mark.parametrize("radius", [0.8, 2.0])
def test_smoothing_keeps_a_level_and_a_slope(step: float, radius: float) -> None:
    m = smoothing(step, radius, 80)
    assert m.shape == (80, 80)
    assert (m >= 0).all()
    assert m.sum(axis=1) == pytest.approx(np.ones(80))
    edge = int(5 * radius / step) + 1
    ramp = np.arange(80.0)
    assert (m @ ramp)[edge:-edge] == pytest.approx(ramp[edge:-edge], abs=1e-4)
    spot = m[:, 40]
    assert np.sqrt(spot @ ((ramp - 40) * step) ** 2 / spot.sum()) == pytest.approx(radius, rel=0.02)


def test_a_metal_mirrors_all_at_grazing_and_less_the_steeper() -> None:
    a = np.linspace(0, 0.6, 61)
    for loss in (0.0, 0.4, 0.8):
        share = reflected(a, loss)
        assert share[0] == 1.0
        assert (np.diff(share) <= 0).all()
        assert share.min() >= 1 - loss
    assert reflected(np.array([GRAZING]), 0.8) == pytest.approx([0.6]), "half its loss at GRAZING"
    assert reflected(np.array([GRAZING]), np.array([0.2, 0.4])) == pytest.approx([0.9, 0.8])


def test_light_is_whole_outside_and_none_deep_inside() -> None:
    for radius, angle in ((0.0, 0.2), (40.0, 0.3), (90.0, 0.25)):
        seen = light(radius=radius, angle=angle, x=np.array([-60.0, 30.0]))
        assert seen == pytest.approx([0.0, 1.0], abs=1e-9)


def test_without_a_rim_the_edge_is_the_blur_alone() -> None:
    for loss, soft, polish in ((0.2, 0.1, 1.0), (0.8, 0.5, 0.3)):
        assert light(0.7, 0.0, 0.25, loss, soft, polish) == pytest.approx(
            ndtr((X - 0.7) / BLUR), abs=1e-12
        )
    assert light(0.7, 90.0, 0.0) == pytest.approx(ndtr((X - 0.7) / BLUR), abs=1e-12)
    assert light(0.7, polish=0.0) == pytest.approx(ndtr((X - 0.7) / BLUR), abs=1e-12)


def test_a_shift_of_the_edge_is_a_shift_of_its_light() -> None:
    assert light(1.3, x=X + 1.3) == pytest.approx(light(), abs=1e-12)


def test_scaled_in_all_lengths_it_is_the_same() -> None:
    assert light(blur=2 * BLUR, radius=180.0, x=2 * X) == pytest.approx(light(), abs=1e-12)


def test_polish_mixes_the_rim_with_none() -> None:
    whole, none = light(), light(polish=0.0)
    for share in (0.25, 0.8):
        assert light(polish=share) == pytest.approx(share * whole + (1 - share) * none, abs=1e-12)


@pytest.mark.parametrize(
    "more",
    [{"angle": 0.3}, {"radius": 130.0}, {"loss": 0.4}],
    ids=["a wider panel", "a larger radius", "a brighter metal"],
)
def test_what_widens_or_brightens_the_rim_adds_light(more: dict[str, float]) -> None:
    wider = light(**more) - light()
    assert wider.min() > -1e-6
    assert wider.max() > 0.02


def test_the_rim_adds_the_light_of_its_band() -> None:
    """What a perfect mirror adds in sum is its band's width, r (1 - cos a)."""
    fine = np.linspace(-40, 20, 12_001)
    added = np.trapezoid(light(loss=0.0, soft=0.0, x=fine) - ndtr(fine / BLUR), fine)
    assert added == pytest.approx(90 * (1 - np.cos(0.25)), rel=1e-3)
    dim = np.trapezoid(light(loss=0.7, soft=0.0, x=fine) - ndtr(fine / BLUR), fine)
    exact = quad(lambda a: 90 * np.sin(a) * (1 - 0.7 * a / (a + GRAZING)), 0, 0.25)[0]
    assert dim == pytest.approx(exact, rel=0.02), "a stair of six steps"


def test_softness_spreads_the_inner_border_and_keeps_the_outer() -> None:
    hard, soft = light(soft=0.0), light(soft=0.5)
    outer, inner = X > 1.0, (X > -6) & (X < -1)
    assert np.abs(soft - hard)[outer].max() < 0.01
    assert np.abs(soft - hard)[inner].max() > 0.03


def test_many_edges_are_each_by_itself() -> None:
    places = np.array([[0.0], [0.6], [-1.1]])
    radii, angles = np.array([[90.0], [0.0], [40.0]]), np.array([[0.25], [0.2], [0.3]])
    seen, slopes = edge_light(X, BLUR, places, radii, angles, LOSS, SOFT, 0.8)
    assert seen.shape == (3, len(X)) and slopes.shape == (6, 3, len(X))
    for row, place, radius, angle in zip(seen, places, radii, angles, strict=True):
        one = light(place[0], radius[0], angle[0], polish=0.8)
        assert row == pytest.approx(one, abs=1e-14)


SLOPES = ("blur", "angle", "loss", "soft", "polish", "place")


@pytest.mark.parametrize("which", SLOPES)
@pytest.mark.parametrize("polish", [0.35, 0.9])
def test_each_slope_is_that_of_differences(which: str, polish: float) -> None:
    given = {"blur": 0.9, "angle": 0.25, "loss": 0.6, "soft": 0.3, "polish": polish, "place": 0.2}
    up, down = ({**given, which: given[which] + d} for d in (1e-6, -1e-6))
    expected = (light(**up) - light(**down)) / 2e-6
    args = [given[k] for k in ("blur", "place", "angle", "loss", "soft", "polish")]
    blur, place, angle, loss, soft, share = args
    slopes = edge_light(X, blur, place, 90.0, angle, loss, soft, share)[1]
    assert slopes[SLOPES.index(which)] == pytest.approx(expected, abs=1e-7)
    assert np.abs(expected).max() > 0.01, "each of them changes the light"


@pytest.mark.parametrize("gain", [0.1, 0.3, 0.8, 1.5])
@pytest.mark.parametrize("radius", [1.0, 2.2])
def test_undone_sharpening_leaves_the_light(gain: float, radius: float) -> None:
    y, x = np.mgrid[0:60, 0:90]
    plain = 0.1 + 0.6 * ndtr((x - 45 + 0.2 * y) / 1.1)
    code = encode(plain * 0.5)
    sharp = code + gain * (code - gaussian_filter(code, radius, truncate=8))
    spread = Spread(blur_px=1.0, gain=gain, radius_px=radius, u_blur_px=0.1)
    found = unsharpen((decode(sharp) / 0.5).astype(np.float32), 0.5, spread)
    inner = np.abs(found - plain)[15:-15, 15:-15]
    assert inner.max() < 0.004
    assert found.dtype == np.float32


def test_flat_light_has_no_sharpening_to_undo() -> None:
    flat = np.full((40, 40), 0.7, np.float32)
    spread = Spread(blur_px=1.0, gain=0.9, radius_px=1.5, u_blur_px=0.1)
    assert unsharpen(flat, 0.6, spread) == pytest.approx(flat, abs=2e-3)


def test_what_phones_do_where_nothing_tells() -> None:
    """Near one pixel of blur, mild sharpening over 1 to 2 px (common practice, no source)."""
    assert 0.8 < DEFAULT_SPREAD.blur_px < 1.1
    assert abs(DEFAULT_SPREAD.gain) < DEFAULT_SPREAD.u_gain, "none at all lies within its u"
    assert 1.0 < DEFAULT_SPREAD.radius_px < 2.0


def test_what_one_place_tells_of_another_keeps_its_values() -> None:
    metal = Metal(
        loss=Known(value=0.6, u=0.02, source="seen"),
        roughness=Known(value=0.1, u=0.1, source="seen"),
        share=Known(value=0.8, u=0.03, source="seen"),
    )
    there = metal.elsewhere(0.05, 0.4, 0.06)
    assert [k.value for k in (there.loss, there.roughness, there.share)] == [0.6, 0.1, 0.8]
    assert [k.u for k in (there.loss, there.roughness, there.share)] == [0.05, 0.4, 0.06]
    assert {k.source for k in (there.loss, there.roughness, there.share)} == {"seen"}
    assert metal.loss.u == 0.02


def test_an_unseen_metal_reaches_from_zinc_to_iron() -> None:
    """Fresnel's losses (the table above the value): 0.3 to 0.8 within 1.6 u."""
    for loss in (0.3, 0.4, 0.6, 0.8):
        assert abs(loss - UNSEEN.loss.value) < 1.6 * UNSEEN.loss.u
    for known in (UNSEEN.loss, UNSEEN.roughness, UNSEEN.share):
        assert known.u > 0 and known.source
