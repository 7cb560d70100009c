"""Backgrounds, faces, peaks, pieces and circles: small drawings, answers by construction."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import label as scipy_label
from scipy.signal import find_peaks as scipy_peaks
from shapely import Polygon
from skimage.measure import CircleModel

from pitchcam.errors import OutlineError
from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.background import BRIGHTEST, DARKEST, Backdrop, fit_backdrop
from pitchcam.objects.contour import FEWEST_POINTS, FIBRE_PX, Crop, outline
from pitchcam.objects.end_face import LEAST_RADIUS_PX, MOST_BULGE, end_face
from pitchcam.objects.field import STEP, to_photo
from pitchcam.objects.peaks import find_peaks
from pitchcam.objects.shapes import circle_share, fit_circle
from pitchcam.objects.split import NECK_SHARE, split_touching
from pitchcam.objects.window import window_sides

RNG = np.random.default_rng(8)
SIZE = (1200, 900)
X, Y = RNG.uniform(0, 1200, 800), RNG.uniform(0, 900, 800)


#: Cubic and quartic terms: there are none.
BEYOND = (0.0,) * 9


def quadratic(c, x=X, y=Y) -> np.ndarray:
    """exp of a quadratic in positions scaled about the middle, written out."""
    u, v = (x - 600) / 600, (y - 450) / 600
    return np.exp(c[0] + c[1] * u + c[2] * v + c[3] * u * u + c[4] * u * v + c[5] * v * v)


FALLS = {
    "flat": (math.log(0.6), 0, 0, 0, 0, 0),
    "a slope": (math.log(0.6), 0.2, -0.1, 0, 0, 0),
    "vignetting": (math.log(0.7), 0, 0, -0.4, 0, -0.4),
    "all terms": (math.log(0.5), 0.1, 0.05, -0.2, 0.1, -0.3),
}


@pytest.mark.parametrize("c", FALLS.values(), ids=FALLS)
def test_a_background_comes_back_from_its_points(c) -> None:
    found = fit_backdrop(quadratic(c)[None].astype(np.float32), X, Y, SIZE)
    assert found.coefficients[0] == pytest.approx([*c, *BEYOND], abs=1e-3)
    assert found.level(np.array([600.0]), np.array([450.0]))[0, 0] == pytest.approx(
        math.exp(c[0]), rel=1e-4
    )


@pytest.mark.parametrize("share", [0.1, 0.3, 0.45])
def test_parts_on_the_light_do_not_darken_it(share: float) -> None:
    c = FALLS["vignetting"]
    light = quadratic(c)
    light[RNG.random(len(X)) < share] *= 0.04
    found = fit_backdrop(light[None].astype(np.float32), X, Y, SIZE)
    assert found.level(X, Y)[0] == pytest.approx(quadratic(c), rel=0.02)


def test_channels_are_fitted_each_by_itself() -> None:
    a, b = FALLS["a slope"], FALLS["vignetting"]
    found = fit_backdrop(np.stack([quadratic(a), quadratic(b)]).astype(np.float32), X, Y, SIZE)
    assert found.coefficients[0] == pytest.approx([*a, *BEYOND], abs=1e-3)
    assert found.coefficients[1] == pytest.approx([*b, *BEYOND], abs=1e-3)


#: A panel whose light falls to 0.65 in its corners, under a lens that lets 0.88 through there.
PANEL, LENS = 0.35, 0.12


def of_panel(x, y, slope=0.04) -> np.ndarray:
    """Light as it is made: linear in the squares of two distances, and in one."""
    u, v = (x - 600) / 600, (y - 450) / 450
    return 0.6 * (1 - PANEL * (u * u + v * v) / 2 + slope * u) * (1 - LENS * (u * u + v * v) / 2)


@pytest.mark.parametrize("seed", range(3))
def test_a_panel_s_light_is_followed_into_its_corners_whichever_points_show_it(seed) -> None:
    """Light is no exp of a quadratic: that left 3 % in the corners here, by where points lay."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 1200, 3000), rng.uniform(0, 900, 3000)
    # A part covers a third of them, and another's blurred border some.
    light = of_panel(x, y) * rng.normal(1, 0.003, len(x))
    light[x + 0.4 * y < 400] *= 0.03
    near = (x + 0.4 * y > 400) & (x + 0.4 * y < 430)
    light[near] *= rng.uniform(0.3, 1.0, np.count_nonzero(near))
    found = fit_backdrop(light[None].astype(np.float32), x, y, SIZE)
    seen = x + 0.4 * y > 430
    off = found.level(x[seen], y[seen])[0] / of_panel(x[seen], y[seen]) - 1
    assert np.abs(off).max() < 0.005
    assert np.sqrt(np.mean(off**2)) < 6e-4


def test_the_fit_has_settled_and_its_points_hardly_move_it() -> None:
    """Two halves of one photo's points tell one light, to what their noise leaves."""
    rng = np.random.default_rng(5)
    x, y = rng.uniform(0, 1200, 3000), rng.uniform(0, 900, 3000)
    light = of_panel(x, y) * rng.normal(1, 0.01, len(x))
    light[(x - 500) ** 2 + (y - 300) ** 2 < 250**2] *= rng.uniform(0.02, 1.0)
    halves = [
        fit_backdrop(light[None, i::2].astype(np.float32), x[i::2], y[i::2], SIZE) for i in (0, 1)
    ]
    one, other = (
        half.level(np.arange(0, 1200, 50.0), np.arange(0, 900, 50.0)[:, None]) for half in halves
    )
    assert np.abs(one / other - 1).max() < 0.006
    assert np.sqrt(np.mean((one / other - 1) ** 2)) < 0.0015


def test_more_exposure_is_more_of_the_same() -> None:
    c = FALLS["all terms"]
    one, two = (
        fit_backdrop((g * quadratic(c))[None].astype(np.float32), X, Y, SIZE) for g in (0.5, 1.0)
    )
    assert two.coefficients[0, 0] - one.coefficients[0, 0] == pytest.approx(math.log(2), abs=1e-4)
    assert two.coefficients[0, 1:] == pytest.approx(one.coefficients[0, 1:], abs=1e-3)


def test_a_background_stays_within_light_that_can_be() -> None:
    wild = Backdrop(
        coefficients=np.array([[0, 40.0, 0, 0, 0, 0, *BEYOND]]), centre_px=(0, 0), half_px=1.0
    )
    assert wild.level(np.array([-5.0, 5.0]), np.zeros(2))[0] == pytest.approx([DARKEST, BRIGHTEST])


def test_a_row_and_a_column_make_a_grid() -> None:
    backdrop = Backdrop(
        coefficients=np.array([[*FALLS["all terms"], *BEYOND]]), centre_px=(600, 450), half_px=600.0
    )
    x, y = np.arange(5.0) * 200, np.arange(3.0)[:, None] * 300
    grid = backdrop.level(x, y)
    assert grid.shape == (1, 3, 5)
    assert grid[0] == pytest.approx(quadratic(FALLS["all terms"], x, y), rel=1e-5)


def test_points_of_the_shrunk_picture_stand_for_their_squares() -> None:
    """The middle of pixels 0 to 3 is 1.5."""
    assert to_photo(np.array([0.0, 1.0, 10.0])) == pytest.approx([1.5, 5.5, 41.5])
    assert np.diff(to_photo(np.arange(4.0))) == pytest.approx([STEP] * 3)


def spot(radius: float, *, size=160, at=(80.3, 79.6), blur=1.0, dark=0.05) -> Crop:
    """A dark disc on light 1."""
    y, x = np.mgrid[0:size, 0:size].astype(float)
    off = np.hypot(x - at[0], y - at[1]) - radius
    light = dark + (1 - dark) / (1 + np.exp(-off / blur * 1.7))
    return Crop(
        light=light.astype(np.float32),
        origin_px=(1000, 2000),
        mask=(light < 0.86).astype(np.uint8),
        channel="grey",
        background_code=0.6,
    )


@pytest.mark.parametrize("level", [0.3, 0.525, 0.86])
def test_an_outline_is_closed_and_encloses_its_disc(level: float) -> None:
    points = outline(spot(50.0), level)
    assert (points[0] == points[-1]).all()
    area = Polygon(points).area
    grown = 50 + 1.0 / 1.7 * math.log((level - 0.05) / (1 - level))
    assert math.sqrt(area / math.pi) == pytest.approx(grown, abs=0.1)
    assert points.mean(axis=0) == pytest.approx([1080.3, 2079.6], abs=0.2)
    steps = np.hypot(*np.diff(points, axis=0).T)
    assert steps.max() < 1.5, "a point a pixel"


def test_a_hole_of_mirrored_light_is_no_border() -> None:
    crop = spot(50.0)
    crop.light[70:90, 70:90] = 0.97
    assert outline(crop, 0.5) == pytest.approx(outline(spot(50.0), 0.5), abs=1e-6)


def test_a_level_that_nothing_reaches_and_a_speck_are_refused() -> None:
    pale = spot(40.0, dark=0.5)
    with pytest.raises(OutlineError, match="nothing of the object is darker than the level"):
        outline(pale, 0.3, fill_px=80)
    with pytest.raises(OutlineError, match="the outline has only .* points"):
        outline(spot(2.0, blur=0.4), 0.5, fill_px=40)
    assert FEWEST_POINTS > 8


def test_light_is_taken_where_the_photo_has_it() -> None:
    crop = spot(50.0)
    h, w = crop.light.shape
    assert crop.sample(np.array([[1010.0, 2020.0]])) == pytest.approx([crop.light[20, 10]])
    half = (crop.light[20, 10] + crop.light[20, 11]) / 2
    assert crop.sample(np.array([[1010.5, 2020.0]])) == pytest.approx([half])
    far = crop.sample(np.array([[0.0, 0.0], [9e3, 9e3]]))
    assert far == pytest.approx([crop.light[0, 0], crop.light[h - 1, w - 1]])
    theirs = cv2.remap(
        crop.light, np.float32([[33.3, 71.9]]), np.float32([[40.7, 52.1]]), cv2.INTER_LINEAR
    )
    ours = crop.sample(np.array([[1033.3, 2040.7], [1071.9, 2052.1]]))
    assert ours == pytest.approx(theirs[0], abs=2e-3)
    assert FIBRE_PX < 2 * 28


def ended(
    radius: float, bulge: float, *, deg=0.0, chamfer=20.0, noise=0.0
) -> tuple[np.ndarray, ImageAxis]:
    """The outline's end: half an ellipse, then a chamfer of 45 degrees and the sides."""
    t = np.arange(-radius, radius + 0.25, 0.5)
    face = np.column_stack([bulge * np.sqrt(np.maximum(radius**2 - t**2, 0)), t])
    c = np.arange(0.5, chamfer, 0.5)
    low = np.column_stack([-c, -radius - c])
    high = np.column_stack([-c, radius + c])
    body = np.arange(chamfer, 300.0, 0.7)
    side = np.column_stack([-body, np.full(len(body), radius + chamfer)])
    st_ = np.concatenate([side[::-1] * [1, -1], low[::-1], face, high, side])
    st_[:, 0] += RNG.normal(0, noise, len(st_)) if noise else 0.0
    a = math.radians(deg)
    axis = ImageAxis(point_px=(900.0, 600.0), direction=(math.cos(a), math.sin(a)))
    return axis.to_photo(st_), axis


@pytest.mark.parametrize("bulge", [0.0, 0.05, 0.2, 0.35])
@pytest.mark.parametrize("deg", [0.0, 63.0])
def test_a_face_seen_aslant_bulges_by_the_sine(bulge: float, deg: float) -> None:
    points, axis = ended(90.0, bulge, deg=deg)
    face = end_face(points, axis, 1.0)
    assert face is not None
    assert face.radius_px == pytest.approx(90.0, rel=0.04)
    assert abs(face.bulge - bulge) < 1.5 * face.u_bulge
    assert face.bulge == pytest.approx(bulge, abs=0.02)
    assert face.end == 1.0
    assert abs(face.s_px) < 1.5


def test_the_other_end_is_the_same_seen_from_there() -> None:
    points, axis = ended(90.0, 0.2)
    turned = ImageAxis(point_px=axis.point_px, direction=(-axis.direction[0], -axis.direction[1]))
    one, other = end_face(points, axis, 1.0), end_face(points, turned, -1.0)
    assert one is not None and other is not None
    assert (other.bulge, other.radius_px) == pytest.approx((one.bulge, one.radius_px), rel=0.01)
    assert other.s_px == pytest.approx(-one.s_px, abs=0.2)
    assert other.end == -1.0


def test_a_clean_face_tells_its_slant_to_a_hundredth_of_its_radius() -> None:
    """A face that bends by nothing else is told by the places of its outline, and by its radius."""
    flat, round_ = (end_face(*ended(90.0, b), 1.0) for b in (0.0, 0.3))
    assert flat is not None and round_ is not None
    # sqrt(2) 0.15 / (0.61 90) and, of the bulge, 2 %.
    assert flat.u_bulge == pytest.approx(0.0039, rel=0.15)
    assert round_.u_bulge == pytest.approx(np.hypot(flat.u_bulge, 0.006), rel=0.1)


def test_a_rougher_outline_is_less_sure() -> None:
    smooth, rough = (end_face(*ended(90.0, 0.2, noise=n), 1.0) for n in (0.0, 0.8))
    assert smooth is not None and rough is not None
    assert rough.u_bulge > 1.3 * smooth.u_bulge
    assert abs(rough.bulge - 0.2) < 2 * rough.u_bulge


def test_a_larger_face_tells_its_slant_better() -> None:
    small, large = (end_face(*ended(r, 0.1), 1.0) for r in (40.0, 160.0))
    assert small is not None and large is not None
    assert small.u_bulge > 2.5 * large.u_bulge


@pytest.mark.parametrize("radius", [3.0, 8.0])
def test_a_face_of_a_few_pixels_says_nothing(radius: float) -> None:
    assert radius < LEAST_RADIUS_PX
    assert end_face(*ended(radius, 0.1, chamfer=40.0), 1.0) is None


def test_where_an_outline_skips_a_place_the_other_end_is_not_seen() -> None:
    """On one side of the axis every fourth place of the face has no point."""
    points, axis = ended(90.0, 0.2)
    t = points[:, 1] - 600.0
    back = np.column_stack([np.full(len(t), 600.0), points[:, 1]])
    skipped = (points[:, 0] > 880.0) & (t > 10.0) & (np.round(t) % 4 == 0)
    whole, broken = (
        end_face(np.concatenate([own, back]), axis, 1.0) for own in (points, points[~skipped])
    )
    assert whole is not None and broken is not None
    # A stray end at a quarter of the places on one side turned it by 0.007, half of its u.
    assert broken.bulge == pytest.approx(whole.bulge, abs=0.002)
    assert broken.s_px == pytest.approx(whole.s_px, abs=0.2)


def test_a_dome_is_no_face() -> None:
    t = np.linspace(-math.pi / 2, math.pi / 2, 400)
    body = np.arange(0.5, 300, 0.7)
    side = np.column_stack([-body, np.full(len(body), 90.0)])
    st_ = np.concatenate(
        [side[::-1] * [1, -1], np.column_stack([0.9 * 90 * np.cos(t), 90 * np.sin(t)]), side]
    )
    face = end_face(st_ + [900, 600], ImageAxis(point_px=(900.0, 600.0), direction=(1.0, 0.0)), 1.0)
    assert face is None or abs(face.bulge) <= MOST_BULGE


@settings(max_examples=60, deadline=None)
@given(
    values=st.lists(st.integers(-20, 20), min_size=1, max_size=60),
    prominence=st.integers(1, 12),
    apart=st.integers(1, 9),
)
def test_peaks_of_any_whole_numbers_are_scipys(values, prominence, apart) -> None:
    # Ties of height are broken by place, in SciPy as here not told: tiny steps part them.
    profile = np.array(values, float) + 1e-6 * np.arange(len(values)) % 1e-4
    places, heights = find_peaks(profile, prominence, apart)
    theirs, more = scipy_peaks(profile, prominence=prominence, distance=apart)
    assert places.tolist() == theirs.tolist()
    assert heights == pytest.approx(more["prominences"])


def test_peaks_do_not_know_level_or_unit() -> None:
    profile = np.cumsum(RNG.normal(size=300))
    places, heights = find_peaks(profile, 1.5, 5)
    assert len(places) > 3
    same, larger = find_peaks(3 * profile + 40, 4.5, 5)
    assert same.tolist() == places.tolist()
    assert larger == pytest.approx(3 * heights)
    back, _ = find_peaks(profile[::-1], 1.5, 5)
    assert (len(profile) - 1 - back[::-1]).tolist() == places.tolist()


def two_discs(neck: int) -> np.ndarray:
    mask = np.zeros((120, 260), np.uint8)
    for x in (70, 190):
        cv2.circle(mask, (x, 60), 50, 1, cv2.FILLED)
    mask[60 - neck // 2 : 60 + (neck + 1) // 2, 70:190] = 1
    return mask


@pytest.mark.parametrize("neck", [4, 14, 30])
def test_a_contact_parts_and_its_pieces_fill_the_whole(neck: int) -> None:
    mask = two_discs(neck)
    pieces = split_touching(mask)
    assert pieces is not None
    assert sorted(np.unique(pieces)) == [0, 1, 2]
    assert ((pieces > 0) == (mask > 0)).all()
    one, two = (int((pieces == k).sum()) for k in (1, 2))
    assert one / two == pytest.approx(1.0, abs=0.05)
    for k in (1, 2):
        assert scipy_label(pieces == k)[1] == 1
    assert pieces[60, 40] != pieces[60, 220]


@pytest.mark.parametrize("neck", [60, 90])
def test_a_shank_holds_together(neck: int) -> None:
    assert neck / 100 > NECK_SHARE
    assert split_touching(two_discs(neck)) is None


def test_pieces_do_not_know_which_way_they_lie() -> None:
    mask = two_discs(14)
    pieces = split_touching(mask)
    turned = split_touching(np.ascontiguousarray(mask.T))
    assert pieces is not None and turned is not None
    assert {int((k == turned.T).sum()) for k in (1, 2)} == {
        int((pieces == k).sum()) for k in (1, 2)
    }


@pytest.mark.parametrize("radius", [30.0, 400.0])
@pytest.mark.parametrize("arc", [1.2, 0.6])
def test_a_circle_through_its_points_is_scikit_images(radius: float, arc: float) -> None:
    a = np.linspace(0, arc * math.pi, 500)
    ring = np.column_stack([700 + radius * np.cos(a), 500 + radius * np.sin(a)])
    ring += RNG.normal(0, 0.1, ring.shape)
    centre, found, on = fit_circle(ring)
    assert on.mean() > 0.99
    theirs = CircleModel.from_estimate(ring)
    assert found == pytest.approx(radius, rel=0.02)
    assert np.hypot(*(centre - (700, 500))) < 0.02 * radius
    assert found == pytest.approx(float(theirs.radius), rel=0.02)


@pytest.mark.parametrize("cut", [0.0, 0.15, 0.3])
def test_so_much_of_a_cut_disc_lies_on_its_circle(cut: float) -> None:
    a = np.linspace(0, 2 * math.pi * (1 - cut), 900)
    ring = np.column_stack([600 + 200 * np.cos(a), 400 + 200 * np.sin(a)])
    chord = np.linspace(ring[-1], ring[0], max(2, round(900 * cut)))
    share = circle_share(np.concatenate([ring, chord]))
    assert share == pytest.approx(len(ring) / (len(ring) + len(chord)), abs=0.04)


@pytest.mark.parametrize("by", [0.5, 1.0, 3.0])
@pytest.mark.parametrize("turn", [0.0, 1.0])
def test_the_share_does_not_know_size_or_turn(by: float, turn: float) -> None:
    a = np.linspace(0, 2 * math.pi, 900)
    r = 200 + np.where((a > 1) & (a < 2), 25.0, 0.0)
    ring = by * np.column_stack([r * np.cos(a + turn), r * np.sin(a + turn)])
    assert circle_share(ring + 700) == pytest.approx(1 - 1 / (2 * math.pi), abs=0.02)


@pytest.mark.parametrize("radius", [10.0, 15.0])
def test_a_dot_is_no_disc(radius: float) -> None:
    a = np.linspace(0, 2 * math.pi, 300)
    assert circle_share(100 + radius * np.column_stack([np.cos(a), np.sin(a)])) == 0.0


def test_a_short_arc_of_a_large_circle_is_no_disc() -> None:
    a = np.linspace(-0.25, 0.25, 600)
    assert circle_share(2000 * np.column_stack([np.cos(a), np.sin(a)])) == 0.0


@pytest.mark.parametrize("deg", [0.0, 6.0])
def test_the_windows_sides_lie_where_the_light_ends(deg: float) -> None:
    """Shapely's rectangle is the truth; places lie within a fraction of a point of it."""
    a = math.radians(deg)
    turn = np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
    corners = np.array([[-500.0, -350], [500, -350], [500, 350], [-500, 350]]) @ turn + [700, 500]
    y, x = np.mgrid[0:250, 0:350].astype(float)
    at = np.stack([4 * x + 1.5, 4 * y + 1.5], axis=-1) - [700, 500]
    local = at @ turn.T
    off = np.minimum(500 - np.abs(local[..., 0]), 350 - np.abs(local[..., 1])) / 4
    light = (0.6 / (1 + np.exp(-2 * off))).astype(np.float32)
    sides = window_sides(light, corners, 4)
    assert all(side is not None for side in sides)
    truth = Polygon(corners).exterior
    for side in sides:
        off_px = np.array([math.copysign(truth.distance(p), 1) for p in map(_point, side)])
        assert len(side) >= 40
        assert off_px.max() < 1.5
        assert np.ptp(side, axis=0).max() > 0.7 * 700


def _point(xy: np.ndarray):
    from shapely import Point

    return Point(*xy)


def test_light_that_runs_out_of_the_picture_has_no_sides() -> None:
    light = np.full((200, 300), 0.6, np.float32)
    corners = np.array([[0.0, 0], [1199, 0], [1199, 799], [0, 799]])
    assert window_sides(light, corners, 4) == (None, None, None, None)
