"""Edges of flanks placed by traced light, from profiles that SciPy blurs."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d, uniform_filter1d
from scipy.stats import norm

from pitchcam.edges.flank_light import SLOPES, Traced
from pitchcam.edges.flank_place import (
    DEPTHS_PX,
    PANELS,
    FlankProfiles,
    place_asking_blur,
    place_flanks,
    place_in_own_blur,
    swept,
)
from pitchcam.light.esf import reflected
from pitchcam.light.metal import UNSEEN, Known

BLUR, LEVEL, RADIUS_PX = 0.95, 0.85, 180.0
#: Last angles that mirror the panel, of eight flanks.
LAST = np.array([0.12, 0.16, 0.2, 0.24, 0.1, 0.18, 0.22, 0.14])
ACROSS = np.arange(-7.0, 7.01, 0.5)
TRUTH = {"loss": 0.6, "roughness": 0.1, "share": 0.85}


def traced(depths_px) -> Traced:
    """Rays beside flanks of one radius of curvature; panels nearer mirror farther round."""
    grazing = np.tile(np.sqrt(2 * depths_px / RADIUS_PX), (len(LAST), 1))
    k = len(PANELS)
    last = LAST[None, :, None, None] * np.linspace(1.6, 0.8, k)[:, None, None, None]
    direct = np.clip(0.5 + (last - grazing[None, :, :, None] - SLOPES) / 0.03, 0, 1)
    nothing = np.zeros_like(direct)
    return Traced(grazing=grazing, direct=direct, onward=nothing, second=nothing[0])


def profiles(
    edges, *, panel=5.0, background=1.0, noise=0.003, seed=2, blurs=((BLUR, 0.0),) * 2, **surface
) -> FlankProfiles:
    """Light on a fine grid, blurred by SciPy: dark deep inside, traced near the edge.

    ``blurs`` are, for flanks of both ways, the lens's blur and the length of a motion.
    """
    surface = TRUTH | surface
    step = 0.01
    fine = np.arange(-30, 15, step)
    light = []
    for i, edge in enumerate(edges):
        depth = np.maximum(edge - fine, 1e-6)
        beside = traced(depth).light(surface["loss"], surface["roughness"], panel)[i]
        sharp = np.where(fine > edge, 1.0, surface["share"] * beside)
        lens, moved = blurs[i % 2]
        blurred = gaussian_filter1d(sharp, lens / step, mode="nearest")
        if moved:
            blurred = uniform_filter1d(blurred, round(moved / step), mode="nearest")
        light.append(background * np.interp(ACROSS, fine, blurred))
    rng = np.random.default_rng(seed)
    light = np.array(light) + rng.normal(0, noise, (len(edges), len(ACROSS)))
    across = np.tile(ACROSS, (len(edges), 1))
    return FlankProfiles(
        across_px=across,
        light=light,
        known=np.ones(light.shape, bool),
        way=np.arange(len(edges)) % 2,
        blur_px=(BLUR, BLUR),
        lens_px=BLUR,
        level=LEVEL,
    )


EDGES = np.array([-0.3, -0.1, 0.2, 0.0, -0.7, 0.1, -0.4, -0.2])


def place(seen: FlankProfiles, u_panel: float = 0.3):
    return place_flanks(seen, traced(DEPTHS_PX), (PANELS[5] * 1.1, u_panel))


def test_edges_come_out_where_they_are() -> None:
    found = place(profiles(EDGES))
    assert found.edge_px == pytest.approx(EDGES, abs=0.06)
    assert (np.abs(found.edge_px - EDGES) < 2 * found.u_px).all()
    assert found.misfit.max() < 0.012
    # The half level would be off by this much, and differently for each.
    half = [np.interp(0.5, light, ACROSS) for light in profiles(EDGES).light]
    assert np.ptp(EDGES - half) > 0.3


def test_level_to_edge_follows_from_the_surface() -> None:
    seen = profiles(EDGES)
    found = place(seen)
    crossing = np.array([np.interp(LEVEL, light, ACROSS) for light in seen.light])
    assert found.shift_px[0, :, 0] == pytest.approx(EDGES - crossing, abs=0.06)
    # Less light beside it, and the crossing lies nearer to the edge or outside.
    less, more = found.shift_px[1:, :, 0]
    assert (less < more).all()


@pytest.mark.parametrize("share", [0.0, 0.15])
def test_blackened_part_has_bare_edges(share: float) -> None:
    found = place(profiles(EDGES, share=share))
    assert found.edge_px == pytest.approx(EDGES, abs=0.05)
    assert found.surface.metal.share.value == pytest.approx(share, abs=0.12)


def test_the_metal_comes_back_better_known() -> None:
    """From ever more noise, what the fit returns tends to what it was given."""
    seen = place(profiles(EDGES)).surface.metal
    assert seen.loss.value == pytest.approx(TRUTH["loss"], abs=3 * seen.loss.u + 0.05)
    assert seen.roughness.value == pytest.approx(TRUTH["roughness"], rel=0.4)
    for name in ("loss", "roughness", "share"):
        assert 0 < getattr(seen, name).u < getattr(UNSEEN, name).u
    # Another prior, firmly held, stays.
    firm = replace(UNSEEN, loss=Known(value=0.4, u=1e-4, source="stated"))
    kept = place_flanks(profiles(EDGES), traced(DEPTHS_PX), (PANELS[5] * 1.1, 0.3), firm)
    assert kept.surface.metal.loss.value == pytest.approx(0.4, abs=1e-3)


def test_background_and_panel_are_found() -> None:
    found = place(profiles(EDGES, background=1.05, panel=3.0), u_panel=1.0)
    assert found.surface.background == pytest.approx(1.05, abs=0.01)
    assert found.surface.panel == pytest.approx(PANELS[3], rel=0.35)
    assert found.edge_px == pytest.approx(EDGES, abs=0.1)


def test_samples_not_known_do_not_count() -> None:
    seen = profiles(EDGES)
    light, known = seen.light.copy(), seen.known.copy()
    light[:, :4], known[:, :4] = 7.0, False
    spoiled = replace(seen, light=light, known=known)
    assert place(spoiled).edge_px == pytest.approx(EDGES, abs=0.06)


def test_what_is_drawn_otherwise_is_known_less() -> None:
    plain = profiles(EDGES)
    light = plain.light.copy()
    light[2] += 0.15 * np.sin(2 * ACROSS)
    spoiled = place(replace(plain, light=light))
    assert spoiled.misfit[2] > 4 * np.median(spoiled.misfit)
    assert spoiled.u_px[2] > 2 * place(plain).u_px[2]
    spread = spoiled.shift_px[2, 2] - spoiled.shift_px[1, 2]
    assert spread > 2 * (spoiled.shift_px[2, 1] - spoiled.shift_px[1, 1])


def test_reflected_falls_as_the_model_says() -> None:
    assert traced(DEPTHS_PX).light(0.6, 0.03, 5.0)[:, 0] == pytest.approx(
        reflected(traced(DEPTHS_PX).grazing[:, 0], 0.6), abs=0.08
    )


#: A motion of 6 px across the flanks of one way and of 4 px across those of the other, as standard
#: deviations with the lens's blur.
MOVED, MOVED_PX = ((BLUR, 6.0), (BLUR, 4.0)), np.hypot(BLUR, np.array([6.0, 4.0]) / 12**0.5)


@pytest.mark.parametrize("blurs", [MOVED, ((1.6, 0.0), (1.5, 0.0))])
@pytest.mark.parametrize("share", [0.0, 0.85])
def test_flanks_that_moved_are_placed_in_their_own_blur(blurs, share: float) -> None:
    """As blurred as the straight edges they would have a band, and their edges lie farther out."""
    seen = profiles(EDGES, blurs=blurs, share=share)
    panel = (PANELS[5] * 1.1, 0.3)
    asked = place_asking_blur(seen, traced(DEPTHS_PX), panel)
    as_usual = place_flanks(seen, traced(DEPTHS_PX), panel)
    assert asked.edge_px.tolist() == as_usual.edge_px.tolist()
    assert asked.surface.own_blur_px is not None
    own = replace(seen, blur_px=asked.surface.own_blur_px)
    found = place_in_own_blur(own, traced(DEPTHS_PX), panel)
    widths = [np.hypot(lens, moved / 12**0.5) for lens, moved in blurs]
    assert found.blur_px == pytest.approx(widths, rel=0.12)
    assert np.abs(found.edge_px - EDGES).mean() < 0.35
    # The light is drawn to its noise: a lens's blur for a motion would leave twice that.
    assert found.misfit.max() < 0.0055
    assert np.abs(as_usual.edge_px - EDGES).mean() > 2 * np.abs(found.edge_px - EDGES).mean()


@pytest.mark.parametrize("share", [0.0, 0.4, 0.85])
def test_flanks_as_blurred_as_all_edges_have_no_blur_of_their_own(share: float) -> None:
    seen = profiles(EDGES, share=share)
    found = place_asking_blur(seen, traced(DEPTHS_PX), (PANELS[5] * 1.1, 0.3))
    assert found.surface.own_blur_px is None
    assert found.blur_px == (BLUR, BLUR)


def test_light_that_no_blur_draws_tells_of_none() -> None:
    """As on a thread of the wrong hand: a wider blur is found, and draws it hardly better."""
    seen = profiles(EDGES, blurs=MOVED)
    told = place_asking_blur(seen, traced(DEPTHS_PX), (PANELS[5] * 1.1, 0.3))
    odd = replace(seen, light=seen.light + 0.05 * np.sin(3 * ACROSS))
    found = place_asking_blur(odd, traced(DEPTHS_PX), (PANELS[5] * 1.1, 0.3))
    assert told.surface.own_blur_px is not None
    assert found.surface.own_blur_px is None


def test_an_edge_that_moved_falls_as_a_blurred_one_averaged_over_its_way() -> None:
    step, lens, blur = 0.01, 0.9, 2.0
    x = np.arange(-12.0, 12.0, step)
    half = np.sqrt(3 * (blur**2 - lens**2))
    moved = uniform_filter1d(norm.cdf(x / lens), round(2 * half / step), mode="nearest")

    def drawn(blur: float) -> tuple:
        return tuple(a[0, :, 0] for a in swept(x[None, :, None], np.full((1, 1, 1), blur), lens))

    share, by_x, by_blur = drawn(blur)
    assert share == pytest.approx(moved, abs=2e-3)
    assert by_x == pytest.approx(np.gradient(share, step), abs=1e-4)
    more = drawn(blur * np.exp(1e-5))[0] - drawn(blur * np.exp(-1e-5))[0]
    assert by_blur == pytest.approx(more / 2e-5, abs=1e-6)
