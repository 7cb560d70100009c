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
from pitchcam.edges.rims import SHARED, fit_rims, mirror_angle, rim_width
from pitchcam.light.defocus import Focus
from pitchcam.light.esf import DEFAULT_SPREAD, decode
from tests.edges import facets
from tests.objects import drawing

F, REACH_MM = 4000.0, 200.0
ACROSS = np.arange(-9.0, 9.01, 0.5)
FINE = 0.02


def through_disc(light: np.ndarray, disc_px: float) -> np.ndarray:
    """Blur an edge, in steps of FINE, as a round pupil does: summed over the disc's chords."""
    if disc_px == 0:
        return light
    x = np.arange(-disc_px, disc_px + FINE / 2, FINE)
    chords = np.sqrt(np.maximum(disc_px**2 - x**2, 0.0))
    wide = np.pad(light, len(x) // 2, mode="edge")
    return np.convolve(wide, chords / chords.sum(), "valid")


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
    disc: float = 0.0,
) -> EdgeProfile:
    """The mean profile of a pin's edge that truly lies ``shift`` outward, by traced rays.

    A ``small`` picture's pixels and the line between them blur beside the lens, and out of focus a
    ``disc`` of that radius.
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
    seen = through_disc(seen, disc)
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
    pins = [profile(s, blur=0.8, disc=3.0, seed=i) for i, s in enumerate((-0.2, 0.3))]
    corners = [profile(0.1, radius_mm=None, blur=0.8, seed=i) for i in (7, 8)]
    apart = np.array([True, True, False, False])
    alike = fit_rims([*pins, *corners], F)
    own = fit_rims([*pins, *corners], F, focus=Focus(apart=apart, u_px=1.5))
    off = own.edges_px - (-0.2, 0.3, 0.1, 0.1)
    assert np.abs(off).max() < 0.15
    assert np.abs(off[:2]).max() < 0.2 * np.abs(alike.edges_px[:2] - (-0.2, 0.3)).max()
    assert (np.abs(off) < 2 * own.u_edges_px).all()
    assert own.u_edges_px.max() < 0.25
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


#: Edges drawn from facets: enough for a root mean square to a tenth.
DRAWN = 80


def of_facets(
    rng: np.random.Generator, disc: float = 0.0, corners: int = 0, panel: float = 0.5
) -> tuple[list[EdgeProfile], float]:
    """Profiles along one round edge at 0 of any ground metal, and the focal length.

    Out of focus by a ``disc``; ``corners`` that are dark and in focus follow. A ``panel`` close
    behind floods the edge: it is mirrored over more than the profile.
    """
    slopes, tint = rng.uniform(0.04, 0.16) / np.sqrt(2), rng.uniform(0.6, 1.0)
    radius, f_px, reach = rng.uniform(30, 180), rng.uniform(3000, 6000), rng.uniform(200, 1500)
    panel = panel * np.exp(rng.normal(0, 0.3))
    x = np.arange(-30.0, 30.0, FINE)
    metal = tint * facets.across(x, radius, slopes, reach / (f_px * panel))
    veil, blur, gain = rng.uniform(0.01, 0.04), rng.uniform(0.8, 1.15), rng.uniform(0.3, 0.8)

    def seen(mirrored: np.ndarray, disc_px: float, radius_px: float | None) -> EdgeProfile:
        light = through_disc(veil + (1 - veil) * np.where(x > 0, 1.0, mirrored), disc_px)
        code = drawing.encode(0.6 * gaussian_filter1d(light, blur / FINE))
        code = code + gain * (code - gaussian_filter1d(code, 1.1 / FINE))
        light = decode(np.interp(ACROSS, x, code) + rng.normal(0, 8e-4, len(ACROSS))) / 0.6
        return EdgeProfile(
            across_px=ACROSS,
            light=light,
            dark=float(np.median(light[:8])),
            background=0.6,
            radius_px=radius_px,
            reach_px=float(reach),
        )

    pins = [seen(metal, disc, float(radius)) for _ in range(6)]
    return pins + [seen(0 * metal, 0.0, None) for _ in range(corners)], float(f_px)


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


def test_a_flooded_edge_lies_outside_of_its_step() -> None:
    """Light falls from the very edge to the band's within the blur: a step lies 0.13 px inside."""
    rng, off, z = np.random.default_rng(7), [], []
    while len(off) < 24:
        profiles, f_px = of_facets(rng, panel=0.06)
        if 0.4 < profiles[0].dark < 0.7:
            told = fit_rims(profiles, f_px, panel_near=True)
            off.append(told.edges_px.mean())
            z.append(off[-1] / told.u_edges_px.mean())
    assert abs(np.mean(off)) < 0.05
    assert 0.4 < np.sqrt(np.mean(np.square(z))) < 1.2


def test_bands_of_their_own_are_out_of_focus_as_one_for_all_is() -> None:
    """Edges that mirror unlike light, as beside a neighbour and at the border.

    Fitted as in focus they came out 2 px too wide, placed as in focus one of them 1.1.
    """
    shifts, shine = np.array([0.3, -0.2, 0.1, 0.0, 0.0]), (0.35, 0.6, 0.9)
    pins = [
        profile(shifts[i], disc=3.0, seed=i, polish=p, behind=15.0 + 60 * i)
        for i, p in enumerate(shine)
    ]
    corners = [profile(s, radius_mm=None, seed=i) for i, s in enumerate(shifts[3:])]
    focus = Focus(apart=np.arange(5) < 3, u_px=1.5)
    rims = fit_rims([*pins, *corners], F, panel_near=True, focus=focus)
    assert not rims.common
    assert np.abs(rims.edges_px - shifts).max() < 0.5


@pytest.mark.parametrize("panel_near", [False, True])
def test_a_pin_out_of_focus_is_as_well_placed_as_its_u_says(panel_near: bool) -> None:
    """Its disc drawn as a bell, these erred by half a pixel and more.

    With the panel near, some get bands of their own.
    """
    rng, off, z = np.random.default_rng(5), np.array([True] * 6 + [False] * 2), []
    for disc in np.tile([1.5, 2.5, 3.5], 12):
        profiles, f_px = of_facets(rng, float(disc), corners=2)
        told = fit_rims(profiles, f_px, panel_near=panel_near, focus=Focus(apart=off, u_px=1.5))
        z.append(told.edges_px[:6].mean() / told.u_edges_px[:6].mean())
    assert 0.6 < np.sqrt(np.mean(np.square(z))) < 1.3
    assert np.mean(np.abs(z) < 1.96) > 0.85
