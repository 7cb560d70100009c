"""One drawn picture of a pin, a card, a disc and a threaded part: what each room tells of it.

Truth is the drawing's own: shadows by OpenCV's projection, areas and distances by Shapely.
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import cv2
import numpy as np
import pytest
from scipy.special import ndtri
from shapely import LineString, Point, Polygon

from pitchcam.edges.arcs import ARCS, FAR_RAD, rim_arcs
from pitchcam.edges.falls import edge_falls, most_blur
from pitchcam.edges.straight import (
    bar_edges,
    corner_edges,
    learn_rims,
    plain_edges,
    sharpened_undone,
)
from pitchcam.errors import UnreadableError
from pitchcam.objects.field import find_field
from pitchcam.objects.regions import Region
from pitchcam.objects.shapes import describe, searched_all_round, slender, widest_stretch
from pitchcam.pipeline import own_scale
from pitchcam.pipeline.damage import refuse_waving
from pitchcam.scale.faces import straight_sides, traced_lengths, traced_sides
from pitchcam.scale.tilt import traced_window, window_edges, window_tilt
from tests.objects import drawing
from tests.objects.drawing import View
from tests.scale import looking

VIEW = View(size=(1400, 1050), f_px=2400.0)
BLUR, DARK, LEVEL = 1.0, 0.04, 0.86
#: How far out the level lies by the normal distribution, pixels.
OUT = BLUR * float(ndtri((LEVEL - DARK) / (1 - DARK)))

PIN = dict(middle=(-12.0, 30.0), angle=0.1, length=44.0, diameter=8.0)
CARD = np.array([[8.0, -38], [50, -38], [50, -11.5], [8, -11.5]])
DISC = dict(centre=(33.0, 20.0), radius=11.0, height=1.8)
#: The threaded part in pixels: pitch, both radii, head, place and turn.
PITCH, CREST, ROOT, HEAD, TURNS = 34.0, 90.0, 69.0, 130.0, 9
AT, TURN = np.array([370.0, 390.0]), 0.05


def profile() -> np.ndarray:
    """The part's silhouette in its own (s, t): head at the low end, ridges half a pitch apart."""
    sides = []
    for lag in (0.0, 0.5):
        s = np.arange(0.0, TURNS * PITCH, 0.25)
        u = np.abs((s / PITCH + lag) % 1 - 0.5) * 2
        sides.append(np.column_stack([s, ROOT + (CREST - ROOT) * np.clip(1.35 * u - 0.175, 0, 1)]))
    upper, lower = sides
    end = TURNS * PITCH
    return np.concatenate(
        [
            [[-70.0, HEAD], [0, HEAD]],
            upper,
            [[end + 4, ROOT], [end + 4, -ROOT]],
            (lower * [1, -1])[::-1],
            [[0.0, -HEAD], [-70, -HEAD]],
        ]
    )


def placed(st: np.ndarray) -> np.ndarray:
    c, s = math.cos(TURN), math.sin(TURN)
    return st @ np.array([[c, s], [-s, c]]) + AT - [TURNS * PITCH / 2, 0]


PART = placed(profile())


def part_light() -> np.ndarray:
    """The part's shadow, drawn four times as fine."""
    fine = np.zeros((VIEW.size[1] * 4, VIEW.size[0] * 4), np.uint8)
    cv2.fillPoly(fine, [np.round((PART * 4 + 1.5) * 16).astype(np.int32)], 255, shift=4)
    small = cv2.resize(fine, VIEW.size, interpolation=cv2.INTER_AREA).astype(float) / 255
    return 1 - (1 - DARK) * cv2.GaussianBlur(small, (0, 0), math.sqrt(BLUR**2 - 1 / 12))


def card_outline() -> np.ndarray:
    return looking.solid(VIEW, drawing.prism(CARD, 0.0, 0.76))


def pin_outline() -> np.ndarray:
    return looking.solid(VIEW, drawing.pin(**PIN))


def disc_outline() -> np.ndarray:
    d = DISC
    rims = [drawing.ring(d["centre"], d["radius"], h) for h in (0.0, d["height"])]
    return looking.solid(VIEW, np.concatenate(rims))


@pytest.fixture(scope="module")
def seen() -> dict:
    shadows = {"bar": pin_outline(), "card": card_outline(), "disc": disc_outline()}
    light = looking.picture(VIEW, *shadows.values(), blur=BLUR) * part_light()
    pixels = drawing.develop(light, gain=0.0, noise=0.002)
    field = find_field(pixels)
    camera = looking.camera(VIEW)
    shapes = [describe(pixels, field, b, camera) for b in field.blobs]
    by_kind = {s.kind: s for s in shapes}
    return {"field": field, "camera": camera, "shapes": shapes, "pixels": pixels, **by_kind}


def test_every_object_is_found_for_what_it_is(seen) -> None:
    assert sorted(s.kind for s in seen["shapes"]) == ["bar", "card", "disc", "other"]
    assert [bool(s.threads) for s in seen["shapes"] if s.kind == "other"] == [True]
    assert not any(s.blob.cut or s.blob.touching for s in seen["shapes"])


@pytest.mark.parametrize("kind", ["bar", "card", "disc", "other"])
def test_an_outline_encloses_the_shadow_and_the_blur(seen, kind: str) -> None:
    truth = {"bar": pin_outline, "card": card_outline, "disc": disc_outline, "other": lambda: PART}
    true, found = Polygon(truth[kind]()), Polygon(seen[kind].outline_px)
    grown = true.buffer(OUT)
    # A buffer rounds no groove as the blur does.
    assert found.area == pytest.approx(grown.area, rel=0.006)
    assert found.symmetric_difference(grown).area < 0.01 * true.area
    x0, y0, x1, y1 = seen[kind].blob.box_px
    assert Polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]).buffer(8).contains(true)


@pytest.mark.parametrize("kind", ["bar", "card", "disc", "other"])
def test_middles_and_extents_are_the_shadows(seen, kind: str) -> None:
    truth = {"bar": pin_outline, "card": card_outline, "disc": disc_outline, "other": lambda: PART}
    x0, y0, x1, y1 = Polygon(truth[kind]()).bounds
    assert seen[kind].centre_px == pytest.approx([(x0 + x1) / 2, (y0 + y1) / 2], abs=1.0)
    longest = math.hypot(x1 - x0, y1 - y0)
    assert seen[kind].width_px <= seen[kind].length_px * 1.02 or kind == "disc"
    assert seen[kind].length_px < longest + 6
    assert not seen[kind].lopsided
    assert seen[kind].cut_stations.shape == (0,)


def test_what_the_border_cuts_off_is_no_end_face(seen) -> None:
    part = seen["other"]
    ends = {face.end for face in part.end_faces}
    assert ends
    for end in ends:
        s = part.stations[0][0 if end < 0 else -1]
        (at,) = part.axis.to_photo(np.array([[s, 3.0]]))
        cut = replace(part, blob=replace(part.blob, border_px=((float(at[0]), float(at[1])),)))
        assert {face.end for face in cut.end_faces} == ends - {end}
        assert cut.cut_places == pytest.approx(np.array([[s, 3.0]]))


def test_the_threads_axis_spacing_and_turns(seen) -> None:
    part = seen["other"]
    way = np.array(part.axis.direction)
    assert abs(way @ [math.cos(TURN), math.sin(TURN)]) == pytest.approx(1.0, abs=2e-5)
    for s in (0.0, TURNS * PITCH):
        assert abs(part.axis.to_axis(placed(np.array([s, 0.0])))[1]) < 0.5
    (thread,) = part.threads
    assert thread.spacing_px == pytest.approx(PITCH, rel=0.005)
    assert thread.depth_px == pytest.approx(CREST - ROOT, abs=1.5)
    # The drawing is flat: what a solid's sides are seen shifted is taken off all the same.
    assert abs(thread.lag) == pytest.approx(0.5, abs=0.06)
    assert thread.turns == pytest.approx(TURNS, abs=1.0)
    assert thread.end_px - thread.start_px == pytest.approx(TURNS * PITCH, abs=1.2 * PITCH)


def test_a_heads_stretch_is_the_widest(seen) -> None:
    start, end, width = widest_stretch(seen["other"])
    assert width == pytest.approx(2 * (HEAD + OUT), abs=0.7)
    assert end - start == pytest.approx(70, abs=5)
    assert seen["other"].width_px == pytest.approx(width, abs=1.0)
    assert not slender(seen["other"].stations), "370 px long and 260 wide"
    assert slender(seen["bar"].stations)


def test_a_shape_that_shows_its_thread_needs_no_search_all_round(seen) -> None:
    found = searched_all_round(replace(seen["bar"], threads=()), seen["camera"])
    assert found.threads == () and found.axis == seen["bar"].axis


@pytest.mark.parametrize("unit", [1.0, 2.0])
def test_a_pins_edges_lie_along_its_sides(seen, unit: float) -> None:
    edges = bar_edges(seen["bar"], seen["field"], unit)
    ring = Polygon(pin_outline()).exterior
    assert len(edges) == 2
    assert edges[0].normal @ edges[1].normal == pytest.approx(-1.0, abs=1e-3)
    for edge in edges:
        for end in (edge.start, edge.end):
            out = 1 if not Polygon(pin_outline()).contains(Point(end)) else -1
            assert out * ring.distance(Point(end)) == pytest.approx(OUT, abs=0.15)
        assert all(p.dark == pytest.approx(DARK, abs=0.02) for p in edge.profiles)
        assert all(p.radius_px is not None for p in edge.profiles)
        assert edge.at == tuple(sorted(edge.at)) and max(map(abs, edge.at)) < 1


def test_a_cards_sharp_edges_look_away_from_the_middle(seen) -> None:
    """Toward it the wall shows: those are left out."""
    edges = plain_edges(seen["card"], seen["field"], seen["camera"].centre_px)
    centre = np.array(seen["camera"].centre_px)
    assert edges
    for edge in edges:
        assert ((edge.start + edge.end) / 2 - centre) @ edge.normal > 0
        assert all(p.radius_px is None for p in edge.profiles), "a corner has no radius"
    assert plain_edges(seen["disc"], seen["field"], seen["camera"].centre_px) == []
    assert plain_edges(seen["bar"], seen["field"], seen["camera"].centre_px) == []


def test_a_heads_edges_are_corners_or_round_as_told(seen) -> None:
    sharp, round_ = (corner_edges(seen["other"], seen["field"], is_round=r) for r in (False, True))
    assert len(sharp) == len(round_) == 2
    assert all(p.radius_px is None for e in sharp for p in e.profiles)
    radii = [p.radius_px for e in round_ for p in e.profiles]
    assert radii == pytest.approx([HEAD + OUT] * len(radii), abs=0.7)
    for edge in sharp:
        st = seen["other"].axis.to_axis(np.stack([edge.start, edge.end]))
        assert np.abs(st[:, 1]) == pytest.approx([HEAD + OUT] * 2, abs=0.4)


def test_a_discs_far_rim_is_taken_in_arcs(seen) -> None:
    arcs = rim_arcs(seen["disc"], seen["camera"].centre_px)
    middle = disc_outline().mean(axis=0)
    away = middle - seen["camera"].centre_px
    assert len(arcs) == ARCS
    for arc in arcs:
        assert np.hypot(*arc.normal) == pytest.approx(1.0)
        turn = abs(
            math.atan2(
                *np.cross(np.append(away, 0), np.append(arc.normal, 0))[2:], away @ arc.normal
            )
        )
        assert turn < FAR_RAD
        assert Polygon(disc_outline()).exterior.distance(Point(arc.start)) < OUT + 1
    other = rim_arcs(seen["disc"], tuple(2 * middle - seen["camera"].centre_px))
    assert other[0].normal @ arcs[0].normal < 0, "seen from beyond, the far rim is the other one"


def test_all_edges_together_tell_the_blur_and_no_sharpening(seen) -> None:
    rims, pins = learn_rims(seen["shapes"], seen["field"], seen["camera"])
    assert rims.spread.blur_px == pytest.approx(BLUR, abs=max(0.12, 2 * rims.spread.u_blur_px))
    assert rims.spread.gain < 0.15
    (edges,) = pins.values()
    width = abs(
        (edges[0].start_px - edges[1].start_px) @ bar_edges(seen["bar"], seen["field"])[0].normal
    )
    true = Polygon(pin_outline()).minimum_rotated_rectangle
    sides = sorted(LineString(list(true.exterior.coords)[i : i + 2]).length for i in range(4))
    u = math.hypot(*(e.u_px for e in edges))
    assert abs(width - sides[0]) < 2.5 * u + 0.2
    undone = sharpened_undone(seen["card"], rims)
    assert undone.outline_px == pytest.approx(seen["card"].outline_px) or rims.spread.gain >= 0.01


def test_the_sharpest_falls_are_the_blur(seen) -> None:
    for shape in seen["shapes"]:
        falls = edge_falls(shape)
        assert falls is not None
        assert np.median(falls[0]) == pytest.approx(BLUR, rel=0.25)
        assert (falls[1] >= 0).all() and (falls[1] < math.pi).all()
    assert most_blur(seen["shapes"]) == pytest.approx(BLUR, rel=0.25)
    assert most_blur([]) == 0.0


def test_sides_of_what_has_no_thread_are_traced(seen) -> None:
    for kind, made in (("card", True), ("bar", True)):
        sides, steps = straight_sides(seen[kind]), traced_sides(seen[kind])
        truth = {"card": card_outline, "bar": pin_outline}[kind]()
        assert len(sides) == len(steps) >= 2
        for bent, traced in zip(sides, steps, strict=True):
            assert traced.straight is made and traced.of == seen[kind].blob.label
            off = [Polygon(truth).exterior.distance(Point(p)) for p in traced.places_px]
            assert max(off) < OUT + 0.5
            assert len(traced.places_px) >= len(bent.places_px) - 1
    assert straight_sides(seen["disc"]) == [] and straight_sides(seen["other"]) == []


def test_the_window_is_traced_all_round_and_square(seen) -> None:
    """Drawn 40 pixels within the picture."""
    steps, edges = traced_window(seen["field"]), window_edges(seen["field"])
    w, h = VIEW.size
    frame = Polygon([(40, 40), (w - 40, 40), (w - 40, h - 40), (40, h - 40)]).exterior
    assert len(steps) == len(edges) == 4
    for side in steps:
        off = [frame.distance(Point(p)) for p in side.places_px]
        assert np.median(off) < 1.0
    normal, u = window_tilt(seen["field"], looking.camera(VIEW, tilt=False))
    assert math.degrees(math.acos(normal[2])) < 0.3
    assert math.degrees(u) < 1.0


def test_a_whole_picture_does_not_wave_and_a_moved_one_does(seen) -> None:
    refuse_waving(seen["field"], seen["shapes"])
    rows = np.arange(VIEW.size[1])
    moved = np.round(2.5 * np.sin(rows / 40)).astype(int)
    hurt = np.stack([np.roll(row, m, axis=0) for row, m in zip(seen["pixels"], moved, strict=True)])
    field = find_field(hurt)
    shapes = [describe(hurt, field, b, seen["camera"]) for b in field.blobs]
    with pytest.raises(
        UnreadableError, match="The photo is damaged: its straight edges wave"
    ) as caught:
        refuse_waving(field, shapes)
    assert caught.value.code == "damaged"


def part_of(bar):
    """The pin as the plain length of a part, its thread beyond what is seen or all along it."""
    region = Region(
        start_px=1e4,
        end_px=1.1e4,
        spacing_px=30.0,
        depth_px=15.0,
        lag=0.5,
        crests=((0.0,), (0.0,)),
        skew=0.0,
    )
    s = bar.stations[0]
    along = replace(region, start_px=s[0], end_px=s[-1])
    return [replace(bar, threads=(r,), kind="other") for r in (region, along)]


def test_plain_lengths_of_a_part_are_traced_and_threads_are_not(seen) -> None:
    plain, threaded = part_of(seen["bar"])
    sides = traced_lengths(plain)
    assert len(sides) == 2 and all(e.straight and e.of == plain.blob.label for e in sides)
    off = [Polygon(pin_outline()).exterior.distance(Point(p)) for e in sides for p in e.places_px]
    assert max(off) < OUT + 0.5
    assert traced_lengths(threaded) == [] and traced_lengths(seen["bar"]) == []
    assert traced_sides(plain) == []


def test_in_a_frame_filled_by_light_a_parts_own_length_tells(seen) -> None:
    """Without the light's border, pin or card nothing else is straight."""
    filled = replace(seen["field"], full_frame=True)
    plain, threaded = part_of(seen["bar"])
    assert refuse_waving(seen["field"], seen["shapes"])
    assert refuse_waving(filled, [plain]) and not refuse_waving(filled, [threaded, seen["disc"]])
    moved = np.round(1.4 * np.sin(np.arange(VIEW.size[0]) / 40)).astype(int)
    columns = zip(seen["pixels"].swapaxes(0, 1), moved, strict=True)
    hurt = np.stack([np.roll(c, m, axis=0) for c, m in columns]).swapaxes(0, 1)
    field = find_field(np.ascontiguousarray(hurt))
    near = min(field.blobs, key=lambda b: abs(b.area_px - seen["bar"].blob.area_px))
    shape = describe(hurt, field, near, seen["camera"])
    with pytest.raises(UnreadableError, match="wave in step along the columns"):
        refuse_waving(replace(field, full_frame=True), part_of(shape)[:1])


def test_a_disc_right_under_the_camera_has_arcs_all_the_same(seen) -> None:
    """Neither half of it is the near one there."""
    disc = seen["disc"]
    middle = disc.outline_px.mean(axis=0)
    arcs = rim_arcs(disc, (float(middle[0]), float(middle[1])))
    assert 0 < len(arcs) <= ARCS
    assert all(
        np.hypot(*(arc.start - middle)) == pytest.approx(disc.width_px / 2, abs=4) for arc in arcs
    )


def test_a_thread_beyond_what_is_seen_gives_no_scale(seen) -> None:
    plain, _ = part_of(seen["bar"])
    with pytest.raises(UnreadableError, match="they give no scale") as caught:
        own_scale.from_crests(SimpleNamespace(), [plain], 10.0)
    assert caught.value.code == "not-read"
