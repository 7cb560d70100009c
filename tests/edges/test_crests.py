"""Crests and roots of blurred pictures that were drawn at 8 times the size."""

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, uniform_filter1d

from pitchcam import identify
from pitchcam.edges import crests
from pitchcam.edges.crests import Around, fit_tips
from pitchcam.edges.rims import UNLEARNT
from pitchcam.edges.section import fit_section
from pitchcam.edges.sight import Sight
from pitchcam.edges.tip_form import round_share
from pitchcam.light.esf import DEFAULT_SPREAD
from pitchcam.light.metal import Known, Metal
from pitchcam.light.mirrored import Mirror
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.contour import Crop
from pitchcam.records import ScaleSpec
from tests.thread.helicoid import flanks_of, iso_profile, place, seen_sides, whitworth_profile

SAMPLES = Path(__file__).parents[2] / "samples"
FINER = 8
DULL = Metal(
    loss=Known(value=0.5, u=0.1, source="drawn"),
    roughness=Known(value=0.1, u=0.3, source="drawn"),
    share=Known(value=0.02, u=0.05, source="drawn"),
)
NO_MIRROR = Mirror(metal=DULL, angles_rad=(0.01, 0.01, 0.01), u_angles=0.1)
BOTH = Around(mirrors={1.0: NO_MIRROR, -1.0: NO_MIRROR})


def drawn(pitch, profile, blur_px, off_mm=0.0, section=None, swept_px=0.0):
    _, frame = place(off_mm=off_mm)
    grid, upper, lower = seen_sides(profile, pitch, pitch, frame.pinhole)
    zero = np.zeros_like(grid)
    a = frame.to_photo(np.stack([grid, upper, zero], 1))
    b = frame.to_photo(np.stack([grid, -lower, zero], 1))
    x0, x1 = int(a[:, 0].min()) + 1, int(a[:, 0].max()) - 1
    both = np.concatenate([a, b])[:, 1]
    y0, y1 = int(both.min()) - 20, int(both.max()) + 20
    x = x0 + (np.arange((x1 - x0) * FINER) + 0.5) / FINER - 0.5
    y = y0 + (np.arange((y1 - y0) * FINER) + 0.5) / FINER - 0.5
    sides = [np.interp(x, *p[np.argsort(p[:, 0])].T) for p in (a, b)]
    low, high = np.minimum(*sides), np.maximum(*sides)
    dark = ((y[:, None] > low) & (y[:, None] < high)).astype(np.float32)
    if swept_px:
        dark = uniform_filter1d(dark, round(2 * swept_px * FINER), mode="nearest")
    light = 1 - gaussian_filter(dark, blur_px * FINER, mode="nearest")
    light = light.reshape(y1 - y0, FINER, x1 - x0, FINER).mean(axis=(1, 3))
    mask = (light < 0.5).astype(np.uint8)
    crop = Crop(
        light=light.astype(np.float32),
        origin_px=(x0, y0),
        mask=mask,
        channel="grey",
        background_code=200.0,
    )
    if section is None:
        section = fit_section(flanks_of(frame, grid, upper, lower, pitch), frame, pitch)
    return crop, frame, section


def blurred(crop, frame, blur_px):
    rims = replace(UNLEARNT, spread=replace(DEFAULT_SPREAD, blur_px=blur_px))
    axis = ImageAxis(point_px=(0.0, 0.0), direction=(1.0, 0.0))
    return Sight(
        crop=crop,
        field=None,
        rims=rims,
        region=None,
        outline_px=np.zeros((0, 2)),
        axis=axis,
        frame=frame,
    )


@pytest.mark.parametrize("blur_px", [0.9, 1.3])
@pytest.mark.parametrize(
    "form, pitch, major",
    [(iso_profile, 1.5, 14.0), (iso_profile, 1.0, 10.0), (whitworth_profile, 25.4 / 14, 20.955)],
)
def test_crest_radius_of_a_blurred_picture(form, pitch, major, blur_px):
    crop, frame, section = drawn(pitch, form(pitch, major), blur_px)
    # A pixel's own width adds 1/12 to the variance, reading between pixels 1/6.
    sight = blurred(crop, frame, float(np.hypot(blur_px, 0.5)))
    tips = fit_tips(sight, section, BOTH)
    diameter = sum(t.radius_mm for t in tips)
    # Flat and round tops are told apart no better than this when the blur is as wide.
    assert diameter == pytest.approx(major, abs=0.015)
    assert all(t.misfit < 0.02 and 0 < t.u_mm <= sight.blur_mm and t.count >= 4 for t in tips)


@pytest.mark.parametrize("swept_px", [3.0, 5.0])
def test_a_crest_that_a_hand_swept_along_the_thread_is_as_high_as_it_is(swept_px):
    """Its flat is 3 px wide: what the sweep takes off it is drawn, not read as less."""
    pitch, major = 1.5, 14.0
    crop, frame, section = drawn(pitch, iso_profile(pitch, major), 0.9, swept_px=swept_px)
    still = blurred(crop, frame, float(np.hypot(0.9, 0.5)))
    # Across flanks of 60 degrees three quarters of the sweep's variance.
    own = float(np.sqrt(still.blur_px**2 + 0.75 * swept_px**2 / 3))
    moved = replace(still, own_blur_px=(own, own))
    assert moved.widened_px == pytest.approx(swept_px)
    seen, true = (sum(t.radius_mm for t in fit_tips(s, section, BOTH)) for s in (still, moved))
    assert true == pytest.approx(major, abs=0.03)
    assert seen < true - 0.05


def worn(profile, share):
    """A profile whose crests are worn flat by a share of its depth, and its major diameter."""
    z, r, pitch_diameter = profile
    top = r.max() - share * (r.max() - r.min())
    return (z, np.minimum(r, top), pitch_diameter), 2 * top


@pytest.mark.parametrize("share, pitch", [(0.4, 25.4 / 16), (0.5, 25.4 / 16), (0.66, 25.4 / 9)])
def test_crests_worn_to_the_pitch_line_and_below_it_are_read_there(share, pitch):
    """Worn by half they lie 0.02 mm below it, and had been read 0.3 mm of diameter higher."""
    major = 6 * pitch
    whole = whitworth_profile(pitch, major)
    profile, true = worn(whole, share)
    # What is left of the flanks lies where it did.
    _, _, section = drawn(pitch, whole, 0.9)
    crop, frame, _ = drawn(pitch, profile, 0.9, section=section)
    tips = fit_tips(blurred(crop, frame, float(np.hypot(0.9, 0.5))), section, BOTH)
    assert sum(t.radius_mm for t in tips) == pytest.approx(true, abs=0.015)
    assert all(t.misfit < 0.02 for t in tips)


def sharp_profile(pitch, major):
    """ASME B1.20.1 without its taper: 60 degrees, cut by 0.033 P, 0.8 P deep."""
    z = np.linspace(-pitch / 2, pitch / 2, 2001)
    drop = np.clip(np.abs(z) * np.sqrt(3) - 0.033 * pitch, 0, 0.8 * pitch)
    return z, major / 2 - drop, major - 0.8 * pitch


SLANTED = [(whitworth_profile, 25.4 / 14, 20.955), (sharp_profile, 1.5, 14.0)]


@pytest.mark.parametrize("blur_px", [0.35, 0.6])
def test_sharp_crests_and_roots_of_few_pixels_are_read_in_their_very_middle(blur_px):
    """Eleven pixels a pitch: half a pixel beside the middle a groove is 0.7 pixels less deep."""
    crop, frame, section = drawn(0.7, sharp_profile(0.7, 13.7), blur_px)
    sight = blurred(crop, frame, float(np.hypot(blur_px, 0.5)))
    for groove, true in ((False, 13.7), (True, 13.7 - 1.6 * 0.7)):
        tips = fit_tips(sight, section, BOTH, groove=groove)
        # Half a pixel of a sharp root is open at so few, and more of it lies above than below.
        off = (0.6 if groove else 0.25) * frame.mm_per_px
        assert sum(t.radius_mm for t in tips) == pytest.approx(true, abs=off)


@pytest.mark.parametrize("groove", [False, True])
def test_a_tip_says_how_it_moves_with_the_light_beside_the_part(groove):
    """Read again with one percent more of it, as the budget takes it to a part in ten."""
    pitch, major = 25.4 / 14, 20.955
    crop, frame, section = drawn(pitch, whitworth_profile(pitch, major), 0.9)
    sight = blurred(crop, frame, float(np.hypot(0.9, 0.5)))
    as_it_is, brighter = (
        fit_tips(sight, section, replace(BOTH, background=light), groove=groove)
        for light in (1.0, 1.01)
    )
    for one, other in zip(as_it_is, brighter, strict=True):
        moved = other.radius_mm - one.radius_mm
        assert abs(moved) > 2e-4
        assert 0.01 * one.by_light_mm == pytest.approx(moved, rel=0.15, abs=1e-4)


def test_root_of_a_rounded_form():
    pitch, major = 25.4 / 14, 20.955
    profile = whitworth_profile(pitch, major)
    crop, frame, section = drawn(pitch, profile, 1.1)
    roots = fit_tips(blurred(crop, frame, 1.1), section, BOTH, groove=True)
    assert sum(t.radius_mm for t in roots) == pytest.approx(2 * profile[1].min(), abs=0.04)


@pytest.mark.parametrize("off_mm", [24.0, -24.0])
def test_a_root_that_its_ridges_cover_is_taken_where_the_other_side_shows_it(off_mm):
    """Under a slant the helix leans into the view on one side only."""
    pitch, major = 25.4 / 14, 20.955
    profile = whitworth_profile(pitch, major)
    crop, frame, section = drawn(pitch, profile, 1.1, off_mm)
    covered = {side: section.covered_mm(frame, side) for side in (1.0, -1.0)}
    assert max(covered.values()) > 2 * min(covered.values()) > 0
    roots = fit_tips(blurred(crop, frame, 1.1), section, BOTH, groove=True)
    assert sum(t.radius_mm for t in roots) == pytest.approx(2 * profile[1].min(), abs=0.12)
    # Both radii are one observation.
    assert roots[0].radius_mm == roots[1].radius_mm


@pytest.mark.parametrize("form, pitch, major", SLANTED)
def test_a_root_between_flanks_that_a_slant_shifts_is_no_shallower(form, pitch, major):
    """One side's flanks are seen farther out than the other's; the root stays where it is."""
    profile = form(pitch, major)
    crop, frame, section = drawn(pitch, profile, 1.1, 12.0)
    apart = section.covered_mm(frame, 1.0) - section.covered_mm(frame, -1.0)
    assert section.seen.offset_mm == pytest.approx(apart / 2, rel=0.1)
    sight = blurred(crop, frame, float(np.hypot(1.1, 0.5)))
    roots = fit_tips(sight, section, BOTH, groove=True)
    deep = sum(t.radius_mm for t in roots) - 2 * profile[1].min()
    # Flanks taken as alike on both sides leave 0.014 and 0.016 pitches.
    hidden = float(np.linalg.norm([t.hidden_mm for t in roots]))
    assert abs(deep) < 0.006 * pitch + hidden
    assert hidden < 0.1 * pitch
    assert (hidden < 0.004 * pitch) == (form is whitworth_profile)


def test_a_worn_crest_is_seen_as_lower():
    """The model follows the crest in the picture, not the one that the flanks let expect."""
    pitch, major = 1.5, 14.0
    z, r, middle = iso_profile(pitch, major)
    worn = (z, np.minimum(r, major / 2 - 0.1), middle)
    crop, frame, section = drawn(pitch, worn, 1.0)
    tips = fit_tips(blurred(crop, frame, 1.04), section, BOTH)
    assert sum(t.radius_mm for t in tips) == pytest.approx(major - 0.2, abs=0.03)


@pytest.mark.parametrize(
    "angle, low, high",
    [(55.2, 0.95, 1.0), (47.3, 0.95, 1.0), (60.3, 0.45, 0.55), (57.5, 0.6, 0.9), (63.0, 0.4, 0.6)],
)
def test_whitworth_angles_go_with_round_crests(angle, low, high):
    # BS 84 and ISO 228-1 round the crest, BS 93 too; ISO 68-1 leaves it open.
    assert low < round_share(angle, 1.0) < high


def test_an_angle_hardly_known_says_less_of_the_form():
    assert 0.5 < round_share(55.0, 5.0) < round_share(55.0, 1.0)


def test_a_crest_has_its_middle_between_both_of_its_flanks_and_a_root_between_two_crests():
    """The lower side's crests lie half a pitch on."""
    rows = [(1.0, f, n) for n in (0, 1, 2, 4) for f in (1.0, -1.0)]
    rows += [(1.0, 1.0, 3), (-1.0, 1.0, 0), (-1.0, -1.0, 0)]
    side, flank, ridge = np.array(rows).T
    section = SimpleNamespace(
        points=SimpleNamespace(side=side, flank=flank, ridge=ridge),
        seen=SimpleNamespace(
            used=np.ones(len(rows), bool), phase_mm=0.2, lag_mm=0.75, pitch_mm=1.5
        ),
    )
    assert crests._middles(section, 1.0, False) == pytest.approx([0.2, 1.7, 3.2, 6.2])
    assert crests._middles(section, 1.0, True) == pytest.approx([0.95, 2.45])
    assert crests._middles(section, -1.0, False) == pytest.approx([0.95])


def places_of(end, misfit):
    return crests._TipPlaces(
        end=np.array(end),
        u=np.array([0.003, 0.003]),
        by_light=np.zeros(2),
        misfit=np.array(misfit),
        mirrored=np.zeros((2, 4)),
        by_end=np.zeros((2, 4)),
    )


def test_what_two_forms_of_a_crest_are_apart_is_open():
    """Two as likely: the variance of either, and the square of half of what they are apart."""
    end, u, _, _ = places_of([7.0, 7.02], [0.01, 0.01]).mean(0.5)
    assert (end, u) == (pytest.approx(7.01), pytest.approx(np.hypot(0.003, 0.01)))
    # One that describes the light worse counts less.
    end, u, _, _ = places_of([7.0, 7.02], [0.01, 0.02]).mean(0.5)
    assert end < 7.002 and u < 0.008


@pytest.fixture(scope="module")
def fine_thread():
    crop, frame, section = drawn(1.5, iso_profile(1.5, 14.0), 1.0)
    return blurred(crop, frame, float(np.hypot(1.0, 0.5))), section


def test_a_side_of_one_crest_has_no_diameter(fine_thread, monkeypatch):
    sight, section = fine_thread
    middles = crests._middles
    few = {1.0: 2, -1.0: 1}
    monkeypatch.setattr(crests, "_middles", lambda of, s, g: middles(of, s, g)[: few[s]])
    assert [(t.side, t.count) for t in fit_tips(sight, section, BOTH)] == [(1.0, 2)]


def test_light_that_no_crest_makes_leaves_its_radius_open(fine_thread, monkeypatch):
    """Bands along the thread, alike on every crest: they scatter by nothing and misfit."""
    sight, section = fine_thread
    rows = np.arange(sight.crop.light.shape[0])
    bands = 0.1 * np.sin(rows * 2 * np.pi / 3.3)[:, None]
    banded = replace(sight, crop=replace(sight.crop, light=sight.crop.light + bands.astype("f4")))
    found, fitted = [], crests._fit_ends
    monkeypatch.setattr(
        crests, "_fit_ends", lambda *of, **how: found.append(fitted(*of, **how)) or found[-1]
    )
    for of in (sight, banded):
        fit_tips(of, section, BOTH)
    for one, other in zip(*found, strict=True):
        assert np.all(other.misfit > 2 * crests.LIGHT_NOISE) and np.all(
            one.misfit < crests.LIGHT_NOISE
        )
        # As much as the light misfits, and the fit's own slopes are about the same.
        rise = other.misfit / crests.LIGHT_NOISE
        assert other.u / one.u == pytest.approx(rise, rel=0.35)


def test_radii_of_a_taper_grow_along_it_by_half_of_what_diameters_do(fine_thread):
    """Of 1 in 16 on the diameter (ASME B1.20.1) a radius grows by 1 in 32."""
    section = SimpleNamespace(seen=SimpleNamespace(taper=1 / 16), from_axis=lambda zy: zy)
    sight = SimpleNamespace(light=lambda zyx: zyx)
    z, y = np.array([0.0, 3.2]), np.array([7.0, 7.1])
    for side in (1.0, -1.0):
        read = crests._lines(sight, section, side, z, y)
        assert side * read[..., 1] == pytest.approx(np.array([y, y + 0.1]))
        assert read[..., 0] == pytest.approx(np.array([[0.0, 0.0], [3.2, 3.2]]))
    tapered = fine_thread[1]
    assert abs(tapered.seen.taper) > 1e-4
    for tip in fit_tips(*fine_thread, BOTH):
        assert tip.slope == pytest.approx(tapered.seen.taper / 2)


@pytest.mark.parametrize("groove", [False, True])
def test_a_side_whose_light_says_nothing_leaves_the_other_alone(fine_thread, monkeypatch, groove):
    fitted = crests._fit_ends

    def half(*of, **how):
        upper, lower = fitted(*of, **how)
        return [replace(upper, end=np.nan * upper.end), lower]

    monkeypatch.setattr(crests, "_fit_ends", half)
    tips = fit_tips(*fine_thread, BOTH, groove=groove)
    assert [t.side for t in tips] == [-1.0]
    assert np.isfinite(tips[0].radius_mm)


def test_a_tip_is_settled_to_a_thirtieth_of_its_u(monkeypatch):
    """Of a photo: drawn light is met at once, that of metal is not."""
    fit, off = crests._fit_ends, []

    def twice(*of, **how):
        ends = fit(*of, **how)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(crests, "SETTLED", 1e-10)
            settled = fit(*of, **how)
        off.extend(np.abs(a.end - b.end) / b.u for a, b in zip(ends, settled, strict=True))
        return ends

    monkeypatch.setattr(crests, "_fit_ends", twice)
    identify(next(SAMPLES.glob("p04-*.jpg")), ScaleSpec(source="pin", mm=8.0), plots=False)
    assert len(off) >= 4 and 1e-4 < np.concatenate(off).max() < 1 / 30
