"""What of a part the border of the light may cut, and what shows the light through."""

from types import SimpleNamespace

import numpy as np
import pytest

from pitchcam.objects.axis import ImageAxis
from pitchcam.objects.regions import Region
from pitchcam.pipeline.unfit import Found, refusal

CRESTS = 100.0 + 20.0 * np.arange(8)
THREAD = Region(
    start_px=90.0,
    end_px=250.0,
    spacing_px=20.0,
    depth_px=11.0,
    lag=0.5,
    crests=(CRESTS, CRESTS + 10),
    skew=0.0,
)


def cut_at(*stations):
    """Why a thread is refused whose part the border cuts at stations along its axis."""
    problem = problem_of(np.array(stations, float), np.full((300, 300), 0.02))
    return None if problem is None else problem.code


def problem_of(stations, light, *, sides=None):
    mask = np.zeros((20, 20), np.uint8)
    crop = SimpleNamespace(origin_px=(0, 0), mask=mask, channel="mean", light=light)
    along = np.arange(80.0, 260.0)
    sides = sides or (along, np.full(180, 60.0), np.full(180, -60.0))
    axis = ImageAxis(point_px=(0.0, 150.0), direction=(1.0, 0.0))
    places = np.stack([stations, np.full(len(stations), 60.0)], axis=1)
    part = SimpleNamespace(
        cut_stations=stations, cut_places=places, crop=crop, axis=axis, stations=sides
    )
    scene = SimpleNamespace(
        rims=SimpleNamespace(spread=SimpleNamespace(blur_px=0.7)),
        photo=SimpleNamespace(pixels=np.full((30, 30, 3), 90, np.uint8)),
    )
    part.crop.mask[8:12, 8:12] = 1
    return refusal(scene, Found(part=part, region=THREAD, number=1))


@pytest.mark.parametrize(
    ("stations", "code"),
    [
        ((), None),
        ((300.0, 340.0), None),  # the body beyond the thread
        ((40.0,), None),
        ((275.0, 300.0), "cut"),  # perhaps it went on
        ((-50.0, 170.0), "cut"),  # aslant, through the thread
    ],
)
def test_a_body_may_be_cut_but_not_a_thread(stations, code):
    assert cut_at(*stations) == code


def test_a_spring_is_told_as_one():
    light = np.full((300, 300), 0.02)
    light[:, np.arange(300) % 20 < 5] = 1.0
    problem = problem_of(np.array([]), light)
    assert problem.code == "no-thread" and "it is a spring" in problem.message


def sides_of(kind):
    """Stations of a thread from 90 to 250, and what leaves the picture at 600."""
    s = np.arange(0.0, 600.0)
    deep = 9 if "deep" in kind else 3
    upper = 60.0 + deep * np.sin(2 * np.pi * s / 20)
    lower = -60.0 + deep * np.sin(2 * np.pi * s / 20)
    if kind == "elbow":  # its leg bends away, far off the thread
        upper, lower = (side + np.where(s > 330, 0.8 * (s - 330), 0.0) for side in (upper, lower))
    if "overlaid" in kind:  # another silhouette begins beside the last turns
        upper = upper + np.where(s > 230, 40.0, 0.0)
    return s, upper, lower


@pytest.mark.parametrize(
    ("kind", "cut", "refused"),
    [
        ("plain", (599.0,), False),
        ("deep", (599.0,), False),
        ("deep overlaid", (599.0,), True),
        ("elbow", (599.0,), False),
        ("overlaid", (599.0,), True),
        ("overlaid", (), False),
    ],
)
def test_what_lies_over_a_part_and_runs_out_of_the_picture_is_told(kind, cut, refused):
    light = np.full((300, 600), 0.02)
    problem = problem_of(np.array(cut, float), light, sides=sides_of(kind))
    assert (problem is not None) is refused
    if problem is not None:
        assert problem.code == "touching" and "something lies over it" in problem.message
