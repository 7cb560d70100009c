"""Crests seen aslant, drawn ray by ray: where their light ends, whatever they mirror."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from pitchcam.edges.crest_edges import CrestSide, _crest, crest_edge
from pitchcam.edges.rims import UNLEARNT
from pitchcam.edges.sight import Sight
from pitchcam.light import stations
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.contour import Crop
from tests.objects.drawing import traced_rim
from tests.thread.helicoid import place

PITCH, RADIUS, OFF_MM, BEHIND_MM, HALF_MM, FINER = 1.5, 7.0, 28.0, 100.0, 70.0, 4


def drawn(share, blur_px, up=1.0):
    """Return the sight of one side's crests, each an ellipse that mirrors as its circle does."""
    camera, frame = place(off_mm=OFF_MM)
    cz, _, cx = frame.pinhole
    ends = frame.to_photo(np.array([[-4.5, up * RADIUS, 0.0], [4.5, up * RADIUS, 0.0]]))
    low = np.floor(ends.min(axis=0)).astype(int) - [0, 20]
    w, h = np.ceil(ends.max(axis=0)).astype(int) + [1, 20] - low
    x = low[0] + (np.arange(w * FINER) + 0.5) / FINER - 0.5
    y = low[1] + (np.arange(h * FINER) + 0.5) / FINER - 0.5
    z, at = np.moveaxis(frame.from_photo(np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)), 1, 0)
    lean = (cz - z) / cx - up * PITCH / (2 * np.pi * RADIUS)
    beyond = np.maximum(np.abs(z / PITCH - np.round(z / PITCH)) * PITCH - PITCH / 16, 0.0)
    end = RADIUS - beyond**2 / (2 * RADIUS * lean**2)
    # The light along a ray by how far it passes outside the circle, from the camera's own place.
    away = float(np.hypot(cx, RADIUS))
    px = np.linspace(-60, 10, 1401)
    edge = np.arcsin(RADIUS / away)
    rays = traced_rim(
        camera.f_px * np.tan(edge + px / camera.f_px),
        RADIUS,
        f_px=camera.f_px,
        distance_mm=away,
        behind_mm=BEHIND_MM,
        half_mm=HALF_MM,
        share=share,
    )
    outside_px = (up * at - end) / frame.across_mm_per_px
    light = np.interp(outside_px, px, rays).reshape(h * FINER, w * FINER)
    light = gaussian_filter(light, blur_px * FINER, mode="nearest")
    crop = Crop(
        light=light.reshape(h, FINER, w, FINER).mean(axis=(1, 3)).astype(np.float32),
        origin_px=(int(low[0]), int(low[1])),
        mask=np.ones((h, w), np.uint8),
        channel="grey",
        background_code=200.0,
    )
    # The border of what is lit, as far off in the picture as the panel's edge is.
    reach = camera.f_px * HALF_MM / (away + BEHIND_MM)
    y0, y1 = ends[0][1] - reach, ends[0][1] + reach
    corners = [(0, y0), (4000, y0), (4000, y1), (0, y1)]
    k = BEHIND_MM / (away + BEHIND_MM)
    # As straight edges show it: pixels and what lies linearly between two of them blur as well.
    sharp = replace(UNLEARNT.spread, blur_px=float(np.sqrt(blur_px**2 + 1 / 12 + 1 / 6)))
    return Sight(
        crop=crop,
        field=SimpleNamespace(window_px=corners),
        rims=replace(UNLEARNT, spread=sharp, panel=k, u_panel=0.1),
        region=None,
        outline_px=np.zeros((0, 2)),
        axis=ImageAxis(point_px=(0.0, 0.0), direction=(1.0, 0.0)),
        frame=frame,
    )


def tops_of(sight, up, off_px):
    """Return the crests, each so many pixels inside its true edge."""
    radius = up * (RADIUS - off_px * sight.frame.across_mm_per_px)
    tops = np.stack([PITCH * np.arange(-2, 3), np.full(5, radius)], axis=1)
    return CrestSide(tops=tops, pitch_mm=PITCH)


def found(share, blur_px, up=1.0, off_px=0.6):
    sight = drawn(share, blur_px, up)
    return crest_edge(sight, tops_of(sight, up, off_px))


#: Complex indices of refraction in green light (from memory), and what of the light is mirrored:
#: all that Fresnel's formulas say by a polished surface, next to nothing by a blackened one.
METALS = {"black": (2.9 + 3.1j, 0.05), "iron": (2.9 + 3.1j, 0.8), "aluminium": (0.8 + 6.3j, 0.9)}


def mirrored_by(metal):
    """Return the mirrored share of unpolarised light by the grazing angle (Fresnel)."""
    index, share = METALS[metal]

    def of(angle):
        into = np.sin(np.asarray(angle, float))
        inside = np.sqrt(index**2 - 1 + into**2)
        across = (into - inside) / (into + inside)
        along = (index**2 * into - inside) / (index**2 * into + inside)
        return share * (np.abs(across) ** 2 + np.abs(along) ** 2) / 2

    return of


def by_level(share, blur_px, up=1.0):
    """Return how far out a plain step's edge lies, pixels: its light crosses 0.85 beyond it."""
    sight = drawn(share, blur_px, up)
    px = np.linspace(-6, 4, 501)
    y = up * (RADIUS + px * sight.frame.across_mm_per_px)
    light = sight.light(np.stack([0 * y, y, 0 * y], axis=-1))
    return px[np.flatnonzero(light < 0.85)[-1]] - 1.04 * sight.blur_px


@pytest.mark.parametrize("up", [1.0, -1.0])
@pytest.mark.parametrize("blur_px", [0.6, 1.2])
@pytest.mark.parametrize("metal", METALS)
def test_the_edge_is_found_whatever_is_mirrored(metal, blur_px, up):
    edge = found(mirrored_by(metal), blur_px, up)
    assert edge.shift_px == pytest.approx(0.6, abs=0.1 + edge.u_px)
    # The brighter the metal, the less its edge stands out.
    assert 0.03 < edge.u_px < (0.1 if metal == "black" else 1.2)


def test_a_bright_crest_seems_too_low_by_its_level():
    assert by_level(mirrored_by("iron"), 0.7) < -0.4
    assert found(mirrored_by("iron"), 0.7).shift_px > 0.45


def test_dirt_on_two_crests_of_five_moves_nothing():
    clean, sight = found(mirrored_by("black"), 0.8), drawn(mirrored_by("black"), 0.8)
    for z in (-PITCH, 2 * PITCH):
        x, y = (sight.to_photo(np.array([z, RADIUS, 0.0])) - sight.crop.origin_px).astype(int)
        sight.crop.light[y - 6 : y + 7, x - 8 : x + 9] = 0.0
    spoiled = crest_edge(sight, tops_of(sight, 1.0, 0.6))
    assert spoiled.shift_px == pytest.approx(clean.shift_px, abs=0.1)


@pytest.mark.parametrize("blur_px", [0.6, 0.9, 1.5])
def test_few_stations_tell_a_crests_light_as_many_do(monkeypatch, blur_px: float) -> None:
    """Over the kink where its flat ends, to an eighth of what the model agrees to."""
    sight = drawn(lambda a: 0.8 + 0 * a, blur_px)
    side = tops_of(sight, 1.0, 0.6)
    q = np.array([[0.3, 0.6, 0.0, 0.0, 0.9, 1.0]])
    light = []
    for count in (stations.STATIONS, 60):
        monkeypatch.setattr(stations, "STATIONS", count)
        crest = _crest(sight, side)
        light.append(crest.deviations(q)[0] / crest.weight)
    assert 1e-6 < np.abs(light[0] - light[1]).max() < 0.0025
