"""The axial section back from outlines that were made by brute force."""

import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pitchcam.camera.pinhole import Camera
from pitchcam.edges.flank_points import Slant, side_points
from pitchcam.edges.section import Winding, fit_section
from pitchcam.edges.unfold import unfold_flank
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.frame import axis_frame
from tests.thread.helicoid import flanks_of, iso_profile, place, seen_sides, whitworth_profile

DATA = Path(__file__).parents[1] / "data"


def measured(profile, pitch, starts=1, hand=1, **where):
    camera, frame = place(**where)
    seen = seen_sides(profile, pitch, hand * starts * pitch, frame.pinhole)
    flanks = flanks_of(frame, *seen, pitch)
    return flanks, camera, frame


PLACES = [
    {"length_mm": 150.0},
    {"length_mm": 250.0, "tilt_deg": (1.5, -2.0), "turn_deg": 20.0},
    {"length_mm": 200.0, "off_mm": 8.0, "turn_deg": 65.0},
    {"length_mm": 250.0, "off_mm": 14.0},
    {"length_mm": 180.0, "off_mm": -9.0, "tilt_deg": (-2.0, 1.0)},
]


@pytest.mark.parametrize("where", PLACES)
@pytest.mark.parametrize(
    "form, pitch, major, angle, starts",
    [
        (iso_profile, 1.5, 14.0, 60.0, 1),
        (iso_profile, 1.5, 16.0, 60.0, 2),
        (whitworth_profile, 25.4 / 14, 20.955, 55.0, 1),
    ],
)
def test_angle_pitch_and_diameter_of_an_exact_helicoid(form, pitch, major, angle, starts, where):
    profile = form(pitch, major)
    flanks, camera, frame = measured(profile, pitch, starts, **where)
    fit = fit_section(flanks, frame, pitch * 1.002, Winding(starts=starts)).fit
    assert fit.angle_deg == pytest.approx(angle, abs=0.01)
    assert abs(fit.pitch_mm) == pytest.approx(pitch, rel=1e-5)
    assert 2 * fit.pitch_radius_mm == pytest.approx(profile[2], abs=0.001)
    assert fit.taper == pytest.approx(0.0, abs=1e-4)


def _sections_apart(pinhole_of, lead_of):
    """Scatter of the unfolded points about the straight flanks, mm, for a wrong geometry."""
    pitch, where = 1.5, {"length_mm": 200.0, "off_mm": 8.0}
    flanks, camera, frame = measured(iso_profile(pitch, 14.0), pitch, **where)
    zy = frame.from_photo(flanks.xy)
    tan = np.full(len(zy), np.tan(np.radians(30)))
    z, r = unfold_flank(
        zy, pinhole_of(frame.pinhole), flanks.side, flanks.flank, lead_of(pitch), tan
    )
    gone = 14.0 / 2 + pitch * np.sqrt(3) / 16 - r  # below the sharp crest
    ridge = z - flanks.flank * gone * np.tan(np.radians(30))
    # The + side's crests lie on whole pitches, the - side's half a pitch further.
    return np.mod(ridge / pitch + np.where(flanks.side < 0, 0.5, 0.0) + 0.5, 1.0) - 0.5


def test_unfolded_points_lie_on_the_profile():
    assert np.abs(_sections_apart(lambda p: p, lambda lead: lead)).max() < 1e-3


def test_a_helix_of_the_other_hand_does_not_fit():
    assert np.abs(_sections_apart(lambda p: p, lambda lead: -lead)).max() > 0.02


def test_a_view_without_perspective_does_not_fit():
    far = _sections_apart(lambda p: p * np.array([1.0, 1.0, 1e4]), lambda lead: lead)
    assert np.abs(far).max() > 0.01


def test_a_wrong_camera_height_shows_in_the_pitch():
    pitch = 1.5
    flanks, camera, frame = measured(iso_profile(pitch, 14.0), pitch)
    low = replace(camera, distance_mm=camera.distance_mm * 0.98)
    axis = ImageAxis(point_px=(2045.5, 1471.5), direction=(1.0, 0.0))
    fit = fit_section(flanks, axis_frame(low, axis, 0.0, 9.0), pitch).fit
    assert abs(fit.pitch_mm) == pytest.approx(pitch * (196.0 - 9.0) / (200.0 - 9.0), rel=5e-4)


def test_a_fit_that_ends_at_another_pitch_is_none():
    """Points of no thread let it run off: a scene of combs had ended at a pitch of nothing."""
    flanks, _, frame = measured(iso_profile(1.5, 14.0), 1.5)
    assert abs(fit_section(flanks, frame, 0.8).fit.pitch_mm) == pytest.approx(1.5, rel=1e-3)
    for spacing_mm in (0.7, 3.1):
        with pytest.raises(np.linalg.LinAlgError, match="no thread of that spacing"):
            fit_section(flanks, frame, spacing_mm)


@pytest.mark.parametrize("name", ["cad-m14x1.5", "cad-m10x1"])
def test_silhouettes_of_a_cad_library_thread(name):
    """Outlines of bd_warehouse's IsoThread (PyPI), see data/cad_silhouette.py."""
    truth = json.loads((DATA / f"{name}.json").read_text())
    with (DATA / f"{name}.csv").open() as file:
        rows = np.array([[float(v) for v in r.values()] for r in csv.DictReader(file)])
    reach = truth["axis_distance_mm"]
    camera = Camera(
        f_px=truth["f_px"], u_f_px=1.0, centre_px=tuple(truth["centre_px"]), distance_mm=reach
    )
    dx, dy = truth["middle_mm"]
    middle = np.array(truth["centre_px"]) + np.array([dx, dy]) * truth["f_px"] / reach
    axis = ImageAxis(point_px=(float(middle[0]), float(middle[1])), direction=(1.0, 0.0))
    frame = axis_frame(camera, axis, 0.0, 0.0)
    pitch = truth["pitch_mm"]
    grid = np.arange(-3.5 * pitch, 3.5 * pitch, pitch / 300)
    sides = {}
    for column in (1, 2):
        zy = frame.from_photo(rows[:, [0, column]])
        order = np.argsort(zy[:, 0])
        sides[np.sign(zy[0, 1])] = np.interp(grid, zy[order, 0], np.abs(zy[order, 1]))
    flanks = flanks_of(frame, grid, sides[1.0], sides[-1.0], pitch)
    fit = fit_section(flanks, frame, pitch).fit
    assert abs(fit.pitch_mm) == pytest.approx(pitch, rel=3e-4)
    assert fit.angle_deg == pytest.approx(truth["angle_deg"], abs=0.4)
    assert 2 * fit.pitch_radius_mm == pytest.approx(truth["pitch_diameter_mm"], abs=0.005)


@pytest.mark.parametrize("where", PLACES[::2])
def test_a_left_hand_thread_reads_as_well_though_taken_for_a_right_hand_one(where):
    """The hand does not show in the outline; what that costs is far below any photo's noise."""
    flanks, camera, frame = measured(iso_profile(1.5, 14.0), 1.5, 1, -1, **where)
    fit = fit_section(flanks, frame, 1.5).fit
    assert fit.angle_deg == pytest.approx(60.0, abs=0.05)
    assert abs(fit.pitch_mm) == pytest.approx(1.5, rel=1e-4)


@pytest.mark.parametrize("incline", [0.0, 0.2, -0.3])
@pytest.mark.parametrize("where", [(2000.0, 1500.0), (700.0, 600.0), (3600.0, 2400.0)])
def test_an_inclined_axis_is_seen_on_its_line_in_the_photo(incline, where):
    """What rises leans outward in the picture; the axis that was seen is the one that is placed."""
    camera, _ = place(length_mm=200.0, tilt_deg=(1.5, -1.0))
    axis = ImageAxis(point_px=where, direction=(0.8, 0.6))
    frame = axis_frame(camera, axis, 0.0, 9.0, incline)
    along = np.array([[-20.0, 0.0, 0.0], [0.0, 0.0, 0.0], [20.0, 0.0, 0.0]])
    assert axis.to_axis(frame.to_photo(along))[:, 1] == pytest.approx(np.zeros(3), abs=1e-6)
    assert frame.along @ -np.array(camera.normal) == pytest.approx(np.sin(incline))
    assert np.linalg.norm(frame.along) == pytest.approx(1.0)


def test_grains_on_some_ridges_move_no_other_ridge_s_flank():
    """The crest is that of most ridges: else its rounding would pass for flank on all of them."""
    z = np.arange(0.0, 10.0, 0.01)
    at, r, _ = whitworth_profile(1.0, 10.0)
    phase = z - np.round(z)
    st = np.stack([z, np.interp(phase, at, r)], axis=1)
    crests = np.arange(1.0, 10.0)
    clean = side_points(st, crests, 1.0, 1.0, Slant())
    grains = (np.abs(phase) < 0.1) & np.isin(np.round(z), (2, 5, 8))
    higher = st + np.where(grains, 0.2, 0.0)[:, None] * [0, 1]
    dirty = side_points(higher, crests, 1.0, 1.0, Slant())
    assert clean is not None and dirty is not None
    assert set(dirty[0]) == set(clean[0])
    assert np.abs(phase[clean[0]]).min() > 0.1


def test_where_a_ridge_is_narrower_than_it_was_moved_no_flank_is_taken():
    """Ridges of 60 degrees, 1/8 and 1/4 of the pitch wide at crest and root."""
    z = np.arange(0.0, 10.0, 0.002)
    at, r, _ = iso_profile(1.0, 10.0)
    st = np.stack([z, np.interp(z - np.round(z), at, r)], axis=1)
    found = side_points(st, np.arange(1.0, 10.0), 1.0, 1.0, Slant(swept_px=0.2, blur_px=0.03))
    assert found is not None
    off = np.abs(z - np.round(z))[found[0]]
    # So far from a ridge's middle it is as wide as it was moved, and blurred, to both sides.
    assert off.min() == pytest.approx(0.23, abs=0.02)
    assert off.max() == pytest.approx(0.5 - 0.23, abs=0.02)


@pytest.mark.parametrize(
    ("blur", "top", "foot"), [(0.01, 0.091, 0.091), (0.04, 0.142, 0.142), (0.07, 0.15, 0.193)]
)
def test_a_flank_is_straight_beyond_its_rounding_and_blur(blur, top, foot):
    """Whitworth's rounding ends 0.0738 from crest and root (BS 84: h/6 of 0.96 P, 0.1373 P round).

    1.7 blurs beyond it the flank counts; at the crest more does of a blur that leaves little of it.
    """
    z = np.arange(0.0, 10.0, 0.001)
    at, r, _ = whitworth_profile(1.0, 10.0)
    st = np.stack([z, np.interp(z - np.round(z), at, r)], axis=1)
    found = side_points(st, np.arange(1.0, 10.0), 1.0, 1.0, Slant(blur_px=blur))
    assert found is not None
    chosen = st[found[0], 1]
    assert r.max() - chosen.max() == pytest.approx(top, abs=0.003)
    assert chosen.min() - r.min() == pytest.approx(foot, abs=0.003)
    # All on one line: 27.5 degrees to the axis's normal.
    off = np.abs(z - np.round(z))[found[0]]
    assert np.ptp(off + np.tan(np.radians(27.5)) * chosen) < 1e-3
