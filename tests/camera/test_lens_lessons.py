"""What a photo teaches of its lens: weights that add up, by hand and against general libraries."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from pitchcam.camera.focal import Explanation
from pitchcam.camera.lenses import (
    MOST_BYTES,
    MOST_LESSONS,
    MOST_U_FOCAL,
    U_SAME_CORNER,
    U_SAME_FOCAL,
    Lens,
    Lenses,
    Lesson,
    bent_as_known,
    lesson,
    stated_f_px,
    taught,
    together,
)
from pitchcam.camera.pinhole import U_CORNER, Camera
from pitchcam.errors import InputError
from pitchcam.photo import Photo
from pitchcam.photo.origin import Origin


def photo(sha: str = "a", f35: float | None = 26.0, camera: str | None = "Bench, One") -> Photo:
    return Photo(
        path=Path("x.jpg"),
        sha256=sha,
        pixels=np.broadcast_to(np.uint8(0), (3000, 4000)),
        f35_mm=f35,
        f35_source="exif",
        origin=Origin(sensor_aspect=True, camera=camera),
    )


PHOTO = photo()
STATED = 26.0 / math.hypot(36, 24) * 5000


def camera(ln: float, u: float, corner: float = 0.0, u_corner: float = U_CORNER) -> Camera:
    f = stated_f_px(PHOTO) * math.exp(ln)
    return Camera(f_px=f, u_f_px=u * f, centre_px=(1999.5, 1499.5)).bent(corner, u_corner)


def weighed(pairs: list[tuple[float, float]]) -> tuple[float, float]:
    """Mean and u of normal distributions multiplied, by hand."""
    w = [1 / u**2 for _, u in pairs]
    return sum(a * v for a, (v, _) in zip(w, pairs, strict=True)) / sum(w), sum(w) ** -0.5


def test_the_stated_focal_length_is_by_the_diagonal() -> None:
    assert stated_f_px(PHOTO) == pytest.approx(STATED, rel=1e-6)
    assert stated_f_px(photo(f35=None)) == 0.0


@pytest.mark.parametrize("told", [(0.04, 0.02), (-0.05, 0.01), (0.0, 0.05)])
def test_a_lesson_with_what_was_known_before_gives_what_was_known_after(told) -> None:
    before = (0.01, 0.03)
    after = weighed([before, told])
    found = lesson(PHOTO, camera(*before), camera(*after))
    assert found is not None
    assert (found.ln_focal, found.u_ln_focal) == pytest.approx(told, rel=1e-9, abs=1e-12)
    assert found.corner is None and found.u_corner is None, "nothing new of the distortion"


@pytest.mark.parametrize("told", [(0.004, 0.0004), (-0.006, 0.001)])
def test_a_lesson_of_distortion_alone(told) -> None:
    before = (0.0, U_CORNER)
    after = weighed([before, told])
    found = lesson(PHOTO, camera(0, 0.03, *before), camera(0, 0.03, *after))
    assert found is not None
    assert (found.corner, found.u_corner) == pytest.approx(told, rel=1e-6)
    assert found.ln_focal is None and found.u_ln_focal is None


def test_what_tells_nothing_new_is_no_lesson() -> None:
    same = camera(0.01, 0.03)
    assert lesson(PHOTO, same, same) is None
    assert lesson(PHOTO, same, camera(0.01, 0.0299)) is None, "a tenth of the weight is rounding"
    assert lesson(PHOTO, same, camera(0.01, 0.0270)) is not None
    assert lesson(photo(f35=None), same, camera(0.01, 0.01)) is None, "nothing was stated"


def test_a_focal_length_known_to_a_tenth_is_not_told() -> None:
    """Where little was known before, a lesson may add weight and still say nothing."""
    wide = camera(0.0, 0.3)
    for u, tells in ((0.9 * MOST_U_FOCAL, True), (1.1 * MOST_U_FOCAL, False)):
        after = weighed([(0.0, 0.3), (0.02, u)])
        found = lesson(PHOTO, wide, camera(*after))
        assert (found is not None) is tells
        if found is not None:
            assert found.u_ln_focal == pytest.approx(u, rel=1e-9)


def test_one_lesson_serves_with_what_differs_from_shot_to_shot() -> None:
    known = together([Lesson(ln_focal=0.03, u_ln_focal=0.02, corner=0.002, u_corner=0.0003)])
    assert known is not None and known.photos == 1
    # Once for the shot that told it, once for the one that asks.
    assert known.focal == pytest.approx((0.03, math.sqrt(0.02**2 + 2 * U_SAME_FOCAL**2)))
    assert known.corner == pytest.approx((0.002, math.sqrt(0.0003**2 + 2 * U_SAME_CORNER**2)))


def test_two_lessons_that_agree_are_weighed_by_their_u() -> None:
    told = [(0.030, 0.01), (0.034, 0.02)]
    known = together([Lesson(ln_focal=v, u_ln_focal=u) for v, u in told])
    assert known is not None and known.photos == 2
    mean, u = weighed([(v, math.hypot(u, U_SAME_FOCAL)) for v, u in told])
    assert known.focal == pytest.approx((mean, math.hypot(u, U_SAME_FOCAL)))
    assert known.corner is None


def test_lessons_that_contradict_widen_u_by_the_ratio_of_birge() -> None:
    told = [(-0.06, 0.01), (0.06, 0.01), (0.05, 0.01)]
    known = together([Lesson(ln_focal=v, u_ln_focal=u) for v, u in told])
    assert known is not None and known.focal is not None
    each = math.hypot(0.01, U_SAME_FOCAL)
    mean, u = weighed([(v, each) for v, _ in told])
    birge = math.sqrt(sum(((v - mean) / each) ** 2 for v, _ in told) / 2)
    assert birge > 3
    assert known.focal == pytest.approx((mean, math.hypot(birge * u, U_SAME_FOCAL)))


def test_two_lessons_that_contradict_widen_u_too() -> None:
    known = together([Lesson(corner=v, u_corner=0.0005) for v in (-0.004, 0.004)])
    assert known is not None and known.corner is not None
    each = math.hypot(0.0005, U_SAME_CORNER)
    assert known.corner[0] == pytest.approx(0.0)
    birge = math.sqrt(2 * (0.004 / each) ** 2)
    assert known.corner[1] == pytest.approx(math.hypot(birge * each / math.sqrt(2), U_SAME_CORNER))


def test_a_hundred_lessons_never_know_better_than_the_next_shot_differs() -> None:
    known = together([Lesson(ln_focal=0.02, u_ln_focal=0.01)] * 100)
    assert known is not None and known.focal is not None
    assert U_SAME_FOCAL < known.focal[1] < 1.02 * U_SAME_FOCAL
    assert together([]) is None


def test_a_taught_explanation_is_the_product_of_two_normals() -> None:
    e = Explanation(f_px=1.05 * STATED, u_share=0.03, weight=0.7)
    (found,) = taught(PHOTO, [e], Lens(photos=1, focal=(0.02, 0.015), corner=None))
    ln, u = weighed([(math.log(e.f_px / stated_f_px(PHOTO)), 0.03), (0.02, 0.015)])
    assert math.log(found.f_px / stated_f_px(PHOTO)) == pytest.approx(ln, abs=1e-9)
    assert found.u_share == pytest.approx(u, rel=1e-9)
    assert found.weight == 1.0


def test_explanations_are_weighed_by_how_well_the_lens_is_known_to_fit() -> None:
    """As SciPy's densities of the difference, whose variance is the sum of both."""
    before = [
        Explanation(f_px=STATED, u_share=0.03, weight=0.6),
        Explanation(f_px=1.06 * STATED, u_share=0.05, weight=0.3),
        Explanation(f_px=2.0 * STATED, u_share=0.08, weight=0.1),
    ]
    found = taught(PHOTO, before, Lens(photos=3, focal=(0.055, 0.012), corner=None))
    expected = np.array(
        [
            e.weight
            * norm.pdf(math.log(e.f_px / stated_f_px(PHOTO)), 0.055, math.hypot(e.u_share, 0.012))
            for e in before
        ]
    )
    assert [e.weight for e in found] == pytest.approx(expected / expected.sum(), rel=1e-9)
    assert found[1].weight > found[0].weight > found[2].weight


def test_where_no_explanation_fits_none_is_taught() -> None:
    before = (Explanation(f_px=1e9, u_share=1e-3, weight=1.0),)
    assert taught(PHOTO, before, Lens(photos=1, focal=(0.0, 1e-3), corner=None)) == before
    assert taught(PHOTO, before, Lens(photos=1, focal=None, corner=(0, 1))) == before


@pytest.mark.parametrize("known", [(0.004, 0.0006), (-0.008, 0.005), (0.002, 0.02)])
def test_known_distortion_is_weighed_against_none(known) -> None:
    """A lens of which nothing is known bends by 0 give or take U_CORNER at the corner."""
    bent = bent_as_known(camera(0, 0.03), Lens(photos=1, focal=None, corner=known))
    mean, u = weighed([known, (0.0, U_CORNER)])
    assert (bent.corner, bent.u_corner) == pytest.approx((mean, u), rel=1e-9)
    plain = camera(0, 0.03)
    assert bent_as_known(plain, Lens(photos=1, focal=(0, 1), corner=None)) is plain


def test_a_photo_without_a_named_camera_is_neither_taught_nor_told(tmp_path) -> None:
    lenses = Lenses(path=tmp_path / "lenses.json")
    lenses.teach(photo(camera=None), Lesson(ln_focal=0.01, u_ln_focal=0.01))
    assert not lenses.path.exists()
    assert lenses.known(photo(camera=None)) is None
    assert lenses.known(PHOTO) is None, "no file, nothing known"


def test_a_photo_taught_again_replaces_its_own_lesson(tmp_path) -> None:
    lenses = Lenses(path=tmp_path / "lenses.json")
    for value in (0.01, 0.02):
        lenses.teach(PHOTO, Lesson(ln_focal=value, u_ln_focal=0.01))
    known = lenses.known(photo(sha="another"))
    assert known is not None and known.focal is not None
    assert (known.photos, known.focal[0]) == (1, pytest.approx(0.02))
    assert lenses.known(PHOTO) is None, "its own lesson is nothing new to it"


def test_so_many_lessons_are_kept_of_a_lens(tmp_path) -> None:
    lenses = Lenses(path=tmp_path / "lenses.json")
    for i in range(MOST_LESSONS + 3):
        lenses.teach(photo(sha=f"{i:03}"), Lesson(corner=0.001, u_corner=0.001))
    kept = json.loads(lenses.path.read_text())["lenses"]
    (lessons,) = kept.values()
    assert sorted(lessons) == [f"{i:03}" for i in range(MOST_LESSONS)]


def test_the_file_lies_beside_the_record() -> None:
    found = Lenses.beside(Path("/somewhere/record.db")).path
    assert (found.parent, found.name) == (Path("/somewhere"), "pitchcam-lenses.json")


@pytest.mark.parametrize(
    "entry",
    [
        {"u_corner": 0.0, "corner": 0.001},
        {"u_ln_focal": -0.1, "ln_focal": 0.0},
        {"corner": "x", "u_corner": 0.1},
        {"corner": float("inf"), "u_corner": 0.1},
    ],
    ids=["u of zero", "u below zero", "a word", "infinite"],
)
def test_a_lesson_that_cannot_be_is_refused_with_the_file(tmp_path, entry) -> None:
    lenses = Lenses(path=tmp_path / "lenses.json")
    lenses.teach(PHOTO, Lesson(corner=0.001, u_corner=0.001))
    kept = json.loads(lenses.path.read_text())
    for lessons in kept["lenses"].values():
        lessons["a"] = entry
    lenses.path.write_text(json.dumps(kept))
    with pytest.raises(InputError, match="is no file of lenses; move it away, or leave") as caught:
        lenses.known(photo(sha="b"))
    assert "\n" not in str(caught.value)


def test_a_file_of_lenses_too_large_is_refused(tmp_path) -> None:
    path = tmp_path / "lenses.json"
    path.write_bytes(b" " * (MOST_BYTES + 1))
    with pytest.raises(InputError, match="more than the limit of 2 MB; move it away"):
        Lenses(path=path).known(PHOTO)


def test_a_place_that_cannot_be_written_is_said(tmp_path) -> None:
    lenses = Lenses(path=tmp_path / "none" / "lenses.json")
    with pytest.raises(InputError, match="cannot be written: .*leave the lenses off"):
        lenses.teach(PHOTO, Lesson(corner=0.001, u_corner=0.001))


def test_lessons_survive_the_file_to_the_last_digit(tmp_path) -> None:
    lenses = Lenses(path=tmp_path / "lenses.json")
    told = Lesson(ln_focal=1 / 3, u_ln_focal=0.1 / 7, corner=-1e-5 / 3, u_corner=1e-4 / 7)
    lenses.teach(PHOTO, told)
    assert lenses.known(replace(PHOTO, sha256="b")) == together([told])
