"""What is seen of a thread aslant, against brute force: the outermost of hundreds of sections."""

import numpy as np
import pytest

from pitchcam.series.ridges import RIDGES
from pitchcam.thread.aslant.contour import Side, Wound, edges, light_beside
from pitchcam.thread.aslant.ridge import ridge_outline, root_outline
from tests.thread.helicoid import iso_profile, seen_sides, whitworth_profile

PITCH, MAJOR = 1.5, 14.0
FORMS = {
    "flat60": (iso_profile, 3 * np.sqrt(3) / 16, 0.0),
    "round55": (whitworth_profile, 0.320164, 0.137329),
}


def wound(name: str, root: float, half_taper: float = 0.0) -> Wound:
    """A thread of basic form; the height of its crest is the standard's."""
    crest = FORMS[name][1] * PITCH
    tan = RIDGES[name].tan_half
    return Wound(
        pitch=PITCH,
        line=MAJOR / 2 - crest,
        half_taper=half_taper,
        ridge=ridge_outline(RIDGES[name], PITCH, crest, tan),
        root=root_outline(PITCH, tan, root * PITCH),
    )


@pytest.mark.parametrize("name", FORMS)
def test_the_section_is_the_standard_s(name):
    """ISO 68-1 and BS 84, as tests/thread/helicoid.py draws them from their figures."""
    profile, height, root = FORMS[name]
    z, r, _ = profile(PITCH, MAJOR)
    thread = wound(name, root)
    whole = thread.ridge.whole()
    ours = np.interp(z, whole.across, thread.line + whole.height)
    above_root = r > MAJOR / 2 - 0.5 * PITCH
    assert np.abs(ours - r)[above_root].max() < 2e-3 * PITCH
    assert whole.height.max() == pytest.approx(height * PITCH)
    if root:
        own = np.abs(z) > PITCH / 2 - 0.1 * PITCH
        seen = np.interp(np.abs(z[own]), thread.root.across, thread.line + thread.root.height)
        assert np.abs(seen - r[own]).max() < 4e-3 * PITCH


@pytest.mark.parametrize("slant", [0.0, 0.12, 0.25, -0.2])
@pytest.mark.parametrize("name", FORMS)
def test_crests_hide_their_flanks_as_they_do(name, slant):
    profile, _, root = FORMS[name]
    pinhole = np.array([slant * 190.0, 3.0, 190.0])
    grid, upper, lower = seen_sides(profile(PITCH, MAJOR), PITCH, PITCH, pinhole, turns=4)
    keep = np.abs(grid) < 1.5 * PITCH
    # A sharp root stands for the flat one, which no slanted view shows.
    deep = MAJOR / 2 - (0.62 if root else 0.5) * PITCH
    thread = wound(name, root or 0.001)
    for side, seen in ((1.0, upper), (-1.0, lower)):
        first = 0.0 if side > 0 else PITCH / 2
        own = Side(wound=thread, first=first, side=side, pinhole=pinhole)
        (ours,) = edges(grid[keep][:, None], [own])[:, :, 0]
        off = (ours - seen[keep])[seen[keep] > deep]
        # Between the points of a crest's rounding the outline is straight.
        assert np.abs(off).max() < 0.003 * PITCH, (side, np.abs(off).max())


def test_the_light_is_the_blurred_outline_s():
    """Against the blur of a picture drawn in fine steps (SciPy's Gaussian filter)."""
    from scipy.ndimage import gaussian_filter

    thread, pinhole, blur = wound("flat60", 0.135), np.array([45.0, 0.0, 190.0]), 0.06
    step = 0.01
    z, y = np.arange(-1.5, 1.5, step), np.arange(5.6, 7.4, step)
    own = Side(wound=thread, first=0.0, side=1.0, pinhole=pinhole)
    (high,) = edges(z[:, None], [own])[:, :, 0]
    drawn = gaussian_filter(np.clip((y[None] - high[:, None]) / step + 0.5, 0, 1), blur / step)
    rows, columns = np.meshgrid(np.arange(60, 240, 7), np.arange(30, 150, 5), indexing="ij")
    at = (z[rows.ravel()], y[columns.ravel()])
    light = light_beside(at, [own], blur)
    assert np.abs(light.light[0] - drawn[rows, columns].ravel()).max() < 0.02
    by_z, by_y = np.gradient(drawn, step)
    steep = np.abs(by_y[rows, columns].ravel()).max()
    assert np.abs(light.across[0] - by_y[rows, columns].ravel()).max() < 0.05 * steep
    assert np.abs(light.along[0] - by_z[rows, columns].ravel()).max() < 0.05 * steep
