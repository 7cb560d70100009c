"""What a program may ask for; all else is refused in our own words."""

import pytest

from pitchcam import Quantity, ScaleSpec, UsageError, identify, load_photo
from pitchcam.pipeline.arguments import checked_scale, checked_shrinkage
from tests.page.running import SAMPLES

PHOTO = SAMPLES / "p05-unf12-pin.jpg"
PIN = ScaleSpec(source="pin", mm=6.0)


@pytest.mark.parametrize(
    ("scale", "said"),
    [
        ("pin 8", "a reference is a ScaleSpec, not str"),
        (8.0, "a reference is a ScaleSpec, not float"),
        (ScaleSpec(source="ruler", mm=8.0), "'ruler' is no reference"),
        (ScaleSpec(source="pin"), "The size of pin is missing"),
        (ScaleSpec(source="pin", mm="8"), "mm of '8' is no length"),
        (ScaleSpec(source="pin", mm=True), "mm of True is no length"),
        (ScaleSpec(source="pin", mm=float("nan")), "mm of nan is no length"),
        (ScaleSpec(source="pin", mm=-8.0), "mm of -8.0 is no length"),
        (ScaleSpec(source="pin", mm=8000.0), "A pin of 8000 mm cannot be right"),
        (ScaleSpec(source="card", height_mm=-1.0), "height_mm of -1.0 is no length"),
        (ScaleSpec(source="card", height_mm=float("inf")), "height_mm of inf is no length"),
        (ScaleSpec(source="card", axis_height_mm="7"), "axis_height_mm of '7' is no length"),
    ],
)
def test_a_reference_that_cannot_be(scale, said):
    with pytest.raises(UsageError) as caught:
        identify(PHOTO, scale)
    assert said in str(caught.value) and "\n" not in str(caught.value)


def test_a_reference_that_can_be():
    assert checked_scale(None) == ScaleSpec()
    assert checked_scale(PIN) is PIN


def test_a_shrinkage_that_cannot_be():
    assert checked_shrinkage(None) is None
    assert checked_shrinkage(Quantity(value=0.0, u=0.0)) is not None
    for wrong in (0.002, "0.2 %"):
        with pytest.raises(UsageError, match="a shrinkage is a Quantity"):
            checked_shrinkage(wrong)
    for value in (-0.001, 0.1):
        with pytest.raises(UsageError, match="cannot be right"):
            checked_shrinkage(Quantity(value=value, u=0.001))


def test_path_opened_photo_and_pixels_give_one_answer():
    opened = load_photo(PHOTO)
    by_path = identify(PHOTO, PIN, plots=False)
    assert identify(opened, PIN, plots=False) == by_path
    by_pixels = identify(opened.pixels, PIN, f35_mm=opened.f35_mm, plots=False)
    assert by_pixels.parts == by_path.parts and by_pixels.scale == by_path.scale
    assert by_pixels.photo.file == "pixels"
    blind = identify(opened.pixels, PIN, plots=False)
    assert blind.scale.camera_height_mm.u > 2 * by_path.scale.camera_height_mm.u
