"""The sample maker's threads against the standards' dimensions, and parts at rest."""

from __future__ import annotations

import numpy as np
import pytest

from samples import place
from samples.catalogue import all_shots
from samples.forms import BA_47, ISO_60, NPT_60, WHITWORTH_55
from samples.scene import Camera
from samples.shots import npt, r_taper, sender, thread
from samples.solids import THETA, Flipped, Hexagon, Part, Thread, cylinder


def axial(cut: Thread, theta: int = 0, points: int = 40_001) -> tuple[np.ndarray, np.ndarray]:
    """Radius along the axis in one axial half-plane, from the mesh's own rings."""
    z, r = cut.rings()
    order = np.argsort(z[:, theta], kind="stable")
    s = np.linspace(0, cut.length, points)
    return s, np.interp(s, z[order, theta], r[order, theta])


def flank_angles(s: np.ndarray, r: np.ndarray) -> np.ndarray:
    """Angle of the profile to the normal of the axis, degrees, where it is near the mid height."""
    mid = (r.max() + r.min()) / 2
    near = np.abs(r - mid) < 0.15 * (r.max() - r.min())
    slope = np.gradient(r, s)
    return np.degrees(np.arctan(1 / np.abs(slope[near])))


def test_iso_68_1_basic_profile() -> None:
    """ISO 68-1: d2 = d - 0.649519 P, crest flat P/8; root H/6: d3 = d - 1.226869 P."""
    cut = thread(ISO_60, 1.5, 14.0, 12.0, run_out=0, chamfer=0)
    s, r = axial(cut)
    inner = (s > 1.5) & (s < 10.5)
    s, r = s[inner], r[inner]
    assert 2 * r.max() == pytest.approx(14.0, abs=1e-6)
    assert 2 * cut.pitch_radius == pytest.approx(14 - 0.649519 * 1.5, abs=1e-5)
    assert 2 * r.min() == pytest.approx(14 - 1.226869 * 1.5, abs=1e-5)
    assert np.mean(r > r.max() - 1e-9) * 9 / 6 == pytest.approx(1.5 / 8, abs=0.002)
    ridge = np.mean(r > cut.pitch_radius)
    assert ridge == pytest.approx(0.5, abs=0.002)
    assert np.median(flank_angles(s, r)) == pytest.approx(30.0, abs=0.01)


@pytest.mark.parametrize(
    ("form", "depth", "angle", "source"),
    [
        (WHITWORTH_55, 0.640327, 55.0, "BS 84: h = 0.640327 P"),
        (NPT_60, 0.8, 60.0, "ASME B1.20.1: h = 0.800 P"),
        (BA_47, 0.6, 47.5, "BS 93: h = 0.6 P"),
    ],
)
def test_depth_and_angle_of_the_other_forms(form, depth, angle, source) -> None:
    cut = thread(form, 1.0, 10.0, 8.0, run_out=0, chamfer=0)
    s, r = axial(cut)
    inner = (s > 1) & (s < 7)
    assert r[inner].max() - r[inner].min() == pytest.approx(depth, abs=2e-5), source
    assert 2 * np.median(flank_angles(s[inner], r[inner])) == pytest.approx(angle, abs=0.02)
    assert 2 * cut.pitch_radius == pytest.approx(10 - depth, abs=2e-5)


def test_the_helix_is_right_handed_with_the_lead_of_its_starts() -> None:
    for starts in (1, 2):
        cut = thread(ISO_60, 1.5, 16.0, 12.0, starts=starts, run_out=0, chamfer=0)
        eighth = len(THETA) // 8
        s, at_0 = axial(cut, 0)
        _, turned = axial(cut, eighth)
        shift = 1.5 * starts / 8
        inner = (s > 3) & (s < 9)
        moved = np.interp(s[inner] + shift, s, turned)
        assert np.abs(moved - at_0[inner]).max() < 0.01
        back = np.interp(s[inner] - shift, s, turned)
        assert np.abs(back - at_0[inner]).max() > 0.2


def test_pipe_tapers_at_the_standards_stations() -> None:
    """ASME B1.20.1: 1/2-14 NPT E0 = 0.75843 in; ISO 7-1: R 1/2 is 20.955 at 8.2 mm."""
    cut = npt(14, 0.840 * 25.4, 14.0)
    e0 = 2 * cut.pitch_radius - cut.thread_length / 16
    assert e0 / 25.4 == pytest.approx(0.75843, abs=1e-5)
    rc = r_taper(14, 20.955, 8.2, 15.0)
    assert rc.major - (rc.thread_length - 8.2) / 16 == pytest.approx(20.955)
    s, r = axial(rc)
    crests = [r[(s > a) & (s < a + rc.pitch)].max() for a in (3.0, 3.0 + 4 * rc.pitch)]
    assert 2 * (crests[1] - crests[0]) / (4 * rc.pitch) == pytest.approx(1 / 16, abs=0.0005)


def test_mesh_is_closed_and_faces_outward() -> None:
    part = Part(
        segments=(
            cylinder(5, 6),
            thread(ISO_60, 1.25, 11.85, 6.0),
            Hexagon(length=5, across_flats=17),
        )
    )
    xyz, faces = part.mesh()
    a, b, c = (xyz[faces[:, i]] for i in range(3))
    volume = float(np.sum(np.einsum("ij,ij->i", a, np.cross(b, c))) / 6)
    z, r = part.rings()
    turned = np.trapezoid((r[:, :-1] ** 2).mean(axis=1) * np.pi, z[:, :-1].mean(axis=1))
    assert volume == pytest.approx(turned, rel=0.003)
    assert volume > 0


def test_a_flipped_thread_keeps_its_hand() -> None:
    cut = thread(ISO_60, 2.0, 12.0, 8.0, run_out=0, chamfer=0)
    z, r = Flipped(cut).rings()
    straight_z, straight_r = cut.rings()
    turned = straight_z[::-1, ::-1]
    assert np.allclose(z, 8.0 - turned) and np.allclose(r, straight_r[::-1, ::-1])
    # Half a turn about x: (x, y, z) -> (x, -y, L - z), which no mirror is part of.
    j = 100
    x, y = r[5, j] * np.cos(THETA[j]), r[5, j] * np.sin(THETA[j])
    k = len(THETA) - 1 - j
    i = len(straight_r) - 6
    assert x == pytest.approx(straight_r[i, k] * np.cos(THETA[k]))
    assert y == pytest.approx(-straight_r[i, k] * np.sin(THETA[k]))


def test_a_part_rests_on_its_hexagon_or_tips() -> None:
    balanced = sender("x", thread(ISO_60, 1.5, 13.8, 12.0), flats=19, head=(15, 16))
    pose = place.rest(balanced.part, at=(0, 0), heading_deg=30)
    assert pose.incline_deg == pytest.approx(0, abs=1e-9)
    assert pose.axis_height(6.0) == pytest.approx(9.5)
    heavy = sender("x", thread(ISO_60, 1.5, 13.8, 12.0), flats=19, head=(15, 80))
    tipped = place.rest(heavy.part, at=(0, 0), heading_deg=30)
    z = tipped.world(heavy.part.mesh()[0])[:, 2]
    assert tipped.incline_deg < -1 and z.min() == pytest.approx(0, abs=1e-9)
    assert np.linalg.det(tipped.rotation) == pytest.approx(1)


def test_camera_looks_where_it_is_told() -> None:
    camera = Camera(f35=26, height=200, aim=(3, -4), tilt_deg=(2, -3), centre_px=(8, 4))
    middle = np.array([4031 / 2 + 8, 3023 / 2 + 4])
    assert camera.project(np.array([[3.0, -4.0, 0.0]]))[0] == pytest.approx(middle)
    right, up = camera.project(np.array([[13.0, -4, 0], [3, 6, 0]])) - middle
    assert right[0] > 100 and up[1] < -100
    assert camera.position[2] == pytest.approx(200)


def test_the_catalogue_tells_the_truth_about_itself() -> None:
    for name, shot in all_shots().items():
        truth = shot.truth()
        assert truth["file"] == f"{name}.jpg"
        assert (truth["quality"] == "refuse") <= ("expected" in truth)
        for row in truth["threads"]:
            assert row["turns"] == pytest.approx(row["thread_length_mm"] / row["pitch_mm"])
            assert 0 < row["depth_mm"] < row["pitch_mm"]
            assert row["pitch_diameter_mm"] < row["major_mm"]
