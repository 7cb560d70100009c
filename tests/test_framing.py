"""Hints for a live frame, on the sample photos made small as a browser makes them."""

import cv2
import numpy as np
import pytest

from pitchcam.errors import InputError
from pitchcam.framing import HINTS, look_at
from pitchcam.records import ScaleSpec
from tests.page.running import SAMPLES

PIN = ScaleSpec(source="pin", mm=8.0)


def frame(name: str, *, width: int = 960, shift: int = 0, gain: float = 1.0) -> bytes:
    photo = cv2.imread(str(SAMPLES / f"{name}.jpg"))
    small = cv2.resize(photo, (width, width * 3 // 4), interpolation=cv2.INTER_AREA)
    small = np.clip(np.roll(small, shift, axis=1) * gain, 0, 255).astype(np.uint8)
    return cv2.imencode(".jpg", small, [cv2.IMWRITE_JPEG_QUALITY, 80])[1].tobytes()


def hints(jpeg: bytes, spec: ScaleSpec = PIN, before: bytes | None = None) -> tuple[str, ...]:
    first = look_at(before or jpeg, spec)
    return look_at(jpeg, spec, first.light).hints


@pytest.mark.parametrize(
    ("name", "spec"),
    [
        ("p14-r12-pin", PIN),
        ("p09-g12-disc", ScaleSpec(source="disc", mm=22.25)),
        ("p03-m22x1.5-jaws", ScaleSpec(source="jaws", mm=30.0)),
        ("p10-bsw38-major", ScaleSpec(source="major", mm=9.44)),
    ],
)
def test_a_good_picture_may_be_taken(name, spec):
    assert hints(frame(name), spec) == ()


@pytest.mark.parametrize(
    ("name", "hint"),
    [
        ("p24-over-exposed", "too bright"),
        ("p23-cut", "cut"),
        ("p06-unf58-pin", "tilted"),  # its truth: tilted by 3.0 and 1.5 degrees
    ],
)
def test_what_spoils_a_picture_is_told(name, hint):
    assert hint in hints(frame(name))


def test_the_reference_is_missed():
    assert hints(frame("p10-bsw38-major"))[0] == "no reference"
    assert "no reference" in hints(frame("p14-r12-pin"), ScaleSpec(source="card"))


def test_too_far_away():
    near = cv2.imdecode(np.frombuffer(frame("p14-r12-pin"), np.uint8), cv2.IMREAD_COLOR)
    shrink = np.array([[0.5, 0, 240], [0, 0.5, 180]])
    far = cv2.warpAffine(
        near, shrink, (960, 720), flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE
    )
    assert "closer" in hints(cv2.imencode(".jpg", far)[1].tobytes())


def test_a_hand_that_moves():
    """Half a percent of the width between frames, and then none."""
    assert "hold still" in hints(frame("p14-r12-pin", shift=5), before=frame("p14-r12-pin"))
    assert "hold still" in look_at(frame("p14-r12-pin"), PIN).hints, "one frame tells no movement"


def test_darkness():
    assert hints(frame("p14-r12-pin", gain=0.05))[0] == "no light"


@pytest.mark.parametrize("data", [b"", b"x" * 100, b"\xff\xd8\xff\xe0" + b"0" * 500])
def test_what_is_no_frame_is_refused(data):
    with pytest.raises(InputError, match="no small picture"):
        look_at(data, PIN)


def test_every_hint_has_words():
    assert all(words for words in HINTS.values())
