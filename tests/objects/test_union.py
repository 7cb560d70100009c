"""The cover of polygons against areas and widths that are known, and against a convex shape's."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from tests.drawn_photo import Shot, Stud, stud_shadow
from tests.objects.drawing import cover, hull, pin
from tests.objects.union import union_cover


def box(middle, angle, length, width):
    d = np.array([np.cos(angle), np.sin(angle)])
    n = np.array([-d[1], d[0]])
    corners = ((-1, -1), (-1, 1), (1, 1), (1, -1))
    return np.array([middle + s * d * length / 2 + t * n * width / 2 for s, t in corners])


def test_what_is_covered_is_as_large_as_what_covers_it():
    rng = np.random.default_rng(1)
    for _ in range(12):
        width, angle = rng.uniform(2, 30), rng.uniform(0, np.pi)
        one = box(rng.uniform(40, 41, 2), angle, 50.0, width)
        other = box(one.mean(axis=0) + [0.0, 0.3], angle + 0.2, 20.0, width / 2)
        inside = box(one.mean(axis=0), angle, 10.0, width / 3)
        found = union_cover((90, 80), [one, one[::-1], inside])
        assert found.sum() == pytest.approx(50.0 * width, abs=0.04)
        # The rest of the other counts once, and so does what both have.
        apart = [union_cover((90, 80), [p]) for p in (one, other)]
        both = union_cover((90, 80), [one, other])
        assert both.sum() < apart[0].sum() + apart[1].sum()
        assert (both >= np.maximum(*apart) - 1e-9).all() and both.max() <= 1 + 1e-9


def test_what_lies_beyond_the_frame_is_not_seen():
    large = box(np.array([5.0, 5.0]), 0.0, 100.0, 100.0)
    assert union_cover((8, 6), [large]) == pytest.approx(np.ones((6, 8)))
    half = union_cover((8, 6), [box(np.array([-0.5 + 2.25, 2.5]), 0.0, 4.5, 100.0)])
    assert half[3] == pytest.approx([1, 1, 1, 1, 0.5, 0, 0, 0])


def test_it_is_that_of_a_convex_shape():
    seen = hull(pin((40.0, 30.0), 0.4, 50.0, 12.3)[:, :2])
    soft = gaussian_filter(union_cover((90, 70), [seen]), 0.8)
    # Pixels average over their width, as a blur of 1 / sqrt(12) does.
    there = cover((90, 70), seen, np.hypot(0.8, 12**-0.5))
    # Far from the corners, which that takes for sharp after the blur.
    assert soft[:, 30:50] == pytest.approx(there[:, 30:50], abs=0.01)


def test_a_drawn_stud_is_as_wide_as_it_is_said_to_be():
    """Columns of its shadow beside the diameter of its shank, by similar triangles."""
    stud = Stud(thread_mm=6.0)
    shot = Shot(heading_rad=0.1)
    shade = stud_shadow(stud, shot, (0.0, 0.0))
    place = round(shot.f_px * (stud.thread_mm / 2 + 4.0) / shot.distance_mm)
    columns = shade.shape[1] // 2 + place + np.arange(-20, 21)
    wide = shade[:, columns].sum(axis=0).mean() * np.cos(shot.heading_rad)
    away = shot.distance_mm - stud.shank_mm / 2
    # The contour of a round part lies nearer to the camera than its axis.
    true = shot.f_px * stud.shank_mm / np.sqrt(away**2 - (stud.shank_mm / 2) ** 2)
    assert wide == pytest.approx(true, abs=0.03)


def test_a_drawn_thread_is_right_handed():
    """Its picture's y points down, so turns from there to the camera go against the screw's."""
    stud = Stud()
    quarter = np.array([-stud.pitch_mm / 4, stud.pitch_mm / 4])
    assert stud.radius(quarter, np.pi / 2) == pytest.approx([stud.major_mm / 2, stud.minor_mm / 2])
