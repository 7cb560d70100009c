"""What the oracle puts in is what the rig drew; its table counts threads under every column."""

from __future__ import annotations

import json

import numpy as np
import pytest

from pitchcam.camera.focal import settled
from pitchcam.camera.pinhole import Camera
from pitchcam.pipeline import part_threads, scene
from pitchcam.scale.reference import Reference
from pitchcam.thread.pose import rest
from pitchcam.thread.pose.records import GRID
from tests.fresh.draw import fresh
from tests.fresh.oracle import COLUMNS, KNOWN, names, table, true_camera
from tests.fresh.truth import truth


@pytest.fixture(scope="module")
def drawn():
    photo = fresh("fall", 5, 1)
    return photo, json.loads(json.dumps(truth(photo)))


def test_the_true_camera_sees_what_the_rig_drew(drawn) -> None:
    """Points of the part, projected by the rig and its lens, and by the camera of the truth."""
    photo, told = drawn
    world = photo.laid.thing.vertices[::50]
    seen = photo.phone.move(photo.camera.project(world))
    camera = true_camera(told)
    inside = (world - photo.camera.position) @ photo.camera.axes().T
    assert camera.project(inside) == pytest.approx(seen, abs=0.2)
    # The plate lies below the pinhole: at its distance along the normal.
    heights = camera.distance_mm - inside @ np.array(camera.normal)
    assert heights == pytest.approx(world[:, 2], abs=1e-6)


def test_every_unknown_is_put_in_and_taken_out_again(drawn) -> None:
    _, told = drawn
    before = (scene._explained, scene.told_by_window, scene._undistorted, scene.find_reference)
    other = (part_threads.lay_either, rest.prior)
    camera = true_camera(told)
    plain = Camera(f_px=3000.0, u_f_px=90.0, centre_px=camera.centre_px)
    with KNOWN["focal length"](told):
        assert settled(scene._explained(None, None))[0] == pytest.approx(camera.f_px)
    with KNOWN["tilt"](told):
        assert scene.told_by_window(None, plain).normal == pytest.approx(camera.normal)
    with KNOWN["distortion"](told):
        bent = scene._undistorted(None, [], plain)
        assert bent.corner == pytest.approx(told["render"]["camera"]["k1"])
    with KNOWN["inclination"](told):
        most = GRID[int(np.argmax(rest.prior(None)))]
        assert abs(most) == pytest.approx(abs(told["parts"][0]["inclination_deg"]), abs=0.06)
    with KNOWN["height"](told), KNOWN["scale"](told):
        assert part_threads.lay_either is not other[0]
        assert scene.find_reference is not before[3]
    after = (scene._explained, scene.told_by_window, scene._undistorted, scene.find_reference)
    assert after == before
    assert (part_threads.lay_either, rest.prior) == other
    assert set(COLUMNS["all"]) == set(KNOWN)


def test_a_scale_that_is_put_in_is_the_true_one_where_the_reference_lies(drawn, monkeypatch):
    _, told = drawn
    camera = true_camera(told)
    at = np.array(camera.centre_px) + (300.0, -200.0)
    off = camera.over_plate(1.03 * camera.distance_mm)
    found = Reference(
        source="pin",
        camera=off,
        u_scale=0.01,
        height_mm=4.0,
        u_height_mm=0.02,
        where_px=at,
        labels=(),
        outline_px=np.zeros((0, 2)),
    )
    monkeypatch.setattr(scene, "find_reference", lambda *_: found)
    with KNOWN["scale"](told):
        there = scene.find_reference().camera
    assert there.on_plane(at, 4.0)[2] == pytest.approx(camera.on_plane(at, 4.0)[2])


def row(known: str, pitch: float, major: float = 0.0, photo: str = "a", **more):
    errors = {"pitch_mm": pitch, "major_mm": major}
    return {"photo": photo, "truth": "M10", "known": known, "errors": errors} | {
        "major_mm": 10.0,
        "reference": "pin",
        **more,
    }


def test_a_table_counts_threads_that_every_column_measured() -> None:
    rows = [row("as it is", 0.003, 0.02), row("all", 0.001, 0.01)]
    rows += [row("as it is", 0.004, photo="b")]  # not read under the other
    rows += [row("as it is", 0.05, photo="c"), row("all", 0.0, photo="c")]  # another fault
    lines = table(rows).splitlines()
    assert lines[0].split() == ["n", "as", "it", "is", "all"]
    assert lines[1].split() == ["all:", "pitch,", "%", "1", "0.300;", "0.300", "0.100;", "0.100"]
    assert lines[2].split()[3:] == ["1", "0.200;", "0.200", "0.100;", "0.100"]
    assert [line.split(":")[0] for line in lines[3:]] == ["pin", "pin"]
    assert "crests: pitch, %" in table(rows, "how")


def test_names_are_counted_under_each_column() -> None:
    rows = [row("as it is", 0.0, outcome=o) for o in ("open", "open", "right")]
    rows += [row("all", 0.0, outcome=o) for o in ("right", "open", "right")]
    lines = [line.split() for line in names(rows).splitlines()]
    assert lines == [["as", "it", "is", "all"], ["open", "2", "1"], ["right", "1", "2"]]


def test_every_column_names_what_can_be_put_in() -> None:
    assert {name for names in COLUMNS.values() for name in names} == set(KNOWN)
