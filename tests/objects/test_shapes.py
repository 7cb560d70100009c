"""What objects are by their outlines, and circles through points that others spoil."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest
from skimage.measure import CircleModel

from pitchcam.camera.pinhole import camera_from_exif
from pitchcam.objects import shapes
from pitchcam.objects.field import find_field
from pitchcam.objects.shapes import circle_share, fit_circle
from pitchcam.photo import load_photo
from pitchcam.pipeline import scene
from tests.objects import drawing
from tests.objects.drawing import View
from tests.scale import looking

SAMPLES = Path(__file__).parents[2] / "samples"


def circle(share: float = 1.0, noise: float = 0.1, seed: int = 2) -> np.ndarray:
    a = 2 * np.pi * share * np.arange(900) / 900
    points = np.array([312.4, 207.9]) + 88.3 * np.stack([np.cos(a), np.sin(a)], axis=1)
    return points + np.random.default_rng(seed).normal(0, noise, points.shape)


def test_the_circle_through_the_points_that_agree_is_that_of_a_general_library() -> None:
    """scikit-image's least squares over the points that ours says lie on it: to ten digits."""
    rng = np.random.default_rng(3)
    turn = np.linspace(0, 2 * np.pi, 900, endpoint=False)
    points = np.stack([812.3 + 240.7 * np.cos(turn), 455.1 + 240.7 * np.sin(turn)], axis=1)
    points += rng.normal(0, 0.2, points.shape)
    points[:250, 0] = np.minimum(points[:250, 0], 900.0)  # the border of the light cuts it
    centre, radius, on = fit_circle(points)
    assert 0.7 < on.mean() < 0.95
    model = CircleModel.from_estimate(points[on])
    assert [*centre, radius] == pytest.approx([*model.center, model.radius], rel=1e-10)


def test_circle_is_that_of_a_general_library() -> None:
    points = circle()
    centre, radius, on = fit_circle(points)
    # Outside check: OpenCV's ellipse through the same points.
    (x, y), axes, _ = cv2.fitEllipseDirect(points.astype(np.float32))
    assert centre == pytest.approx([x, y], abs=0.02)
    assert radius == pytest.approx(sum(axes) / 4, abs=0.02)
    assert radius == pytest.approx(88.3, abs=0.02)
    assert on.all()


def test_circle_cut_by_a_line_comes_back() -> None:
    points = circle()
    points[:, 0] = np.minimum(points[:, 0], 312.4 + 50)
    centre, radius, on = fit_circle(points)
    assert centre == pytest.approx([312.4, 207.9], abs=0.1)
    assert radius == pytest.approx(88.3, abs=0.1)
    assert on.mean() == pytest.approx(1 - 2 * np.arccos(50 / 88.3) / (2 * np.pi), abs=0.03)


def test_share_on_a_circle() -> None:
    assert circle_share(circle()) > 0.99
    # A short arc of a large circle is none, and neither is a square.
    assert circle_share(circle(0.3)) == 0
    edge = np.linspace(0, 200, 200, endpoint=False)
    flat = np.zeros(200)
    square = np.concatenate(
        [
            np.stack(side, axis=1)
            for side in (
                (edge, flat),
                (flat + 200, edge),
                (200 - edge, flat + 200),
                (flat, 200 - edge),
            )
        ]
    )
    assert circle_share(square) < 0.5


def both_rims(apart_px: float, at: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    """The outline around both rims of a disc seen aslant: circles of 222 px, so far apart."""
    a = np.linspace(0, 2 * np.pi, 1500, endpoint=False)
    way = np.where(np.cos(a) > 0, apart_px / 2, -apart_px / 2)
    return np.array(at) + np.stack([222 * np.cos(a) + way, 222 * np.sin(a)], axis=1)


def test_a_disc_far_from_the_middle_shows_both_rims_and_is_one() -> None:
    """A disc of 3 mm and 25 mm across under 29 degrees: 30 pixels of wall, to one side."""
    camera = camera_from_exif(4032, 3024, 25.7)
    middle = np.array(camera.centre_px)
    far = middle + 0.55 * camera.f_px / np.sqrt(2)
    assert shapes._kind(both_rims(30.0, at=far), camera) == "disc"
    assert shapes._kind(both_rims(30.0, at=middle), camera) == "other"
    assert shapes._kind(both_rims(0.0, at=middle), camera) == "disc"
    a = np.linspace(0, 2 * np.pi, 1500, endpoint=False)
    hexagon = 222 * np.cos(np.pi / 6) / np.cos(a % (np.pi / 3) - np.pi / 6)
    nut = far + hexagon[:, None] * np.stack([np.cos(a), np.sin(a)], axis=1)
    assert shapes._kind(nut, camera) == "other"


def block(view: View, w: float, h: float, angle: float = 0.3) -> np.ndarray:
    c, s = np.cos(angle), np.sin(angle)
    corners = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2 @ np.array([[c, s], [-s, c]])
    return looking.solid(view, drawing.prism(corners, 0, 0.5))


@pytest.mark.parametrize(
    ("w", "h", "kind"),
    [(40, 8, "bar"), (24, 12, "bar"), (60, 37.8, "card"), (60, 34.0, "bar"), (30, 28, "other")],
)
def test_kind_of_a_block(w: float, h: float, kind: str) -> None:
    view = View()
    shape = looking.look(looking.picture(view, block(view, w, h)), view, gain=0.0).shapes[0]
    assert shape.kind == kind
    mm = view.f_px / view.distance_mm
    assert shape.length_px == pytest.approx(w * mm, abs=0.03 * w * mm + 3)
    assert shape.width_px == pytest.approx(h * mm, rel=0.04)
    assert shape.centre_px == pytest.approx(view.centre, abs=2)
    assert not shape.threads


def test_kind_of_a_disc_and_a_wedge() -> None:
    view = View()
    disc = looking.solid(view, drawing.prism(drawing.ring((-20, 0), 12, 0)[:, :2], 0, 1.5))
    wedge = looking.solid(view, drawing.prism([[5, -15], [30, -8], [5, 10]], 0, 1.5))
    seen = looking.look(looking.picture(view, disc, wedge), view, gain=0.0)
    kinds = {s.kind: s.centre_px[0] for s in seen.shapes}
    assert set(kinds) == {"disc", "other"}
    assert kinds["disc"] < view.centre[0] < kinds["other"]


def test_thread_is_no_reference() -> None:
    view = View()
    x, y = np.meshgrid(np.arange(1200.0), np.arange(900.0))

    # A ridge of 60 degrees on both sides of a bar, half a pitch apart, crests and roots flat.
    def ridge(phase: float) -> np.ndarray:
        z = np.abs((x / 18 + phase) % 1 - 0.5) * 2
        return 70 + np.clip(z - 0.125, 0, 0.75) * 18 * 0.866

    half = np.where(y > 450, ridge(0.0), ridge(0.5))
    inside = (np.abs(y - 450) < half) & (np.abs(x - 600) < 200)
    dark = cv2.GaussianBlur(inside.astype(float), (0, 0), 1.0)
    light = looking.LIGHT * drawing.window(view.size, 40) * (1 - 0.96 * dark)
    shape = looking.look(light, view, gain=0.0).shapes[0]
    assert shape.kind == "other"
    assert len(shape.threads) == 1
    assert shape.threads[0].spacing_px == pytest.approx(18, rel=0.02)


def wide_stud(half_px: float, length_px: float, face_px: float, shear: float):
    """A thread of 18 px along x, both its ends half ellipses that go out by ``face_px``."""
    view = View()
    x, y = np.meshgrid(np.arange(1200.0), np.arange(900.0))
    z = np.abs((x / 18 + np.where(y > 450, 0.0, 0.5)) % 1 - 0.5) * 2
    half = half_px + np.clip(z - 0.125, 0, 0.75) * 18 * 0.866
    out = face_px * np.sqrt(np.clip(1 - ((y - 450) / half_px) ** 2, 0, 1))
    along = np.abs(x - 600 - shear * (y - 450)) < length_px / 2 + out
    dark = cv2.GaussianBlur(((np.abs(y - 450) < half) & along).astype(float), (0, 0), 1.0)
    light = looking.LIGHT * drawing.window(view.size, 40) * (1 - 0.96 * dark)
    return looking.look(light, view, gain=0.0).shapes[0]


@pytest.mark.parametrize(
    ("half_px", "length_px", "face_px", "shear"), [(130, 90, 0, 0.0), (300, 80, 60, 0.03)]
)
def test_a_stud_far_wider_than_long_is_no_pin(half_px, length_px, face_px, shear) -> None:
    """Its long side is no axis; a slant bulges its ends, and moves them along it."""
    shape = wide_stud(half_px, length_px, face_px, shear)
    assert shape.kind == "other"
    assert len(shape.threads) == 1
    assert shape.threads[0].spacing_px == pytest.approx(18, rel=0.02)
    assert abs(shape.axis.direction[0]) > np.cos(np.radians(1.0))


def test_an_axis_that_nothing_of_the_outline_points_along_is_found(monkeypatch) -> None:
    """A collar seen aslant leads moments and hull astray: here both point across the axis."""
    photo = load_photo(SAMPLES / "p02-m10x1.25-major.jpg")
    field = find_field(photo.pixels, quarter=photo.quarter)
    blob = max(field.blobs, key=lambda b: b.area_px)
    camera = camera_from_exif(photo.width_px, photo.height_px, 52.0)
    right = shapes.describe(photo.pixels, field, blob, camera)
    x, y = right.axis.direction
    astray = np.array([-y, x])
    plain = shapes.find_axis
    monkeypatch.setattr(shapes, "find_axis", lambda p, way=astray: plain(p, way))
    monkeypatch.setattr(shapes, "other_directions", lambda points: [])
    monkeypatch.setattr(shapes, "between_sides", lambda points: [])
    found = shapes.describe(photo.pixels, field, blob, camera)
    assert right.threads and found.threads
    assert abs(float(np.array(found.axis.direction) @ (x, y))) > np.cos(np.radians(1.0))


def long_stud(
    ripple_px: float, wave_px: float = 0.0, *, noise: float = 0.0, dirty: bool = False
) -> tuple[Any, Any]:
    """A bar of 400 px whose sides have so much of a ripple of 18 px at one end.

    In a picture whose rows are moved aside by a sine of 40 px, with noise, and with specks of dirt
    on both sides.
    """
    view = View()
    x, y = np.meshgrid(np.arange(1200.0), np.arange(900.0))
    off = (x / 18 + np.where(y > 450, 0.0, 0.5)) % 1 - 0.5
    half = 70.0 - np.where(x < 530, ripple_px * (2 * off) ** 2, 0.0)
    moved = y - 450 - wave_px * np.sin(2 * np.pi * x / 40)
    inside = np.clip(half - np.abs(moved) + 0.5, 0, 1) * (np.abs(x - 600) < 200)
    if dirty:
        for at, side, size in [(440, 1, 3), (478, -1, 2), (505, 1, 4), (590, -1, 3), (700, 1, 2)]:
            inside[np.hypot(x - at, y - 450 - 70 * side) < size] = 1.0
    dark = cv2.GaussianBlur(inside, (0, 0), 1.0)
    light = looking.LIGHT * drawing.window(view.size, 40) * (1 - 0.96 * dark)
    light = light * (1 + noise * np.random.default_rng(1).normal(0, 1, light.shape))
    gain = 0.5 if noise else 0.0
    return looking.look(light, view, gain=gain).shapes[0], looking.camera(view)


def test_a_stud_whose_ridges_hide_their_grooves_is_no_pin() -> None:
    """Far aslant no more than a ripple is left of it, along what else is a pin."""
    stud, camera = long_stud(1.2)
    pin, _ = long_stud(0.0)
    assert stud.kind == pin.kind == "bar"
    found = shapes.searched_along(stud, camera)
    assert found.kind == "other"
    assert [r.spacing_px for r in found.threads] == [pytest.approx(18, rel=0.02)]
    assert shapes.searched_along(pin, camera) is pin


@pytest.mark.parametrize("beside", [False, True])
def test_bars_are_searched_where_nothing_else_is_a_thread(monkeypatch, beside: bool) -> None:
    """Beside a thread a bar is the pin that it looks like."""
    stud, camera = long_stud(1.2)
    other = replace(stud, kind="other", threads=shapes.searched_along(stud, camera).threads)
    every = [stud, other] if beside else [stud]
    monkeypatch.setattr(scene, "describe", lambda pixels, field, blob, camera: blob)
    found = scene._objects(np.zeros((2, 2)), SimpleNamespace(blobs=every), camera, pin=False)
    assert found[0].kind == ("bar" if beside else "other")


@pytest.mark.parametrize("dirty", [False, True])
def test_a_pin_of_any_picture_s_quality_stays_a_bar(dirty: bool) -> None:
    """Of 3 % noise, sharpened, clean or with specks of 2 to 4 px on its sides."""
    pin, camera = long_stud(0.0, noise=0.03, dirty=dirty)
    assert pin.kind == "bar"
    assert shapes.searched_along(pin, camera) is pin


def test_a_stated_pin_is_not_searched_away(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows moved by half a pixel make its sides a fine thread's: nothing but the user tells it."""
    pin, camera = long_stud(0.0, wave_px=0.5)
    stud, straight = long_stud(1.2)[0], long_stud(0.0)[0]
    assert pin.kind == "bar"
    assert shapes.searched_along(pin, camera).kind == "other"
    monkeypatch.setattr(scene, "describe", lambda pixels, field, blob, camera: blob)

    def kinds(*bars: Any, pin: bool) -> list[str]:
        field = SimpleNamespace(blobs=bars)
        return [s.kind for s in scene._objects(np.zeros((2, 2)), field, camera, pin=pin)]

    assert kinds(pin, pin=True) == ["bar"]
    assert kinds(pin, stud, pin=True) == ["bar", "bar"]
    assert kinds(pin, pin=False) == ["other"]
    assert kinds(straight, stud, pin=True) == ["bar", "other"]
