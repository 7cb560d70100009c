"""From photo to name, whatever the photo came as. All samples' figures: tests/test_gate.py."""

import json
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image

import pitchcam
from pitchcam.records import ScaleSpec

SAMPLES = Path(__file__).parents[1] / "samples"
PHOTO = SAMPLES / "p05-unf12-pin.jpg"


def name_of(path):
    result = pitchcam.identify(path, ScaleSpec(source="pin", mm=6.0), plots=False)
    thread = result.parts[0].threads[0]
    return thread.verdict.designation, thread.reading.pitch_mm.value


@pytest.mark.parametrize("kind", ["heic", "png", "tif16", "cmyk", "rotated"])
def test_the_same_thread_in_every_kind_of_file(tmp_path, kind):
    image = Image.open(PHOTO)
    exif = image.getexif()
    path = tmp_path / f"a.{'jpg' if kind in ('cmyk', 'rotated') else kind[:4]}"
    if kind == "heic":
        # Coded as quickly as can be: how well its bytes are packed is asked of nobody.
        quick = {"preset": "ultrafast"}
        pillow_heif.from_pillow(image).save(path, quality=90, enc_params=quick)
    elif kind == "png":
        image.save(path, exif=exif)
    elif kind == "tif16":
        path = tmp_path / "a.tif"
        tifffile.imwrite(path, np.asarray(image).astype(np.uint16) * 257, photometric="rgb")
    elif kind == "cmyk":
        image.convert("CMYK").save(path, quality=95, exif=exif)
    else:
        exif[0x0112] = 6  # stored a quarter turn to the left, to be shown upright
        image.transpose(Image.Transpose.ROTATE_90).save(path, quality=95, exif=exif)
    designation, pitch_mm = name_of(path)
    assert designation == "1/2-20 UNF"
    # Without EXIF the camera's height is a guess, and height is what pitch hangs on.
    assert pitch_mm == pytest.approx(1.27, rel=0.01)


def test_the_public_call_stays_a_call():
    """No module has the call's name, so that none can take its place."""
    import pitchcam.pipeline.answer

    assert callable(pitchcam.identify)
    assert pitchcam.identify is pitchcam.pipeline.answer.identify


def test_the_document_survives_json():
    result = pitchcam.identify(PHOTO, ScaleSpec(source="pin", mm=6.0), plots=False)
    document = json.loads(json.dumps(result.to_json(), allow_nan=False))
    assert document["photo"]["file"] == PHOTO.name
    thread = document["parts"][0]["threads"][0]
    for key in ("pitch_mm", "major_mm", "angle_deg", "taper"):
        assert thread[key]["u"] > 0
    assert thread["budget"]
