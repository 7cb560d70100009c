"""A tag that would put the phone where nobody holds it is not believed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pitchcam import identify, load_photo
from tests.accuracy import scale_of

SAMPLES = Path(__file__).parents[2] / "samples"


@pytest.mark.parametrize("longer", [5, 8])
@pytest.mark.parametrize("name", ["p10-bsw38-major", "p17-m14x1.5-sheet", "p12-npt38-card"])
def test_an_absurd_focal_length_leaves_the_pitch_within_its_interval(
    name: str, longer: float
) -> None:
    truth = json.loads((SAMPLES / f"{name}.json").read_text(encoding="utf-8"))
    photo = load_photo(SAMPLES / truth["file"])
    usual = identify(photo, scale_of(truth), plots=False)
    absurd = identify(photo.pixels, scale_of(truth), f35_mm=longer * photo.f35_mm, plots=False)
    assert absurd.scale.focal_px.value < 2 * usual.scale.focal_px.value
    pitch = absurd.parts[0].threads[0].reading.pitch_mm
    assert abs(pitch.value - truth["threads"][0]["pitch_mm"]) < 2.6 * pitch.u
