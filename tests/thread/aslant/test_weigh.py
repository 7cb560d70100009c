"""The form of threads whose flanks are hidden, from outlines by brute force."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from pitchcam.edges.rims import UNLEARNT
from pitchcam.thread.aslant import weigh
from pitchcam.thread.aslant.weigh import weigh_forms
from tests.thread.helicoid import iso_profile, whitworth_profile
from tests.thread.test_crest_lines import seen

PITCH, MAJOR, OFF_MM = 1.5, 14.0, 48.0
NAMES = ("flat60", "round55", "round47.5")
BLUR_PX = 1.2
#: The level at which what a part mirrors leaves the outline of LIT_LEVEL.
LEVEL = norm.cdf(norm.ppf(0.85) - weigh.INSIDE_BLURS)
BLURRED = replace(UNLEARNT, spread=replace(UNLEARNT.spread, blur_px=BLUR_PX))


def hidden(profile, noise_px=0.05, lump_px=0.0):
    """A thread seen at 14 degrees: no flank leaves its crest's ellipse.

    Its outline is that of the blurred light, by convolution over a fine grid, at the level where a
    part's is found whose edge mirrors. A lump may lie on two ridges of the upper side.
    """
    shape = seen(profile(PITCH, MAJOR), PITCH, OFF_MM)
    zy = shape.sight.to_frame(shape.sight.outline_px)
    blur = BLUR_PX * shape.mm_per_px
    out = []
    for side in (1.0, -1.0):
        z, y = zy[np.sign(zy[:, 1]) == side].T
        order = np.argsort(z)
        z, y = z[order], side * y[order]
        grid = np.arange(z[0], z[-1], blur / 12)
        near = np.arange(-48, 49)
        kernel = np.exp(-0.5 * (near / 12) ** 2) / np.exp(-0.5 * (near / 12) ** 2).sum()
        edge = np.interp(grid, z, y)
        heights = edge[np.clip(np.arange(len(grid))[:, None] + near, 0, len(grid) - 1)]
        low, high = heights.min(axis=1) - 3 * blur, heights.max(axis=1) + 3 * blur
        for _ in range(30):
            middle = (low + high) / 2
            above = norm.cdf((middle[:, None] - heights) / blur) @ kernel > LEVEL
            low, high = np.where(above, low, middle), np.where(above, middle, high)
        out.append(np.stack([grid, side * middle, np.zeros_like(grid)], axis=1)[::4])
    points = np.concatenate([shape.sight.to_photo(side) for side in (out[0], out[1][::-1])])
    points = points + noise_px * np.random.default_rng(1).normal(size=points.shape)
    upper = points[:, 1] > np.median(points[:, 1])
    near = np.abs(points[:, 0] - np.median(points[:, 0])) < 70.0
    points[upper & near, 1] += lump_px
    return replace(shape, sight=replace(shape.sight, rims=BLURRED, outline_px=points))


@pytest.fixture(scope="module")
def shapes():
    return {"flat60": hidden(iso_profile), "round55": hidden(whitworth_profile)}


@pytest.mark.parametrize("name", ["flat60", "round55"])
def test_hidden_flanks_tell_their_form(shapes, name):
    shape = shapes[name]
    assert shape.slant > 0.24 and shape.half_angles_deg is None
    logs = weigh_forms(shape, np.radians(0.5), NAMES)
    assert logs[name] == 0.0
    assert max(log for other, log in logs.items() if other != name) < -2.0


def test_a_left_handed_thread_tells_no_form(shapes):
    """Its mirror image is drawn: 3/8-16 BSW at 10 degrees had been named 3/8-16 UNC at 0.98."""
    shape = shapes["round55"]
    axis_y = shape.axis.point_px[1]

    def mirrored(xy):
        return np.stack([xy[:, 0], 2 * axis_y - xy[:, 1]], axis=1)

    left = replace(
        shape,
        crests=replace(shape.crests, xy=mirrored(shape.crests.xy), side=-shape.crests.side),
        sight=replace(shape.sight, outline_px=mirrored(shape.sight.outline_px)),
    )
    with pytest.raises(np.linalg.LinAlgError, match="of no form"):
        weigh_forms(left, np.radians(0.5), NAMES)


def test_what_is_alike_on_every_ridge_counts_once(shapes, monkeypatch):
    """Were it noise, each ridge would tell anew: the evidence would be several times as much."""
    with_it = weigh_forms(shapes["round55"], np.radians(0.5), NAMES)["flat60"]
    monkeypatch.setattr(weigh, "ALIKE_BLURS", 0.0)
    without = weigh_forms(shapes["round55"], np.radians(0.5), NAMES)["flat60"]
    assert without < 2 * with_it


def test_an_axis_that_may_slope_tells_less(shapes):
    known, unknown = (
        weigh_forms(shapes["round55"], np.radians(u), NAMES)["round47.5"] for u in (0.1, 3.0)
    )
    assert known < unknown - 0.3


def test_a_lens_that_may_be_another_tells_less(shapes):
    shape = shapes["round55"]
    camera = replace(shape.camera, u_f_px=0.2 * shape.camera.f_px)
    frame = replace(shape.frame, camera=camera)
    doubtful = replace(shape, sight=replace(shape.sight, frame=frame))
    both = (weigh_forms(s, np.radians(0.1), NAMES)["round47.5"] for s in (shape, doubtful))
    known, unknown = both
    assert known < unknown - 0.3


def test_a_ridge_that_lies_off_is_left_out_whole(monkeypatch):
    """By 0.4 pixels, as a run-out's end does: no single point is far."""
    spoiled = hidden(whitworth_profile, lump_px=0.4)
    weights, plain = [], weigh._fitted

    def fitted(points, ridge, start, noise, weight):
        weights.append(weight)
        return plain(points, ridge, start, noise, weight)

    monkeypatch.setattr(weigh, "_fitted", fitted)
    assert weigh_forms(spoiled, np.radians(0.5), NAMES[:2])["flat60"] < -5.0
    points, _ = weigh._seen(spoiled, 0.01)
    middle = np.abs(points.zy[:, 0]) < PITCH / 2
    left_out = [np.mean(weights[-1][middle & (points.side == s)] == 0) for s in (1.0, -1.0)]
    assert sorted(left_out) == pytest.approx([0.0, 1.0], abs=0.1)


def test_the_slopes_of_a_fit_are_its_differences(shapes):
    seen_points, start = weigh._seen(shapes["round55"], 0.01)
    ridge = weigh.RIDGES["round55"]
    q = weigh._fitted(seen_points, ridge, start, 0.3, np.ones(len(seen_points.zy))).q
    rest, slopes = weigh._rest(seen_points, ridge, q)
    for place in range(weigh.COUNT):
        step = np.zeros(weigh.COUNT)
        step[place] = 1e-5
        up, down = (weigh._distances(seen_points, ridge, q + s)[0] for s in (step, -step))
        real = (up - down) / 2e-5
        size = max(float(np.median(np.abs(real))), 1e-3)
        # A crest's corner moves along an outline in steps of its points.
        assert np.median(np.abs(slopes[:, place] - real)) < 0.15 * size + 0.01, place


def test_a_side_without_crests_says_nothing(shapes):
    shape = shapes["round55"]
    crests = shape.crests
    upper = replace(
        crests, **{k: getattr(crests, k)[crests.side > 0] for k in ("xy", "side", "number")}
    )
    with pytest.raises(np.linalg.LinAlgError, match="no crests"):
        weigh_forms(replace(shape, crests=upper), 0.01, NAMES)


def test_a_side_without_outline_along_its_crests_determines_no_form(shapes):
    shape = shapes["round55"]
    sight = shape.sight
    above = np.sign(sight.to_frame(sight.outline_px)[:, 1]) > 0
    half = replace(shape, sight=replace(sight, outline_px=sight.outline_px[above]))
    with pytest.raises(np.linalg.LinAlgError, match="no outline along its crests"):
        weigh_forms(half, np.radians(0.5), NAMES[:1])
