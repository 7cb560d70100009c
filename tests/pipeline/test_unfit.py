"""What of a part the border of the light may cut."""

from types import SimpleNamespace

import numpy as np
import pytest

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
    crop = SimpleNamespace(origin_px=(0, 0), mask=np.zeros((20, 20), np.uint8), channel="mean")
    part = SimpleNamespace(cut_stations=np.array(stations, float), crop=crop)
    scene = SimpleNamespace(
        rims=SimpleNamespace(spread=SimpleNamespace(blur_px=0.7)),
        photo=SimpleNamespace(pixels=np.full((30, 30, 3), 90, np.uint8)),
    )
    part.crop.mask[8:12, 8:12] = 1
    problem = refusal(scene, Found(part=part, region=THREAD, number=1))
    return None if problem is None else problem.code


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
