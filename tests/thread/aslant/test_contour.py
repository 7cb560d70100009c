"""What is seen of a thread aslant, against brute force: the outermost of hundreds of sections."""

import numpy as np
import pytest

from pitchcam.series.ridges import RIDGES
from pitchcam.thread.aslant import contour
from pitchcam.thread.aslant.contour import Changes, Side, Wound, edges, light_beside, touched
from pitchcam.thread.aslant.ridge import ridge_outline, root_outline
from tests.thread.helicoid import iso_profile, seen_sides, whitworth_profile

PITCH, MAJOR = 1.5, 14.0
FORMS = {
    "flat60": (iso_profile, 3 * np.sqrt(3) / 16, 0.0),
    "round55": (whitworth_profile, 0.320164, 0.137329),
}


HOLE = np.array([0.0, 0.0, 190.0])


def wound(name: str, root: float, half_taper: float = 0.0, pinhole=HOLE) -> Wound:
    """A thread of basic form; the height of its crest is the standard's."""
    crest = FORMS[name][1] * PITCH
    tan = RIDGES[name].tan_half
    return Wound(
        pitch=PITCH,
        line=MAJOR / 2 - crest,
        half_taper=half_taper,
        ridge=ridge_outline(RIDGES[name], PITCH, crest, tan),
        root=root_outline(PITCH, tan, root * PITCH),
        pinhole=pinhole,
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
    thread = wound(name, root or 0.001, pinhole=pinhole)
    for side, seen in ((1.0, upper), (-1.0, lower)):
        first = 0.0 if side > 0 else PITCH / 2
        own = Side(first=first, side=side)
        ((top, _),) = edges([grid[keep][None]], thread, [own])
        ours = top.height[0]
        off = (ours - seen[keep])[seen[keep] > deep]
        # Between the points of a crest's rounding the outline is straight.
        assert np.abs(off).max() < 0.003 * PITCH, (side, np.abs(off).max())


def test_the_light_is_the_blurred_outline_s():
    """Against the blur of a picture drawn in fine steps (SciPy's Gaussian filter)."""
    from scipy.ndimage import gaussian_filter

    thread, blur = wound("flat60", 0.135, pinhole=np.array([45.0, 0.0, 190.0])), 0.06
    step = 0.01
    z, y = np.arange(-1.5, 1.5, step), np.arange(5.6, 7.4, step)
    own = Side(first=0.0, side=1.0)
    ((top, _),) = edges([z[None]], thread, [own])
    (high,) = top.height
    drawn = gaussian_filter(np.clip((y[None] - high[:, None]) / step + 0.5, 0, 1), blur / step)
    rows, columns = np.meshgrid(np.arange(60, 240, 7), np.arange(30, 150, 5), indexing="ij")
    at = (z[rows.ravel()], y[columns.ravel()])
    (light,) = light_beside([at], (thread, [own]), blur)
    assert np.abs(light.light - drawn[rows, columns].ravel()).max() < 0.02
    by_z, by_y = np.gradient(drawn, step)
    steep = np.abs(by_y[rows, columns].ravel()).max()
    assert np.abs(light.across - by_y[rows, columns].ravel()).max() < 0.05 * steep
    assert np.abs(light.along - by_z[rows, columns].ravel()).max() < 0.05 * steep


@pytest.mark.parametrize(("slant", "close_mm"), [(0.1, 1e-7), (0.25, 1e-6), (0.35, 1e-4)])
def test_points_are_seen_where_the_surface_s_normal_is_square_to_the_sight(
    slant, close_mm, monkeypatch
):
    """So that further steps of the search lead nowhere."""
    thread = wound("round55", 0.137, 0.03, np.array([slant * 190.0, 3.0, 190.0]))
    sides, numbers = [Side(first=0.2, side=1.0), Side(first=0.9, side=-1.0)], np.arange(-3.0, 4.0)
    seen = touched(thread, sides, numbers)
    monkeypatch.setattr(contour, "STEPS", 12)
    there = touched(thread, sides, numbers)
    assert np.abs(seen.z - there.z).max() < close_mm and np.abs(seen.y - there.y).max() < close_mm


@pytest.mark.parametrize("slant", [0.0, 0.2, -0.35])
@pytest.mark.parametrize("what", ["pitch", "across", "height", "fall", "pinhole"])
def test_what_is_seen_changes_as_is_said(what, slant):
    """Draw a changed thread, and see where its chords lie: differences of the drawing itself."""
    thread = wound("round55", 0.137)
    across = thread.outline()[0]
    shape = np.random.default_rng(3).normal(size=len(across))
    rows = {name: np.zeros((3, len(across))) for name in ("pitch", "pinhole")}
    for i, name in enumerate(("across", "height", "fall")):
        rows[name] = np.eye(3)[i][:, None] * shape
    changes = Changes(
        outline=rows[what][None],
        pitch=np.array([float(what == "pitch")]),
        pinhole_z=np.array([float(what == "pinhole")]),
    )
    sides = [Side(first=0.2, side=1.0), Side(first=0.9, side=-1.0)]
    at = [np.linspace(-4.0, 4.0, 400)[None], np.linspace(-3.7, 4.1, 300)[None]]

    def drawn(step, changes=None):
        class Moved(Wound):
            def outline(self):
                return super().outline() + step * rows[what]

        moved = Moved(
            pitch=PITCH + step * (what == "pitch"),
            line=thread.line,
            half_taper=0.02,
            ridge=thread.ridge,
            root=thread.root,
            pinhole=np.array([slant * 190.0 + step * (what == "pinhole"), 3.0, 190.0]),
        )
        return edges(at, moved, sides, changes)

    h = 1e-6
    for (_, by), (up, _), (down, _) in zip(drawn(0.0, changes), drawn(h), drawn(-h), strict=True):
        real = (up.height - down.height) / (2 * h)
        # One step in a hundred crosses from one chord to the next.
        assert np.percentile(np.abs(by[0] - real), 98) < 1e-6 + 1e-5 * np.abs(real).max()
        assert np.abs(real).max() > 1e-3
