"""What a thread's crests tell of its axis's angle, from exact outlines in perspective."""

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.section import fit_section
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.frame import axis_frame
from pitchcam.thread import measure
from pitchcam.thread.measure import remeasure
from pitchcam.thread.pose.drift import U_DRIFT_DEG, _by_drift, again, thread_sight
from pitchcam.thread.pose.records import GRID
from tests.thread.drawn_shape import bare_shape
from tests.thread.helicoid import flanks_of, iso_profile, seen_sides

PITCH, MAJOR, HEIGHT = 1.5, 14.0, 9.0
CAMERA = Camera(f_px=3005.0, u_f_px=45.0, centre_px=(2015.5, 1511.5), distance_mm=200.0)
AXIS = ImageAxis(point_px=(2045.5, 1471.5), direction=(float(np.cos(0.4)), float(np.sin(0.4))))


def level_shape(incline_deg, noise_px=0.0, taper=0.0):
    """Return a thread that lies inclined, measured as if it were level."""
    frame = axis_frame(CAMERA, AXIS, 60.0, HEIGHT, np.radians(incline_deg))
    z, upper, lower = seen_sides(iso_profile(PITCH, MAJOR), PITCH, PITCH, frame.pinhole, turns=10)
    seen = z, upper + taper / 2 * z, lower + taper / 2 * z
    flanks = flanks_of(frame, *seen, PITCH)
    rng = np.random.default_rng(5)
    flanks = replace(flanks, xy=flanks.xy + rng.normal(0, noise_px, flanks.xy.shape))
    level = axis_frame(CAMERA, AXIS, 60.0, HEIGHT)
    section = fit_section(flanks, level, PITCH)
    return bare_shape(flanks, section, level, AXIS)


def told(shape):
    weight = np.exp(thread_sight(shape, CAMERA, HEIGHT).at(np.ones(1))[0])
    weight /= weight.sum()
    return float(GRID[np.argmax(weight)])


@pytest.mark.parametrize("incline", [-14.0, -8.0, -4.0, 0.0, 4.0, 8.0, 14.0])
def test_an_exact_thread_tells_its_angle_and_pitch(incline):
    shape = level_shape(incline)
    # Far aslant the ridges begin to hide their flanks.
    assert told(shape) == pytest.approx(incline, abs=0.3 if abs(incline) < 10 else 2.0)
    in_pose = again(shape, CAMERA, HEIGHT, np.radians(incline))
    assert in_pose.pitch_mm == pytest.approx(PITCH, rel=2e-4)
    if abs(incline) >= 8:
        assert abs(shape.pitch_mm / PITCH - 1) > 5e-3


@pytest.mark.parametrize("incline", [-9.0, 0.0, 9.0])
def test_a_taper_is_not_taken_for_an_angle(incline):
    """1:16 looks as 45 degrees would; the crests stay even and say that it is none."""
    assert told(level_shape(incline, taper=1 / 16)) == pytest.approx(incline, abs=1.0)


def test_noise_widens_what_the_crests_tell():
    def spread(noise_px):
        weight = np.exp(thread_sight(level_shape(6.0, noise_px), CAMERA, HEIGHT).at(np.ones(1))[0])
        weight /= weight.sum()
        mean = float(weight @ GRID)
        return float(np.sqrt(weight @ (GRID - mean) ** 2))

    assert spread(0.8) > 1.2 * spread(0.02)


def test_a_drift_hidden_in_noise_is_known_less():
    """The fit's scatter over its curvature: half the squares' fall at one degree is a variance."""
    shape, angles = level_shape(0.0), np.array([-2.5, 0.0, 2.5])

    def falls_by(noise_mm2):
        told = _by_drift(shape, CAMERA, angles, noise_mm2 + 1e-6 * angles**2)
        return float(told.max() - told[np.argmin(np.abs(GRID - 1.0))])

    # Quiet, one degree is some multiples of what is known at best.
    assert falls_by(1e-10) > 0.9 * min(0.5 / U_DRIFT_DEG**2, 2.0)
    assert falls_by(1e-3) < 0.5 * falls_by(1e-10)


@pytest.mark.parametrize("longer", [0.7, 1.4])
def test_the_taper_at_another_focal_length_is_that_of_measuring_with_it(longer):
    # With the noise of a photo's edges: of exact ones, a fit in a wrong pose leaves out some.
    shape = level_shape(2.0, noise_px=0.1)
    sight = thread_sight(shape, CAMERA, HEIGHT)
    other = CAMERA.refocused(longer, HEIGHT)
    for deg in (-3.0, 0.0, 3.0):
        seen = again(shape, other, HEIGHT, np.radians(deg)).taper
        told = sight.taper + sight.unfolded * (1 - 1 / longer**2) + sight.per_deg * deg / longer
        assert told == pytest.approx(seen, abs=8e-4)
    assert abs(sight.unfolded) > 1e-3


def test_a_pose_that_leaves_no_point_sound_is_judged_by_those_of_the_threads_own(monkeypatch):
    """Few turns, tried far from their pose: it fits badly, which tells, and is no failure."""
    shape = level_shape(0.0)
    tried = remeasure(shape, CAMERA, HEIGHT, float(np.radians(9.0)))

    def singular(*_args, **_kwargs):
        raise np.linalg.LinAlgError("Singular matrix")

    monkeypatch.setattr(measure, "fit_section", singular)
    own = remeasure(shape, CAMERA, HEIGHT, float(np.radians(9.0)))
    assert own.pitch_mm == pytest.approx(tried.pitch_mm, rel=0.01)
    assert own.section.fit.rms_mm > 3 * shape.section.fit.rms_mm
    assert told(shape) == pytest.approx(0.0, abs=0.3)
