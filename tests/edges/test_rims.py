"""True edges under mirrored rims, against rays traced one by one."""

from __future__ import annotations

import numpy as np
import PIL.Image
import PIL.ImageFilter
import pytest
from scipy.ndimage import gaussian_filter1d, map_coordinates, uniform_filter1d
from scipy.special import ndtr

from pitchcam.edges import rims as rims_module
from pitchcam.edges.edge_profiles import EdgeProfile
from pitchcam.edges.lines import crossings
from pitchcam.edges.rims import SHARED, Focus, fit_rims, mirror_angle, rim_width
from pitchcam.light.esf import DEFAULT_SPREAD, decode
from tests.edges import facets
from tests.objects import drawing

F, REACH_MM = 4000.0, 200.0
ACROSS = np.arange(-9.0, 9.01, 0.5)
FINE = 0.02


def profile(
    shift: float,
    *,
    radius_mm: float | None = 4.0,
    behind: float = 250.0,
    half: float = 60.0,
    loss: float = 0.5,
    blur: float = 0.9,
    gain: float = 0.25,
    at_mm: float = 0.0,
    seed: int = 1,
    noise: float = 0.001,
    polish: float = 0.9,
    small: bool = False,
) -> EdgeProfile:
    """The mean profile of a pin's edge that truly lies ``shift`` outward, by traced rays.

    A ``small`` picture's pixels and the line between them blur beside the lens.
    """
    r = radius_mm or 4.0
    edge = F * np.tan(np.arctan2(at_mm, REACH_MM) + np.arcsin(r / np.hypot(at_mm, REACH_MM)))
    x = np.arange(-40.0, 30.0, FINE)
    border = half / (REACH_MM + behind) * F - edge
    if radius_mm is None:
        light = (x > 0).astype(float)
    else:
        light = drawing.traced_rim(
            edge + x,
            r,
            f_px=F,
            distance_mm=REACH_MM,
            behind_mm=behind,
            half_mm=half,
            at_mm=at_mm,
            share=lambda a: polish * (1 - loss * a / (a + 0.12)),
        )
    seen = gaussian_filter1d(0.03 + 0.97 * light, blur / FINE) * 0.7
    for _ in range(3 if small else 0):
        seen = uniform_filter1d(seen, round(1 / FINE))
    code = drawing.encode(seen)
    code = code + gain * (code - gaussian_filter1d(code, 1.6 / FINE))
    code = np.interp(ACROSS, x + shift, code)
    code = code + np.random.default_rng(seed).normal(0, noise, len(code))
    light = decode(code) / 0.7
    outer = float(np.median(light[ACROSS > 7]))
    return EdgeProfile(
        across_px=ACROSS,
        light=light / outer,
        dark=float(np.median(light[ACROSS < -5])) / outer,
        background=0.7 * outer,
        radius_px=None if radius_mm is None else r * F / REACH_MM,
        reach_px=border,
    )


def test_band_width_is_the_mirror_law() -> None:
    # A ray mirrored at a grazing angle turns by twice that angle.
    k = 250 / 450
    angle = mirror_angle(400, F, k)
    assert np.tan(2 * angle) == pytest.approx(400 / (F * k))
    assert rim_width(80, 400, F, k) == pytest.approx(80 * (1 - np.cos(angle)))
    assert rim_width(80, 800, F, k) > 2 * rim_width(80, 400, F, k)


def test_sharp_edges_come_back_with_the_cameras_blur() -> None:
    shifts = np.array([-0.4, 0.0, 0.3])
    rims = fit_rims(
        [profile(s, radius_mm=None, blur=1.15, gain=0.4, seed=i) for i, s in enumerate(shifts)], F
    )
    assert np.abs(rims.edges_px - shifts).max() < 0.04
    assert rims.spread.blur_px == pytest.approx(1.15, abs=0.06)
    assert rims.spread.gain == pytest.approx(0.4, abs=0.15)
    assert rims.common
    assert (rims.rims_px == 0).all()


def sharpened_edge(angle_rad: float, radius_px: float, percent: int) -> EdgeProfile:
    """The mean profile of a black part's straight edge, sharpened by Pillow; its edge is at 0."""
    n = 240
    y, x = (np.mgrid[:n, :n] - n / 2).astype(float)
    off = x * np.cos(angle_rad) + y * np.sin(angle_rad)
    coded = np.round(255 * drawing.encode(0.7 * ndtr(off / 0.9))).astype(np.uint8)
    mask = PIL.ImageFilter.UnsharpMask(radius_px, percent, threshold=0)
    picture = np.asarray(PIL.Image.fromarray(coded).filter(mask)) / 255
    along = np.arange(-60, 60.1, 0.7)[:, None]
    at_y = n / 2 + ACROSS * np.sin(angle_rad) + along * np.cos(angle_rad)
    at_x = n / 2 + ACROSS * np.cos(angle_rad) - along * np.sin(angle_rad)
    light = map_coordinates(decode(picture), [at_y, at_x], order=1).mean(axis=0) / 0.7
    return EdgeProfile(
        across_px=ACROSS, light=light, dark=0.001, background=0.7, radius_px=None, reach_px=300.0
    )


@pytest.mark.parametrize("percent", [0, 40, 90])
def test_a_black_edge_tells_how_it_was_sharpened(percent: int) -> None:
    # Sharpening by Pillow, a general library: what it darkens below black is cut off. A model
    # that lets it go on finds no sharpening in black edges, and sets them 0.1-0.2 px inside.
    found = [sharpened_edge(a, 1.4, percent) for a in (0.2, 0.5, 0.9, 1.2)]
    rims = fit_rims(found, F)
    assert np.abs(rims.edges_px).max() < 0.05
    assert rims.spread.gain == pytest.approx(percent / 100, abs=0.25)


@pytest.mark.parametrize(
    ("behind", "half", "loss"), [(250, 60, 0.5), (250, 90, 0.35), (150, 60, 0.65)]
)
def test_mirrored_edges_come_back(behind: float, half: float, loss: float) -> None:
    shifts = np.array([-0.3, 0.2, 0.0, 0.0])
    cases = [(4.0, 0.0), (4.0, 12.0), (2.5, -8.0), (None, 0.0)]
    found = [
        profile(s, radius_mm=r, at_mm=at, behind=behind, half=half, loss=loss, seed=i)
        for i, (s, (r, at)) in enumerate(zip(shifts, cases, strict=True))
    ]
    rims = fit_rims(found, F)
    error = rims.edges_px - shifts
    assert np.abs(error).max() < 0.25
    assert (np.abs(error) < 2.5 * rims.u_edges_px).all()
    # The half level lies inside the edge, by more than the fit is wrong: outward is positive.
    half_level = np.array([crossings(p.light[None], p.across_px, 0.5)[0] for p in found])
    assert (half_level - shifts)[:2].max() < -0.15
    assert np.abs(error[:2]).max() < np.abs(half_level - shifts)[:2].max()
    truth = behind / (behind + REACH_MM)
    assert truth / 2 < rims.panel < 2 * truth


@pytest.mark.parametrize("polish", [0.0, 0.1])
def test_a_blackened_pins_edges_are_bare(polish: float) -> None:
    shifts = np.array([-0.3, -0.25, -0.2, 0.1, 0.15, 0.2, 0.0, 0.0])
    places = [-6.0, 0.0, 6.0, 4.0, 8.0, 12.0, 0.0, 0.0]
    found = [
        profile(s, radius_mm=5.0 if i < 6 else None, at_mm=at, half=140, polish=polish, seed=i)
        for i, (s, at) in enumerate(zip(shifts, places, strict=True))
    ]
    rims = fit_rims(found, F)
    assert np.abs(rims.edges_px - shifts).max() < 0.08
    # As polished metal they would seem to end farther out.
    bright = profile(shifts[1], radius_mm=5.0, half=140, at_mm=places[1], seed=9)
    half = [crossings(p.light[None], p.across_px, 0.5)[0] for p in (found[1], bright)]
    assert half[0] - half[1] > 0.2


def test_a_panel_close_behind_gets_bands_of_their_own() -> None:
    shifts = np.array([0.3, -0.2])
    # What facets of ground iron or chromium mirror.
    metal = {"loss": 0.4, "polish": 0.7}
    found = [profile(s, behind=15.0, half=60, seed=i, **metal) for i, s in enumerate(shifts)]
    rims = fit_rims(found, F, panel_near=True)
    error = rims.edges_px - shifts
    assert np.abs(error).max() < 0.4
    assert (np.abs(error) < 3 * rims.u_edges_px).all()


def test_the_prior_holds_where_an_edge_tells_nothing() -> None:
    rims = fit_rims([profile(0.0, radius_mm=None, noise=0.02)], F)
    assert rims.spread.blur_px == pytest.approx(
        DEFAULT_SPREAD.blur_px, abs=3 * DEFAULT_SPREAD.u_blur_px
    )
    assert rims.u_edges_px[0] < 0.5


def test_of_two_fits_as_good_a_pin_is_bright_at_forty_nine_to_one() -> None:
    """One pin in fifty is blackened; the light must speak for it before its edges move."""

    def fit(cost: float, edge: float) -> rims_module._Fit:
        q = np.append(np.zeros(SHARED), [edge])
        covariance = 0.0 * np.eye(SHARED + 1)
        return rims_module._Fit(cost=cost, q=q, covariance=covariance, misfit=np.zeros(1))

    bright, dull = fit(10.0, 0.0), fit(10.0, 1.0)
    likelier, edges, u = rims_module._weighed(bright, dull)
    assert likelier is bright
    assert edges[0] == pytest.approx(0.02)
    assert u[0] == pytest.approx(np.sqrt(0.02 * 0.98))
    # A misfit better by log 49 makes both as likely; cost is half the sum of squares.
    _, edges, u = rims_module._weighed(bright, fit(10.0 - np.log(49), 1.0))
    assert edges[0] == pytest.approx(0.5)
    assert rims_module._weighed(bright, fit(0.0, 1.0))[0].q[SHARED] == 1.0


def test_a_pin_out_of_focus_is_not_drawn_as_the_part_above_it_is() -> None:
    """Its blur passed for a mirrored band: its edges came out a pixel and more too far out."""
    pins = [profile(s, blur=2.1, seed=i) for i, s in enumerate((-0.2, 0.3))]
    corners = [profile(0.1, radius_mm=None, blur=0.8, seed=i) for i in (7, 8)]
    apart = np.array([True, True, False, False])
    alike = fit_rims([*pins, *corners], F)
    own = fit_rims([*pins, *corners], F, focus=Focus(apart=apart, u_px=1.5))
    off = own.edges_px - (-0.2, 0.3, 0.1, 0.1)
    assert np.abs(off).max() < 0.35
    assert np.abs(off[:2]).max() < 0.4 * np.abs(alike.edges_px[:2] - (-0.2, 0.3)).max()
    assert (np.abs(off) < 2 * own.u_edges_px).all()
    # What a disc of blur leaves open is part of it, and of theirs alone.
    assert own.u_edges_px[0] > 0.4
    assert own.u_edges_px[2] < 0.2
    # The threads lie at the parts' height.
    assert own.spread.blur_px == pytest.approx(0.8, abs=0.1)


def test_a_pin_in_a_photo_made_smaller_keeps_its_width() -> None:
    """Pixels are most of its blur: a bell's foot passes for a wider band."""
    small = {"blur": 0.38, "gain": 0.0, "small": True, "noise": 5e-4, "half": 140.0}
    pins = [profile(s, radius_mm=1.0, seed=i, **small) for i, s in enumerate((-0.2, 0.3, 0.0))]
    corners = [profile(0.1, radius_mm=None, seed=i, **small) for i in (7, 8)]
    focus = Focus(apart=np.array([True] * 3 + [False] * 2), u_px=0.15)
    found = fit_rims([*pins, *corners], F, focus=focus)
    assert np.abs(found.edges_px - (-0.2, 0.3, 0.0, 0.1, 0.1)).max() < 0.05
    assert found.spread.blur_px == pytest.approx(np.hypot(0.38, 0.5), abs=0.02)


def test_no_focus_takes_away_what_pixels_blur() -> None:
    apart = np.array([[0.0], [1.0]])
    lens = np.sqrt(0.62**2 - 0.25)
    step = 1e-6
    # A lens that blurs nothing is the sharpest there is.
    for more, pin in ((-0.2, np.hypot(0.5, lens - 0.2)), (-0.5, 0.5), (-3.0, 0.5)):
        blur, by_blur, by_more = rims_module._out_of_focus(0.62, more, apart)
        assert blur.ravel() == pytest.approx([0.62, pin])
        for at, found in (((0.62 + step, more), by_blur), ((0.62, more + step), by_more)):
            expected = (rims_module._out_of_focus(*at, apart)[0] - blur) / step
            assert found == pytest.approx(expected, abs=1e-5)


def test_a_pin_out_of_focus_is_open_by_how_much_its_blur_differs(monkeypatch) -> None:
    q = np.array([0.62, 1.0, 1.5, 0.0, 0.5, 0.3, 0.7, -3.0])
    assert rims_module._more_blur_px(q) == pytest.approx(0.12)
    q[7] = 1.0
    lens = np.sqrt(0.62**2 - 0.25)
    assert rims_module._more_blur_px(q) == pytest.approx(np.hypot(0.5, lens + 1.0) - 0.62)
    monkeypatch.setattr(rims_module, "_more_blur_px", lambda q: 10.0)
    pins = [profile(0.2, seed=1), profile(0.1, radius_mm=None, seed=2)]
    found = fit_rims(pins, F, focus=Focus(apart=np.array([True, False]), u_px=0.15))
    assert found.u_edges_px[0] == pytest.approx(10.0 * rims_module.U_DEFOCUS, rel=0.02)
    assert found.u_edges_px[1] < 0.2


#: Edges drawn from facets: enough for a root mean square to a tenth.
DRAWN = 80


def of_facets(rng: np.random.Generator) -> tuple[list[EdgeProfile], float]:
    """Profiles along one round edge at 0 of any ground metal, and the focal length."""
    slopes, tint = rng.uniform(0.04, 0.16) / np.sqrt(2), rng.uniform(0.6, 1.0)
    radius, f_px, reach = rng.uniform(30, 180), rng.uniform(3000, 6000), rng.uniform(200, 1500)
    panel = 0.5 * np.exp(rng.normal(0, 0.3))
    x = np.arange(-30.0, 30.0, FINE)
    metal = tint * facets.across(x, radius, slopes, reach / (f_px * panel))
    veil, blur, gain = rng.uniform(0.01, 0.04), rng.uniform(0.8, 1.15), rng.uniform(0.3, 0.8)
    light = veil + (1 - veil) * np.where(x > 0, 1.0, metal)
    code = drawing.encode(0.6 * gaussian_filter1d(light, blur / FINE))
    code = code + gain * (code - gaussian_filter1d(code, 1.1 / FINE))
    seen = [
        decode(np.interp(ACROSS, x, code) + rng.normal(0, 8e-4, len(ACROSS))) / 0.6
        for _ in range(6)
    ]
    return [
        EdgeProfile(
            across_px=ACROSS,
            light=s,
            dark=float(np.median(s[:8])),
            background=0.6,
            radius_px=float(radius),
            reach_px=float(reach),
        )
        for s in seen
    ], float(f_px)


def test_what_is_open_of_a_pins_edge_is_what_facets_leave() -> None:
    """Drawn by another model than the fit's: Beckmann's slopes, Smith's shadowing, Fresnel.

    What the fit leaves open of the metal had been counted beside what the whole is off by.
    """
    rng = np.random.default_rng(3)
    z = []
    for profiles, f_px in (of_facets(rng) for _ in range(DRAWN)):
        told = fit_rims(profiles, f_px)
        # A band that the profile holds, drawn to a coded step.
        if profiles[0].dark < 0.2 and told.misfit.max() < 1 / 255:
            z.append(told.edges_px.mean() / told.u_edges_px.mean())
    assert len(z) > 0.8 * DRAWN
    assert 0.8 < np.sqrt(np.mean(np.square(z))) < 1.2
    assert np.mean(np.abs(z) < 1.96) > 0.9
