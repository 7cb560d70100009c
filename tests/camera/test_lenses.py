"""What photos with a card tell of a phone's lens, kept for its next photos."""

from __future__ import annotations

import json
import math
import random
from dataclasses import replace

import numpy as np
import pytest

from pitchcam.camera.focal import camera_for, explanations
from pitchcam.camera.lenses import (
    U_SAME_CORNER,
    U_SAME_FOCAL,
    Lens,
    Lenses,
    Lesson,
    bent_as_known,
    lens_key,
    lesson,
    stated_f_px,
    taught,
    together,
)
from pitchcam.camera.pinhole import U_CORNER
from pitchcam.errors import InputError
from pitchcam.photo import Photo
from pitchcam.photo.origin import Origin, origin_of
from tests.records.published import check

TOLD = Lesson(ln_focal=0.05, u_ln_focal=0.02, corner=-0.006, u_corner=0.0003)


def photo(
    sha: str = "a" * 64, camera: str | None = "Bench, One", f35: float | None = 26.0
) -> Photo:
    return Photo(
        path="x.jpg",
        sha256=sha,
        pixels=np.zeros((3000, 4000), np.uint8),
        f35_mm=f35,
        f35_source="exif",
        origin=Origin(sensor_aspect=True, camera=camera),
    )


def test_a_lens_goes_by_camera_tag_zoom_and_size() -> None:
    key = lens_key(photo())
    assert key is not None
    assert lens_key(photo(camera="Bench, Two")) != key
    assert lens_key(photo(f35=52.0)) != key
    zoomed = replace(photo(), origin=Origin(camera="Bench, One", zoom=1.5))
    assert lens_key(zoomed) != key
    turned = replace(photo(), pixels=np.zeros((4000, 3000), np.uint8))
    assert lens_key(turned) == key
    # Whose camera is not named teaches nothing and is told nothing.
    assert lens_key(photo(camera=None)) is None
    assert lens_key(photo(f35=None)) is None


def test_the_camera_is_named_by_the_tags() -> None:
    # TIFF 6.0: 0x010F Make, 0x0110 Model; CIPA DC-008: 0xA434 LensModel.
    tags = {0x010F: "Bench ", 0x0110: "One\x00\n"}
    assert origin_of({0xA434: "back"}, 4, 3, tags).camera == "Bench, One, back"
    assert origin_of({}, 4, 3, {0x010F: "Bench"}).camera is None
    assert origin_of({}, 4, 3, {0x0110: b"\xff"}).camera is None
    assert len(origin_of({}, 4, 3, {0x0110: "x" * 5000}).camera or "") < 100


def test_a_lesson_is_what_was_new() -> None:
    before = camera_for(photo(), explanations(photo()))
    stated = stated_f_px(photo())
    # By construction: prior 0 +- 3 %, measured 0.06 +- 2 %, combined by weights (JCGM 100).
    u0, u1 = before.u_f_px / before.f_px, 0.02
    start = math.log(before.f_px / stated)
    weight = 1 / u0**2 + 1 / u1**2
    mean = (start / u0**2 + 0.06 / u1**2) / weight
    f = stated * math.exp(mean)
    after = replace(before, f_px=f, u_f_px=f / math.sqrt(weight)).bent(-0.005, 0.0004)
    told = lesson(photo(), before, after)
    assert told is not None
    assert told.ln_focal == pytest.approx(0.06, abs=1e-6)
    assert told.u_ln_focal == pytest.approx(0.02, rel=1e-6)
    left = 1 / 0.0004**2 - 1 / U_CORNER**2
    assert told.corner == pytest.approx(-0.005 / 0.0004**2 / left)
    # A level card tells nothing of the focal length, and what tells nothing teaches nothing.
    assert lesson(photo(), before, before) is None
    level = lesson(photo(), before, before.bent(-0.005, 0.0004))
    assert level is not None
    assert level.ln_focal is None


def test_what_is_learnt_serves_the_next_photo_and_not_itself(tmp_path) -> None:
    lenses = Lenses(path=tmp_path / "lenses.json")
    assert lenses.known(photo()) is None
    lenses.teach(photo("a" * 64), TOLD)
    check("lenses", json.loads(lenses.path.read_text()))
    assert lenses.known(photo("a" * 64)) is None
    lens = lenses.known(photo("b" * 64))
    assert lens is not None
    assert lens.photos == 1
    assert lens.focal is not None
    assert lens.focal[0] == pytest.approx(0.05)
    assert lens.focal[1] == pytest.approx(math.hypot(0.02, 2**0.5 * U_SAME_FOCAL))
    assert lenses.known(photo("b" * 64, camera="Bench, Two")) is None
    # The same photo again teaches nothing more.
    lenses.teach(photo("a" * 64), TOLD)
    again = lenses.known(photo("b" * 64))
    assert again == lens


def test_the_order_of_the_photos_does_not_matter(tmp_path) -> None:
    rng = random.Random(4)
    lessons = [
        (
            f"{i:064x}",
            Lesson(
                ln_focal=rng.gauss(0.04, 0.02),
                u_ln_focal=0.02,
                corner=rng.gauss(0.003, 0.0005),
                u_corner=0.0004,
            ),
        )
        for i in range(80)
    ]
    files = []
    for order in range(2):
        path = tmp_path / f"{order}.json"
        some = lessons if order == 0 else rng.sample(lessons, len(lessons))
        for sha, told in some:
            Lenses(path=path).teach(photo(sha), told)
        files.append(path.read_bytes())
    assert files[0] == files[1]


def test_lessons_agree_by_their_weights_and_doubt_their_scatter() -> None:
    near = together([TOLD, replace(TOLD, ln_focal=0.052)])
    far = together([TOLD, replace(TOLD, ln_focal=0.20)])
    assert near is not None and near.focal is not None
    assert far is not None and far.focal is not None
    assert near.focal[1] < 0.025
    # The ratio of Birge: 0.05 and 0.20 +- 0.022 cannot both be.
    assert far.focal[1] > 2 * near.focal[1]
    # However many photos there are, another focus and another shot are left.
    many = together([TOLD] * 50)
    assert many is not None and many.focal is not None and many.corner is not None
    assert many.focal[1] >= U_SAME_FOCAL
    assert many.corner[1] >= U_SAME_CORNER


def test_a_tag_off_by_six_percent_is_corrected() -> None:
    lens = Lens(photos=5, focal=(math.log(1.06), 0.012), corner=(0.006, 0.0006))
    plain = camera_for(photo(), explanations(photo()))
    known = camera_for(photo(), taught(photo(), explanations(photo()), lens))
    true = 1.06 * stated_f_px(photo())
    assert abs(known.f_px / true - 1) < 0.012
    assert known.u_f_px < 0.5 * plain.u_f_px
    bent = bent_as_known(plain, lens)
    assert bent.corner == pytest.approx(0.006, rel=0.05)
    assert bent.u_corner < 0.2 * U_CORNER


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[]",
        "{}",
        '{"format": "other/1", "lenses": {}}',
        '{"format": "pitchcam.lenses/1", "lenses": {"a": 3}}',
        '{"format": "pitchcam.lenses/1", "lenses": {"a": {"b": {"corner": 1, "u_corner": 0}}}}',
    ],
)
def test_a_file_that_is_none_is_refused_in_one_line(tmp_path, text) -> None:
    path = tmp_path / "lenses.json"
    path.write_text(text)
    with pytest.raises(InputError, match="no file of lenses"):
        Lenses(path=path).known(photo())
    assert path.read_text() == text


def test_the_file_is_plain_json(tmp_path) -> None:
    path = tmp_path / "lenses.json"
    Lenses(path=path).teach(photo(), TOLD)
    document = json.loads(path.read_text())
    assert document["format"] == "pitchcam.lenses/1"
    [[lessons]] = [list(v.values()) for v in document["lenses"].values()]
    assert lessons["corner"] == -0.006
