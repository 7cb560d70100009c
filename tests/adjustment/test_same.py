"""The bound of the fit's own model against cases that are known in closed form."""

import numpy as np
import pytest

from tests.adjustment import bound, freedom, same

PX, TURNS = 30.0, 8
STUD = bound.stud_of(PX, TURNS)
#: What the picture's geometry leaves free where the camera looks straight down at level parts.
LEVEL = {"tilt x", "tilt y", "incline", "corner"}


def least(known, name="pitch"):
    names, covariance = same.covariance(PX, TURNS, known=known)
    at = names.index(name)
    return float(np.sqrt(covariance[at, at]))


def test_rays_touch_what_they_pass():
    """A ray that touches is square to the surface's normal there, which leads to the axis."""
    along = np.array([0.6, 0.0, 0.8])
    axis = np.array([[0.0, 5.0, 3.0], [1.2, 5.0, 4.6]])
    centre = np.array([3.0, -20.0, 150.0])
    for side in (1.0, -1.0):
        at = same.contour(axis, along, np.array([2.0, 3.0]), centre, side)
        normal = at - axis
        assert np.linalg.norm(normal, axis=1) == pytest.approx([2.0, 3.0])
        assert np.sum(normal * (centre - at), axis=1) == pytest.approx(0.0, abs=1e-9)
        assert normal @ along == pytest.approx(0.0, abs=1e-12)


def test_with_all_else_known_it_is_the_noise_of_the_edges():
    """Place and pitch free: a straight line through the ridges' places."""
    found = least(set(same.UNKNOWN) - {"pitch", "along"})
    # Ridges one by one in place of a line of pixels: (n^2 - 1) for n^2. And the axis lies nearer
    # than the plate, on which a pitch has so many pixels.
    as_ridges = bound.known_bounds(PX, TURNS)["pitch_mm"] / np.sqrt(1 - TURNS**-2)
    nearer = 1 - STUD.shank_mm / 2 / bound.DISTANCE_MM
    assert found == pytest.approx(as_ridges * nearer, rel=0.01)


def test_a_pin_of_another_size_makes_all_of_that_size():
    """A scene and its larger copy make one picture: the pitch is wrong by the pin's share."""
    share = bound.U_PIN_MM / bound.PIN_MM
    assert least(LEVEL | {"focal"}) == pytest.approx(share * STUD.pitch_mm, rel=0.005)


def test_a_lens_goes_into_the_pitch_as_similar_triangles_say(monkeypatch):
    """Of a lens that is known better than the edges' own perspective tells it, to 0.2 %.

    With R the stud's radius and r the pin's, over a plate at D, what is seen of either stays: the
    pin at D - r, which is farther by the lens's share, and R and P over D - R. So P is wrong by
    (R - r) / D times that share: to a tenth, since the stud is inclined and rests on one end,
    0.1 mm higher, and both lie beside the picture's middle.
    """
    u_lens = 3e-4
    monkeypatch.setitem(same.UNKNOWN, "focal", u_lens)
    found = np.sqrt(least(LEVEL | {"pin"}) ** 2 - least(LEVEL | {"focal", "pin"}) ** 2)
    share = (STUD.shank_mm - bound.PIN_MM) / 2 / bound.DISTANCE_MM * u_lens
    assert found == pytest.approx(share * STUD.pitch_mm, rel=0.1)


def test_a_tilt_makes_what_lies_beside_the_pin_longer():
    """By the tilt times how far apart both lie, over the distance."""
    by_tilt = np.sqrt(least({"pin", "focal"}) ** 2 - least({"pin", "focal", "tilt x"}) ** 2)
    apart = STUD.major_mm / 2 + 1.0 + bound.PIN_MM / 2 + 4.0
    away = bound.DISTANCE_MM - (STUD.shank_mm + bound.PIN_MM) / 4
    expected = STUD.pitch_mm * np.radians(bound.U_TILT_DEG) * apart / away
    assert by_tilt == pytest.approx(expected, rel=0.1)


def test_the_inclinations_information_is_between_that_of_its_parts():
    u = np.degrees(same.mixture_u_rad())
    assert bound.LEVEL_DEG < u < bound.UNEVEN_DEG


def test_a_part_of_one_spread_has_that_spread(monkeypatch):
    monkeypatch.setattr(same, "UNEVEN_DEG", 0.35)
    assert np.degrees(same.mixture_u_rad()) == pytest.approx(0.35, rel=1e-3)


def test_bounds_of_a_thread():
    found, known = same.same_bounds(PX, TURNS), bound.known_bounds(PX, TURNS)
    for name, u in known.items():
        assert found[name] > u
    assert found["pitch_mm"] == pytest.approx(least(()), rel=1e-9)
    assert found["angle_deg"] == freedom.freed(PX, TURNS)["mirrored light"]["angle_deg"]
    # Of large pixels the crests' form is most of what is open, of small ones the scale.
    coarse = same.same_bounds(12.0, 4)
    scale = coarse["pitch_mm"] / bound.stud_of(12.0, 4).pitch_mm
    assert coarse["major_mm"] > 1.1 * scale * bound.stud_of(12.0, 4).major_mm
    scale = found["pitch_mm"] / STUD.pitch_mm
    assert found["major_mm"] == pytest.approx(scale * STUD.major_mm, rel=0.02)


def test_a_tapers_diameter_is_that_of_its_large_end():
    """Its taper stands in it by half the thread's length."""
    at_middle = same.same_bounds(PX, TURNS, "Whitworth 55")["major_mm"]
    at_end = same.same_bounds(PX, TURNS, "R 55, 1:16")["major_mm"]
    profile = bound.profile_of(bound.FORMS["R 55, 1:16"][0])
    names, covariance = same.covariance(PX, TURNS, profile)
    major, taper = names.index("major"), names.index("taper")
    half = STUD.thread_mm / 2
    more = half**2 * covariance[taper, taper] + 2 * half * covariance[major, taper]
    assert at_end**2 - at_middle**2 == pytest.approx(more, rel=1e-6)
