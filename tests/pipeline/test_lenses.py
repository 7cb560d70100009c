"""A card in one photo tells the lens to the next photo of the same phone."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image

from pitchcam import identify, identify_several
from pitchcam.camera.lenses import Lenses
from pitchcam.cli.identify import command
from pitchcam.records import ScaleSpec
from pitchcam.report import text
from tests.pipeline.test_answer import PHOTO, SAMPLES

CARD = next(SAMPLES.glob("*card*.jpg"))


def of_a_phone(source: Path, folder: Path) -> Path:
    """Return a copy that names its camera: model and tag are the same in all of them."""
    picture = Image.open(source)
    tags = picture.getexif()
    tags[0x010F], tags[0x0110] = "Bench", "One"
    inner = tags.get_ifd(0x8769)
    inner[0xA405] = 52
    inner.pop(0xA404, None)
    copy = folder / source.name
    picture.save(copy, quality=96, exif=tags)
    return copy


@pytest.fixture(scope="module")
def photos(tmp_path_factory) -> tuple[Path, Path]:
    folder = tmp_path_factory.mktemp("phone")
    return of_a_phone(CARD, folder), of_a_phone(PHOTO, folder)


def test_a_card_teaches_and_a_pin_s_photo_learns(photos, tmp_path) -> None:
    card, pin = photos
    lenses = Lenses(path=tmp_path / "lenses.json")
    spec = ScaleSpec(source="pin", mm=6.0)
    alone = identify(pin, spec, plots=False, lenses=lenses)
    # A pin teaches nothing: its photo leaves no file behind.
    assert not lenses.path.exists()
    assert alone.scale is not None
    assert alone.scale.lens_photos is None
    identify(card, ScaleSpec(source="card"), plots=False, lenses=lenses)
    told = identify(pin, spec, plots=False, lenses=lenses)
    assert told.scale is not None
    assert told.scale.lens_photos == 1
    assert "lens known from 1 photo with a card" in text(told)

    def u_distortion(m):
        [thread] = m.parts[0].threads
        return next(
            abs(b.contributions["pitch_mm"]) for b in thread.budget if b.source == "lens distortion"
        )

    assert u_distortion(told) < 0.6 * u_distortion(alone)
    # Measured again it is the same: a photo does not teach itself.
    before = lenses.path.read_bytes()
    again = identify(card, ScaleSpec(source="card"), plots=False, lenses=lenses)
    assert again.scale is not None
    assert again.scale.lens_photos is None
    assert lenses.path.read_bytes() == before


def test_a_card_in_one_photo_tells_the_lens_of_the_other(photos) -> None:
    """In whichever order they are named, and without a file that keeps it."""
    card, pin = photos
    specs = [ScaleSpec(source="pin", mm=6.0), ScaleSpec(source="card")]
    told = identify_several([pin, card], specs, plots=False)
    assert [use.scale.lens_photos for use in told.photos] == [1, None]
    assert [use.info.file for use in told.photos] == [pin.name, card.name]


def test_the_command_keeps_it_beside_the_record_and_leaves_it_off(
    photos, tmp_path, monkeypatch
) -> None:
    card, _ = photos
    monkeypatch.setenv("PITCHCAM_RECORD", str(tmp_path / "pitchcam.sqlite"))
    kept = tmp_path / "pitchcam-lenses.json"
    off = CliRunner().invoke(command, [str(card), "--card", "--no-lenses"])
    assert off.exit_code in (0, 3), off.output
    assert not kept.exists()
    on = CliRunner().invoke(command, [str(card), "--card"])
    assert on.exit_code == off.exit_code
    assert kept.exists()
    kept.write_text("no lenses")
    bad = CliRunner().invoke(command, [str(card), "--card"])
    assert "no file of lenses" in str(bad.exception)
