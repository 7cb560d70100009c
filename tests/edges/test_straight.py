"""Edges laid through their pieces, and pieces that look like no mirrored panel left out."""

from __future__ import annotations

from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from pitchcam.camera.pinhole import camera_from_exif
from pitchcam.edges.lines import StraightEdge
from pitchcam.edges.straight import (
    MOST_OF_FALL,
    _blurred,
    _pins,
    _through,
    _without_strangers,
    learn_rims,
)
from pitchcam.edges.telling import contradicted
from pitchcam.objects.field import Field, find_field
from pitchcam.objects.shapes import Shape, describe
from tests.objects import drawing


def edge(*pieces: str) -> StraightEdge:
    at = np.linspace(-1, 1, len(pieces) + 2)[1:-1] if len(pieces) != 2 else (-0.5, 0.5)
    return StraightEdge(
        start=np.array([0.0, 0.0]),
        end=np.array([100.0, 0.0]),
        normal=np.array([0.0, -1.0]),
        profiles=pieces,
        at=tuple(at),  # type: ignore[arg-type]
    )


def test_true_edge_goes_through_its_pieces() -> None:
    true = _through(edge("a", "b"), np.array([1.0, 2.0]), np.array([0.2, 0.2]))
    # Outward is up here: 1 a quarter along, 2 at three quarters, on at both ends.
    assert true.start_px == pytest.approx([0, -0.5])
    assert true.end_px == pytest.approx([100, -2.5])
    assert true.u_px == pytest.approx(0.2)


def test_an_edge_s_turn_is_as_open_as_its_pieces_scatter() -> None:
    """Monte Carlo over an edge's own scatter; what all its pieces share turns nothing."""
    rng, three = np.random.default_rng(1), edge("a", "b", "c")
    u = np.full(3, 0.2)
    for own_px in (0.02, 1.0):
        seen = [_through(three, rng.normal(0, own_px, 3), u) for _ in range(300)]
        # How much farther out the end lies than the middle: outward is up.
        turns = [(s.start_px[1] - s.end_px[1]) / 2 for s in seen]
        stated = np.sqrt(np.mean([s.u_turn_px**2 for s in seen]))
        # A quarter of u counts for one piece more: 0.05 px where they scatter by less.
        usual = 0.05**2 / 2 / np.sum(np.array(three.at) ** 2)
        assert stated == pytest.approx(np.sqrt(np.var(turns) / 2 + usual), rel=0.15)
        assert [s.u_px for s in seen] == pytest.approx([0.2] * 300)
    # Two pieces are always on a line: each is as open as it is in all.
    assert _through(edge("a", "b"), np.array([1.0, 2.0]), u[:2]).u_turn_px == pytest.approx(
        0.2 / np.hypot(0.5, 0.5)
    )
    assert _through(edge("a"), np.array([1.0]), u[:1]).u_turn_px == 0.0


def test_a_blur_that_no_lens_makes_leaves_the_band_open() -> None:
    """Beyond 0.95 + 2 x 0.2 px the band found may be none; within, the edges are as fitted."""
    assert pin_u_px(1.0) == pin_u_px(1.35) == pytest.approx(0.2)
    assert pin_u_px(1.35 + 0.475) == pytest.approx(np.hypot(0.2, 1.25))
    assert pin_u_px(4.0) == pytest.approx(np.hypot(0.2, 2.5))


def pin_u_px(blur_px: float, wide: float = 1.0, sharp_px: float | None = None) -> float:
    """Return the uncertainty of a pin's edge with bands of 2 to 3 px, or so many times as wide."""
    rims = SimpleNamespace(
        edges_px=np.zeros(3),
        u_edges_px=np.full(3, 0.2),
        rims_px=wide * np.array([2.0, 2.5, 3.0]),
        spread=SimpleNamespace(blur_px=blur_px),
    )
    ((true,),) = _pins([edge("a", "b", "c")], [7], rims, sharp_px).values()  # type: ignore[arg-type]
    return true.u_px


def test_no_band_that_is_wider_than_the_fall_is_left_open() -> None:
    """A pin near a long panel has one of 17 px, and the rest of a blur of 3 px is 6 px at most."""
    assert pin_u_px(3.0, wide=5.0) == pytest.approx(np.hypot(0.2, MOST_OF_FALL * 3.0))


def test_a_pin_out_of_focus_beside_sharp_parts_is_blurred_by_a_lens() -> None:
    """Its band is one, and the disc of its blur is drawn as what it is."""
    assert pin_u_px(3.3, wide=5.0, sharp_px=0.8) == pytest.approx(0.2)


def test_a_piece_that_mirrors_a_neighbour_is_left_out() -> None:
    edges = [edge("a", "b", "c"), edge("d")]

    def rest(*codes: float) -> list[tuple[str, ...]]:
        rims = SimpleNamespace(misfit=np.array(codes) / 255)
        return [e.profiles for e in _without_strangers(edges, rims)]  # type: ignore[arg-type]

    assert rest(0.5, 0.6, 8.0, 0.5) == [("a", "b"), ("d",)]
    # An edge never loses its last piece, and even misfits are the model's, not a neighbour's.
    assert rest(0.5, 0.6, 0.5, 8.0) == [("a", "b", "c"), ("d",)]
    assert rest(6.0, 7.0, 8.0, 6.0) == [("a", "b", "c"), ("d",)]


#: What is left open by the mirrored light that a pin is expected to show, and a black one does not.
WIDTH_PX = 1.6


@pytest.mark.parametrize("blur", [1.0, 1.8, 2.3, 3.0, 4.5])
def test_a_blurred_pin_is_as_wide_as_a_sharp_one(blur: float) -> None:
    """The usual profile ends within the fall of a wide blur, which then passes for a mirror."""
    assert true_width(blur) == pytest.approx(90.0, abs=WIDTH_PX)


def true_width(blur: float) -> float:
    """Return the width of a black bar of 90 px as its true edges have it, pixels."""
    size = (1000, 800)
    corners = np.array([[300.0, 355], [700, 355], [700, 445], [300, 445]])
    light = 0.6 * drawing.window(size) * (1 - 0.98 * drawing.cover(size, corners, blur))
    pixels = drawing.develop(light, gain=0.0)
    field = find_field(pixels)
    camera = camera_from_exif(*size, 52.0)
    shape = describe(pixels, field, field.blobs[0], camera)
    rims, pins = learn_rims([shape], field, camera)
    assert rims.spread.blur_px == pytest.approx(blur, rel=0.15)
    assert rims.fall_px == pytest.approx(0.0 if blur < 1.4 else blur, rel=0.1)
    ((one, two),) = pins.values()
    middles = [(e.start_px + e.end_px) / 2 for e in (one, two)]
    return float(np.hypot(*(middles[0] - middles[1])))


@pytest.mark.parametrize("disc", [4.0, 5.0, 6.5])
def test_a_pin_far_out_of_focus_is_as_wide_as_one_in_focus(disc: float) -> None:
    """Seen through a pupil's disc beside parts of known blur; a bell made it 5.6 px too wide."""
    size, blur = (1000, 800), 0.8
    corners = np.array([[300.0, 355], [700, 355], [700, 445], [300, 445]])
    light = 0.6 * drawing.window(size) * (1 - 0.98 * drawing.cover(size, corners, blur))
    field, shape = found(drawing.develop(cv2.filter2D(light, -1, pupil(disc)), gain=0.3))
    fall = float(np.hypot(blur, disc / 2))
    _, pins = _blurred([shape], field, camera_from_exif(*size, 52.0), fall, blur)
    ((one, two),) = pins.values()
    u_px = one.u_px + two.u_px
    middles = [(e.start_px + e.end_px) / 2 for e in (one, two)]
    off_px = float(np.hypot(*(middles[0] - middles[1]))) - 90.0
    assert abs(off_px) < 0.7
    assert u_px < 0.8


def pupil(disc_px: float) -> np.ndarray:
    """Return a disc's kernel, its border's pixels by the share that it covers."""
    n, fine = int(np.ceil(disc_px)), 20
    at = (np.arange(-(n + 0.5) * fine, (n + 0.5) * fine) + 0.5) / fine
    inside = (np.hypot(at[:, None], at) < disc_px).astype(float)
    whole = inside.reshape(2 * n + 1, fine, 2 * n + 1, fine).sum(axis=(1, 3))
    share: np.ndarray = whole / whole.sum()
    return share


def found(pixels: np.ndarray) -> tuple[Field, Shape]:
    """Return the field of a drawn photo and its one object."""
    field = find_field(pixels)
    camera = camera_from_exif(pixels.shape[1], pixels.shape[0], 52.0)
    return field, describe(pixels, field, field.blobs[0], camera)


@pytest.mark.parametrize(
    ("blur_px", "misfit", "owner", "told"),
    [
        (3.2, 0.02, None, True),
        (1.5, 0.02, None, False),  # as wide as the fall: odd edges, but blurred ones
        (3.2, 0.004, None, False),  # what is drawn well is blurred so
        (3.2, 0.02, 1, False),  # a pin's edges are asked for in any case
    ],
)
def test_a_blur_wider_than_the_outer_fall_is_none(blur_px, misfit, owner, told) -> None:
    spread = SimpleNamespace(blur_px=blur_px)
    wide = SimpleNamespace(spread=spread, fall_px=1.6, misfit=np.array([0.003, misfit]))
    assert contradicted(wide, [owner, owner]) is told


@pytest.mark.parametrize(("blur", "shine"), [(1.0, 0.95), (1.55, 0.5), (1.8, 0.5)])
def test_metal_that_mirrors_along_both_sides_is_as_blurred_as_its_photo(blur, shine) -> None:
    """A bright shank's light falls over 25 px on either side, taken for a hexagon's sharp corners.

    Of 1.55 and 1.8 px its outer fall is a blur's, beyond what phones do; fitted as that alone, it
    came out 3.2 and 3.7 px wide, and the photo was refused.
    """
    size = (1200, 900)
    x, y = np.meshgrid(np.arange(1200.0), np.arange(900.0))
    z = np.abs((x / 30 + np.where(y > 450, 0.0, 0.5)) % 1 - 0.5) * 2
    half = np.where(x > 620, 100.0, 85 + np.clip(z - 0.125, 0, 0.75) * 30 * 0.866)
    deep = half - np.abs(y - 450)
    inside = (deep > 0) & (np.abs(x - 600) < 280)
    mirrored = np.where((x > 620) & inside, shine * np.exp(-np.maximum(deep, 0) / 25), 0.0)
    part = np.where(inside, 1 - mirrored - 0.04, 0.0)
    light = 0.6 * drawing.window(size) * (1 - cv2.GaussianBlur(part, (0, 0), blur))
    pixels = drawing.develop(light, gain=0.0)
    field = find_field(pixels)
    camera = camera_from_exif(*size, 52.0)
    shape = describe(pixels, field, field.blobs[0], camera)
    assert len(shape.threads) == 1
    rims, _ = learn_rims([shape], field, camera)
    assert rims.fall_px == 0.0
    assert rims.spread.blur_px == pytest.approx(blur, abs=0.5)
