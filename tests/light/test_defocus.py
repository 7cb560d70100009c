"""Edges out of focus: a disc summed at nodes against its chords, and all changes by differences."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import ndtr

from pitchcam.light.defocus import AT, LEAST_DISC_PX, SHARES, defocus, discs
from pitchcam.light.esf import edge_light

APART = np.array([[0.0], [1.0]])


@pytest.mark.parametrize("disc", [0.5, 2.0, 4.0])
def test_an_edge_through_a_disc_falls_over_its_chords(disc: float) -> None:
    """The share of a disc's light beyond a chord, by numerical integration."""
    x, blur = np.linspace(-6, 6, 25), 0.95

    def exact(at: float) -> float:
        chord = lambda t: 2 / np.pi * np.sqrt(1 - t * t) * ndtr((at - disc * t) / blur)  # noqa: E731
        return float(quad(chord, -1, 1, epsabs=1e-8)[0])

    summed = SHARES @ ndtr((x - disc * AT[:, None]) / blur)
    assert summed == pytest.approx([exact(at) for at in x], abs=3e-4)
    if disc == 4.0:
        # A bell as wide is something else.
        assert np.abs(ndtr(x / np.hypot(blur, disc / 2)) - summed).max() > 0.02


def test_a_disc_adds_to_what_the_lens_blurs() -> None:
    lens = np.sqrt(0.62**2 - 0.25)
    focused = defocus(0.62, 1.0, APART)
    assert focused.blur_px.ravel() == pytest.approx([0.62, 0.62])
    assert (focused.disc_px / 2) ** 2 == pytest.approx((lens + 1.0) ** 2 - lens**2)
    assert defocus(0.62, 0.0, APART).disc_px == LEAST_DISC_PX


def test_no_focus_takes_away_what_pixels_blur() -> None:
    lens = np.sqrt(0.62**2 - 0.25)
    # A lens that blurs nothing is the sharpest there is.
    for more, pin in ((-0.2, np.hypot(0.5, lens - 0.2)), (-0.5, 0.5), (-3.0, 0.5)):
        focused = defocus(0.62, more, APART)
        assert focused.blur_px.ravel() == pytest.approx([0.62, pin])
        assert focused.disc_px == LEAST_DISC_PX


@pytest.mark.parametrize("more", [-3.0, -0.5, -0.2, 0.3, 1.5])
def test_changes_of_blur_and_disc(more: float) -> None:
    step = 1e-6
    focused = defocus(0.62, more, APART)
    for at, (by_blur, by_disc) in (
        ((0.62 + step, more), focused.by_usual),
        ((0.62, more + step), focused.by_more),
    ):
        moved = defocus(*at, APART)
        assert by_blur == pytest.approx((moved.blur_px - focused.blur_px) / step, abs=1e-5)
        assert by_disc == pytest.approx((moved.disc_px - focused.disc_px) / step, abs=1e-4)


def drawn(usual: float, more: float, place: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Two edges, the second out of focus, and their changes by usual and more blur, and place."""
    x = np.arange(-8.0, 8.1, 0.5)
    nodes, focused = discs(APART[:, 0] > 0), defocus(usual, more, APART)
    radius, angle = np.array([[0.0], [80.0]]), np.array([[0.2], [0.25]])
    light, slopes = nodes.together(
        *edge_light(
            x,
            focused.blur_px[nodes.rows],
            nodes.placed(place, focused.disc_px),
            radius[nodes.rows],
            angle[nodes.rows],
            0.4,
            0.3,
            0.7,
        ),
        by_place=5,
    )
    return light, np.stack([*focused.changes(slopes[0], slopes[6]), slopes[5]])


@pytest.mark.parametrize("more", [-0.1, 0.0, 0.8])
def test_changes_of_the_drawn_light(more: float) -> None:
    place, step = np.array([[0.3], [-0.5]]), 1e-5
    at, (by_usual, by_more, by_place) = drawn(0.9, more, place)
    assert (drawn(0.9 + step, more, place)[0] - at) / step == pytest.approx(by_usual, abs=2e-4)
    # From no disc at all the first one widens the edge as more of a bell would.
    assert (drawn(0.9, more + step, place)[0] - at) / step == pytest.approx(by_more, abs=2e-4)
    assert (drawn(0.9, more, place + step)[0] - at) / step == pytest.approx(by_place, abs=2e-4)
    # What is in focus knows nothing of it.
    assert by_more[0] == pytest.approx(0.0)
    assert np.abs(by_more[1]).max() > 0.05
