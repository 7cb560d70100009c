"""The rig itself: what it draws is what its truth says, and a seed gives the same photo."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from pitchcam.series import load_series
from samples.solids import Flipped
from tests.fresh import references
from tests.fresh.again import PHOTOS, _series
from tests.fresh.draw import PIPE_PX_MM, PIPE_TURNS, SETS, fresh
from tests.fresh.table import common_cells, figures, outcomes
from tests.fresh.threads import PIPES
from tests.fresh.truth import truth


@pytest.mark.parametrize("name", SETS)
def test_a_seed_gives_the_same_photo_and_other_seeds_others(name: str) -> None:
    first = fresh(name, 3, 0)
    _series.cache_clear()
    again, other = fresh(name, 3, 0), fresh(name, 4, 0)
    assert json.dumps(truth(first)) == json.dumps(truth(again))
    assert truth(first)["parts"] != truth(other)["parts"]


@pytest.mark.parametrize("index", range(3))
def test_the_mesh_is_what_the_truth_says(index: int) -> None:
    shot = fresh("good", 9, index)
    build = shot.laid.build
    assert build is not None
    z, r = build.part.rings()
    for i, row in zip(build.threads, truth(shot)["threads"], strict=True):
        start, segment = build.part.starts_at()[i], build.part.segments[i]
        inside = (z > start + 1e-9) & (z < start + segment.length - 1e-9)
        local = z[inside] - start
        if isinstance(segment, Flipped):
            local = segment.length - local
        at_end = r[inside] + row["taper"] / 2 * (row["diameter_station_mm"] - local)
        full = (local > 1.5 * row["pitch_mm"]) & (local < row["thread_length_mm"])
        assert 2 * at_end[full].max() == pytest.approx(row["major_mm"], abs=1e-3)
        assert 2 * at_end[full].min() == pytest.approx(row["minor_mm"], abs=1e-3)


@pytest.mark.parametrize("index", range(3))
def test_a_new_parallel_thread_is_within_its_class(index: int) -> None:
    for row in truth(fresh("good", 10, index))["threads"]:
        if not row["taper"]:
            size = next(s for s in load_series() if s.designation == row["designation"])
            low, high = size.external[0].major_mm
            assert low - 1e-9 <= row["major_mm"] <= high + 1e-9
            assert row["pitch_mm"] == pytest.approx(size.pitch_mm)


@pytest.mark.parametrize("name", ["good", "workshop", "fall"])
def test_boxes_hold_what_is_seen_and_lie_in_the_picture(name: str) -> None:
    shot = fresh(name, 11, 1)
    document = truth(shot)
    x0, y0, x1, y1 = document["parts"][0]["box_px"]
    px = shot.phone.move(shot.camera.project(shot.laid.thing.vertices[::97]))
    assert np.all(px >= (x0 - 1e-6, y0 - 1e-6)) and np.all(px <= (x1 + 1e-6, y1 + 1e-6))
    assert x0 >= 0 and y0 >= 0 and x1 <= 4032 and y1 <= 3024


@pytest.mark.parametrize(("name", "index"), [("good", 89), ("good", 114), ("good", 127)])
def test_of_good_practice_all_lies_whole_before_the_light(name: str, index: int) -> None:
    """Photos whose card or pin the window's border would cut, at the size first drawn."""
    shot = fresh(name, 8001, index)
    eye, light = shot.camera.position, shot.light
    things = [shot.laid.thing, *shot.reference_things()]
    xyz = np.concatenate([t.vertices for t in things])
    behind = eye + (xyz - eye) * (eye[2] + light.below) / (eye[2] - xyz[:, 2:])
    a = np.deg2rad(light.turn_deg)
    off = behind[:, :2] - np.array(light.centre)
    along = off @ np.array([np.cos(a), np.sin(a)]), off @ np.array([-np.sin(a), np.cos(a)])
    for reach, size in zip(along, light.size, strict=True):
        assert np.abs(reach).max() < size / 2 - 2.0


def test_a_part_lies_on_the_plate() -> None:
    for index in range(3):
        lowest = fresh("fall", 12, index).laid.thing.vertices[:, 2].min()
        assert lowest == pytest.approx(0, abs=0.02)


def test_tables_count_and_size_errors() -> None:
    row = {
        "quality": "clean",
        "set": "good",
        "photo": "a",
        "truth": "M6x1",
        "outcome": "right",
        "errors": {"pitch_mm": 0.001},
        "u": {"pitch_mm": 0.001},
    }
    rows = [row, row | {"photo": "b", "outcome": "none", "errors": {"pitch_mm": -0.003}}]
    found = figures(rows, "pitch_mm")
    assert found is not None
    assert found["inside"] == 0.5 and found["rms"] == pytest.approx(np.sqrt(5))
    assert "1 of 2 = 50 %" in outcomes(rows)


def test_several_photos_are_of_one_part_that_was_moved() -> None:
    shots = [fresh("again", 12, i) for i in range(PHOTOS)]
    rows = [truth(s)["threads"] for s in shots]
    lasting = ("designation", "pitch_mm", "major_mm", "minor_mm", "taper", "material")
    for of in rows[1:]:
        assert [[t[k] for k in lasting] for t in of] == [[t[k] for k in lasting] for t in rows[0]]
    stated = [s.stated for s in shots]
    assert stated[0] == stated[1] == stated[2] != stated[3]
    turns = [(s.laid.heading_deg - shots[0].laid.heading_deg) % 360 for s in shots]
    assert abs(turns[1] - 180) < 60 and shots[2].camera.height < 0.95 * shots[0].camera.height
    assert len({s.seed for s in shots}) == len({s.camera.tilt_deg for s in shots}) == PHOTOS
    assert shots[0].phone == shots[3].phone and shots[0].light.below == shots[3].light.below
    # Rolled about its axis a part lies on the plate as before.
    for s in shots:
        assert s.laid.thing.vertices[:, 2].min() == pytest.approx(0.0, abs=0.06)
    other = truth(fresh("again", 12, PHOTOS))["threads"]
    assert other[0]["major_mm"] != rows[0][0]["major_mm"]


def test_the_scale_of_a_thread_is_what_its_lengths_err_by_alike() -> None:
    """Pitch and major diameter made with a common error of 0.3 % and own ones of 0.2 %."""
    rng = np.random.default_rng(8)
    rows = []
    for _ in range(4000):
        common, pitch, major = rng.normal(0, (0.003, 0.002, 0.002))
        errors = {"pitch_mm": common + pitch, "major_mm": 12.0 * (common + major)}
        base = {"quality": "clean", "truth": "M12x1.75", "reference": "pin", "major_mm": 12.0}
        rows.append(base | {"errors": errors})
    pin, every = common_cells(rows)[1:]
    assert pin[1:] == every[1:] and pin[0] == "pin"
    assert float(pin[4]) == pytest.approx(0.3, rel=0.05)
    assert float(pin[2]) == pytest.approx(np.hypot(0.3, 0.2), rel=0.05)


@pytest.mark.parametrize("index", range(4))
def test_pipe_threads_are_drawn_long_and_near(index: int) -> None:
    shot = fresh("pipes", 13, index)
    (row,) = truth(shot)["threads"]
    assert row["designation"] in PIPES
    assert row["thread_length_mm"] / row["pitch_mm"] >= PIPE_TURNS - 1e-9
    assert shot.camera.f_px / shot.camera.height >= PIPE_PX_MM


def test_a_reference_is_as_true_to_its_size_as_such_things_are() -> None:
    """The mesh and the truth have the true size, the user the stated one; discs and cards as is."""
    rng, off = np.random.default_rng(3), {}
    for kind in ("pin", "jaws", "disc", "card"):
        for _ in range(40):
            one = references.sized(references.draw(kind, rng), rng)
            off.setdefault(kind, []).append(one.truth((0.0, 0.0), 0.0)["mm"] - one.mm)
    # Evenly within 0.014 mm, and normal with 0.012.
    assert np.std(off["pin"]) == pytest.approx(0.014 / np.sqrt(3), rel=0.3)
    assert np.std(off["jaws"]) == pytest.approx(0.012, rel=0.3)
    assert max(map(abs, off["disc"] + off["card"])) == 0.0


def test_a_pin_lies_there_by_its_true_size_and_is_stated_by_the_other() -> None:
    pin = references.draw("pin", np.random.default_rng(1))
    (body,) = replace(pin, off_mm=0.5).things((0.0, 0.0), 0.0)
    assert np.ptp(body.vertices[:, 2]) == pytest.approx(pin.mm + 0.5, abs=1e-3)
    shot = fresh("good", 12, 8)
    true = truth(shot)["render"]["references"][0]["mm"]
    assert shot.stated["source"] == "pin"
    assert shot.stated["mm"] == round(shot.stated["mm"]) != true
