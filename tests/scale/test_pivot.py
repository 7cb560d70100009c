"""A reference whose depth hangs on a tilt or a distortion that is open: both are one unknown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pitchcam.camera.pinhole import Camera
from pitchcam.scale import jaws as module
from pitchcam.scale.disc import disc_reference
from pitchcam.scale.jaws import jaw_references
from pitchcam.scale.reference import Reference
from tests.objects.drawing import View
from tests.scale import looking
from tests.scale.test_disc import RADIUS, disc
from tests.scale.test_jaws import jaws

VIEW = View(size=(1600, 1200), f_px=3000.0, turn=(0.0, 0.02, 0.0))


def believed(lean: tuple[float, float], u_rad: float) -> Camera:
    """A camera that takes the plate's normal for off by a lean."""
    flat = looking.camera(VIEW, tilt=False)
    x, y = np.array(VIEW.normal)[:2] + lean
    return flat.tilted(np.array([x, y, np.sqrt(1 - x * x - y * y)]), u_rad)


def depth(found: Reference) -> float:
    """How far the plate is on the line of sight through the reference's middle."""
    return float(found.camera.on_plane(found.where_px, 0.0)[2])


@pytest.fixture(scope="module")
def opened():
    return looking.look(jaws(VIEW, 8.0, 3.4, at=(20, 0), shine=0.6), VIEW, gain=0.0).shapes


@pytest.fixture(scope="module")
def round_one():
    return looking.look(disc(VIEW, (30.0, 10.0), 1.9, shine=0.3), VIEW, gain=0.0).shapes[0]


def test_jaws_turn_about_where_their_opening_is_known(opened) -> None:
    """Their wall is as wide if they are thicker and lean less: depth and lean are one unknown."""
    [open_] = jaw_references(opened, believed((0.0, 0.0), 0.025), 8.0)
    e = 0.01
    [more], [less] = (jaw_references(opened, believed((s * e, 0.0), 1e-5), 8.0) for s in (1, -1))
    seen = np.log(depth(more) / depth(less)) / (2 * e)
    assert abs(seen) > 0.15
    # What a lean that is known makes of the depth is what one that is open leaves open of it.
    assert open_.depth_per_lean[0] == pytest.approx(seen, rel=0.25)
    assert open_.depth_per_lean[1] == pytest.approx(0.0, abs=0.02)
    assert open_.u_scale < 2 * more.u_scale
    assert np.linalg.norm(open_.pivot_mm - open_.place_mm) == pytest.approx(
        abs(open_.depth_per_lean[0]) * depth(open_), rel=0.05
    )


@pytest.mark.parametrize("least", [0.0, 1e9])
def test_the_depth_goes_with_the_lean_that_is_kept(opened, monkeypatch, least: float) -> None:
    """What the walls tell of a lean may be too little to be kept; the depth is then not its own."""
    monkeypatch.setattr(module, "LEAST_TOLD", least)
    [open_] = jaw_references(opened, believed((0.012, 0.0), 0.025), 8.0)
    off = np.array(open_.camera.normal[:2]) - VIEW.normal[:2]
    [told] = jaw_references(opened, believed((off[0], off[1]), 1e-5), 8.0)
    assert depth(open_) == pytest.approx(depth(told), rel=0.0012)


def test_what_goes_with_the_lean_is_not_told_of_the_scale_again() -> None:
    fit = module._Fit(q=np.zeros(8), u_depth=0.010, u_lean=0.02, depth_per_lean=-0.4, misfit=1.0)
    assert fit.u_given == pytest.approx(0.006)


@pytest.mark.parametrize("lean", [(0.01, 0.0), (0.0, 0.01), (-0.006, 0.008)])
def test_the_plate_turns_about_the_pivot(lean) -> None:
    """A depth that goes with the lean is that of a plane which turns about another point."""
    camera = looking.camera(VIEW).over_plate(VIEW.plate_mm)
    found = Reference(
        source="jaws",
        camera=camera,
        u_scale=0.001,
        height_mm=3.0,
        u_height_mm=0.0,
        where_px=np.array([1100.0, 400.0]),
        labels=(1,),
        outline_px=np.zeros((0, 2)),
        depth_per_lean=(0.3, -0.2),
    )
    pivot, here = found.pivot_mm, found.place_mm
    normal = np.array(camera.normal)
    assert normal @ pivot == pytest.approx(normal @ here)
    turned = normal + np.array([*lean, 0.0])
    farther = (turned @ pivot) / (turned @ here) - 1
    assert farther == pytest.approx(float(np.dot(found.depth_per_lean, lean)), rel=0.03, abs=1e-5)
    plain = replace(found, depth_per_lean=(0.0, 0.0))
    assert plain.pivot_mm == pytest.approx(here)


def test_a_disc_beside_the_middle_weighs_a_tilt_against_the_lens(round_one) -> None:
    """A lens that displaces by as much draws the oval of a lean: what it tells goes with it."""
    corner = 0.004
    camera = believed((0.0, 0.0), 0.02)
    free = disc_reference(round_one, camera.bent(0.0, 0.005), 2 * RADIUS, 1.9)
    bent, not_bent = (
        disc_reference(round_one, camera.bent(k, 1e-6), 2 * RADIUS, 1.9) for k in (corner, -corner)
    )
    leans = np.array(bent.camera.normal[:2]) - not_bent.camera.normal[:2]
    assert np.array(free.lean_per_corner) == pytest.approx(leans / (2 * corner), rel=0.3, abs=0.15)
    assert np.hypot(*free.lean_per_corner) > 0.5
    # Drawn straight: the distortion that goes with its lean is little, and kept with it.
    assert free.camera.u_corner < 0.005
    assert abs(free.camera.corner) < 1.5 * free.camera.u_corner


def test_a_disc_tells_the_lens_where_the_tilt_is_known(round_one) -> None:
    """The camera believes that its picture is displaced by 0.6 % at the corner; it is not."""
    wrong = believed((0.0, 0.0), 1e-5).bent(0.006, 0.006)
    found = disc_reference(round_one, wrong, 2 * RADIUS, 1.9)
    assert abs(found.camera.corner) < 0.5 * 0.006
    assert abs(found.camera.corner) < 2 * found.camera.u_corner < 0.009
